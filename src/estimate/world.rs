//! One world, estimated: the mergeable unit of every run.
//!
//! A world is one draw of what nobody knows and only passings tell (`passing::unknowns`). Its passings leave the offset of the thresholds
//! open (`offsets`) and are gathered by stratum, so each world gives the miss odds of `RACE_DAYS` race days, for every set of lines, on the
//! same passings. Passings of even and of odd number make two halves: their difference tells the noise of the passings alone.
//! A row is a pure function of (inputs, seed, allocation, world). A run is the list of its rows in the order of their worlds; so threads,
//! checkpoints and shards give the same bytes.

use super::offsets::{DAYS, RACE_DAYS, RaceDay, RaceDays};
use super::passings::{LATERAL_BINS, PassingWorkspace, crossing_of, runner_of, send};
use super::strata::{Stratum, strata, to_index, weights};
use super::tilt::Tilt;
use crate::passing::draw::{RACE_DIMS, race_point_and_pick};
use crate::passing::score::{Round, each_step, each_step_of_any, score_sorted};
use crate::passing::unknowns::by_passings;
use crate::passing::{Prepared, RaceContext};
use serde::{Deserialize, Serialize};

/// Causes: never in reach, asleep, awake but not heard, heard but crowded out.
pub const CAUSES: usize = 4;

/// What a run asks of every world.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ask {
    pub seed: u64,
    /// Sets of lines at each point as bit masks, the first of a point all its lines; none: the point is left out.
    pub masks: Vec<Vec<u64>>,
    /// Passings of each stratum, even numbers.
    pub allocation: Vec<u64>,
    /// Where worlds are drawn.
    pub tilt: Tilt,
}

impl Ask {
    /// Number of the set "missed at one point or more".
    pub fn missed_somewhere(&self) -> usize {
        self.sets()
    }
    /// Number of the set "missed at every point asked for".
    pub fn missed_everywhere(&self) -> usize {
        self.sets() + 1
    }
    /// Number of a point's set among all sets.
    pub fn set(&self, point: usize, set: usize) -> usize {
        self.masks[..point].iter().map(Vec::len).sum::<usize>() + set
    }
    /// Point of the unit cube of a world, and its weight.
    pub fn world_point(&self, prepared: &Prepared, world: u64) -> ([f64; RACE_DIMS], f64) {
        let (mut u, pick) = race_point_and_pick(&prepared.tag.name, self.seed, world);
        match &prepared.learned {
            Some(learned) => {
                learned.world(pick, &mut u);
                (u, 1.0)
            }
            None => self.tilt.point(&u, pick, by_passings()),
        }
    }
    pub fn sets(&self) -> usize {
        self.masks.iter().map(Vec::len).sum()
    }
    pub fn passings(&self) -> u64 {
        self.allocation.iter().sum()
    }
    /// First set and union of the sets of each point.
    pub(crate) fn points(&self) -> Vec<Option<(u64, u64)>> {
        let of = |masks: &Vec<u64>| masks.first().map(|&m| (m, masks.iter().fold(0, |a, b| a | b)));
        self.masks.iter().map(of).collect()
    }
    /// All lines, and each line alone where there are several.
    pub fn standard_masks(prepared: &Prepared) -> Vec<Vec<u64>> {
        let of_point = |lines: usize| {
            let alone = (0..lines).map(|l| 1u64 << l).filter(|_| lines > 1);
            std::iter::once((1u64 << lines) - 1).chain(alone).collect()
        };
        prepared.points.iter().map(|p| of_point(p.lines.len())).collect()
    }
}

/// Where the misses of all lines of a point come from, over all race days of the world, times the world's weight; each list sums to the
/// weighted miss rate.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Shares {
    pub causes: [f64; CAUSES],
    /// By stratum, in the order of `strata`.
    pub strata: Vec<f64>,
    pub lateral: [f64; LATERAL_BINS],
    /// Weight of all passings (missed or not) by lateral bin.
    pub lateral_weight: [f64; LATERAL_BINS],
    /// Share of passings closer to the body than any mount measured, and misses among them.
    pub clamped: f64,
    pub clamped_missed: f64,
}

