//! Shape-preserving piecewise cubic interpolation.
//!
//! Slopes: F. N. Fritsch and J. Butland, A method for constructing local monotone piecewise cubic
//! interpolants, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304: at an interior knot the weighted harmonic mean
//! of the neighbouring secants, 0 where they differ in sign; three-point end slopes with the same limiter.
//!
//! Known weakness: the slope is 0 at every local extremum among the knots, so a resonance dip between two
//! knots is cut off. Sweeps must be finer than the resonance; outside the knots the curve is clamped, not
//! extrapolated.

/// Interpolant through `(x, y)`; x strictly increasing.
#[derive(Clone, Debug, PartialEq)]
pub struct Pchip {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Pchip {
    /// At least one knot; x strictly increasing and finite, y finite (asserted).
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Pchip {
        assert!(!x.is_empty() && x.len() == y.len(), "as many abscissae as ordinates, at least one");
        assert!(x.windows(2).all(|w| w[0] < w[1]), "abscissae strictly increasing");
        assert!(y.iter().all(|v| v.is_finite()), "ordinates finite");
        let slope = slopes(&x, &y);
        Pchip { x, y, slope }
    }

    /// Value at `at`, clamped to the first and last knot.
    pub fn value(&self, at: f64) -> f64 {
        let last = self.x.len() - 1;
        if at.is_nan() || at <= self.x[0] {
            return self.y[0];
        }
        if at >= self.x[last] {
            return self.y[last];
        }
        let k = self.x.partition_point(|&knot| knot <= at) - 1;
        let h = self.x[k + 1] - self.x[k];
        let t = (at - self.x[k]) / h;
        let (t2, t3) = (t * t, t * t * t);
        (2.0 * t3 - 3.0 * t2 + 1.0) * self.y[k]
            + (t3 - 2.0 * t2 + t) * h * self.slope[k]
            + (3.0 * t2 - 2.0 * t3) * self.y[k + 1]
            + (t3 - t2) * h * self.slope[k + 1]
    }

    pub fn span(&self) -> (f64, f64) {
        (self.x[0], self.x[self.x.len() - 1])
    }
    pub fn knots(&self) -> (&[f64], &[f64]) {
        (&self.x, &self.y)
    }
    pub fn slopes(&self) -> &[f64] {
        &self.slope
    }
}

fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    if n == 1 {
        return vec![0.0];
    }
    let h: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let secant: Vec<f64> = y.windows(2).zip(&h).map(|(w, h)| (w[1] - w[0]) / h).collect();
    if n == 2 {
        return vec![secant[0]; 2];
    }
    let mut slope = vec![0.0; n];
    for k in 1..n - 1 {
        if secant[k - 1] * secant[k] > 0.0 {
            let w1 = 2.0 * h[k] + h[k - 1];
            let w2 = h[k] + 2.0 * h[k - 1];
            slope[k] = (w1 + w2) / (w1 / secant[k - 1] + w2 / secant[k]);
        }
    }
    slope[0] = end_slope(h[0], h[1], secant[0], secant[1]);
    slope[n - 1] = end_slope(h[n - 2], h[n - 3], secant[n - 2], secant[n - 3]);
    slope
}

fn end_slope(h0: f64, h1: f64, secant0: f64, secant1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * secant0 - h0 * secant1) / (h0 + h1);
    if slope * secant0 <= 0.0 {
        0.0
    } else if secant0 * secant1 < 0.0 && slope.abs() > 3.0 * secant0.abs() {
        3.0 * secant0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: SciPy 1.17.1 `PchipInterpolator` (an independent implementation of Fritsch & Butland 1984) on a
    /// threshold-like data set and on the RPN14 data of F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal.
    /// 17 (1980) 238-246. Tolerance: 1e-9 relative to the printed digits.
    #[test]
    fn val_pchip() {
        let sweep = Pchip::new(
            vec![860.0, 880.0, 900.0, 920.0, 940.0, 960.0],
            vec![-17.2, -18.6, -19.1, -18.8, -17.4, -15.9],
        );
        for (got, want) in
            sweep.slopes().iter().zip([-0.0925, -0.036842105263, 0.0, 0.024705882353, 0.072413793103, 0.0775])
        {
            assert!((got - want).abs() < 1e-11);
        }
        for (at, want) in [
            (865.0, -17.6443667763),
            (870.0, -18.0391447368),
            (890.0, -18.9421052632),
            (902.0, -19.0960470588),
            (905.0, -19.0762867647),
            (915.0, -18.9163602941),
            (930.0, -18.2192697769),
            (955.0, -16.284455819),
        ] {
            assert!((sweep.value(at) - want).abs() < 1e-9, "{at}");
        }
        let rpn14 = Pchip::new(
            vec![7.99, 8.09, 8.19, 8.7, 9.2, 10.0, 12.0, 15.0, 20.0],
            vec![0.0, 2.76429e-5, 0.0437498, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994],
        );
        for (at, want) in [
            (8.05, 9.9564741811e-6),
            (8.4, 0.0966688056077),
            (9.0, 0.337534326846),
            (9.7, 0.828569378652),
            (11.0, 0.986043362535),
            (14.0, 0.999772491707),
        ] {
            assert!((rpn14.value(at) - want).abs() < 1e-10, "{at}");
        }
        let bend = Pchip::new(vec![0.0, 1.0, 2.0], vec![0.0, 1.0, 0.0]);
        assert_eq!(bend.slopes(), [2.0, 0.0, -2.0]);
        assert_eq!(bend.value(0.5), 0.75);
    }

    #[test]
    fn clamps_outside_and_never_overshoots() {
        let p = Pchip::new(vec![1.0, 2.0, 3.0], vec![5.0, 1.0, 4.0]);
        assert_eq!((p.value(0.0), p.value(9.0), p.value(f64::NAN)), (5.0, 4.0, 5.0));
        assert!((0..=200).all(|i| (1.0..=5.0).contains(&p.value(1.0 + f64::from(i) * 0.01))));
    }
}
