//! The page of what was learned.

use super::{frame, strings};
use crate::report::figures::learn::{counts, ladders, ranges};
use crate::report::learn_text::{
    CAUSE_HEADER, LEARN_CAUTIONS, cause_row, first_words, from_words, how_sure, source_row, target_row,
};
use crate::report::page::{Page, assumptions};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::grouped;
use crate::study::learn::Answer;

pub fn page(a: &Answer) -> Page {
    let of = |headings: &[&'static str], rows: Vec<Vec<String>>| {
        let columns: Vec<_> = headings.iter().map(|h| (*h, *h, Show::Fixed(0))).collect();
        let mut table = Table::new(&columns);
        table.rows = rows.into_iter().map(|row| row.into_iter().map(Cell::Text).collect()).collect();
        table
    };
    let targets = of(
        &["point", "before", "after", "range narrower by"],
        a.targets.iter().map(|t| target_row(a, t)).collect(),
    );
    let sources = of(
        &["source", "missed", "foreseen before", "from the others", "verdict"],
        a.sources.iter().map(source_row).collect(),
    );
    let asked = a.sources.iter().filter(|s| !s.causes.is_empty());
    let reasons = asked.map(|s| {
        let rows = s.causes.iter().map(cause_row).collect();
        (format!("{}: is it the reason that was learned?", s.name), of(&CAUSE_HEADER, rows))
    });
    let told = a.sources.iter().map(|s| format!("{}: {}.", s.name, s.counted.join("; ")));
    let left_out = a.left_out.iter().map(|words| format!("Left out on record: {words}."));
    let mut page = Page {
        subject: format!("learned from {}, tag {}", from_words(a), a.tag.name),
        note: a.note.clone(),
        answer: first_words(a).join(" "),
        caption: "Missed of 10,000: mean, and 5 to 95 % of races".into(),
        table: targets,
        hinges_heading: "What was counted, and how sure".into(),
        hinges: told.chain(left_out).chain(how_sure(a)).collect(),
        cautions: strings(&LEARN_CAUTIONS),
        figures: [ranges(a), counts(a)].into_iter().chain(ladders(a)).collect(),
        further: [("Source by source".into(), sources)].into_iter().chain(reasons).collect(),
        ..frame("learn", &a.provenance, assumptions())
    };
    page.cautions = strings(&LEARN_CAUTIONS);
    page.run.push(("draws".into(), grouped(a.groups)));
    page.run.push(("runners simulated".into(), grouped(a.passings)));
    page
}
