//! Level of the average sample at one frequency when some samples never woke, or woke at the lowest power.
//!
//! Readings yᵢ are normal about μ with known standard deviation σᵢ. An exact reading contributes its density, a
//! tag above the limit c the probability Φ((μ − c)/σ), one below it Φ((c − μ)/σ). The log-likelihood is concave
//! in μ, so its only maximum is where the slope crosses zero.
//! Source: J. Tobin, Estimation of relationships for limited dependent variables, Econometrica 26 (1958) 24-36.

use crate::lab::Level;
use crate::random::transform::{normal_cdf, normal_pdf};

/// Mills-type ratio φ(z)/Φ(z), without underflow far out in the lower tail.
fn density_over_cdf(z: f64) -> f64 {
    if z < -30.0 {
        // Asymptotic expansion of the ratio, Abramowitz & Stegun (1964) 26.2.12.
        return -z - 1.0 / z;
    }
    normal_pdf(z) / normal_cdf(z)
}

/// Maximum-likelihood μ of levels with standard deviations σ > 0; `None` when no level is exact.
pub fn mean_level(levels: &[(Level, f64)]) -> Option<f64> {
    let exact = || levels.iter().filter_map(|(level, sd)| level.exact().map(|v| (v, *sd)));
    let (mut weight, mut sum) = (0.0, 0.0);
    for (value, sd) in exact() {
        weight += 1.0 / (sd * sd);
        sum += value / (sd * sd);
    }
    if weight == 0.0 {
        return None;
    }
    if levels.iter().all(|(level, _)| level.exact().is_some()) {
        return Some(sum / weight);
    }
    let slope = |mu: f64| -> f64 {
        levels
            .iter()
            .map(|&(level, sd)| match level {
                Level::Exact(v) => (v - mu) / (sd * sd),
                Level::Above(c) => density_over_cdf((mu - c) / sd) / sd,
                Level::Below(c) => -density_over_cdf((c - mu) / sd) / sd,
            })
            .sum()
    };
    let widest = levels.iter().map(|(_, sd)| *sd).fold(0.0, f64::max);
    let numbers = || levels.iter().map(|(level, _)| level.number());
    let mut low = numbers().fold(f64::INFINITY, f64::min) - 8.0 * widest;
    let mut high = numbers().fold(f64::NEG_INFINITY, f64::max) + 8.0 * widest;
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: right-censored normal sample 14.2, 15.1, 15.8, 16.0, 16.9, 17.3, 18.4 and three above 20; maximum
    /// likelihood by SciPy 1.17.1 `norm.fit(CensoredData)`: μ = 17.848515, σ = 2.781725. With σ held there, μ is
    /// the same. Tolerance: 1e-5 (printed digits of σ).
    #[test]
    fn val_right_censored_mean() {
        let mut levels: Vec<(Level, f64)> =
            [14.2, 15.1, 15.8, 16.0, 16.9, 17.3, 18.4].map(|v| (Level::Exact(v), 2.781725)).to_vec();
        levels.extend([(Level::Above(20.0), 2.781725); 3]);
        assert!((mean_level(&levels).expect("exact levels") - 17.848515).abs() < 1e-5);
    }

    #[test]
    fn left_mirrors_right_and_all_censored_is_unknown() {
        let right = [(Level::Exact(1.0), 0.5), (Level::Above(2.0), 0.5)];
        let left = [(Level::Exact(-1.0), 0.5), (Level::Below(-2.0), 0.5)];
        let (a, b) = (mean_level(&right).expect("one exact"), mean_level(&left).expect("one exact"));
        assert!((a + b).abs() < 1e-9 && a > 1.5);
        assert_eq!(mean_level(&right[1..]), None);
        // A limit far below what is known says nothing.
        let idle = [(Level::Exact(1.0), 0.5), (Level::Above(-90.0), 0.5)];
        assert!((mean_level(&idle).expect("one exact") - 1.0).abs() < 1e-9);
    }
}
