//! Strata: placement × wetness, with exact weights and samples where the misses are.
//!
//! A passing's index names its stratum: index = k·S + s for draw k of stratum s of S. So the index alone tells
//! everything about a passing, whatever the allocation, and any passing can be replayed.
//! Weights are the field's placement shares times the race day's wetness shares, exact for every race.
//! Allocation after J. Neyman, J. R. Stat. Soc. 97 (1934) 558-606: n_s ∝ w_s·σ_s, mixed with a fifth of
//! proportional allocation, and never fewer than `LEAST` in a stratum.

use crate::course::Course;
use crate::course::weather::Wetness;
use crate::passing::RaceDraw;

/// Fewest passings of a stratum in a race: a variance needs two.
pub const LEAST: u64 = 2;

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stratum {
    pub placement_row: usize,
    pub wetness: Wetness,
}

/// The strata that can occur in a scenario, in a fixed order.
pub fn strata(course: &Course) -> Vec<Stratum> {
    let mut out = Vec::new();
    for wetness in Wetness::ALL {
        let possible = [1e-9, 0.25, 0.5, 0.75, 1.0 - 1e-9]
            .iter()
            .any(|&u| course.weather.shares(u)[wetness as usize] > 0.0);
        for (placement_row, row) in course.field.placements.iter().enumerate() {
            if possible && row.share > 0.0 {
                out.push(Stratum { placement_row, wetness });
            }
        }
    }
    out
}

/// Weight of each stratum on the day of a draw; sums to 1.
pub fn weights(course: &Course, strata: &[Stratum], draw: &RaceDraw) -> Vec<f64> {
    let total: f64 = course.field.placements.iter().map(|p| p.share).sum();
    strata
        .iter()
        .map(|s| {
            course.field.placements[s.placement_row].share / total * draw.wetness_shares[s.wetness as usize]
        })
        .collect()
}

/// Stratum and draw number of a passing index.
pub fn of_index(passing: u64, strata: usize) -> (usize, u64) {
    ((passing % strata as u64) as usize, passing / strata as u64)
}

/// Passing index of draw `k` of stratum `s`.
pub fn to_index(stratum: usize, k: u64, strata: usize) -> u64 {
    k * strata as u64 + stratum as u64
}

/// Passings of each stratum in one world: `total` shared after w·σ, a fifth of it after w alone; even numbers, so that
/// there are two halves. `sigma` may be all zero (nothing known): then after w alone.
pub fn allocate(total: u64, weights: &[f64], sigma: &[f64]) -> Vec<u64> {
    let spread: f64 = weights.iter().zip(sigma).map(|(w, s)| w * s).sum();
    let sum: f64 = weights.iter().sum();
    weights
        .iter()
        .zip(sigma)
        .map(|(w, s)| {
            let proportional = w / sum;
            let neyman = if spread > 0.0 { w * s / spread } else { proportional };
            let share = 0.8 * neyman + 0.2 * proportional;
            (2 * (0.5 * share * total as f64).round() as u64).max(LEAST)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn indices_name_stratum_and_draw() {
        for strata in [1usize, 6, 18] {
            for passing in 0..200 {
                let (s, k) = of_index(passing, strata);
                assert!(s < strata);
                assert_eq!(to_index(s, k, strata), passing);
            }
        }
    }

    /// Source: J. Neyman 1934: shares ∝ w·σ; with σ all alike the shares are the weights. Tolerance: rounding.
    #[test]
    fn val_neyman_shares() {
        assert_eq!(allocate(1000, &[0.5, 0.5], &[3.0, 1.0]), [700, 300]);
        assert_eq!(allocate(1000, &[0.8, 0.2], &[2.0, 2.0]), [800, 200]);
        assert_eq!(allocate(100, &[0.99, 0.01], &[0.0, 0.0]), [100, 2]);
    }
}
