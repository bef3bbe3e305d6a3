//! Figure of what a forecast hinges on.

use super::predict::{figure, panel, source, worst};
use crate::report::figure::{Along, Axis, Bar, Dot, Figure, Layer, Mark};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::per_10_000;
use crate::study::predict::Forecast;

const PER: f64 = 1e4;

/// What the miss rate of the worst point hinges on.
pub fn hinges(f: &Forecast) -> Option<Figure> {
    let p = worst(f).filter(|p| p.summary.miss_rate > 0.0 && !p.hinges.is_empty())?;
    let mut table = Table::new(&[
        ("what", "drawn for each race", Show::Fixed(0)),
        ("unit", "unit", Show::Fixed(0)),
        ("low", "low", Show::Digits(3)),
        ("high", "high", Show::Digits(3)),
        ("miss_rate_at_low", "missed at low", Show::Percent),
        ("miss_rate_at_high", "missed at high", Show::Percent),
        ("share", "share of the rank variance", Show::Percent),
    ]);
    for h in &p.hinges {
        table.row([
            h.what.as_str().into(),
            h.unit.as_str().into(),
            h.low.into(),
            h.high.into(),
            h.miss_rate_at_low.into(),
            h.miss_rate_at_high.into(),
            h.share.into(),
        ]);
    }
    let values =
        p.hinges.iter().flat_map(|h| [h.miss_rate_at_low, h.miss_rate_at_high]).chain([p.summary.miss_rate]);
    let x = Axis::new("missed of 10,000 runners, log scale", Scale::decades(values.map(|v| PER * v)));
    let floor = x.scale.ends().0;
    let dots = |read: fn(&crate::study::hinges::Hinge) -> (f64, f64)| -> Vec<Dot> {
        let dot = |(i, h): (usize, &crate::study::hinges::Hinge)| {
            let (at, rate) = read(h);
            let tip = format!("{} {:.2} {}: {} of 10,000", h.what, at, h.unit, per_10_000(rate));
            Dot { at: i as f64, value: (PER * rate).max(floor), inner: None, outer: None, tip }
        };
        p.hinges.iter().enumerate().map(dot).collect()
    };
    let spans = p.hinges.iter().enumerate().map(|(i, h)| Bar {
        at: i as f64,
        from: (PER * h.miss_rate_at_low).max(floor),
        to: (PER * h.miss_rate_at_high).max(floor),
        thickness: 0.16,
        tip: if h.clear { String::new() } else { format!("{}: no more than chance", h.what) },
    });
    let layers = vec![
        Layer::new("", Style::plain(Ink::Faint), Mark::Bars(Along::X, spans.collect())),
        Layer::new(
            "race days in the lowest third",
            Style::series(1),
            Mark::Dots(Along::X, dots(|h| (h.low, h.miss_rate_at_low))),
        ),
        Layer::new(
            "race days in the highest third",
            Style::series(0),
            Mark::Dots(Along::X, dots(|h| (h.high, h.miss_rate_at_high))),
        ),
        Layer::new(
            "expected over all race days",
            Style::plain(Ink::Soft).dashed(Dash::Dot).wide(1.6),
            Mark::Rule { along: Along::X, at: PER * p.summary.miss_rate, label: String::new() },
        ),
    ];
    let clear = p.hinges.iter().find(|h| h.clear);
    let title = match clear {
        Some(h) => format!(
            "{} hinges most on the {}: {} against {} of 10,000",
            p.name,
            h.what,
            per_10_000(h.miss_rate_at_low),
            per_10_000(h.miss_rate_at_high)
        ),
        None => format!("{}: nothing drawn for a race stands out as the lever", p.name),
    };
    let names = p.hinges.iter().map(|h| if h.clear { h.what.clone() } else { format!("({})", h.what) });
    let reading = "Mean miss rate over the third of race days with the lowest and the highest value of each quantity; no \
                   run was made again. In brackets: no more than chance explains.";
    let y = Axis::categories("drawn for each race", names, true);
    let mut out = figure("hinges", title, reading, source(f), table);
    out.panels = vec![panel("", x, y, 30.0 * p.hinges.len() as f64, layers)];
    Some(out)
}