impl Shares {
    fn times(mut self, weight: f64) -> Shares {
        let lists = self.causes.iter_mut().chain(&mut self.strata);
        lists.chain(&mut self.lateral).chain(&mut self.lateral_weight).for_each(|x| *x *= weight);
        self.clamped *= weight;
        self.clamped_missed *= weight;
        self
    }
}

/// Estimates of one world.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct WorldRow {
    pub world: u64,
    /// Importance weight of each level; 1 where worlds and levels are drawn from their own law.
    pub level_weights: Vec<f64>,
    pub passings: u64,
    /// `[set][half][race day]`, flat: sets of the points in order, then "missed somewhere" and "missed everywhere".
    pub odds: Vec<f32>,
    /// Mean weight of each stratum, times the world's weight.
    pub weights: Vec<f64>,
    pub points: Vec<Shares>,
}

impl WorldRow {
    /// Miss odds of a set of lines on each race day, from half 0 or 1 of the passings.
    pub fn half(&self, set: usize, half: usize) -> &[f32] {
        let first = (2 * set + half) * RACE_DAYS;
        &self.odds[first..first + RACE_DAYS]
    }
}

/// Staircases of a world, gathered on the grid of its race days: `[set][half][stratum][cell]`, sums over passings.
pub struct Gathered {
    pub days: RaceDays,
    pub strata: Vec<Stratum>,
    cells: Vec<f64>,
    points: Vec<Shares>,
    mean_weights: Vec<f64>,
    weight: f64,
}

