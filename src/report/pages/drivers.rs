//! The page of what the misses hinge on.

use super::{assumed, frame, point_note, with_break};
use crate::estimate::run::Stopped;
use crate::report::drivers_text::{first_words, holds, share_words};
use crate::report::figures::drivers::{ends, shares};
use crate::report::page::Page;
use crate::report::predict_text::with_unit;
use crate::report::table::{Show, Table};
use crate::report::words::{capital, grouped, per_10_000, percent};
use crate::study::drivers::Answer;

pub fn page(a: &Answer) -> Page {
    let mut table = Table::new(&[
        ("unknown", "unknown", Show::Fixed(0)),
        ("holds", "holds", Show::Fixed(0)),
        ("share", "decides alone", Show::Fixed(0)),
        ("low", "lowest third", Show::Fixed(0)),
        ("missed_low", "missed of 10,000", Show::Fixed(0)),
        ("broken_low", "promise broken", Show::Fixed(0)),
        ("high", "highest third", Show::Fixed(0)),
        ("missed_high", "missed of 10,000", Show::Fixed(0)),
        ("broken_high", "promise broken", Show::Fixed(0)),
    ]);
    for d in &a.drivers {
        table.row([
            d.what.as_str().into(),
            holds(d).into(),
            share_words(d).into(),
            with_unit(d.low, &d.unit).into(),
            per_10_000(d.miss_rate_at_low.value).into(),
            percent(d.breaks_at_low).into(),
            with_unit(d.high, &d.unit).into(),
            per_10_000(d.miss_rate_at_high.value).into(),
            percent(d.breaks_at_high).into(),
        ]);
    }
    let measure = a.drivers.iter().filter(|d| d.clear && d.nobody_knows).take(3);
    let mut page = Page {
        subject: format!("{}, {}", a.event, a.point),
        note: with_break(
            a.stopped == Stopped::Interrupted,
            &point_note(&a.note, &a.tag.name, &a.region, &a.weather),
        ),
        answer: first_words(a),
        caption: "Share each unknown decides alone, and the misses at its ends".into(),
        table,
        hinges: measure
            .map(|d| format!("{}: worth measuring. {}.", capital(&d.what), capital(&d.measure)))
            .collect(),
        figures: shares(a).into_iter().chain(ends(a)).collect(),
        ..frame("drivers", &a.provenance, assumed(&a.assumptions))
    };
    page.run.push(("draws of what nobody knows".into(), grouped(a.worlds)));
    page.run.push(("runners simulated".into(), grouped(a.passings)));
    page
}
