//! Normal distribution fitted to readings of which some are only known to lie above, below or between limits.
//!
//! Likelihood of a reading: exact y, φ((y − μ)/σ)/σ; above c, Φ((μ − c)/σ); below c, Φ((c − μ)/σ); between a and b,
//! Φ((b − μ)/σ) − Φ((a − μ)/σ). Mean and σ are those with the largest product.
//! Dropping such readings, or putting the limit in their place, makes a tag look better and steadier than it is.
//! Standard errors from the observed information. Intervals by profile likelihood: all values whose best likelihood is
//! within a drop of the top. The drops are those that make both intervals exact when nothing is censored: for the mean
//! ½n·ln(1 + t²/(n − 1)), for σ see `sigma_drop`.
//! Source: J. Tobin, Estimation of relationships for limited dependent variables, Econometrica 26 (1958) 24-36;
//! W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), 2.4, 8.2, 8.3.

use super::few::Range;
use crate::numeric::chi_square::{chi_square_cdf, chi_square_quantile};
use crate::numeric::minimum::minimum_near;
use crate::numeric::simplex::nelder_mead;
use crate::numeric::student::t_quantile;
use crate::numeric::{normal_cdf, normal_pdf, root};
use serde::{Deserialize, Serialize};

/// One reading, in any unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Seen {
    Exactly(f64),
    /// Did not wake up to this power: the threshold is higher.
    Above(f64),
    /// Awake already at the lowest power.
    Below(f64),
    /// Asleep at the first, awake at the second.
    Between(f64, f64),
}

/// Why no normal distribution can be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "kebab-case")]
pub enum NoFit {
    #[error("no reading")]
    Empty,
    #[error("a reading is not a number, or an interval has its ends exchanged")]
    BadNumber,
    #[error("one single value agrees with all readings, so their spread cannot be told from zero")]
    NoSpread,
    #[error("every reading is open on one side, so neither mean nor spread has an upper limit")]
    OneSided,
}

/// Fitted distribution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CensoredFit {
    pub readings: usize,
    pub censored: usize,
    pub mean: f64,
    pub sigma: f64,
    pub log_likelihood: f64,
    pub mean_standard_error: f64,
    /// Standard error of ln σ.
    pub ln_sigma_standard_error: f64,
    pub correlation: f64,
    pub level: f64,
    /// Ends may be infinite (serialised as null) when the readings do not bound them.
    pub mean_interval: Range,
    pub sigma_interval: Range,
}

/// ln Φ(z) without underflow.
fn ln_normal_cdf(z: f64) -> f64 {
    if z > -30.0 {
        return libm::log(normal_cdf(z));
    }
    // Mills' ratio: Φ(−x) = φ(x)/x·(1 − 1/x² + 3/x⁴ …).
    let r = 1.0 / (z * z);
    -0.5 * z * z - 0.918_938_533_204_672_8 - libm::log(-z) + libm::log1p(-r * (1.0 - 3.0 * r))
}

/// ln[Φ(high) − Φ(low)] for low < high, on the side where the tails are small.
fn ln_normal_between(low: f64, high: f64) -> f64 {
    let (low, high) = if low > 0.0 { (-high, -low) } else { (low, high) };
    let (first, last) = (ln_normal_cdf(low), ln_normal_cdf(high));
    if low > -30.0 && high - low < 1e-5 {
        // The difference of the two cancels: density at the middle times width.
        return libm::log(normal_pdf(0.5 * (low + high)) * (high - low));
    }
    last + libm::log1p(-libm::exp(first - last))
}

/// Log likelihood of the readings under mean `mean` and standard deviation `sigma` > 0.
pub fn log_likelihood(readings: &[Seen], mean: f64, sigma: f64) -> f64 {
    let z = |x: f64| (x - mean) / sigma;
    readings
        .iter()
        .map(|r| match *r {
            Seen::Exactly(y) => -0.5 * z(y) * z(y) - 0.918_938_533_204_672_8 - libm::log(sigma),
            Seen::Above(c) => ln_normal_cdf(-z(c)),
            Seen::Below(c) => ln_normal_cdf(z(c)),
            Seen::Between(a, b) => ln_normal_between(z(a), z(b)),
        })
        .sum()
}

