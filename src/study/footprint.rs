//! Where on the road a tag is read: odds over the place along and across the road, dry and soaked.
//!
//! Runners are sent over the point at fixed lateral places, the same draws at every place. A cell's value is the odds
//! that at least one round reads the tag while it covers that cell's quarter metre, 1 − Π(1 − awake·heard·alone), averaged over
//! the runners; placements are strata with their exact shares. Beside it the odds that the whole crossing leaves
//! no read, with the sample offset integrated out, by lateral place.
//!
//! A picture, not a forecast: it takes few runners for each place (stated in the result), so rare misses are rough.

use crate::course::weather::Wetness;
use crate::passing::draw::{CrossingId, crossing_uniforms, runner_uniforms};
use crate::passing::pilot::pick;
use crate::passing::prepared::BIN_M;
use crate::passing::trace::trace;
use crate::passing::{Crossing, CrossingDraw, Prepared, RaceContext, RaceDraw, RunnerDraw, Workspace, pass};
use rayon::prelude::*;
use serde::Serialize;

/// How finely to look.
#[derive(Clone, Copy, Debug)]
pub struct Detail {
    /// Lateral places are about this far apart, m (> 0).
    pub step_across_m: f64,
    /// Runners for each place, shared out by placement, at least `fewest` each.
    pub runners: f64,
    pub fewest: usize,
}

impl Detail {
    /// Fine enough for a picture, quick enough for a report.
    pub const PICTURE: Detail = Detail { step_across_m: 0.4, runners: 10.0, fewest: 2 };
}

#[derive(Clone, Debug, Serialize)]
pub struct Footprint {
    pub point: String,
    /// Middle of the cells along the running direction and across the road, m.
    pub x_m: Vec<f64>,
    pub y_m: Vec<f64>,
    pub cell_x_m: f64,
    pub cell_y_m: f64,
    pub runners_per_place: usize,
    /// 5, 50 and 95 % of the tags' heights over the road, m.
    pub tag_height_m: [f64; 3],
    pub maps: Vec<WetnessMap>,
}

/// One state of the bibs.
#[derive(Clone, Debug, Serialize)]
pub struct WetnessMap {
    pub wetness: String,
    /// `read_odds[j][i]` at `y_m[j]`, `x_m[i]`, 0..1.
    pub read_odds: Vec<Vec<f64>>,
    /// Odds that the whole crossing at `y_m[j]` leaves no read.
    pub miss_odds: Vec<f64>,
}

/// Dry and soaked footprint of point number `point`.
pub fn footprint(prepared: &Prepared, seed: u64, point: usize, detail: Detail) -> Footprint {
    let road_m = prepared.points[point].road_width_m;
    let places = ((road_m / detail.step_across_m).round() as usize).clamp(3, 60);
    let cell_y_m = road_m / places as f64;
    let y_m: Vec<f64> = (0..places).map(|j| (j as f64 + 0.5) * cell_y_m - 0.5 * road_m).collect();
    let bins = prepared.points[point].bins();
    let zone_m = prepared.points[point].zone_m;
    let x_m: Vec<f64> = (0..bins).map(|i| (i as f64 + 0.5) * BIN_M - zone_m).collect();
    let kinds = kinds(prepared, detail);
    let maps = [Wetness::Dry, Wetness::Soaked].map(|wetness| {
        let rows: Vec<(Vec<f64>, f64)> =
            y_m.par_iter().map(|&y| place(prepared, seed, point, wetness, y, &kinds)).collect();
        let (read_odds, miss_odds) = rows.into_iter().unzip();
        WetnessMap { wetness: wetness.key().to_owned(), read_odds, miss_odds }
    });
    Footprint {
        point: prepared.points[point].name.clone(),
        x_m,
        y_m,
        cell_x_m: BIN_M,
        cell_y_m,
        runners_per_place: kinds.len(),
        tag_height_m: tag_heights(prepared, seed),
        maps: maps.into(),
    }
}

/// Placement row and weight of each runner sent over a place; the weights sum to 1.
fn kinds(prepared: &Prepared, detail: Detail) -> Vec<(usize, f64)> {
    let placements = &prepared.course.field.placements;
    let total: f64 = placements.iter().map(|p| p.share).sum();
    let mut out = Vec::new();
    for (row, placement) in placements.iter().enumerate().filter(|(_, p)| p.share > 0.0) {
        let share = placement.share / total;
        let count = ((share * detail.runners).round() as usize).max(detail.fewest);
        out.extend(std::iter::repeat_n((row, share / count as f64), count));
    }
    out
}

