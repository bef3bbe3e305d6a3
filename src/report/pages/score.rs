//! The page of a scored season.

use super::{inputs, strings};
use crate::report::figures::score::season;
use crate::report::learn_text::LEARN_CAUTIONS;
use crate::report::page::{Page, assumptions};
use crate::report::score_text::{HEADER, first_words, reading, row};
use crate::report::table::{Cell, Show, Table};
use crate::study::score::Answer;

pub fn page(a: &Answer) -> Page {
    let columns: Vec<_> = HEADER.iter().map(|h| (*h, *h, Show::Fixed(0))).collect();
    let mut table = Table::new(&columns);
    table.rows = a.scored.iter().map(|s| row(s).into_iter().map(Cell::Text).collect()).collect();
    Page {
        study: "score".into(),
        subject: format!("{} races", a.races),
        note: a.note.clone(),
        answer: first_words(a).join(" "),
        caption: "Missed, and as it was forecast before the race".into(),
        table,
        hinges_heading: "How to read it, and what was left out".into(),
        hinges: a
            .left_out
            .iter()
            .map(|words| format!("Left out: {words}."))
            .chain(strings(&reading()))
            .collect(),
        cautions: strings(&LEARN_CAUTIONS[1..2]),
        figures: vec![season(a)],
        assumptions: assumptions(),
        inputs: inputs(&a.inputs),
        run: vec![("program".into(), concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION")).into())],
        ..Page::default()
    }
}
