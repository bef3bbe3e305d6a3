//! From the rows of many races to what is reported about one set of lines.
//!
//! Race days are points of ten scrambled Sobol' sequences beside each other (`passing::draw`), so the Monte Carlo error of the
//! expected miss rate comes from the spread of the ten sequences' means, on a logarithmic scale (which keeps the interval
//! positive) with Student's t on 9 degrees of freedom; below 20 races from the spread of the races themselves. The spread between races is what is left of
//! that spread once the Monte Carlo noise within races is taken out: rates are drawn towards their mean so that
//! their variance is the total less the noise (moment-matched shrinkage).
//! The count missed in a field of n runners, given a race, is binomial with that race's rate; over races, the mixture.

use super::race_row::SetRow;
use crate::passing::draw::REPLICATES;
use crate::random::transform::normal_quantile;
use serde::{Deserialize, Serialize};

/// What is said of one set of lines at one point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    pub miss_rate: f64,
    /// 95 % Monte Carlo interval of the expected miss rate.
    pub mc_low: f64,
    pub mc_high: f64,
    pub standard_error: f64,
    /// No miss odds above zero met: `mc_high` is an upper limit only.
    pub none_met: bool,
    /// 5 and 95 % of races have a rate below this, Monte Carlo noise taken out.
    pub race_p05: f64,
    pub race_p95: f64,
}

/// Mean, error and spread over races. `passings` = natural passings the rows stand for, used only where no
/// miss odds were met at all.
pub fn summarise<'a>(rows: impl Iterator<Item = &'a SetRow> + Clone, passings: u64) -> (Summary, Vec<f64>) {
    let rates: Vec<f64> = rows.clone().map(|r| r.rate).collect();
    let n = rates.len() as f64;
    let mean = rows.clone().map(|r| r.rate).sum::<f64>() / n;
    let noise = rows.clone().map(|r| r.variance).sum::<f64>() / n;
    let total = rows.clone().map(|r| (r.rate - mean) * (r.rate - mean)).sum::<f64>() / (n - 1.0).max(1.0);
    let keep = if total > 0.0 { (1.0 - noise / total).max(0.0).sqrt() } else { 0.0 };
    let shrunk: Vec<f64> = rows.map(|r| (mean + (r.rate - mean) * keep).clamp(0.0, 1.0)).collect();
    let (standard_error, dof) = standard_error(&rates, total);
    let none_met = mean <= 0.0;
    let (mc_low, mc_high) = if none_met {
        // 97.5 % upper limit of a binomial with no event, −ln 0.025 / n.
        (0.0, (3.688_879 / passings.max(1) as f64).min(1.0))
    } else {
        let factor = libm::exp(student_975(dof) * standard_error / mean);
        (mean / factor, (mean * factor).min(1.0))
    };
    let mut sorted = shrunk.clone();
    sorted.sort_by(f64::total_cmp);
    let summary = Summary {
        miss_rate: mean,
        mc_low,
        mc_high,
        standard_error,
        none_met,
        race_p05: quantile(&sorted, 0.05),
        race_p95: quantile(&sorted, 0.95),
    };
    (summary, shrunk)
}

/// Standard error of the mean of `rates` (race order) and its degrees of freedom; `variance` is that of the rates.
fn standard_error(rates: &[f64], variance: f64) -> (f64, f64) {
    let scrambles = REPLICATES as usize;
    if rates.len() < 2 * scrambles {
        return ((variance / rates.len() as f64).sqrt(), rates.len() as f64 - 1.0);
    }
    let means: Vec<f64> = (0..scrambles)
        .map(|s| {
            let part: Vec<f64> = rates.iter().skip(s).step_by(scrambles).copied().collect();
            part.iter().sum::<f64>() / part.len() as f64
        })
        .collect();
    let k = scrambles as f64;
    let middle = means.iter().sum::<f64>() / k;
    let spread = means.iter().map(|m| (m - middle) * (m - middle)).sum::<f64>() / (k - 1.0);
    ((spread / k).sqrt(), k - 1.0)
}

/// Quantile of sorted values by linear interpolation.
pub fn quantile(sorted: &[f64], u: f64) -> f64 {
    let position = u * (sorted.len() as f64 - 1.0);
    let k = position as usize;
    let next = sorted[(k + 1).min(sorted.len() - 1)];
    sorted[k] + (position - k as f64) * (next - sorted[k])
}

/// 97.5 % point of Student's t by the Cornish-Fisher expansion.
/// Source: Abramowitz & Stegun (1964) 26.7.5; error below 0.002 from 9 degrees of freedom on, wide (never narrow) below by use of 9.
fn student_975(dof: f64) -> f64 {
    let v = dof.max(9.0);
    let z = normal_quantile(0.975);
    let (z3, z5, z7) = (z * z * z, z * z * z * z * z, z * z * z * z * z * z * z);
    z + (z3 + z) / (4.0 * v)
        + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * v * v)
        + (3.0 * z7 + 19.0 * z5 + 17.0 * z3 - 15.0 * z) / (384.0 * v * v * v)
}

/// Predictive distribution of the number missed in a field of n.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CountForecast {
    pub runners: u64,
    pub mean: f64,
    pub p05: u64,
    pub median: u64,
    pub p95: u64,
    /// Odds of no more misses than the target allows.
    pub target_odds: f64,
    /// Most misses the target allows.
    pub allowed: u64,
    /// Probability of 0, 1, 2 … misses, up to where 0.9999 is reached or 400 entries.
    pub distribution: Vec<f64>,
}

