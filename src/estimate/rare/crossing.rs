//! One timing point as a rare-miss problem: race day, runner and crossing all drawn from one point of the cube.
//!
//! Strata are the placements, with their exact shares. Coordinates: wetness class, then the race draw, the runner draw and
//! the crossing draw. Neighbours and diffuse waves come from streams keyed by the passing index, under race number 0. The mean of the score is the
//! expected miss rate over race days and runners, the same number as the mean over many races.
//!
//! Severity is the sum of two monotone parts. While the miss odds are neither nearly 0 nor nearly 1 it is their normal quantile,
//! which for a tag that just does not wake equals the missing dB in standard deviations of the sample offset; outside it goes on with the
//! best forward margin, in the same unit, so that the pilot sees how far a safe passing is from trouble.

use super::{Problem, Score};
use crate::course::weather::Wetness;
use crate::estimate::race_row::PassingWorkspace;
use crate::passing::draw::{CROSSING_DIMS, RACE_DIMS, RUNNER_DIMS};
use crate::passing::pass::{Crossing, pass};
use crate::passing::pilot::pick;
use crate::passing::{CrossingDraw, CrossingId, Prepared, RaceContext, RaceDraw, RunnerDraw};
use crate::random::transform::normal_quantile;
use std::cell::RefCell;

/// Odds beyond which the normal quantile says nothing more.
const CERTAIN: f64 = 1e-12;
/// Its normal quantile, rounded.
const CERTAIN_Z: f64 = 7.03;

/// Misses of a set of lines at one timing point.
pub struct PointMiss<'a> {
    prepared: &'a Prepared,
    point: usize,
    lines: u64,
    seed: u64,
    rows: Vec<usize>,
    shares: Vec<f64>,
}

impl<'a> PointMiss<'a> {
    /// `lines` is a bit mask; bit l stands for line l of the point.
    pub fn new(prepared: &'a Prepared, point: usize, lines: u64, seed: u64) -> PointMiss<'a> {
        let placements = &prepared.course.field.placements;
        let total: f64 = placements.iter().map(|placement| placement.share).sum();
        let rows: Vec<usize> = (0..placements.len()).filter(|&row| placements[row].share > 0.0).collect();
        let shares = rows.iter().map(|&row| placements[row].share / total).collect();
        PointMiss { prepared, point, lines, seed, rows, shares }
    }
}

/// The next `N` coordinates.
fn take<const N: usize>(rest: &mut &[f64]) -> [f64; N] {
    let mut out = [0.5; N];
    let (head, tail) = rest.split_at(N.min(rest.len()));
    out[..head.len()].copy_from_slice(head);
    *rest = tail;
    out
}

impl Problem for PointMiss<'_> {
    fn lead_dims(&self) -> usize {
        1 + RACE_DIMS + RUNNER_DIMS + CROSSING_DIMS
    }

    fn strata(&self) -> &[f64] {
        &self.shares
    }

    fn score(&self, stratum: usize, point: &[f64], index: u64) -> Score {
        thread_local! {
            static SPACE: RefCell<PassingWorkspace> = RefCell::new(PassingWorkspace::default());
        }
        let course = &self.prepared.course;
        let mut rest = &point[1..];
        let draw = RaceDraw::from_uniforms(course, &self.prepared.tag, 0, &take::<RACE_DIMS>(&mut rest));
        let wetness = Wetness::ALL[pick(draw.wetness_shares.iter().copied(), point[0])];
        let race = RaceContext::new(self.prepared, draw);
        let runner = RunnerDraw::from_uniforms(
            course,
            &race.draw,
            self.rows[stratum],
            wetness,
            &take::<RUNNER_DIMS>(&mut rest),
        );
        let id = CrossingId { seed: self.seed, race: 0, passing: index, point: self.point as u64 };
        let crossing_draw = CrossingDraw::from_uniforms(course, id, &take::<CROSSING_DIMS>(&mut rest));
        let crossing = Crossing::new(&race, &runner, &crossing_draw);
        SPACE.with_borrow_mut(|space| {
            pass(&crossing, &mut space.work, false);
            let odds = space.work.score_lines(self.lines, race.offset_law).miss.clamp(0.0, 1.0);
            let margins = space
                .work
                .lines
                .iter()
                .enumerate()
                .filter(|(line, _)| self.lines >> line & 1 == 1)
                .flat_map(|(_, line)| line.stairs.rounds().iter().map(|round| round.margin_db));
            let best = margins.fold(f64::NEG_INFINITY, f64::max).clamp(-60.0, 60.0);
            let sd = race.draw.sample_offset_sd_db.max(0.1);
            let severity = if odds <= CERTAIN {
                (-best / sd).min(-CERTAIN_Z)
            } else if odds >= 1.0 - CERTAIN {
                (-best / sd).max(CERTAIN_Z)
            } else {
                normal_quantile(odds)
            };
            Score { miss_odds: odds, severity }
        })
    }
}
