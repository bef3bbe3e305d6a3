//! Where the order changes: shares at which another tag becomes the best, solved exactly.
//!
//! The expected misses of a mix (and the bill, where prices are weighed against misses) are linear in its shares, so along one share t every tag is a straight line (1−t)·L₀ + t·L₁ and the best
//! is the lower envelope. Its corners are solved one after the other.

use super::losses::{Half, Losses, means};
use crate::estimate::selection::index_of_least;
use crate::study::strata::mean_shares;
use serde::Serialize;

/// A corner: below `at` one tag is best, above it another.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Flip {
    pub at: f64,
    pub below: String,
    pub above: String,
}

/// One share, from 0 to 1.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Axis {
    pub what: String,
    /// Where the season is now.
    pub now: f64,
    pub best_at_zero: String,
    pub best_at_one: String,
    pub flips: Vec<Flip>,
}

/// Corners of the lower envelope of lines given by their values at 0 and at 1: (place, line before, line after).
pub fn envelope(lines: &[(f64, f64)]) -> Vec<(f64, usize, usize)> {
    let value = |i: usize, t: f64| lines[i].0 + t * (lines[i].1 - lines[i].0);
    let slope = |i: usize| lines[i].1 - lines[i].0;
    let at_zero: Vec<f64> = lines.iter().map(|l| l.0).collect();
    let Some(mut best) = index_of_least(&at_zero) else { return Vec::new() };
    // Of equals at zero the one that stays lowest.
    for i in 0..lines.len() {
        if lines[i].0 == lines[best].0 && slope(i) < slope(best) {
            best = i;
        }
    }
    let mut corners = Vec::new();
    let mut at = 0.0;
    loop {
        let next = (0..lines.len())
            .filter(|&i| slope(i) < slope(best))
            .map(|i| ((value(i, at) - value(best, at)) / (slope(best) - slope(i)) + at, i))
            .filter(|(t, _)| *t < 1.0)
            .min_by(|x, y| x.0.total_cmp(&y.0).then(slope(x.1).total_cmp(&slope(y.1))));
        let Some((t, i)) = next else { return corners };
        corners.push((t, best, i));
        (at, best) = (t, i);
    }
}

/// The share of each region among the races, and the share of soaked bibs.
pub fn axes(losses: &Losses) -> Vec<Axis> {
    let resolved = losses.resolved();
    let names: Vec<&str> = resolved.tags.iter().map(|t| t.name.as_str()).collect();
    let mut list = Vec::new();
    let mut regions: Vec<(&str, &str)> = Vec::new();
    for &(site, _) in &resolved.variants[0].races {
        let region = &resolved.sites[site].course.region;
        if !regions.iter().any(|(key, _)| *key == region.key) {
            regions.push((&region.key, &region.name));
        }
    }
    let total = losses.races(0);
    for (key, name) in regions {
        let inside = |entry: usize| {
            let (site, _) = resolved.variants[0].races[entry];
            resolved.sites[site].course.region.key == key
        };
        let races = |wanted: bool| -> f64 {
            resolved.variants[0]
                .races
                .iter()
                .enumerate()
                .filter(|(e, _)| inside(*e) == wanted)
                .map(|(_, r)| r.1)
                .sum()
        };
        let (here, rest) = (races(true), races(false));
        if here <= 0.0 || rest <= 0.0 {
            continue;
        }
        let part = |wanted: bool, count: f64| {
            means(&losses.decision(
                0,
                Half::Both,
                |entry, r| if inside(entry) == wanted { r / count } else { 0.0 },
            ))
        };
        list.push(axis(
            format!("share of the races in {name}"),
            here / total,
            &part(false, rest),
            &part(true, here),
            &names,
        ));
    }
    if let Some(wet) = soaked_axis(losses, &names) {
        list.push(wet);
    }
    list
}

fn soaked_axis(losses: &Losses, names: &[&str]) -> Option<Axis> {
    let resolved = losses.resolved();
    let (mut unsoaked, mut soaked) = (vec![0.0; names.len()], vec![0.0; names.len()]);
    let (mut now, mut bibs) = (0.0, 0.0);
    for &(site, races) in &resolved.variants[0].races {
        let course = &resolved.sites[site].course;
        let [dry, damp, wet] = mean_shares(&course.weather);
        let weight = races * course.field.runners as f64;
        now += weight * wet;
        bibs += weight;
        for tag in 0..names.len() {
            let by = losses.by_wetness(site, tag);
            let rest = if dry + damp > 0.0 { (dry * by[0] + damp * by[1]) / (dry + damp) } else { by[0] };
            unsoaked[tag] += races * (rest + losses.bill_of_race(site, tag));
            soaked[tag] += races * (by[2] + losses.bill_of_race(site, tag));
        }
    }
    (bibs > 0.0).then(|| axis("share of soaked bibs".to_owned(), now / bibs, &unsoaked, &soaked, names))
}

fn axis(what: String, now: f64, at_zero: &[f64], at_one: &[f64], names: &[&str]) -> Axis {
    let lines: Vec<(f64, f64)> = at_zero.iter().copied().zip(at_one.iter().copied()).collect();
    let corners = envelope(&lines);
    let best = |values: &[f64]| index_of_least(values).map_or(String::new(), |i| names[i].to_owned());
    Axis {
        what,
        now,
        best_at_zero: corners.first().map_or_else(|| best(at_zero), |c| names[c.1].to_owned()),
        best_at_one: corners.last().map_or_else(|| best(at_one), |c| names[c.2].to_owned()),
        flips: corners
            .into_iter()
            .map(|(at, below, above)| Flip {
                at,
                below: names[below].to_owned(),
                above: names[above].to_owned(),
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Corners found by bisection on the least value, an independent way.
    #[test]
    fn corners_agree_with_bisection() {
        let lines = [(1.0, 9.0), (2.0, 5.0), (4.0, 3.5), (6.0, 6.0), (9.0, 1.0)];
        let best = |t: f64| {
            let values: Vec<f64> = lines.iter().map(|(a, b)| a + t * (b - a)).collect();
            index_of_least(&values).unwrap()
        };
        let corners = envelope(&lines);
        assert!(!corners.is_empty());
        for (at, before, after) in corners {
            let (mut low, mut high) = (at - 0.01, at + 0.01);
            assert_eq!((best(low), best(high)), (before, after));
            for _ in 0..50 {
                let middle = 0.5 * (low + high);
                if best(middle) == before { low = middle } else { high = middle }
            }
            assert!((low - at).abs() < 1e-12);
        }
    }

    #[test]
    fn lines_that_never_cross_have_no_corner() {
        assert!(envelope(&[(1.0, 2.0), (2.0, 3.0)]).is_empty());
        assert!(envelope(&[]).is_empty());
        assert_eq!(envelope(&[(1.0, 2.0), (1.0, 0.0)]), []);
        assert_eq!(envelope(&[(0.0, 1.0), (1.0, 0.0)]), [(0.5, 0, 1)]);
    }
}
