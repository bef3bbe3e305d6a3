//! Measurements in: what the instruments said, before any modelling.

pub mod cells;
pub mod parse;
pub mod problems;
pub mod sweep;
pub mod text;
pub mod toml_text;

pub use sweep::{Level, Mount, Reading, Sweep};
