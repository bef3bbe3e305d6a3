//! Where to put the backup: r against its distance, split by what both lines share.
//!
//! A copy of a line is moved along the road. Both lines meet the same runner and bib, at the same place across the road, behind the same
//! neighbours and in the same stride. To see which of it counts, parts of the crossing are drawn afresh for the copy
//! alone, one more at each step: timing of the rounds, phases of the stride, neighbours, place and heading. Where all of them are new, only
//! runner and bib (tag, placement, wetness, gap, sample) are left, and a line far away would miss as much. The steps share out
//! r in this order; another order would share out differently what parts do together.
//! Diffuse waves are drawn for each antenna by itself: fading is shared at no distance.

use super::engine::race_context;
use super::floor::{FRESH, after_crossings};
use crate::course::Course;
use crate::course::weather::Wetness;
use crate::estimate::shared_misses::clustered_ratio;
use crate::passing::draw::{crossing_uniforms, runner_uniforms};
use crate::passing::pass::LineRounds;
use crate::passing::prepared::BIN_M;
use crate::passing::score::{Round, score};
use crate::passing::{
    Crossing, CrossingDraw, CrossingId, Prepared, RaceContext, RunnerDraw, Workspace, pass,
};
use crate::random::transform::normal_quantile;
use crate::study::strata::{Plan, WETNESSES, passing_number, weights};
use rayon::prelude::*;
use serde::Serialize;
use std::sync::Arc;

/// Distances looked at, m.
pub const DISTANCES_M: [f64; 8] = [0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0];
/// Road beyond the farther line whose reads count, m.
const MARGIN_M: f64 = 3.0;
/// What both lines share, in the order in which it is drawn afresh.
pub const SHARED: [&str; 4] =
    ["timing of the rounds", "phase of the stride", "neighbours", "place across the road and heading"];
/// With these drawn afresh, what could fade along the road is gone; place and heading hold for a whole timing point.
const FADING: usize = 3;
/// A passing that the line hardly misses adds nothing to r: below this share of its miss rate nothing is drawn afresh.
const NEGLIGIBLE: f64 = 1e-3;

/// A part of r that comes from one thing shared, with its 95 % interval over races.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    pub points: f64,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
pub struct AtDistance {
    pub distance_m: f64,
    /// Odds that the copy misses what the line missed, with a 95 % interval over races.
    pub r: Option<f64>,
    pub r_low: Option<f64>,
    pub r_high: Option<f64>,
    /// r by what is shared, in the order of `SHARED`.
    pub parts: Vec<Part>,
    /// Timing, stride and neighbours together: what distance could take away.
    pub fading: Option<Part>,
    /// What is left when only runner and bib are the same.
    pub runner: Option<Part>,
}

#[derive(Clone, Debug, Serialize)]
pub struct DistanceCurve {
    pub line: String,
    pub races: usize,
    /// Names of the parts.
    pub shared: Vec<String>,
    pub points: Vec<AtDistance>,
    /// r of a line so far away that only the runner is the same.
    pub far_r: Option<f64>,
    pub far_r_low: Option<f64>,
    pub far_r_high: Option<f64>,
    /// Least distance from which what could fade lies within the noise of this run.
    pub settled_from_m: Option<f64>,
}

/// The scenario with line `line` of the point alone and a copy of it `distance_m` further on.
fn with_copy(course: &Course, point: usize, line: usize, distance_m: f64) -> Course {
    let mut course = course.clone();
    let at = &mut course.points[point];
    let original = at.lines[line].clone();
    let mut copy = original.clone();
    copy.name = format!("{} {distance_m} m on", original.name);
    for antenna in copy.readers.iter_mut().flat_map(|r| &mut r.antennas) {
        antenna.x_m += distance_m;
    }
    at.zone_m = at.zone_m.max(distance_m + MARGIN_M);
    at.lines = vec![original, copy];
    course
}

