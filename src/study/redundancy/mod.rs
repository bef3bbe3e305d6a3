//! What a second line is worth: shared misses, candidates, distance, and the cheapest layout that keeps the promise.
//!
//! ```text
//! catalogue ── engine ── pair ── answer
//!                ├ floor      what no line removes
//!                ├ distance   where to put the backup
//!                └ cheapest   search, proven by the full run
//! ```

pub mod answer;
pub mod catalogue;
pub mod cheapest;
pub mod distance;
pub mod engine;
pub mod floor;
pub mod pair;

pub use answer::{Answer, Request, answer};
