//! How many passings of each stratum a world gets: a pilot with passings of its own tells where the misses are.
//!
//! The pilot has a seed of its own, so that the allocation does not depend on the passings it steers and the estimate stays unbiased.

use super::offsets::RaceDays;
use super::passings::{PassingWorkspace, crossing_of, runner_of, send};
use super::strata::{LEAST, allocate, strata, to_index, weights};
use super::world::Ask;
use crate::passing::draw::race_point;
use crate::passing::score::score_sorted;
use crate::passing::{Prepared, RaceContext};
use rayon::prelude::*;

/// Added to the run's seed for the pilot.
const SEED_OFFSET: u64 = 0x9e37_79b9_7f4a_7c15;
const WORLDS: u64 = 16;
const PER_STRATUM: u64 = 4;

/// Sums of a stratum's miss odds and their squares over the pilot, by set of lines.
type Moments = Vec<(f64, f64)>;

/// Passings of each stratum in a world, `total` in all: most where their weight times the root mean square of their miss odds is
/// largest, relative to the rate, over all sets of lines in `masks`.
pub fn allocation(prepared: &Prepared, seed: u64, masks: &[Vec<u64>], total: u64) -> Vec<u64> {
    let strata_count = strata(&prepared.course).len();
    if strata_count == 1 {
        return vec![(total + total % 2).max(LEAST)];
    }
    let ask = Ask {
        seed: seed.wrapping_add(SEED_OFFSET),
        masks: masks.to_vec(),
        allocation: vec![PER_STRATUM; strata_count],
    };
    let worlds: Vec<(Vec<f64>, Vec<Moments>)> = (0..WORLDS)
        .into_par_iter()
        .map_init(PassingWorkspace::default, |space, world| pilot_world(prepared, &ask, world, space))
        .collect();
    let mut weight = vec![0.0; strata_count];
    let mut moments = vec![vec![(0.0, 0.0); ask.sets()]; strata_count];
    for (weights, by_stratum) in &worlds {
        weight.iter_mut().zip(weights).for_each(|(sum, w)| *sum += w / WORLDS as f64);
        for (sums, own) in moments.iter_mut().zip(by_stratum) {
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
    allocate(total, &weight, &pull)
}

fn pilot_world(
    prepared: &Prepared,
    ask: &Ask,
    world: u64,
    space: &mut PassingWorkspace,
) -> (Vec<f64>, Vec<Moments>) {
    let course = &prepared.course;
    let strata = strata(course);
    let point = race_point(&prepared.tag.name, ask.seed, world);
    let days = RaceDays::new(course, &prepared.tag, ask.seed, world, &point);
    let weights = weights(course, &strata, &days.days[0].draw);
    let race = RaceContext::new(prepared, days.world.clone()).certain(days.low_db, days.high_db);
    let points = ask.points();
    let mut moments = vec![vec![(0.0, 0.0); ask.sets()]; strata.len()];
    for (s, sums) in moments.iter_mut().enumerate() {
        for k in 0..PER_STRATUM {
            let passing = to_index(s, k, strata.len());
            let runner = runner_of(&race, &strata, ask.seed, passing);
            let draw_at = |point| crossing_of(&race, ask.seed, passing, point);
            send(&race, &runner, draw_at, &points, space, |at, work| {
                for (i, &mask) in ask.masks[at.point].iter().enumerate() {
                    let Some((rounds, in_reach)) = work.rounds_of(mask) else { continue };
                    let miss = score_sorted(rounds, |margin| days.mean_odds_above(margin), in_reach).miss;
                    let sum = &mut sums[ask.set(at.point, i)];
                    *sum = (sum.0 + miss, sum.1 + miss * miss);
                }
            });
        }
    }
    (weights, moments)
}