/// Geometry with the contention of the line as it stands, and places ordered by how near a line is.
fn prepare_copy(base: &Prepared, point: usize, line: usize, distance_m: f64) -> Prepared {
    let course = with_copy(&base.course, point, line, distance_m);
    let mut prepared = Prepared::geometry(Arc::new(course), base.tag.clone());
    let contenders: Vec<f64> = base.points[point]
        .readers
        .iter()
        .filter(|reader| reader.line == line)
        .map(|reader| reader.mean_contenders)
        .collect();
    let at = &mut prepared.points[point];
    for (reader, mean) in at.readers.iter_mut().zip(contenders.iter().cycle()) {
        reader.mean_contenders = *mean;
    }
    let zone_m = at.zone_m;
    let near = |bin: usize| {
        let x = -zone_m + (bin as f64 + 0.5) * BIN_M;
        x.abs().min((x - distance_m).abs())
    };
    for order in &mut at.visit_order {
        order.sort_by(|&a, &b| near(a).total_cmp(&near(b)));
    }
    prepared
}

/// Estimate and 95 % interval over races.
fn part(clusters: &[(f64, f64)]) -> Option<Part> {
    let (points, error) = clustered_ratio(clusters)?;
    let reach = error.map(|e| normal_quantile(0.975) * e);
    Some(Part { points, low: reach.map(|h| points - h), high: reach.map(|h| points + h) })
}

fn interval(clusters: &[(f64, f64)]) -> [Option<f64>; 3] {
    let r = part(clusters);
    let of = |read: fn(&Part) -> Option<f64>| r.as_ref().and_then(read);
    [of(|p| Some(p.points)), of(|p| p.low.map(|v| v.max(0.0))), of(|p| p.high.map(|v| v.min(1.0)))]
}

/// The crossing as the copy meets it with the first `steps` of `SHARED` taken from another crossing.
fn afresh(same: &CrossingDraw, other: &CrossingDraw, steps: usize) -> CrossingDraw {
    let mut draw = same.clone();
    if steps > 0 {
        draw.hop_phase = other.hop_phase;
        draw.port_phase = other.port_phase;
        draw.round_phase = other.round_phase;
        draw.contender_rank = other.contender_rank;
    }
    if steps > 1 {
        draw.step_phase_rad = other.step_phase_rad;
        draw.sway_phase_rad = other.sway_phase_rad;
        draw.flutter_phase_rad = other.flutter_phase_rad;
    }
    if steps > 2 {
        draw.neighbours = other.neighbours;
    }
    if steps > 3 {
        draw.lateral_m = other.lateral_m;
        draw.yaw_deg = other.yaw_deg;
    }
    draw
}

/// Miss rates of one race: the line, then line and copy with the first 0, 1 … steps of `SHARED` drawn afresh.
type Rates = [f64; SHARED.len() + 2];

fn race_rates(context: &RaceContext, point: usize, plan: &Plan, seed: u64, negligible: f64) -> Rates {
    let course = &context.prepared.course;
    let race = context.draw.race;
    let weights = weights(course, context.draw.wetness_shares);
    let (mut work, mut line, mut merged) = (Workspace::new(), Vec::new(), Vec::new());
    let mut rates = Rates::default();
    let both = |line: &[Round], reach: bool, copy: &LineRounds, merged: &mut Vec<Round>| {
        if copy.settled {
            return 0.0;
        }
        merged.clear();
        merged.extend_from_slice(line);
        merged.extend_from_slice(copy.stairs.rounds());
        score(merged, context.offset_law, reach || copy.in_reach).miss
    };
    for (stratum, &count) in plan.where_weighed(&weights).0.iter().enumerate() {
        let (row, wetness) = (stratum / WETNESSES, Wetness::ALL[stratum % WETNESSES]);
        for number in 0..u64::from(count) {
            let passing = passing_number(stratum, number);
            let u = runner_uniforms(seed, race, passing);
            let runner = RunnerDraw::from_uniforms(course, &context.draw, row, wetness, &u);
            let draw = |passing: u64| {
                let id = CrossingId { seed, race, passing, point: point as u64 };
                CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id))
            };
            let same = draw(passing);
            pass(&Crossing::new(context, &runner, &same), &mut work);
            if work.lines[0].settled {
                continue;
            }
            line.clear();
            line.extend_from_slice(work.lines[0].stairs.rounds());
            let reach = work.lines[0].in_reach;
            let missed = score(&mut line, context.offset_law, reach).miss;
            let weight = weights[stratum] / f64::from(count);
            rates[0] += weight * missed;
            let mut together = both(&line, reach, &work.lines[1], &mut merged);
            rates[1] += weight * together;
            let other = draw(passing + FRESH);
            for steps in 1..=SHARED.len() {
                if missed > negligible {
                    let crossing = afresh(&same, &other, steps);
                    pass(&Crossing::new(context, &runner, &crossing), &mut work);
                    together = both(&line, reach, &work.lines[1], &mut merged);
                }
                rates[1 + steps] += weight * together;
            }
        }
    }
    rates
}

