//! Student's t distribution with real degrees of freedom; infinite degrees are the normal distribution.
//!
//! Source: M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964), 26.7.1.

use super::beta::{beta_quantile_xy, beta_tails_xy, ln_beta};
use super::{normal_cdf, normal_pdf, normal_quantile};

/// P(T > |t|) for `dof` > 0.
fn tail(t: f64, dof: f64) -> f64 {
    let square = t * t;
    0.5 * beta_tails_xy(0.5 * dof, 0.5, dof / (dof + square), square / (dof + square)).0
}

/// P(T ≤ t).
pub fn t_cdf(t: f64, dof: f64) -> f64 {
    if !(dof > 0.0) {
        return f64::NAN;
    }
    if dof == f64::INFINITY {
        return normal_cdf(t);
    }
    if t > 0.0 { 1.0 - tail(t, dof) } else { tail(t, dof) }
}

/// Two-sided p value, P(|T| ≥ |t|).
pub fn t_two_sided_p(t: f64, dof: f64) -> f64 {
    2.0 * t_cdf(-t.abs(), dof)
}

/// Density.
pub fn t_pdf(t: f64, dof: f64) -> f64 {
    if dof == f64::INFINITY {
        return normal_pdf(t);
    }
    libm::exp(-0.5 * (dof + 1.0) * libm::log1p(t * t / dof) - ln_beta(0.5 * dof, 0.5)) / dof.sqrt()
}

/// t with P(T ≤ t) = p, 0 < p < 1.
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    if !(dof > 0.0 && p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    if dof == f64::INFINITY {
        return normal_quantile(p);
    }
    if p == 0.5 {
        return 0.0;
    }
    let upper = if p < 0.5 { 2.0 * p } else { 2.0 * (1.0 - p) };
    let (x, y) = beta_quantile_xy(0.5 * dof, 0.5, upper, 1.0 - upper);
    let t = (dof * (y / x)).sqrt();
    if p < 0.5 { -t } else { t }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Student's t table, two-sided 95 % and 99 % (W. S. Gosset's table as printed in any statistics
    /// text): t(.975) for 1, 2, 4, 10, 30 degrees; t(.995) for 16. Tolerance: half the last digit.
    #[test]
    fn val_t_quantiles() {
        for (dof, want) in [(1.0, 12.7062), (2.0, 4.3027), (4.0, 2.7764), (10.0, 2.2281), (30.0, 2.0423)] {
            assert!((t_quantile(0.975, dof) - want).abs() < 5e-5, "{dof}: {}", t_quantile(0.975, dof));
        }
        assert!((t_quantile(0.995, 16.0) - 2.9208).abs() < 5e-5);
        assert!((t_quantile(0.975, f64::INFINITY) - 1.959_963_984_540_054).abs() < 1e-12);
    }

    /// Source: closed forms for 1 and 2 degrees: F₁ = ½ + atan(t)/π, F₂ = ½ + t/(2√(2 + t²)). Tolerance: 1e-13.
    #[test]
    fn val_t_closed_forms() {
        for t in [-30.0, -2.0, -0.1, 0.0, 0.7, 5.0] {
            let one = 0.5 + libm::atan(t) / std::f64::consts::PI;
            let two = 0.5 + t / (2.0 * (2.0 + t * t).sqrt());
            assert!((t_cdf(t, 1.0) - one).abs() < 1e-13 && (t_cdf(t, 2.0) - two).abs() < 1e-13);
        }
        assert!((t_quantile(t_cdf(0.01, 3.3), 3.3) - 0.01).abs() < 1e-12);
        assert!((t_pdf(1.0, 1.0) - 0.5 / std::f64::consts::PI).abs() < 1e-14);
        assert!(t_cdf(1.0, 0.0).is_nan() && t_quantile(0.0, 3.0).is_nan());
    }
}
