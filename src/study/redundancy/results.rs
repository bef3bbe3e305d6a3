//! What is said of a set of lines, of two, of a candidate, and of the misses that all lines share.

use super::answer::Request;
use super::catalogue::Candidate;
use super::layouts::Layout;
use super::stages::{GroupRun, days_of};
use crate::course::field::Placement;
use crate::estimate::promise::{Promise, promise};
use crate::estimate::reading::{SetDays, difference, ratio, without};
use crate::estimate::replicates::{Figure, Scale, figure};
use crate::estimate::strata::strata;
use crate::estimate::world::{Ask, WorldRow};
use crate::passing::Prepared;
use crate::study::predict::RaceToRace;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedShare {
    pub name: String,
    pub share: f64,
}

/// One set of lines.
#[derive(Clone, Debug, Serialize)]
pub struct SetResult {
    pub name: String,
    pub miss_rate: Figure,
    pub race_to_race: RaceToRace,
    pub promise: Promise,
}

/// Two sets of lines: what the second is worth beside the first.
#[derive(Clone, Debug, Serialize)]
pub struct PairResult {
    pub first: String,
    pub second: String,
    pub first_missed: Figure,
    pub second_missed: Figure,
    pub both_missed: Figure,
    /// Probability that the second misses what the first missed.
    pub r: Figure,
    /// What the second divides the misses of the first by, 1/r.
    pub true_gain: Figure,
    /// What it would be if misses had nothing in common.
    pub naive_gain: f64,
}

/// One candidate of the catalogue, added alone.
#[derive(Clone, Debug, Serialize)]
pub struct CandidateResult {
    pub name: String,
    pub cost: Option<f64>,
    /// All lines with the candidate.
    pub result: SetResult,
    /// Share of today's misses that stay.
    pub still_missed: Figure,
    /// What it divides the misses by.
    pub divides_misses_by: Figure,
    /// The new line beside all that stands; none when the candidate changes lines that stand.
    pub pair: Option<PairResult>,
    /// Runners it saves in one race.
    pub saved_per_race: Figure,
    /// Money per saved runner over the season's races; none where it surely saves none or has no price.
    pub cost_per_saved: Option<Figure>,
    /// Whether a missed runner's cost makes it pay over the season; none where that cost or the price is not stated, or the
    /// interval does not tell.
    pub pays: Option<bool>,
}

/// Reads sets of lines in the field of the scenario.
pub struct Reader {
    pub runners: u64,
    pub target: f64,
    pub races: u64,
}

impl Reader {
    pub fn set(&self, name: &str, days: &SetDays) -> SetResult {
        let quantiles = days.quantiles(&[0.05, 0.5, 0.95]);
        SetResult {
            name: name.to_owned(),
            miss_rate: days.rate(),
            race_to_race: RaceToRace { p05: quantiles[0], median: quantiles[1], p95: quantiles[2] },
            promise: promise(days, self.runners, self.target, self.races),
        }
    }
}

pub(super) fn pair(names: [&str; 2], first: &SetDays, second: &SetDays, both: &SetDays) -> PairResult {
    let r = ratio(both, first, Scale::LogOdds);
    let second_missed = second.rate();
    PairResult {
        first: names[0].to_owned(),
        second: names[1].to_owned(),
        first_missed: first.rate(),
        naive_gain: 1.0 / second_missed.value,
        second_missed,
        both_missed: both.rate(),
        true_gain: ratio(first, both, Scale::Logarithm),
        r,
    }
}

pub(super) fn one_candidate(
    reader: &Reader,
    request: &Request,
    candidate: &Candidate,
    runs: &[GroupRun],
    layout: &Layout,
    new_line: Option<u64>,
) -> CandidateResult {
    let with = days_of(runs, layout);
    let worlds = runs[layout.group].rows.len();
    // A group dropped early has fewer worlds: the layout as it is is read from as many.
    let standing = SetDays::new(&runs[0].rows[..worlds], runs[0].ask.set(point_of(&runs[0].ask), 0));
    let saved = difference(&standing, &with).times(reader.runners as f64);
    let races = request.races as f64;
    let cost_per_saved = candidate.cost.filter(|_| saved.low > 0.0).map(|cost| {
        let sums = [standing.sums(|l| standing.level_rate(l) - with.level_rate(l)), standing.sums(|_| 1.0)];
        figure(standing.replicates, Scale::Logarithm, |skip| {
            cost / (without(&sums[0], skip) / without(&sums[1], skip) * reader.runners as f64 * races)
        })
    });
    let pays = request.missed_runner_cost.zip(candidate.cost).and_then(|(each, cost)| {
        let worth = |runners: f64| runners * races * each;
        if worth(saved.low) > cost {
            Some(true)
        } else if worth(saved.high) < cost {
            Some(false)
        } else {
            None
        }
    });
    CandidateResult {
        name: candidate.name.clone(),
        cost: candidate.cost,
        result: reader.set(&candidate.name, &with),
        still_missed: ratio(&with, &standing, Scale::Logarithm),
        divides_misses_by: ratio(&standing, &with, Scale::Logarithm),
        pair: new_line.map(|mask| {
            let alone = runs[0].days(mask);
            pair(["all that stands", &candidate.name], &standing, &alone, &with)
        }),
        saved_per_race: saved,
        cost_per_saved,
        pays,
    }
}

fn point_of(ask: &Ask) -> usize {
    ask.masks.iter().position(|masks| !masks.is_empty()).unwrap_or(0)
}

/// Misses of all lines together at a point by kind of bib, the largest shares first.
pub(super) fn shared(base: &Prepared, rows: &[WorldRow], point: usize) -> Vec<NamedShare> {
    let strata = strata(&base.course);
    let sums: Vec<f64> =
        (0..strata.len()).map(|s| rows.iter().map(|row| row.points[point].strata[s]).sum()).collect();
    let total: f64 = sums.iter().sum();
    if !(total > 0.0) {
        return Vec::new();
    }
    let mut list: Vec<NamedShare> = strata
        .iter()
        .zip(&sums)
        .map(|(stratum, sum)| {
            let placement = base.course.field.placements[stratum.placement_row].placement;
            let name = format!("{} bib, {}", stratum.wetness.key(), Placement::words(placement));
            NamedShare { name, share: sum / total }
        })
        .filter(|s| s.share >= 0.02)
        .collect();
    list.sort_by(|a, b| b.share.total_cmp(&a.share));
    let rest = 1.0 - list.iter().map(|s| s.share).sum::<f64>();
    if rest > 1e-9 {
        list.push(NamedShare { name: "all others".to_owned(), share: rest });
    }
    list
}

/// The same by first cause.
pub(super) fn causes(rows: &[WorldRow], point: usize) -> Vec<NamedShare> {
    const NAMES: [&str; 4] = ["never in reach", "asleep", "awake but not heard", "heard but crowded out"];
    let sums = [0, 1, 2, 3].map(|c| rows.iter().map(|row| row.points[point].causes[c]).sum::<f64>());
    let total: f64 = sums.iter().sum();
    let named = |(name, sum): (&&str, &f64)| NamedShare { name: (*name).to_owned(), share: sum / total };
    if total > 0.0 { NAMES.iter().zip(&sums).map(named).collect() } else { Vec::new() }
}
