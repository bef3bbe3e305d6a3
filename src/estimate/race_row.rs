//! One race, estimated: the mergeable unit of every run.
//!
//! A row is a pure function of (inputs, seed, allocation, race index). A run is the list of its rows folded
//! in race order; so threads, resumption and shards give the same bytes.

use super::strata::{Stratum, strata, to_index, weights};
use crate::passing::draw::{crossing_uniforms, runner_uniforms};
use crate::passing::pass::{Crossing, Workspace, pass};
use crate::passing::score::{Round, all_read_odds};
use crate::passing::{CrossingDraw, CrossingId, Prepared, RaceContext, RaceDraw, RunnerDraw, Score};
use serde::{Deserialize, Serialize};

/// Bins of lateral position across the road.
pub const LATERAL_BINS: usize = 6;
/// Causes: never in reach, asleep, awake but not heard, heard but crowded out.
pub const CAUSES: usize = 4;

/// Weighted sums of one set of lines at one point over a race's passings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SetRow {
    /// Expected miss odds of the race.
    pub rate: f64,
    /// Monte Carlo variance of `rate` within the race.
    pub variance: f64,
    pub causes: [f64; CAUSES],
}

/// Where the misses of all lines together come from; each list sums to the rate.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Shares {
    pub placement: Vec<f64>,
    pub wetness: [f64; 3],
    pub lateral: [f64; LATERAL_BINS],
    /// Weight of all passings (missed or not) by lateral bin.
    pub lateral_weight: [f64; LATERAL_BINS],
    /// Share of passings whose gap was closer than any mount measured, and of misses among them.
    pub clamped: f64,
    pub clamped_missed: f64,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PointRow {
    /// One per asked set of lines.
    pub sets: Vec<SetRow>,
    pub shares: Shares,
}

/// Estimates of one race.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RaceRow {
    pub race: u64,
    pub passings: u64,
    pub wetness_shares: [f64; 3],
    pub points: Vec<PointRow>,
    /// Odds that a runner misses at least one point.
    pub any_missed: SetRow,
}

/// What a run asks of every race.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ask {
    pub seed: u64,
    /// Sets of lines at each point as bit masks; the first is all lines.
    pub masks: Vec<Vec<u64>>,
    /// Passings of each stratum in a race.
    pub allocation: Vec<u64>,
}

impl Ask {
    /// All lines, and each line alone where there are several.
    pub fn standard_masks(prepared: &Prepared) -> Vec<Vec<u64>> {
        prepared
            .points
            .iter()
            .map(|p| {
                let lines = p.lines.len() as u32;
                let mut masks = vec![(1u64 << lines) - 1];
                if lines > 1 {
                    masks.extend((0..lines).map(|l| 1u64 << l));
                }
                masks
            })
            .collect()
    }
}

/// Odds of one passing at every point.
#[derive(Clone, Debug, Default)]
pub struct PassingOdds {
    /// Score of each point and set.
    pub scores: Vec<Vec<Score>>,
    pub lateral_bin: Vec<usize>,
    pub clamped: bool,
    pub any_missed: f64,
}

/// The runner of a passing index.
pub fn runner_of(race: &RaceContext, strata: &[Stratum], seed: u64, passing: u64) -> RunnerDraw {
    let (s, _) = super::strata::of_index(passing, strata.len());
    let u = runner_uniforms(seed, race.draw.race, passing);
    RunnerDraw::from_uniforms(
        &race.prepared.course,
        &race.draw,
        strata[s].placement_row,
        strata[s].wetness,
        &u,
    )
}

/// The crossing of a passing index at a point.
pub fn crossing_of(race: &RaceContext, seed: u64, passing: u64, point: usize) -> CrossingDraw {
    let id = CrossingId { seed, race: race.draw.race, passing, point: point as u64 };
    CrossingDraw::from_uniforms(&race.prepared.course, id, &crossing_uniforms(id))
}

/// Scratch of one thread for whole passings.
#[derive(Default)]
pub struct PassingWorkspace {
    pub work: Workspace,
    joined: Vec<(u16, Round)>,
    pub odds: PassingOdds,
}

