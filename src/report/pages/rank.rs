//! The page of a ranking.

use super::{assumed_lines, frame, with_break};
use crate::report::figures::rank::{next, pairs, parts, ranking};
use crate::report::page::Page;
use crate::report::rank_text::{TAG_TABLE_READING, choice, price_sentences, tag_table};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{capital, grouped, percent};
use crate::study::rank::answer::Answer;

pub fn page(a: &Answer) -> Page {
    let (headings, rows) = tag_table(a);
    let columns: Vec<_> = headings.iter().map(|h| (*h, *h, Show::Fixed(0))).collect();
    let mut table = Table::new(&columns);
    table.rows = rows.into_iter().map(|row| row.into_iter().map(Cell::Text).collect()).collect();
    let base = a.variants.first();
    let mut hinges: Vec<String> = vec![];
    for axis in &a.flips {
        for flip in &axis.flips {
            hinges.push(format!(
                "{}: below {} {} is best, above it {}; the season has {}.",
                capital(&axis.what),
                percent(flip.at),
                flip.below,
                flip.above,
                percent(axis.now)
            ));
        }
    }
    let changed = a.variants.iter().skip(1).filter(|v| base.is_some_and(|b| b.best != v.best));
    hinges.extend(changed.map(|v| format!("{}: {} would be best.", v.name, v.best)));
    hinges.extend(price_sentences(a).into_iter().map(|s| format!("{s}.")));
    if let Some(worth) = a.next.first() {
        hinges.push(format!("Measure next: {} ({}).", worth.what, worth.how));
    }
    let mut figures = vec![ranking(a)];
    figures.extend(parts(a));
    figures.extend(pairs(a));
    figures.extend(next(a));
    let lines = a.assumed.iter().map(|line| line.trim_start_matches("assumed, not measured: "));
    let mut page = Page {
        subject: a.season.clone(),
        note: with_break(a.interrupted, &a.note),
        answer: choice(a),
        caption: "Missed passings in a season, tag by tag".into(),
        reading: TAG_TABLE_READING.into(),
        table,
        hinges,
        figures,
        ..frame("rank", &a.provenance, assumed_lines(lines))
    };
    page.run.push(("worlds".into(), grouped(a.worlds)));
    page.run.push(("crossings".into(), grouped(a.crossings)));
    page.run.extend(a.warnings.iter().map(|w| ("warning".into(), w.clone())));
    page
}
