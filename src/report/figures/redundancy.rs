//! Figures of redundancy: true gain beside naive gain, shared causes, what each addition leaves.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Bar, Dot, Figure, Layer, Mark};
use crate::report::pages::redundancy::rows;
use crate::report::palette::{Dash, Ink, Marker, Style};
use crate::report::redundancy_text::gain_words;
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, per_10_000, percent, significant};
use crate::study::redundancy::answer::{Answer, PairResult};

const PER: f64 = 1e4;

pub(super) fn source(a: &Answer) -> String {
    format!(
        "simulation, {} worlds, {} passings, seed {}",
        grouped(a.worlds),
        grouped(a.passings),
        a.provenance.seed
    )
}

/// Pairs that stand, then those a candidate would make; named.
fn all_pairs(a: &Answer) -> Vec<(String, &PairResult)> {
    let standing = a.pairs.iter().map(|p| (format!("{} backed by {}", p.first, p.second), p));
    let proposed = a
        .candidates
        .iter()
        .filter_map(|c| c.pair.as_ref().map(|p| (format!("as it is, backed by {}", c.name), p)));
    standing.chain(proposed).filter(|(_, p)| p.r.value > 0.0).collect()
}

/// What the second line divides the misses by, and what it would if misses had nothing in common.
pub fn gains(a: &Answer) -> Option<Figure> {
    let pairs = all_pairs(a);
    let first = pairs.first()?;
    let mut table = Table::new(&[
        ("pair", "lines", Show::Fixed(0)),
        ("first_missed", "first misses", Show::Percent),
        ("second_missed", "second misses", Show::Percent),
        ("both_missed", "both miss", Show::Percent),
        ("r", "second misses what the first missed", Show::Percent),
        ("r_low", "from", Show::Percent),
        ("r_high", "to", Show::Percent),
        ("true_gain", "true gain", Show::Digits(3)),
        ("naive_gain", "naive gain", Show::Digits(3)),
    ]);
    for (name, p) in &pairs {
        table.row([
            name.as_str().into(),
            p.first_missed.value.into(),
            p.second_missed.value.into(),
            p.both_missed.value.into(),
            p.r.value.into(),
            p.r.low.into(),
            p.r.high.into(),
            p.true_gain.value.into(),
            p.naive_gain.into(),
        ]);
    }
    let finite = |v: f64| v.is_finite() && v > 0.0;
    let x = Axis::new(
        "divides the misses by, log scale",
        Scale::decades(
            pairs
                .iter()
                .flat_map(|(_, p)| [p.true_gain.value, p.true_gain.low, p.true_gain.high, p.naive_gain])
                .filter(|v| finite(*v))
                .chain([1.0]),
        ),
    );
    let ends = x.scale.ends();
    let on = |v: f64| v.clamp(ends.0, ends.1);
    let naive =
        pairs.iter().enumerate().filter(|(_, (_, p))| finite(p.naive_gain)).map(|(i, (name, p))| Dot {
            at: i as f64 - 0.17,
            value: on(p.naive_gain),
            inner: None,
            outer: None,
            tip: format!("{name}\nnaive: {} times", significant(p.naive_gain)),
        });
    let real = pairs.iter().enumerate().map(|(i, (name, p))| Dot {
        at: i as f64 + 0.17,
        value: on(p.true_gain.value),
        inner: Some((on(p.true_gain.low), on(p.true_gain.high))),
        outer: None,
        tip: format!("{name}\ntrue: {} times", gain_words(p.true_gain.value)),
    });
    let layers = vec![
        Layer::new(
            "naive: as if misses had nothing in common",
            Style { marker: Marker::Ring, ..Style::series(1) },
            Mark::Dots(Along::X, naive.collect()),
        ),
        Layer::new(
            "true: the same runner and bib at both",
            Style::series(0),
            Mark::Dots(Along::X, real.collect()),
        ),
    ];
    let (name, p) = first;
    let title = format!(
        "{name}: the misses are divided by {}, not by {}",
        gain_words(p.true_gain.value),
        gain_words(p.naive_gain)
    );
    let reading = "Lines share runners and bibs, so the second helps less than its own miss rate promises. Thick line: 95 % \
                   simulation interval.";
    let names = pairs.iter().map(|(name, _)| name.clone());
    let mut out = figure("gains", title, reading, source(a), table);
    out.panels =
        vec![panel("", x, Axis::categories("lines", names, true), 40.0 * pairs.len().max(2) as f64, layers)];
    Some(out)
}

