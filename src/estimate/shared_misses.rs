//! What a second line is worth: the misses both share.
//!
//! Given the draw θ of a passing the lines miss with odds p_A(θ) and p_B(θ) that have nothing more in common, so
//! P(both miss) = E[p_A·p_B] = p_A·p_B + Cov(p_A(θ), p_B(θ)). For alike lines E[p^m] ≥ (E p)^m (J. L. W. V. Jensen, Acta Math. 30,
//! 1906); always max(0, p_A + p_B − 1) ≤ P ≤ min(p_A, p_B) (M. Fréchet, Ann. Univ. Lyon A 14, 1951).
//! r = P(B misses | A missed) = P(both)/p_A; B divides the misses of A by 1/r, never by 1/p_B unless nothing is shared.
//!
//! The reference laws below (one-factor probit, mixtures, beta-mixed) have closed forms for m alike lines and serve
//! to test whatever estimates P(both).

use crate::numeric::beta::beta_quantile;
use crate::numeric::quadrature::normal_expectation;
use crate::random::transform::{normal_cdf, normal_quantile};

/// Marginal and joint miss odds of two lines (or line sets) A and B.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JointMiss {
    pub a: f64,
    pub b: f64,
    pub both: f64,
}

/// A joint miss rate outside what its margins allow: a fault of the estimate, never of the runners.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("joint miss rate {both} outside {low}..={high} that the single rates allow")]
pub struct OutOfBounds {
    pub both: f64,
    pub low: f64,
    pub high: f64,
}

impl JointMiss {
    /// r, odds that B misses what A missed; `None` when A misses nothing.
    pub fn r(&self) -> Option<f64> {
        (self.a > 0.0).then(|| self.both / self.a)
    }
    /// What B divides the misses of A by; infinite when they share none.
    pub fn true_gain(&self) -> Option<f64> {
        self.r().map(|r| 1.0 / r)
    }
    /// What one would believe if misses had no common cause, 1/p_B.
    pub fn naive_gain(&self) -> f64 {
        1.0 / self.b
    }
    /// How many alike lines without common causes the pair is worth, ln P(both)/ln p with p the geometric mean of the
    /// single rates; for display only.
    pub fn effective_lines(&self) -> f64 {
        2.0 * libm::log(self.both) / (libm::log(self.a) + libm::log(self.b))
    }
    /// Covariance of the two lines' miss odds over the draws; negative when they cover for each other.
    pub fn covariance(&self) -> f64 {
        self.both - self.a * self.b
    }
    /// Fréchet's bounds of the joint rate.
    pub fn bounds(&self) -> (f64, f64) {
        ((self.a + self.b - 1.0).max(0.0), self.a.min(self.b))
    }
    /// Holds the joint rate against its bounds, with a relative slack for rounding.
    pub fn checked(self) -> Result<JointMiss, OutOfBounds> {
        let (low, high) = self.bounds();
        let slack = 1e-9 * high + 1e-300;
        if self.both >= low - slack && self.both <= high + slack {
            Ok(self)
        } else {
            Err(OutOfBounds { both: self.both, low, high })
        }
    }
}

/// Least joint miss rate of m alike lines whose single rate is p.
pub fn jensen_floor(p: f64, lines: u32) -> f64 {
    libm::pow(p, f64::from(lines))
}

/// m alike lines under the beta factor model, two or more lines: 1 − (1−βp)(1−((1−β)p)^m).
pub fn beta_factor_joint(p: f64, beta: f64, lines: u32) -> f64 {
    1.0 - (1.0 - beta * p) * (1.0 - libm::pow((1.0 - beta) * p, f64::from(lines)))
}

/// E[p^m] of a mixture of (weight, miss odds).
pub fn mixture_joint(parts: &[(f64, f64)], lines: u32) -> f64 {
    parts.iter().map(|(w, p)| w * libm::pow(*p, f64::from(lines))).sum()
}

