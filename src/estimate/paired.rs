//! Two options on the same draws: moments of the pair and of the difference, and what common draws save.
//!
//! With scores a and b of the same passings (or races), Var(ā − b̄) = (σ_A² + σ_B² − 2·cov) / n. Draws of
//! their own would leave out the covariance, so the ratio (σ_A² + σ_B²) / (σ_A² + σ_B² − 2·cov) is the factor
//! of runs that common draws save.
//!
//! Moments are kept as count, means and centred sums and merged by the pairwise update of T. F. Chan,
//! G. H. Golub, R. J. LeVeque, Algorithms for computing the sample variance, The American Statistician 37(3),
//! 1983. Merging is not associative to the last bit: fold in block order.

use crate::random::transform::normal_quantile;
use serde::{Deserialize, Serialize};

/// Joint moments of the scores of two options on common draws.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PairedMoments {
    pub count: u64,
    pub mean_a: f64,
    pub mean_b: f64,
    /// Sums of squares and products about the means.
    pub centred_aa: f64,
    pub centred_bb: f64,
    pub centred_ab: f64,
}

impl PairedMoments {
    pub fn add(&mut self, a: f64, b: f64) {
        *self = self.merged(&PairedMoments { count: 1, mean_a: a, mean_b: b, ..PairedMoments::default() });
    }

    /// Moments of both parts together.
    pub fn merged(&self, other: &PairedMoments) -> PairedMoments {
        if other.count == 0 || self.count == 0 {
            return if self.count == 0 { *other } else { *self };
        }
        let (n, m) = (self.count as f64, other.count as f64);
        let (step_a, step_b) = (other.mean_a - self.mean_a, other.mean_b - self.mean_b);
        let share = m / (n + m);
        PairedMoments {
            count: self.count + other.count,
            mean_a: self.mean_a + step_a * share,
            mean_b: self.mean_b + step_b * share,
            centred_aa: self.centred_aa + other.centred_aa + step_a * step_a * n * share,
            centred_bb: self.centred_bb + other.centred_bb + step_b * step_b * n * share,
            centred_ab: self.centred_ab + other.centred_ab + step_a * step_b * n * share,
        }
    }

    pub fn from_pairs(pairs: impl IntoIterator<Item = (f64, f64)>) -> PairedMoments {
        let mut moments = PairedMoments::default();
        for (a, b) in pairs {
            moments.add(a, b);
        }
        moments
    }

    /// Mean of a − b.
    pub fn difference(&self) -> f64 {
        self.mean_a - self.mean_b
    }

    /// Variance of one difference a − b (0 with fewer than two pairs).
    pub fn difference_variance(&self) -> f64 {
        self.per_degree(self.centred_aa + self.centred_bb - 2.0 * self.centred_ab)
    }

    /// Variance one difference would have with draws of its own for each option.
    pub fn independent_variance(&self) -> f64 {
        self.per_degree(self.centred_aa + self.centred_bb)
    }

    fn per_degree(&self, centred: f64) -> f64 {
        if self.count < 2 { 0.0 } else { (centred / (self.count - 1) as f64).max(0.0) }
    }

    /// Standard error of the mean difference.
    pub fn standard_error(&self) -> f64 {
        (self.difference_variance() / (self.count.max(1)) as f64).sqrt()
    }

    /// How many times more runs draws of their own would need; infinite when the difference does not vary,
    /// `None` when nothing varies at all.
    pub fn variance_ratio(&self) -> Option<f64> {
        let (own, common) = (self.independent_variance(), self.difference_variance());
        (own > 0.0).then_some(own / common)
    }

    /// Correlation of the two scores; `None` when one of them does not vary.
    pub fn correlation(&self) -> Option<f64> {
        let scale = (self.centred_aa * self.centred_bb).sqrt();
        (scale > 0.0).then_some(self.centred_ab / scale)
    }

    /// Interval of the mean difference at `level` (0..1) by the normal law; meant for 30 pairs and more.
    pub fn difference_interval(&self, level: f64) -> (f64, f64) {
        let reach = normal_quantile(0.5 + 0.5 * level) * self.standard_error();
        (self.difference() - reach, self.difference() + reach)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Purpose, Stream};

    /// Source: variance of a difference of two nested Bernoulli scores: with misses of A (odds 0.010) a subset of
    /// those of B (0.012) the difference is Bernoulli(0.002), variance 0.002·0.998 = 1.996e-3; with draws of
    /// their own 0.0099 + 0.011856 = 2.1756e-2; ratio 10.9. Elementary probability. Tolerance: exact frequencies,
    /// so only the n/(n−1) of the sample variance (1e-6 relative at n = 10^6); half the last digit of the ratio.
    #[test]
    fn val_nested_misses_need_10_9_times_fewer_runs() {
        let part = |pairs: u64, a: f64, b: f64| PairedMoments {
            count: pairs,
            mean_a: a,
            mean_b: b,
            ..PairedMoments::default()
        };
        let moments = part(10_000, 1.0, 1.0).merged(&part(2_000, 0.0, 1.0)).merged(&part(988_000, 0.0, 0.0));
        assert!((moments.difference_variance() / 1.996e-3 - 1.0).abs() < 2e-6);
        assert!((moments.independent_variance() / 2.1756e-2 - 1.0).abs() < 2e-6);
        assert!((moments.variance_ratio().unwrap() - 10.9).abs() < 0.05);
        assert!((moments.difference() + 0.002).abs() < 1e-15);
    }

    #[test]
    fn merging_parts_equals_adding_one_by_one() {
        let mut stream = Stream::new(3, Purpose::Study, 0, 0, 0);
        let pairs: Vec<(f64, f64)> = (0..200).map(|_| (stream.normal(), stream.normal())).collect();
        let whole = PairedMoments::from_pairs(pairs.iter().copied());
        let parts = PairedMoments::from_pairs(pairs[..37].iter().copied())
            .merged(&PairedMoments::from_pairs(pairs[37..].iter().copied()));
        assert_eq!(whole.count, parts.count);
        for (one, two) in [
            (whole.mean_a, parts.mean_a),
            (whole.centred_aa, parts.centred_aa),
            (whole.centred_bb, parts.centred_bb),
            (whole.centred_ab, parts.centred_ab),
        ] {
            assert!((one - two).abs() < 1e-10, "{one} {two}");
        }
        assert_eq!(PairedMoments::default().merged(&whole), whole);
    }

    #[test]
    fn equal_options_do_not_differ() {
        let moments = PairedMoments::from_pairs((0..10).map(|i| (f64::from(i), f64::from(i))));
        assert_eq!(moments.difference_interval(0.95), (0.0, 0.0));
        assert_eq!(moments.variance_ratio(), Some(f64::INFINITY));
        assert!((moments.correlation().unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(PairedMoments::default().variance_ratio(), None);
    }
}
