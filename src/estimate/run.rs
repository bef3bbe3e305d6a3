//! Many races: a pilot sets the allocation, stages of whole races follow until precise enough.
//!
//! The pilot has a seed of its own, so that the allocation does not depend on the passings it steers and the estimate
//! stays unbiased. Races are worked out in parallel and kept in race order; nothing else is parallel, so the result is the same
//! bytes on any number of threads. Stages end at race counts that follow from the tallies alone.

use super::race_row::{Ask, PassingWorkspace, RaceRow, run_race_unless};
use super::stop::{Precision, Stopped, races_needed, shortfall};
use super::strata::{LEAST, allocate, strata, weights};
use super::summary::summarise;
use crate::passing::draw::REPLICATES;
use crate::passing::{Prepared, RaceDraw};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Added to the run's seed for the pilot.
const PILOT_SEED_OFFSET: u64 = 0x9e37_79b9_7f4a_7c15;
const PILOT_RACES: u64 = 24;
const PILOT_PER_STRATUM: u64 = 6;
/// Passings in a race beside the least of each stratum.
pub const PASSINGS_PER_RACE: u64 = 120;
/// Fewest races of a run: quantiles over races and Student's t need some.
pub const FIRST_STAGE_RACES: u64 = 160;
/// Fewest races where another estimator gives the rates and the races only their spread.
const SPREAD_RACES: u64 = 320;
const WAVE: u64 = 32;

/// What a run is asked to do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    pub seed: u64,
    pub precision: Precision,
    /// Fixed number of races instead of the precision.
    pub races: Option<u64>,
    pub passings_per_race: u64,
    /// What gives the expected miss rates; the rows come from race days in any case.
    #[serde(default)]
    pub estimator: Estimator,
}

/// What gives the expected miss rate of a set of lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Estimator {
    /// Race days where they do; where misses are rare, what a pilot finds best.
    #[default]
    Auto,
    RaceDays,
    Plain,
    Stratified,
    Sobol,
    Importance,
}

impl Estimator {
    pub const ALL: [Estimator; 6] = [
        Estimator::Auto,
        Estimator::RaceDays,
        Estimator::Plain,
        Estimator::Stratified,
        Estimator::Sobol,
        Estimator::Importance,
    ];

    /// The word in options and files.
    pub fn key(self) -> &'static str {
        match self {
            Estimator::Auto => "auto",
            Estimator::RaceDays => "race-days",
            Estimator::Plain => "plain",
            Estimator::Stratified => "stratified",
            Estimator::Sobol => "sobol",
            Estimator::Importance => "importance",
        }
    }

    /// What it does, in a line.
    pub fn what(self) -> &'static str {
        match self {
            Estimator::Auto => {
                "Race days where they are precise; where misses are rare, what a pilot finds best (race days alone with --races)"
            }
            Estimator::RaceDays => "The mean over race days",
            Estimator::Plain => "Independent passings, a race day of its own for each",
            Estimator::Stratified => "The same by placement and wetness, most where the misses are",
            Estimator::Sobol => "Scrambled Sobol' points",
            Estimator::Importance => "Passings drawn where the misses are and weighted back",
        }
    }
}

/// Miss rate below which few race days carry the mean.
pub const RARE_RATE: f64 = 1e-4;

/// All rows of a run, in race order.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    pub ask: Ask,
    pub rows: Vec<RaceRow>,
    pub stopped: Stopped,
}

/// How far a run has come; what a progress line needs.
#[derive(Clone, Copy, Debug)]
pub struct Progress {
    pub races: u64,
    pub races_planned: u64,
    pub passings: u64,
    /// Largest miss rate of the points so far and its standard error.
    pub miss_rate: f64,
    pub standard_error: f64,
}

/// Runs to the plan's precision. `progress` is called between waves of races; returning false breaks off.
pub fn run(
    prepared: &Prepared,
    plan: &Plan,
    masks: Vec<Vec<u64>>,
    progress: &mut dyn FnMut(&Progress) -> bool,
) -> Run {
    let ask = Ask { seed: plan.seed, allocation: pilot_allocation(prepared, plan, &masks), masks };
    run_from(prepared, plan, ask, Vec::new(), &|| false, &mut |state, _| progress(state))
}

