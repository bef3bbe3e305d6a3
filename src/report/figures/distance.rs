//! Figure of the backup's distance: r, and what is left of it when parts of the crossing are new for the copy.

use super::redundancy::source;
use super::{figure, panel};
use crate::report::distance_text::findings;
use crate::report::figure::{Along, Axis, Figure, Layer, Mark};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{capital, minus, percent};
use crate::study::redundancy::answer::Answer;
use crate::study::redundancy::distance::AtDistance;

/// r over the distance of a copy of the line, by what both share.
pub fn distance(a: &Answer) -> Option<Figure> {
    let curve = a.distance.as_ref()?;
    let known: Vec<&AtDistance> =
        curve.points.iter().filter(|p| p.r.is_some() && p.runner.is_some()).collect();
    if known.len() < 2 {
        return None;
    }
    let mut table = Table::new(&[
        ("distance_m", "distance, m", Show::Fixed(2)),
        ("r", "the copy misses it too", Show::Percent),
        ("r_low", "from", Show::Percent),
        ("r_high", "to", Show::Percent),
        ("timing", "by timing of the rounds", Show::Percent),
        ("stride", "by phase of the stride", Show::Percent),
        ("neighbours", "by neighbours", Show::Percent),
        ("place", "by place and heading", Show::Percent),
        ("runner", "runner and bib", Show::Percent),
    ]);
    for p in &curve.points {
        let part = |k: usize| p.parts.get(k).map_or(Cell::Empty, |part| part.points.into());
        table.row([
            p.distance_m.into(),
            p.r.into(),
            p.r_low.into(),
            p.r_high.into(),
            part(0),
            part(1),
            part(2),
            part(3),
            p.runner.as_ref().map(|part| part.points).into(),
        ]);
    }
    let line = |read: &dyn Fn(&AtDistance) -> f64| -> Mark {
        Mark::Line { points: known.iter().map(|p| (p.distance_m, 100.0 * read(p))).collect(), markers: true }
    };
    let r = |p: &AtDistance| p.r.unwrap_or(f64::NAN);
    let still = |p: &AtDistance| r(p) - p.fading.as_ref().map_or(f64::NAN, |part| part.points);
    let runner = |p: &AtDistance| p.runner.as_ref().map_or(f64::NAN, |part| part.points);
    let band = known
        .iter()
        .filter_map(|p| p.r_low.zip(p.r_high).map(|(low, high)| (p.distance_m, 100.0 * low, 100.0 * high)))
        .collect();
    let layers = vec![
        Layer::new("95 % interval over races", Style::series(0), Mark::Band(band)),
        Layer::new("a copy of the line", Style::series(0).wide(2.2), line(&r)),
        Layer::new("with timing, stride and neighbours of its own", Style::series(1), line(&still)),
        Layer::new(
            "with place and heading of its own, too: only runner and bib",
            Style::series(2),
            line(&runner),
        ),
    ];
    let mut layers = layers;
    if let Some(far) = curve.far_r {
        let mark = Mark::Rule { along: Along::Y, at: 100.0 * far, label: String::new() };
        layers.push(Layer::new("a line far away", Style::plain(Ink::Text).dashed(Dash::Long), mark));
    }
    let last = known.iter().map(|p| p.distance_m).fold(0.0, f64::max);
    let top =
        known.iter().map(|p| 100.0 * p.r_high.or(p.r).unwrap_or(0.0)).chain(curve.far_r.map(|v| 100.0 * v));
    let x = Axis::new("distance of the copy along the road, m", Scale::Linear { low: 0.0, high: last });
    let y = Axis::new(
        "of what the line missed the copy misses too, %",
        Scale::from_zero(top.map(|v| v.min(100.0))),
    );
    let end = known[known.len() - 1];
    let title = format!(
        "{last} m on, a copy of {0} misses {1} of what {0} missed; {2} stay for ever with runner and bib",
        curve.line,
        percent(r(end)),
        percent(runner(end).max(0.0))
    );
    let reading = format!(
        "Gaps between the lines: what the copy shares with the line. {}.",
        findings(curve).first().map_or(String::new(), |f| minus(&capital(f)))
    );
    let mut out = figure("distance", title, &reading, source(a), table);
    out.panels = vec![panel("", x, y, 220.0, layers)];
    Some(out)
}
