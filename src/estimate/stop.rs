//! When a run is precise enough: a pure function of what the tallies say, asked only at preset ends of stages.

use crate::passing::draw::REPLICATES;
use serde::{Deserialize, Serialize};

/// What the user wants.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Precision {
    /// Standard error of each point's miss rate, as a share of the rate.
    pub relative: f64,
    /// … or this absolute standard error, whichever is looser.
    pub absolute: f64,
    /// Most passings simulated.
    pub max_passings: u64,
}

/// Why a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stopped {
    /// Every point reached the precision.
    PrecisionReached,
    /// The most passings allowed were spent first.
    MaxPassings,
    /// The user broke the run off.
    Interrupted,
}

/// Worst ratio of standard error to what is allowed over all points: ≤ 1 means precise enough.
/// No points, or a point of which nothing is known (NaN), is never precise enough.
pub fn shortfall(rates_and_errors: &[(f64, f64)], wanted: &Precision) -> f64 {
    if rates_and_errors.is_empty() {
        return f64::INFINITY;
    }
    rates_and_errors.iter().fold(0.0, |worst: f64, &(rate, error)| {
        let ratio = error / (wanted.relative * rate).max(wanted.absolute);
        if ratio.is_nan() { f64::INFINITY } else { worst.max(ratio) }
    })
}

/// Races the next stage needs in all, given the shortfall after `races`: errors fall with the square root or faster,
/// a tenth is added, and a stage never grows the run more than eightfold on the word of a small sample. The count is rounded up to
/// 2^m points of each scramble, where the points are spread most evenly.
pub fn races_needed(races: u64, shortfall: f64, most: u64) -> u64 {
    let wanted = if shortfall.is_finite() {
        ((races as f64 * shortfall * shortfall * 1.1).ceil() as u64).clamp(races, races * 8)
    } else {
        races * 2
    };
    let even = REPLICATES * wanted.div_ceil(REPLICATES).next_power_of_two();
    even.min(most).max(races.min(most))
}

#[cfg(test)]
mod tests {
    use super::*;

    const WANTED: Precision = Precision { relative: 0.05, absolute: 1e-6, max_passings: 1000 };

    #[test]
    fn stops_only_when_every_point_is_precise() {
        assert_eq!(shortfall(&[], &WANTED), f64::INFINITY);
        assert!(shortfall(&[(0.01, 0.0004)], &WANTED) < 1.0);
        assert!(shortfall(&[(0.01, 0.0004), (0.001, 0.0001)], &WANTED) > 1.0);
        // No miss met: error 0 against the absolute limit is precise enough; NaN never is.
        assert_eq!(shortfall(&[(0.0, 0.0)], &WANTED), 0.0);
        assert_eq!(shortfall(&[(0.0, f64::NAN)], &WANTED), f64::INFINITY);
        // All missed, no spread.
        assert_eq!(shortfall(&[(1.0, 0.0)], &WANTED), 0.0);
    }

    #[test]
    fn next_stage_grows_with_the_square_and_keeps_to_the_bounds() {
        // 160·4·1.1 = 704 races, 71 of each scramble: 128.
        assert_eq!(races_needed(160, 2.0, 10_000), 1280);
        assert_eq!(races_needed(160, 0.5, 10_000), 160);
        assert_eq!(races_needed(160, 9.0, 10_000), 1280);
        assert_eq!(races_needed(160, 9.0, 300), 300);
        assert_eq!(races_needed(160, f64::INFINITY, 10_000), 320);
    }
}
