//! The figures of each study: from its result struct to plain figure data, one file for a subject.

pub mod distance;
pub mod drivers;
pub mod explain;
pub mod footprint;
pub mod hinges;
pub mod lab;
pub mod layout;
pub mod predict;
pub mod rank;
pub mod redundancy;
pub mod session;