/// Quantiles over drawn runners, placements in their shares.
fn tag_heights(prepared: &Prepared, seed: u64) -> [f64; 3] {
    const DRAWN: u64 = 400;
    let course = &prepared.course;
    let race = RaceDraw::draw(course, &prepared.tag, seed, 0);
    let mut heights: Vec<f64> = (0..DRAWN)
        .map(|i| {
            let shares = course.field.placements.iter().map(|p| p.share);
            let row = pick(shares, (i as f64 + 0.5) / DRAWN as f64);
            let uniforms = runner_uniforms(seed, 0, i);
            RunnerDraw::from_uniforms(course, &race, row, Wetness::Dry, &uniforms).tag_height_m
        })
        .collect();
    heights.sort_by(f64::total_cmp);
    [0.05, 0.5, 0.95].map(|q| heights[(q * DRAWN as f64) as usize])
}

/// Read odds along x and miss odds of the runners at one lateral place.
fn place(
    prepared: &Prepared,
    seed: u64,
    point: usize,
    wetness: Wetness,
    lateral_m: f64,
    kinds: &[(usize, f64)],
) -> (Vec<f64>, f64) {
    let course = &prepared.course;
    let bins = prepared.points[point].bins();
    let zone_m = prepared.points[point].zone_m;
    let every_line = u64::MAX >> (64 - prepared.points[point].lines.len().clamp(1, 64));
    let mut read = vec![0.0; bins];
    let mut missed = 0.0;
    let mut work = Workspace::new();
    for (k, &(row, weight)) in kinds.iter().enumerate() {
        // One race for each runner, so that the beliefs of many races are in the picture.
        let race = k as u64;
        let race_draw = RaceDraw::draw(course, &prepared.tag, seed, race);
        let context = RaceContext::new(prepared, race_draw);
        let uniforms = runner_uniforms(seed, race, 0);
        let runner = RunnerDraw::from_uniforms(course, &context.draw, row, wetness, &uniforms);
        let id = CrossingId { seed, race, passing: 0, point: point as u64 };
        let drawn = CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id));
        let draw = CrossingDraw { lateral_m, ..drawn };
        let crossing = Crossing::new(&context, &runner, &draw);
        let mut unread = vec![1.0; bins];
        for round in trace(&crossing).rows {
            let bin = ((round.x_m + zone_m) / BIN_M).max(0.0) as usize;
            unread[bin.min(bins - 1)] *= 1.0 - round.read_odds();
        }
        for (sum, u) in read.iter_mut().zip(&unread) {
            *sum += weight * (1.0 - u);
        }
        pass(&crossing, &mut work);
        missed += weight * work.score_lines(every_line, context.offset_law).miss;
    }
    (read, missed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;
    use std::sync::Arc;

    const COARSE: Detail = Detail { step_across_m: 1.2, runners: 3.0, fewest: 1 };

    fn prepared(scenario: &str) -> Prepared {
        let (course, _) = crate::course::load::load(Path::new(scenario)).unwrap();
        let (tag, _) = crate::tag::load(&course.tag_folder).unwrap();
        crate::passing::prepare(Arc::new(course), Arc::new(tag))
    }

    #[test]
    fn odds_fall_away_from_the_line_and_rain_never_helps_by_much() {
        let prepared = prepared("scenarios/half-marathon-rain-eu-lower.toml");
        let map = footprint(&prepared, 1, 0, COARSE);
        assert_eq!((map.maps.len(), map.y_m.len()), (2, map.maps[0].read_odds.len()));
        let mean = |m: &WetnessMap, i: usize| {
            m.read_odds.iter().map(|row| row[i]).sum::<f64>() / m.read_odds.len() as f64
        };
        let middle = map.x_m.len() / 2;
        for m in &map.maps {
            assert!(m.read_odds.iter().flatten().chain(&m.miss_odds).all(|p| (0.0..=1.0).contains(p)));
            let peak = (0..map.x_m.len()).map(|i| mean(m, i)).fold(0.0, f64::max);
            assert!(mean(m, 0) < peak && mean(m, map.x_m.len() - 1) < peak, "{}", m.wetness);
        }
        assert!(mean(&map.maps[0], middle) + 0.05 > mean(&map.maps[1], middle));
    }

    #[test]
    fn the_same_seed_gives_the_same_map_and_weights_sum_to_one() {
        let prepared = prepared("scenarios/city-10k-dry-usa.toml");
        let (a, b) = (footprint(&prepared, 7, 0, COARSE), footprint(&prepared, 7, 0, COARSE));
        assert_eq!(serde_json::to_string(&a).unwrap(), serde_json::to_string(&b).unwrap());
        assert!((kinds(&prepared, COARSE).iter().map(|(_, w)| w).sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
