//! The questions: each study takes a request and gives an answer of plain data, which reports draw.

pub mod check;
pub mod drivers;
pub mod expected;
pub mod explain;
pub mod footprint;
pub mod hinges;
pub mod lab;
pub mod overlay;
pub mod predict;
pub mod provenance;
pub mod rank;
pub mod redundancy;
pub mod season;
pub mod strata;
pub mod which_point;
pub mod worlds;
pub mod worst;
