//! Figures of a ranking: misses, regret and odds of being best; pairs; parts of the season; what to measure next.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Bar, Dot, Figure, Layer, Mark, Switch};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, per_10_000, percent, significant};
use crate::study::rank::answer::{Answer, TagResult};

fn source(a: &Answer) -> String {
    format!(
        "simulation, {} worlds, {} crossings, every tag on the same draws, seed {}",
        grouped(a.worlds),
        grouped(a.crossings),
        a.provenance.seed
    )
}

fn by_misses(a: &Answer) -> Vec<&TagResult> {
    let mut tags: Vec<&TagResult> = a.variants.first().map_or(vec![], |v| v.tags.iter().collect());
    tags.sort_by(|x, y| x.missed.total_cmp(&y.missed));
    tags
}

/// Tags over the season as it is: misses, regret, odds of being best.
pub fn ranking(a: &Answer) -> Figure {
    let tags = by_misses(a);
    let mut table = Table::new(&[
        ("tag", "tag", Show::Fixed(0)),
        ("missed", "missed in a season", Show::Digits(3)),
        ("missed_p05", "5 %", Show::Digits(3)),
        ("missed_p95", "95 %", Show::Digits(3)),
        ("missed_standard_error", "error of the computation", Show::Digits(2)),
        ("regret_low", "regret, at least", Show::Digits(2)),
        ("regret", "regret", Show::Digits(2)),
        ("odds_best", "odds of fewest misses", Show::Percent),
        ("odds_least_cost", "odds of least cost", Show::Percent),
    ]);
    for t in &tags {
        table.row([
            t.tag.as_str().into(),
            t.missed.into(),
            t.missed_p05.into(),
            t.missed_p95.into(),
            t.missed_standard_error.into(),
            t.regret_low.into(),
            t.regret.into(),
            t.odds_best.into(),
            t.odds_least_cost.filter(|_| a.weighs_prices).into(),
        ]);
    }
    let name =
        |t: &TagResult| if t.tag == a.choice { format!("{}, the choice", t.tag) } else { t.tag.clone() };
    let names = |named: bool| tags.iter().map(move |t| if named { name(t) } else { String::new() });
    let x = Axis::new(
        "missed in a season, log scale",
        Scale::decades(tags.iter().flat_map(|t| [t.missed, t.missed_p05.max(0.02 * t.missed), t.missed_p95])),
    );
    let floor = x.scale.ends().0;
    let on = |v: f64| v.max(floor);
    let dots = tags.iter().enumerate().map(|(i, t)| {
        let error = 2.0 * t.missed_standard_error;
        Dot {
            at: i as f64,
            value: on(t.missed),
            inner: error.is_finite().then(|| (on(t.missed - error), on(t.missed + error))),
            outer: Some((on(t.missed_p05), on(t.missed_p95))),
            tip: format!(
                "{}: {} missed in a season\n5 to 95 %: {} to {}",
                t.tag,
                significant(t.missed),
                significant(t.missed_p05),
                significant(t.missed_p95)
            ),
        }
    });
    let regret = tags.iter().enumerate().map(|(i, t)| Dot {
        at: i as f64,
        value: t.regret,
        inner: Some((0.0, t.regret)),
        outer: Some((t.regret_low.min(t.regret), t.regret)),
        tip: format!(
            "{}: expected regret {} (at least {})",
            t.tag,
            significant(t.regret),
            significant(t.regret_low)
        ),
    });
    let odds = |k: usize, what: &str, read: &dyn Fn(&TagResult) -> f64| {
        let bar = |(i, t): (usize, &&TagResult)| Bar {
            at: i as f64,
            from: 0.0,
            to: 100.0 * read(t),
            thickness: 0.5,
            tip: format!("{}: {what} with odds of {}", t.tag, percent(read(t))),
        };
        Layer::new("", Style::series(k), Mark::Bars(Along::X, tags.iter().enumerate().map(bar).collect()))
    };
    let share = || Axis::new("odds, %", Scale::Linear { low: 0.0, high: 100.0 });
    let height = 30.0 * tags.len().max(2) as f64;
    let tag_axis = |named: bool| Axis::categories("", names(named), true);
    let mut panels = vec![
        panel(
            "misses",
            x,
            tag_axis(true),
            height,
            vec![Layer::new("", Style::series(0), Mark::Dots(Along::X, dots.collect()))],
        ),
        panel(
            "expected regret",
            Axis::new("missed more than the best choice", Scale::from_zero(tags.iter().map(|t| t.regret))),
            tag_axis(false),
            height,
            vec![Layer::new("", Style::series(2), Mark::Dots(Along::X, regret.collect()))],
        ),
        panel(
            "odds of fewest misses",
            share(),
            tag_axis(true),
            height,
            vec![odds(0, "fewest misses", &|t| t.odds_best)],
        ),
    ];
    if a.weighs_prices {
        let least = odds(1, "least cost", &|t| t.odds_least_cost.unwrap_or(0.0));
        panels.push(panel(
            "odds of least cost, tags and misses",
            share(),
            tag_axis(false),
            height,
            vec![least],
        ));
    }
    let chosen = tags.iter().find(|t| t.tag == a.choice);
    let title = match chosen {
        Some(t) => match (t.odds_least_cost.filter(|_| a.weighs_prices), by_misses(a).first()) {
            (Some(odds), Some(fewest)) if fewest.tag != t.tag => format!(
                "{} is the choice: it costs least in all with odds of {}; {} misses fewest",
                t.tag,
                percent(odds),
                fewest.tag
            ),
            _ => format!(
                "{} is the choice: best with odds of {}, expected regret {} missed passings a season",
                t.tag,
                percent(t.odds_best),
                significant(t.regret)
            ),
        },
        None => format!("{} is the choice", a.choice),
    };
    let reading = "Misses: the marker is expected, the thick line 2 standard errors of the computation, the thin line 5 to \
                   95 % over what nobody has measured; what lies at the left edge is that or less. Regret: misses more than \
                   the best choice would have, on average.";
    let mut out = figure("ranking", title, reading, source(a), table);
    out.columns = 2;
    out.panels = panels;
    out
}

