//! Files, under everything: written whole or not at all, never over what this program did not write, locked against a second process.
//!
//! ```text
//! part ── whole_file      one file, through a locked neighbour and a rename
//!    └─── whole_folder    a folder of files, the same way
//! written                 which files this program wrote, by their hash
//! lock                    one process at a time
//! bounded                 reading: regular files only, and not beyond a size
//! ```

pub mod bounded;
pub mod lock;
pub mod part;
pub mod whole_file;
pub mod whole_folder;
pub mod written;
