//! Where to put the backup, in words: what both lines share, and what of it distance takes away.

use super::words::{WIDTH, item, percent, table, wrap};
use crate::study::redundancy::distance::{AtDistance, DistanceCurve, Part};

fn points(part: &Part) -> String {
    let text = format!("{:.1}", 100.0 * part.points);
    if text == "-0.0" { "0.0".to_owned() } else { text }
}

/// "4.2 ± 1.3 points".
fn with_noise(part: &Part) -> String {
    let reach = part.high.map_or(String::new(), |high| format!(" ± {:.1}", 100.0 * (high - part.points)));
    format!("{}{reach} points", points(part))
}

/// Whether a part lies outside the noise.
fn is_clear(part: &Part) -> bool {
    part.low.is_some_and(|low| low > 0.0)
}

/// The section of the report.
pub fn distance_text(curve: &DistanceCurve) -> String {
    let mut out = format!("Distance of a copy of \"{}\" behind it\n", curve.line);
    let rows: Vec<Vec<String>> = curve
        .points
        .iter()
        .map(|p| {
            let range = p
                .r_low
                .zip(p.r_high)
                .map_or("-".to_owned(), |(low, high)| format!("{} to {}", percent(low), percent(high)));
            let mut row = vec![format!("{} m", p.distance_m), p.r.map_or("-".to_owned(), percent), range];
            row.extend(p.parts.iter().map(points));
            row.resize(3 + curve.shared.len(), "-".to_owned());
            row.push(p.runner.as_ref().map_or("-".to_owned(), points));
            row
        })
        .collect();
    out.push_str(&table(
        &["distance", "also missed", "within", "timing", "stride", "neighbours", "place", "runner and bib"],
        &rows,
    ));
    out.push_str(&wrap(
        "The last five columns share out \"also missed\", in points of percent, by what both lines have in common: timing of the rounds, phase of the stride, neighbours, place across the road with heading, and what stays for ever (the tag, how the bib sits, wetness, gap).",
        WIDTH,
        "  ",
    ));
    for sentence in findings(curve) {
        item(&mut out, &sentence);
    }
    out.push('\n');
    out
}

/// What fades and what stays, as sentences.
pub fn findings(curve: &DistanceCurve) -> Vec<String> {
    let (Some(first), Some(last)) = (curve.points.first(), curve.points.last()) else { return Vec::new() };
    let mut list = Vec::new();
    if let (Some(near), Some(away)) = (&first.fading, &last.fading) {
        let end = match curve.settled_from_m {
            _ if curve.points.len() < 2 => String::new(),
            Some(m) if m <= first.distance_m => {
                ": no more than the noise of this run at any distance, so the distance hardly matters"
                    .to_owned()
            }
            Some(m) => format!(": within the noise of this run from about {m} m on"),
            None => " and has not faded by then".to_owned(),
        };
        list.push(format!(
            "what distance can take away (timing, stride, neighbours) is {} at {} m and {} at {} m{end}",
            with_noise(near),
            first.distance_m,
            with_noise(away),
            last.distance_m
        ));
    }
    let place = |p: &AtDistance| p.parts.last().cloned();
    if let Some(part) = place(last) {
        let size = if is_clear(&part) {
            with_noise(&part)
        } else {
            format!("{}, no more than noise", with_noise(&part))
        };
        list.push(format!(
            "place across the road and heading hold through a whole timing point: {size} at {} m; only a line at another timing point gets rid of them",
            last.distance_m
        ));
    }
    if let Some(far) = curve.far_r {
        list.push(format!(
            "with only the runner and the bib the same, as far away, {} are still missed: that part stays for ever",
            percent(far)
        ));
    }
    list.push(
        "every antenna has diffuse waves of its own, so fading is shared at no distance (assumed)".to_owned(),
    );
    list
}
