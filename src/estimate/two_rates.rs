//! Two miss rates from different runners (two races, two years): interval of their difference.
//!
//! Squares of the distances to the Wilson limits added. For the same runners at two options see `paired_counts`.
//! Source: R. G. Newcombe, Interval estimation for the difference between independent proportions: comparison of
//! eleven methods, Statistics in Medicine 17 (1998) 873-890, method 10.

use super::interval::{Interval, wilson};

/// Interval of rate 1 − rate 2 at two-sided `level`, from misses and runners of each. NaN if misses exceed runners.
pub fn difference_interval(first: (u64, u64), second: (u64, u64), level: f64) -> Interval {
    let rate =
        |(misses, runners): (u64, u64)| if runners == 0 { 0.5 } else { misses as f64 / runners as f64 };
    let (p1, p2) = (rate(first), rate(second));
    let (one, two) = (wilson(first.0, first.1, level), wilson(second.0, second.1, level));
    let down = libm::hypot(p1 - one.low, two.high - p2);
    let up = libm::hypot(p2 - two.low, one.high - p1);
    Interval::new(p1 - p2 - down, p1 - p2 + up)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: examples of R. G. Newcombe (1998), 873-890 (table II, from memory); by statsmodels 0.15.0
    /// confint_proportions_2indep(method="newcomb"). Tolerance: half the last digit.
    #[test]
    fn val_newcombe_independent() {
        for (first, second, low, high) in [
            ((56, 70), (48, 80), 0.0524, 0.3339),
            ((9, 10), (3, 10), 0.1705, 0.8090),
            ((6, 7), (2, 7), 0.0582, 0.8062),
            ((5, 56), (0, 29), -0.0381, 0.1926),
            ((0, 10), (0, 20), -0.1611, 0.2775),
            ((0, 10), (0, 10), -0.2775, 0.2775),
            ((10, 10), (0, 20), 0.6791, 1.0),
            ((10, 10), (0, 10), 0.6075, 1.0),
        ] {
            let got = difference_interval(first, second, 0.95);
            assert!(
                (got.low - low).abs() < 5.1e-5 && (got.high - high).abs() < 5.1e-5,
                "{first:?} {second:?} {got:?}"
            );
        }
        let nothing = difference_interval((0, 0), (0, 0), 0.95);
        assert!(nothing.low < -0.7 && nothing.high > 0.7);
        assert!(difference_interval((2, 1), (0, 5), 0.95).low.is_nan());
    }
}
