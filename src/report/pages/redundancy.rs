//! The page of redundancy.

use super::{assumed, frame, point_note, with_break};
use crate::report::distance_text::findings;
use crate::report::figures::distance::distance;
use crate::report::figures::redundancy::{gains, layouts, lines_alone, shared};
use crate::report::page::Page;
use crate::report::redundancy_text::{first_words, floor_sentence, gain_words, layout_words, none_found};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, minus, per_10_000, percent, rate_percent};
use crate::study::redundancy::answer::Answer;

pub fn page(a: &Answer) -> Page {
    let mut table = Table::new(&[
        ("layout", "layout", Show::Fixed(0)),
        ("missed", "missed of 10,000", Show::Fixed(0)),
        ("within", "computed within", Show::Fixed(0)),
        ("race", "race to race, 5 to 95 %", Show::Fixed(0)),
        ("target_odds", "target kept", Show::Fixed(0)),
    ]);
    let named = std::iter::once(("as it is".to_owned(), &a.all))
        .chain(lines_alone(a).iter().map(|s| (s.name.clone(), s)))
        .chain(a.candidates.iter().map(|c| (format!("with {}", c.name), &c.result)));
    for (name, s) in named {
        let range = |low: f64, high: f64| format!("{} to {}", per_10_000(low), per_10_000(high));
        table.row([
            Cell::from(name),
            if s.none_met { "none met".into() } else { per_10_000(s.miss_rate).into() },
            range(s.miss_rate_low, s.miss_rate_high).into(),
            range(s.race_p05, s.race_p95).into(),
            percent(s.target_odds).into(),
        ]);
    }
    let mut hinges: Vec<String> = a
        .pairs
        .iter()
        .filter_map(|p| {
            let gain = p.true_gain?;
            let shared = p.shared.first().map_or(String::new(), |s| format!(" Most shared misses: {}.", s.name));
            Some(format!(
                "{} misses {} of what {} missed: it divides the misses by {}, where misses with nothing in common would \
                 give {}.{shared}",
                p.second,
                percent(p.r?),
                p.first,
                gain_words(gain),
                gain_words(p.naive_gain)
            ))
        })
        .collect();
    if let Some(share) = a.floor.as_ref().and_then(|f| f.share_of_misses) {
        hinges.push(floor_sentence(share).trim().to_owned());
    }
    if let Some(s) = &a.search {
        hinges.push(match &s.found {
            Some(layout) => format!(
                "Cheapest layout that keeps {} in {} of races: {}.",
                rate_percent(s.target),
                percent(s.confidence),
                layout_words(layout)
            ),
            None => format!("Cheapest layout: {}.", none_found(s)),
        });
    }
    hinges.extend(a.distance.iter().flat_map(findings).take(1).map(|f| format!("Distance: {}.", minus(&f))));
    let mut figures = vec![layouts(a)];
    figures.extend(gains(a));
    figures.extend(shared(a));
    figures.extend(distance(a));
    let mut page = Page {
        subject: format!("{}, {}", a.event, a.point),
        note: with_break(a.interrupted, &point_note(&a.note, &a.tag.name, &a.region, &a.weather)),
        answer: first_words(a),
        caption: "Missed runners per 10,000".into(),
        table,
        hinges,
        figures,
        ..frame("redundancy", &a.provenance, assumed(&a.assumed))
    };
    page.run.push(("races".into(), grouped(a.races as u64)));
    page.run.push(("crossings".into(), grouped(a.crossings)));
    page
}
