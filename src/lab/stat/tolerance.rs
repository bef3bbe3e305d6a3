//! Tolerance factors of the normal distribution: x̄ ± k·s holds a stated share of the production with stated odds.
//!
//! One-sided k = t′_γ(n − 1; √n·z_p)/√n with the non-central t. Two-sided exact: k solves
//! √n ∫ P(χ²_{n−1} ≥ (n − 1)r(x)²/k²) φ(√n x) dx = γ with Φ(x + r) − Φ(x − r) = p.
//! Source: W. Q. Meeker, G. J. Hahn and L. A. Escobar, Statistical Intervals (2nd edition 2017), 4.6; the integral is
//! that of A. Wald and J. Wolfowitz, Ann. Math. Statist. 17 (1946) 208-215, without their approximation.

use crate::numeric::chi_square::chi_square_upper;
use crate::numeric::noncentral_t::noncentral_t_quantile;
use crate::numeric::quadrature::integrate;
use crate::numeric::{normal_cdf, normal_pdf, normal_quantile, root};

fn sound(n: usize, share: f64, odds: f64) -> bool {
    n >= 2 && share > 0.0 && share < 1.0 && odds > 0.0 && odds < 1.0
}

/// Factor k such that x̄ + k·s is above `share` of the production with odds `odds`. `None` for n < 2 or numbers
/// outside (0, 1).
pub fn one_sided_factor(n: usize, share: f64, odds: f64) -> Option<f64> {
    if !sound(n, share, odds) {
        return None;
    }
    let root_n = (n as f64).sqrt();
    Some(noncentral_t_quantile(odds, n as f64 - 1.0, root_n * normal_quantile(share))? / root_n)
}

/// Factor k such that x̄ ± k·s holds at least `share` of the production with odds `odds`.
pub fn two_sided_factor(n: usize, share: f64, odds: f64) -> Option<f64> {
    if !sound(n, share, odds) {
        return None;
    }
    let (count, dof) = (n as f64, n as f64 - 1.0);
    let root_n = count.sqrt();
    // Half-width r that holds the share around a centre off by x.
    let reach = |x: f64| {
        let z = normal_quantile(share);
        root::newton_bracketed(
            |r| (normal_cdf(x + r) - normal_cdf(x - r) - share, normal_pdf(x + r) + normal_pdf(x - r)),
            0.0,
            x + normal_quantile(0.5 + 0.5 * share) + 1.0,
            x + z,
        )
        .unwrap_or(f64::NAN)
    };
    let achieved = |k: f64| {
        let f = |x: f64| {
            let r = reach(x);
            chi_square_upper(dof * (r / k) * (r / k), dof) * normal_pdf(root_n * x)
        };
        2.0 * root_n * integrate(f, 0.0, 8.5 / root_n, 1e-11, 1e-11)
    };
    let mut high = 2.0 * normal_quantile(0.5 + 0.5 * share);
    while achieved(high) < odds {
        high *= 2.0;
        if high > 1e9 {
            return None;
        }
    }
    root::brent(|k| achieved(k) - odds, 1e-3, high, 1e-9)
}

/// Howe's approximation of the two-sided factor (W. G. Howe, J. Amer. Statist. Assoc. 64 (1969) 610-620), for
/// comparison with published tables.
pub fn howe_factor(n: usize, share: f64, odds: f64) -> Option<f64> {
    if !sound(n, share, odds) {
        return None;
    }
    let (count, dof) = (n as f64, n as f64 - 1.0);
    let chi = crate::numeric::chi_square::chi_square_quantile(1.0 - odds, dof);
    Some(normal_quantile(0.5 + 0.5 * share) * (dof * (1.0 + 1.0 / count) / chi).sqrt())
}

/// Fewest samples whose largest value is above `share` of the production with odds `odds`, whatever the distribution.
pub fn samples_without_a_distribution(share: f64, odds: f64) -> Option<u64> {
    sound(2, share, odds).then(|| (libm::log1p(-odds) / libm::log(share) - 1e-9).ceil() as u64)
}

