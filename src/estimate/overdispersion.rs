//! How much miss rates differ from race to race: the correlation ρ of runners within a race, from counts of several races.
//!
//! Beta-binomial likelihood (see `prediction`); against it the plain binomial with one rate for all. The likelihood
//! ratio has a mixture ½χ²₀ + ½χ²₁ when ρ = 0 is true, because ρ cannot be negative.
//! Source: J. G. Skellam, J. R. Statist. Soc. B 10 (1948) 257-261 (distribution); S. G. Self and K.-Y. Liang, J. Amer.
//! Statist. Assoc. 82 (1987) 605-610 (mixture); M. S. Ridout, C. G. B. Demétrio and D. Firth, Biometrics 55 (1999) 137-148
//! (estimate by mean squares).

use super::interval::Interval;
use super::prediction::beta_from_mean;
use crate::numeric::chi_square::{chi_square_quantile, chi_square_upper};
use crate::numeric::counts::{beta_binomial_ln_pmf, binomial_pmf};
use crate::numeric::minimum::minimum_near;
use crate::numeric::root;
use crate::numeric::simplex::nelder_mead;
use serde::{Deserialize, Serialize};

/// Misses and runners of one race.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RaceCount {
    pub misses: u64,
    pub runners: u64,
}

/// What the races say together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Overdispersion {
    pub races: usize,
    pub pooled_rate: f64,
    /// Pearson's chi-square of one rate for all, its degrees of freedom and odds.
    pub chi_square: f64,
    pub degrees_of_freedom: f64,
    pub chi_square_p: f64,
    /// Mean rate of a race and correlation within it, by likelihood.
    pub mean: f64,
    pub rho: f64,
    pub log_likelihood: f64,
    pub binomial_log_likelihood: f64,
    /// Odds of a likelihood ratio as large without any spread between races.
    pub ratio_p: f64,
    pub level: f64,
    /// Profile likelihood; a low end of 0 means the races do not prove a spread.
    pub rho_interval: Interval,
    /// Estimate by mean squares (may be negative).
    pub rho_by_mean_squares: f64,
}

