//! What no line removes: misses of the runner, not of the line.
//!
//! A runner keeps tag, placement, wetness, gap and sample offset from line to line; place across the road, posture, phases, neighbours
//! and waves are drawn afresh far away. Crossing the same line several times with fresh draws is a line far
//! away, again and again: the rounds of all crossings are put together and scored once, with the common sample offset integrated
//! out. Two crossings give the limit of the backup's distance; eight are all but the floor.

use super::engine::race_context;
use crate::course::weather::Wetness;
use crate::passing::draw::{crossing_uniforms, runner_uniforms};
use crate::passing::score::{Round, score};
use crate::passing::{Crossing, CrossingDraw, CrossingId, Prepared, RunnerDraw, Workspace, pass};
use crate::study::strata::{Plan, WETNESSES, passing_number, weights};
use rayon::prelude::*;

/// Fresh crossings are named by this many passings further on.
pub const FRESH: u64 = 1 << 36;
/// Most fresh crossings (their numbers must stay below those of the planning runs).
pub const MOST_CROSSINGS: usize = 8;

/// Miss rates of one race after 1, 2 … `crossings` fresh crossings of the lines in `mask`.
pub fn race_after_crossings(
    prepared: &Prepared,
    point: usize,
    mask: u64,
    plan: &Plan,
    seed: u64,
    race: u64,
    crossings: usize,
) -> Vec<f64> {
    let context = race_context(prepared, seed, race);
    let course = &prepared.course;
    let weights = weights(course, context.draw.wetness_shares);
    let mut work = Workspace::new();
    let mut rates = vec![0.0; crossings];
    let mut merged: Vec<Round> = Vec::new();
    for (stratum, &count) in plan.0.iter().enumerate().filter(|(s, _)| weights[*s] > 0.0) {
        for number in 0..u64::from(count) {
            let passing = passing_number(stratum, number);
            let u = runner_uniforms(seed, race, passing);
            let runner = RunnerDraw::from_uniforms(
                course,
                &context.draw,
                stratum / WETNESSES,
                Wetness::ALL[stratum % WETNESSES],
                &u,
            );
            merged.clear();
            let (mut settled, mut in_reach) = (false, false);
            for (crossing, rate) in rates.iter_mut().enumerate() {
                if !settled {
                    let passing = passing + crossing as u64 * FRESH;
                    let id = CrossingId { seed, race, passing, point: point as u64 };
                    let draw = CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id));
                    pass(&Crossing::new(&context, &runner, &draw), &mut work);
                    for (_, line) in work.lines.iter().enumerate().filter(|(l, _)| mask >> l & 1 == 1) {
                        settled |= line.settled;
                        in_reach |= line.in_reach;
                        merged.extend_from_slice(line.stairs.rounds());
                    }
                }
                if settled {
                    break;
                }
                let miss = score(&mut merged, context.offset_law, in_reach).miss;
                *rate += weights[stratum] * miss / f64::from(count);
                // Nothing is left for further crossings to lower.
                settled = miss < 1e-12;
            }
        }
    }
    rates
}

/// Miss rates after 1, 2 … `crossings` fresh crossings, race by race; `stop` is asked between races and cuts the list short.
#[allow(clippy::too_many_arguments)]
pub fn after_crossings(
    prepared: &Prepared,
    point: usize,
    mask: u64,
    plan: &Plan,
    seed: u64,
    races: u64,
    crossings: usize,
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<Vec<f64>> {
    let crossings = crossings.min(MOST_CROSSINGS);
    (0..races)
        .into_par_iter()
        .map(|race| {
            (!stop()).then(|| race_after_crossings(prepared, point, mask, plan, seed, race, crossings))
        })
        .while_some()
        .collect()
}
