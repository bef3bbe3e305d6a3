//! Differences of thresholds with their intervals: batch against prototype within a stated limit, tag against tag.

use super::figure;
use super::panel;
use crate::lab::stat::compare::Verdict;
use crate::lab::stat::equivalence::EquivalenceVerdict;
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark};
use crate::report::lab_session_text::{summary, verdict};
use crate::report::lab_text::so_words;
use crate::report::palette::{Dash, Ink, Marker, Style};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::study::lab::{EquivalenceAnswer, PairAnswer, PairRow};

/// A dot with its interval, in one of three classes.
struct Row {
    name: String,
    difference: f64,
    interval: (f64, f64),
    class: usize,
    said: String,
}

/// Rows as dots; a class that no row has is not in the legend.
fn layers(rows: &[Row], classes: [&str; 3]) -> Vec<Layer> {
    let styles = [
        Style::series(0),
        Style { marker: Marker::Diamond, ..Style::series(2) },
        Style { marker: Marker::Ring, ..Style::series(1) },
    ];
    let one = |k: usize| {
        let dots = rows.iter().enumerate().filter(|(_, r)| r.class == k).map(|(i, r)| Dot {
            at: i as f64,
            value: r.difference,
            inner: None,
            outer: Some(r.interval),
            tip: format!(
                "{}\n{:+.2} dB ({:+.2} to {:+.2})\n{}",
                r.name, r.difference, r.interval.0, r.interval.1, r.said
            ),
        });
        Layer::new(classes[k], styles[k], Mark::Dots(Along::X, dots.collect()))
    };
    (0..3).filter(|k| rows.iter().any(|r| r.class == *k)).map(one).collect()
}

fn axis(label: &str, rows: &[Row], also: f64) -> Axis {
    let ends = rows.iter().flat_map(|r| [r.interval.0, r.interval.1, r.difference]);
    Axis::new(label, Scale::around(ends.chain([-also, also])))
}

/// Every place where batches were tested against their prototype; `None` where nothing was.
pub fn equivalence(list: &[(&str, &EquivalenceAnswer)]) -> Option<Figure> {
    let first = list.iter().find(|(_, e)| !e.rows.is_empty())?.1;
    let alpha = first.rows.first()?.check.level.alpha;
    let odds = 100.0 * (1.0 - 2.0 * alpha);
    let mut table = Table::new(&[
        ("tag", "tag", Show::Fixed(0)),
        ("batch", "batch", Show::Fixed(0)),
        ("prototype", "against", Show::Fixed(0)),
        ("region", "band", Show::Fixed(0)),
        ("place", "mount", Show::Fixed(0)),
        ("difference_db", "difference, dB", Show::Fixed(2)),
        ("low_db", &format!("{odds:.0} % from"), Show::Fixed(2)),
        ("high_db", "to", Show::Fixed(2)),
        ("margin_db", "limit, dB", Show::Digits(2)),
        ("verdict", "so", Show::Fixed(0)),
        ("smallest_margin_db", "equal within, dB", Show::Fixed(2)),
        ("spread_ratio", "spread ratio", Show::Fixed(2)),
        ("spread_ratio_low", "from", Show::Fixed(2)),
        ("spread_ratio_high", "to", Show::Fixed(2)),
    ]);
    let mut rows = vec![];
    for (tag, answer) in list {
        for r in &answer.rows {
            let (level, spread) = (&r.check.level, &r.check.spread_ratio_interval);
            let (class, said) = match level.verdict {
                EquivalenceVerdict::Equivalent => (0, "equal"),
                EquivalenceVerdict::Different => (1, "not equal"),
                EquivalenceVerdict::Undecided => (2, "undecided"),
            };
            table.row([
                (*tag).into(),
                answer.batch.as_str().into(),
                answer.prototype.as_str().into(),
                r.region.into(),
                r.place.as_str().into(),
                level.difference.into(),
                level.interval.low.into(),
                level.interval.high.into(),
                answer.margin_db.into(),
                said.into(),
                level.smallest_margin.into(),
                r.check.spread_ratio.into(),
                spread.low.into(),
                spread.high.into(),
            ]);
            rows.push(Row {
                name: format!("{}: {}, {}", answer.batch, r.region, r.place),
                difference: level.difference,
                interval: (level.interval.low, level.interval.high),
                class,
                said: verdict(level),
            });
        }
    }
    let count = |class: usize| rows.iter().filter(|r| r.class == class).count();
    let margin = first.margin_db;
    let title = match list {
        [(_, only)] => summary(only).trim_end_matches('.').to_owned(),
        _ => format!(
            "Within {margin} dB: {} of {} places shown equal, {} not equal, {} undecided",
            count(0),
            rows.len(),
            count(1),
            count(2)
        ),
    };
    let shade = Mark::Shade { along: Along::X, from: -margin, to: margin, label: String::new() };
    let mut drawn = vec![Layer::new(&format!("limit of {margin} dB"), Style::plain(Ink::Wash), shade)];
    drawn.push(zero());
    drawn.extend(layers(&rows, ["equal within the limit", "not equal", "undecided: neither is shown"]));
    let reading = format!(
        "Difference and its {odds:.0} % interval. Equal: all of it lies inside the limit (two one-sided tests at {:.0} %). Not \
         equal: all of it lies outside. Otherwise neither is shown: more samples or a wider limit would be needed.",
        100.0 * alpha
    );
    let source = format!("two one-sided tests at {} places", rows.len());
    let x = axis("threshold of the batch less that of the prototype, dB", &rows, 1.2 * margin);
    let mut out = figure("equivalence", title, &reading, source, table);
    out.assumed = "samples of a batch scatter like a bell curve".into();
    let names = rows.iter().map(|r| r.name.clone());
    let y = Axis::categories("batch: band, mount", names, true);
    out.panels = vec![panel("", x, y, 26.0 * rows.len().max(2) as f64, drawn)];
    Some(out)
}

