//! Measurements in: what the instruments said, before any modelling.

pub mod cells;
pub mod correction;
pub mod faults;
pub mod link_profile;
pub mod parse;
pub mod problems;
pub mod raw_budget;
pub mod raw_cells;
pub mod raw_check;
pub mod raw_file;
pub mod raw_folder;
pub mod raw_parse;
pub mod raw_refer;
pub mod refer;
pub mod schema;
pub mod stat;
pub mod sweep;
pub mod tag_file;
pub mod text;
pub mod toml_text;
pub mod touchstone;
pub mod write;

pub use sweep::{Level, Mount, Reading, Sweep, Taken};