/// Fewest samples whose range (smallest to largest) holds `share` of the production with odds `odds`, whatever the
/// distribution: 1 − n·p^(n−1) + (n − 1)·p^n ≥ odds.
pub fn samples_for_the_range(share: f64, odds: f64) -> Option<u64> {
    if !sound(2, share, odds) {
        return None;
    }
    let held = |n: u64| {
        let (count, power) = (n as f64, libm::pow(share, n as f64 - 1.0));
        1.0 - count * power + (count - 1.0) * power * share
    };
    let mut high = 2;
    while held(high) < odds {
        high *= 2;
    }
    let mut low = high / 2;
    while low + 1 < high {
        let middle = low + (high - low) / 2;
        if held(middle) >= odds { high = middle } else { low = middle }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: one-sided factors by SciPy 1.17.1 (scipy.stats.nct); two-sided n = 4 and 5 also in P. M. Berthouex and
    /// L. C. Brown, Statistics for Environmental Engineers (2nd edition 2002), table 21.1 (5.37, 6.34, 8.22; 4.29,
    /// 5.08, 6.60), the others by scipy.integrate over the same integral. Odds 95 %. Tolerance: half the last digit.
    #[test]
    fn val_tolerance_factors() {
        for (n, one, two) in [
            (2, [20.5815, 26.2597, 37.0936], [31.0922, 36.5192, 46.9444]),
            (3, [6.1553, 7.6559, 10.5527], [8.3059, 9.7888, 12.6471]),
            (4, [4.1619, 5.1439, 7.0424], [5.3681, 6.3411, 8.2207]),
            (5, [3.4066, 4.2027, 5.7411], [4.2906, 5.0769, 6.5980]),
            (6, [3.0063, 3.7077, 5.0620], [3.7326, 4.4222, 5.7577]),
            (10, [2.3546, 2.9110, 3.9811], [2.8563, 3.3934, 4.4369]),
            (20, [1.9260, 2.3960, 3.2952], [2.3188, 2.7603, 3.6210]),
            (30, [1.7773, 2.2198, 3.0639], [2.1451, 2.5549, 3.3546]),
        ] {
            for (k, share) in [0.90, 0.95, 0.99].into_iter().enumerate() {
                let got = one_sided_factor(n, share, 0.95).expect("in range");
                assert!((got - one[k]).abs() < 6e-5, "one-sided {n} {share}: {got}");
                let got = two_sided_factor(n, share, 0.95).expect("in range");
                assert!((got - two[k]).abs() < 6e-5, "two-sided {n} {share}: {got}");
            }
        }
    }

    /// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3 (n = 43, 90 % share, 99 % odds): Howe
    /// 2.2173159. One-sided exact by SciPy 1.17.1: 1.8740 (the handbook's 1.8752 is an approximation). Tolerance:
    /// half the last digit.
    #[test]
    fn val_handbook_case() {
        assert!((howe_factor(43, 0.90, 0.99).expect("in range") - 2.2173159).abs() < 6e-8);
        assert!((one_sided_factor(43, 0.90, 0.99).expect("in range") - 1.8740).abs() < 5e-5);
    }

    /// Source: closed form n ≥ ln(1 − γ)/ln p: 59, 299, 1497; S. S. Wilks, Ann. Math. Statist. 12 (1941) 91-96, for the
    /// range: 93. Tolerance: none.
    #[test]
    fn val_samples_without_a_distribution() {
        for (share, want) in [(0.95, 59), (0.99, 299), (0.998, 1497)] {
            assert_eq!(samples_without_a_distribution(share, 0.95), Some(want));
        }
        assert_eq!(samples_for_the_range(0.95, 0.95), Some(93));
        assert_eq!(one_sided_factor(1, 0.9, 0.95), None);
        assert_eq!(two_sided_factor(5, 1.0, 0.95), None);
    }
}