/// What a curve is asked for.
pub struct Ask<'a> {
    pub base: &'a Prepared,
    pub point: usize,
    pub line: usize,
    pub plan: &'a Plan,
    pub seed: u64,
    pub races: u64,
    /// Miss rate of the line, about.
    pub miss_rate: f64,
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

/// The curve for one line of the point; `watch` hears of every distance done.
pub fn curve(ask: &Ask, watch: &dyn Fn(usize)) -> DistanceCurve {
    let Ask { base, point, line, .. } = *ask;
    let far: Vec<(f64, f64)> =
        after_crossings(base, point, 1 << line, ask.plan, ask.seed, ask.races, 2, ask.stop)
            .into_iter()
            .map(|rates| (rates[1], rates[0]))
            .collect();
    let [far_r, far_r_low, far_r_high] = interval(&far);
    let mut points = Vec::new();
    for (done, &distance_m) in DISTANCES_M.iter().enumerate() {
        let prepared = prepare_copy(base, point, line, distance_m);
        let rates: Vec<Rates> = (0..ask.races)
            .into_par_iter()
            .map(|race| {
                let context = race_context(&prepared, ask.seed, race);
                let rates = || race_rates(&context, point, ask.plan, ask.seed, NEGLIGIBLE * ask.miss_rate);
                (!(ask.stop)()).then(rates)
            })
            .while_some()
            .collect();
        if (ask.stop)() {
            break;
        }
        points.push(at_distance(distance_m, &rates));
        watch(done + 1);
    }
    let within = |p: &AtDistance| p.fading.as_ref().and_then(|f| f.low).is_some_and(|low| low <= 0.0);
    let settled = points.iter().rposition(|p| !within(p)).map_or(0, |last| last + 1);
    DistanceCurve {
        line: base.points[point].lines[line].clone(),
        races: far.len(),
        shared: SHARED.map(str::to_owned).to_vec(),
        settled_from_m: points.get(settled).map(|p| p.distance_m),
        points,
        far_r,
        far_r_low,
        far_r_high,
    }
}

fn at_distance(distance_m: f64, rates: &[Rates]) -> AtDistance {
    // What is lost between two steps, per miss of the line.
    let between = |from: usize, to: usize| {
        let clusters: Vec<(f64, f64)> =
            rates.iter().map(|race| (race[1 + from] - race[1 + to], race[0])).collect();
        part(&clusters)
    };
    let whole = |step: usize| rates.iter().map(|race| (race[1 + step], race[0])).collect::<Vec<_>>();
    let [r, r_low, r_high] = interval(&whole(0));
    AtDistance {
        distance_m,
        r,
        r_low,
        r_high,
        parts: (0..SHARED.len()).filter_map(|step| between(step, step + 1)).collect(),
        fading: between(0, FADING),
        runner: part(&whole(SHARED.len())),
    }
}
