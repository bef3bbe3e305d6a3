//! Equivalence within a stated margin: the question of a production batch against the approved prototype.
//!
//! "No significant difference" proves nothing: few readings make it easy. Two one-sided tests ask whether the difference is
//! above −margin and below +margin; equal: the 1 − 2α interval lies inside the margin.
//! Source: D. J. Schuirmann, A comparison of the two one-sided tests procedure and the power approach for assessing the
//! equivalence of average bioavailability, J. Pharmacokinet. Biopharm. 15 (1987) 657-680.

use super::compare::{MeanDifference, SampleMean, welch};
use super::few::Range;
use crate::numeric::f_ratio::f_quantile;
use crate::numeric::student::{t_cdf, t_quantile};
use serde::{Deserialize, Serialize};

/// What the two tests say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EquivalenceVerdict {
    /// Equal within the margin.
    Equivalent,
    /// The whole interval lies outside the margin.
    Different,
    /// Too few or too scattered readings to say either.
    Undecided,
}

/// Result of the two one-sided tests.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Equivalence {
    pub margin: f64,
    pub alpha: f64,
    pub difference: f64,
    /// Interval at 1 − 2α.
    pub interval: Range,
    /// Larger of the two p values.
    pub p_value: f64,
    pub verdict: EquivalenceVerdict,
    /// Smallest margin within which these readings show equivalence.
    pub smallest_margin: f64,
}

/// Tests whether the difference lies within ± `margin` (> 0) at `alpha` (0..0.5).
pub fn equivalence(d: &MeanDifference, margin: f64, alpha: f64) -> Equivalence {
    let t = t_quantile(1.0 - alpha, d.degrees_of_freedom);
    let interval =
        Range { low: d.difference - t * d.standard_error, high: d.difference + t * d.standard_error };
    let tail = |distance: f64| {
        if d.standard_error > 0.0 {
            t_cdf(-distance / d.standard_error, d.degrees_of_freedom)
        } else if distance > 0.0 {
            0.0
        } else {
            1.0
        }
    };
    let p_value = tail(margin + d.difference).max(tail(margin - d.difference));
    let verdict = if p_value < alpha {
        EquivalenceVerdict::Equivalent
    } else if interval.low > margin || interval.high < -margin {
        EquivalenceVerdict::Different
    } else {
        EquivalenceVerdict::Undecided
    };
    let smallest_margin = interval.low.abs().max(interval.high.abs());
    Equivalence { margin, alpha, difference: d.difference, interval, p_value, verdict, smallest_margin }
}

/// Production batch against the approved prototype.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BatchCheck {
    /// Batch minus prototype.
    pub level: Equivalence,
    /// Standard deviation of the batch over that of the prototype samples, with its interval at 1 − 2α.
    pub spread_ratio: f64,
    pub spread_ratio_interval: Range,
}

/// Compares at least two samples each; `known_part` as in `compare::welch`. `None` for fewer or for a prototype without
/// any spread.
pub fn batch_against_prototype(
    prototype: &[f64],
    batch: &[f64],
    margin: f64,
    alpha: f64,
    known_part: f64,
) -> Option<BatchCheck> {
    let (old, new) = (SampleMean::of(prototype)?, SampleMean::of(batch)?);
    if !(old.standard_deviation > 0.0) {
        return None;
    }
    let d = welch(&new, &old, known_part, 1.0 - 2.0 * alpha);
    let ratio = (new.standard_deviation / old.standard_deviation).powi(2);
    let point = |p: f64| f_quantile(p, new.degrees_of_freedom, old.degrees_of_freedom);
    Some(BatchCheck {
        level: equivalence(&d, margin, alpha),
        spread_ratio: ratio.sqrt(),
        spread_ratio_interval: Range {
            low: (ratio / point(1.0 - alpha)).sqrt(),
            high: (ratio / point(alpha)).sqrt(),
        },
    })
}

impl Equivalence {
    /// One sentence about `what` of `first` and `second`.
    pub fn sentence(&self, first: &str, second: &str, what: &str) -> String {
        let range = format!(
            "{:+.1} dB ({:.0} %: {:+.1} to {:+.1})",
            self.difference,
            100.0 * (1.0 - 2.0 * self.alpha),
            self.interval.low,
            self.interval.high
        );
        let margin = self.margin;
        match self.verdict {
            EquivalenceVerdict::Equivalent => {
                format!("The {what} of {first} equals that of {second} within {margin:.1} dB: {range}.")
            }
            EquivalenceVerdict::Different => {
                format!(
                    "The {what} of {first} differs from that of {second} by more than {margin:.1} dB: {range}."
                )
            }
            EquivalenceVerdict::Undecided => format!(
                "It is not shown that the {what} of {first} equals that of {second} within {margin:.1} dB: {range}. These readings show it within {:.1} dB only.",
                self.smallest_margin
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::compare::paired;
    use super::*;

    const A: [f64; 5] = [-17.8, -18.3, -17.1, -18.0, -17.5];
    const B: [f64; 3] = [-16.9, -17.4, -17.0];

    /// Source: statsmodels 0.15.0, ttost_ind(usevar="unequal") with ±1.5 dB and ttost_paired with ±0.7 dB; ratio of standard
    /// deviations by scipy.stats.f 1.17.1. Tolerance: 1e-9.
    #[test]
    fn val_two_one_sided_tests() {
        let d = welch(&SampleMean::of(&A).expect("5"), &SampleMean::of(&B).expect("3"), 0.0, 0.95);
        let e = equivalence(&d, 1.5, 0.05);
        assert!((e.p_value - 0.007_739_078_240_149).abs() < 1e-9);
        assert_eq!(e.verdict, EquivalenceVerdict::Equivalent);
        let p = paired(&A, &[-17.2, -18.1, -16.8, -17.3, -17.4], 0.0, 0.95).expect("5 pairs");
        assert!((equivalence(&p, 0.7, 0.05).p_value - 0.025_310_881_274_630).abs() < 1e-9);
        let check = batch_against_prototype(&B, &A, 1.5, 0.025, 0.0).expect("enough");
        assert!((check.spread_ratio - 1.744_378_726_898_8).abs() < 1e-9);
        assert!((check.spread_ratio_interval.low - 0.278_438_769_304_9).abs() < 1e-9);
        assert!((check.spread_ratio_interval.high - 5.692_426_756_494_1).abs() < 1e-8);
    }

    #[test]
    fn not_different_is_not_equal() {
        let d =
            welch(&SampleMean::of(&A).expect("5"), &SampleMean::of(&[-17.4, -17.9]).expect("2"), 0.0, 0.95);
        assert!(d.p_value > 0.5, "no significant difference");
        let e = equivalence(&d, 0.3, 0.05);
        assert_eq!(e.verdict, EquivalenceVerdict::Undecided);
        assert!(e.sentence("the batch", "the prototype", "threshold").starts_with("It is not shown"));
        // At the smallest margin the p value is just alpha.
        assert!((equivalence(&d, e.smallest_margin, 0.05).p_value - 0.05).abs() < 1e-9);
        let far = equivalence(&MeanDifference { difference: 3.0, ..d }, 0.3, 0.05);
        assert_eq!(far.verdict, EquivalenceVerdict::Different);
        assert!(batch_against_prototype(&[1.0, 1.0], &A, 1.0, 0.05, 0.0).is_none());
    }
}
