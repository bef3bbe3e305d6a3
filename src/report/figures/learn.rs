//! Figures of what was learned: the forecast before and after, and each count against what was foreseen.

use super::spans::PER;
use super::{figure, panel};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark};
use crate::report::learn_text::verdict;
use crate::report::palette::Style;
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::{grouped, per_10_000, significant};
use crate::study::learn::{Answer, Foreseen, RungAnswer, SourceAnswer, Spread};

const ASSUMED: &str = "shares of placements, the film of each day, a term of each race's own";
/// Smallest miss rate drawn.
const LEAST: f64 = 1e-7;

fn source(a: &Answer) -> String {
    format!("{} draws, {} runners, seed {}", grouped(a.groups), grouped(a.passings), a.provenance.seed)
}

/// Miss rate of each point before and after.
pub fn ranges(a: &Answer) -> Figure {
    let mut table = Table::new(&[
        ("point", "point", Show::Fixed(0)),
        ("when", "when", Show::Fixed(0)),
        ("mean", "mean", Show::Percent),
        ("p05", "5 % of races below", Show::Percent),
        ("p95", "5 % of races above", Show::Percent),
    ]);
    for t in &a.targets {
        for (when, s) in [("before", t.before), ("after", t.after)] {
            table.row([t.point.as_str().into(), when.into(), s.mean.into(), s.p05.into(), s.p95.into()]);
        }
    }
    let all = a.targets.iter().flat_map(|t| [t.before, t.after]);
    let x = Axis::new(
        "missed of 10,000 runners, log scale",
        Scale::decades(all.flat_map(|s| [s.p05, s.p95, s.mean]).map(|r| PER * r.max(LEAST))),
    );
    let on = |rate: f64| PER * rate.max(LEAST);
    let dots = |shift: f64, of: fn(&crate::study::learn::TargetAnswer) -> Spread| -> Vec<Dot> {
        let dot = |(i, t): (usize, &crate::study::learn::TargetAnswer)| {
            let s = of(t);
            Dot {
                at: i as f64 + shift,
                value: on(s.mean),
                inner: Some((on(s.p05), on(s.p95))),
                outer: None,
                tip: format!(
                    "{}: {} ({} to {}) of 10,000",
                    t.point,
                    per_10_000(s.mean),
                    per_10_000(s.p05),
                    per_10_000(s.p95)
                ),
            }
        };
        a.targets.iter().enumerate().map(dot).collect()
    };
    let layers = vec![
        Layer::new(
            "before anything was counted",
            Style::series(1),
            Mark::Dots(Along::X, dots(-0.16, |t| t.before)),
        ),
        Layer::new("learned", Style::series(0), Mark::Dots(Along::X, dots(0.16, |t| t.after))),
    ];
    let title = match a.targets.first() {
        Some(t) => format!(
            "{}: from {} to {} missed of 10,000 before, from {} to {} now",
            t.point,
            per_10_000(t.before.p05),
            per_10_000(t.before.p95),
            per_10_000(t.after.p05),
            per_10_000(t.after.p95)
        ),
        None => "Nothing to forecast".to_owned(),
    };
    let mut out = figure(
        "before-and-after",
        title,
        "Marker: mean over races. Line: 5 to 95 % of races, what differs from race to race included.",
        source(a),
        table,
    );
    ASSUMED.clone_into(&mut out.assumed);
    let names = a.targets.iter().map(|t| t.point.clone());
    out.panels =
        vec![panel("", x, Axis::categories("", names, true), 44.0 * a.targets.len().max(2) as f64, layers)];
    out
}

/// What was counted, as a share of those who passed, against what was foreseen.
pub fn counts(a: &Answer) -> Figure {
    let mut table = Table::new(&[
        ("source", "source", Show::Fixed(0)),
        ("passed", "passed", Show::Fixed(0)),
        ("missed", "missed", Show::Digits(4)),
        ("p05", "foreseen from", Show::Digits(4)),
        ("p95", "to", Show::Digits(4)),
        ("verdict", "verdict", Show::Fixed(0)),
    ]);
    for s in &a.sources {
        table.row([
            s.name.as_str().into(),
            (s.passed as f64).into(),
            s.missed.into(),
            s.before.count.p05.into(),
            s.before.count.p95.into(),
            verdict(&s.before).into(),
        ]);
    }
    let share = |count: f64, passed: u64| 1e4 * (count + 0.5) / (passed.max(1) as f64 + 1.0);
    let values = a.sources.iter().flat_map(|s| {
        let of = |f: &Foreseen| [share(f.count.p05, s.passed), share(f.count.p95, s.passed)];
        of(&s.before).into_iter().chain([share(s.missed, s.passed)])
    });
    let x = Axis::new("missed of 10,000 (half a runner added), log scale", Scale::decades(values));
    let foreseen = |shift: f64, of: fn(&crate::study::learn::SourceAnswer) -> Option<Foreseen>| -> Vec<Dot> {
        let dot = |(i, s): (usize, &crate::study::learn::SourceAnswer)| {
            let f = of(s)?;
            let on = |count: f64| share(count, s.passed);
            Some(Dot {
                at: i as f64 + shift,
                value: on(f.count.median),
                inner: Some((on(f.count.p05), on(f.count.p95))),
                outer: None,
                tip: format!(
                    "{}: {} to {} missed foreseen",
                    s.name,
                    significant(f.count.p05),
                    significant(f.count.p95)
                ),
            })
        };
        a.sources.iter().enumerate().filter_map(dot).collect()
    };
    let counted = a.sources.iter().enumerate().map(|(i, s)| Dot {
        at: i as f64,
        value: share(s.missed, s.passed),
        inner: None,
        outer: None,
        tip: format!("{}: {} of {} missed", s.name, significant(s.missed), grouped(s.passed)),
    });
    let layers = vec![
        Layer::new(
            "foreseen before",
            Style::series(1),
            Mark::Dots(Along::X, foreseen(-0.2, |s| Some(s.before))),
        ),
        Layer::new(
            "foreseen from the others",
            Style::series(0),
            Mark::Dots(Along::X, foreseen(0.2, |s| s.from_others)),
        ),
        Layer::new("counted", Style::series(2), Mark::Dots(Along::X, counted.collect())),
    ];
    let off = a.sources.iter().filter(|s| s.before.tail <= 0.05).count();
    let title =
        format!("{off} of {} counts lie outside what 95 % of races would have shown", a.sources.len());
    let mut out = figure(
        "counts",
        title,
        "Line: 5 to 95 % of races as foreseen; marker on it: the median; the marker between: what was counted.",
        source(a),
        table,
    );
    ASSUMED.clone_into(&mut out.assumed);
    let names = a.sources.iter().map(|s| s.name.clone());
    out.panels =
        vec![panel("", x, Axis::categories("", names, true), 44.0 * a.sources.len().max(2) as f64, layers)];
    out
}

