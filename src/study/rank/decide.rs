//! The choice among tags, from what each loses level by level.
//!
//! A tag is chosen by its mean over all levels. Whether a rival is surely behind is told by the 95 % simulation interval of the difference on the same
//! draws. A rival that is not behind for certain and whose difference stays below what matters, or is not settled by the most worlds, ties with the choice.
//! Regret is what choosing loses against knowing the level beforehand; the best tag of a level is found on one half of the passings
//! and its loss read on the other, so noise cannot feign regret.

use super::ledger::Ledger;
use crate::estimate::replicates::{Figure, Scale, figure};
use serde::Serialize;

/// A difference below this share of the leader's total is nobody's business.
pub const MATTERS: f64 = 0.02;

/// Mean over levels, with its interval.
pub fn mean(ledger: &Ledger, values: &[f64], scale: Scale) -> Figure {
    figure(ledger.replicates(), scale, |skip| mean_without(values, skip))
}

fn mean_without(values: &[f64], skip: Option<usize>) -> f64 {
    let kept = values.iter().enumerate().filter(|(l, _)| Some(Ledger::replicate(*l)) != skip);
    let (sum, n) = kept.fold((0.0, 0.0), |(s, n), (_, v)| (s + v, n + 1.0));
    sum / n
}

/// How a rival stands to the choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    Choice,
    /// Surely behind.
    Behind,
    /// No telling apart, or no matter.
    Tie,
    /// Not settled yet.
    Open,
    /// Cannot be chosen.
    Barred,
}

/// The choice for some races.
pub struct Choice {
    /// None where every tag is barred.
    pub leader: Option<usize>,
    pub standing: Vec<Standing>,
    /// What each loses beyond the leader, by mean.
    pub behind_by: Vec<Figure>,
}

/// Chooses for the races; `barred` tags are left out, so are those whose losses are not known (NaN).
pub fn choose(ledger: &Ledger, races: &[(usize, f64)]) -> Choice {
    let tags = ledger.resolved.tags.len();
    let losses: Vec<Vec<f64>> = (0..tags).map(|tag| ledger.decisive(races, tag, 0)).collect();
    let totals: Vec<f64> = losses.iter().map(|l| mean_without(l, None)).collect();
    let barred: Vec<bool> = (0..tags).map(|tag| ledger.barred(races, tag).is_some()).collect();
    let leader = (0..tags)
        .filter(|&t| !barred[t] && !totals[t].is_nan())
        .min_by(|&a, &b| totals[a].total_cmp(&totals[b]));
    let behind_by: Vec<Figure> = (0..tags)
        .map(|tag| {
            let Some(leader) = leader else { return Figure::default() };
            let gaps: Vec<f64> = losses[tag].iter().zip(&losses[leader]).map(|(a, b)| a - b).collect();
            if gaps.iter().any(|g| g.is_nan()) {
                return Figure {
                    value: f64::INFINITY,
                    low: f64::INFINITY,
                    high: f64::INFINITY,
                    standard_error: 0.0,
                };
            }
            mean(ledger, &gaps, Scale::Plain)
        })
        .collect();
    let standing = (0..tags)
        .map(|tag| {
            let gap = &behind_by[tag];
            if barred[tag] {
                Standing::Barred
            } else if Some(tag) == leader {
                Standing::Choice
            } else if gap.high < MATTERS * totals[leader.unwrap_or(tag)].abs() {
                Standing::Tie
            } else if gap.low > 0.0 {
                Standing::Behind
            } else {
                Standing::Open
            }
        })
        .collect();
    Choice { leader, standing, behind_by }
}

/// Tags that are not told apart from the choice, or do not differ by what matters.
pub fn ties(choice: &Choice) -> Vec<usize> {
    let tied = |t: &usize| matches!(choice.standing[*t], Standing::Tie | Standing::Open);
    (0..choice.standing.len()).filter(tied).collect()
}

/// Share of the levels in which each tag loses least, ties to the first.
pub fn probability_least(losses: &[Vec<f64>], allowed: &[bool]) -> Vec<f64> {
    let levels = losses.first().map_or(0, Vec::len);
    let mut wins = vec![0.0; losses.len()];
    for level in 0..levels {
        let known = (0..losses.len()).filter(|&t| allowed[t] && !losses[t][level].is_nan());
        if let Some(best) = known.min_by(|&a, &b| losses[a][level].total_cmp(&losses[b][level])) {
            wins[best] += 1.0 / levels as f64;
        }
    }
    wins
}

/// Expected regret of choosing `tag`, against knowing the level.
pub fn regret(ledger: &Ledger, races: &[(usize, f64)], tag: usize, allowed: &[bool]) -> Figure {
    let half = |version: usize| -> Vec<Vec<f64>> {
        (0..allowed.len()).map(|t| ledger.decisive(races, t, version)).collect()
    };
    let halves = [half(1), half(2)];
    let of_level = |level: usize| {
        let against = |find: usize, read: usize| {
            let known = (0..allowed.len()).filter(|&t| allowed[t] && !halves[find][t][level].is_nan());
            let best = known.min_by(|&a, &b| halves[find][a][level].total_cmp(&halves[find][b][level]));
            best.map_or(0.0, |best| halves[read][tag][level] - halves[read][best][level])
        };
        0.5 * (against(0, 1) + against(1, 0))
    };
    let values: Vec<f64> = (0..ledger.levels).map(of_level).collect();
    let mut out = mean(ledger, &values, Scale::Plain);
    (out.value, out.low) = (out.value.max(0.0), out.low.max(0.0));
    out
}
