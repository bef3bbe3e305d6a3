//! Linear least squares with a handful of unknowns, by Householder reflections.
//!
//! Source: G. H. Golub and C. F. Van Loan, Matrix Computations (4th edition 2013), 5.2.2 and 5.3.2.

/// Fitted coefficients and what is left.
pub struct Fit {
    pub coefficients: Vec<f64>,
    /// Sum of squared residuals.
    pub residual_square_sum: f64,
    /// (XᵀX)⁻¹, row by row: times the residual variance it is the covariance of the coefficients.
    pub unscaled_covariance: Vec<Vec<f64>>,
}

/// Minimises Σ(y − Σ c_j x_j)² over rows of `design` (all of one length p ≤ rows). `None` if the columns are
/// linearly dependent, the lengths do not match or a number is not finite.
pub fn fit(design: &[Vec<f64>], y: &[f64]) -> Option<Fit> {
    let rows = design.len();
    let p = design.first()?.len();
    if rows != y.len() || rows < p || p == 0 || design.iter().any(|r| r.len() != p) {
        return None;
    }
    let mut a: Vec<Vec<f64>> = design.iter().zip(y).map(|(r, y)| [r.as_slice(), &[*y]].concat()).collect();
    if a.iter().flatten().any(|v| !v.is_finite()) {
        return None;
    }
    let column_norm = |a: &[Vec<f64>], j: usize, from: usize| -> f64 {
        a[from..].iter().map(|r| r[j] * r[j]).sum::<f64>().sqrt()
    };
    let scale: Vec<f64> = (0..p).map(|j| column_norm(&a, j, 0)).collect();
    for k in 0..p {
        let norm = column_norm(&a, k, k);
        if !(norm > 1e-12 * scale[k]) {
            return None;
        }
        let alpha = -norm.copysign(a[k][k]);
        let mut v: Vec<f64> = a[k..].iter().map(|r| r[k]).collect();
        v[0] -= alpha;
        let square: f64 = v.iter().map(|x| x * x).sum();
        for j in k..=p {
            let dot: f64 = v.iter().zip(&a[k..]).map(|(v, r)| v * r[j]).sum();
            let factor = 2.0 * dot / square;
            for (v, row) in v.iter().zip(&mut a[k..]) {
                row[j] -= factor * v;
            }
        }
    }
    let solve = |right: &dyn Fn(usize) -> f64| -> Vec<f64> {
        let mut x = vec![0.0; p];
        for i in (0..p).rev() {
            let known: f64 = (i + 1..p).map(|j| a[i][j] * x[j]).sum();
            x[i] = (right(i) - known) / a[i][i];
        }
        x
    };
    let coefficients = solve(&|i| a[i][p]);
    // Columns of R⁻¹; (XᵀX)⁻¹ = R⁻¹R⁻ᵀ.
    let inverse: Vec<Vec<f64>> = (0..p).map(|c| solve(&|i| if i == c { 1.0 } else { 0.0 })).collect();
    let unscaled_covariance =
        (0..p).map(|i| (0..p).map(|j| inverse.iter().map(|c| c[i] * c[j]).sum()).collect()).collect();
    let residual_square_sum = a[p..].iter().map(|r| r[p] * r[p]).sum();
    Some(Fit { coefficients, residual_square_sum, unscaled_covariance })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: by hand: the line through (0, 1), (1, 3), (2, 4) is 7/6 + 3x/2, residual sum 1/6, and
    /// (XᵀX)⁻¹ = [[5/6, −1/2], [−1/2, 1/2]]. Tolerance: 1e-13.
    #[test]
    fn val_line_by_hand() {
        let design: Vec<Vec<f64>> = (0..3).map(|i| vec![1.0, f64::from(i)]).collect();
        let fit = fit(&design, &[1.0, 3.0, 4.0]).expect("full rank");
        assert!((fit.coefficients[0] - 7.0 / 6.0).abs() < 1e-13 && (fit.coefficients[1] - 1.5).abs() < 1e-13);
        assert!((fit.residual_square_sum - 1.0 / 6.0).abs() < 1e-13);
        assert!((fit.unscaled_covariance[0][0] - 5.0 / 6.0).abs() < 1e-13);
        assert!((fit.unscaled_covariance[0][1] + 0.5).abs() < 1e-13);
    }

    #[test]
    fn dependent_columns_are_refused() {
        assert!(fit(&[vec![1.0, 2.0], vec![2.0, 4.0], vec![3.0, 6.0]], &[1.0, 2.0, 3.0]).is_none());
        assert!(fit(&[vec![1.0]], &[f64::NAN]).is_none());
        assert!(fit(&[], &[]).is_none());
    }
}
