//! Standard bivariate normal distribution.
//!
//! Φ₂(h, k; ρ) = Φ(h)Φ(k) + (1/2π)∫₀^asin ρ exp(−(h² + k² − 2hk sin θ)/(2cos²θ)) dθ.
//! Source: Z. Drezner and G. O. Wesolowsky, On the computation of the bivariate normal integral, J. Statist.
//! Comput. Simul. 35 (1990) 101-107.

use super::normal_cdf;
use super::quadrature::integrate;

/// P(X ≤ h, Y ≤ k) with correlation `rho` in −1..=1; absolute error about 1e-13.
pub fn bivariate_normal_cdf(h: f64, k: f64, rho: f64) -> f64 {
    if !(-1.0..=1.0).contains(&rho) || h.is_nan() || k.is_nan() {
        return f64::NAN;
    }
    if rho == 1.0 {
        return normal_cdf(h.min(k));
    }
    if rho == -1.0 {
        return (normal_cdf(h) - normal_cdf(-k)).max(0.0);
    }
    if h.is_infinite() || k.is_infinite() {
        return normal_cdf(h) * normal_cdf(k);
    }
    let square = h * h + k * k;
    let f = |angle: f64| {
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        libm::exp(-(square - 2.0 * h * k * sin) / (2.0 * cos * cos))
    };
    let area = integrate(f, 0.0, libm::asin(rho), 1e-14, 1e-13);
    (normal_cdf(h) * normal_cdf(k) + area / (2.0 * std::f64::consts::PI)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: W. F. Sheppard's closed form Φ₂(0, 0; ρ) = 1/4 + asin(ρ)/2π (1899). Tolerance: 1e-13.
    #[test]
    fn val_orthant() {
        for rho in [-1.0, -0.99, -0.3, 0.0, 0.5, 0.999, 1.0] {
            let want = 0.25 + libm::asin(rho) / (2.0 * std::f64::consts::PI);
            assert!((bivariate_normal_cdf(0.0, 0.0, rho) - want).abs() < 1e-13, "{rho}");
        }
        assert!((bivariate_normal_cdf(1.0, -0.5, 0.0) - normal_cdf(1.0) * normal_cdf(-0.5)).abs() < 1e-14);
        // P(X ≤ h, Y ≤ k; ρ) + P(X ≤ h, Y ≤ −k; −ρ) = Φ(h)
        let both = bivariate_normal_cdf(0.7, -1.2, 0.8) + bivariate_normal_cdf(0.7, 1.2, -0.8);
        assert!((both - normal_cdf(0.7)).abs() < 1e-13);
    }
}
