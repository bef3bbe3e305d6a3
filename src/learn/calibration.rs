//! The third light: would the learning have found worlds like these?
//!
//! A vector drawn from what was learned is taken for the truth, everything is counted again in its world, and the rate is learned from both counts by the vectors of
//! all other groups. If weights and likelihood are right the truth lies anywhere in what was learned, its rank is uniform and 90 % of truths lie
//! within 5 to 95 % (T. Säilynoja, M. Schmitt, P.-C. Bürkner, A. Vehtari, Posterior SBC, arXiv 2502.03279 (2025)). Too few effective groups, weights that
//! were smoothed too far, or counts that the grid is too coarse for show as ranks piled up at both ends. It tells nothing of what the beliefs leave out.

use super::evidence::{Counted, Evidence, Kind, RaceEvidence, TrialEvidence};
use super::likelihood::{Laid, days};
use super::odds::cell_at;
use super::posterior::Posterior;
use super::vectors::{EACH, SPREADS};
use crate::numeric::counts::{binomial_quantile, binomial_tails};
use crate::passing::draw::RACE_DIMS;
use crate::random::{Purpose, Stream};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Worlds taken for the truth.
pub const WORLDS: usize = 64;
/// Groups with less weight are left out.
const LIGHT: f64 = 1e-5;
const LEAST_RATE: f64 = 1e-9;

/// How often what was learned held the truth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    pub worlds: u64,
    /// Truths within 5 to 95 %, and within 25 to 75 %.
    pub held_90: u64,
    pub held_50: u64,
    /// Probability that so few lie within 5 to 95 % if the learning is right.
    pub tail: f64,
}

/// Vectors of one group that share a spread, with their weights.
struct Members {
    group: usize,
    vectors: Vec<([f64; RACE_DIMS], f64)>,
}

/// A world taken for the truth: its group, its rate, and what is counted in it.
struct Truth {
    group: usize,
    ln_rate: f64,
    kinds: Vec<Kind>,
}