/// Who is missed by both lines, and why.
pub fn shared(a: &Answer) -> Option<Figure> {
    const MOST: usize = 7;
    let (who, causes) = (&a.shared, Some(&a.causes));
    let first = who.first()?;
    let mut table = Table::new(&[
        ("group", "group", Show::Fixed(0)),
        ("name", "kind", Show::Fixed(0)),
        ("share", "share of the shared misses", Show::Percent),
    ]);
    let mut panels = vec![];
    let lists = [("who is missed by all", Some(who)), ("first cause", causes)];
    for (k, (title, list)) in lists.into_iter().enumerate() {
        let Some(list) = list.filter(|l| !l.is_empty()) else { continue };
        for s in list.iter() {
            table.row([title.into(), s.name.as_str().into(), s.share.into()]);
        }
        let shown = &list[..list.len().min(MOST)];
        let bars = shown.iter().enumerate().map(|(i, s)| Bar {
            at: i as f64,
            from: 0.0,
            to: 100.0 * s.share,
            thickness: 0.55,
            tip: format!("{}: {}", s.name, percent(s.share)),
        });
        let style = Style { hatch: k as u8, ..Style::series(2 + k) };
        let x = Axis::new("share of the shared misses, %", Scale::Linear { low: 0.0, high: 100.0 });
        let y = Axis::categories("", shown.iter().map(|s| s.name.clone()), true);
        let layers = vec![Layer::new("", style, Mark::Bars(Along::X, bars.collect()))];
        panels.push(panel(title, x, y, 26.0 * shown.len() as f64, layers));
    }
    let title = format!("{} of the shared misses: {}", percent(first.share), first.name);
    let reading = "Misses that every line has in common, by kind of runner and by first cause. Only changing the cause \
                   removes them, not another line like these.";
    let mut out = figure("shared", title, reading, source(a), table);
    out.panels = panels;
    Some(out)
}

/// Misses of the layout as it is, of each line alone, with each candidate, and the floor.
pub fn layouts(a: &Answer) -> Figure {
    let mut table = Table::new(&[
        ("layout", "layout", Show::Fixed(0)),
        ("miss_rate", "missed", Show::Percent),
        ("low", "95 % simulation interval, from", Show::Percent),
        ("high", "to", Show::Percent),
        ("race_p05", "5 % of races below", Show::Percent),
        ("race_p95", "95 % of races below", Show::Percent),
        ("kept", "promise kept", Show::Percent),
        ("cost", "cost", Show::Digits(4)),
    ]);
    let rows = rows(a);
    for (name, s, cost) in &rows {
        table.row([
            name.as_str().into(),
            s.miss_rate.value.into(),
            s.miss_rate.low.into(),
            s.miss_rate.high.into(),
            s.race_to_race.p05.value.into(),
            s.race_to_race.p95.value.into(),
            s.promise.kept().value.into(),
            Cell::from(*cost),
        ]);
    }
    let floor = a.floor.as_ref().map(|f| PER * f.miss_rate.value).filter(|f| *f > 1e-4);
    let allowed = PER * (1.0 - a.target);
    let shown = rows
        .iter()
        .flat_map(|(_, s, _)| [PER * s.miss_rate.value, PER * s.miss_rate.high])
        .filter(|v| *v > 1e-3);
    let x = Axis::new(
        "missed of 10,000 runners, log scale",
        Scale::decades(shown.chain(floor).chain([allowed, 1.0])),
    );
    let ends = x.scale.ends();
    let on = |v: f64| (PER * v).clamp(ends.0, ends.1);
    let dots = rows.iter().enumerate().map(|(i, (name, s, _))| Dot {
        at: i as f64,
        value: on(s.miss_rate.value),
        inner: Some((on(s.miss_rate.low), on(s.miss_rate.high))),
        outer: Some((on(s.race_to_race.p05.value), on(s.race_to_race.p95.value))),
        tip: format!(
            "{name}: {} of 10,000\n95 % simulation interval {} to {}\npromise kept in {}",
            per_10_000(s.miss_rate.value),
            per_10_000(s.miss_rate.low),
            per_10_000(s.miss_rate.high),
            percent(s.promise.kept().value)
        ),
    });
    let mut layers = vec![Layer::new(
        "target allows",
        Style::plain(Ink::Ruby).dashed(Dash::Long).wide(1.8),
        Mark::Rule { along: Along::X, at: allowed, label: String::new() },
    )];
    if let Some(at) = floor {
        let mark = Mark::Rule { along: Along::X, at, label: String::new() };
        layers.push(Layer::new(
            "no line goes below",
            Style::plain(Ink::Text).dashed(Dash::Dot).wide(1.8),
            mark,
        ));
    }
    layers.push(Layer::new(
        "expected, over all races",
        Style::series(0),
        Mark::Dots(Along::X, dots.collect()),
    ));
    let best =
        a.candidates.iter().min_by(|x, y| x.result.miss_rate.value.total_cmp(&y.result.miss_rate.value));
    let title = match best {
        Some(c) => format!(
            "{}: {} of 10,000 missed as it is, {} with {}",
            a.point,
            per_10_000(a.all.miss_rate.value),
            per_10_000(c.result.miss_rate.value),
            c.name
        ),
        None => format!("{}: {} of 10,000 missed as it is", a.point, per_10_000(a.all.miss_rate.value)),
    };
    let reading = "Marker: expected miss rate. Thick line: 95 % simulation interval. Thin line: 5 to 95 % of races. \
                   Values at the left edge are that or less.";
    let y = Axis::categories("layout", rows.iter().map(|(name, ..)| name.clone()), true);
    let mut out = figure("layouts", title, reading, source(a), table);
    out.panels = vec![panel("", x, y, 28.0 * rows.len().max(2) as f64, layers)];
    out
}
