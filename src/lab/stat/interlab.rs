//! Repeatability and reproducibility of a threshold measured in several laboratories (or sessions, or by several
//! people).
//!
//! s_r² pooled variance of the repeats, s_L² = max(0, s_x̄² − s_r²/n) variance between laboratories, s_R² = s_r² + s_L²;
//! a difference beyond 2.8·s (1.96·√2) is seen once in twenty. Mandel's h says which laboratory's level, k which
//! laboratory's scatter stands out.
//! Source: ISO 5725-2:1994 (from memory), 7.4 (variances, also for unequal numbers of repeats), 7.3.1 (h and k); ASTM E691
//! (from memory), 15 and table 5.

use super::outlier::{mandel_h_critical, mandel_k_critical};
use crate::numeric::summary::{mean, standard_deviation, variance};
use serde::{Deserialize, Serialize};

/// One laboratory's line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Laboratory {
    pub readings: usize,
    pub mean: f64,
    pub standard_deviation: f64,
    pub h: f64,
    pub k: f64,
    /// |h| above its critical value.
    pub level_stands_out: bool,
    /// k above its critical value.
    pub scatter_stands_out: bool,
}

/// Result of the comparison.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Precision {
    pub mean: f64,
    /// Standard deviation of the laboratories' means.
    pub spread_of_means: f64,
    pub repeatability: f64,
    pub between: f64,
    pub reproducibility: f64,
    pub repeatability_limit: f64,
    pub reproducibility_limit: f64,
    /// The means differ less than the repeats let one expect: `between` was cut at 0.
    pub between_cut_at_zero: bool,
    pub h_critical: f64,
    pub k_critical: f64,
    pub laboratories: Vec<Laboratory>,
}

/// Limits and flags of the two standards.
const LIMIT_FACTOR: f64 = 2.8;

/// `cells`: the repeats of each laboratory, at least 3 laboratories with 2 repeats each. `alpha`: chance of a flag for
/// a sound laboratory (0.005 in ASTM E691). `None` for fewer, for NaN, or if nothing varies.
pub fn precision(cells: &[&[f64]], alpha: f64) -> Option<Precision> {
    let p = cells.len();
    if p < 3 || cells.iter().any(|c| c.len() < 2 || c.iter().any(|v| !v.is_finite())) {
        return None;
    }
    let means: Vec<f64> = cells.iter().map(|c| mean(c)).collect();
    let total: f64 = cells.iter().map(|c| c.len() as f64).sum();
    let labs = p as f64;
    let repeat: f64 =
        cells.iter().map(|c| (c.len() as f64 - 1.0) * variance(c)).sum::<f64>() / (total - labs);
    let grand = cells.iter().flat_map(|c| c.iter()).sum::<f64>() / total;
    // Equal numbers: n̄ = n and s_d² = n·s_x̄².
    let squares: f64 = cells.iter().map(|c| (c.len() * c.len()) as f64).sum();
    let n = (total - squares / total) / (labs - 1.0);
    let of_means: f64 =
        cells.iter().zip(&means).map(|(c, m)| c.len() as f64 * (m - grand) * (m - grand)).sum::<f64>()
            / (labs - 1.0);
    let between = (of_means - repeat) / n;
    let spread_of_means = standard_deviation(&means);
    if !(repeat > 0.0 && spread_of_means > 0.0) {
        return None;
    }
    let centre = mean(&means);
    let repeatability = repeat.sqrt();
    let reproducibility = (repeat + between.max(0.0)).sqrt();
    let h_critical = mandel_h_critical(p, alpha);
    let k_critical = mandel_k_critical(p, n.round() as usize, alpha);
    let laboratories = cells
        .iter()
        .zip(&means)
        .map(|(c, m)| {
            let (h, k) = ((m - centre) / spread_of_means, standard_deviation(c) / repeatability);
            Laboratory {
                readings: c.len(),
                mean: *m,
                standard_deviation: standard_deviation(c),
                h,
                k,
                level_stands_out: h.abs() > h_critical,
                scatter_stands_out: k > k_critical,
            }
        })
        .collect();
    Some(Precision {
        mean: grand,
        spread_of_means,
        repeatability,
        between: between.max(0.0).sqrt(),
        reproducibility,
        repeatability_limit: LIMIT_FACTOR * repeatability,
        reproducibility_limit: LIMIT_FACTOR * reproducibility,
        between_cut_at_zero: between < 0.0,
        h_critical,
        k_critical,
        laboratories,
    })
}

