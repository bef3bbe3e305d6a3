//! The page of what drives the misses.

use super::{assumed, frame, point_note, with_break};
use crate::report::drivers_text::{first_words, missed, share_words, stands_out};
use crate::report::figures::drivers::{one_passing, race_day, swings};
use crate::report::page::Page;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::grouped;
use crate::study::drivers::answer::Answer;

pub fn page(a: &Answer) -> Page {
    let mut table = Table::new(&[
        ("name", "shared by all runners of a race", Show::Fixed(0)),
        ("first_order", "by itself", Show::Fixed(0)),
        ("total", "has a hand in", Show::Fixed(0)),
        ("at_low", "missed of 10,000 at its low", Show::Fixed(0)),
        ("at_high", "missed of 10,000 at its high", Show::Fixed(0)),
    ]);
    for s in &a.race_day_swings {
        let driver = a.race_day.iter().flat_map(|split| &split.drivers).find(|d| d.name == s.name);
        table.row([
            Cell::from(s.name.as_str()),
            driver.map_or(Cell::Empty, |d| share_words(&d.first_order).into()),
            driver.map_or(Cell::Empty, |d| share_words(&d.total).into()),
            missed(s.miss_rate_at_low).into(),
            missed(s.miss_rate_at_high).into(),
        ]);
    }
    let mut hinges: Vec<String> = a
        .race_day
        .iter()
        .flat_map(|s| &s.drivers)
        .filter(|d| stands_out(&d.total))
        .take(3)
        .map(|d| format!("Race day, {}: a hand in {}. To know it: {}.", d.name, share_words(&d.total), d.how))
        .collect();
    hinges.extend(
        a.one_passing
            .iter()
            .flat_map(|s| &s.drivers)
            .filter(|d| stands_out(&d.total))
            .take(2)
            .map(|d| format!("One runner, {}: a hand in {}.", d.name, share_words(&d.total))),
    );
    let mut figures = vec![];
    figures.extend(race_day(a));
    figures.extend(swings(a));
    figures.extend(one_passing(a));
    let mut page = Page {
        subject: format!("{}, {}", a.event, a.point),
        note: with_break(a.interrupted, &point_note(&a.note, &a.tag.name, &a.region, &a.weather)),
        answer: first_words(a),
        caption: "Share of the ups and downs of the miss odds, and swing of the misses".into(),
        table,
        hinges,
        figures,
        ..frame("drivers", &a.provenance, assumed(&a.assumed))
    };
    page.run.push(("replications".into(), grouped(a.request.replications)));
    page.run.push(("crossings".into(), grouped(a.crossings)));
    page
}