fn zero() -> Layer {
    let mark = Mark::Rule { along: Along::X, at: 0.0, label: String::new() };
    Layer::new("", Style::plain(Ink::Soft).dashed(Dash::Dot), mark)
}

/// Which of two tags needs less power, at how many of the places compared.
pub fn who_needs_less(pair: &PairAnswer) -> String {
    let count = |class_of: usize| {
        pair.rows.iter().filter(|r| r.never_woke.is_empty() && class(r) == class_of).count()
    };
    let (mut more, mut less) = ((&pair.first, count(0)), (&pair.second, count(1)));
    if less.1 > more.1 {
        std::mem::swap(&mut more, &mut less);
    }
    let other = if less.1 == 0 { "none".to_owned() } else { less.1.to_string() };
    let all = pair.rows.len();
    let untold = match all - more.1 - less.1 {
        0 => String::new(),
        n => format!("; {n} not told apart"),
    };
    format!("{} needs less at {} of {all} places, {} at {other}{untold}", more.0, more.1, less.0)
}

/// Two tags in every band and mount; `None` where no difference is known.
pub fn comparison(pair: &PairAnswer, level: f64, key: &str) -> Option<Figure> {
    let mut table = Table::new(&[
        ("region", "band", Show::Fixed(0)),
        ("place", "mount", Show::Fixed(0)),
        ("first_dbm", &format!("{}, dBm", pair.first), Show::Fixed(1)),
        ("second_dbm", &format!("{}, dBm", pair.second), Show::Fixed(1)),
        ("difference_db", "difference, dB", Show::Fixed(1)),
        ("low_db", &format!("{:.0} % from", 100.0 * level), Show::Fixed(1)),
        ("high_db", "to", Show::Fixed(1)),
        ("so", "so", Show::Fixed(0)),
    ]);
    let mut rows = vec![];
    for r in &pair.rows {
        let d = &r.difference;
        let open = !r.never_woke.is_empty();
        let number = |v: f64| if open { Cell::Empty } else { v.into() };
        let said = so_words(pair, r);
        table.row([
            r.region.into(),
            r.place.as_str().into(),
            r.first_dbm.into(),
            r.second_dbm.into(),
            number(d.difference),
            number(d.interval.low),
            number(d.interval.high),
            said.as_str().into(),
        ]);
        if !open {
            rows.push(Row {
                name: format!("{}, {}", r.region, r.place),
                difference: d.difference,
                interval: (d.interval.low, d.interval.high),
                class: class(r),
                said,
            });
        }
    }
    if rows.is_empty() {
        return None;
    }
    let left = pair.rows.len() - rows.len();
    let title = who_needs_less(pair);
    let (first, second) = (format!("{} needs less", pair.first), format!("{} needs less", pair.second));
    let mut drawn = vec![zero()];
    drawn.extend(layers(&rows, [&first, &second, "cannot be told apart"]));
    let mut reading = format!(
        "Threshold of {} less that of {}, with its {:.0} % interval; left of 0 the first needs less power.",
        pair.first,
        pair.second,
        100.0 * level
    );
    if left > 0 {
        reading += " Places where a tag never woke have no interval: they stand in the table only.";
    }
    let source = format!("samples of {} and {}", pair.first, pair.second);
    let x = axis("difference of the thresholds, dB", &rows, 0.5);
    let mut out = figure(key, title, &reading, source, table);
    out.assumed = "samples scatter like a bell curve".into();
    let y = Axis::categories("band, mount", rows.iter().map(|r| r.name.clone()), true);
    out.panels = vec![panel("", x, y, 26.0 * rows.len().max(2) as f64, drawn)];
    Some(out)
}

fn class(r: &PairRow) -> usize {
    match r.difference.verdict {
        Verdict::FirstLower => 0,
        Verdict::SecondLower => 1,
        Verdict::CannotBeToldApart => 2,
    }
}