#[cfg(test)]
mod tests {
    use super::super::outlier::{Standing, cochran};
    use super::*;

    const GLUCOSE_A: [[f64; 3]; 8] = [
        [41.03, 41.45, 41.37],
        [41.17, 42.00, 41.15],
        [41.01, 40.68, 42.66],
        [39.37, 42.37, 42.63],
        [41.88, 41.19, 41.32],
        [43.28, 40.50, 42.28],
        [41.08, 41.27, 39.02],
        [43.36, 42.65, 41.72],
    ];
    const GLUCOSE_C: [[f64; 3]; 8] = [
        [132.66, 133.83, 133.10],
        [132.92, 136.90, 136.40],
        [132.61, 135.80, 135.36],
        [138.50, 148.30, 135.69],
        [131.90, 134.14, 133.76],
        [137.21, 135.14, 137.50],
        [130.97, 131.59, 134.92],
        [135.46, 135.14, 133.53],
    ];

    /// Source: glucose in serum, worked example of ASTM E691 (raw data as in the R package ILS, data/Glucose.RData),
    /// materials A and C; statistics by numpy 1.26.4. The max(0, ·) rule makes s_R = s_r for A; a package that leaves
    /// it out prints 1.058783, below s_r. Tolerance: half the last digit.
    #[test]
    fn val_glucose() {
        let near =
            |got: f64, want: f64, tolerance: f64| assert!((got - want).abs() < tolerance, "{got} {want}");
        let cells: Vec<&[f64]> = GLUCOSE_A.iter().map(|c| c.as_slice()).collect();
        let a = precision(&cells, 0.005).expect("8 laboratories");
        near(a.mean, 41.51833, 5.1e-6);
        near(a.spread_of_means, 0.606127, 5.1e-7);
        near(a.repeatability, 1.063224, 5.1e-7);
        near(a.reproducibility, 1.063224, 5.1e-7);
        assert!(a.between == 0.0 && a.between_cut_at_zero);
        let test = cochran(&cells).expect("equal numbers");
        near(test.statistic, 0.3630, 5.1e-5);
        assert_eq!(test.standing(), Standing::Inside);

        let cells: Vec<&[f64]> = GLUCOSE_C.iter().map(|c| c.as_slice()).collect();
        let c = precision(&cells, 0.005).expect("8 laboratories");
        near(c.mean, 135.13875, 5.1e-6);
        near(c.spread_of_means, 2.656687, 5.1e-7);
        near(c.repeatability, 2.750879, 5.1e-7);
        near(c.between, 2.129681, 5.1e-7);
        near(c.reproducibility, 3.478919, 5.1e-7);
        near(c.reproducibility_limit, 2.8 * 3.478919, 1e-5);
        let fourth = c.laboratories[3];
        near(fourth.h, 2.142, 5.1e-4);
        near(fourth.k, 2.407, 5.1e-4);
        // h just inside 2.1525, k outside 2.0608.
        assert!(fourth.scatter_stands_out && !fourth.level_stands_out);
        assert_eq!(c.laboratories.iter().filter(|l| l.scatter_stands_out || l.level_stands_out).count(), 1);
        let test = cochran(&cells).expect("equal numbers");
        near(test.statistic, 0.7239, 5.1e-5);
        assert!(test.index == 3 && test.p_value < 0.01 && test.standing() == Standing::Outlier);
    }

    #[test]
    fn too_little_is_refused() {
        assert!(precision(&[&[1.0, 2.0], &[1.0, 2.0]], 0.005).is_none());
        assert!(precision(&[&[1.0, 2.0], &[1.0, 2.0], &[1.0]], 0.005).is_none());
        assert!(precision(&[&[1.0, 1.0], &[1.0, 1.0], &[1.0, 1.0]], 0.005).is_none());
        // Unequal numbers of repeats are allowed.
        let p = precision(&[&[1.0, 2.0], &[3.0, 4.0, 5.0], &[6.0, 8.0]], 0.005).expect("enough");
        assert!(p.between > 0.0 && p.reproducibility > p.repeatability);
    }
}
