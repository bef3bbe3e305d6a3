//! Roots of one function of one variable, always inside a bracket.

/// Root of an increasing function on [low, high]: Newton's steps, halving the bracket whenever a step leaves
/// it or the value is not finite. `f` returns (value, derivative). A value of −∞ or +∞ counts by its sign.
/// `None` if the bracket holds no change of sign (the nearest end is not a root).
pub fn newton_bracketed(f: impl Fn(f64) -> (f64, f64), low: f64, high: f64, start: f64) -> Option<f64> {
    let (mut low, mut high) = (low, high);
    let mut t = if start > low && start < high { start } else { 0.5 * (low + high) };
    for _ in 0..400 {
        let (value, slope) = f(t);
        if value.is_nan() {
            return None;
        }
        if value == 0.0 {
            return Some(t);
        }
        if value < 0.0 {
            low = t;
        } else {
            high = t;
        }
        let step = value / slope;
        let next = t - step;
        let inside = next > low && next < high;
        if inside && step.abs() <= 1e-15 * t.abs().max(1e-3) {
            return Some(next);
        }
        let next = if inside { next } else { 0.5 * (low + high) };
        if next == t || high - low <= 4.0 * f64::EPSILON * (low.abs() + high.abs()) {
            return Some(next);
        }
        t = next;
    }
    Some(t)
}

/// Root of a continuous function on [low, high] by Brent's method (inverse quadratic, secant, bisection), to
/// `tolerance` in the argument. `None` without a change of sign or with a NaN.
/// Source: R. P. Brent, Algorithms for Minimization without Derivatives (1973), chapter 4.
pub fn brent(f: impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Option<f64> {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 {
        return Some(a);
    }
    if fb == 0.0 {
        return Some(b);
    }
    if fa.is_nan() || fb.is_nan() || (fa > 0.0) == (fb > 0.0) {
        return None;
    }
    let (mut c, mut fc) = (a, fa);
    let mut d = b - a;
    let mut e = d;
    for _ in 0..500 {
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            d = b - a;
            e = d;
        }
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let tol = 2.0 * f64::EPSILON * b.abs() + 0.5 * tolerance;
        let middle = 0.5 * (c - b);
        if middle.abs() <= tol || fb == 0.0 {
            return Some(b);
        }
        if e.abs() >= tol && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * middle * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (s * (2.0 * middle * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * middle * q - (tol * q).abs()).min((e * q).abs()) {
                e = d;
                d = p / q;
            } else {
                d = middle;
                e = middle;
            }
        } else {
            d = middle;
            e = middle;
        }
        (a, fa) = (b, fb);
        b += if d.abs() > tol { d } else { tol.copysign(middle) };
        fb = f(b);
        if fb.is_nan() {
            return None;
        }
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: closed forms (2^(1/3); fixed point of cos, Dottie number 0.739085133215160641655, seen in several public lists of constants).
    /// Tolerance: 1e-12.
    #[test]
    fn val_brent_finds_known_roots() {
        let cube_root = brent(|x| x * x * x - 2.0, 0.0, 3.0, 1e-14);
        assert!((cube_root.expect("sign changes") - 1.259_921_049_894_873_2).abs() < 1e-12);
        let fixed = brent(|x| libm::cos(x) - x, 0.0, 1.0, 1e-14);
        assert!((fixed.expect("sign changes") - 0.739_085_133_215_160_6).abs() < 1e-12);
        assert_eq!(brent(|x| x * x + 1.0, -1.0, 1.0, 1e-9), None);
        assert_eq!(brent(|_| f64::NAN, -1.0, 1.0, 1e-9), None);
    }

    #[test]
    fn bracketed_newton_survives_a_bad_start_and_flat_parts() {
        let f = |t: f64| (libm::atan(t - 3.0), 1.0 / (1.0 + (t - 3.0) * (t - 3.0)));
        let root = newton_bracketed(f, -1000.0, 1000.0, 900.0).expect("sign changes");
        assert!((root - 3.0).abs() < 1e-12);
    }
}
