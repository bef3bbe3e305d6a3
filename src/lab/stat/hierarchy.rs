//! Samples and their repeats: how much samples differ and how much readings of one sample differ.
//!
//! One-way random effects: reading = mean + sample + repeat. With mean squares MSB (between k samples) and MSW
//! (within), σ_w² = MSW and σ_b² = max(0, (MSB − MSW)/n₀). The interval of σ_b²/σ_w² is exact for equal numbers
//! of repeats; that of σ_b is Satterthwaite's. With unequal numbers n₀ = (N − Σnᵢ²/N)/(k − 1) and both are approximate.
//! Source: S. R. Searle, G. Casella and C. E. McCulloch, Variance Components (1992), 3.6; F. E. Satterthwaite, An
//! approximate distribution of estimates of variance components, Biometrics Bulletin 2 (1946) 110-114.

use super::few::Range;
use crate::numeric::chi_square::{chi_square_quantile, chi_square_upper_quantile};
use crate::numeric::f_ratio::{f_quantile, f_tails};
use crate::numeric::student::t_quantile;
use crate::numeric::summary::mean;
use serde::{Deserialize, Serialize};

/// Two sources of spread.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TwoSpreads {
    pub samples: usize,
    pub readings: usize,
    pub level: f64,
    /// Mean of the samples' means.
    pub mean: f64,
    /// Half width of the interval of the mean, with samples as the units.
    pub mean_half_width: f64,
    pub mean_square_between: f64,
    pub mean_square_within: f64,
    /// Standard deviation of repeats of one sample.
    pub within: f64,
    pub within_interval: Range,
    /// Standard deviation between samples.
    pub between: f64,
    /// `None` when the samples do not differ more than their repeats do.
    pub between_interval: Option<Range>,
    pub between_degrees_of_freedom: Option<f64>,
    pub f: f64,
    /// Odds of an F as large if the samples were all alike.
    pub p_value: f64,
    /// σ_b²/σ_w², ends below 0 set to 0.
    pub ratio_interval: Range,
    /// σ_b²/(σ_b² + σ_w²): the share of the samples in the variance of a reading.
    pub share_of_samples: Range,
    /// Whether all samples have the same number of repeats (only then the ratio's interval is exact).
    pub balanced: bool,
}

/// `samples`: the repeats of each sample. Needs two samples, one of them with two repeats, and repeats that are not all
/// equal; `None` otherwise.
pub fn two_spreads(samples: &[&[f64]], level: f64) -> Option<TwoSpreads> {
    let k = samples.len();
    let total: usize = samples.iter().map(|s| s.len()).sum();
    if k < 2 || total <= k || samples.iter().any(|s| s.is_empty() || s.iter().any(|v| !v.is_finite())) {
        return None;
    }
    let (groups, all) = (k as f64, total as f64);
    let means: Vec<f64> = samples.iter().map(|s| mean(s)).collect();
    let grand = samples.iter().flat_map(|s| s.iter()).sum::<f64>() / all;
    let (dof_b, dof_w) = (groups - 1.0, all - groups);
    let within: f64 = samples
        .iter()
        .zip(&means)
        .map(|(s, m)| s.iter().map(|v| (v - m) * (v - m)).sum::<f64>())
        .sum::<f64>()
        / dof_w;
    let between: f64 =
        samples.iter().zip(&means).map(|(s, m)| s.len() as f64 * (m - grand) * (m - grand)).sum::<f64>()
            / dof_b;
    if !(within > 0.0) {
        return None;
    }
    let squares: f64 = samples.iter().map(|s| (s.len() * s.len()) as f64).sum();
    let repeats = (all - squares / all) / dof_b;
    let f = between / within;
    let half = 0.5 * (1.0 - level);
    let ratio = |point: f64| ((f / point - 1.0) / repeats).max(0.0);
    let ratio_interval = Range {
        low: ratio(f_quantile(1.0 - half, dof_b, dof_w)),
        high: ratio(f_quantile(half, dof_b, dof_w)),
    };
    let variance_b = ((between - within) / repeats).max(0.0);
    let degrees = (variance_b > 0.0)
        .then(|| (between - within).powi(2) / (between * between / dof_b + within * within / dof_w));
    let interval = |variance: f64, dof: f64| Range {
        low: (dof * variance / chi_square_upper_quantile(half, dof)).sqrt(),
        high: (dof * variance / chi_square_quantile(half, dof)).sqrt(),
    };
    let share = |r: f64| r / (1.0 + r);
    let centre = mean(&means);
    let spread_of_means = crate::numeric::summary::standard_deviation(&means);
    Some(TwoSpreads {
        samples: k,
        readings: total,
        level,
        mean: centre,
        mean_half_width: t_quantile(0.5 + 0.5 * level, dof_b) * spread_of_means / groups.sqrt(),
        mean_square_between: between,
        mean_square_within: within,
        within: within.sqrt(),
        within_interval: interval(within, dof_w),
        between: variance_b.sqrt(),
        between_interval: degrees.map(|dof| interval(variance_b, dof)),
        between_degrees_of_freedom: degrees,
        f,
        p_value: f_tails(f, dof_b, dof_w).1,
        ratio_interval,
        share_of_samples: Range { low: share(ratio_interval.low), high: share(ratio_interval.high) },
        balanced: samples.iter().all(|s| s.len() == samples[0].len()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: formulas of S. R. Searle, G. Casella and C. E. McCulloch (1992) worked in SciPy 1.17.1; s_w and s_b also
    /// by statsmodels 0.15.0 MixedLM (REML). Tolerance: half the last digit.
    #[test]
    fn val_four_samples_three_repeats() {
        let s = two_spreads(
            &[&[-17.9, -17.7, -17.8], &[-18.4, -18.1, -18.3], &[-17.2, -17.5, -17.3], &[-18.0, -17.8, -18.1]],
            0.95,
        )
        .expect("enough");
        let near = |got: f64, want: f64, tolerance: f64| {
            assert!((got - want).abs() < tolerance, "{got} against {want}");
        };
        near(s.mean_square_between, 0.45638889, 5.1e-9);
        near(s.mean_square_within, 0.02, 1e-12);
        near(s.within, 0.141421, 5.1e-7);
        near(s.between, 0.381396, 5.1e-7);
        near(s.f, 22.8194, 5.1e-5);
        near(s.ratio_interval.low, 1.0711, 5.1e-5);
        near(s.ratio_interval.high, 110.264, 5.1e-4);
        near(s.share_of_samples.low, 0.5172, 5.1e-5);
        near(s.share_of_samples.high, 0.9910, 5.1e-5);
        near(s.between_degrees_of_freedom.expect("positive"), 2.741, 5.1e-4);
        let between = s.between_interval.expect("positive");
        near(between.low, 0.212, 5.1e-4);
        near(between.high, 1.569, 5.1e-4);
        assert!(s.balanced);
    }

    #[test]
    fn alike_samples_have_no_spread_between_them() {
        let s = two_spreads(&[&[1.0, 2.0], &[2.0, 1.0], &[1.2, 1.8, 1.5]], 0.95).expect("enough");
        assert_eq!((s.between, s.between_interval, s.ratio_interval.low), (0.0, None, 0.0));
        assert!(!s.balanced && s.p_value > 0.9);
        assert!(two_spreads(&[&[1.0], &[2.0]], 0.95).is_none());
        assert!(two_spreads(&[&[1.0, 1.0], &[2.0, 2.0]], 0.95).is_none());
        assert!(two_spreads(&[&[1.0, f64::NAN], &[2.0, 2.1]], 0.95).is_none());
    }
}