/// E[p^m] when p is beta distributed with mean `p` and correlation `rho` of two lines (0 < rho < 1):
/// Π (a+i)/(a+b+i), a = p(1/ρ−1), b = (1−p)(1/ρ−1).
pub fn beta_mixed_joint(p: f64, rho: f64, lines: u32) -> f64 {
    let total = 1.0 / rho - 1.0;
    (0..lines).map(|i| (p * total + f64::from(i)) / (total + f64::from(i))).product()
}

/// E[p^m] of the one-factor probit law: a line misses when √ρ·Z + √(1−ρ)·ε < Φ⁻¹(p). 0 ≤ rho < 1.
pub fn probit_joint(p: f64, rho: f64, lines: u32) -> f64 {
    let threshold = normal_quantile(p);
    normal_expectation(|z| {
        libm::pow(normal_cdf((threshold - rho.sqrt() * z) / (1.0 - rho).sqrt()), f64::from(lines))
    })
}

/// r from counts of runners missed by A: `both` of them also missed by B. Estimate and exact (Clopper-Pearson) interval at
/// `level`; `both` ≤ `missed_by_a`, which is > 0.
pub fn r_from_counts(both: u64, missed_by_a: u64, level: f64) -> (f64, f64, f64) {
    let (x, n, tail) = (both as f64, missed_by_a as f64, 0.5 * (1.0 - level));
    let low = if both == 0 { 0.0 } else { beta_quantile(x, n - x + 1.0, tail) };
    let high = if both == missed_by_a { 1.0 } else { beta_quantile(x + 1.0, n - x, 1.0 - tail) };
    (x / n, low, high)
}

