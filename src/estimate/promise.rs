//! The number missed in a field of n runners, and whether a promise holds.
//!
//! A promise of a detection rate p allows ⌊(1 − p)·n⌋ missed runners: that count, everywhere. Given a race day the count is binomial with the day's miss
//! odds; over race days it is their mixture. Two questions are kept apart. *This race*: the probability that one race breaks the promise.
//! *A contract*: the same unknowns hold in every race until somebody measures them, so races fail together; given what nobody knows
//! (a level) the races of a contract are independent, and the number that fail is a mixture of binomials over levels.

use super::offsets::{DAYS, LEVELS};
use super::reading::{SetDays, without};
use super::replicates::{Figure, Scale, t_975};
use crate::numeric::counts::binomial_tails;
use serde::{Deserialize, Serialize};

/// Most misses that a promise allows in a field.
pub fn allowed(target: f64, runners: u64) -> u64 {
    // A hair is added so that 0.998 of 6000 allows 12 and not 11.999….
    ((1.0 - target) * runners as f64 + 1e-9).floor() as u64
}

/// Probability of more than `allowed` misses among `runners`, as a function of the miss odds; tabulated over their logarithm.
pub struct Breaks {
    table: Vec<f64>,
}

const FROM: f64 = -23.0;
const PER_UNIT: f64 = 40.0;

impl Breaks {
    pub fn new(runners: u64, allowed: u64) -> Breaks {
        let cells = (-FROM * PER_UNIT) as usize + 1;
        let tail = |i: usize| {
            let p = libm::exp(FROM + i as f64 / PER_UNIT).min(1.0);
            if allowed >= runners { 0.0 } else { binomial_tails(allowed, runners, p).1 }
        };
        Breaks { table: (0..cells).map(tail).collect() }
    }

    pub fn at(&self, miss_odds: f64) -> f64 {
        if !(miss_odds > 0.0) {
            return 0.0;
        }
        let place = ((libm::log(miss_odds) - FROM) * PER_UNIT).clamp(0.0, (self.table.len() - 1) as f64);
        let cell = (place as usize).min(self.table.len() - 2);
        let part = place - cell as f64;
        self.table[cell] * (1.0 - part) + self.table[cell + 1] * part
    }
}

/// What becomes of a promise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Promise {
    /// Detection rate promised.
    pub target: f64,
    pub runners: u64,
    /// Most misses it allows.
    pub allowed: u64,
    /// Probability that one race breaks it.
    pub breaks: Figure,
    /// Races of a contract looked at.
    pub contract_races: u64,
    /// Probability that at least 1, 2 … all of them break it.
    pub at_least: Vec<Figure>,
}

impl Promise {
    /// Probability that one race keeps it.
    pub fn kept(&self) -> Figure {
        let b = self.breaks;
        Figure { value: 1.0 - b.value, low: 1.0 - b.high, high: 1.0 - b.low, ..b }
    }
    /// Probability that more than half of the contract's races break it.
    pub fn most_break(&self) -> Figure {
        self.at_least.get((self.contract_races / 2) as usize).copied().unwrap_or_default()
    }
}

/// The promise of `target` in a field of `runners`, over race days and over contracts of `contract_races` races.
pub fn promise(days: &SetDays, runners: u64, target: f64, contract_races: u64) -> Promise {
    let allowed = allowed(target, runners);
    let table = Breaks::new(runners, allowed);
    let over_days = |days: &[f64]| days.iter().map(|&q| table.at(q)).sum::<f64>() / days.len() as f64;
    let breaks = within_0_1(
        days.mean_of(Scale::LogOdds, |level| days.clean(level, over_days)).cleaned(Scale::LogOdds),
        days,
    );
    let at_least = (1..=contract_races)
        .map(|k| {
            let fails =
                |days: &[f64]| binomial_tails(k - 1, contract_races, over_days(days).clamp(0.0, 1.0)).1;
            within_0_1(
                days.mean_of(Scale::LogOdds, |level| days.clean(level, fails)).cleaned(Scale::LogOdds),
                days,
            )
        })
        .collect();
    Promise { target, runners, allowed, breaks, contract_races, at_least }
}

