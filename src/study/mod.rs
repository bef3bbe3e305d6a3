//! The questions: each study takes a request and gives an answer of plain data, which reports draw.

pub mod check;
pub mod drivers;
pub mod explain;
pub mod footprint;
pub mod lab;
pub mod learn;
pub mod overlay;
pub mod overlay_text;
pub mod predict;
pub mod provenance;
pub mod rank;
pub mod reads;
pub mod redundancy;
pub mod score;
pub mod season;
pub mod trial;
pub mod what_drives;
pub mod which_point;
pub mod worst;
