//! Readings and laboratories that stand out: Cochran (largest variance), Grubbs (largest deviation), and the critical values
//! of Mandel's h and k.
//!
//! C = max s²/Σs²; G = max|x − x̄|/s. Critical values from the F and t distributions with Bonferroni's bound.
//! A flag is a reason to look at the measurement, never a licence to drop a reading.
//! Source: ISO 5725-2:1994 (from memory), 7.3.3 (Cochran, table 4), 7.3.4 (Grubbs, table 5), 7.3.1 (Mandel); F. E. Grubbs,
//! Procedures for detecting outlying observations in samples, Technometrics 11 (1969) 1-21.

use crate::numeric::f_ratio::{f_quantile, f_tails};
use crate::numeric::student::{t_cdf, t_quantile};
use crate::numeric::summary::{mean, standard_deviation, variance};
use serde::{Deserialize, Serialize};

/// Test of the most extreme one of several.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Extreme {
    /// Which one (from 0).
    pub index: usize,
    pub statistic: f64,
    pub critical_5_percent: f64,
    pub critical_1_percent: f64,
    /// Bonferroni's bound of the odds of a value as extreme, at most 1.
    pub p_value: f64,
}

/// How far out the most extreme one stands, in the standard's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    Inside,
    /// Above the 5 % critical value: look at it, keep it.
    Straggler,
    /// Above the 1 % critical value: find the cause.
    Outlier,
}

impl Extreme {
    pub fn standing(&self) -> Standing {
        if self.statistic > self.critical_1_percent {
            Standing::Outlier
        } else if self.statistic > self.critical_5_percent {
            Standing::Straggler
        } else {
            Standing::Inside
        }
    }
}

/// Critical value of Cochran's C for `p` laboratories with `n` repeats each, chance `alpha` of a false alarm.
pub fn cochran_critical(p: usize, n: usize, alpha: f64) -> f64 {
    let (labs, dof) = (p as f64, n as f64 - 1.0);
    let f = f_quantile(1.0 - alpha / labs, dof, (labs - 1.0) * dof);
    f / (f + labs - 1.0)
}

/// Cochran's test; the cells must hold equal numbers (≥ 2) of repeats, and at least two cells.
pub fn cochran(cells: &[&[f64]]) -> Option<Extreme> {
    let (p, n) = (cells.len(), cells.first()?.len());
    if p < 2 || n < 2 || cells.iter().any(|c| c.len() != n) {
        return None;
    }
    let variances: Vec<f64> = cells.iter().map(|c| variance(c)).collect();
    let sum: f64 = variances.iter().sum();
    if !(sum > 0.0) {
        return None;
    }
    let index = (0..p).max_by(|&i, &j| variances[i].total_cmp(&variances[j]))?;
    let statistic = variances[index] / sum;
    let (labs, dof) = (p as f64, n as f64 - 1.0);
    let f = (labs - 1.0) * statistic / (1.0 - statistic);
    Some(Extreme {
        index,
        statistic,
        critical_5_percent: cochran_critical(p, n, 0.05),
        critical_1_percent: cochran_critical(p, n, 0.01),
        p_value: (labs * f_tails(f, dof, (labs - 1.0) * dof).1).min(1.0),
    })
}

