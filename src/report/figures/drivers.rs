//! Figures of what the misses hinge on: shares decided alone, and what either end of an unknown does.

use super::{figure, panel};
use crate::report::drivers_text::{holds, share_words};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark};
use crate::report::palette::Style;
use crate::report::predict_text::with_unit;
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::{capital, grouped, per_10_000, percent};
use crate::study::drivers::Answer;
use crate::study::what_drives::Driver;

const PER: f64 = 1e4;

fn source(a: &Answer) -> String {
    format!(
        "simulation, {} worlds, {} runners past the point, seed {}",
        grouped(a.worlds),
        grouped(a.passings),
        a.provenance.seed
    )
}

/// Shares that the unknowns decide alone; none where nothing is unknown.
pub fn shares(a: &Answer) -> Option<Figure> {
    let first = a.drivers.first()?;
    let mut table = Table::new(&[
        ("unknown", "unknown", Show::Fixed(0)),
        ("holds", "holds", Show::Fixed(0)),
        ("share", "decides alone", Show::Percent),
        ("low", "from", Show::Percent),
        ("high", "to", Show::Percent),
    ]);
    for d in &a.drivers {
        table.row([
            d.what.as_str().into(),
            holds(d).into(),
            d.share.value.into(),
            d.share.low.into(),
            d.share.high.into(),
        ]);
    }
    let dots = |nobody_knows: bool| -> Vec<Dot> {
        let mine = a.drivers.iter().enumerate().filter(|(_, d)| d.nobody_knows == nobody_knows);
        mine.map(|(i, d)| Dot {
            at: i as f64,
            value: 100.0 * d.share.value,
            inner: Some((100.0 * d.share.low, 100.0 * d.share.high)),
            outer: None,
            tip: format!("{}\ndecides {} alone", d.what, share_words(d)),
        })
        .collect()
    };
    let layers = vec![
        Layer::new("holds until measured", Style::series(0), Mark::Dots(Along::X, dots(true))),
        Layer::new("of one day", Style::series(1), Mark::Dots(Along::X, dots(false))),
    ];
    let x =
        Axis::new("share decided alone, %", Scale::from_zero(a.drivers.iter().map(|d| 100.0 * d.share.high)));
    let title = format!("{} decides {} alone", capital(&first.what), percent(first.share.value));
    let reading = "Share of the variance of \"this race breaks the promise\" that each unknown decides by itself. Line: 95 % simulation \
                   interval. What several decide only together is in none of them.";
    let names = a.drivers.iter().map(|d| d.what.clone());
    let mut out = figure("shares", title, reading, source(a), table);
    out.panels = vec![panel(
        "",
        x,
        Axis::categories("unknown", names, true),
        32.0 * a.drivers.len().max(2) as f64,
        layers,
    )];
    Some(out)
}

/// Missed of 10,000 in the lowest and in the highest third of each unknown.
pub fn ends(a: &Answer) -> Option<Figure> {
    let shown: Vec<&Driver> = a.drivers.iter().filter(|d| d.miss_rate_at_low.value > 0.0).collect();
    if shown.is_empty() {
        return None;
    }
    let mut table = Table::new(&[
        ("unknown", "unknown", Show::Fixed(0)),
        ("low", "lowest third around", Show::Fixed(0)),
        ("miss_rate_at_low", "missed", Show::Percent),
        ("breaks_at_low", "promise broken", Show::Percent),
        ("high", "highest third around", Show::Fixed(0)),
        ("miss_rate_at_high", "missed", Show::Percent),
        ("breaks_at_high", "promise broken", Show::Percent),
    ]);
    for d in &shown {
        table.row([
            d.what.as_str().into(),
            with_unit(d.low, &d.unit).as_str().into(),
            d.miss_rate_at_low.value.into(),
            d.breaks_at_low.into(),
            with_unit(d.high, &d.unit).as_str().into(),
            d.miss_rate_at_high.value.into(),
            d.breaks_at_high.into(),
        ]);
    }
    let rates = shown.iter().flat_map(|d| [d.miss_rate_at_low.value, d.miss_rate_at_high.value]);
    let x = Axis::new(
        "missed of 10,000 runners, log scale",
        Scale::decades(rates.map(|r| PER * r).filter(|v| *v > 0.0)),
    );
    let floor = x.scale.ends().0;
    let dots = |high: bool| -> Vec<Dot> {
        let dot = |(i, d): (usize, &&Driver)| {
            let (value, rate) =
                if high { (d.high, d.miss_rate_at_high) } else { (d.low, d.miss_rate_at_low) };
            Dot {
                at: i as f64 + if high { 0.16 } else { -0.16 },
                value: (PER * rate.value).max(floor),
                inner: None,
                outer: None,
                tip: format!(
                    "{} around {}\n{} of 10,000 missed",
                    d.what,
                    with_unit(value, &d.unit),
                    per_10_000(rate.value)
                ),
            }
        };
        shown.iter().enumerate().map(dot).collect()
    };
    let layers = vec![
        Layer::new("lowest third", Style::series(1), Mark::Dots(Along::X, dots(false))),
        Layer::new("highest third", Style::series(0), Mark::Dots(Along::X, dots(true))),
    ];
    let widest = shown.iter().max_by(|a, b| span(a).total_cmp(&span(b)))?;
    let title = format!(
        "From one end of it to the other, {} moves the misses from {} to {} of 10,000",
        widest.what,
        per_10_000(widest.miss_rate_at_low.value),
        per_10_000(widest.miss_rate_at_high.value)
    );
    let reading = "Expected misses on race days in the lowest and in the highest third of each unknown, all others as they come.";
    let names = shown.iter().map(|d| d.what.clone());
    let mut out = figure("ends", title, reading, source(a), table);
    out.panels = vec![panel(
        "",
        x,
        Axis::categories("unknown", names, true),
        34.0 * shown.len().max(2) as f64,
        layers,
    )];
    Some(out)
}

fn span(d: &Driver) -> f64 {
    let log = |rate: f64| libm::log(rate.max(1e-12));
    (log(d.miss_rate_at_high.value) - log(d.miss_rate_at_low.value)).abs()
}