/// A probability in its range. Near either end the scale of log odds blows up what hardly differs, so there the interval is taken as it is; and
/// where every world says the same (none breaks, or all do) the worlds themselves bound it: the 97.5 % limit of no event among as many.
fn within_0_1(f: Figure, days: &SetDays) -> Figure {
    const NEAR: f64 = 0.02;
    let limit = (3.688_879 * LEVELS as f64 / days.levels().max(1) as f64).min(1.0);
    let value = f.value.clamp(0.0, 1.0);
    if (NEAR..=1.0 - NEAR).contains(&value) {
        return Figure { value, low: f.low.clamp(0.0, value), high: f.high.clamp(value, 1.0), ..f };
    }
    let reach = t_975(days.replicates.max(2)) * f.standard_error;
    let (mut low, mut high) = ((value - reach).max(0.0), (value + reach).min(1.0));
    if value < 1e-3 * limit {
        high = high.max(limit);
    }
    if value > 1.0 - 1e-3 * limit {
        low = low.min(1.0 - limit);
    }
    Figure { value, low, high, standard_error: f.standard_error }
}

/// Predictive distribution of the number missed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CountForecast {
    pub runners: u64,
    pub mean: Figure,
    pub p05: u64,
    pub median: u64,
    pub p95: u64,
    /// Probability of 0, 1, 2 … misses, up to where 0.9999 is reached or 400 entries.
    pub distribution: Vec<f64>,
}

/// Mixture over the race days of Binomial(runners, miss odds).
pub fn counts(days: &SetDays, runners: u64) -> CountForecast {
    let mean = days.rate().times(runners as f64);
    let law = clean_law(days);
    let largest = law.iter().rposition(|&mass| mass != 0.0).map_or(0.0, node) * runners as f64;
    let last = ((largest + 12.0 * largest.sqrt() + 30.0) as u64).min(runners) as usize;
    let mut pmf = vec![0.0; last + 1];
    for (i, &mass) in law.iter().enumerate().filter(|(_, mass)| **mass != 0.0) {
        add_binomial(&mut pmf, runners, node(i), mass);
    }
    // Taking out the noise may leave a hair below zero.
    let (mut cumulative, mut reached) = (0.0, 0.0_f64);
    for p in &mut pmf {
        cumulative += *p;
        let next = reached.max(cumulative.min(1.0));
        *p = next - reached;
        reached = next;
    }
    let quantile = |level: f64| {
        let mut below = 0.0;
        pmf.iter().position(|p| {
            below += p;
            below >= level * reached
        })
    };
    let of = |level: f64| quantile(level).unwrap_or(last) as u64;
    let mut kept = 0;
    let mut sum = 0.0;
    while kept < pmf.len() && kept < 400 && sum < 0.9999 {
        sum += pmf[kept];
        kept += 1;
    }
    CountForecast {
        runners,
        mean,
        p05: of(0.05),
        median: of(0.5),
        p95: of(0.95),
        distribution: pmf[..kept].to_vec(),
    }
}

const NODES: usize = 960;
const NODE_RATIO: f64 = 0.03;

/// Miss odds of a node of the law: 0, then from 1e-12 upwards to 1 in steps of 3 %.
fn node(i: usize) -> f64 {
    if i == 0 { 0.0 } else { libm::exp(NODE_RATIO * (i as f64 - NODES as f64 + 1.0)).min(1.0) }
}

