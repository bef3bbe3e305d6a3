//! The figures of each study: from its result struct to plain figure data, one file for a subject.

use super::figure::{Axis, Figure, Height, Layer, Panel};
use super::table::Table;

pub mod drivers;
pub mod equal;
pub mod explain;
pub mod footprint;
pub mod lab;
pub mod layout;
pub mod learn;
pub mod predict;
pub mod rank;
pub mod redundancy;
pub mod score;
pub mod session;
pub mod spans;
pub mod trial;

/// A figure still without panels.
fn figure(key: &str, title: String, reading: &str, source: String, table: Table) -> Figure {
    Figure {
        key: key.into(),
        title,
        reading: reading.into(),
        source,
        assumed: "see the list of assumptions".into(),
        columns: 1,
        panels: vec![],
        table,
    }
}

fn panel(title: &str, x: Axis, y: Axis, height_px: f64, layers: Vec<Layer>) -> Panel {
    Panel { title: title.into(), x, y, height: Height::Px(height_px), layers, switch: None }
}
