//! The pilot of a run: how many passings of each stratum a world gets, and where worlds are drawn.
//!
//! The pilot has a seed of its own, so that what it decides does not depend on the passings it steers and the estimate stays unbiased.

use super::offsets::{DAYS, LEVELS, RaceDays};
use super::passings::{PassingWorkspace, crossing_of, runner_of, send};
use super::strata::{allocate, strata, to_index, weights};
use super::tilt::Tilt;
use super::world::Ask;
use crate::passing::draw::RACE_DIMS;
use crate::passing::score::score_sorted;
use crate::passing::{Prepared, RaceContext};
use rayon::prelude::*;

/// Added to the run's seed for the pilot.
const SEED_OFFSET: u64 = 0x9e37_79b9_7f4a_7c15;
const WORLDS: u64 = 32;
const PER_STRATUM: u64 = 2;
/// Steps by which every threshold is raised, dB, until enough worlds have misses.
const RAISED_DB: [f64; 7] = [0.0, 1.5, 3.0, 4.5, 6.0, 8.0, 10.0];

/// Sums of a stratum's miss odds and their squares over the pilot, by set of lines.
type Moments = Vec<(f64, f64)>;

/// Passings of each stratum in a world, `total` in all: most where their weight times the root mean square of their miss odds is
/// largest, relative to the rate, over all sets of lines in `masks`; and where worlds are to be drawn.
pub fn pilot(prepared: &Prepared, seed: u64, masks: &[Vec<u64>], total: u64) -> (Vec<u64>, Tilt) {
    let strata_count = strata(&prepared.course).len();
    let ask = Ask {
        seed: seed.wrapping_add(SEED_OFFSET),
        masks: masks.to_vec(),
        allocation: vec![PER_STRATUM; strata_count],
        tilt: Tilt::default(),
    };
    let worlds: Vec<PilotWorld> = (0..WORLDS)
        .into_par_iter()
        .map_init(PassingWorkspace::default, |space, world| pilot_world(prepared, &ask, world, space))
        .collect();
    let mut weight = vec![0.0; strata_count];
    let mut moments = vec![vec![(0.0, 0.0); ask.sets()]; strata_count];
    for world in &worlds {
        weight.iter_mut().zip(&world.weights).for_each(|(sum, w)| *sum += w / WORLDS as f64);
        for (sums, own) in moments.iter_mut().zip(&world.moments) {
            for (sum, one) in sums.iter_mut().zip(own) {
                *sum = (sum.0 + one.0, sum.1 + one.1);
            }
        }
    }
    let count = (WORLDS * PER_STRATUM) as f64;
    let rate = |set: usize| -> f64 { moments.iter().zip(&weight).map(|(m, w)| w * m[set].0 / count).sum() };
    let rates: Vec<f64> = (0..ask.sets()).map(rate).collect();
    let pull: Vec<f64> = moments
        .iter()
        .map(|of_stratum| {
            let relative = of_stratum.iter().zip(&rates).filter(|(_, rate)| **rate > 0.0);
            relative.map(|(m, rate)| m.1 / count / (rate * rate)).sum::<f64>().sqrt()
        })
        .collect();
    // Learned beliefs are few vectors: there is nothing to tilt.
    let tilt = if prepared.learned.is_some() { Tilt::default() } else { tilt(&worlds, masks.len()) };
    (allocate(total, &weight, &pull), tilt)
}

/// What one world of the pilot tells.
struct PilotWorld {
    /// Point of each level.
    points: Vec<[f64; RACE_DIMS]>,
    weights: Vec<f64>,
    /// By stratum and set.
    moments: Vec<Moments>,
    /// Miss rate of all lines of each point with every threshold raised, `[level][point][step]`.
    raised: Vec<Vec<[f64; RAISED_DB.len()]>>,
}

/// Points of the course count alike, each relative to its own rate.
fn tilt(worlds: &[PilotWorld], points: usize) -> Tilt {
    let cube: Vec<[f64; RACE_DIMS]> = worlds.iter().flat_map(|world| world.points.iter().copied()).collect();
    let levels = || worlds.iter().flat_map(|world| &world.raised);
    let all = |point: usize, step: usize| levels().map(|raised| raised[point][step]).sum::<f64>();
    let alls: Vec<Vec<f64>> =
        (0..points).map(|p| (0..RAISED_DB.len()).map(|step| all(p, step)).collect()).collect();
    let relative = |raised: &Vec<[f64; RAISED_DB.len()]>, step: usize| {
        let of_point = |p: usize| if alls[p][step] > 0.0 { raised[p][step] / alls[p][step] } else { 0.0 };
        (0..points).map(of_point).sum::<f64>()
    };
    let missed: Vec<Vec<f64>> =
        levels().map(|raised| (0..RAISED_DB.len()).map(|step| relative(raised, step)).collect()).collect();
    Tilt::from_pilot(&cube, &missed)
}

fn pilot_world(prepared: &Prepared, ask: &Ask, world: u64, space: &mut PassingWorkspace) -> PilotWorld {
    let course = &prepared.course;
    let strata = strata(course);
    let (point, _) = ask.world_point(prepared, world);
    let days = RaceDays::new(prepared, (ask.seed, world), &point, &ask.tilt);
    let weights = weights(course, &strata, &days.days[0].draw);
    let most_raised = RAISED_DB[RAISED_DB.len() - 1];
    let race =
        RaceContext::new(prepared, days.world.clone()).certain(days.low_db, days.high_db + most_raised);
    let points = ask.points();
    let mut moments = vec![vec![(0.0, 0.0); ask.sets()]; strata.len()];
    let mut raised = vec![vec![[0.0; RAISED_DB.len()]; points.len()]; LEVELS];
    let levels: Vec<_> = (0..LEVELS)
        .map(|level| days.odds_above(move |day| f64::from(u8::from(day / DAYS == level))))
        .collect();
    let all_days = days.odds_above(|_| 1.0);
    for (s, sums) in moments.iter_mut().enumerate() {
        for k in 0..PER_STRATUM {
            let passing = to_index(s, k, strata.len());
            let runner = runner_of(&race, &strata, ask.seed, passing);
            let draw_at = |point| crossing_of(&race, ask.seed, passing, point);
            send(&race, &runner, draw_at, &points, space, |at, work| {
                for (i, &mask) in ask.masks[at.point].iter().enumerate() {
                    let Some((rounds, in_reach)) = work.rounds_of(mask) else { continue };
                    let miss = score_sorted(rounds, &all_days, in_reach).miss;
                    let sum = &mut sums[ask.set(at.point, i)];
                    *sum = (sum.0 + miss, sum.1 + miss * miss);
                    if i == 0 {
                        let share = weights[s] / PER_STRATUM as f64;
                        for (above, raised) in levels.iter().zip(&mut raised) {
                            for (sum, db) in raised[at.point].iter_mut().zip(RAISED_DB) {
                                *sum += share * score_sorted(rounds, |m| above(m - db), in_reach).miss;
                            }
                        }
                    }
                }
            });
        }
    }
    let points = days.points.clone();
    PilotWorld { points: points.into_iter().step_by(DAYS).collect(), weights, moments, raised }
}
