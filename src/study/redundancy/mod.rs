//! What a second line is worth, given that the same runner and bib fail at both, and the cheapest layout that keeps the promise.
//!
//! ```text
//! catalogue what could be added or changed      layouts  every choice of it as a set of lines
//! stages    worlds of every layout on the same draws
//! search    proven, refuted, open               floor    what no line removes
//! answer    all of it as plain data
//! ```

pub mod answer;
pub mod catalogue;
mod floor;
mod layouts;
mod results;
pub mod search;
mod stages;

pub use answer::{Answer, Request, answer};
