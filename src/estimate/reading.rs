//! What is read off a run: one place for every figure that a command prints.
//!
//! A run is a list of worlds, each with `LEVELS` draws of what nobody knows about thresholds times `DAYS` race days of known miss odds. The expected miss
//! rate is their weighted mean. How races differ (quantiles, the count missed, the probability that a promise breaks) is read from the
//! same race days. The passings of a world are few, so a day's miss odds carry noise that widens every such figure by a term in 1/passings. It is taken
//! out by the two halves of the passings: with F the figure from all passings and F_a, F_b those from the halves,  2F − (F_a + F_b)/2  is free of that
//! term (Richardson's step; M. H. Quenouille, Biometrika 43 (1956) 353-360). A mean stays as it is, so the mean of a distribution is the mean
//! printed.

use super::offsets::{DAYS, LEVELS, RACE_DAYS};
use super::replicates::{Figure, Scale, figure};
use super::world::WorldRow;
use crate::passing::draw::REPLICATES;

/// The race days of one set of lines: miss odds from all passings and from their halves. A *level* is one draw of all that nobody
/// knows; level number w·LEVELS + l is level l of world w.
pub struct SetDays {
    pub replicates: usize,
    /// Weight of each level.
    weights: Vec<f64>,
    replicate_of: Vec<usize>,
    /// `[all, half a, half b][level × DAYS + day]`.
    odds: [Vec<f64>; 3],
    /// Passings behind it.
    pub passings: u64,
}

impl SetDays {
    /// Of set number `set`.
    pub fn new(rows: &[WorldRow], set: usize) -> SetDays {
        let days = |half: usize| -> Vec<f64> {
            rows.iter().flat_map(|row| row.half(set, half).iter().map(|&q| f64::from(q))).collect()
        };
        let (a, b) = (days(0), days(1));
        let all = a.iter().zip(&b).map(|(a, b)| 0.5 * (a + b)).collect();
        let replicate_of: Vec<usize> =
            rows.iter().flat_map(|row| [(row.world % REPLICATES) as usize; LEVELS]).collect();
        SetDays {
            replicates: replicate_of.iter().max().map_or(0, |r| r + 1),
            replicate_of,
            weights: rows.iter().flat_map(|row| row.level_weights.iter().copied()).collect(),
            odds: [all, a, b],
            passings: rows.iter().map(|row| row.passings).sum(),
        }
    }

    pub fn levels(&self) -> usize {
        self.weights.len()
    }

    pub fn weight(&self, level: usize) -> f64 {
        self.weights[level]
    }

    pub fn replicate(&self, level: usize) -> usize {
        self.replicate_of[level]
    }

    /// Miss odds of the race days of a level, from all passings (version 0) or from half a (1) or b (2).
    pub fn version(&self, version: usize, level: usize) -> &[f64] {
        &self.odds[version][level * DAYS..(level + 1) * DAYS]
    }

    /// The same from all passings.
    pub fn of_level(&self, level: usize) -> &[f64] {
        self.version(0, level)
    }

    /// Miss odds of every race day, level by level.
    pub fn each(&self) -> impl Iterator<Item = f64> {
        self.odds[0].iter().copied()
    }

    /// Sums over the levels of each replicate: Σ weight × value(level).
    pub fn sums(&self, value: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut sums = vec![0.0; self.replicates];
        for level in 0..self.levels() {
            sums[self.replicate_of[level]] += self.weights[level] * value(level);
        }
        sums
    }

    /// Weighted mean over levels of `value`, with its interval.
    pub fn mean_of(&self, scale: Scale, value: impl Fn(usize) -> f64) -> Figure {
        let (tops, weights) = (self.sums(value), self.sums(|_| 1.0));
        figure(self.replicates, scale, |skip| without(&tops, skip) / without(&weights, skip))
    }

    /// Mean of `f` over the race days of a level, the noise of the passings taken out.
    pub fn clean(&self, level: usize, f: impl Fn(&[f64]) -> f64) -> f64 {
        2.0 * f(self.version(0, level)) - 0.5 * (f(self.version(1, level)) + f(self.version(2, level)))
    }

    /// Expected miss rate of a level.
    pub fn level_rate(&self, level: usize) -> f64 {
        self.of_level(level).iter().sum::<f64>() / DAYS as f64
    }

    /// Expected miss rate.
    pub fn rate(&self) -> Figure {
        let mut rate = self.mean_of(Scale::Logarithm, |level| self.level_rate(level));
        if !(rate.value > 0.0) {
            // 97.5 % upper limit of a binomial with no event, −ln 0.025 / n.
            rate = Figure { high: (3.688_879 / self.passings.max(1) as f64).min(1.0), ..Figure::default() };
        }
        rate
    }

    /// Quantiles of the race days' miss rate, the noise of the passings taken out; `probabilities` in 0..1, rising.
    pub fn quantiles(&self, probabilities: &[f64]) -> Vec<Figure> {
        let sorted: [Vec<usize>; 3] = std::array::from_fn(|version| {
            let odds = &self.odds[version];
            let mut order: Vec<usize> = (0..odds.len()).collect();
            order.sort_unstable_by(|&a, &b| odds[a].total_cmp(&odds[b]).then(a.cmp(&b)));
            order
        });
        let raw = |version: usize, p: f64, skip: Option<usize>| {
            let odds = &self.odds[version];
            let weight = |level: usize| {
                if skip == Some(self.replicate_of[level]) { 0.0 } else { self.weights[level] }
            };
            let total: f64 = (0..self.levels()).map(weight).sum::<f64>() * DAYS as f64;
            let mut below = 0.0;
            for &day in &sorted[version] {
                below += weight(day / DAYS);
                if below >= p * total {
                    return odds[day];
                }
            }
            sorted[version].last().map_or(0.0, |&day| odds[day])
        };
        let mut least = 0.0_f64;
        probabilities
            .iter()
            .map(|&p| {
                let clean = |skip| {
                    let value = 2.0 * raw(0, p, skip) - 0.5 * (raw(1, p, skip) + raw(2, p, skip));
                    // Richardson's step must not turn a small rate into none.
                    value.clamp(0.25 * raw(0, p, skip), 1.0)
                };
                let mut quantile = figure(self.replicates, Scale::Logarithm, clean).cleaned(Scale::Logarithm);
                quantile.value = quantile.value.max(least);
                quantile.high = quantile.high.max(quantile.value);
                least = quantile.value;
                quantile
            })
            .collect()
    }
}

/// Race days of all levels.
pub fn race_days(worlds: usize) -> usize {
    worlds * RACE_DAYS
}

/// Sum without one replicate's part.
pub fn without(sums: &[f64], skip: Option<usize>) -> f64 {
    sums.iter().enumerate().filter(|(r, _)| Some(*r) != skip).map(|(_, v)| v).sum()
}

/// Ratio of two mean rates on the same worlds, with its interval: `top` / `bottom`.
pub fn ratio(top: &SetDays, bottom: &SetDays, scale: Scale) -> Figure {
    let (tops, bottoms) = (top.sums(|l| top.level_rate(l)), bottom.sums(|l| bottom.level_rate(l)));
    figure(top.replicates, scale, |skip| {
        let below = without(&bottoms, skip);
        if below > 0.0 { without(&tops, skip) / below } else { 0.0 }
    })
}

/// Difference of two mean rates on the same worlds, with its interval: `first` − `second`.
pub fn difference(first: &SetDays, second: &SetDays) -> Figure {
    first.mean_of(Scale::Plain, |level| first.level_rate(level) - second.level_rate(level))
}
