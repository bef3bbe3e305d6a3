//! F distribution (ratio of two mean squares) with real degrees of freedom.

use super::beta::{beta_quantile_xy, beta_tails_xy};

/// (P(F ≤ f), P(F > f)) for f ≥ 0 and positive degrees of freedom.
pub fn f_tails(f: f64, dof1: f64, dof2: f64) -> (f64, f64) {
    let (top, bottom) = (dof1 * f, dof2);
    beta_tails_xy(0.5 * dof1, 0.5 * dof2, top / (top + bottom), bottom / (top + bottom))
}

/// f with P(F ≤ f) = p.
pub fn f_quantile(p: f64, dof1: f64, dof2: f64) -> f64 {
    let (x, y) = beta_quantile_xy(0.5 * dof1, 0.5 * dof2, p, 1.0 - p);
    dof2 * x / (dof1 * y)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: F table (M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 1964, table 26.9, from memory),
    /// upper 5 % points. Tolerance: half the last digit.
    #[test]
    fn val_f_points() {
        for (dof1, dof2, want) in [(1.0, 10.0, 4.96), (3.0, 8.0, 4.07), (5.0, 5.0, 5.05), (10.0, 20.0, 2.35)]
        {
            let got = f_quantile(0.95, dof1, dof2);
            assert!((got - want).abs() < 5e-3, "{got}");
            let (lower, upper) = f_tails(got, dof1, dof2);
            assert!((lower - 0.95).abs() < 1e-13 && (upper - 0.05).abs() < 1e-13);
        }
        // F(1, n) is t(n) squared.
        let t = super::super::student::t_quantile(0.975, 7.0);
        assert!((f_quantile(0.95, 1.0, 7.0) / (t * t) - 1.0).abs() < 1e-11);
    }
}
