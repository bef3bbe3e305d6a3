//! Which tag for a season: every tag on the same draws, in worlds that fix what nobody has measured.
//!
//! ```text
//! run ── losses ── answer
//!          ├ pairs      what would tell two tags apart
//!          ├ flips      where the order changes, solved
//!          ├ mix        the same under uncertain weights
//!          └ next       which unknown to measure first
//! ```

pub mod answer;
pub mod flips;
pub mod losses;
pub mod mix;
pub mod next;
pub mod pairs;
pub mod run;

pub use answer::{Answer, answer};
pub use run::{Progress, Request, Runs, run};
