//! Minimum of a function of one variable without derivatives.
//!
//! Golden section with parabolic steps. Source: R. P. Brent, Algorithms for Minimization without Derivatives (1973),
//! chapter 5. The bracket is first widened until it holds the minimum.

const GOLDEN: f64 = 0.381_966_011_250_105_1;

/// (x, f(x)) at a local minimum near `start`, found from a first step `step` > 0, to `tolerance` in x. NaN counts as +∞.
pub fn minimum_near(f: impl Fn(f64) -> f64, start: f64, step: f64, tolerance: f64) -> (f64, f64) {
    let value = |x: f64| {
        let v = f(x);
        if v.is_nan() { f64::INFINITY } else { v }
    };
    let (mut low, mut middle, mut high) = (start - step, start, start + step);
    let (mut f_low, mut f_middle, mut f_high) = (value(low), value(middle), value(high));
    // At most 2⁶⁰ steps: a function that falls for ever is given up at its last value.
    for _ in 0..60 {
        if f_low < f_middle {
            (high, f_high) = (middle, f_middle);
            (middle, f_middle) = (low, f_low);
            low = middle - 2.0 * (high - middle);
            f_low = value(low);
        } else if f_high < f_middle {
            (low, f_low) = (middle, f_middle);
            (middle, f_middle) = (high, f_high);
            high = middle + 2.0 * (middle - low);
            f_high = value(high);
        } else {
            break;
        }
    }
    let (mut x, mut fx) = (middle, f_middle);
    let (mut w, mut fw) = (x, fx);
    let (mut v, mut fv) = (x, fx);
    let (mut d, mut e) = (0.0_f64, 0.0_f64);
    for _ in 0..200 {
        let centre = 0.5 * (low + high);
        let tol = tolerance + 1e-9 * x.abs();
        if (x - centre).abs() <= 2.0 * tol - 0.5 * (high - low) {
            break;
        }
        let mut parabolic = false;
        if e.abs() > tol {
            let r = (x - w) * (fx - fv);
            let q = (x - v) * (fx - fw);
            let p = (x - v) * q - (x - w) * r;
            let q = 2.0 * (q - r);
            let (p, q) = if q > 0.0 { (-p, q) } else { (p, -q) };
            if p.abs() < (0.5 * q * e).abs() && p > q * (low - x) && p < q * (high - x) {
                e = d;
                d = p / q;
                parabolic = true;
                let u = x + d;
                if u - low < 2.0 * tol || high - u < 2.0 * tol {
                    d = tol.copysign(centre - x);
                }
            }
        }
        if !parabolic {
            e = if x < centre { high - x } else { low - x };
            d = GOLDEN * e;
        }
        let u = x + if d.abs() >= tol { d } else { tol.copysign(d) };
        let fu = value(u);
        if fu <= fx {
            if u < x {
                high = x
            } else {
                low = x
            }
            (v, fv) = (w, fw);
            (w, fw) = (x, fx);
            (x, fx) = (u, fu);
        } else {
            if u < x {
                low = u
            } else {
                high = u
            }
            if fu <= fw || w == x {
                (v, fv) = (w, fw);
                (w, fw) = (u, fu);
            } else if fu <= fv || v == x || v == w {
                (v, fv) = (u, fu);
            }
        }
    }
    (x, fx)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: closed forms: minimum of x − ln x is 1 at 1, of cosh(x − 40) is 1 at 40. Tolerance: 1e-6 in x, 1e-12 in value.
    #[test]
    fn val_known_minima() {
        let (x, v) = minimum_near(|x: f64| if x > 0.0 { x - libm::log(x) } else { f64::NAN }, 5.0, 0.5, 1e-8);
        assert!((x - 1.0).abs() < 1e-6 && (v - 1.0).abs() < 1e-12, "{x} {v}");
        let (x, v) = minimum_near(|x| libm::cosh(x - 40.0), 0.0, 0.01, 1e-8);
        assert!((x - 40.0).abs() < 1e-6 && (v - 1.0).abs() < 1e-12, "{x} {v}");
        // Falling for ever: no panic, no endless loop.
        assert!(minimum_near(|x| -x, 0.0, 1.0, 1e-6).0 > 1e6);
    }
}
