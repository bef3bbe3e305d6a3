//! Figures of a forecast: miss rates against the target, causes, who is missed, counts.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Bar, Dot, Figure, Layer, Mark, Switch};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::predict_text::{key_point, within, worst};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, minus, per_10_000, percent, rate_percent};
use crate::study::predict::{Forecast, PointForecast};

const PER: f64 = 1e4;

pub(super) fn source(f: &Forecast) -> String {
    format!(
        "simulation, {} worlds, {} runners past every point, seed {}",
        grouped(f.worlds),
        grouped(f.passings),
        f.provenance.seed
    )
}

/// Miss rate of each timing point with both intervals, against its target, on a log scale.
pub fn miss_rates(f: &Forecast) -> Figure {
    let mut table = Table::new(&[
        ("point", "timing point", Show::Fixed(0)),
        ("miss_rate", "missed", Show::Percent),
        ("low", "95 % simulation interval, from", Show::Percent),
        ("high", "to", Show::Percent),
        ("race_p05", "5 % of races below", Show::Percent),
        ("race_p95", "95 % of races below", Show::Percent),
        ("allowed_rate", "target allows", Show::Percent),
    ]);
    for p in &f.points {
        table.row([
            p.name.as_str().into(),
            p.miss_rate.value.into(),
            p.miss_rate.low.into(),
            p.miss_rate.high.into(),
            p.race_to_race.p05.value.into(),
            p.race_to_race.p95.value.into(),
            (1.0 - p.promise.target).into(),
        ]);
    }
    let shown = f.points.iter().flat_map(|p| {
        let (rate, r) = (&p.miss_rate, &p.race_to_race);
        let allowed = 1.0 - p.promise.target;
        [rate.value, rate.high, r.p95.value, allowed, r.p05.value.max(1e-3 * rate.value)]
    });
    let x = Axis::new(
        "missed of 10,000 runners, log scale",
        Scale::decades(shown.map(|v| PER * v).filter(|v| *v > 1e-4).chain([1.0])),
    );
    let floor = x.scale.ends().0;
    let dots = f.points.iter().enumerate().map(|(i, p)| {
        let (rate, r) = (&p.miss_rate, &p.race_to_race);
        let on = |v: f64| (PER * v).max(floor);
        let value = if p.none_met { rate.high } else { rate.value };
        let tip = if p.none_met {
            format!("{}: no miss met, fewer than {} of 10,000", p.name, per_10_000(rate.high))
        } else {
            format!(
                "{}: {} of 10,000 on average\n95 % simulation interval {}\nmiddle 90 % of races {} to {}, median {}",
                p.name,
                per_10_000(rate.value),
                within(rate),
                per_10_000(r.p05.value),
                per_10_000(r.p95.value),
                per_10_000(r.median.value)
            )
        };
        let known = !p.none_met && rate.high.is_finite();
        Dot {
            at: i as f64,
            value: on(value),
            inner: known.then(|| (on(rate.low), on(rate.high))),
            outer: (!p.none_met).then(|| (on(r.p05.value), on(r.p95.value))),
            tip,
        }
    });
    let targets = f.points.iter().enumerate().map(|(i, p)| Bar {
        at: i as f64,
        from: PER * (1.0 - p.promise.target) * 0.985,
        to: PER * (1.0 - p.promise.target) * 1.015,
        thickness: 0.8,
        tip: format!("{}: target {} read", p.name, rate_percent(p.promise.target)),
    });
    let layers = vec![
        Layer::new("target allows", Style::plain(Ink::Ruby), Mark::Bars(Along::X, targets.collect())),
        Layer::new("expected, over all races", Style::series(0), Mark::Dots(Along::X, dots.collect())),
    ];
    let over: Vec<&PointForecast> =
        f.points.iter().filter(|p| p.miss_rate.value > 1.0 - p.promise.target).collect();
    let title = match (over.first(), worst(f)) {
        (Some(_), Some(w)) => format!(
            "{} of {} timing points miss more than promised, {} most: {} of 10,000",
            over.len(),
            f.points.len(),
            w.name,
            per_10_000(w.miss_rate.value)
        ),
        (None, Some(w)) if w.none_met => "No timing point met a single miss in the simulation".into(),
        (None, Some(w)) => format!(
            "Every timing point keeps its promise on average; {} misses most, {} of 10,000",
            w.name,
            per_10_000(w.miss_rate.value)
        ),
        _ => "No timing points".into(),
    };
    let reading = "Marker: expected share of runners missed. Thick line: 95 % simulation interval. Thin line with \
                   ends: 5 to 95 % of race days. Upright bar: what the target allows.";
    let y = Axis::categories("timing point", f.points.iter().map(|p| p.name.clone()), true);
    let mut out = figure("miss-rates", title, reading, source(f), table);
    out.panels = vec![panel("", x, y, 34.0 * f.points.len().max(2) as f64, layers)];
    out
}

