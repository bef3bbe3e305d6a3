//! From the result of a study to its page: the words of the text report, the figures, assumptions and provenance.

pub mod drivers;
pub mod explain;
pub mod lab;
pub mod predict;
pub mod rank;
pub mod redundancy;

use super::page::assumptions;
use super::table::{Cell, Table};
use crate::study::provenance::{AssumptionEcho, Provenance};

/// Assumptions as the page's table.
pub fn assumed(list: &[AssumptionEcho]) -> Table {
    let mut table = assumptions();
    for a in list {
        table.row([Cell::from(a.what.as_str()), Cell::from(a.value.as_str()), Cell::from(a.source.as_str())]);
    }
    table
}

/// Input files with their hashes.
pub fn inputs(provenance: &Provenance) -> Vec<(String, String)> {
    provenance.inputs.iter().map(|i| (i.path.clone(), i.sha256.clone())).collect()
}

/// Version and seed.
pub fn run(provenance: &Provenance) -> Vec<(String, String)> {
    vec![
        ("program".into(), format!("{} {}", provenance.program, provenance.version)),
        ("seed".into(), provenance.seed.to_string()),
    ]
}
