//! Where to put the backup: r against its distance.
//!
//! A copy of a line is moved along the road. Close by, both lines meet the runner in the same stride, behind the same neighbours;
//! further on that fades. What stays for ever (tag, placement, wetness, gap, sample) is the limit of fresh crossings.

use super::engine::{RaceAtPoint, run};
use super::floor::after_crossings;
use crate::course::Course;
use crate::estimate::shared_misses::clustered_ratio;
use crate::passing::Prepared;
use crate::passing::prepared::BIN_M;
use crate::random::transform::normal_quantile;
use crate::study::strata::Plan;
use serde::Serialize;
use std::sync::Arc;

/// Distances looked at, m.
pub const DISTANCES_M: [f64; 8] = [0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0];
/// Road beyond the farther line whose reads count, m.
const MARGIN_M: f64 = 3.0;

#[derive(Clone, Debug, Serialize)]
pub struct AtDistance {
    pub distance_m: f64,
    /// Odds that the copy misses what the line missed, with a 95 % interval over races.
    pub r: Option<f64>,
    pub r_low: Option<f64>,
    pub r_high: Option<f64>,
    /// What is left above the limit of a line far away, with its 95 % interval (the same runners, so the noise of both cancels in part).
    pub above_limit: Option<f64>,
    pub above_limit_low: Option<f64>,
    pub above_limit_high: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
pub struct DistanceCurve {
    pub line: String,
    pub points: Vec<AtDistance>,
    /// r of a line so far away that only the runner is the same.
    pub far_r: Option<f64>,
    pub far_r_low: Option<f64>,
    pub far_r_high: Option<f64>,
    /// Least distance from which r lies within the noise of the limit.
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

fn interval(clusters: &[(f64, f64)]) -> [Option<f64>; 3] {
    let Some((r, error)) = clustered_ratio(clusters) else { return [None; 3] };
    let reach = error.map(|e| normal_quantile(0.975) * e);
    [Some(r), reach.map(|h| (r - h).max(0.0)), reach.map(|h| (r + h).min(1.0))]
}

/// The curve for one line of the point; `watch` hears of every distance done.
#[allow(clippy::too_many_arguments)]
pub fn curve(
    base: &Prepared,
    point: usize,
    line: usize,
    plan: &Plan,
    seed: u64,
    races: u64,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &dyn Fn(usize),
) -> DistanceCurve {
    let far: Vec<(f64, f64)> = after_crossings(base, point, 1 << line, plan, seed, races, 2)
        .into_iter()
        .map(|rates| (rates[1], rates[0]))
        .collect();
    let [far_r, far_r_low, far_r_high] = interval(&far);
    let mut points = Vec::new();
    for (done, &distance_m) in DISTANCES_M.iter().enumerate() {
        let prepared = prepare_copy(base, point, line, distance_m);
        let runs: Vec<RaceAtPoint> = run(&prepared, point, &[1, 3], plan, seed, races, stop);
        if stop() {
            break;
        }
        let clusters: Vec<(f64, f64)> = runs.iter().map(|race| (race.miss(1), race.miss(0))).collect();
        let [r, r_low, r_high] = interval(&clusters);
        let excess: Vec<(f64, f64)> =
            clusters.iter().zip(&far).map(|((both, a), (far, _))| (both - far, *a)).collect();
        let (above_limit, reach) = match clustered_ratio(&excess) {
            Some((ratio, error)) => (Some(ratio), error.map(|e| normal_quantile(0.975) * e)),
            None => (None, None),
        };
        points.push(AtDistance {
            distance_m,
            r,
            r_low,
            r_high,
            above_limit,
            above_limit_low: above_limit.zip(reach).map(|(m, h)| m - h),
            above_limit_high: above_limit.zip(reach).map(|(m, h)| m + h),
        });
        watch(done + 1);
    }
    let within = |p: &AtDistance| p.above_limit_low.is_some_and(|low| low <= 0.0);
    let settled = points.iter().rposition(|p| !within(p)).map_or(0, |last| last + 1);
    DistanceCurve {
        line: base.points[point].lines[line].clone(),
        settled_from_m: points.get(settled).map(|p| p.distance_m),
        points,
        far_r,
        far_r_low,
        far_r_high,
    }
}
