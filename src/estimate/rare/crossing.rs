//! One timing point as a rare-miss problem: race day, runner and crossing all drawn from one point of the cube.
//!
//! Strata are placement × wetness. Given its own wetness a passing does not depend on how many other bibs of the day are wet,
//! so the odds of a stratum are the placement's share times the mean share of that wetness over race days, exactly. What adds
//! plain decibels to the threshold is integrated out (`offsets`). Coordinates: those numbers of the race draw, the runner
//! draw and the crossing draw that change anything in this scenario; pinned and unused ones are left out.
//! Neighbours and diffuse waves come from streams keyed by the passing index, under race number 0; of the waves the total
//! power at each antenna is a coordinate, because weak waves everywhere are what lets a weak tag sleep. The mean of the score is the
//! expected miss rate over race days and runners, the same number as the mean over many races.
//!
//! Severity is the sum of two monotone parts. While the miss odds are neither nearly 0 nor nearly 1 it is their normal quantile,
//! which for a tag that just does not wake equals the missing dB in standard deviations of the offset; outside it goes on with the
//! best forward margin, in the same unit, so that the pilot sees how far a safe passing is from trouble.

use super::offsets::OffsetMix;
use super::wave_power::WavePower;
use super::{Problem, Score};
use crate::course::weather::Wetness;
use crate::passing::draw::{CROSSING_DIMS, RACE_DIMS, RUNNER_DIMS};
use crate::passing::pass::{Crossing, Workspace, pass};
use crate::passing::score::{NOTHING_LEFT, Round};
use crate::passing::{CrossingDraw, CrossingId, Prepared, RaceContext, RaceDraw, RunnerDraw};
use crate::random::transform::normal_quantile;
use std::cell::RefCell;

/// Odds beyond which the normal quantile says nothing more.
const CERTAIN: f64 = NOTHING_LEFT;
/// Its normal quantile, rounded.
const CERTAIN_Z: f64 = 6.36;
const ALL_DIMS: usize = RACE_DIMS + RUNNER_DIMS + CROSSING_DIMS;
/// Most antennas of a point; beyond, the waves' power is left to the streams.
const MAX_ANTENNAS: usize = 64;
/// Days over which the shares of dry, damp and soaked bibs are averaged.
const DAYS: usize = 10_000;

/// Misses of a set of lines at one timing point.
pub struct PointMiss<'a> {
    prepared: &'a Prepared,
    point: usize,
    lines: u64,
    seed: u64,
    strata: Vec<(usize, Wetness)>,
    shares: Vec<f64>,
    /// The coordinates that matter, as places in race, runner and crossing draw laid end to end.
    active: Vec<usize>,
    offsets: Option<OffsetMix>,
    /// Antennas of the lines asked: the total power of the diffuse waves of each is a coordinate, too.
    faded: Vec<usize>,
    power: WavePower,
}

/// Scratch of one thread.
#[derive(Default)]
struct Space {
    work: Workspace,
    rounds: Vec<Round>,
}

