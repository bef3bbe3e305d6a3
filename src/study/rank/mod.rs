//! Which tag to choose for a season: every tag past the same runners, at every race, on the same draws of what nobody knows.
//!
//! ```text
//! run     worlds of every race and tag          ledger  misses and money by level of what nobody knows
//! decide  the choice, ties, regret              groups  the choice for each kind of race
//! worth   what is worth measuring               answer  all of it as plain data
//! ```

pub mod answer;
pub mod decide;
pub mod groups;
mod ledger;
pub mod open;
mod run;
pub mod worth;

pub use answer::{Answer, Request, answer};
