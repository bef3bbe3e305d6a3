//! Figures of a ranking: misses and totals by tag, and misses by kind of race.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark, Switch};
use crate::report::palette::Style;
use crate::report::rank_text::{in_order, standing_word, unit};
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::{grouped, per_10_000, percent, significant};
use crate::study::rank::answer::{Answer, TagResult};

fn source(a: &Answer) -> String {
    format!(
        "simulation, {} worlds, {} runners, every tag on the same draws, seed {}",
        grouped(a.worlds),
        grouped(a.passings),
        a.provenance.seed
    )
}

/// Tags over the season as it is: misses, what decides, and how often each loses least.
pub fn ranking(a: &Answer) -> Figure {
    let tags = a.variants.first().map_or(vec![], in_order);
    let mut table = Table::new(&[
        ("tag", "tag", Show::Fixed(0)),
        ("standing", "standing", Show::Fixed(0)),
        ("missed", "missed in a season", Show::Digits(3)),
        ("missed_p05", "5 %", Show::Digits(3)),
        ("missed_p95", "95 %", Show::Digits(3)),
        ("total", "what decides", Show::Digits(4)),
        ("total_low", "from", Show::Digits(4)),
        ("total_high", "to", Show::Digits(4)),
        ("probability_least", "least in", Show::Percent),
    ]);
    for t in &tags {
        table.row([
            t.tag.as_str().into(),
            standing_word(t).into(),
            t.missed.map(|f| f.value).into(),
            t.missed_p05.into(),
            t.missed_p95.into(),
            t.total.map(|f| f.value).into(),
            t.total.map(|f| f.low).into(),
            t.total.map(|f| f.high).into(),
            t.probability_least.into(),
        ]);
    }
    let name = |t: &TagResult| match standing_word(t) {
        "behind" => t.tag.clone(),
        word => format!("{} ({word})", t.tag),
    };
    let missed = |t: &TagResult| t.missed.map_or(0.0, |f| f.value);
    let x = Axis::new(
        "missed in a season, log scale",
        Scale::decades(
            tags.iter()
                .flat_map(|t| [missed(t), t.missed_p05.max(0.02 * missed(t)), t.missed_p95])
                .filter(|v| *v > 0.0)
                .chain([1.0]),
        ),
    );
    let floor = x.scale.ends().0;
    let on = |v: f64| v.max(floor);
    let dots = tags.iter().enumerate().filter_map(|(i, t)| {
        t.missed.map(|f| Dot {
            at: i as f64,
            value: on(f.value),
            inner: Some((on(f.low), on(f.high))),
            outer: Some((on(t.missed_p05), on(t.missed_p95))),
            tip: format!(
                "{}: {} missed in a season\n5 to 95 %: {} to {}",
                t.tag,
                significant(f.value),
                significant(t.missed_p05),
                significant(t.missed_p95)
            ),
        })
    });
    let height = 30.0 * tags.len().max(2) as f64;
    let mut panels = vec![panel(
        "missed passings",
        x,
        Axis::categories("", tags.iter().map(|t| name(t)), true),
        height,
        vec![Layer::new("", Style::series(0), Mark::Dots(Along::X, dots.collect()))],
    )];
    if a.weighs_money {
        let totals = tags.iter().filter_map(|t| t.total).flat_map(|f| [f.low, f.high]);
        let x =
            Axis::new(&format!("{} a season, bibs and misses, log scale", unit(a)), Scale::decades(totals));
        let dots = tags.iter().enumerate().filter_map(|(i, t)| {
            t.total.map(|f| Dot {
                at: i as f64,
                value: f.value,
                inner: Some((f.low, f.high)),
                outer: None,
                tip: format!(
                    "{}: {} {}, least in {}",
                    t.tag,
                    significant(f.value),
                    unit(a),
                    percent(t.probability_least)
                ),
            })
        });
        panels.push(panel(
            "bibs and misses",
            x,
            Axis::categories("", tags.iter().map(|_| String::new()), true),
            height,
            vec![Layer::new("", Style::series(1), Mark::Dots(Along::X, dots.collect()))],
        ));
    }
    let title = match (&a.choice, a.ties.is_empty()) {
        (Some(choice), true) => format!("{choice} is the choice, told apart from every other tag"),
        (Some(choice), false) => format!("{choice} ties with {}", a.ties.join(", ")),
        (None, _) => "No tag can be chosen".to_owned(),
    };
    let reading = "Marker: mean. Thick line: 95 % simulation interval. Thin line with ends: 5 to 95 % over what nobody knows.";
    let mut out = figure("ranking", title, reading, source(a), table);
    out.columns = panels.len();
    out.panels = panels;
    out
}

/// Misses by kind of race, a line of markers a tag.
pub fn parts(a: &Answer) -> Option<Figure> {
    let base = a.variants.first()?;
    let shown: Vec<(usize, &TagResult)> = base
        .tags
        .iter()
        .enumerate()
        .filter(|(_, t)| base.tags.len() <= 6 || standing_word(t) != "behind")
        .collect();
    let mut table = Table::new(&[
        ("by", "by", Show::Fixed(0)),
        ("part", "kind of race", Show::Fixed(0)),
        ("tag", "tag", Show::Fixed(0)),
        ("miss_rate", "missed", Show::Percent),
    ]);
    let mut panels = vec![];
    for split in &a.splits {
        let rates = split.groups.iter().flat_map(|g| shown.iter().map(|(k, _)| 1e4 * g.miss_rate[*k]));
        let x = Axis::new(
            "missed of 10,000, log scale",
            Scale::decades(rates.filter(|r| r.is_finite() && *r > 1e-3).chain([1.0])),
        );
        let floor = x.scale.ends().0;
        let layers = shown
            .iter()
            .enumerate()
            .map(|(series, (k, tag))| {
                let dots = split.groups.iter().enumerate().filter(|(_, g)| g.miss_rate[*k].is_finite());
                let dots = dots.map(|(i, g)| Dot {
                    at: i as f64 + 0.6 * ((series as f64 + 0.5) / shown.len() as f64 - 0.5),
                    value: (1e4 * g.miss_rate[*k]).max(floor),
                    inner: None,
                    outer: None,
                    tip: format!("{}, {}: {} of 10,000", g.name, tag.tag, per_10_000(g.miss_rate[*k])),
                });
                Layer::new(&tag.tag, Style::series(series), Mark::Dots(Along::X, dots.collect()))
            })
            .collect();
        for g in &split.groups {
            for (k, tag) in &shown {
                table.row([
                    split.by.into(),
                    g.name.as_str().into(),
                    tag.tag.as_str().into(),
                    g.miss_rate[*k].into(),
                ]);
            }
        }
        let y = Axis::categories(split.by, split.groups.iter().map(|g| g.name.clone()), true);
        let mut one =
            panel(&format!("by {}", split.by), x, y, 44.0 * split.groups.len().max(2) as f64, layers);
        one.switch = Switch::new("split", split.by);
        panels.push(one);
    }
    if panels.is_empty() {
        return None;
    }
    let title = "Where the misses of the season lie".to_owned();
    let reading = "Expected misses of each tag on the same draws, by kind of race.";
    let mut out = figure("parts", title, reading, source(a), table);
    out.panels = panels;
    Some(out)
}
