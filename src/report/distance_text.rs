//! Where to put the backup, in words: what both lines share, and what of it distance takes away.

use super::words::{WIDTH, item, listed, percent, table, wrap};
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

/// What distance takes away, in one sentence: no more is said than stands clear of the noise of the run.
fn fading(points: &[AtDistance]) -> Option<String> {
    let known: Vec<(f64, &Part)> =
        points.iter().filter_map(|p| p.fading.as_ref().map(|part| (p.distance_m, part))).collect();
    let (&(near_m, near), &(away_m, away)) = (known.first()?, known.last()?);
    let what = "what distance can take away (timing, stride, neighbours) is";
    if known.len() < 2 {
        return Some(format!("{what} {} at {near_m} m", with_noise(near)));
    }
    let clear: Vec<f64> = known.iter().filter(|(_, part)| is_clear(part)).map(|(m, _)| *m).collect();
    // Up to which distance every value stands clear, seen from the line.
    let first_lost = known.iter().position(|(_, part)| !is_clear(part)).unwrap_or(known.len());
    let declines = near.low.zip(away.high).is_some_and(|(low, high)| low > high);
    let so = if near.low.is_none() {
        "; one race gives no noise to judge them by".to_owned()
    } else if clear.is_empty() {
        ", at no distance looked at more than the noise of this run, which gives no reason to prefer one"
            .to_owned()
    } else if first_lost == known.len() && declines {
        ": it falls with distance, but some is left there".to_owned()
    } else if first_lost == known.len() {
        ": there at every distance looked at, and this run shows no clear fall".to_owned()
    } else if first_lost == clear.len() && first_lost > 0 {
        let (last, lost) = (known[first_lost - 1].0, known[first_lost].0);
        let reach = format!("clear of the noise of this run up to {last} m, lost in it from {lost} m on");
        if declines {
            format!(": {reach}")
        } else {
            format!(": {reach}, though the fall itself is not clear")
        }
    } else {
        let places: Vec<String> = clear.iter().map(|m| format!("{m} m")).collect();
        format!(
            ": clear of the noise of this run only at {}, so this run cannot tell how it falls",
            listed(&places)
        )
    };
    Some(format!("{what} {} at {near_m} m and {} at {away_m} m{so}", with_noise(near), with_noise(away)))
}

/// What fades and what stays, as sentences.
pub fn findings(curve: &DistanceCurve) -> Vec<String> {
    let Some(last) = curve.points.last() else { return Vec::new() };
    let mut list: Vec<String> = fading(&curve.points).into_iter().collect();
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A curve of points and half widths of the fading part, in points of percent.
    fn curve(values: &[(f64, f64)]) -> Vec<AtDistance> {
        let point = |(i, &(points, reach)): (usize, &(f64, f64))| {
            let (points, reach) = (points / 100.0, reach / 100.0);
            let part = Part { points, low: Some(points - reach), high: Some(points + reach) };
            AtDistance {
                distance_m: [0.5, 2.0, 8.0, 20.0][i],
                r: Some(0.5),
                r_low: None,
                r_high: None,
                parts: vec![],
                fading: Some(part),
                runner: None,
            }
        };
        values.iter().enumerate().map(point).collect()
    }
    fn said(values: &[(f64, f64)]) -> String {
        let text = fading(&curve(values)).expect("a sentence");
        text.replace("what distance can take away (timing, stride, neighbours) is ", "")
    }

    #[test]
    fn noise_everywhere_prefers_no_distance() {
        assert_eq!(
            said(&[(0.4, 1.0), (1.0, 1.1), (0.2, 1.0), (-0.3, 1.2)]),
            "0.4 ± 1.0 points at 0.5 m and -0.3 ± 1.2 points at 20 m, at no distance looked at more than the noise \
             of this run, which gives no reason to prefer one"
        );
    }
    #[test]
    fn noise_at_the_far_end_says_from_where_on() {
        let clear = said(&[(9.0, 1.0), (6.0, 1.1), (0.9, 1.0), (0.1, 1.2)]);
        assert!(
            clear.ends_with("20 m: clear of the noise of this run up to 2 m, lost in it from 8 m on"),
            "{clear}"
        );
        let vague = said(&[(2.0, 1.5), (1.8, 1.7), (1.0, 1.6), (1.2, 1.4)]);
        assert!(
            vague.ends_with("up to 2 m, lost in it from 8 m on, though the fall itself is not clear"),
            "{vague}"
        );
    }
    #[test]
    fn a_fall_that_does_not_end_is_told_from_none() {
        let falls = said(&[(9.0, 1.0), (6.0, 1.0), (4.0, 1.0), (3.0, 1.0)]);
        assert!(falls.ends_with("at 20 m: it falls with distance, but some is left there"), "{falls}");
        let flat = said(&[(4.0, 1.0), (4.2, 1.0), (3.9, 1.0), (3.8, 1.0)]);
        assert!(
            flat.ends_with(": there at every distance looked at, and this run shows no clear fall"),
            "{flat}"
        );
    }
    #[test]
    fn noise_at_both_ends_names_where_it_is_clear() {
        let middle = said(&[(0.5, 1.0), (2.0, 1.0), (2.2, 1.0), (0.2, 1.0)]);
        assert!(middle.ends_with("only at 2 m and 8 m, so this run cannot tell how it falls"), "{middle}");
        let back = said(&[(3.0, 1.0), (0.5, 1.0), (0.4, 1.0), (2.0, 1.0)]);
        assert!(back.contains("only at 0.5 m and 20 m"), "{back}");
    }
    #[test]
    fn one_distance_or_one_race_claims_nothing() {
        assert_eq!(said(&[(3.0, 1.0)]), "3.0 ± 1.0 points at 0.5 m");
        let mut alone = curve(&[(3.0, 1.0), (2.0, 1.0)]);
        for part in alone.iter_mut().filter_map(|p| p.fading.as_mut()) {
            (part.low, part.high) = (None, None);
        }
        let text = fading(&alone).expect("a sentence");
        assert!(text.ends_with("one race gives no noise to judge them by") && !text.contains('±'), "{text}");
        assert_eq!(fading(&[]), None);
    }
}
