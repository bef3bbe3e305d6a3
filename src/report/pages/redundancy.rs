//! The page of redundancy.

use super::{assumed, frame, point_note, with_break};
use crate::estimate::run::Stopped;
use crate::report::figures::redundancy::{gains, layouts, shared};
use crate::report::page::Page;
use crate::report::redundancy_text::{
    first_words, floor_words, gain_words, layout_words, pair_sentence, with_interval,
};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, minus, per_10_000, percent, significant};
use crate::study::redundancy::answer::{Answer, SetResult};

/// Every layout shown, by name: as it is, each line alone, with each candidate.
pub fn rows(a: &Answer) -> Vec<(String, &SetResult, Option<f64>)> {
    let mut rows: Vec<(String, &SetResult, Option<f64>)> = vec![("as it is".into(), &a.all, None)];
    rows.extend(a.sets.iter().map(|s| (s.name.clone(), s, None)));
    rows.extend(a.candidates.iter().map(|c| (format!("with {}", c.name), &c.result, c.cost)));
    rows
}

pub fn page(a: &Answer) -> Page {
    let mut table = Table::new(&[
        ("layout", "layout", Show::Fixed(0)),
        ("cost", "cost", Show::Fixed(0)),
        ("missed", "missed of 10,000, mean", Show::Fixed(0)),
        ("race", "race to race, 5 to 95 %", Show::Fixed(0)),
        ("kept", "promise kept", Show::Fixed(0)),
        ("gain", "divides misses by", Show::Fixed(0)),
        ("saved", "runners saved a race", Show::Fixed(0)),
        ("each", "cost per runner saved", Show::Fixed(0)),
    ]);
    for (name, s, cost) in rows(a) {
        let r = &s.race_to_race;
        let candidate = a.candidates.iter().find(|c| std::ptr::eq(&c.result, s));
        table.row([
            Cell::from(name),
            cost.map_or(Cell::Empty, |cost| grouped(cost.round() as u64).into()),
            with_interval(&s.miss_rate, per_10_000).into(),
            format!("{} to {}", per_10_000(r.p05.value), per_10_000(r.p95.value)).into(),
            percent(s.promise.kept().value).into(),
            candidate.map_or(Cell::Empty, |c| with_interval(&c.divides_misses_by, gain_words).into()),
            candidate.map_or(Cell::Empty, |c| minus(&with_interval(&c.saved_per_race, significant)).into()),
            candidate
                .and_then(|c| c.cost_per_saved.as_ref())
                .map_or(Cell::Empty, |f| with_interval(f, significant).into()),
        ]);
    }
    let mut hinges: Vec<String> = a.pairs.iter().map(pair_sentence).collect();
    hinges.extend(a.floor.as_ref().map(floor_words));
    if let Some(s) = &a.search {
        hinges.extend(s.found.iter().map(|f| format!("Proven: {}.", layout_words(f))));
        hinges.extend(s.open.iter().map(|f| format!("Cheaper, too close to call: {}.", layout_words(f))));
        hinges.extend(s.nearest.iter().map(|f| format!("Comes near: {}.", layout_words(f))));
    }
    let mut figures = vec![layouts(a)];
    figures.extend(gains(a));
    figures.extend(shared(a));
    let mut page = Page {
        subject: format!("{}, {}", a.event, a.point),
        note: with_break(
            a.stopped == Stopped::Interrupted,
            &point_note(&a.note, &a.tag.name, &a.region, &a.weather),
        ),
        answer: first_words(a),
        caption: "Missed runners per 10,000; in brackets the 95 % simulation interval".into(),
        table,
        hinges,
        figures,
        ..frame("redundancy", &a.provenance, assumed(&a.assumptions))
    };
    page.run.push(("draws of what nobody knows".into(), grouped(a.worlds)));
    page.run.push(("passings of all layouts".into(), grouped(a.passings)));
    page
}
