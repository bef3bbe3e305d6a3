//! Two options seen by the same runners (two bibs, two lines): difference of their miss rates from the four counts.
//!
//! Only runners missed by one and not by the other say which is better. Tests: Q. McNemar (1947), exact and
//! mid-P; mid-P is recommended by M. W. Fagerland, S. Lydersen and P. Laake, BMC Medical Research Methodology 13
//! (2013) 91. Intervals: R. G. Newcombe, Statistics in Medicine 17 (1998) 2635-2650, method 10 (squares of the
//! Wilson limits added, with the correlation of the margins), and T. Tango, Statistics in Medicine 17 (1998)
//! 891-908 (score).

use super::interval::{Interval, clopper_pearson, wilson};
use crate::numeric::chi_square::chi_square_upper;
use crate::numeric::counts::{binomial_pmf, binomial_tails};
use crate::numeric::{normal_quantile, root};
use serde::{Deserialize, Serialize};

/// What the same runners met at A and at B.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PairedCounts {
    pub both_missed: u64,
    pub only_a_missed: u64,
    pub only_b_missed: u64,
    pub both_read: u64,
}

impl PairedCounts {
    pub fn new(both_missed: u64, only_a_missed: u64, only_b_missed: u64, both_read: u64) -> PairedCounts {
        PairedCounts { both_missed, only_a_missed, only_b_missed, both_read }
    }
    pub fn runners(&self) -> u64 {
        self.both_missed + self.only_a_missed + self.only_b_missed + self.both_read
    }
    fn misses_a(&self) -> u64 {
        self.both_missed + self.only_a_missed
    }
    fn misses_b(&self) -> u64 {
        self.both_missed + self.only_b_missed
    }

    /// Miss rate of A minus miss rate of B; NaN without runners.
    pub fn difference(&self) -> f64 {
        (self.only_a_missed as f64 - self.only_b_missed as f64) / self.runners() as f64
    }

    /// McNemar's chi-square (without continuity correction) and its p value; (0, 1) without a discordant runner.
    pub fn mcnemar(&self) -> (f64, f64) {
        let (f, g) = (self.only_a_missed as f64, self.only_b_missed as f64);
        if f + g == 0.0 {
            return (0.0, 1.0);
        }
        let square = (f - g) * (f - g) / (f + g);
        (square, chi_square_upper(square, 1.0))
    }

    /// Exact two-sided p value.
    pub fn mcnemar_exact_p(&self) -> f64 {
        let discordant = self.only_a_missed + self.only_b_missed;
        let fewer = self.only_a_missed.min(self.only_b_missed);
        (2.0 * binomial_tails(fewer, discordant, 0.5).0).min(1.0)
    }

    /// Mid-P two-sided p value.
    pub fn mcnemar_mid_p(&self) -> f64 {
        let (f, g) = (self.only_a_missed, self.only_b_missed);
        let at = binomial_pmf(f, f + g, 0.5);
        if f == g { 1.0 - 0.5 * at } else { self.mcnemar_exact_p() - at }
    }

    /// Exact interval of the ratio only-A : only-B (infinite upper end if B alone missed nobody).
    pub fn discordant_ratio_interval(&self, level: f64) -> Interval {
        let share = clopper_pearson(self.only_a_missed, self.only_a_missed + self.only_b_missed, level);
        Interval::new(share.low / (1.0 - share.low), share.high / (1.0 - share.high))
    }

    /// Newcombe's method 10 for the difference A − B.
    pub fn newcombe_interval(&self, level: f64) -> Interval {
        let n = self.runners();
        let whole = n as f64;
        let (p1, p2) = (self.misses_a() as f64 / whole, self.misses_b() as f64 / whole);
        let (one, two) = (wilson(self.misses_a(), n, level), wilson(self.misses_b(), n, level));
        let phi = self.newcombe_correlation();
        let add = |x: f64, y: f64| (x * x - 2.0 * phi * x * y + y * y).max(0.0).sqrt();
        let down = add(p1 - one.low, two.high - p2);
        let up = add(p2 - two.low, one.high - p1);
        Interval::new((p1 - p2) - down, (p1 - p2) + up)
    }

    fn newcombe_correlation(&self) -> f64 {
        let [e, f, g, h] =
            [self.both_missed, self.only_a_missed, self.only_b_missed, self.both_read].map(|v| v as f64);
        let product = (e + f) * (g + h) * (e + g) * (f + h);
        if product == 0.0 {
            return 0.0;
        }
        let half = 0.5 * (e + f + g + h);
        let cross = e * h - f * g;
        let corrected = if cross > half { cross - half } else { cross.min(0.0) };
        corrected / product.sqrt()
    }

