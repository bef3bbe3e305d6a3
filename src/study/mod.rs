//! The questions: each a request turned into an answer of plain data.

pub mod overlay;
pub mod season;
pub mod strata;
pub mod worlds;
