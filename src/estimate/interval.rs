//! Intervals of a miss rate from `misses` of `runners`, with the cases of no miss and of nothing but misses.
//!
//! Clopper-Pearson never promises too much and belongs to "demonstrated" claims; Wilson and mid-P are shorter
//! and belong to display. The plain normal interval is not offered: with no miss it has length zero.
//! Source: R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine 17
//! (1998) 857-872, methods 3 (Wilson), 5 (Clopper-Pearson) and 6 (mid-P); L. D. Brown, T. T. Cai and A.
//! DasGupta, Interval estimation for a binomial proportion, Statistical Science 16 (2001) 101-133 (Jeffreys).
//!
//! All of them take runners as independent. Runners of one race share its weather and its batch of bibs; for
//! what that does to a forecast see `prediction`.

use crate::numeric::beta::{beta_quantile, beta_upper_quantile};
use crate::numeric::counts::{binomial_pmf, binomial_tails};
use crate::numeric::{normal_quantile, root};
use serde::{Deserialize, Serialize};

/// Lower and upper end.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

impl Interval {
    pub fn new(low: f64, high: f64) -> Interval {
        Interval { low, high }
    }
    pub fn contains(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
    pub fn width(&self) -> f64 {
        self.high - self.low
    }
}

/// What every method says before it computes: nothing known without runners, nothing at all for bad input.
fn settled(misses: u64, runners: u64, level: f64) -> Option<Interval> {
    if misses > runners || !(level > 0.0 && level < 1.0) {
        Some(Interval::new(f64::NAN, f64::NAN))
    } else if runners == 0 {
        Some(Interval::new(0.0, 1.0))
    } else {
        None
    }
}

/// Wilson's score interval at two-sided `level` (0..1, as 0.95). NaN if misses exceed runners.
pub fn wilson(misses: u64, runners: u64, level: f64) -> Interval {
    if let Some(known) = settled(misses, runners, level) {
        return known;
    }
    let z = normal_quantile(0.5 + 0.5 * level);
    let (x, n) = (misses as f64, runners as f64);
    let centre = x + 0.5 * z * z;
    let reach = z * (x * (n - x) / n + 0.25 * z * z).sqrt();
    let scale = n + z * z;
    // The ends at 0 and n are exact; rounding would leave 1e-19 there.
    let low = if misses == 0 { 0.0 } else { (centre - reach) / scale };
    let high = if misses == runners { 1.0 } else { (centre + reach) / scale };
    Interval::new(low, high)
}

/// Exact interval of C. J. Clopper and E. S. Pearson (1934): covers at least `level` whatever the rate.
pub fn clopper_pearson(misses: u64, runners: u64, level: f64) -> Interval {
    if let Some(known) = settled(misses, runners, level) {
        return known;
    }
    let half = 0.5 * (1.0 - level);
    let (x, n) = (misses as f64, runners as f64);
    let low = if misses == 0 { 0.0 } else { beta_quantile(x, n - x + 1.0, half) };
    let high = if misses == runners { 1.0 } else { beta_upper_quantile(x + 1.0, n - x, half) };
    Interval::new(low, high)
}

/// Equal-tailed interval of the posterior under Jeffreys' prior; 0 and 1 at the ends.
pub fn jeffreys(misses: u64, runners: u64, level: f64) -> Interval {
    if let Some(known) = settled(misses, runners, level) {
        return known;
    }
    let half = 0.5 * (1.0 - level);
    let (a, b) = (misses as f64 + 0.5, (runners - misses) as f64 + 0.5);
    let low = if misses == 0 { 0.0 } else { beta_quantile(a, b, half) };
    let high = if misses == runners { 1.0 } else { beta_upper_quantile(a, b, half) };
    Interval::new(low, high)
}

/// Mid-P interval: Clopper-Pearson with half the probability of the count itself in each tail.
pub fn mid_p(misses: u64, runners: u64, level: f64) -> Interval {
    if let Some(known) = settled(misses, runners, level) {
        return known;
    }
    let half = 0.5 * (1.0 - level);
    let inside = clopper_pearson(misses, runners, 1.0 - 0.5 * (1.0 - level));
    let middle = misses as f64 / runners as f64;
    let above = |p: f64| binomial_tails(misses, runners, p).1 + 0.5 * binomial_pmf(misses, runners, p);
    let low = if misses == 0 {
        0.0
    } else {
        root::brent(|p| above(p) - half, inside.low, middle, 1e-15).unwrap_or(f64::NAN)
    };
    let high = if misses == runners {
        1.0
    } else {
        root::brent(|p| 1.0 - above(p) - half, middle, inside.high, 1e-15).unwrap_or(f64::NAN)
    };
    Interval::new(low, high)
}

/// One-sided exact upper limit: with odds `level` the miss rate is not above it.
pub fn upper_limit(misses: u64, runners: u64, level: f64) -> f64 {
    if let Some(known) = settled(misses, runners, level) {
        return known.high;
    }
    if misses == runners {
        return 1.0;
    }
    beta_upper_quantile(misses as f64 + 1.0, (runners - misses) as f64, 1.0 - level)
}

/// Fewest runners that demonstrate a miss rate of at most `miss_rate` at one-sided `level` when `misses` of them
/// were missed. `None` outside 0 < rate < 1, 0 < level < 1.
pub fn runners_to_demonstrate(miss_rate: f64, misses: u64, level: f64) -> Option<u64> {
    if !(miss_rate > 0.0 && miss_rate < 1.0 && level > 0.0 && level < 1.0) {
        return None;
    }
    let enough = |n: u64| binomial_tails(misses, n, miss_rate).0 <= 1.0 - level;
    let mut high = misses + 1;
    while !enough(high) {
        high = high.checked_mul(2)?;
    }
    let mut low = high / 2;
    while low + 1 < high {
        let middle = low + (high - low) / 2;
        if enough(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: Interval, low: f64, high: f64, tolerance: f64) {
        assert!((got.low - low).abs() <= tolerance, "{got:?}, expected {low}..{high}");
        assert!((got.high - high).abs() <= tolerance, "{got:?}, expected {low}..{high}");
    }

    /// Source: the four examples of R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872 (table I, from memory); six digits from
    /// SciPy 1.17.1 and statsmodels 0.15.0. Tolerance: half the sixth digit.
    #[test]
    fn val_newcombe_examples() {
        type Ends = (f64, f64);
        let rows: [(u64, u64, Ends, Ends, Ends, Ends); 4] = [
            (81, 263, (0.255289, 0.366210), (0.252737, 0.367622), (0.254402, 0.365773), (0.254522, 0.365647)),
            (15, 148, (0.062386, 0.160487), (0.057844, 0.161650), (0.060064, 0.158122), (0.060449, 0.157643)),
            (0, 20, (0.0, 0.161125), (0.0, 0.168433), (0.0, 0.139108), (0.0, 0.116639)),
            (1, 29, (0.006113, 0.171755), (0.000873, 0.177644), (0.001725, 0.158537), (0.003746, 0.150078)),
        ];
        for (x, n, w, cp, mp, j) in rows {
            near(wilson(x, n, 0.95), w.0, w.1, 5.1e-7);
            near(clopper_pearson(x, n, 0.95), cp.0, cp.1, 5.1e-7);
            near(mid_p(x, n, 0.95), mp.0, mp.1, 5.1e-7);
            near(jeffreys(x, n, 0.95), j.0, j.1, 5.1e-7);
            // Misses and reads are mirror images.
            let (one, other) = (mid_p(x, n, 0.95), mid_p(n - x, n, 0.95));
            near(other, 1.0 - one.high, 1.0 - one.low, 1e-12);
        }
    }

    /// Source: SciPy 1.17.1 and statsmodels 0.15.0 at the scale of miss rates. Tolerance: half the fifth digit.
    #[test]
    fn val_rare_misses() {
        near(wilson(3, 1500, 0.95), 6.8041e-4, 5.8638e-3, 5e-8);
        near(clopper_pearson(3, 1500, 0.95), 4.1264e-4, 5.8336e-3, 5e-8);
        near(clopper_pearson(20, 10_000, 0.95), 1.2221e-3, 3.0872e-3, 5e-8);
        near(wilson(1, 100_000, 0.95), 1.7652e-6, 5.6647e-5, 5e-10);
        near(clopper_pearson(1, 100_000, 0.95), 2.5318e-7, 5.5715e-5, 5e-10);
        near(wilson(0, 1500, 0.95), 0.0, 2.5544e-3, 5e-8);
        near(clopper_pearson(0, 1500, 0.95), 0.0, 2.4562e-3, 5e-8);
        assert!((upper_limit(0, 1500, 0.95) - 1.9952e-3).abs() < 5e-8);
        // For rare misses the limit is χ²/2n with these numerators (chi-square table, upper 5 %, 2, 4 … 12 degrees).
        for (misses, half) in [2.9957, 4.7439, 6.2958, 7.7537, 9.1535, 10.5130].into_iter().enumerate() {
            let scaled = 1e7 * upper_limit(misses as u64, 10_000_000, 0.95);
            assert!((scaled - half).abs() < 6e-5, "{misses}: {scaled}");
        }
        // No miss: the limit has a closed form.
        assert!((upper_limit(0, 700, 0.9) - (1.0 - libm::pow(0.1, 1.0 / 700.0))).abs() < 1e-14);
    }

    /// Source: exact binomial sums, SciPy 1.17.1. Tolerance: none.
    #[test]
    fn val_runners_to_demonstrate() {
        for (rate, want) in [
            (0.01, [299, 473, 628, 773, 913, 1049]),
            (0.005, [598, 947, 1258, 1549, 1829, 2100]),
            (0.002, [1497, 2371, 3146, 3875, 4575, 5254]),
            (0.001, [2995, 4742, 6294, 7752, 9151, 10511]),
            (1e-4, [29956, 47437, 62956, 77535, 91533, 105_128]),
        ] {
            for (misses, want) in want.into_iter().enumerate() {
                assert_eq!(runners_to_demonstrate(rate, misses as u64, 0.95), Some(want), "{rate} {misses}");
            }
        }
        assert_eq!(runners_to_demonstrate(0.0, 0, 0.95), None);
    }

    /// Source: exact coverage of the nominal 95 % intervals by summing the binomial distribution, SciPy 1.17.1.
    /// Tolerance: half the last digit.
    #[test]
    fn val_exact_coverage() {
        let cover = |n: u64, p: f64, interval: &dyn Fn(u64) -> Interval| -> f64 {
            (0..=60).filter(|&x| interval(x).contains(p)).map(|x| binomial_pmf(x, n, p)).sum()
        };
        for (n, p, w, cp, j) in [
            (500, 0.002, 0.920, 0.981, 0.981),
            (1500, 0.002, 0.967, 0.988, 0.917),
            (5000, 0.002, 0.963, 0.976, 0.944),
        ] {
            assert!((cover(n, p, &|x| wilson(x, n, 0.95)) - w).abs() < 5e-4);
            assert!((cover(n, p, &|x| clopper_pearson(x, n, 0.95)) - cp).abs() < 5e-4);
            assert!((cover(n, p, &|x| jeffreys(x, n, 0.95)) - j).abs() < 5e-4);
        }
    }

    #[test]
    fn ends_and_bad_input() {
        for method in [wilson, clopper_pearson, jeffreys, mid_p] {
            assert_eq!(method(0, 0, 0.95), Interval::new(0.0, 1.0));
            assert!(method(3, 2, 0.95).low.is_nan() && method(1, 2, 1.0).high.is_nan());
            assert_eq!(method(7, 7, 0.95).high, 1.0);
            assert_eq!(method(0, 7, 0.95).low, 0.0);
        }
        assert_eq!((upper_limit(4, 4, 0.95), upper_limit(0, 0, 0.95)), (1.0, 1.0));
    }
}