/// Differences of pairs of tags with their intervals.
pub fn pairs(a: &Answer) -> Option<Figure> {
    const MOST: usize = 12;
    if a.pairs.is_empty() {
        return None;
    }
    let mut table = Table::new(&[
        ("better", "fewer misses", Show::Fixed(0)),
        ("worse", "more misses", Show::Fixed(0)),
        ("more_missed", "missed more in a season", Show::Digits(3)),
        ("more_missed_p05", "5 %", Show::Digits(3)),
        ("more_missed_p95", "95 %", Show::Digits(3)),
        ("odds_better", "odds", Show::Percent),
        ("verdict", "verdict", Show::Fixed(0)),
    ]);
    for p in &a.pairs {
        table.row([
            p.better.as_str().into(),
            p.worse.as_str().into(),
            p.more_missed.into(),
            p.more_missed_p05.into(),
            p.more_missed_p95.into(),
            p.odds_better.into(),
            p.verdict.as_str().into(),
        ]);
    }
    let shown = &a.pairs[..a.pairs.len().min(MOST)];
    let layer = |told: bool, name: &str, style: Style| {
        let dots = shown.iter().enumerate().filter(|(_, p)| p.told_apart == told).map(|(i, p)| Dot {
            at: i as f64,
            value: p.more_missed,
            inner: None,
            outer: Some((p.more_missed_p05, p.more_missed_p95)),
            tip: format!(
                "{} misses {} more than {}\n5 to 95 %: {} to {}\n{}",
                p.worse,
                significant(p.more_missed),
                p.better,
                significant(p.more_missed_p05),
                significant(p.more_missed_p95),
                p.verdict
            ),
        });
        Layer::new(name, style, Mark::Dots(Along::X, dots.collect()))
    };
    let layers = vec![
        Layer::new(
            "",
            Style::plain(Ink::Soft).dashed(Dash::Dot),
            Mark::Rule { along: Along::X, at: 0.0, label: String::new() },
        ),
        layer(true, "told apart", Style::series(0)),
        layer(
            false,
            "cannot be told apart, or does not matter",
            Style { marker: crate::report::palette::Marker::Ring, ..Style::series(1) },
        ),
    ];
    let x = Axis::new(
        "missed passings a season that the second misses more",
        Scale::around(shown.iter().flat_map(|p| [p.more_missed_p05, p.more_missed_p95]).chain([0.0])),
    );
    let names = shown.iter().map(|p| format!("{} before {}", p.better, p.worse));
    let told = a.pairs.iter().filter(|p| p.told_apart).count();
    let title = format!("{told} of {} pairs of tags are told apart", a.pairs.len());
    let reading = "Difference of two tags on the same draws: expected value and 5 to 95 % over what nobody has measured; the \
                   closest pairs first, twelve at most (all of them in the table).";
    let mut out = figure("pairs", title, reading, source(a), table);
    out.panels =
        vec![panel("", x, Axis::categories("pair", names, true), 26.0 * shown.len().max(2) as f64, layers)];
    Some(out)
}

