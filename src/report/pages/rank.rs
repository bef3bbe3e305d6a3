//! The page of a ranking.

use super::{assumed_lines, frame, with_break};
use crate::estimate::run::Stopped;
use crate::report::figures::rank::{parts, ranking};
use crate::report::page::Page;
use crate::report::rank_text::{
    TAG_TABLE_READING, choice, open_sentences, split_sentences, tag_table, what_if_sentences, worth_sentences,
};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{capital, grouped};
use crate::study::rank::answer::Answer;

pub fn page(a: &Answer) -> Page {
    let (headings, rows) = tag_table(a);
    let columns: Vec<_> = headings.iter().map(|h| (*h, *h, Show::Fixed(0))).collect();
    let mut table = Table::new(&columns);
    table.rows = rows.into_iter().map(|row| row.into_iter().map(Cell::Text).collect()).collect();
    let sentence = |s: String| format!("{}.", capital(&s));
    let mut hinges: Vec<String> =
        what_if_sentences(a).into_iter().map(|s| sentence(format!("what if: {s}"))).collect();
    hinges.extend(split_sentences(a).into_iter().map(|s| sentence(format!("best tag {s}"))));
    hinges.extend(worth_sentences(a).into_iter().map(|s| sentence(format!("worth measuring: {s}"))));
    let mut page = Page {
        subject: a.season.clone(),
        note: with_break(a.stopped == Stopped::Interrupted, &a.note),
        answer: std::iter::once(choice(a)).chain(open_sentences(a)).collect::<Vec<_>>().join(" "),
        caption: "The season, tag by tag".into(),
        reading: TAG_TABLE_READING.into(),
        table,
        hinges,
        figures: std::iter::once(ranking(a)).chain(parts(a)).collect(),
        ..frame("rank", &a.provenance, assumed_lines(a.assumed.iter().map(String::as_str)))
    };
    page.run.push(("draws of what nobody knows".into(), grouped(4 * a.worlds)));
    page.run.push(("runners simulated".into(), grouped(a.passings)));
    page.run.extend(a.market.iter().map(|m| ("market".into(), m.clone())));
    page.run.extend(a.warnings.iter().map(|w| ("warning".into(), w.clone())));
    page
}