/// Runs the passings of a world at a point of the unit cube (with its weight), its staircases gathered over what its race days need, or over `span` (dB); `None` once `stop` says so.
pub fn gather(
    prepared: &Prepared,
    ask: &Ask,
    world: u64,
    (point, weight): ([f64; RACE_DIMS], f64),
    span: Option<(f64, f64)>,
    space: &mut PassingWorkspace,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Gathered> {
    if stop() {
        return None;
    }
    let course = &prepared.course;
    let strata = strata(course);
    let days = RaceDays::over(prepared, (ask.seed, world), &point, &ask.tilt, span);
    // `[day][stratum]`, each day with the weight of its level.
    let of_day = |(i, day): (usize, &RaceDay)| {
        let share = days.level_weights[i / DAYS] / RACE_DAYS as f64;
        weights(course, &strata, &day.draw).into_iter().map(|w| w * share).collect::<Vec<f64>>()
    };
    let day_weights: Vec<Vec<f64>> = days.days.iter().enumerate().map(of_day).collect();
    let mean_weights: Vec<f64> =
        (0..strata.len()).map(|s| day_weights.iter().map(|day| day[s]).sum()).collect();
    let race = RaceContext::new(prepared, days.world.clone()).certain(days.low_db, days.high_db);
    let (width, all_points) = (days.width(), ask.points());
    let mut cells = vec![0.0; (ask.sets() + 2) * 2 * strata.len() * width];
    let points_asked = all_points.iter().flatten().count();
    let mut points =
        vec![Shares { strata: vec![0.0; strata.len()], ..Shares::default() }; course.points.len()];
    for (s, &count) in ask.allocation.iter().enumerate() {
        let share = mean_weights[s] / count as f64;
        let above = days.odds_above(|day| day_weights[day][s]);
        for k in 0..count {
            if stop() {
                return None;
            }
            let passing = to_index(s, k, strata.len());
            let runner = runner_of(&race, &strata, ask.seed, passing);
            let row_of = |set: usize| ((2 * set + (k % 2) as usize) * strata.len() + s) * width;
            let draw_at = |point| crossing_of(&race, ask.seed, passing, point);
            send(&race, &runner, draw_at, &all_points, space, |at, work| {
                let shares = &mut points[at.point];
                shares.lateral_weight[at.lateral_bin] += share;
                shares.clamped += if at.clamped { share } else { 0.0 };
                for (i, &mask) in ask.masks[at.point].iter().enumerate() {
                    let Some((rounds, in_reach)) = work.rounds_of(mask) else { continue };
                    let first = row_of(ask.set(at.point, i));
                    let row = &mut cells[first..first + width];
                    let stays = each_step(rounds, |margin, rise| days.gather(row, margin, rise));
                    row[width - 1] += stays;
                    if i > 0 {
                        continue;
                    }
                    let score = score_sorted(rounds, &above, in_reach);
                    let missed = share * score.miss;
                    let causes = [score.never_in_reach, score.asleep, score.unheard, score.crowded_out];
                    shares.causes.iter_mut().zip(causes).for_each(|(sum, cause)| *sum += share * cause);
                    shares.strata[s] += missed;
                    shares.lateral[at.lateral_bin] += missed;
                    shares.clamped_missed += if at.clamped { missed } else { 0.0 };
                }
            });
            let groups = space.open_points as usize;
            if groups > 0 {
                let first = row_of(ask.missed_somewhere());
                let row = &mut cells[first..first + width];
                let stays = each_step_of_any(&mut space.joined, groups, |margin, rise| {
                    days.gather(row, margin, rise)
                });
                row[width - 1] += stays;
            }
            if groups == points_asked {
                // Sorted by now: one staircase of all rounds.
                let rounds: Vec<Round> = space.joined.iter().map(|(_, round)| *round).collect();
                let first = row_of(ask.missed_everywhere());
                let row = &mut cells[first..first + width];
                let stays = each_step(&rounds, |margin, rise| days.gather(row, margin, rise));
                row[width - 1] += stays;
            }
        }
    }
    Some(Gathered { days, strata, cells, points, mean_weights, weight })
}

impl Gathered {
    /// Mean staircase of a stratum for one set of lines, from half 0 or 1 of its `passings`.
    pub fn staircase(&self, set: usize, half: usize, stratum: usize) -> &[f64] {
        let first = ((2 * set + half) * self.strata.len() + stratum) * self.days.width();
        &self.cells[first..first + self.days.width()]
    }

    /// Miss odds of every set of lines on every race day.
    fn row(self, prepared: &Prepared, ask: &Ask, world: u64) -> WorldRow {
        let width = self.days.width();
        let day_weights: Vec<Vec<f64>> =
            self.days.days.iter().map(|day| weights(&prepared.course, &self.strata, &day.draw)).collect();
        let mut odds = Vec::with_capacity((ask.sets() + 2) * 2 * RACE_DAYS);
        let mut mixed = vec![0.0; width];
        for set in 0..ask.sets() + 2 {
            for half in 0..2 {
                // Strata with nothing to miss cost nothing.
                let open: Vec<usize> = (0..self.strata.len())
                    .filter(|&s| self.staircase(set, half, s).iter().any(|&h| h != 0.0))
                    .collect();
                for (day, weights) in day_weights.iter().enumerate() {
                    mixed.fill(0.0);
                    for &s in &open {
                        let share = weights[s] / (ask.allocation[s] / 2) as f64;
                        let cells = self.staircase(set, half, s);
                        mixed.iter_mut().zip(cells).for_each(|(sum, h)| *sum += share * h);
                    }
                    odds.push(self.days.odds(&mixed, day).clamp(0.0, 1.0) as f32);
                }
            }
        }
        WorldRow {
            world,
            level_weights: self.days.level_weights.iter().map(|v| v * self.weight).collect(),
            passings: ask.passings(),
            odds,
            weights: self.mean_weights.iter().map(|w| w * self.weight).collect(),
            points: self.points.into_iter().map(|shares| shares.times(self.weight)).collect(),
        }
    }
}

/// The estimates of a world; `None` once `stop` says so.
pub fn run_world(
    prepared: &Prepared,
    ask: &Ask,
    world: u64,
    space: &mut PassingWorkspace,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<WorldRow> {
    let at = ask.world_point(prepared, world);
    gather(prepared, ask, world, at, None, space, stop).map(|gathered| gathered.row(prepared, ask, world))
}
