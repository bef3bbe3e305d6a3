//! Two miss rates of each input, one at its low and one at its high value, joined: the part that hinges and swings share.

use super::panel;
use crate::report::figure::{Along, Axis, Bar, Dot, Layer, Mark, Panel};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::words::{per_10_000, significant};

/// Rates are drawn per 10,000.
pub const PER: f64 = 1e4;

/// Miss rates (0..1) of one input at its two values.
pub struct Span<'a> {
    pub what: &'a str,
    pub unit: &'a str,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub rate_at_low: f64,
    pub rate_at_high: f64,
}

/// A panel of spans, the first at the top. `ends` name the low and the high value, `middle` a rate to compare with.
pub fn spans(title: &str, list: &[Span], x: &Axis, ends: [&str; 2], middle: Option<(f64, &str)>) -> Panel {
    let floor = x.scale.ends().0;
    let on = |rate: f64| (PER * rate).max(floor);
    let bars = list.iter().enumerate().map(|(i, s)| Bar {
        at: i as f64,
        from: on(s.rate_at_low),
        to: on(s.rate_at_high),
        thickness: 0.16,
        tip: String::new(),
    });
    let dots = |read: fn(&Span) -> (Option<f64>, f64)| -> Vec<Dot> {
        let dot = |(i, s): (usize, &Span)| {
            let (at, rate) = read(s);
            let unit = if s.unit.is_empty() { String::new() } else { format!(" {}", s.unit) };
            let at = at.map_or(String::new(), |v| format!(" {}{unit}", significant(v)));
            let tip = format!("{}{at}: {} of 10,000", s.what, per_10_000(rate));
            Dot { at: i as f64, value: on(rate), inner: None, outer: None, tip }
        };
        list.iter().enumerate().map(dot).collect()
    };
    let mut layers = vec![
        Layer::new("", Style::plain(Ink::Faint), Mark::Bars(Along::X, bars.collect())),
        Layer::new(ends[0], Style::series(1), Mark::Dots(Along::X, dots(|s| (s.low, s.rate_at_low)))),
        Layer::new(ends[1], Style::series(0), Mark::Dots(Along::X, dots(|s| (s.high, s.rate_at_high)))),
    ];
    if let Some((rate, name)) = middle {
        layers.push(Layer::new(
            name,
            Style::plain(Ink::Soft).dashed(Dash::Dot).wide(1.6),
            Mark::Rule { along: Along::X, at: on(rate), label: String::new() },
        ));
    }
    let y = Axis::categories("", list.iter().map(|s| s.what.to_owned()), true);
    panel(title, x.clone(), y, 27.0 * list.len().max(2) as f64, layers)
}
