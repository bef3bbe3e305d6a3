//! The figure of a scored season: every count on what was forecast for it.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark};
use crate::report::learn_text::verdict_words;
use crate::report::palette::Style;
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::{grouped, significant};
use crate::study::score::{Answer, Scored};

/// Counts against forecasts, one row a race and point.
pub fn season(a: &Answer) -> Figure {
    let mut table = Table::new(&[
        ("race", "race", Show::Fixed(0)),
        ("point", "point", Show::Fixed(0)),
        ("passed", "passed", Show::Fixed(0)),
        ("missed_low", "missed, at least", Show::Fixed(0)),
        ("missed_high", "at most", Show::Fixed(0)),
        ("mean", "forecast", Show::Digits(3)),
        ("p05", "5 % of races below", Show::Fixed(0)),
        ("p95", "5 % of races above", Show::Fixed(0)),
        ("verdict", "verdict", Show::Fixed(0)),
    ]);
    for s in &a.scored {
        let [passed, low, high, p05, p95] =
            [s.passed, s.missed_low, s.missed_high, s.p05, s.p95].map(|n| n as f64);
        table.row([
            s.race.as_str().into(),
            s.point.as_str().into(),
            passed.into(),
            low.into(),
            high.into(),
            s.mean.into(),
            p05.into(),
            p95.into(),
            verdict_words(s.verdict).into(),
        ]);
    }
    let name = |s: &Scored| format!("{}, {}", s.race, s.point);
    let share = |count: f64, s: &Scored| 1e4 * (count + 0.5) / (s.passed as f64 + 1.0);
    let forecast = a.scored.iter().enumerate().map(|(i, s)| Dot {
        at: i as f64 - 0.15,
        value: share(s.mean, s),
        inner: Some((share(s.p05 as f64, s), share(s.p95 as f64, s))),
        outer: None,
        tip: format!("{}: {} to {} of {} forecast", name(s), s.p05, s.p95, grouped(s.passed)),
    });
    let counted = a.scored.iter().enumerate().map(|(i, s)| {
        let (low, high) = (s.missed_low as f64, s.missed_high as f64);
        Dot {
            at: i as f64 + 0.15,
            value: share(0.5 * (low + high), s),
            inner: (low < high).then(|| (share(low, s), share(high, s))),
            outer: None,
            tip: format!("{}: {} of {} missed", name(s), significant(0.5 * (low + high)), grouped(s.passed)),
        }
    });
    let (forecast, counted): (Vec<_>, Vec<_>) = (forecast.collect(), counted.collect());
    let values = a.scored.iter().flat_map(|s| {
        [s.p05, s.p95, s.missed_low, s.missed_high]
            .map(|n| share(n as f64, s))
            .into_iter()
            .chain([share(s.mean, s)])
    });
    let x = Axis::new("missed of 10,000 (half a runner added), log scale", Scale::decades(values));
    let mut out = figure(
        "season",
        format!("{} of {} counts lie within their 90 % interval", a.within, a.scored.len()),
        "Line: 90 % of races as forecast before the race; marker on it: the mean; the other marker: what was counted.",
        format!("{} races, forecasts as stored", a.races),
        table,
    );
    "that the counts are right: each stands with how those who passed are known".clone_into(&mut out.assumed);
    let layers = vec![
        Layer::new("forecast before the race", Style::series(1), Mark::Dots(Along::X, forecast)),
        Layer::new("counted", Style::series(2), Mark::Dots(Along::X, counted)),
    ];
    let names = a.scored.iter().map(name);
    out.panels =
        vec![panel("", x, Axis::categories("", names, true), 40.0 * a.scored.len().max(2) as f64, layers)];
    out
}