/// Sends one runner past every point; the result is in `space.odds`.
pub fn odds_of(
    race: &RaceContext,
    runner: &RunnerDraw,
    crossing_at: impl Fn(usize) -> CrossingDraw,
    masks: &[Vec<u64>],
    space: &mut PassingWorkspace,
) {
    let points = race.prepared.points.len();
    space.odds.scores.resize_with(points, Vec::new);
    space.odds.lateral_bin.resize(points, 0);
    space.joined.clear();
    let mut groups = 0u16;
    for (point, point_masks) in masks.iter().enumerate() {
        let draw = crossing_at(point);
        let crossing = Crossing::new(race, runner, &draw);
        pass(&crossing, &mut space.work);
        let width = race.prepared.points[point].road_width_m;
        let place = (draw.lateral_m / width + 0.5) * LATERAL_BINS as f64;
        space.odds.lateral_bin[point] = (place.max(0.0) as usize).min(LATERAL_BINS - 1);
        space.odds.clamped = crossing.clamped_gap();
        let scores = &mut space.odds.scores[point];
        scores.clear();
        for &mask in point_masks {
            scores.push(space.work.score_lines(mask, race.offset_law));
        }
        let all = point_masks[0];
        let open = space.work.lines.iter().enumerate().all(|(l, line)| all >> l & 1 == 0 || !line.settled);
        if open {
            for (l, line) in space.work.lines.iter().enumerate() {
                if all >> l & 1 == 1 {
                    space.joined.extend(line.stairs.rounds().iter().map(|&r| (groups, r)));
                }
            }
            groups += 1;
        }
    }
    space.odds.any_missed = match groups {
        0 => 0.0,
        // One open point: its own miss odds, and no sorting again.
        1 => space.odds.scores.iter().filter_map(|s| s.first()).map(|s| s.miss).fold(0.0, f64::max),
        _ => 1.0 - all_read_odds(&mut space.joined, groups as usize, race.offset_law),
    };
}

/// Mean and variance of one stratum, summed in the order of its passings.
#[derive(Clone, Copy, Default)]
struct Moments {
    sum: f64,
    sum_squares: f64,
}

impl Moments {
    fn add(&mut self, x: f64) {
        self.sum += x;
        self.sum_squares += x * x;
    }
    fn mean(&self, n: f64) -> f64 {
        self.sum / n
    }
    /// Variance of the mean.
    fn variance_of_mean(&self, n: f64) -> f64 {
        let mean = self.sum / n;
        ((self.sum_squares / n - mean * mean) / (n - 1.0)).max(0.0)
    }
}

/// Estimates one race.
pub fn run_race(prepared: &Prepared, ask: &Ask, race_index: u64, space: &mut PassingWorkspace) -> RaceRow {
    run_race_unless(prepared, ask, race_index, space, &|| false).expect("nobody asks it to stop")
}