/// First causes as shares of the misses.
pub fn causes(f: &Forecast) -> Option<Figure> {
    type Read = fn(&PointForecast) -> f64;
    let kinds: [(&str, &str, Read); 4] = [
        ("asleep", "asleep at every antenna", |p| p.causes.asleep),
        ("awake_not_heard", "awake, not heard", |p| p.causes.awake_not_heard),
        ("crowded_out", "heard, crowded out", |p| p.causes.crowded_out),
        ("never_in_reach", "never in reach", |p| p.causes.never_in_reach),
    ];
    let points: Vec<&PointForecast> = f.points.iter().filter(|p| p.miss_rate.value > 0.0).collect();
    let worst = worst(f).filter(|p| p.miss_rate.value > 0.0)?;
    let mut table = Table::new(&[
        ("point", "timing point", Show::Fixed(0)),
        ("cause", "first cause", Show::Fixed(0)),
        ("share_of_misses", "share of the misses", Show::Percent),
    ]);
    for p in &points {
        for (key, _, read) in kinds {
            table.row([p.name.as_str().into(), key.into(), read(p).into()]);
        }
    }
    let layers = kinds.iter().enumerate().map(|(k, (_, words, read))| {
        let bars = points.iter().enumerate().map(|(i, p)| {
            let before: f64 = kinds[..k].iter().map(|(_, _, r)| r(p)).sum();
            Bar {
                at: i as f64,
                from: 100.0 * before,
                to: 100.0 * (before + read(p)),
                thickness: 0.62,
                tip: format!("{}\n{words}: {} of its misses", p.name, percent(read(p))),
            }
        });
        Layer::new(words, Style::series(k), Mark::Bars(Along::X, bars.collect()))
    });
    let first = kinds.iter().max_by(|a, b| (a.2)(worst).total_cmp(&(b.2)(worst)))?;
    let title = format!("{} of the misses at {} are tags {}", percent((first.2)(worst)), worst.name, first.1);
    let reading = "Share of each point's misses by first cause. Asleep: not enough power in any round. Not heard: \
                   awake, but the reply was too weak. Crowded out: heard, but other tags took the slots.";
    let x = Axis::new("share of the misses, %", Scale::Linear { low: 0.0, high: 100.0 });
    let y = Axis::categories("timing point", points.iter().map(|p| p.name.clone()), true);
    let mut out = figure("causes", title, reading, source(f), table);
    out.panels = vec![panel("", x, y, 32.0 * points.len().max(2) as f64, layers.collect())];
    Some(out)
}

/// Who is missed at the worst point: shares of the misses beside shares of the runners.
pub fn who(f: &Forecast) -> Option<Figure> {
    let p = worst(f).filter(|p| p.miss_rate.value > 0.0)?;
    let groups = [
        ("wetness of the bib", &p.by_wetness),
        ("where the bib sits", &p.by_placement),
        ("place across the road, right of the middle is minus", &p.by_lateral),
    ];
    let kind = |group: usize, name: &str| match group {
        0 => format!("{name} bibs"),
        1 if name.starts_with("covered") => format!("bibs {name}"),
        1 => format!("bibs worn {name}"),
        _ => format!("runners at {} across the road", range_name(name)),
    };
    let mut table = Table::new(&[
        ("group", "group", Show::Fixed(0)),
        ("name", "kind", Show::Fixed(0)),
        ("share_of_passings", "share of the runners", Show::Percent),
        ("share_of_misses", "share of the misses", Show::Percent),
    ]);
    let mut largest = (String::new(), 0.0, 1.0);
    let mut panels = vec![];
    for (group, (title, shares)) in groups.into_iter().enumerate() {
        for s in shares {
            table.row([title.into(), s.name.as_str().into(), s.of_passings.into(), s.of_misses.into()]);
            if s.of_passings > 0.0
                && s.of_misses > 0.05
                && s.of_misses / s.of_passings > largest.1 / largest.2
            {
                largest = (kind(group, &s.name), s.of_misses, s.of_passings);
            }
        }
        let bars = |offset: f64, read: fn(&crate::study::predict::NamedShare) -> f64, what: &str| {
            let list = shares.iter().enumerate().map(|(i, s)| Bar {
                at: i as f64 + offset,
                from: 0.0,
                to: 100.0 * read(s),
                thickness: 0.34,
                tip: format!("{}: {} {what}", s.name, percent(read(s))),
            });
            Mark::Bars(Along::X, list.collect())
        };
        let runners = Style { hatch: 0, ..Style::series(4) };
        let layers = vec![
            Layer::new("share of the runners", runners, bars(-0.18, |s| s.of_passings, "of the runners")),
            Layer::new(
                "share of the misses",
                Style { hatch: 1, ..Style::series(2) },
                bars(0.18, |s| s.of_misses, "of the misses"),
            ),
        ];
        let x = Axis::new("share, %", Scale::Linear { low: 0.0, high: 100.0 });
        let y = Axis::categories("", shares.iter().map(|s| range_name(&s.name)), true);
        panels.push(panel(title, x, y, 28.0 * shares.len() as f64, layers));
    }
    let title = if largest.1 > 0.0 {
        format!(
            "{}: {} are {} of the field and {} of the misses",
            p.name,
            largest.0,
            percent(largest.2),
            percent(largest.1)
        )
    } else {
        format!("{}: misses are spread over all kinds of runners", p.name)
    };
    let reading = "The point with the highest miss rate. A kind whose lower bar is longer than its upper one is missed \
                   more often than its number explains.";
    let mut out = figure("who", title, reading, source(f), table);
    out.panels = panels;
    Some(out)
}

