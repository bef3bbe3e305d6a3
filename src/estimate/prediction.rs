//! How many runners a future race will miss: prediction intervals for a count.
//!
//! All runners of one race share its weather, its batch of bibs and its mounting, so the race draws one miss rate.
//! With mean μ and correlation ρ within a race the count is beta-binomial, a = μ(1/ρ − 1), b = (1 − μ)(1/ρ − 1),
//! and its variance is nμ(1 − μ)(1 + (n − 1)ρ): more runners in the same race do not average the race away.
//! Source: J. G. Skellam, A probability distribution derived from the binomial distribution by regarding the
//! probability of success as variable between the sets of trials, J. R. Statist. Soc. B 10 (1948) 257-261; for the
//! interval that needs no prior A. R. Thatcher, Relationships between Bayesian and confidence limits for
//! predictions, J. R. Statist. Soc. B 26 (1964) 176-192.

use crate::numeric::beta::ln_beta;
use crate::numeric::counts::{beta_binomial_cdf, beta_binomial_quantile, binomial_quantile, binomial_tails};
use serde::{Deserialize, Serialize};

/// Range of a count, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountRange {
    pub low: u64,
    pub high: u64,
}

/// Parameters (a, b) of the beta distribution with mean `mean` and correlation `rho`, both inside (0, 1).
pub fn beta_from_mean(mean: f64, rho: f64) -> (f64, f64) {
    let size = 1.0 / rho - 1.0;
    (mean * size, (1.0 - mean) * size)
}

/// Equal-tailed range of misses among `runners` of one race with mean rate `mean` (0..1) and correlation
/// `rho` (0..1; 0 = independent runners), at two-sided `level`.
pub fn misses_range(runners: u64, mean: f64, rho: f64, level: f64) -> CountRange {
    let half = 0.5 * (1.0 - level);
    if rho <= 0.0 || mean <= 0.0 || mean >= 1.0 {
        let quantile = |p| binomial_quantile(p, runners, mean);
        return CountRange { low: quantile(half), high: quantile(1.0 - half) };
    }
    let (a, b) = beta_from_mean(mean, rho);
    let quantile = |p| beta_binomial_quantile(p, runners, a, b);
    CountRange { low: quantile(half), high: quantile(1.0 - half) }
}

/// Odds of more than `misses` among `runners` of one race.
pub fn odds_more_than(misses: u64, runners: u64, mean: f64, rho: f64) -> f64 {
    if rho <= 0.0 || mean <= 0.0 || mean >= 1.0 {
        return binomial_tails(misses, runners, mean).1;
    }
    let (a, b) = beta_from_mean(mean, rho);
    1.0 - beta_binomial_cdf(misses, runners, a, b)
}

/// Range of misses among `next` runners of a race like those that missed `misses` of `runners`, under Jeffreys'
/// prior and without any spread between races.
pub fn range_from_history(misses: u64, runners: u64, next: u64, level: f64) -> CountRange {
    let half = 0.5 * (1.0 - level);
    let (a, b) = (misses as f64 + 0.5, runners.saturating_sub(misses) as f64 + 0.5);
    let quantile = |p| beta_binomial_quantile(p, next, a, b);
    CountRange { low: quantile(half), high: quantile(1.0 - half) }
}

/// As `range_from_history`, without a prior: covers at least `level` whatever the rate.
pub fn exact_range_from_history(misses: u64, runners: u64, next: u64, level: f64) -> CountRange {
    let half = 0.5 * (1.0 - level);
    // Given the total K of misses in both races, the first race's share is hypergeometric.
    let ln_choose = |n: u64, k: u64| {
        let (n, k) = (n as f64, k as f64);
        -libm::log1p(n) - ln_beta(k + 1.0, n - k + 1.0)
    };
    let hypergeometric = |x: u64, total: u64| {
        if x > runners || x > total || total - x > next {
            return 0.0;
        }
        libm::exp(ln_choose(runners, x) + ln_choose(next, total - x) - ln_choose(runners + next, total))
    };
    let at_most = |total: u64| (0..=misses).map(|x| hypergeometric(x, total)).sum::<f64>();
    let at_least = |total: u64| (misses..=total.min(runners)).map(|x| hypergeometric(x, total)).sum::<f64>();
    let mut high = 0;
    while high < next && at_most(misses + high + 1) > half {
        high += 1;
    }
    let mut low = 0;
    while low < high && at_least(misses + low) <= half {
        low += 1;
    }
    CountRange { low, high }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: SciPy 1.17.1 scipy.stats.betabinom and binom, equal tails at 95 %, mean rate 0.2 %. Tolerance: none.
    #[test]
    fn val_overdispersed_ranges() {
        for (n, rows) in [
            (1000, [(0.0, 0, 5), (0.0005, 0, 6), (0.002, 0, 9), (0.01, 0, 16)]),
            (5000, [(0.0, 4, 17), (0.0005, 1, 24), (0.002, 0, 38), (0.01, 0, 76)]),
            (20_000, [(0.0, 28, 53), (0.0005, 10, 90), (0.002, 1, 149), (0.01, 0, 304)]),
        ] {
            for (rho, low, high) in rows {
                assert_eq!(misses_range(n, 0.002, rho, 0.95), CountRange { low, high }, "{n} {rho}");
            }
        }
        for (rho, want) in [(0.0, 0.0), (0.0005, 0.005_184), (0.002, 0.052_049), (0.01, 0.100_114)] {
            assert!((odds_more_than(30, 5000, 0.002, rho) - want).abs() < 6e-7);
        }
    }

    /// Source: SciPy 1.17.1 (beta-binomial under Jeffreys' prior; hypergeometric inversion after Thatcher). 20 of 400,
    /// next 100: 1 to 11, also in W. Q. Meeker, G. J. Hahn and L. A. Escobar, Statistical Intervals (2nd edition 2017)
    /// from memory. Tolerance: none.
    #[test]
    fn val_ranges_from_history() {
        assert_eq!(range_from_history(5, 2500, 1000, 0.95), CountRange { low: 0, high: 6 });
        assert_eq!(range_from_history(0, 1500, 1000, 0.95), CountRange { low: 0, high: 2 });
        assert_eq!(range_from_history(0, 1500, 5000, 0.95), CountRange { low: 0, high: 9 });
        assert_eq!(range_from_history(3, 1500, 1500, 0.95), CountRange { low: 0, high: 10 });
        assert_eq!(exact_range_from_history(5, 2500, 1000, 0.95), CountRange { low: 0, high: 7 });
        assert_eq!(exact_range_from_history(0, 1500, 1000, 0.95), CountRange { low: 0, high: 4 });
        assert_eq!(exact_range_from_history(3, 1500, 1500, 0.95), CountRange { low: 0, high: 11 });
        assert_eq!(exact_range_from_history(20, 400, 100, 0.95), CountRange { low: 1, high: 11 });
    }

    #[test]
    fn a_race_that_cannot_miss_is_predicted_so() {
        assert_eq!(misses_range(1000, 0.0, 0.01, 0.95), CountRange { low: 0, high: 0 });
        assert_eq!(odds_more_than(0, 1000, 0.0, 0.01), 0.0);
    }
}