/// Looks at what was learned; `None` once `stop` says so.
pub fn calibration(
    evidence: &Evidence,
    posterior: &Posterior,
    seed: u64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Calibration> {
    Some(of_ranks(&ranks(evidence, posterior, seed, 1.0, stop)?))
}

fn of_ranks(ranks: &[f64]) -> Calibration {
    let within = |edge: f64| ranks.iter().filter(|r| (edge..=1.0 - edge).contains(*r)).count() as u64;
    let (worlds, held_90) = (ranks.len() as u64, within(0.05));
    Calibration { worlds, held_90, held_50: within(0.25), tail: binomial_tails(held_90, worlds, 0.9).0 }
}

/// Rank of every truth's rate in what is learned in its world, the likelihood of its counts to a `power` (1; others are wrong on purpose).
fn ranks(
    evidence: &Evidence,
    posterior: &Posterior,
    seed: u64,
    power: f64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Vec<f64>> {
    let members = members(posterior, seed);
    let truths: Vec<Truth> = (0..WORLDS)
        .into_par_iter()
        .map(|t| (!stop()).then(|| truth(evidence, posterior, &members, seed, t)))
        .collect::<Option<_>>()?;
    // For each group: of each vector its weight, ln rate, and ln L of every truth.
    let looked: Vec<Vec<(f64, f64, Vec<f64>)>> = members
        .par_iter()
        .map(|of| (!stop()).then(|| look(evidence, posterior, of, &truths)))
        .collect::<Option<_>>()?;
    let rank = |(t, truth): (usize, &Truth)| {
        let others = members.iter().zip(&looked).filter(|(m, _)| m.group != truth.group);
        let all: Vec<_> = others.flat_map(|(_, of)| of).collect();
        let most = all.iter().map(|(_, _, ln)| power * ln[t]).fold(f64::NEG_INFINITY, f64::max);
        let (mut below, mut total) = (0.0, 0.0);
        for (weight, ln_rate, ln_l) in all {
            let w = weight * libm::exp(power * ln_l[t] - most);
            total += w;
            below += if *ln_rate < truth.ln_rate { w } else { 0.0 };
        }
        below / total.max(1e-300)
    };
    Some(truths.iter().enumerate().map(rank).collect())
}

/// One spread of every group, picked by its weight: a look needs fewer vectors than a lesson.
fn members(posterior: &Posterior, seed: u64) -> Vec<Members> {
    let of = |(group, weights): (usize, Vec<f64>)| {
        let total: f64 = weights.iter().sum();
        if total < LIGHT {
            return None;
        }
        let of_spread = |s: usize| weights[s * EACH..(s + 1) * EACH].iter().sum::<f64>() / total;
        let shares: Vec<f64> = (0..SPREADS).map(of_spread).collect();
        let mut stream = Stream::new(seed, Purpose::Study, 6, group as u64, 0);
        let spread = cell_at(&shares, stream.uniform());
        let vectors = posterior.vectors(group);
        let own = spread * EACH..(spread + 1) * EACH;
        let within: f64 = weights[own.clone()].iter().sum();
        let vectors = own.map(|j| (vectors[j], weights[j] / within * total)).collect();
        Some(Members { group, vectors })
    };
    posterior.vector_weights(None).into_iter().enumerate().filter_map(of).collect()
}

/// The source whose first count stands for the rate: a race if there is one.
fn asked(evidence: &Evidence) -> usize {
    evidence.sources.iter().position(|s| matches!(s.kind, Kind::Race(_))).unwrap_or(0)
}

fn ln_rate(evidence: &Evidence, laid: &mut Laid, u: &[f64; RACE_DIMS]) -> f64 {
    let source = &evidence.sources[asked(evidence)];
    let masses = laid.masses(source.view, u);
    libm::log(laid.grid(source.view, &source.kind).mean_odds(&masses).max(LEAST_RATE))
}

fn truth(evidence: &Evidence, posterior: &Posterior, members: &[Members], seed: u64, t: usize) -> Truth {
    let mut stream = Stream::new(seed, Purpose::Study, 7, t as u64, 0);
    let each = || members.iter().flat_map(|m| m.vectors.iter().map(move |v| (m, v)));
    let total: f64 = each().map(|(_, v)| v.1).sum();
    // One of equal parts of the weight each, anywhere in it.
    let wanted = (t as f64 + stream.uniform()) / WORLDS as f64 * total;
    let mut below = 0.0;
    let chosen = each().find(|(_, v)| {
        below += v.1;
        below >= wanted
    });
    let (of, (u, _)) = chosen.or_else(|| each().last()).expect("some vectors have weight");
    let mut laid = Laid::new(evidence, &posterior.tables, of.group, u);
    let ln_rate = ln_rate(evidence, &mut laid, u);
    let kinds = evidence
        .sources
        .iter()
        .map(|source| {
            let masses = laid.masses(source.view, u);
            let cell = cell_at(&masses, stream.uniform());
            match &source.kind {
                Kind::Race(race) => Kind::Race(race_again(&mut laid, source.view, race, cell, &mut stream)),
                Kind::Trial(trial) => Kind::Trial(trial_again(&laid, trial, cell, &mut stream)),
            }
        })
        .collect();
    Truth { group: of.group, ln_rate, kinds }
}

/// A race counted again, on a day drawn and at one offset of its thresholds.
fn race_again(
    laid: &mut Laid,
    view: usize,
    race: &RaceEvidence,
    cell: usize,
    stream: &mut Stream,
) -> RaceEvidence {
    let shares = days(laid.course(view));
    let day = ((stream.uniform() * shares.len() as f64) as usize).min(shares.len() - 1);
    let mut again = race.clone();
    for counted in &mut again.counted {
        match counted {
            Counted::Missed { odds, passed, missed } => {
                let p = laid.ratio(view, odds)[day][cell].clamp(0.0, 1.0);
                let x = binomial_quantile(stream.uniform(), *passed, p);
                // As unsure as it was, the truth anywhere within.
                let width = missed.1 - missed.0;
                let low = x.saturating_sub((stream.uniform() * (width + 1) as f64) as u64);
                *missed = (low, (low + width).min(*passed));
            }
            Counted::Patterns { cells } => {
                let mut left: u64 = cells.iter().map(|c| c.1).sum();
                let mut rest = 1.0;
                for (sum, count) in cells {
                    let p = laid.sum(view, sum)[day][cell].clamp(0.0, 1.0);
                    let share = if rest > 0.0 { (p / rest).clamp(0.0, 1.0) } else { 1.0 };
                    *count = binomial_quantile(stream.uniform(), left, share);
                    left -= *count;
                    rest -= p;
                }
            }
        }
    }
    if let Some((counted, of)) = &mut again.soaked {
        *counted = binomial_quantile(stream.uniform(), *of, shares[day][2]);
    }
    again
}

/// A trial walked again: every walker with a tag drawn anew.
pub(super) fn trial_again(
    laid: &Laid,
    evidence: &TrialEvidence,
    cell: usize,
    stream: &mut Stream,
) -> TrialEvidence {
    let odds = laid.of_settings(evidence);
    let mut again = evidence.clone();
    let last = odds[0].len() - 1;
    for walker in &mut again.trial.walkers {
        let own = cell.saturating_add_signed(laid.walker.pick(stream.uniform())).min(last);
        for (setting, n, missed) in &mut walker.counts {
            let p = if evidence.trial.told_apart {
                odds[*setting][own]
            } else {
                laid.walker.over(&odds[*setting])[cell]
            };
            *missed = binomial_quantile(stream.uniform(), *n, p);
        }
    }
    again
}

/// What the vectors of a group say of every truth.
fn look(
    evidence: &Evidence,
    posterior: &Posterior,
    of: &Members,
    truths: &[Truth],
) -> Vec<(f64, f64, Vec<f64>)> {
    let mut laid = Laid::new(evidence, &posterior.tables, of.group, &of.vectors[0].0);
    let grids: Vec<Vec<_>> = truths
        .iter()
        .map(|truth| {
            let each = evidence.sources.iter().zip(&truth.kinds);
            each.map(|(source, kind)| laid.grid(source.view, kind)).collect()
        })
        .collect();
    let rates: Vec<f64> = of.vectors.iter().map(|(u, _)| ln_rate(evidence, &mut laid, u)).collect();
    let of_vector = |((u, weight), ln_rate): (&([f64; RACE_DIMS], f64), f64)| {
        let masses: Vec<Vec<f64>> = evidence.sources.iter().map(|s| laid.masses(s.view, u)).collect();
        let ln_l = grids
            .iter()
            .map(|of_truth| of_truth.iter().zip(&masses).map(|(grid, mass)| grid.ln_likelihood(mass)).sum());
        let ln_l = ln_l.collect();
        (*weight, ln_rate, ln_l)
    };
    of.vectors.iter().zip(rates).map(of_vector).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::learn::posterior::learn;
    use crate::outcome::race;
    use crate::passing::prepare;
    use std::path::Path;
    use std::sync::Arc;

    /// What was learned rightly passes, a likelihood taken four times over does not: its ranges are half as wide, of 64 truths a 90 % range holds some 38.
    /// Odds of a false alarm of the first below 1 in 1,000 (binomial), of the second passing below 1 in 10,000.
    #[test]
    fn too_sure_a_likelihood_is_seen() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let scenario = root.join("scenarios/smallest.toml");
        let (course, _) = crate::course::load(&scenario).unwrap();
        let (mut tag, _) = crate::tag::load(&course.tag_folder).unwrap();
        tag.spread.race_effect_db = 0.7;
        let prepared = Arc::new(prepare(Arc::new(course), Arc::new(tag)));
        let path = std::env::temp_dir().join(format!("readodds-calibration-{}.toml", std::process::id()));
        let text = format!(
            "[race]\nname = \"R\"\nscenario = {:?}\n[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = 900\nmissed = 12\n",
            scenario.display().to_string()
        );
        std::fs::write(&path, text).unwrap();
        let outcome = race::load(&path).unwrap().0;
        std::fs::remove_file(&path).unwrap();
        let mut evidence = Evidence::default();
        (0..3).for_each(|_| evidence.add_race(&outcome, &prepared, 5, 64));
        let posterior = learn(&evidence, 5, 128, &|| false, &mut |_| {}).unwrap();
        let held = |power: f64| of_ranks(&ranks(&evidence, &posterior, 5, power, &|| false).unwrap());
        let (right, too_sure) = (held(1.0), held(4.0));
        assert!(right.tail > 1e-3, "{right:?}");
        assert!(too_sure.tail < 1e-4, "{too_sure:?}");
        assert!(right.held_50 <= right.held_90 && right.worlds == WORLDS as u64);
    }
}