/// The law of the race days' miss odds on the nodes, the noise of the passings taken out; a day is split over its two
/// neighbours so that the mean stays.
fn clean_law(days: &SetDays) -> Vec<f64> {
    let mut law = vec![0.0; NODES];
    let weights = without(&days.sums(|_| 1.0), None) * DAYS as f64;
    for level in 0..days.levels() {
        for (version, factor) in [(0, 2.0), (1, -0.5), (2, -0.5)] {
            for &odds in days.version(version, level) {
                let mass = factor * days.weight(level) / weights;
                let odds = odds.clamp(0.0, 1.0);
                if odds <= node(1) {
                    law[0] += mass * (1.0 - odds / node(1));
                    law[1] += mass * odds / node(1);
                    continue;
                }
                let place = libm::log(odds) / NODE_RATIO + NODES as f64 - 1.0;
                let low = (place as usize).clamp(1, NODES - 2);
                let part = ((odds - node(low)) / (node(low + 1) - node(low))).clamp(0.0, 1.0);
                law[low] += mass * (1.0 - part);
                law[low + 1] += mass * part;
            }
        }
    }
    law
}

/// Adds `weight` times the binomial probabilities of 0..pmf.len() events, as far as they reach 1e-15 of the largest.
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
        if term < 1e-15 * at_mode {
            break;
        }
    }
    term = at_mode;
    for k in (1..=mode as usize).rev() {
        term *= k as f64 / (n_f - k as f64 + 1.0) / odds;
        pmf[k - 1] += weight * term;
        if term < 1e-15 * at_mode {
            break;
        }
    }
}

/// Runners saved or missed per race as a figure of a difference of rates.
pub fn runners_per_race(rate: Figure, runners: u64) -> Figure {
    rate.times(runners as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::offsets::RACE_DAYS;
    use crate::estimate::world::WorldRow;
    use crate::passing::draw::REPLICATES;

    /// Worlds whose race days all have the odds given.
    fn days_of(odds: &[f64]) -> SetDays {
        let rows: Vec<WorldRow> = odds
            .iter()
            .enumerate()
            .map(|(world, &q)| WorldRow {
                world: world as u64,
                level_weights: vec![1.0; LEVELS],
                passings: 1000,
                odds: vec![q as f32; 2 * RACE_DAYS],
                ..WorldRow::default()
            })
            .collect();
        SetDays::new(&rows, 0)
    }

    /// Source: binomial probabilities, elementary: n = 10, p = 0.3: P(0) = 0.0282475, P(3) = 0.2668279; Bin(2500, 0.002): P(0) = 0.00670430,
    /// P(≤ 5) = 0.61596071 (scipy 1.17.1). Tolerance: 2e-4, by the nodes of the law.
    #[test]
    fn val_binomial_mixture() {
        let c = counts(&days_of(&vec![0.3; REPLICATES as usize]), 10);
        assert!(
            (c.distribution[0] - 0.028_247_5).abs() < 2e-4 && (c.distribution[3] - 0.266_827_9).abs() < 2e-4
        );
        let days = days_of(&vec![0.002; REPLICATES as usize]);
        let c = counts(&days, 2500);
        assert!((c.distribution[0] - 0.006_704_30).abs() < 3e-5);
        let p = promise(&days, 2500, 0.998, 10);
        assert_eq!(p.allowed, 5);
        assert!((p.kept().value - 0.615_960_71).abs() < 2e-4, "{:?}", p.breaks);
        let mean: f64 = c.distribution.iter().enumerate().map(|(k, p)| k as f64 * p).sum();
        assert!((mean - 5.0).abs() < 1e-2, "{mean}");
        let none = counts(&days_of(&vec![0.0; REPLICATES as usize]), 1000);
        assert_eq!((none.p95, none.median), (0, 0));
    }

    /// Half of the worlds break every race, half none: one race breaks with probability 0.5, and so do all of a contract together.
    #[test]
    fn races_of_a_contract_fail_together() {
        let odds: Vec<f64> = (0..64).map(|w| if (w / 16) % 2 == 0 { 1e-6 } else { 0.05 }).collect();
        let p = promise(&days_of(&odds), 4000, 0.998, 10);
        assert!((p.breaks.value - 0.5).abs() < 1e-6);
        assert!((p.at_least[0].value - 0.5).abs() < 1e-6 && (p.at_least[9].value - 0.5).abs() < 1e-6);
        assert!((p.most_break().value - 0.5).abs() < 1e-6);
    }
}
