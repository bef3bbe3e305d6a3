//! Inputs whose errors are correlated: covariance of means, and its passage through a measurement equation.
//!
//! s(x̄, ȳ) = Σ(x − x̄)(y − ȳ)/(n(n − 1)); U_y = J U_x Jᵀ.
//! Source: JCGM 100:2008 (GUM), 5.2.2 and 5.2.3; several results at once: JCGM 102:2011, 6.2.1.

use crate::numeric::summary::mean;

/// Covariance matrix of the means of quantities observed together, one slice of equal length (≥ 2) per quantity.
/// `None` if the lengths differ or are below 2.
pub fn covariance_of_means(series: &[&[f64]]) -> Option<Vec<Vec<f64>>> {
    let n = series.first()?.len();
    if n < 2 || series.iter().any(|s| s.len() != n) {
        return None;
    }
    let centred: Vec<Vec<f64>> = series
        .iter()
        .map(|s| {
            let centre = mean(s);
            s.iter().map(|x| x - centre).collect()
        })
        .collect();
    let scale = (n * (n - 1)) as f64;
    let entry = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>() / scale;
    Some(centred.iter().map(|a| centred.iter().map(|b| entry(a, b)).collect()).collect())
}

/// Covariance J U Jᵀ of the results; `sensitivities` holds one row per result, one column per input.
pub fn propagate(sensitivities: &[Vec<f64>], covariance: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let form = |a: &[f64], b: &[f64]| -> f64 {
        a.iter().zip(covariance).map(|(x, row)| x * row.iter().zip(b).map(|(u, y)| u * y).sum::<f64>()).sum()
    };
    sensitivities.iter().map(|a| sensitivities.iter().map(|b| form(a, b)).collect()).collect()
}

/// Correlation coefficient of entries i and j; NaN if one of them does not vary.
pub fn correlation(covariance: &[Vec<f64>], i: usize, j: usize) -> f64 {
    covariance[i][j] / (covariance[i][i] * covariance[j][j]).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: JCGM 100:2008 (GUM), H.2 (resistance and reactance from V, I and phase measured together), as
    /// worked again in the documentation of GTC (MSL New Zealand, docs/API/GUM_H2.rst, seen): R 127.732(70), X 219.85(30), Z 254.26(24) Ω, correlations −0.59, −0.49,
    /// 0.99; more digits by SciPy/numpy arithmetic. Tolerance: half the last digit printed here.
    #[test]
    fn val_gum_h2_impedance() {
        let v = [5.007, 4.994, 5.005, 4.990, 4.999];
        let i = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
        let phase = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
        let inputs = covariance_of_means(&[&v, &i, &phase]).expect("equal lengths");
        for (k, u) in [(0, 0.003_209_4), (1, 9.471_0e-6), (2, 0.000_752_06)] {
            assert!((inputs[k][k].sqrt() / u - 1.0_f64).abs() < 2e-5);
        }
        for (a, b, r) in [(0, 1, -0.3553), (0, 2, 0.8576), (1, 2, -0.6451)] {
            assert!((correlation(&inputs, a, b) - r).abs() < 5.1e-5);
        }
        let (vm, im, pm) = (mean(&v), mean(&i), mean(&phase));
        let z = vm / im;
        let (cos, sin) = (libm::cos(pm), libm::sin(pm));
        let results = [(z * cos, 127.732_17), (z * sin, 219.846_51), (z, 254.259_70)];
        for (got, want) in results {
            assert!((got - want).abs() < 5.1e-6, "{got}");
        }
        let rows = vec![
            vec![cos / im, -z * cos / im, -z * sin],
            vec![sin / im, -z * sin / im, z * cos],
            vec![1.0 / im, -z / im, 0.0],
        ];
        let out = propagate(&rows, &inputs);
        for (k, u) in [(0, 0.071071), (1, 0.295582), (2, 0.236336)] {
            assert!((out[k][k].sqrt() - u).abs() < 5.1e-7, "{}", out[k][k].sqrt());
        }
        for (a, b, r) in [(0, 1, -0.5884), (0, 2, -0.4853), (1, 2, 0.9925)] {
            assert!((correlation(&out, a, b) - r).abs() < 5.1e-5);
        }
    }

    #[test]
    fn lengths_must_match() {
        assert!(covariance_of_means(&[&[1.0, 2.0], &[1.0]]).is_none());
        assert!(covariance_of_means(&[&[1.0]]).is_none() && covariance_of_means(&[]).is_none());
    }
}
