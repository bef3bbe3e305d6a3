//! Figures of what drives the misses: indices of a race day, swings, indices of one passing.

use super::spans::{PER, Span, spans};
use super::{figure, panel};
use crate::report::drivers_text::{is_named, missed, share_words, strongest};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark};
use crate::report::palette::{Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::{grouped, percent};
use crate::study::drivers::answer::{Answer, Driver, Split, Swing};

fn source(a: &Answer) -> String {
    format!(
        "simulation, {} replications, {} crossings, seed {}",
        a.request.replications,
        grouped(a.crossings),
        a.provenance.seed
    )
}

fn shares(key: &str, title: String, reading: &str, a: &Answer, split: &Split) -> Figure {
    let mut table = Table::new(&[
        ("name", "input", Show::Fixed(0)),
        ("first_order", "by itself", Show::Percent),
        ("first_order_low", "from", Show::Percent),
        ("first_order_high", "to", Show::Percent),
        ("total", "has a hand in", Show::Percent),
        ("total_low", "from", Show::Percent),
        ("total_high", "to", Show::Percent),
    ]);
    for d in &split.drivers {
        table.row([
            d.name.as_str().into(),
            d.first_order.mean.into(),
            d.first_order.low.into(),
            d.first_order.high.into(),
            d.total.mean.into(),
            d.total.low.into(),
            d.total.high.into(),
        ]);
    }
    // Noise may reach below 0 and above 100 %; the axis shows as much of it as lies near.
    let ends = split.drivers.iter().flat_map(|d| {
        [d.first_order, d.total]
            .into_iter()
            .flat_map(|r| [r.mean, r.low.unwrap_or(r.mean), r.high.unwrap_or(r.mean)])
    });
    let x = Axis::new(
        "share of the variance of the log miss odds, %",
        Scale::from_zero(ends.map(|v| 100.0 * v.clamp(-0.2, 1.2))),
    );
    let (lowest, highest) = x.scale.ends();
    let on = |share: f64| (100.0 * share).clamp(lowest, highest);
    let beyond = split.drivers.iter().flat_map(|d| [d.first_order, d.total]).any(|r| {
        let ends = [r.mean, r.low.unwrap_or(r.mean), r.high.unwrap_or(r.mean)];
        ends.iter().any(|v| 100.0 * v < lowest || 100.0 * v > highest)
    });
    let dots = |at: f64, read: fn(&Driver) -> crate::estimate::indices::Replicated, what: &str| -> Vec<Dot> {
        let one = |(i, d): (usize, &Driver)| {
            let r = read(d);
            Dot {
                at: i as f64 + at,
                value: on(r.mean),
                inner: r.low.zip(r.high).map(|(low, high)| (on(low), on(high))),
                outer: None,
                tip: format!("{}\n{what} {}", d.name, share_words(&r)),
            }
        };
        split.drivers.iter().enumerate().map(one).collect()
    };
    let layers = vec![
        Layer::new(
            "",
            Style::plain(Ink::Soft),
            Mark::Rule { along: Along::X, at: 0.0, label: String::new() },
        ),
        Layer::new(
            "by itself (first order)",
            Style::series(1),
            Mark::Dots(Along::X, dots(-0.17, |d| d.first_order, "by itself")),
        ),
        Layer::new(
            "has a hand in (total)",
            Style::series(0),
            Mark::Dots(Along::X, dots(0.17, |d| d.total, "has a hand in")),
        ),
    ];
    let names = split.drivers.iter().map(|d| d.name.clone());
    let edge = " What ends at the edge of the axis reaches beyond it: noise of few replications.";
    let reading = format!("{reading}{}", if beyond { edge } else { "" });
    let mut out = figure(key, title, &reading, source(a), table);
    let height = 34.0 * split.drivers.len().max(2) as f64;
    out.panels = vec![panel("", x, Axis::categories("input", names, true), height, layers)];
    out
}

fn too_short(clear: &str) -> String {
    format!("Too short a run to name the strongest; clear of its noise: {clear}")
}

/// Indices of what a race day shares.
pub fn race_day(a: &Answer) -> Option<Figure> {
    let split = a.race_day.as_ref()?;
    let title = match strongest(split) {
        Some(d) if !is_named(split) => too_short(&d.name),
        Some(d) => {
            format!(
                "Race days differ most by one thing: {}, with a hand in {}",
                d.name,
                percent(d.total.mean.min(1.0))
            )
        }
        None => "Nothing a race day shares stands out as its driver".to_owned(),
    };
    let reading = "Square: what the input explains alone. Disc: what it explains alone and together with others. Thick line: \
                   95 % interval over replications.";
    Some(shares("race-day", title, reading, a, split))
}

/// Indices of what decides one passing.
pub fn one_passing(a: &Answer) -> Option<Figure> {
    let split = a.one_passing.as_ref()?;
    let title = match strongest(split) {
        Some(d) if !is_named(split) => too_short(&d.name),
        Some(d) => {
            format!(
                "One passing is decided most by this: {}, with a hand in {}",
                d.name,
                percent(d.total.mean.min(1.0))
            )
        }
        None => "Nothing drawn for a passing stands out".to_owned(),
    };
    let reading = "The log miss odds of single runners, split over groups of what was drawn. Square: alone. Disc: alone and \
                   together with others. The sample's own offset is integrated out.";
    Some(shares("one-passing", title, reading, a, split))
}

fn span(s: &Swing) -> Span<'_> {
    Span {
        what: &s.name,
        unit: &s.unit,
        low: s.low,
        high: s.high,
        rate_at_low: s.miss_rate_at_low,
        rate_at_high: s.miss_rate_at_high,
    }
}