/// Miss rate of every tag in every region, weather and layout.
pub fn parts(a: &Answer) -> Option<Figure> {
    let names: Vec<&str> = a.variants.first()?.tags.iter().map(|t| t.tag.as_str()).collect();
    let mut table = Table::new(&[
        ("by", "part", Show::Fixed(0)),
        ("name", "name", Show::Fixed(0)),
        ("tag", "tag", Show::Fixed(0)),
        ("missed", "missed in a season", Show::Digits(3)),
        ("miss_rate", "miss rate", Show::Percent),
    ]);
    for part in &a.parts {
        for (k, tag) in names.iter().enumerate() {
            table.row([
                part.by.into(),
                part.name.as_str().into(),
                (*tag).into(),
                part.missed[k].into(),
                part.miss_rate[k].into(),
            ]);
        }
    }
    let rates = a.parts.iter().flat_map(|p| &p.miss_rate).map(|r| 1e4 * r);
    let x = Axis::new(
        "missed of 10,000 passings, log scale",
        Scale::decades(rates.filter(|r| *r > 1e-3).chain([1.0])),
    );
    let floor = x.scale.ends().0;
    let mut panels = vec![];
    for by in ["region", "weather", "layout"] {
        let list: Vec<_> = a.parts.iter().filter(|p| p.by == by).collect();
        if list.len() < 2 && by != "region" {
            continue;
        }
        let layers = names.iter().enumerate().map(|(k, tag)| {
            let step = 0.62 / names.len() as f64;
            let dots = list.iter().enumerate().map(|(i, p)| Dot {
                at: i as f64 + step * (k as f64 - 0.5 * (names.len() as f64 - 1.0)),
                value: (1e4 * p.miss_rate[k]).max(floor),
                inner: None,
                outer: None,
                tip: format!("{tag}, {}: {} of 10,000", p.name, per_10_000(p.miss_rate[k])),
            });
            Layer::new(tag, Style::series(k), Mark::Dots(Along::X, dots.collect()))
                .switched(Switch::new("tag", tag))
        });
        let y = Axis::categories("", list.iter().map(|p| p.name.clone()), true);
        let height = (9.0 * names.len() as f64 + 8.0).max(28.0) * list.len() as f64;
        panels.push(panel(&format!("by {by}"), x.clone(), y, height, layers.collect()));
    }
    let worst = a.parts.iter().max_by(|p, q| {
        let least = |part: &crate::study::rank::answer::Part| {
            part.miss_rate.iter().copied().fold(f64::INFINITY, f64::min)
        };
        least(p).total_cmp(&least(q))
    })?;
    let title = format!("Hardest for every tag: {} {}", worst.by, worst.name);
    let mut out = figure(
        "parts",
        title,
        "Miss rate of every tag by part of the season; values at the left edge are that or less.",
        source(a),
        table,
    );
    out.panels = panels;
    Some(out)
}

/// What to measure next.
pub fn next(a: &Answer) -> Option<Figure> {
    const MOST: usize = 8;
    let shown = &a.next[..a.next.len().min(MOST)];
    let first = shown.first()?;
    let mut table = Table::new(&[
        ("what", "to know", Show::Fixed(0)),
        ("how", "how", Show::Fixed(0)),
        ("saved", "saved", Show::Digits(2)),
        ("standard_error", "error", Show::Digits(2)),
    ]);
    for w in &a.next {
        table.row([
            w.what.as_str().into(),
            w.how.as_str().into(),
            w.saved.into(),
            Cell::from(w.standard_error),
        ]);
    }
    let dots = shown.iter().enumerate().map(|(i, w)| {
        let error = 2.0 * w.standard_error.unwrap_or(0.0);
        Dot {
            at: i as f64,
            value: w.saved,
            inner: None,
            outer: (error > 0.0).then(|| ((w.saved - error).max(0.0), w.saved + error)),
            tip: format!("{}: {}", w.what, w.how),
        }
    });
    let ends = shown.iter().map(|w| w.saved + 2.0 * w.standard_error.unwrap_or(0.0));
    let unit = if a.weighs_prices {
        "saved a season by knowing it before the choice, in missed passings' worth"
    } else {
        "missed passings a season saved by knowing it before the choice"
    };
    let x = Axis::new(unit, Scale::from_zero(ends));
    let y = Axis::categories("", shown.iter().map(|w| w.what.clone()), true);
    let title =
        format!("Measure next: {}, worth {} missed passings a season", first.what, significant(first.saved));
    let reading = "Expected saving if the quantity were known exactly before choosing a tag; thin line: 2 standard errors of \
                   the computation.";
    let mut out = figure("next", title, reading, source(a), table);
    let layers = vec![Layer::new("", Style::series(3), Mark::Dots(Along::X, dots.collect()))];
    out.panels = vec![panel("", x, y, 28.0 * shown.len().max(2) as f64, layers)];
    Some(out)
}