impl<'a> PointMiss<'a> {
    /// `lines` is a bit mask; bit l stands for line l of the point.
    pub fn new(prepared: &'a Prepared, point: usize, lines: u64, seed: u64) -> PointMiss<'a> {
        let course = &prepared.course;
        let placements = &course.field.placements;
        let total: f64 = placements.iter().map(|placement| placement.share).sum();
        let mut wet = [0.0; 3];
        for day in 0..DAYS {
            for (sum, share) in wet.iter_mut().zip(course.weather.shares((day as f64 + 0.5) / DAYS as f64)) {
                *sum += share / DAYS as f64;
            }
        }
        let (mut strata, mut shares) = (Vec::new(), Vec::new());
        for wetness in Wetness::ALL {
            for (row, placement) in placements.iter().enumerate() {
                let share = wet[wetness as usize] * placement.share / total;
                if share > 0.0 {
                    strata.push((row, wetness));
                    shares.push(share);
                }
            }
        }
        let faded = if course.effects.diffuse_waves && prepared.points[point].antennas.len() <= MAX_ANTENNAS {
            let readers = prepared.points[point].readers.iter();
            readers
                .filter(|reader| lines >> reader.line & 1 == 1)
                .flat_map(|reader| reader.antennas.clone())
                .collect()
        } else {
            Vec::new()
        };
        let offsets = OffsetMix::new(course, &prepared.tag);
        let mut problem = PointMiss {
            prepared,
            point,
            lines,
            seed,
            strata,
            shares,
            active: Vec::new(),
            offsets,
            faded,
            power: WavePower::new(),
        };
        problem.active = (0..ALL_DIMS).filter(|&place| problem.matters(place)).collect();
        problem
    }

    /// Whether any draw changes with this coordinate.
    fn matters(&self, place: usize) -> bool {
        let draws = |u: f64| {
            let mut all = [0.5; ALL_DIMS];
            all[place] = u;
            (0..self.strata.len()).map(|stratum| self.draws(stratum, &all, 0)).collect::<Vec<_>>()
        };
        let middle = draws(0.5);
        [1e-6, 0.1, 0.9, 1.0 - 1e-6].into_iter().any(|u| draws(u) != middle)
    }

    fn draws(
        &self,
        stratum: usize,
        u: &[f64; ALL_DIMS],
        passing: u64,
    ) -> (RaceDraw, RunnerDraw, CrossingDraw) {
        let course = &self.prepared.course;
        let mut rest = &u[..];
        let mut race = RaceDraw::from_uniforms(course, &self.prepared.tag, 0, &take::<RACE_DIMS>(&mut rest));
        // Nothing of a passing depends on the shares once its own wetness is known.
        race.wetness_shares = [0.0; 3];
        if self.offsets.is_some() {
            // Their law is integrated over; what is left here must not move with their coordinates.
            race.batch_offset_db = 0.0;
            race.sample_mean_error_db = 0.0;
            race.lab_bias_db = 0.0;
            race.sample_offset_sd_db = 0.0;
        }
        // The road asks for it only where an antenna has a ground image.
        if !self.prepared.points[self.point].antennas.iter().any(|antenna| antenna.ground) {
            race.film_rank = 0.5;
        }
        let (row, wetness) = self.strata[stratum];
        let mut runner =
            RunnerDraw::from_uniforms(course, &race, row, wetness, &take::<RUNNER_DIMS>(&mut rest));
        // A score integrates over it.
        runner.sample_offset_db = 0.0;
        let id = CrossingId { seed: self.seed, race: 0, passing, point: self.point as u64 };
        let crossing = CrossingDraw::from_uniforms(course, id, &take::<CROSSING_DIMS>(&mut rest));
        (race, runner, crossing)
    }

    /// Mean of the staircase of all rounds of the lines over the law of the offsets.
    fn miss_odds(&self, law: &OffsetMix, space: &mut Space) -> f64 {
        space.rounds.clear();
        for (_, line) in space.work.lines.iter().enumerate().filter(|(l, _)| self.lines >> l & 1 == 1) {
            if line.settled {
                return 0.0;
            }
            space.rounds.extend_from_slice(line.stairs.rounds());
        }
        space.rounds.sort_unstable_by(|a, b| b.margin_db.total_cmp(&a.margin_db));
        let mut above = space.rounds.first().map_or(1.0, |round| law.odds_above(round.margin_db));
        let (mut miss, mut missed) = (above, 1.0);
        for (i, round) in space.rounds.iter().enumerate() {
            missed *= round.missed;
            if missed < NOTHING_LEFT {
                break;
            }
            let next = space.rounds.get(i + 1).map_or(1.0, |round| law.odds_above(round.margin_db));
            miss += (next - above).max(0.0) * missed;
            above = next;
        }
        miss
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
        self.active.len() + self.faded.len()
    }

    fn strata(&self) -> &[f64] {
        &self.shares
    }

    fn score(&self, stratum: usize, point: &[f64], index: u64) -> Score {
        thread_local! {
            static SPACE: RefCell<Space> = RefCell::new(Space::default());
        }
        let mut u = [0.5; ALL_DIMS];
        for (&place, &value) in self.active.iter().zip(point) {
            u[place] = value;
        }
        let (draw, runner, crossing_draw) = self.draws(stratum, &u, index);
        let mut race = RaceContext::at_point(self.prepared, draw, self.point);
        if let Some(law) = &self.offsets {
            race = race.certain(law.certain_below_db, law.certain_above_db);
        }
        let mut crossing = Crossing::new(&race, &runner, &crossing_draw);
        let mut power = [1.0; MAX_ANTENNAS];
        for (&antenna, &u) in self.faded.iter().zip(&point[self.active.len()..]) {
            power[antenna] = self.power.quantile(u);
        }
        if !self.faded.is_empty() {
            crossing.diffuse_power = &power;
        }
        SPACE.with_borrow_mut(|space| {
            pass(&crossing, &mut space.work);
            let (odds, sd) = match &self.offsets {
                Some(law) => (self.miss_odds(law, space), law.sd_db),
                None => {
                    let score = space.work.score_lines(self.lines, race.offset_law);
                    (score.miss, race.draw.sample_offset_sd_db.max(0.1))
                }
            };
            let odds = odds.clamp(0.0, 1.0);
            let margins = space
                .work
                .lines
                .iter()
                .enumerate()
                .filter(|(line, _)| self.lines >> line & 1 == 1)
                .flat_map(|(_, line)| line.stairs.rounds().iter().map(|round| round.margin_db));
            let best = margins.fold(f64::NEG_INFINITY, f64::max).clamp(-60.0, 60.0);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::race_row::Ask;
    use crate::estimate::rare::{Method, Request, estimate};
    use crate::estimate::run::{Plan, rates_and_errors, run};
    use crate::estimate::stop::Precision;
    use crate::passing::prepare;
    use std::path::Path;
    use std::sync::Arc;

    fn demo(scenario: &str, tag: &str) -> Prepared {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (course, _) = crate::course::load(&root.join("scenarios").join(scenario)).unwrap();
        let (tag, _) = crate::tag::load(&root.join("demo-data/tags").join(tag)).unwrap();
        prepare(Arc::new(course), Arc::new(tag))
    }

    /// Race days with offsets drawn one by one, and one problem with the offsets integrated out, are two ways to the same
    /// number: within 3.5 joint standard errors (odds of a false alarm 5e-4 each, seeds fixed). Mats and overhead
    /// panels, with and without a ground image.
    #[test]
    fn one_problem_and_many_race_days_agree() {
        for (scenario, tag) in
            [("trail-soaked-one-mat.toml", "alder"), ("finish-panels-overhead-japan.toml", "alder")]
        {
            let prepared = demo(scenario, tag);
            let point = prepared.points.len() - 1;
            let plan = Plan {
                seed: 5,
                precision: Precision { relative: 0.05, absolute: 1e-9, max_passings: 1 << 40 },
                races: Some(160),
                passings_per_race: 40,
                estimator: Default::default(),
            };
            let rows = run(&prepared, &plan, Ask::standard_masks(&prepared), &mut |_| true).rows;
            let (by_days, days_error) = rates_and_errors(&rows)[point];
            let all_lines = (1 << prepared.points[point].lines.len()) - 1;
            let request = Request { method: Some(Method::Stratified), max_calls: 2500, ..Request::new(5) };
            let at_once = estimate(&PointMiss::new(&prepared, point, all_lines, 5), &request);
            let error = (days_error.powi(2) + (at_once.cov * at_once.mean).powi(2)).sqrt();
            assert!(error < 0.2 * by_days, "{scenario}: too coarse to tell, {error} of {by_days}");
            assert!(
                (at_once.mean - by_days).abs() < 3.5 * error,
                "{scenario}: {} and {by_days}, error {error}",
                at_once.mean
            );
        }
    }

    #[test]
    fn only_what_matters_is_a_coordinate() {
        let prepared = demo("half-marathon-rain-eu-lower.toml", "cedar");
        let problem = PointMiss::new(&prepared, 2, 1, 1);
        // Weather's rank, the four offsets, the road under mats and the spare places are not.
        for place in [0, 5, 6, 7, 8, 10, 11] {
            assert!(!problem.active.contains(&place), "{place}");
        }
        assert!(problem.active.contains(&1), "K");
        assert_eq!(problem.faded.len(), 4, "one line of four mats");
        assert!((problem.shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
