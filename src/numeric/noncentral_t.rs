//! Non-central t distribution: T = (Z + δ)/√(χ²_ν/ν), by quadrature over the chi variable.
//!
//! P(T ≤ t) = ∫ Φ(t·s − δ)·f(s) ds with s = √(χ²_ν/ν), which needs no series and holds for any ν > 0 and δ.
//! Source of the definition: N. L. Johnson, S. Kotz and N. Balakrishnan, Continuous Univariate
//! Distributions 2 (2nd edition 1995), chapter 31.

use super::chi_square::{chi_square_quantile, chi_square_upper_quantile};
use super::gamma::ln_gamma;
use super::quadrature::integrate;
use super::{normal_cdf, root};

/// P(T ≤ t) with `dof` degrees of freedom and non-centrality `delta`; absolute error about 1e-11.
pub fn noncentral_t_cdf(t: f64, dof: f64, delta: f64) -> f64 {
    if !(dof > 0.0 && dof.is_finite() && t.is_finite() && delta.is_finite()) {
        return f64::NAN;
    }
    let a = 0.5 * dof;
    let scale = std::f64::consts::LN_2 + a * libm::log(a) - ln_gamma(a);
    let density = |s: f64| libm::exp(scale + (dof - 1.0) * libm::log(s) - a * s * s);
    // Outside these limits the chi variable has less than 1e-14 of its mass.
    let low = (chi_square_quantile(1e-14, dof) / dof).sqrt();
    let high = (chi_square_upper_quantile(1e-14, dof) / dof).sqrt();
    let f = |s: f64| normal_cdf(t * s - delta) * density(s);
    // Φ turns over at s = δ/t: cut there so that the step is seen.
    let turn = delta / t;
    if turn > low && turn < high {
        integrate(f, low, turn, 5e-13, 1e-12) + integrate(f, turn, high, 5e-13, 1e-12)
    } else {
        integrate(f, low, high, 5e-13, 1e-12)
    }
}

/// t with P(T ≤ t) = p.
pub fn noncentral_t_quantile(p: f64, dof: f64, delta: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0 && dof > 0.0 && dof.is_finite() && delta.is_finite()) {
        return None;
    }
    // The bracket grows geometrically from a guess with the chi variable at its own quantiles.
    let f = |t: f64| noncentral_t_cdf(t, dof, delta) - p;
    let (mut low, mut high) = (delta - 2.0, delta + 2.0);
    let mut width = 4.0 + delta.abs();
    while f(low) > 0.0 && width < 1e12 {
        low -= width;
        width *= 2.0;
    }
    width = 4.0 + delta.abs();
    while f(high) < 0.0 && width < 1e12 {
        high += width;
        width *= 2.0;
    }
    root::brent(f, low, high, 1e-12 * (1.0 + high.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: SciPy 1.17.1 scipy.stats.nct.cdf (series of the incomplete beta function, a different way of
    /// computing it). Tolerance: 1e-9.
    #[test]
    fn val_noncentral_t() {
        for (t, dof, delta, want) in [
            (1.0, 1.0, 0.5, 0.5927477364400293),
            (2.5, 3.0, 1.0, 0.8241837592004869),
            (26.0, 1.0, 2.3262, 0.9286575149192712),
            (5.0, 4.0, 3.678, 0.684209654225588),
            (-1.0, 5.0, 1.0, 0.030807353260750292),
            (0.3, 10.0, -2.0, 0.988920935755753),
            (12.0, 29.0, 9.0, 0.9426334555448894),
            (3.0, 200.0, 2.0, 0.8377476280675407),
        ] {
            let got: f64 = noncentral_t_cdf(t, dof, delta);
            assert!((got - want).abs() < 1e-9, "{t} {dof} {delta}: {got} against {want}");
            let back = noncentral_t_quantile(want, dof, delta).expect("inside");
            assert!((noncentral_t_cdf(back, dof, delta) - want).abs() < 1e-9);
        }
        // δ = 0 is Student's t.
        let central = super::super::student::t_cdf(1.3, 4.0);
        assert!((noncentral_t_cdf(1.3, 4.0, 0.0) - central).abs() < 1e-11);
        assert!(noncentral_t_cdf(1.0, 0.0, 1.0).is_nan());
    }
}