/// A ratio Σy/Σx over clusters (races) and its standard error by linearisation.
///
/// Passings of one race share their race draw, so the race is the unit: with residuals e_c = y_c − R·x_c,
/// Var R = C/(C−1)·Σe²/(Σx)². Source: W. G. Cochran, Sampling Techniques, 3rd edition 1977, 6.4 (from memory).
/// `None` when Σx is 0; the error is `None` with fewer than two clusters.
pub fn clustered_ratio(clusters: &[(f64, f64)]) -> Option<(f64, Option<f64>)> {
    let (sum_y, sum_x) = clusters.iter().fold((0.0, 0.0), |(y, x), c| (y + c.0, x + c.1));
    if sum_x <= 0.0 {
        return None;
    }
    let ratio = sum_y / sum_x;
    let count = clusters.len() as f64;
    let error = (clusters.len() >= 2).then(|| {
        let squares: f64 = clusters.iter().map(|(y, x)| (y - ratio * x) * (y - ratio * x)).sum();
        (count / (count - 1.0) * squares).sqrt() / sum_x
    });
    Some((ratio, error))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: formulas at the head (beta factor, mixture, beta-mixed, one-factor probit), evaluated with scipy 1.17.1; columns
    /// p, P(2 miss), gain p/P2, P(3 miss). Tolerance: 1e-6 relative, gains half the last digit, three lines 1e-4 relative.
    #[test]
    fn val_two_and_three_alike_lines() {
        let two = [(0.98, 0.002), (0.02, 0.3)];
        let three = [(0.95, 0.001), (0.04, 0.05), (0.01, 0.5)];
        type Law<'a> = Box<dyn Fn(u32) -> f64 + 'a>;
        let rows: [(f64, Law, f64, f64, f64); 9] = [
            (0.01, Box::new(|m| beta_factor_joint(0.01, 0.02, m)), 2.960_208e-4, 33.78, 2.009_410e-4),
            (0.01, Box::new(|m| beta_factor_joint(0.01, 0.1, m)), 1.080_919e-3, 9.25, 1.000_728e-3),
            (0.002, Box::new(|m| beta_factor_joint(0.002, 0.1, m)), 2.032_394e-4, 9.84, 2.000_058e-4),
            (0.007_96, Box::new(|m| mixture_joint(&two, m)), 1.803_920e-3, 4.413, 5.400_078e-4),
            (0.007_95, Box::new(|m| mixture_joint(&three, m)), 2.600_950e-3, 3.057, 1.255_001e-3),
            (0.01, Box::new(|m| beta_mixed_joint(0.01, 0.05, m)), 5.95e-4, 16.81, 6.205e-5),
            (0.01, Box::new(|m| beta_mixed_joint(0.01, 0.1, m)), 1.09e-3, 9.174, 2.071e-4),
            (0.01, Box::new(|m| probit_joint(0.01, 0.5, m)), 1.293_924e-3, 7.73, 3.657_353e-4),
            (0.001, Box::new(|m| probit_joint(0.001, 0.5, m)), 5.425_917e-5, 18.43, 9.426_028e-6),
        ];
        for (p, law, both, gain, triple) in rows {
            assert!((law(2) / both - 1.0).abs() < 1e-6, "{} {both}", law(2));
            assert!((law(3) / triple - 1.0).abs() < 1e-4, "{} {triple}", law(3));
            let joint = JointMiss { a: p, b: p, both: law(2) }.checked().unwrap();
            assert!((joint.true_gain().unwrap() / gain - 1.0).abs() < 6e-4);
            assert!(joint.both >= jensen_floor(p, 2) && joint.covariance() > 0.0);
        }
        for law in
            [mixture_joint(&two, 1), beta_mixed_joint(0.007_96, 0.1, 1), probit_joint(0.007_96, 0.5, 1)]
        {
            assert!((law - 0.007_96).abs() < 1e-12);
        }
        assert!((probit_joint(0.01, 0.3, 2) - 5.563_285e-4).abs() < 5e-11);
        assert!((probit_joint(0.01, 0.0, 2) - 1e-4).abs() < 1e-12);
    }

    /// Source: n_eff = ln P(all)/ln p with β = .1, p = .01: 1.483; arithmetic. Tolerance: half the last digit.
    #[test]
    fn val_effective_lines() {
        let joint = JointMiss { a: 0.01, b: 0.01, both: beta_factor_joint(0.01, 0.1, 2) };
        assert!((joint.effective_lines() - 1.483).abs() < 5e-4);
    }

    /// Source: C. J. Clopper, E. S. Pearson, Biometrika 26, 1934; 3 of 10: .0667 to .6525 (statsmodels 0.15.0).
    /// Tolerance: half the last digit.
    #[test]
    fn val_r_from_three_of_ten() {
        let (r, low, high) = r_from_counts(3, 10, 0.95);
        assert_eq!(r, 0.3);
        assert!((low - 0.0667).abs() < 5e-5 && (high - 0.6525).abs() < 5e-5, "{low} {high}");
    }

    #[test]
    fn bounds_catch_an_impossible_joint_rate() {
        assert!(JointMiss { a: 0.1, b: 0.2, both: 0.11 }.checked().is_err());
        assert!(JointMiss { a: 0.9, b: 0.8, both: 0.6 }.checked().is_err());
        assert!(JointMiss { a: 0.1, b: 0.2, both: f64::NAN }.checked().is_err());
        assert!(JointMiss { a: 0.1, b: 0.2, both: 0.0 }.checked().is_ok());
        assert_eq!(JointMiss { a: 0.0, b: 0.2, both: 0.0 }.r(), None);
    }

    #[test]
    fn ratio_of_clusters() {
        let (ratio, error) = clustered_ratio(&[(1.0, 2.0), (2.0, 4.0)]).unwrap();
        assert_eq!((ratio, error), (0.5, Some(0.0)));
        // residuals ±0.5 about R = 0.5, so √(2·0.5)/4 = 0.25... with Σe² = 0.5: √(2·0.5)/4
        let (ratio, error) = clustered_ratio(&[(1.5, 2.0), (0.5, 2.0)]).unwrap();
        assert_eq!((ratio, error), (0.5, Some(0.25)));
        assert_eq!(clustered_ratio(&[(0.0, 0.0)]), None);
        assert_eq!(clustered_ratio(&[(1.0, 2.0)]), Some((0.5, None)));
    }
}