/// One thing at a time from its 5 % to its 95 % value.
pub fn swings(a: &Answer) -> Option<Figure> {
    let widest = a.race_day_swings.first()?;
    let mut table = Table::new(&[
        ("group", "group", Show::Fixed(0)),
        ("name", "input", Show::Fixed(0)),
        ("unit", "unit", Show::Fixed(0)),
        ("low", "5 % value", Show::Digits(3)),
        ("high", "95 % value", Show::Digits(3)),
        ("miss_rate_at_low", "missed at its low", Show::Percent),
        ("miss_rate_at_high", "missed at its high", Show::Percent),
    ]);
    let groups = [("shared by a race", &a.race_day_swings), ("the same for all runners", &a.runner_swings)];
    for (group, list) in groups {
        for s in list {
            table.row([
                group.into(),
                s.name.as_str().into(),
                s.unit.as_str().into(),
                s.low.into(),
                s.high.into(),
                s.miss_rate_at_low.into(),
                s.miss_rate_at_high.into(),
            ]);
        }
    }
    let axis = |list: &[Swing]| {
        let rates = list
            .iter()
            .flat_map(|s| [s.miss_rate_at_low, s.miss_rate_at_high])
            .chain(a.middle_miss_rate)
            .map(|rate| PER * rate.max(a.floor));
        Axis::new("missed of 10,000 runners, log scale", Scale::decades(rates))
    };
    let title = format!(
        "Widest swing: {}, {} to {} of 10,000 missed",
        widest.name,
        missed(widest.miss_rate_at_low),
        missed(widest.miss_rate_at_high)
    );
    let reading = "One input at a time from its 5 % to its 95 % value, all that the race shares at its middle; the same runners \
                   each time. Values at the left edge are that or less.";
    let mut out = figure("swings", title, reading, source(a), table);
    let lists = [
        ("Shared by all runners of a race", &a.race_day_swings),
        ("If all runners were alike in this", &a.runner_swings),
    ];
    for (title, list) in lists.into_iter().filter(|(_, list)| !list.is_empty()) {
        let list_of: Vec<Span> = list.iter().map(span).collect();
        let middle = a.middle_miss_rate.map(|rate| (rate, "everything the race shares at its middle"));
        out.panels.push(spans(
            title,
            &list_of,
            &axis(list),
            ["at its 5 % value", "at its 95 % value"],
            middle,
        ));
    }
    Some(out)
}
