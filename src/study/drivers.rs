//! `drivers`: which unknown decides whether a timing point keeps its promise, with enough worlds to name the first two.

use super::predict::settled;
use super::provenance::{AssumptionEcho, Provenance, TagEcho, assumptions, effects_off, warning_lines};
use super::what_drives::{Driver, drivers, order_known};
use super::which_point::{NoPoint, which_point};
use crate::diag::Diagnostic;
use crate::estimate::checkpoint::Kept;
use crate::estimate::promise::{Promise, promise};
use crate::estimate::replicates::Figure;
use crate::estimate::run::{FORECAST, Plan, Progress, Run, Stopped, ask, run};
use crate::estimate::world::Ask;
use crate::passing::Prepared;
use crate::study::predict::CONTRACT_RACES;
use serde::{Deserialize, Serialize};

/// Fewest worlds behind an answer.
const LEAST_WORLDS: usize = 512;

/// The answer of `drivers`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    #[serde(flatten)]
    pub provenance: Provenance,
    pub event: String,
    pub note: String,
    pub point: String,
    pub region: String,
    pub weather: String,
    pub runners: u64,
    pub tag: TagEcho,
    pub lines: Vec<String>,
    pub miss_rate: Figure,
    pub promise: Promise,
    /// Strongest first.
    pub drivers: Vec<Driver>,
    /// Whether the first two places are told apart from what follows; if not, they are a tie.
    pub first_known: bool,
    pub second_known: bool,
    pub worlds: u64,
    pub passings: u64,
    pub stopped: Stopped,
    pub assumptions: Vec<AssumptionEcho>,
    pub effects_off: Vec<String>,
    pub warnings: Vec<String>,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    #[error(transparent)]
    NoPoint(#[from] NoPoint),
    #[error("interrupted before anything was known")]
    Nothing,
}

/// Runs until the first two drivers are told apart from the rest, or the plan's passings are spent.
pub fn answer(
    prepared: &Prepared,
    plan: &Plan,
    point: Option<&str>,
    warnings: &[Diagnostic],
    kept: &mut Kept,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &mut dyn FnMut(&Progress),
) -> Result<Answer, Refused> {
    let course = &prepared.course;
    let p = which_point(course, point)?;
    let (runners, target) = (course.field.runners, course.points[p].target);
    // The very worlds and passings of a forecast: the same numbers.
    let masks = Ask::standard_masks(prepared);
    let ask = kept.ask(FORECAST, &masks, || ask(prepared, plan, masks.clone()));
    let found = |run: &Run| drivers(prepared, run, &run.days(p, 0), runners, target);
    let rates_settled = settled(prepared, plan);
    let enough = |run: &Run| {
        run.rows.len() >= LEAST_WORLDS && rates_settled(run) && {
            let found = found(run);
            order_known(&found, 0) && order_known(&found, 1)
        }
    };
    let done = run(prepared, plan, ask, kept, &enough, stop, watch);
    if done.rows.len() < 2 {
        return Err(Refused::Nothing);
    }
    let days = done.days(p, 0);
    let drivers = found(&done);
    Ok(Answer {
        provenance: Provenance::new(plan.seed, course, &prepared.tag),
        event: course.event_name.clone(),
        note: course.note.clone(),
        point: course.points[p].name.clone(),
        region: course.region.name.clone(),
        weather: course.weather.key.clone(),
        runners,
        tag: TagEcho::new(&prepared.tag),
        lines: prepared.points[p].lines.clone(),
        miss_rate: days.rate(),
        promise: promise(&days, runners, target, CONTRACT_RACES),
        first_known: order_known(&drivers, 0),
        second_known: order_known(&drivers, 1),
        drivers,
        worlds: done.rows.len() as u64,
        passings: done.passings(),
        stopped: done.stopped,
        assumptions: assumptions(course),
        effects_off: effects_off(course),
        warnings: warning_lines(warnings),
    })
}
