//! The passings of a world: each a pure function of (inputs, seed, world, passing), named by its index alone.

use super::strata::{Stratum, of_index};
use crate::passing::draw::{crossing_uniforms, runner_uniforms};
use crate::passing::pass::{Crossing, Workspace, pass};
use crate::passing::score::Round;
use crate::passing::{CrossingDraw, CrossingId, RaceContext, RunnerDraw};

/// Bins of lateral position across the road.
pub const LATERAL_BINS: usize = 6;

/// The runner of a passing index.
pub fn runner_of(race: &RaceContext, strata: &[Stratum], seed: u64, passing: u64) -> RunnerDraw {
    let Stratum { placement_row, wetness } = strata[of_index(passing, strata.len()).0];
    let u = runner_uniforms(seed, race.draw.race, passing);
    RunnerDraw::from_uniforms(&race.prepared.course, &race.draw, placement_row, wetness, &u)
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
    /// Rounds of all points that can be missed, each with the point's number among them.
    pub joined: Vec<(u16, Round)>,
    pub open_points: u16,
}

/// What a passing was like at a point, beside its rounds.
#[derive(Clone, Copy, Debug)]
pub struct At {
    pub point: usize,
    pub lateral_bin: usize,
    /// Closer to the body than any mount measured.
    pub clamped: bool,
}

/// Sends one runner past every point; `look` is shown each point while its rounds stand in `work`.
/// `points[p]` is the first set of lines asked for at point p and all lines asked for in any set; none leaves the point out.
pub fn send(
    race: &RaceContext,
    runner: &RunnerDraw,
    crossing_at: impl Fn(usize) -> CrossingDraw,
    points: &[Option<(u64, u64)>],
    space: &mut PassingWorkspace,
    mut look: impl FnMut(&At, &mut Workspace),
) {
    space.joined.clear();
    space.open_points = 0;
    for (point, asked) in points.iter().enumerate() {
        let &Some((all, lines)) = asked else { continue };
        let draw = crossing_at(point);
        let mut crossing = Crossing::new(race, runner, &draw);
        crossing.lines = lines;
        pass(&crossing, &mut space.work);
        let width_m = race.prepared.points[point].road_width_m;
        let place = (draw.lateral_m / width_m + 0.5) * LATERAL_BINS as f64;
        let at = At {
            point,
            lateral_bin: (place.max(0.0) as usize).min(LATERAL_BINS - 1),
            clamped: crossing.clamped_gap(),
        };
        look(&at, &mut space.work);
        if let Some((rounds, _)) = space.work.rounds_of(all) {
            let group = space.open_points;
            space.joined.extend(rounds.iter().map(|&round| (group, round)));
            space.open_points += 1;
        }
    }
}