/// Mixture over `race_rates` of Binomial(runners, rate). `target` is the detection rate promised.
pub fn count_forecast(race_rates: &[f64], runners: u64, target: f64) -> CountForecast {
    // A hair is added so that 0.998 of 6000 allows 12 and not 11.999….
    let allowed = ((1.0 - target) * runners as f64 + 1e-9).floor() as u64;
    let mean = race_rates.iter().sum::<f64>() / race_rates.len() as f64 * runners as f64;
    let largest = race_rates.iter().copied().fold(0.0, f64::max) * runners as f64;
    let last = ((largest + 12.0 * largest.sqrt() + 30.0) as u64).min(runners) as usize;
    let mut pmf = vec![0.0; last + 1];
    for &p in race_rates {
        add_binomial(&mut pmf, runners, p, 1.0 / race_rates.len() as f64);
    }
    let mut cumulative = 0.0;
    let (mut p05, mut median, mut p95, mut target_odds) = (None, None, None, 0.0);
    for (k, p) in pmf.iter().enumerate() {
        cumulative += p;
        for (slot, level) in [(&mut p05, 0.05), (&mut median, 0.5), (&mut p95, 0.95)] {
            if slot.is_none() && cumulative >= level {
                *slot = Some(k as u64);
            }
        }
        if k as u64 <= allowed {
            target_odds = cumulative;
        }
    }
    let mut kept = 0;
    let mut sum = 0.0;
    while kept < pmf.len() && kept < 400 && sum < 0.9999 {
        sum += pmf[kept];
        kept += 1;
    }
    let last = last as u64;
    CountForecast {
        runners,
        mean,
        p05: p05.unwrap_or(last),
        median: median.unwrap_or(last),
        p95: p95.unwrap_or(last),
        target_odds: target_odds.min(1.0),
        allowed,
        distribution: pmf[..kept].to_vec(),
    }
}

/// Adds `weight` times the binomial probabilities of 0..pmf.len() events.
fn add_binomial(pmf: &mut [f64], n: u64, p: f64, weight: f64) {
    if p <= 0.0 {
        pmf[0] += weight;
        return;
    }
    let p = p.min(1.0 - 1e-15);
    let (ln_p, ln_q) = (libm::log(p), libm::log1p(-p));
    let n_f = n as f64;
    let ln_choose = |k: f64| libm::lgamma(n_f + 1.0) - libm::lgamma(k + 1.0) - libm::lgamma(n_f - k + 1.0);
    // Start at the mode and recur both ways, so that nothing underflows where it matters.
    let mode = ((n_f + 1.0) * p).floor().min(pmf.len() as f64 - 1.0);
    let at_mode = libm::exp(ln_choose(mode) + mode * ln_p + (n_f - mode) * ln_q);
    let odds = p / (1.0 - p);
    let mut term = at_mode;
    for (k, slot) in pmf.iter_mut().enumerate().skip(mode as usize) {
        *slot += weight * term;
        term *= (n_f - k as f64) / (k as f64 + 1.0) * odds;
    }
    term = at_mode;
    for k in (1..=mode as usize).rev() {
        term *= k as f64 / (n_f - k as f64 + 1.0) / odds;
        pmf[k - 1] += weight * term;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Student's t 97.5 % points, Abramowitz & Stegun (1964) table 26.10: 10: 2.228, 30: 2.042, 120: 1.980.
    /// Tolerance: 0.002.
    #[test]
    fn val_student_points() {
        for (dof, t) in [(10.0, 2.228), (30.0, 2.042), (120.0, 1.980)] {
            assert!((student_975(dof) - t).abs() < 2e-3);
        }
    }

    /// Source: binomial probabilities, elementary: n = 10, p = 0.3: P(0) = 0.0282475, P(3) = 0.2668279;
    /// Bin(2500, 0.002): P(0) = 0.00670430, P(≤ 5) = 0.61596071 (scipy 1.17.1). Tolerance: half of the last digit.
    #[test]
    fn val_binomial_mixture() {
        let f = count_forecast(&[0.3], 10, 0.5);
        assert!((f.distribution[0] - 0.0282475).abs() < 5e-8 && (f.distribution[3] - 0.2668279).abs() < 5e-8);
        let f = count_forecast(&[0.002, 0.002], 2500, 0.998);
        assert!((f.distribution[0] - 0.006_704_30).abs() < 6e-9);
        assert_eq!(f.allowed, 5);
        assert!((f.target_odds - 0.615_960_71).abs() < 6e-9);
        assert!((f.distribution.iter().sum::<f64>() - 1.0).abs() < 1.1e-4);
        let none = count_forecast(&[0.0], 1000, 0.998);
        assert_eq!((none.p95, none.target_odds), (0, 1.0));
    }

    #[test]
    fn noise_is_taken_out_of_the_race_spread() {
        // All races alike, only noise: the spread between races must come out as (nearly) none.
        let rows: Vec<SetRow> = (0..200)
            .map(|i| {
                let z = normal_quantile((f64::from(i) + 0.5) / 200.0);
                SetRow { rate: 0.01 + 0.001 * z, variance: 1e-6, causes: [0.0; 4] }
            })
            .collect();
        let (s, _) = summarise(rows.iter(), 200_000);
        assert!((s.race_p95 - s.race_p05) < 2e-4, "{s:?}");
        assert!((s.miss_rate - 0.01).abs() < 1e-9 && s.mc_low < 0.01 && s.mc_high > 0.01);
        let none = vec![SetRow::default(); 50];
        let (s, _) = summarise(none.iter(), 1000);
        assert!(s.none_met && (s.mc_high - 3.688879e-3).abs() < 1e-9);
    }
}
