//! A pair of line sets: what they miss together, r, the true gain beside the naive one, and the causes they share.

use super::engine::{RaceAtPoint, stratum_words};
use crate::estimate::joint::{quantile, standard_error};
use crate::estimate::shared_misses::{JointMiss, clustered_ratio};
use crate::passing::Prepared;
use crate::random::transform::normal_quantile;
use serde::Serialize;

/// A share of something, named.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedShare {
    pub name: String,
    pub share: f64,
}

/// One line set over the races.
#[derive(Clone, Debug, Serialize)]
pub struct SetResult {
    pub name: String,
    pub miss_rate: f64,
    /// Monte Carlo, 95 %.
    pub miss_rate_low: f64,
    pub miss_rate_high: f64,
    /// 5 to 95 % race to race.
    pub race_p05: f64,
    pub race_p95: f64,
    pub missed_per_10_000: f64,
    /// Share of the races whose expected detection rate reaches the target.
    pub target_odds: f64,
    /// No miss worth naming was met (miss rate below 1e-9).
    pub none_met: bool,
}

const NOTHING: f64 = 1e-9;

pub fn set_result(name: &str, races: &[RaceAtPoint], set: usize, target: f64) -> SetResult {
    let rates: Vec<f64> = races.iter().map(|race| race.miss(set)).collect();
    let mean = rates.iter().sum::<f64>() / rates.len().max(1) as f64;
    let reach = normal_quantile(0.975) * standard_error(rates.iter().copied()).unwrap_or(f64::INFINITY);
    SetResult {
        name: name.to_owned(),
        miss_rate: mean,
        miss_rate_low: (mean - reach).max(0.0),
        miss_rate_high: (mean + reach).min(1.0),
        race_p05: quantile(&rates, 0.05),
        race_p95: quantile(&rates, 0.95),
        missed_per_10_000: 1e4 * mean,
        target_odds: target_odds(&rates, target),
        none_met: mean < NOTHING,
    }
}

/// Share of races that keep the target.
pub fn target_odds(rates: &[f64], target: f64) -> f64 {
    rates.iter().filter(|&&rate| 1.0 - rate >= target).count() as f64 / rates.len().max(1) as f64
}

/// What the second of two line sets does for the first.
#[derive(Clone, Debug, Serialize)]
pub struct PairResult {
    pub first: String,
    pub second: String,
    pub first_missed: f64,
    pub second_missed: f64,
    pub both_missed: f64,
    /// Odds that the second misses what the first missed, with a 95 % interval over races.
    pub r: Option<f64>,
    pub r_low: Option<f64>,
    pub r_high: Option<f64>,
    /// What the second divides the misses of the first by.
    pub true_gain: Option<f64>,
    /// What it would be if misses had nothing in common.
    pub naive_gain: f64,
    /// Lines without common causes the pair is worth; for display only.
    pub effective_lines: Option<f64>,
    /// Who is missed by both, the largest shares first.
    pub shared: Vec<NamedShare>,
    /// Why both miss, by first cause.
    pub causes: Vec<NamedShare>,
}

/// `sets` are the indices of first, second and both together. A joint rate outside Fréchet's bounds is an internal fault.
pub fn pair_result(
    prepared: &Prepared,
    names: [&str; 2],
    races: &[RaceAtPoint],
    sets: [usize; 3],
) -> Result<PairResult, crate::estimate::shared_misses::OutOfBounds> {
    let mean = |set: usize| races.iter().map(|race| race.miss(set)).sum::<f64>() / races.len().max(1) as f64;
    let joint = JointMiss { a: mean(sets[0]), b: mean(sets[1]), both: mean(sets[2]) }.checked()?;
    let clusters: Vec<(f64, f64)> =
        races.iter().map(|race| (race.miss(sets[2]), race.miss(sets[0]))).collect();
    let met = joint.a >= NOTHING;
    let ratio = clustered_ratio(&clusters).filter(|_| met);
    let reach = ratio.and_then(|(_, error)| error).map(|error| normal_quantile(0.975) * error);
    Ok(PairResult {
        first: names[0].to_owned(),
        second: names[1].to_owned(),
        first_missed: joint.a,
        second_missed: joint.b,
        both_missed: joint.both,
        r: ratio.map(|(r, _)| r),
        r_low: ratio.zip(reach).map(|((r, _), reach)| (r - reach).max(0.0)),
        r_high: ratio.zip(reach).map(|((r, _), reach)| (r + reach).min(1.0)),
        true_gain: joint.true_gain().filter(|gain| met && gain.is_finite()),
        naive_gain: joint.naive_gain(),
        effective_lines: (joint.both > 0.0 && met).then(|| joint.effective_lines()).filter(|n| n.is_finite()),
        shared: shared(prepared, races, sets[2]),
        causes: causes(races, sets[2]),
    })
}

/// Who is missed: strata by their share of a set's misses; those below one in fifty are put together.
pub fn shared(prepared: &Prepared, races: &[RaceAtPoint], set: usize) -> Vec<NamedShare> {
    let strata = races.first().map_or(0, |race| race.weights.len());
    let mut sums = vec![0.0; strata];
    for race in races {
        for (sum, part) in sums.iter_mut().zip(race.by_stratum(set)) {
            *sum += part;
        }
    }
    let total: f64 = sums.iter().sum();
    if total <= 0.0 {
        return Vec::new();
    }
    let mut list: Vec<NamedShare> = sums
        .iter()
        .enumerate()
        .map(|(stratum, sum)| NamedShare { name: stratum_words(prepared, stratum), share: sum / total })
        .filter(|s| s.share >= 0.02)
        .collect();
    list.sort_by(|a, b| b.share.total_cmp(&a.share));
    let rest = 1.0 - list.iter().map(|s| s.share).sum::<f64>();
    if rest > 1e-9 {
        list.push(NamedShare { name: "all others".to_owned(), share: rest });
    }
    list
}

/// First causes by their share of a set's misses.
pub fn causes(races: &[RaceAtPoint], set: usize) -> Vec<NamedShare> {
    const NAMES: [&str; 4] = ["never in reach", "asleep", "awake but not heard", "heard but crowded out"];
    let mut sums = [0.0; 4];
    for race in races {
        for (sum, part) in sums.iter_mut().zip(race.causes(set)) {
            *sum += part;
        }
    }
    let total: f64 = sums.iter().sum();
    NAMES
        .iter()
        .zip(sums)
        .filter(|_| total > 0.0)
        .map(|(name, sum)| NamedShare { name: (*name).to_owned(), share: sum / total })
        .collect()
}
