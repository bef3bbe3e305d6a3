//! Swings of what differs from runner to runner: one quantity the same for all, at its 5 % or its 95 % value.
//!
//! The race draw stands at its middle, everything else differs from runner to runner as drawn. That is how far a belief about a whole field
//! (all bibs hug the body, all runners are slow) could be wrong at most.

use super::answer::Swing;
use super::race_day::{Bench, ENDS, widest_first};
use crate::course::weather::Wetness;
use crate::passing::draw::{RACE_DIMS, crossing_uniforms, runner_uniforms};
use crate::passing::{
    Crossing, CrossingDraw, CrossingId, RaceContext, RaceDraw, RunnerDraw, Workspace, pass,
};
use crate::study::strata::{self, WETNESSES};

/// Quantities of the runner draw by their place in its point.
pub const QUANTITIES: [(&str, usize); 9] = [
    ("air gap behind the bib", 5),
    ("how far water lowers the resonance", 6),
    ("loss of the water film", 7),
    ("speed", 3),
    ("stature", 1),
    ("forward lean", 10),
    ("steps per minute", 11),
    ("flutter of the bib", 12),
    ("sway of the trunk", 13),
];

/// Miss rate at the middle race draw with the runner's uniform `fixed.0` at `fixed.1` for everyone.
fn rate(bench: &Bench, fixed: (usize, f64), race: u64, work: &mut Workspace) -> f64 {
    let course = &bench.prepared.course;
    let draw = RaceDraw::from_uniforms(course, &bench.prepared.tag, race, &[0.5; RACE_DIMS]);
    let context = RaceContext::new(bench.prepared, draw);
    let weights = strata::weights(course, context.draw.wetness_shares);
    let mut total = 0.0;
    for (stratum, &count) in bench.plan.where_weighed(&weights).0.iter().enumerate() {
        for number in 0..u64::from(count) {
            let passing = strata::passing_number(stratum, number);
            let mut u = runner_uniforms(bench.seed, race, passing);
            u[fixed.0] = fixed.1;
            let wetness = Wetness::ALL[stratum % WETNESSES];
            let runner = RunnerDraw::from_uniforms(course, &context.draw, stratum / WETNESSES, wetness, &u);
            let id = CrossingId { seed: bench.seed, race, passing, point: 0 };
            let crossing = CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id));
            pass(&Crossing::new(&context, &runner, &crossing), work);
            let all = (1 << bench.prepared.points[0].lines.len()) - 1;
            total += weights[stratum] * work.score_lines(all, context.offset_law).miss / f64::from(count);
        }
    }
    total
}

/// Swings of all quantities, widest first; `None` when broken off.
pub fn swings(bench: &Bench, replications: u64, stop: &(dyn Fn() -> bool + Sync)) -> Option<Vec<Swing>> {
    let asked: Vec<(usize, f64)> = QUANTITIES.iter().flat_map(|q| ENDS.map(|end| (q.1, end))).collect();
    let rates = bench.mean_rates(asked.len(), replications, stop, |place, runners, work| {
        rate(bench, asked[place], runners, work)
    })?;
    let mut swings: Vec<Swing> = QUANTITIES
        .iter()
        .enumerate()
        .map(|(i, (name, _))| Swing {
            name: (*name).to_owned(),
            unit: String::new(),
            low: None,
            high: None,
            miss_rate_at_low: rates[2 * i],
            miss_rate_at_high: rates[2 * i + 1],
        })
        // What is pinned moves nothing.
        .filter(|swing| swing.miss_rate_at_low != swing.miss_rate_at_high)
        .collect();
    widest_first(&mut swings);
    Some(swings)
}
