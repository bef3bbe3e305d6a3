//! Minimum of a function of a few variables without derivatives.
//!
//! Source: J. A. Nelder and R. Mead, A simplex method for function minimization, The Computer Journal 7 (1965) 308-313.

/// Minimum found: the point and its value.
pub struct Minimum {
    pub point: Vec<f64>,
    pub value: f64,
    /// Whether the simplex shrank below the tolerance before the steps ran out.
    pub converged: bool,
}

/// Minimises `f` from `start` with first steps `step` (same length, none zero). NaN counts as +∞. Restarts once
/// around the first answer, which frees a collapsed simplex.
pub fn nelder_mead(f: impl Fn(&[f64]) -> f64, start: &[f64], step: &[f64], tolerance: f64) -> Minimum {
    let first = descend(&f, start, step, tolerance);
    let smaller: Vec<f64> = step.iter().map(|s| 0.1 * s).collect();
    descend(&f, &first.point, &smaller, tolerance)
}

fn descend(f: &impl Fn(&[f64]) -> f64, start: &[f64], step: &[f64], tolerance: f64) -> Minimum {
    let n = start.len();
    let value = |x: &[f64]| {
        let v = f(x);
        if v.is_nan() { f64::INFINITY } else { v }
    };
    let mut corners: Vec<(Vec<f64>, f64)> = vec![(start.to_vec(), value(start))];
    for i in 0..n {
        let mut x = start.to_vec();
        x[i] += step.get(i).copied().unwrap_or(1.0);
        let v = value(&x);
        corners.push((x, v));
    }
    let mut converged = false;
    for _ in 0..400 * (n + 1) {
        corners.sort_by(|a, b| a.1.total_cmp(&b.1));
        let size = (0..n)
            .map(|i| {
                let ends = corners.iter().map(|c| c.0[i]);
                ends.clone().fold(f64::MIN, f64::max) - ends.fold(f64::MAX, f64::min)
            })
            .fold(0.0, f64::max);
        if size <= tolerance {
            converged = true;
            break;
        }
        let centre: Vec<f64> =
            (0..n).map(|i| corners[..n].iter().map(|c| c.0[i]).sum::<f64>() / n as f64).collect();
        let worst = corners[n].clone();
        let along = |k: f64| -> (Vec<f64>, f64) {
            let x: Vec<f64> = (0..n).map(|i| centre[i] + k * (worst.0[i] - centre[i])).collect();
            let v = value(&x);
            (x, v)
        };
        let reflected = along(-1.0);
        if reflected.1 < corners[0].1 {
            let far = along(-2.0);
            corners[n] = if far.1 < reflected.1 { far } else { reflected };
        } else if n > 1 && reflected.1 < corners[n - 1].1 {
            corners[n] = reflected;
        } else {
            let inner = if reflected.1 < worst.1 { along(-0.5) } else { along(0.5) };
            if inner.1 < worst.1.min(reflected.1) {
                corners[n] = inner;
            } else {
                let best = corners[0].0.clone();
                for corner in corners.iter_mut().skip(1) {
                    for (x, best) in corner.0.iter_mut().zip(&best) {
                        *x = best + 0.5 * (*x - best);
                    }
                    corner.1 = value(&corner.0);
                }
            }
        }
    }
    corners.sort_by(|a, b| a.1.total_cmp(&b.1));
    let (point, value) = corners.swap_remove(0);
    Minimum { point, value, converged }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: H. H. Rosenbrock, The Computer Journal 3 (1960) 175-184: minimum 0 at (1, 1) from (−1.2, 1).
    /// Tolerance: 1e-6.
    #[test]
    fn val_rosenbrock() {
        let f = |x: &[f64]| 100.0 * (x[1] - x[0] * x[0]) * (x[1] - x[0] * x[0]) + (1.0 - x[0]) * (1.0 - x[0]);
        let m = nelder_mead(f, &[-1.2, 1.0], &[0.5, 0.5], 1e-9);
        assert!(m.converged && m.value < 1e-12);
        assert!((m.point[0] - 1.0).abs() < 1e-6 && (m.point[1] - 1.0).abs() < 1e-6);
        let line = nelder_mead(|x: &[f64]| (x[0] - 3.0) * (x[0] - 3.0), &[0.0], &[1.0], 1e-9);
        assert!((line.point[0] - 3.0).abs() < 1e-7);
    }
}