    /// Tango's score interval for the difference A − B.
    pub fn tango_interval(&self, level: f64) -> Interval {
        let n = self.runners() as f64;
        if n == 0.0 {
            return Interval::new(-1.0, 1.0);
        }
        let (f, g) = (self.only_a_missed as f64, self.only_b_missed as f64);
        let z = normal_quantile(0.5 + 0.5 * level);
        // Squared score minus z², signed so that it grows away from the estimate; no division, so that a
        // variance of zero does no harm.
        let excess = |delta: f64| {
            let a = 2.0 * n;
            let b = -f - g + (2.0 * n - f + g) * delta;
            let c = -g * delta * (1.0 - delta);
            let q = ((b * b - 4.0 * a * c).max(0.0).sqrt() - b) / (2.0 * a);
            let variance = n * (2.0 * q + delta * (1.0 - delta));
            let score = f - g - n * delta;
            score * score - z * z * variance
        };
        let d = (f - g) / n;
        let step = 1e-12;
        let low = if d <= -1.0 { -1.0 } else { root::brent(excess, -1.0, d - step, 1e-14).unwrap_or(d) };
        let high = if d >= 1.0 { 1.0 } else { root::brent(excess, d + step, 1.0, 1e-14).unwrap_or(d) };
        Interval::new(low, high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: R. G. Newcombe, Statistics in Medicine 17 (1998) 2635-2650 (method 10) and T. Tango, same volume
    /// 891-908. First row also printed as expected output of the contingencytables package, tests/testthat/test-ch8.R,
    /// commit b1fde68 (Newcombe −0.1186 to −0.0046, Tango −0.1240 to −0.0054); the others computed from the
    /// formulas with SciPy 1.17.1. Tolerance: half the fifth digit.
    #[test]
    fn val_paired_differences() {
        type Row = ([u64; 4], f64, [f64; 2], [f64; 2]);
        let rows: [Row; 7] = [
            ([59, 6, 16, 80], -0.062112, [-0.11862, -0.00463], [-0.12402, -0.00543]),
            ([1, 1, 7, 12], -0.285714, [-0.50692, -0.02556], [-0.51723, -0.02600]),
            ([14, 5, 0, 22], 0.121951, [0.01148, 0.22649], [0.02584, 0.25544]),
            ([20, 12, 2, 16], 0.2, [0.05616, 0.32921], [0.06111, 0.34471]),
            ([794, 150, 86, 570], 0.04, [0.02123, 0.05870], [0.02136, 0.05900]),
            ([2, 8, 1, 989], 0.007, [0.00068, 0.01500], [0.00146, 0.01483]),
            ([5, 7, 3, 4985], 0.0008, [-0.00062, 0.00239], [-0.00053, 0.00236]),
        ];
        for (t, d, newcombe, tango) in rows {
            let counts = PairedCounts::new(t[0], t[1], t[2], t[3]);
            assert!((counts.difference() - d).abs() < 5.1e-7);
            for (got, want) in
                [(counts.newcombe_interval(0.95), newcombe), (counts.tango_interval(0.95), tango)]
            {
                assert!(
                    (got.low - want[0]).abs() < 5.1e-6 && (got.high - want[1]).abs() < 5.1e-6,
                    "{t:?} {got:?}"
                );
            }
        }
    }

    /// Source: first row: contingencytables package, tests/testthat/test-ch8.R, commit b1fde68 (asymptotic
    /// .033006, exact .052479, mid-P .034690); others SciPy 1.17.1. Tolerance: half the last digit.
    #[test]
    fn val_mcnemar() {
        for (t, asymptotic, exact, mid) in [
            ([59, 6, 16, 80], 0.033006, 0.052479, 0.034690),
            ([1, 1, 7, 12], 0.033895, 0.070312, 0.039063),
            ([14, 5, 0, 22], 0.025347, 0.0625, 0.03125),
            ([2, 8, 1, 989], 0.019631, 0.039062, 0.021484),
            ([5, 7, 3, 4985], 0.205903, 0.34375, 0.226562),
        ] {
            let counts = PairedCounts::new(t[0], t[1], t[2], t[3]);
            assert!((counts.mcnemar().1 - asymptotic).abs() < 6e-7, "{}", counts.mcnemar().1);
            assert!((counts.mcnemar_exact_p() - exact).abs() < 6e-7);
            assert!((counts.mcnemar_mid_p() - mid).abs() < 6e-7);
        }
        // Exact interval of the ratio 12 : 2, printed in a statistics manual: 1.335744 to 55.197091.
        let ratio = PairedCounts::new(20, 12, 2, 16).discordant_ratio_interval(0.95);
        assert!((ratio.low - 1.335744).abs() < 5e-7 && (ratio.high - 55.197091).abs() < 5e-7, "{ratio:?}");
    }

    #[test]
    fn no_discordant_runner_still_has_an_interval() {
        let counts = PairedCounts::new(0, 0, 0, 50);
        assert_eq!((counts.mcnemar_exact_p(), counts.mcnemar().1), (1.0, 1.0));
        let tango = counts.tango_interval(0.95);
        // Score limits z²/(n + z²) either side.
        let z2 = 1.959_963_984_540_054_f64.powi(2);
        assert!((tango.high - z2 / (50.0 + z2)).abs() < 1e-9 && (tango.low + tango.high).abs() < 1e-9);
        assert!(counts.newcombe_interval(0.95).contains(0.0));
        let one_sided = PairedCounts::new(0, 5, 0, 0);
        assert!((one_sided.tango_interval(0.95).high - 1.0).abs() < 1e-9);
        // Swapping A and B mirrors the intervals.
        let (one, other) = (PairedCounts::new(3, 9, 4, 80), PairedCounts::new(3, 4, 9, 80));
        assert!((one.tango_interval(0.9).low + other.tango_interval(0.9).high).abs() < 1e-9);
        assert!((one.newcombe_interval(0.9).low + other.newcombe_interval(0.9).high).abs() < 1e-12);
    }
}