/// The name of a kind; ranges with minus signs, and without a sign at zero.
fn range_name(name: &str) -> String {
    minus(&name.replace("-0.0 ", "0 ").replace("+0.0 ", "0 "))
}

/// Predictive distribution of the number missed.
pub fn counts(f: &Forecast) -> Figure {
    let mut table = Table::new(&[
        ("point", "timing point", Show::Fixed(0)),
        ("missed_from", "runners missed, from", Show::Fixed(0)),
        ("missed_to", "to", Show::Fixed(0)),
        ("odds", "odds", Show::Percent),
    ]);
    let (mut panels, mut binned) = (vec![], false);
    for p in &f.points {
        let (edges, odds) = bins(p);
        binned |= odds.len() != p.missed.distribution.len();
        for (k, o) in odds.iter().enumerate() {
            let (from, to) = ((edges[k] + 0.5).round(), (edges[k + 1] - 0.5).round());
            table.row([p.name.as_str().into(), Cell::Number(from), Cell::Number(to), (*o).into()]);
        }
        // The far tail would squeeze what matters into a corner: drawn up to 99 % of the races, the rest in words.
        let mut reached = 0.0;
        let shown = odds.iter().position(|o| {
            reached += o;
            reached >= 0.99
        });
        let shown = shown.map_or(odds.len(), |k| k + 1);
        let (edges, drawn) = (edges[..=shown].to_vec(), &odds[..shown]);
        let end = edges[shown];
        let allowed = p.promise.allowed as f64;
        let last = if allowed < 2.0 * end + 20.0 { end.max(allowed + 2.0) } else { end };
        let peak = odds.iter().copied().fold(0.0, f64::max);
        let heights: Vec<f64> = drawn.iter().map(|o| 100.0 * o).collect();
        let mut range = format!("nine races of ten: {} to {}", grouped(p.missed.p05), grouped(p.missed.p95));
        let beyond: f64 = odds[shown..].iter().sum();
        if end >= last && beyond > 1e-4 {
            range += &format!("; more than {}: {}", grouped((end - 0.5) as u64), percent(beyond));
        }
        let mut layers = vec![
            Layer::new(
                "5 to 95 %",
                Style::plain(Ink::Wash),
                Mark::Shade {
                    along: Along::X,
                    from: p.missed.p05 as f64 - 0.5,
                    to: p.missed.p95 as f64 + 0.5,
                    label: String::new(),
                },
            ),
            Layer::new(
                "odds of this many",
                Style { hatch: 0, ..Style::series(0) },
                Mark::Steps { edges, heights, filled: true },
            ),
        ];
        if allowed <= last {
            let label = format!("target allows {}", grouped(p.promise.allowed));
            let rule = Mark::Rule { along: Along::X, at: allowed + 0.5, label };
            layers.push(Layer::new("", Style::plain(Ink::Ruby).dashed(Dash::Long).wide(1.8), rule));
        }
        let x = Axis::new("runners missed", Scale::Linear { low: -0.5, high: last });
        let y = Axis::new("odds, %", Scale::from_zero([(120.0 * peak).min(100.0)]));
        let mut one = panel(&format!("{}; {range}", p.name), x, y, 96.0, layers);
        one.switch = Switch::new("timing point", &p.name);
        panels.push(one);
    }
    let key = key_point(f);
    let title = match key {
        Some(p) => format!(
            "{}: {} to {} of {} runners missed in nine races of ten; the target holds in {} of races",
            p.name,
            grouped(p.missed.p05),
            grouped(p.missed.p95),
            grouped(f.runners),
            percent(p.promise.kept().value)
        ),
        None => "No timing points".into(),
    };
    let mut reading =
        "Odds that a race misses this many runners: race-to-race spread and the chance within a race together.".to_string();
    if binned {
        reading += " Where more than 400 may be missed only the middle 90 % of races is drawn, in two halves about the median.";
    }
    let mut out = figure("counts", title, &reading, source(f), table);
    out.columns = if f.points.len() > 1 { 2 } else { 1 };
    out.panels = panels;
    out
}

/// Edges and odds of the counts: one by one, or in bins over the middle 90 % of races where the list is too short.
fn bins(p: &PointForecast) -> (Vec<f64>, Vec<f64>) {
    let single = &p.missed.distribution;
    if (p.missed.p95 as usize) < single.len() {
        return ((0..=single.len()).map(|k| k as f64 - 0.5).collect(), single.clone());
    }
    let (low, middle, high) = (p.missed.p05 as f64, p.missed.median as f64, p.missed.p95 as f64);
    (vec![low - 0.5, middle + 0.5, (high + 0.5).max(middle + 1.5)], vec![0.45, 0.45])
}