/// The same; `None` once `stop` says so, which is asked at every passing.
pub fn run_race_unless(
    prepared: &Prepared,
    ask: &Ask,
    race_index: u64,
    space: &mut PassingWorkspace,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<RaceRow> {
    let course = &prepared.course;
    let draw = RaceDraw::draw(course, &prepared.tag, ask.seed, race_index);
    let race = RaceContext::new(prepared, draw);
    let strata = strata(course);
    let weights = weights(course, &strata, &race.draw.wetness_shares);
    let mut row = RaceRow {
        race: race_index,
        passings: 0,
        wetness_shares: race.draw.wetness_shares,
        points: ask
            .masks
            .iter()
            .map(|m| PointRow {
                sets: vec![SetRow::default(); m.len()],
                shares: Shares { placement: vec![0.0; course.field.placements.len()], ..Shares::default() },
            })
            .collect(),
        any_missed: SetRow::default(),
    };
    let mut moments: Vec<Vec<Moments>> =
        ask.masks.iter().map(|m| vec![Moments::default(); m.len()]).collect();
    for (s, stratum) in strata.iter().enumerate() {
        let (weight, count) = (weights[s], ask.allocation[s]);
        if weight <= 0.0 || count == 0 {
            continue;
        }
        let n = count as f64;
        moments.iter_mut().flatten().for_each(|m| *m = Moments::default());
        let mut any = Moments::default();
        for k in 0..count {
            if stop() {
                return None;
            }
            let passing = to_index(s, k, strata.len());
            let runner = runner_of(&race, &strata, ask.seed, passing);
            odds_of(&race, &runner, |point| crossing_of(&race, ask.seed, passing, point), &ask.masks, space);
            any.add(space.odds.any_missed);
            for (point, scores) in space.odds.scores.iter().enumerate() {
                let out = &mut row.points[point];
                for (set, score) in scores.iter().enumerate() {
                    moments[point][set].add(score.miss);
                    let causes = [score.never_in_reach, score.asleep, score.unheard, score.crowded_out];
                    for (sum, cause) in out.sets[set].causes.iter_mut().zip(causes) {
                        *sum += weight / n * cause;
                    }
                }
                let (miss, share) = (scores[0].miss * weight / n, weight / n);
                let bin = space.odds.lateral_bin[point];
                out.shares.placement[stratum.placement_row] += miss;
                out.shares.wetness[stratum.wetness as usize] += miss;
                out.shares.lateral[bin] += miss;
                out.shares.lateral_weight[bin] += share;
                if space.odds.clamped {
                    out.shares.clamped += share;
                    out.shares.clamped_missed += miss;
                }
            }
        }
        row.passings += count;
        for (point, sets) in moments.iter().enumerate() {
            for (set, m) in sets.iter().enumerate() {
                row.points[point].sets[set].rate += weight * m.mean(n);
                row.points[point].sets[set].variance += weight * weight * m.variance_of_mean(n);
            }
        }
        row.any_missed.rate += weight * any.mean(n);
        row.any_missed.variance += weight * weight * any.variance_of_mean(n);
    }
    Some(row)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::passing::draw::OffsetLaw;
    use crate::passing::prepare;
    use crate::passing::trace::trace;
    use crate::random::quantity::Quantity;
    use std::path::Path;
    use std::sync::Arc;

    /// The kernel leaves out rounds that cannot matter; the trace works out every round. Both must agree for the very sample.
    #[test]
    fn kernel_agrees_with_the_sum_over_every_round() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (mut hard, mut easy) = (0, 0);
        for (scenario, tag_name) in
            [("half-marathon-rain-eu-lower.toml", "alder"), ("city-10k-dry-usa.toml", "alder")]
        {
            let (course, _) = crate::course::load(&root.join("scenarios").join(scenario)).unwrap();
            let (tag, _) = crate::tag::load(&root.join("demo-data/tags").join(tag_name)).unwrap();
            let prepared = prepare(Arc::new(course), Arc::new(tag));
            let strata = strata(&prepared.course);
            let mut work = Workspace::new();
            for race_index in 0..4 {
                let draw = RaceDraw::draw(&prepared.course, &prepared.tag, 9, race_index);
                let race = RaceContext::new(&prepared, draw);
                for passing in 0..3 * strata.len() as u64 {
                    let runner = runner_of(&race, &strata, 9, passing);
                    let draw = crossing_of(&race, 9, passing, 0);
                    let crossing = Crossing::new(&race, &runner, &draw);
                    pass(&crossing, &mut work);
                    let law = OffsetLaw(Quantity::Pinned(runner.sample_offset_db));
                    let kernel = work.score_lines(1, law).miss;
                    let plain = trace(&crossing).miss_odds;
                    assert!(
                        (kernel - plain).abs() < 1e-9,
                        "{scenario} {race_index}/{passing}: {kernel} {plain}"
                    );
                    if plain > 1e-6 { hard += 1 } else { easy += 1 }
                }
            }
        }
        assert!(hard > 10 && easy > 10, "{hard} hard and {easy} easy passings tell something");
    }
}
