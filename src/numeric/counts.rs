//! Binomial, Poisson and beta-binomial counts.

use super::beta::{beta_tails_xy, ln_beta, power_term};
use super::gamma::{gamma_tails, ln_gamma};

/// P(X = k) of n trials with chance p in 0..=1.
pub fn binomial_pmf(k: u64, n: u64, p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if k > n {
        return 0.0;
    }
    if p == 0.0 || p == 1.0 {
        return if (p == 0.0 && k == 0) || (p == 1.0 && k == n) { 1.0 } else { 0.0 };
    }
    let q = 1.0 - p;
    if k == 0 {
        return libm::exp(n as f64 * libm::log1p(-p));
    }
    if k == n {
        return libm::exp(n as f64 * libm::log(p));
    }
    // p^k q^(n−k) (n choose k) from p^(k+1) q^(n−k+1) / B(k + 1, n − k + 1).
    power_term(k as f64 + 1.0, (n - k) as f64 + 1.0, p, q) / (p * q * (n as f64 + 1.0))
}

/// (P(X ≤ k), P(X > k)) of n trials with chance p.
pub fn binomial_tails(k: u64, n: u64, p: f64) -> (f64, f64) {
    if !(0.0..=1.0).contains(&p) {
        return (f64::NAN, f64::NAN);
    }
    if k >= n {
        return (1.0, 0.0);
    }
    let (above, below) = beta_tails_xy(k as f64 + 1.0, (n - k) as f64, p, 1.0 - p);
    (below, above)
}

/// P(X = k) with the given mean ≥ 0.
pub fn poisson_pmf(k: u64, mean: f64) -> f64 {
    if mean == 0.0 {
        return if k == 0 { 1.0 } else { 0.0 };
    }
    if !(mean > 0.0) {
        return f64::NAN;
    }
    libm::exp(k as f64 * libm::log(mean) - mean - ln_gamma(k as f64 + 1.0))
}

/// (P(X ≤ k), P(X > k)) with the given mean ≥ 0.
pub fn poisson_tails(k: u64, mean: f64) -> (f64, f64) {
    let (above, below) = gamma_tails(k as f64 + 1.0, mean);
    (below, above)
}

/// ln P(X = k) of n trials whose common chance is Beta(a, b).
pub fn beta_binomial_ln_pmf(k: u64, n: u64, a: f64, b: f64) -> f64 {
    if !(a > 0.0 && b > 0.0) {
        return f64::NAN;
    }
    if k > n {
        return f64::NEG_INFINITY;
    }
    let (k, rest) = (k as f64, (n - k) as f64);
    ln_beta(k + a, rest + b) - ln_beta(a, b) - ln_beta(k + 1.0, rest + 1.0) - libm::log1p(n as f64)
}

/// P(X = k) of n trials whose common chance is Beta(a, b).
pub fn beta_binomial_pmf(k: u64, n: u64, a: f64, b: f64) -> f64 {
    libm::exp(beta_binomial_ln_pmf(k, n, a, b))
}

/// P(X ≤ k) of n trials whose common chance is Beta(a, b), by summation (cost: k steps).
pub fn beta_binomial_cdf(k: u64, n: u64, a: f64, b: f64) -> f64 {
    if k >= n {
        return if a > 0.0 && b > 0.0 { 1.0 } else { f64::NAN };
    }
    (0..=k).map(|i| beta_binomial_pmf(i, n, a, b)).sum::<f64>().min(1.0)
}

/// Smallest k with P(X ≤ k) ≥ p, by summation.
pub fn beta_binomial_quantile(p: f64, n: u64, a: f64, b: f64) -> u64 {
    let mut sum = 0.0;
    for k in 0..n {
        sum += beta_binomial_pmf(k, n, a, b);
        if sum >= p {
            return k;
        }
    }
    n
}

/// Smallest k with P(X ≤ k) ≥ p, binomial.
pub fn binomial_quantile(p: f64, n: u64, chance: f64) -> u64 {
    let (mut low, mut high) = (0, n);
    while low < high {
        let middle = low + (high - low) / 2;
        if binomial_tails(middle, n, chance).0 >= p {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: SciPy 1.17.1 scipy.stats.betabinom. Tolerance: half the last digit printed (1e-10 relative).
    #[test]
    fn val_beta_binomial() {
        for (k, n, a, b, want) in [
            (0, 10, 2.0, 3.0, 0.065_934_065_934),
            (5, 10, 2.0, 3.0, 0.125_874_125_874),
            (10, 10, 2.0, 3.0, 0.010_989_010_989),
            (0, 1000, 2.0, 998.0, 0.249_624_812_41),
            (5, 1000, 2.0, 998.0, 0.046_921_898_272),
            (20, 1000, 2.0, 998.0, 4.681_049_817_2e-6),
            (0, 500, 0.5, 249.5, 0.576_772_180_46),
            (5, 500, 0.5, 249.5, 0.018_754_162_869),
        ] {
            let got = beta_binomial_pmf(k, n, a, b);
            assert!((got / want - 1.0_f64).abs() < 1e-10, "{k} {n}: {got}");
        }
        assert!((beta_binomial_cdf(5, 1000, 2.0, 998.0) - 0.937_664_555_8).abs() < 1e-10);
        assert!((beta_binomial_cdf(499, 500, 0.5, 249.5) - 1.0).abs() < 1e-11);
    }

    /// Source: exact rational arithmetic (n = 10, p = 1/4: C(10,3)·3⁷/4¹⁰ = 262440/1048576; P(X ≤ 1) = 3⁹(3 + 10)/4¹⁰)
    /// and Poisson e^(−2)·(1 + 2 + 2). Tolerance: 1e-13 relative.
    #[test]
    fn val_binomial_and_poisson() {
        assert!((binomial_pmf(3, 10, 0.25) / (262_440.0 / 1_048_576.0) - 1.0).abs() < 1e-13);
        assert!((binomial_tails(1, 10, 0.25).0 / (19_683.0 * 13.0 / 1_048_576.0) - 1.0).abs() < 1e-13);
        let below_three = 5.0 * libm::exp(-2.0);
        assert!((poisson_tails(2, 2.0).0 / below_three - 1.0).abs() < 1e-13);
        assert!(((0..3).map(|k| poisson_pmf(k, 2.0)).sum::<f64>() / below_three - 1.0).abs() < 1e-13);
        assert_eq!(
            (binomial_pmf(0, 5, 0.0), binomial_pmf(5, 5, 1.0), binomial_pmf(6, 5, 0.5)),
            (1.0, 1.0, 0.0)
        );
    }

    #[test]
    fn sums_agree_with_the_incomplete_beta_for_large_counts() {
        let sum: f64 = (0..=200).map(|k| binomial_pmf(k, 100_000, 0.002)).sum();
        assert!((sum - binomial_tails(200, 100_000, 0.002).0).abs() < 1e-11);
        assert_eq!(binomial_quantile(0.5, 100_000, 0.002), 200);
    }
}
