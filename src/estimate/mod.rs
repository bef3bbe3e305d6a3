//! Many passings: one engine for every answer.
//!
//! ```text
//! strata ── passings ── world ── run          a world: passings on a few strata, read for 64 race days
//!            offsets ──┘          │           what is read off the staircase of margins
//!            pilot  tilt ─────────┘           where passings and worlds go
//!                     reading ── promise      every figure, with its interval (replicates)
//!   rows_file  checkpoint  shard  merge       runs that are kept, cut and put together
//! ```

pub mod checkpoint;
pub mod interval;
pub mod merge;
pub mod offsets;
pub mod passings;
pub mod pilot;
pub mod promise;
pub mod reading;
pub mod replicates;
pub mod response;
pub mod rows_file;
pub mod run;
pub mod shard;
pub mod strata;
pub mod tilt;
pub mod world;