/// Fits at least two races with runners, not all of them missed nor all read; `None` otherwise.
pub fn overdispersion(races: &[RaceCount], level: f64) -> Option<Overdispersion> {
    let races: Vec<RaceCount> = races.iter().copied().filter(|r| r.runners > 0).collect();
    let k = races.len();
    let runners: u64 = races.iter().map(|r| r.runners).sum();
    let misses: u64 = races.iter().map(|r| r.misses).sum();
    if k < 2 || misses == 0 || misses >= runners || races.iter().any(|r| r.misses > r.runners) {
        return None;
    }
    let (groups, all) = (k as f64, runners as f64);
    let pooled = misses as f64 / all;
    let rate = |r: &RaceCount| r.misses as f64 / r.runners as f64;
    let scatter: f64 = races.iter().map(|r| r.runners as f64 * (rate(r) - pooled).powi(2)).sum();
    let chi_square = scatter / (pooled * (1.0 - pooled));

    let between = scatter / (groups - 1.0);
    let within = races.iter().map(|r| r.runners as f64 * rate(r) * (1.0 - rate(r))).sum::<f64>()
        / (all - groups).max(1.0);
    let squares: f64 = races.iter().map(|r| (r.runners as f64).powi(2)).sum();
    let size = (all - squares / all) / (groups - 1.0);
    let rho_by_mean_squares = (between - within) / (between + (size - 1.0) * within);

    let logistic = |t: f64| 1.0 / (1.0 + libm::exp(-t));
    let logit = |p: f64| libm::log(p / (1.0 - p));
    let value = |t: &[f64]| -> f64 {
        let (a, b) = beta_from_mean(logistic(t[0]), logistic(t[1]));
        -races.iter().map(|r| beta_binomial_ln_pmf(r.misses, r.runners, a, b)).sum::<f64>()
    };
    let binomial: f64 = races.iter().map(|r| libm::log(binomial_pmf(r.misses, r.runners, pooled))).sum();
    let start = [logit(pooled), logit(rho_by_mean_squares.clamp(1e-6, 0.5))];
    let best = nelder_mead(value, &start, &[0.3, 1.0], 1e-8);
    // Below this the beta-binomial is a binomial to the last digit and the search wanders.
    let plain = -best.value <= binomial + 1e-7 || best.point[1] < logit(1e-10);
    let (mean, rho, top) = if plain {
        (pooled, 0.0, binomial)
    } else {
        (logistic(best.point[0]), logistic(best.point[1]), -best.value)
    };
    let ratio = (2.0 * (top - binomial)).max(0.0);
    let drop = 0.5 * chi_square_quantile(level, 1.0);
    let excess = |t: f64| minimum_near(|m| value(&[m, t]), logit(mean), 0.2, 1e-6).1 + top - drop;
    let from = logit(rho.max(1e-9));
    let high = root::brent(excess, from, 12.0, 1e-6).map_or(1.0, logistic);
    let low =
        if ratio <= 2.0 * drop { 0.0 } else { root::brent(excess, -25.0, from, 1e-6).map_or(0.0, logistic) };
    Some(Overdispersion {
        races: k,
        pooled_rate: pooled,
        chi_square,
        degrees_of_freedom: groups - 1.0,
        chi_square_p: chi_square_upper(chi_square, groups - 1.0),
        mean,
        rho,
        log_likelihood: top,
        binomial_log_likelihood: binomial,
        ratio_p: if ratio > 0.0 { 0.5 * chi_square_upper(ratio, 1.0) } else { 1.0 },
        level,
        rho_interval: Interval::new(low, high),
        rho_by_mean_squares,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn races(counts: &[(u64, u64)]) -> Vec<RaceCount> {
        counts.iter().map(|&(misses, runners)| RaceCount { misses, runners }).collect()
    }

    /// Source: scipy.stats.betabinom and scipy.optimize, SciPy 1.17.1 (likelihood, Pearson, mixture p value, mean squares),
    /// made-up counts. Tolerance: half the last digit; 1e-5 relative for the fitted pair.
    #[test]
    fn val_six_races() {
        let six = races(&[(2, 812), (0, 640), (9, 1500), (1, 455), (4, 990), (14, 1210)]);
        let o = overdispersion(&six, 0.95).expect("six races");
        let near =
            |got: f64, want: f64, tolerance: f64| assert!((got - want).abs() < tolerance, "{got} {want}");
        near(o.pooled_rate, 5.350455e-3, 5.1e-10);
        near(o.chi_square, 14.79855, 5.1e-6);
        near(o.chi_square_p, 0.01126, 5.1e-6);
        near(o.mean / 4.745985e-3, 1.0, 1e-5);
        near(o.rho / 2.014446e-3, 1.0, 1e-5);
        near(o.log_likelihood, -14.515133, 5.1e-7);
        near(o.binomial_log_likelihood, -16.501534, 5.1e-7);
        near(o.ratio_p, 0.02312, 5.1e-6);
        near(o.rho_by_mean_squares, 2.157673e-3, 5.1e-10);
        assert!(o.rho_interval.contains(o.rho) && o.rho_interval.high < 0.05);
    }

    #[test]
    fn even_races_show_no_spread() {
        let o =
            overdispersion(&races(&[(5, 1000), (5, 1000), (5, 1000), (0, 0)]), 0.95).expect("three races");
        assert_eq!((o.rho, o.rho_interval.low, o.ratio_p, o.races), (0.0, 0.0, 1.0, 3));
        assert!(o.rho_interval.high > 0.0 && o.rho_interval.high < 0.05, "{o:?}");
        assert!(overdispersion(&races(&[(5, 1000)]), 0.95).is_none());
        assert!(overdispersion(&races(&[(0, 1000), (0, 1000)]), 0.95).is_none());
        assert!(overdispersion(&races(&[(7, 5), (0, 1000)]), 0.95).is_none());
    }
}