fn bounds(r: &Seen) -> (f64, f64) {
    match *r {
        Seen::Exactly(y) => (y, y),
        Seen::Above(c) => (c, f64::INFINITY),
        Seen::Below(c) => (f64::NEG_INFINITY, c),
        Seen::Between(a, b) => (a, b),
    }
}

/// Fits mean and σ at two-sided interval `level` (0..1).
pub fn fit_censored(readings: &[Seen], level: f64) -> Result<CensoredFit, NoFit> {
    if readings.is_empty() {
        return Err(NoFit::Empty);
    }
    let all: Vec<(f64, f64)> = readings.iter().map(bounds).collect();
    let bad = |r: &Seen| match *r {
        Seen::Exactly(y) | Seen::Above(y) | Seen::Below(y) => !y.is_finite(),
        Seen::Between(a, b) => !(a.is_finite() && b.is_finite() && a < b),
    };
    if readings.iter().any(bad) {
        return Err(NoFit::BadNumber);
    }
    let lowest_high = all.iter().map(|b| b.1).fold(f64::INFINITY, f64::min);
    let highest_low = all.iter().map(|b| b.0).fold(f64::NEG_INFINITY, f64::max);
    if highest_low <= lowest_high {
        return Err(NoFit::NoSpread);
    }
    if !all.iter().any(|b| b.0.is_finite() && b.1.is_finite()) {
        return Err(NoFit::OneSided);
    }
    // Start from the middles, open readings at their limit.
    let middles: Vec<f64> = all
        .iter()
        .map(|&(a, b)| {
            if a.is_infinite() {
                b
            } else if b.is_infinite() {
                a
            } else {
                0.5 * (a + b)
            }
        })
        .collect();
    let centre = crate::numeric::summary::mean(&middles);
    let spread =
        crate::numeric::summary::standard_deviation(&middles).max(0.25 * (highest_low - lowest_high));
    let value = |p: &[f64]| -log_likelihood(readings, p[0], libm::exp(p[1]));
    let best = nelder_mead(value, &[centre, libm::log(spread)], &[0.5 * spread, 0.3], 1e-9 * spread.min(1.0));
    let (mean, ln_sigma) = (best.point[0], best.point[1]);
    let sigma = libm::exp(ln_sigma);

    // Observed information by central differences; steps small against the standard errors, large against rounding.
    let (h, k) = (1e-3 * sigma, 1e-3);
    let at = |i: f64, j: f64| value(&[mean + i * h, ln_sigma + j * k]);
    let middle = at(0.0, 0.0);
    let second = |plus: f64, minus: f64, step: f64| (plus - 2.0 * middle + minus) / (step * step);
    let i_mm = second(at(1.0, 0.0), at(-1.0, 0.0), h);
    let i_ss = second(at(0.0, 1.0), at(0.0, -1.0), k);
    let i_ms = (at(1.0, 1.0) - at(1.0, -1.0) - at(-1.0, 1.0) + at(-1.0, -1.0)) / (4.0 * h * k);
    let determinant = i_mm * i_ss - i_ms * i_ms;
    let (mean_error, sigma_error) = ((i_ss / determinant).sqrt(), (i_mm / determinant).sqrt());

    let n = readings.len() as f64;
    let t = t_quantile(0.5 + 0.5 * level, (n - 1.0).max(1.0));
    let mean_drop = 0.5 * n * libm::log1p(t * t / (n - 1.0).max(1.0));
    let sigma_drop = sigma_drop(readings.len(), level);
    let profile_mean = |m: f64| {
        minimum_near(|s| value(&[m, s]), ln_sigma, sigma_error.min(0.5), 1e-5).1 - best.value - mean_drop
    };
    let profile_sigma = |s: f64| {
        minimum_near(|m| value(&[m, s]), mean, mean_error.min(sigma), 1e-5 * sigma).1
            - best.value
            - sigma_drop
    };
    let mean_interval =
        Range { low: walk(profile_mean, mean, -mean_error), high: walk(profile_mean, mean, mean_error) };
    let sigma_interval = Range {
        low: libm::exp(walk(profile_sigma, ln_sigma, -sigma_error)),
        high: libm::exp(walk(profile_sigma, ln_sigma, sigma_error)),
    };
    Ok(CensoredFit {
        readings: readings.len(),
        censored: readings.iter().filter(|r| !matches!(r, Seen::Exactly(_))).count(),
        mean,
        sigma,
        log_likelihood: -best.value,
        mean_standard_error: mean_error,
        ln_sigma_standard_error: sigma_error,
        correlation: -i_ms / (i_mm * i_ss).sqrt(),
        level,
        mean_interval,
        sigma_interval,
    })
}