/// `run` with the rows `kept` from an earlier start of the same plan; `progress` also sees the rows so far. `stop` is asked at every
/// passing, by all threads; races that are not whole by then are left out.
pub fn run_from(
    prepared: &Prepared,
    plan: &Plan,
    ask: Ask,
    kept: Vec<RaceRow>,
    stop: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(&Progress, &[RaceRow]) -> bool,
) -> Run {
    let per_race: u64 = ask.allocation.iter().sum();
    let most = (plan.precision.max_passings / per_race.max(1)).max(2);
    // Whole rounds over the scrambles, so that each holds as many races.
    let most = if most > REPLICATES { most - most % REPLICATES } else { most };
    let mut target = plan.races.unwrap_or(FIRST_STAGE_RACES.min(most));
    let mut rows = kept;
    loop {
        while (rows.len() as u64) < target {
            let first = rows.len() as u64;
            let wave = (first..(first + WAVE).min(target)).collect();
            rows.extend(race_rows_unless(prepared, &ask, wave, stop));
            let go_on = progress(&progress_of(&rows, target), &rows) && !stop();
            if !go_on && (rows.len() as u64) < target {
                return Run { ask, rows, stopped: Stopped::Interrupted };
            }
        }
        // A stage looks at its own races only, also when more are kept from an earlier start.
        let short = left_to_race_days(&rates_and_errors(&rows[..target as usize]), plan, target, most);
        if short <= 1.0 && plan.races.is_none() && target < SPREAD_RACES.min(most) {
            // Others give the rates; the spread between races still wants its days.
            let known = rates_and_errors(&rows[..target as usize]);
            if shortfall(&known, &plan.precision) > 1.0 {
                target = SPREAD_RACES.min(most);
                continue;
            }
        }
        if plan.races.is_some() || target >= most || short <= 1.0 {
            rows.truncate(target as usize);
            let stopped = if short <= 1.0 { Stopped::PrecisionReached } else { Stopped::MaxPassings };
            return Run { ask, rows, stopped };
        }
        target = races_needed(target, short, most).max(target + 1).min(most);
    }
}

/// Shortfall of the points whose rate has to come from race days: 1 or less is precise enough. Another estimator takes over, if the
/// plan lets it, where misses are rare and where the most passings allowed would not do.
fn left_to_race_days(rates: &[(f64, f64)], plan: &Plan, races: u64, most: u64) -> f64 {
    let ratio = |point: &(f64, f64)| shortfall(&[*point], &plan.precision);
    match plan.estimator {
        Estimator::RaceDays => shortfall(rates, &plan.precision),
        Estimator::Auto if plan.races.is_none() => rates
            .iter()
            .filter(|point| point.0 >= RARE_RATE)
            .map(ratio)
            .filter(|short| short * short * races as f64 <= most as f64)
            .fold(0.0, f64::max),
        Estimator::Auto => shortfall(rates, &plan.precision),
        _ => 0.0,
    }
}

/// How a run with these rows of a fixed number of races ended.
pub fn stopped_at_end(rows: &[RaceRow], plan: &Plan) -> Stopped {
    let short = shortfall(&rates_and_errors(rows), &plan.precision);
    if short <= 1.0 { Stopped::PrecisionReached } else { Stopped::MaxPassings }
}

/// Rows of a range of races, in race order, worked out in parallel.
pub fn race_rows(prepared: &Prepared, ask: &Ask, races: std::ops::Range<u64>) -> Vec<RaceRow> {
    race_rows_unless(prepared, ask, races.collect(), &|| false)
}