/// Critical value of Grubbs' two-sided test for one outlier among `p` ≥ 3 values.
pub fn grubbs_critical(p: usize, alpha: f64) -> f64 {
    let n = p as f64;
    let t = t_quantile(1.0 - alpha / (2.0 * n), n - 2.0);
    (n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt()
}

/// Grubbs' two-sided test of the most distant of at least 3 values; `None` if they are all equal.
pub fn grubbs(values: &[f64]) -> Option<Extreme> {
    let n = values.len();
    if n < 3 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let (centre, sd) = (mean(values), standard_deviation(values));
    if !(sd > 0.0) {
        return None;
    }
    let distance = |i: usize| (values[i] - centre).abs();
    let index = (0..n).max_by(|&i, &j| distance(i).total_cmp(&distance(j)))?;
    let statistic = distance(index) / sd;
    let count = n as f64;
    // G as a function of t, solved for t.
    let square = statistic * statistic * count;
    let room = (count - 1.0) * (count - 1.0) - square;
    let t = if room > 0.0 { ((count - 2.0) * square / room).sqrt() } else { f64::INFINITY };
    let tail = if t.is_finite() { t_cdf(-t, count - 2.0) } else { 0.0 };
    Some(Extreme {
        index,
        statistic,
        critical_5_percent: grubbs_critical(n, 0.05),
        critical_1_percent: grubbs_critical(n, 0.01),
        p_value: (2.0 * count * tail).min(1.0),
    })
}

/// Two-sided critical value of Mandel's h for `p` ≥ 3 laboratories.
pub fn mandel_h_critical(p: usize, alpha: f64) -> f64 {
    let n = p as f64;
    let t = t_quantile(1.0 - 0.5 * alpha, n - 2.0);
    (n - 1.0) * t / (n * (t * t + n - 2.0)).sqrt()
}

/// Critical value of Mandel's k for `p` ≥ 2 laboratories with `n` ≥ 2 repeats.
pub fn mandel_k_critical(p: usize, n: usize, alpha: f64) -> f64 {
    let (labs, dof) = (p as f64, n as f64 - 1.0);
    let f = f_quantile(1.0 - alpha, dof, (labs - 1.0) * dof);
    (labs * f / (f + labs - 1.0)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: ISO 5725-2:1994 table 5 (one outlying value; 5 % and 1 %) and table 4 (Cochran, p = 8, n = 3: 0.516 and 0.615),
    /// ASTM E691 table 5 (h and k at 0.5 %, p = 8, n = 3: 2.15 and 2.06), all from memory; Grubbs for 3 to 6 values also in a public table (seen); more digits by SciPy 1.17.1.
    /// Tolerance: half the last digit of SciPy's value.
    #[test]
    fn val_critical_values() {
        for (p, five, one) in [
            (3, 1.1543, 1.1547),
            (4, 1.4813, 1.4963),
            (5, 1.7150, 1.7637),
            (6, 1.8871, 1.9728),
            (8, 2.1266, 2.2744),
            (10, 2.2900, 2.4821),
        ] {
            assert!(
                (grubbs_critical(p, 0.05) - five).abs() < 6e-5
                    && (grubbs_critical(p, 0.01) - one).abs() < 6e-5,
                "{p}"
            );
        }
        assert!((cochran_critical(8, 3, 0.05) - 0.5157).abs() < 5e-5);
        assert!((cochran_critical(8, 3, 0.01) - 0.6152).abs() < 5e-5);
        assert!((mandel_h_critical(8, 0.005) - 2.1525).abs() < 5e-5);
        assert!((mandel_k_critical(8, 3, 0.005) - 2.0608).abs() < 5e-5);
    }

    #[test]
    fn p_values_agree_with_the_critical_values() {
        // A set whose statistic is exactly critical at 5 % has p = 5 %.
        for n in [4, 8, 15] {
            let critical = grubbs_critical(n, 0.05);
            let f = |x: f64| {
                let mut v: Vec<f64> = (0..n - 1).map(|i| (i as f64 - 0.5 * (n as f64 - 2.0)) * 0.1).collect();
                v.push(x);
                grubbs(&v).expect("varied")
            };
            let x = crate::numeric::root::brent(
                |x| f(x).statistic - critical,
                0.5 * n as f64 * 0.1,
                100.0,
                1e-13,
            )
            .expect("between");
            assert!((f(x).p_value - 0.05).abs() < 1e-6 && f(x).index == n - 1, "{n}");
        }
        assert!(grubbs(&[1.0, 1.0, 1.0]).is_none() && grubbs(&[1.0, 2.0]).is_none());
        assert_eq!(grubbs(&[0.0, 0.0, 1.0]).map(|g| g.index), Some(2));
        assert!(cochran(&[&[1.0, 2.0], &[1.0]]).is_none() && cochran(&[]).is_none());
    }
}
