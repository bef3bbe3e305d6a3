//! The interval of an estimate from independent replications.
//!
//! With enough misses: ln(mean) ± t · s, where t has one degree of freedom less than there are replications and s
//! is the relative standard error. On the logarithmic scale the lower end cannot fall below zero. s comes from the spread
//! of the replications; where a spread within the replications is known too, the wider of the two is
//! taken, because a dozen replications know their spread only to 20 %. An importance run that by chance drew no heavy weights has both
//! a low estimate and a low spread; so there the error expected by the pilot, which saw other points, is a floor.
//!
//! With few misses (effective count under `FEW`) the spread itself is not known. All scores lie in 0..=bound (bound 1
//! for plain sampling, 1/α for an importance density which keeps a share α of the natural one), and among such
//! scores the all-or-nothing ones spread most, so the exact binomial limits (C. J. Clopper, E. S. Pearson, Biometrika 26
//! (1934) 404-413) of sum / bound hits in n trials are used. Without any hit the upper limit is
//! bound · (1 − 0.025^(1/n)), about 3.7 · bound / n.

use super::tally::WeightedTally;
use crate::numeric::beta::beta_quantile;
use crate::numeric::student::t_quantile;
use serde::{Deserialize, Serialize};

/// Effective misses under which the exact binomial limits are used.
pub const FEW: f64 = 10.0;
const TAIL: f64 = 0.025;

/// Two-sided 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

impl Interval {
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// Mean, relative standard error and interval of equal-sized replications. `bound` is the largest possible score;
/// `within` says whether the scores inside a replication are independent, so that their spread counts; `floor` is a
/// relative standard error known from elsewhere (0 if none).
pub fn from_replications(
    replications: &[WeightedTally],
    bound: f64,
    within: bool,
    floor: f64,
) -> (f64, f64, Interval) {
    let mut all = WeightedTally::default();
    let mut between = WeightedTally::default();
    for replication in replications {
        all.merge(replication);
        between.add(replication.mean());
    }
    let mean = between.mean();
    let standard_error = standard_error(&between, within.then_some(all.variance() / all.n.max(1) as f64));
    let cov = if mean > 0.0 { (standard_error / mean).max(floor) } else { f64::INFINITY };
    let interval = if all.effective_count() < FEW {
        few_hits(mean, all.n, bound)
    } else {
        log_t(mean, cov, replications.len())
    };
    (mean, cov, interval)
}

/// The wider of the standard error between replications and, if given, the one from within them (as a variance of the mean).
pub fn standard_error(between: &WeightedTally, within_variance: Option<f64>) -> f64 {
    let variance = between.variance() / between.n.max(1) as f64;
    variance.max(within_variance.unwrap_or(0.0)).sqrt()
}

/// mean · exp(± t · cov), t with `replications − 1` degrees of freedom.
pub fn log_t(mean: f64, cov: f64, replications: usize) -> Interval {
    let freedom = replications.saturating_sub(1).max(1) as f64;
    let t = t_quantile(1.0 - TAIL, freedom);
    let factor = libm::exp(t * cov);
    Interval { low: mean / factor, high: (mean * factor).min(1.0) }
}

/// Exact binomial limits for the mean of `n` scores in 0..=`bound`.
pub fn few_hits(mean: f64, n: u64, bound: f64) -> Interval {
    if n == 0 {
        return Interval { low: 0.0, high: 1.0 };
    }
    let trials = n as f64;
    let hits = (mean / bound * trials).min(trials);
    let limit = |probability: f64, a: f64, b: f64| beta_quantile(a, b, probability) * bound;
    let low = if hits > 0.0 { limit(TAIL, hits, trials - hits + 1.0) } else { 0.0 };
    let high = if hits < trials { limit(1.0 - TAIL, hits + 1.0, trials - hits) } else { bound };
    Interval { low: low.min(mean), high: high.max(mean).min(1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, exact limits for 1/29 (.0009, .1776) and
    /// 81/263 (.2527, .3676), four decimals. Tolerance: half the last digit.
    #[test]
    fn val_binomial_limits() {
        for (hits, n, low, high) in [(1.0, 29, 0.0009, 0.1776), (81.0, 263, 0.2527, 0.3676)] {
            let interval = few_hits(hits / n as f64, n, 1.0);
            assert!((interval.low - low).abs() < 5e-5 && (interval.high - high).abs() < 5e-5, "{interval:?}");
        }
    }

    /// Source: B. D. Jovanovic, P. S. Levy, A look at the rule of three, The American Statistician 51 (1997)
    /// 137-139: without a hit the limit is 1 − α^(1/n). Tolerance: 1e-7 relative.
    #[test]
    fn val_no_hit() {
        let interval = few_hits(0.0, 1500, 1.0);
        assert_eq!(interval.low, 0.0);
        assert!((interval.high / (1.0 - libm::pow(0.025, 1.0 / 1500.0)) - 1.0).abs() < 1e-7);
        assert!((few_hits(0.0, 1500, 10.0).high / interval.high - 10.0).abs() < 1e-9);
    }

    /// Source: t distribution, upper 2.5 % point at 9 degrees of freedom 2.262 (any textbook table, three decimals).
    /// Tolerance: half the last digit.
    #[test]
    fn val_t_on_the_log_scale() {
        let interval = log_t(1e-6, 0.1, 10);
        assert!((libm::log(interval.high / 1e-6) / 0.1 - 2.262).abs() < 5e-4);
        assert!((interval.high * interval.low - 1e-12).abs() < 1e-24);
    }
}
