//! One timing point under one layout, race by race, on draws that all layouts share.

use crate::passing::{Prepared, RaceContext, Workspace};
use crate::study::strata::{self, LineSets, Plan, StratumSum, Surface, WETNESSES};
use crate::study::worlds;
use rayon::prelude::*;

/// One race at the point: stratum sums by line set, and the day's stratum weights.
#[derive(Clone, Debug)]
pub struct RaceAtPoint {
    /// `[line set][stratum]`
    pub sets: Vec<Vec<StratumSum>>,
    pub weights: Vec<f64>,
}

impl RaceAtPoint {
    fn weigh(&self, set: usize, value: impl Fn(&StratumSum) -> f64) -> f64 {
        self.sets[set].iter().zip(&self.weights).map(|(sum, w)| w * value(sum)).sum()
    }
    /// Miss rate of a line set in this race.
    pub fn miss(&self, set: usize) -> f64 {
        self.weigh(set, StratumSum::mean)
    }
    /// By first cause: never in reach, asleep, awake but not heard, heard but crowded out.
    pub fn causes(&self, set: usize) -> [f64; 4] {
        std::array::from_fn(|cause| self.weigh(set, |sum| sum.cause_means()[cause]))
    }
    /// Contribution of each stratum to the miss rate.
    pub fn by_stratum(&self, set: usize) -> Vec<f64> {
        self.sets[set].iter().zip(&self.weights).map(|(sum, w)| w * sum.mean()).collect()
    }
}

/// Draw of race number `race`: every race is a world of its own.
pub fn race_context(prepared: &Prepared, seed: u64, race: u64) -> RaceContext<'_> {
    let draw = worlds::race_draw(&prepared.course, &prepared.tag, seed, race, race);
    RaceContext::new(prepared, draw)
}

/// Plan from a few passings of the point with all its lines.
pub fn plan(prepared: &Prepared, point: usize, seed: u64, passings: u32) -> Plan {
    let sets = only(prepared, point, &[all_lines(prepared, point)]);
    let surfaces: Vec<Surface> = (0..4_u64)
        .into_par_iter()
        .map(|race| {
            strata::run_planning(&race_context(prepared, seed, race), &sets, seed, &mut Workspace::new())
        })
        .collect();
    let mut pooled = surfaces[0].clone();
    surfaces[1..].iter().for_each(|surface| pooled.plus(surface));
    strata::plan(&prepared.course, &pooled, passings)
}

/// Bit mask of all lines of a point.
pub fn all_lines(prepared: &Prepared, point: usize) -> u64 {
    (1 << prepared.points[point].lines.len()) - 1
}

fn only(prepared: &Prepared, point: usize, masks: &[u64]) -> LineSets {
    LineSets(
        (0..prepared.points.len()).map(|p| if p == point { masks.to_vec() } else { Vec::new() }).collect(),
    )
}

/// Runs `races` races of the point for the line sets of `masks`; `stop` is asked between races and cuts the list short.
pub fn run(
    prepared: &Prepared,
    point: usize,
    masks: &[u64],
    plan: &Plan,
    seed: u64,
    races: u64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<RaceAtPoint> {
    let sets = only(prepared, point, masks);
    let runs: Vec<Option<RaceAtPoint>> = (0..races)
        .into_par_iter()
        .map(|race| {
            if stop() {
                return None;
            }
            let context = race_context(prepared, seed, race);
            let weights = strata::weights(&prepared.course, context.draw.wetness_shares);
            let plan = plan.where_weighed(&weights);
            let surface = strata::run(&context, &sets, &plan, seed, 0, &mut Workspace::new());
            let sets = surface.sums.into_iter().nth(point).unwrap_or_default();
            Some(RaceAtPoint { sets, weights })
        })
        .collect();
    runs.into_iter().map_while(|race| race).collect()
}

/// Crossings a run of this plan takes at most.
pub fn crossings(plan: &Plan, races: usize) -> u64 {
    plan.0.iter().map(|&n| u64::from(n)).sum::<u64>() * races as u64
}

/// A stratum in words.
pub fn stratum_words(prepared: &Prepared, stratum: usize) -> String {
    let wetness = crate::course::weather::Wetness::ALL[stratum % WETNESSES];
    let placement = prepared.course.field.placements[stratum / WETNESSES].placement;
    format!("{} bib, {}", wetness.key(), placement.words())
}