/// Rows of the races listed, in the order of the list, worked out in parallel. Once `stop` says so, only the first ones that
/// are whole.
pub fn race_rows_unless(
    prepared: &Prepared,
    ask: &Ask,
    races: Vec<u64>,
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<RaceRow> {
    let rows: Vec<Option<RaceRow>> = races
        .into_par_iter()
        .map_init(PassingWorkspace::default, |space, race| run_race_unless(prepared, ask, race, space, stop))
        .collect();
    rows.into_iter().map_while(|row| row).collect()
}

/// Allocation of one race's passings to the strata, from a pilot.
pub fn pilot_allocation(prepared: &Prepared, plan: &Plan, masks: &[Vec<u64>]) -> Vec<u64> {
    let course = &prepared.course;
    let strata = strata(course);
    let pilot_seed = plan.seed.wrapping_add(PILOT_SEED_OFFSET);
    let mut mean_weight = vec![0.0; strata.len()];
    for race in 0..PILOT_RACES {
        let draw = RaceDraw::draw(course, &prepared.tag, pilot_seed, race);
        for (sum, w) in mean_weight.iter_mut().zip(weights(course, &strata, &draw.wetness_shares)) {
            *sum += w / PILOT_RACES as f64;
        }
    }
    if strata.len() == 1 {
        return vec![plan.passings_per_race.max(LEAST)];
    }
    // One run with a single stratum sampled at a time gives that stratum's own spread at each point.
    let whole: Vec<Vec<u64>> = masks.iter().map(|m| vec![m[0]]).collect();
    let spreads: Vec<Vec<(f64, f64)>> = (0..strata.len())
        .map(|s| {
            let mut allocation = vec![0; strata.len()];
            allocation[s] = PILOT_PER_STRATUM;
            let ask = Ask { seed: pilot_seed, masks: whole.clone(), allocation };
            stratum_spread(&race_rows(prepared, &ask, 0..PILOT_RACES), prepared, &strata, s)
        })
        .collect();
    let points = masks.len();
    let rate: Vec<f64> =
        (0..points).map(|p| spreads.iter().zip(&mean_weight).map(|(s, w)| s[p].0 * w).sum::<f64>()).collect();
    let sigma: Vec<f64> = spreads
        .iter()
        .map(|s| {
            (0..points)
                .filter(|&p| rate[p] > 0.0)
                .map(|p| (s[p].1 / rate[p]) * (s[p].1 / rate[p]))
                .sum::<f64>()
                .sqrt()
        })
        .collect();
    allocate(plan.passings_per_race, &mean_weight, &sigma)
}

/// Mean and standard deviation of one stratum's miss odds at each point, from rows with only that stratum sampled.
fn stratum_spread(
    rows: &[RaceRow],
    prepared: &Prepared,
    strata: &[super::strata::Stratum],
    s: usize,
) -> Vec<(f64, f64)> {
    let points = prepared.points.len();
    let mut out = vec![(0.0, 0.0); points];
    let mut used = 0.0;
    for row in rows {
        let weight = weights(&prepared.course, strata, &row.wetness_shares)[s];
        if weight <= 0.0 {
            continue;
        }
        used += 1.0;
        for (p, point) in row.points.iter().enumerate() {
            // Undo the weight; variance of the mean times the count is the variance of one passing.
            out[p].0 += point.sets[0].rate / weight;
            out[p].1 += point.sets[0].variance / (weight * weight) * PILOT_PER_STRATUM as f64;
        }
    }
    out.iter()
        .map(|(mean, variance)| if used > 0.0 { (mean / used, (variance / used).sqrt()) } else { (0.0, 0.0) })
        .collect()
}

/// Rate and standard error of all lines at each point.
pub fn rates_and_errors(rows: &[RaceRow]) -> Vec<(f64, f64)> {
    let points = rows.first().map_or(0, |r| r.points.len());
    let passings = rows.iter().map(|r| r.passings).sum();
    (0..points)
        .map(|p| {
            let (summary, _) = summarise(rows.iter().map(|r| &r.points[p].sets[0]), passings);
            (summary.miss_rate, summary.standard_error)
        })
        .collect()
}

pub fn progress_of(rows: &[RaceRow], planned: u64) -> Progress {
    let (miss_rate, standard_error) = rates_and_errors(rows)
        .into_iter()
        .fold((0.0, 0.0), |worst, x| if x.0 >= worst.0 { x } else { worst });
    Progress {
        races: rows.len() as u64,
        races_planned: planned,
        passings: rows.iter().map(|r| r.passings).sum(),
        miss_rate,
        standard_error,
    }
}