/// The settings of each trial: what was missed, and what was foreseen before and after.
pub fn ladders(a: &Answer) -> Vec<Figure> {
    let trials: Vec<&SourceAnswer> = a.sources.iter().filter(|s| !s.rungs.is_empty()).collect();
    trials.iter().enumerate().map(|(i, s)| ladder(a, s, i + 1)).collect()
}

fn ladder(a: &Answer, s: &SourceAnswer, number: usize) -> Figure {
    let mut table = Table::new(&[
        ("setting", "setting", Show::Fixed(0)),
        ("passed", "passed", Show::Fixed(0)),
        ("missed", "missed", Show::Fixed(0)),
        ("before_p05", "foreseen before, from", Show::Fixed(0)),
        ("before_p95", "to", Show::Fixed(0)),
        ("after_p05", "learned, from", Show::Fixed(0)),
        ("after_p95", "to", Show::Fixed(0)),
    ]);
    for r in &s.rungs {
        let [passed, missed] = [r.passed, r.missed].map(|n| n as f64);
        table.row([
            r.setting.as_str().into(),
            passed.into(),
            missed.into(),
            r.before.p05.into(),
            r.before.p95.into(),
            r.after.p05.into(),
            r.after.p95.into(),
        ]);
    }
    let share = |count: f64, r: &RungAnswer| 100.0 * count / r.passed.max(1) as f64;
    let foreseen = |shift: f64, of: fn(&RungAnswer) -> Spread| -> Vec<Dot> {
        let dot = |(i, r): (usize, &RungAnswer)| {
            let f = of(r);
            let (low, high) = (significant(f.p05), significant(f.p95));
            Dot {
                at: i as f64 + shift,
                value: share(f.median, r),
                inner: Some((share(f.p05, r), share(f.p95, r))),
                outer: None,
                tip: format!("{}: {low} to {high} of {} missed", r.setting, grouped(r.passed)),
            }
        };
        s.rungs.iter().enumerate().map(dot).collect()
    };
    let counted = s.rungs.iter().enumerate().map(|(i, r)| Dot {
        at: i as f64,
        value: share(r.missed as f64, r),
        inner: None,
        outer: None,
        tip: format!("{}: {} of {} missed", r.setting, grouped(r.missed), grouped(r.passed)),
    });
    let layers = vec![
        Layer::new("foreseen before", Style::series(1), Mark::Dots(Along::X, foreseen(-0.2, |r| r.before))),
        Layer::new("learned", Style::series(0), Mark::Dots(Along::X, foreseen(0.2, |r| r.after))),
        Layer::new("counted", Style::series(2), Mark::Dots(Along::X, counted.collect())),
    ];
    let within = |r: &&RungAnswer| (r.after.p05..=r.after.p95).contains(&(r.missed as f64));
    let mut out = figure(
        &format!("ladder-{number}"),
        format!(
            "{}: {} of {} settings lie within what was learned from all of them",
            s.name,
            s.rungs.iter().filter(within).count(),
            s.rungs.len()
        ),
        "Line: 5 to 95 % of such trials; marker on it: the median; the marker between: what was counted. Less power misses more: the rungs tell where the tag gives up.",
        source(a),
        table,
    );
    let x = Axis::new("missed, % of passings", Scale::Linear { low: 0.0, high: 100.0 });
    ASSUMED.clone_into(&mut out.assumed);
    let names = s.rungs.iter().map(|r| r.setting.clone());
    out.panels =
        vec![panel("", x, Axis::categories("", names, true), 44.0 * s.rungs.len().max(2) as f64, layers)];
    out
}
