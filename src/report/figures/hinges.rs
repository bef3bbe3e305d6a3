//! Figure of what a forecast hinges on.

use super::figure;
use super::predict::{source, worst};
use super::spans::{PER, Span, spans};
use crate::report::figure::{Axis, Figure};
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::per_10_000;
use crate::study::hinges::Hinge;
use crate::study::predict::Forecast;

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
    let reading = "Mean miss rate over the third of race days with the lowest and the highest value of each quantity; no \
                   run was made again.";
    let mut out = figure("hinges", title, reading, source(f), table);
    for (title, clear) in [("stands out", true), ("no more than chance explains", false)] {
        let list: Vec<Span> = p.hinges.iter().filter(|h| h.clear == clear).map(span).collect();
        if !list.is_empty() {
            let ends = ["race days in the lowest third", "race days in the highest third"];
            let middle = Some((p.summary.miss_rate, "expected over all race days"));
            out.panels.push(spans(title, &list, &x, ends, middle));
        }
    }
    Some(out)
}

fn span(h: &Hinge) -> Span<'_> {
    Span {
        what: &h.what,
        unit: &h.unit,
        low: Some(h.low),
        high: Some(h.high),
        rate_at_low: h.miss_rate_at_low,
        rate_at_high: h.miss_rate_at_high,
    }
}