/// Half the likelihood ratio at which the interval of σ has odds `level` when nothing is censored: with v = nσ̂²/σ²
/// chi-square of n − 1 degrees the ratio is v − n − n·ln(v/n).
fn sigma_drop(n: usize, level: f64) -> f64 {
    let count = n as f64;
    let dof = (count - 1.0).max(1.0);
    let ratio = |v: f64| v - count - count * libm::log(v / count);
    let covered = |drop: f64| {
        let excess = |v: f64| ratio(v) - 2.0 * drop;
        let low =
            root::brent(|t| excess(libm::exp(t)), -700.0, libm::log(count), 1e-12).map_or(0.0, libm::exp);
        let high =
            root::brent(excess, count, 20.0 * count + 40.0 * drop + 100.0, 1e-10).unwrap_or(f64::INFINITY);
        chi_square_cdf(high, dof) - chi_square_cdf(low, dof)
    };
    let plain = 0.5 * chi_square_quantile(level, 1.0);
    root::brent(|drop| covered(drop) - level, 0.5 * plain, 40.0 * plain, 1e-9).unwrap_or(plain)
}

/// Where `f` (negative at `from`) turns positive in the direction of `step`; infinite if it does not within 2⁹ steps.
fn walk(f: impl Fn(f64) -> f64, from: f64, step: f64) -> f64 {
    let (mut near, mut far) = (from, from + 2.0 * step);
    for _ in 0..9 {
        if f(far) > 0.0 {
            let (low, high) = if near < far { (near, far) } else { (far, near) };
            return root::brent(f, low, high, 1e-5 * step.abs()).unwrap_or(far);
        }
        near = far;
        far = from + 2.0 * (far - from);
    }
    if step > 0.0 { f64::INFINITY } else { f64::NEG_INFINITY }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mixed() -> Vec<Seen> {
        let exact = [14.2, 15.1, 15.8, 16.0, 16.9, 17.3, 18.4].map(Seen::Exactly);
        [exact.as_slice(), &[Seen::Above(20.0); 3]].concat()
    }

    /// Source: maximum likelihood by scipy.optimize 1.17.1 over scipy.stats.norm (another optimiser, other code for the
    /// tails), profile limits by scipy.optimize.brentq with the drops of this file's head. Tolerance: half the last
    /// digit (standard errors 1e-4, profile limits 1e-4 relative).
    #[test]
    fn val_right_censored() {
        let fit = fit_censored(&mixed(), 0.95).expect("both sides bounded");
        assert!((fit.mean - 17.848515).abs() < 1e-6 && (fit.sigma - 2.781725).abs() < 1e-6, "{fit:?}");
        assert!((fit.log_likelihood + 20.0789292).abs() < 5.1e-8);
        assert!((fit.mean_standard_error - 0.93220).abs() < 1e-4);
        assert!((fit.ln_sigma_standard_error - 0.29213).abs() < 1e-4);
        for (got, want) in [
            (fit.mean_interval.low, 15.740_432),
            (fit.mean_interval.high, 20.615_469),
            (fit.sigma_interval.low, 1.644_419),
            (fit.sigma_interval.high, 6.022_031),
        ] {
            assert!((got / want - 1.0).abs() < 1e-4, "{got} against {want}");
        }
        assert_eq!((fit.readings, fit.censored), (10, 3));
        // What must not be done with the three readings gives other answers.
        let put = mixed()
            .iter()
            .map(|r| if let Seen::Above(c) = r { Seen::Exactly(*c) } else { *r })
            .collect::<Vec<_>>();
        assert!((fit_censored(&put, 0.95).expect("exact").mean - 17.370).abs() < 5e-4);
    }

    /// Source: zero of the gradient at 30 digits, mpmath 1.4.1 (scipy.stats.norm.fit of CensoredData, SciPy 1.17.1, stops at
    /// 15.98430 and 3.15714). Tolerance: 1e-6.
    #[test]
    fn val_all_kinds_of_censoring() {
        let readings = [
            Seen::Exactly(15.1),
            Seen::Exactly(16.3),
            Seen::Below(12.0),
            Seen::Above(20.0),
            Seen::Between(14.0, 15.0),
            Seen::Between(16.0, 17.0),
            Seen::Between(17.0, 18.0),
        ];
        let fit = fit_censored(&readings, 0.95).expect("bounded");
        assert!(
            (fit.mean - 15.984_297_97).abs() < 1e-6 && (fit.sigma - 3.157_172_15).abs() < 1e-6,
            "{fit:?}"
        );
    }

    /// Source: the closed form of the uncensored case: mean, √(Σ(y − ȳ)²/n) and Student's interval of the mean
    /// (here 5 values, mean −17.74, s 0.461519, t 2.776445). Tolerance: 1e-5.
    #[test]
    fn val_without_censoring_the_mean_has_students_interval() {
        let values = [-17.8, -18.3, -17.1, -18.0, -17.5];
        let fit = fit_censored(&values.map(Seen::Exactly), 0.95).expect("spread");
        let reach = 2.776445 * 0.461519 / 5.0_f64.sqrt();
        assert!((fit.mean + 17.74).abs() < 1e-6 && (fit.sigma - 0.461519 * 0.8_f64.sqrt()).abs() < 1e-6);
        assert!((fit.mean_interval.low - (fit.mean - reach)).abs() < 1e-5);
        assert!((fit.mean_interval.high - (fit.mean + reach)).abs() < 1e-5);
        // nσ̂²/σ² is chi-square: the odds between the two ends of σ are 95 %.
        let v = |sigma: f64| 5.0 * (fit.sigma / sigma) * (fit.sigma / sigma);
        let (few, many) = (v(fit.sigma_interval.high), v(fit.sigma_interval.low));
        assert!((chi_square_cdf(many, 4.0) - chi_square_cdf(few, 4.0) - 0.95).abs() < 1e-4);
    }

    /// Source: scipy.stats.norm.logcdf, SciPy 1.17.1. Tolerance: 1e-8.
    #[test]
    fn val_far_tails() {
        for (z, want) in
            [(-31.0, -484.853_963_627_18), (-35.0, -616.975_101_261_92), (-40.0, -804.608_442_013_75)]
        {
            assert!((ln_normal_cdf(z) - want).abs() < 1e-5, "{z}: {}", ln_normal_cdf(z));
        }
        assert!((ln_normal_between(-1.0, 1.0) - libm::log(0.682_689_492_137_085_9)).abs() < 1e-12);
        assert!((ln_normal_between(5.0, 5.0 + 1e-6) - ln_normal_between(-5.0 - 1e-6, -5.0)).abs() < 1e-9);
        assert!(ln_normal_between(40.0, 41.0).is_finite());
    }

    #[test]
    fn what_cannot_be_fitted_is_said() {
        use Seen::*;
        for (readings, why) in [
            (vec![], NoFit::Empty),
            (vec![Exactly(f64::NAN)], NoFit::BadNumber),
            (vec![Between(2.0, 1.0)], NoFit::BadNumber),
            (vec![Exactly(1.0)], NoFit::NoSpread),
            (vec![Exactly(1.0), Above(0.0)], NoFit::NoSpread),
            (vec![Above(1.0), Above(2.0)], NoFit::NoSpread),
            (vec![Between(1.0, 3.0), Between(2.0, 4.0)], NoFit::NoSpread),
            (vec![Above(2.0), Below(1.0)], NoFit::OneSided),
        ] {
            assert_eq!(fit_censored(&readings, 0.95).err(), Some(why), "{readings:?}");
        }
        // One exact value among open ones is enough, but bounds little: intervals may be open.
        assert!(fit_censored(&[Exactly(7.0), Above(10.0), Above(10.0)], 0.95).is_ok());
    }
}
