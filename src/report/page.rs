//! A study as one page: the answer first, then the table, what it hinges on, cautions, figures, assumptions, inputs.
//!
//! `html` writes it as one file; `folder` writes its figures one by one.

use super::figure::Figure;
use super::table::{Show, Table};

#[derive(Clone, Debug, Default)]
pub struct Page {
    /// The command that made it: `predict`.
    pub study: String,
    /// First paragraph of a study of a set-up that may not be switched on; empty for a lawful one.
    pub unlawful: String,
    /// What was studied: the event, the tag, the season.
    pub subject: String,
    /// Says whether the inputs are invented; may be empty.
    pub note: String,
    /// The answer in one sentence.
    pub answer: String,
    pub caption: String,
    pub table: Table,
    /// How to read the table; may be empty.
    pub reading: String,
    /// Heading of `hinges`; empty: "What it hinges on".
    pub hinges_heading: String,
    pub hinges: Vec<String>,
    pub cautions: Vec<String>,
    pub figures: Vec<Figure>,
    /// Further tables after the figures: heading and numbers.
    pub further: Vec<(String, Table)>,
    /// What was assumed and not measured: see `assumptions()`.
    pub assumptions: Table,
    /// Input files: path as given, SHA-256.
    pub inputs: Vec<(String, String)>,
    /// Version, seed, counts: whatever is needed to run it again.
    pub run: Vec<(String, String)>,
}

/// An empty table of assumptions.
pub fn assumptions() -> Table {
    Table::new(&[
        ("assumption", "Assumed", Show::Fixed(0)),
        ("value", "Value", Show::Digits(3)),
        ("source", "Source", Show::Fixed(0)),
    ])
}
