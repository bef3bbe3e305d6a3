//! What drives the misses, as plain data: everything the text, the JSON and the page are drawn from.

use super::race_day::{Bench, inputs};
use super::{FLOOR, all_runners, one_passing, only_point};
use crate::diag::Diagnostic;
use crate::estimate::indices::Replicated;
use crate::passing::Prepared;
use crate::study::provenance::{
    AssumptionEcho, Provenance, TagEcho, assumptions, effects_off, warning_lines,
};
use crate::study::redundancy::engine::plan;
use crate::study::which_point::{NoPoint, which_point};
use serde::Serialize;

/// What the study is asked to do.
#[derive(Clone, Debug, Serialize)]
pub struct Request {
    pub seed: u64,
    /// Timing point; default the finish.
    pub point: Option<String>,
    /// Points of the race draw in each replication, and of single passings; powers of two.
    pub points: u64,
    pub passing_points: u64,
    pub replications: u64,
    /// Passings behind each miss rate, beyond the least of each stratum.
    pub passings_per_race: u32,
}

impl Default for Request {
    fn default() -> Request {
        Request {
            seed: 1,
            point: None,
            points: 32,
            passing_points: 512,
            replications: 8,
            passings_per_race: 60,
        }
    }
}

/// Swings are means over this many replications at most: they need no interval.
const MOST_AVERAGED: u64 = 16;

/// How far the study has come.
#[derive(Clone, Debug)]
pub struct Progress {
    pub stage: &'static str,
    pub done: u64,
    pub planned: u64,
    pub leader: Option<String>,
}

/// One input, or a group of inputs.
#[derive(Clone, Debug, Serialize)]
pub struct Driver {
    pub name: String,
    pub unit: String,
    /// How one would come to know it; empty where that is not the question.
    pub how: String,
    /// Share of the variance of the log miss odds it explains by itself.
    pub first_order: Replicated,
    /// ... and together with all others it works with.
    pub total: Replicated,
}

/// The variance of the log miss odds, split over inputs; largest total first.
#[derive(Clone, Debug, Serialize)]
pub struct Split {
    pub replications: usize,
    /// Independent points behind it, and the share of them on the floor.
    pub points: usize,
    pub on_floor: f64,
    /// Miss odds over the points: 5 %, middle, 95 %; floored.
    pub odds_p05: f64,
    pub odds_p50: f64,
    pub odds_p95: f64,
    /// What the inputs explain one by one; the rest is what they do together.
    pub first_order_sum: f64,
    pub drivers: Vec<Driver>,
}

/// The miss rate with one input at its 5 % and at its 95 % value, all others at their middle.
#[derive(Clone, Debug, Serialize)]
pub struct Swing {
    pub name: String,
    pub unit: String,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub miss_rate_at_low: f64,
    pub miss_rate_at_high: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    pub event: String,
    pub note: String,
    pub point: String,
    pub lines: Vec<String>,
    pub runners: u64,
    pub tag: TagEcho,
    pub region: String,
    pub weather: String,
    pub request: Request,
    pub interrupted: bool,
    /// Miss odds below this count as this.
    pub floor: f64,
    /// Miss rate with everything the race shares at its middle.
    pub middle_miss_rate: Option<f64>,
    /// What all runners of a race share.
    pub race_day: Option<Split>,
    pub race_day_swings: Vec<Swing>,
    /// What differs from runner to runner.
    pub one_passing: Option<Split>,
    pub runner_swings: Vec<Swing>,
    pub crossings: u64,
    pub effects_off: Vec<String>,
    pub assumed: Vec<AssumptionEcho>,
    pub warnings: Vec<String>,
    pub provenance: Provenance,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    #[error(transparent)]
    NoPoint(#[from] NoPoint),
    #[error("broken off before anything was known")]
    Nothing,
}

/// Runs the study. Asked to stop, it answers with what is known by then.
pub fn answer(
    base: &Prepared,
    request: &Request,
    warnings: &[Diagnostic],
    stop: &(dyn Fn() -> bool + Sync),
    watch: &dyn Fn(&Progress),
) -> Result<Answer, Refused> {
    let point = which_point(&base.course, request.point.as_deref())?;
    let tell = |stage, done, planned, leader| watch(&Progress { stage, done, planned, leader });
    tell("planning", 0, 1, None);
    let prepared = only_point(base, point);
    let plan = plan(&prepared, 0, request.seed, request.passings_per_race);
    let bench = Bench { prepared: &prepared, plan: &plan, seed: request.seed };
    let inputs = inputs(&prepared);
    let averaged = request.replications.min(MOST_AVERAGED);
    tell("swings", 0, 2, None);
    let (middle, race_day_swings) = bench.swings(&inputs, averaged, stop).ok_or(Refused::Nothing)?;
    let leader = race_day_swings.first().map(|s| format!("widest swing so far: {}", s.name));
    tell("swings", 1, 2, leader.clone());
    let runner_swings = all_runners::swings(&bench, averaged, stop).unwrap_or_default();
    let rates = 1 + 2 * (inputs.len() + all_runners::QUANTITIES.len()) as u64;
    let mut crossings = rates * averaged * bench.crossings();
    let planned = request.replications;
    let one_passing =
        one_passing::indices(&prepared, request.seed, request.passing_points, planned, stop, &|done| {
            tell("single passings", done, planned, leader.clone())
        });
    let one = one_passing.as_ref().map_or(0, |s| s.points as u64 / 2);
    crossings += one * (one_passing::GROUPS.len() as u64 + 2);
    let leader = match one_passing.as_ref().and_then(|s| s.drivers.first()) {
        Some(driver) => Some(format!("one passing is decided most by: {}", driver.name)),
        None => leader,
    };
    let race_day = bench.indices(&inputs, request.points, planned, stop, &|done| {
        tell("race days", done, planned, leader.clone());
    });
    let days = race_day.as_ref().map_or(0, |s| s.points as u64 / 2);
    crossings += days * (inputs.len() as u64 + 2) * bench.crossings();
    let course = &base.course;
    Ok(Answer {
        event: course.event_name.clone(),
        note: course.note.clone(),
        point: course.points[point].name.clone(),
        lines: base.points[point].lines.clone(),
        runners: course.field.runners,
        tag: TagEcho::new(&base.tag),
        region: course.region.name.clone(),
        weather: course.weather.key.clone(),
        request: request.clone(),
        interrupted: stop(),
        floor: FLOOR,
        middle_miss_rate: Some(middle),
        race_day,
        race_day_swings,
        one_passing,
        runner_swings,
        crossings,
        effects_off: effects_off(course),
        assumed: assumptions(course),
        warnings: warning_lines(warnings),
        provenance: Provenance::new(request.seed, course, &base.tag),
    })
}
