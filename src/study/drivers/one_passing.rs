//! What decides one passing: the log miss odds of a single runner at the timing point, split over groups of what was drawn.
//!
//! Inputs that stand or fall together form one group and are exchanged together, so the groups have nothing in common. The sample's own offset is no input:
//! the score integrates over it. The 32 coordinates that matter come from one scrambled Sobol' point, the timing of rounds,
//! neighbours and waves from plain streams.

use super::answer::Split;
use super::{log_odds, pick_freeze, scramble, split, two_halves};
use crate::course::Course;
use crate::course::weather::Wetness;
use crate::passing::draw::{CROSSING_DIMS, RACE_DIMS, RUNNER_DIMS, crossing_uniforms, runner_uniforms};
use crate::passing::{Crossing, CrossingDraw, CrossingId, Prepared, RaceContext, RaceDraw, RunnerDraw};
use crate::passing::{Workspace, pass};
use crate::random::sobol::Sobol;

/// Everything drawn for one passing, as points of the unit cube and names of streams.
#[derive(Clone, Debug)]
pub struct Drawn {
    race: [f64; RACE_DIMS],
    wetness: f64,
    placement: f64,
    runner: [f64; RUNNER_DIMS],
    crossing: [f64; CROSSING_DIMS],
    neighbours: u64,
    waves: u64,
}

/// Places of the unit cube's coordinates, in the order of the Sobol' dimensions: the coarsest first.
const RACE: [usize; 12] = [0, 1, 4, 3, 7, 8, 6, 5, 2, 10, 9, 11];
const RUNNER: [usize; 16] = [5, 6, 7, 3, 9, 0, 1, 2, 10, 11, 12, 13, 14, 4, 16, 17];
const CROSSING: [usize; 5] = [0, 1, 2, 3, 4];
const DIMS: usize = 2 + RACE.len() + RUNNER.len() + CROSSING.len();

/// A group of inputs: takes its part of `from` into `to`.
type Takes = fn(to: &mut Drawn, from: &Drawn);

fn take<const N: usize>(to: &mut [f64], from: &[f64], places: [usize; N]) {
    for place in places {
        to[place] = from[place];
    }
}

pub const GROUPS: [(&str, Takes); 13] = [
    ("weather of the day", |t, f| take(&mut t.race, &f.race, [0, 10])),
    ("what else the race shares (batch, lab, body, diffuse level)", |t, f| {
        take(&mut t.race, &f.race, [1, 2, 3, 4, 5, 6, 7, 8, 9, 11]);
    }),
    ("how wet the bib is", |t, f| t.wetness = f.wetness),
    ("where the bib sits", |t, f| t.placement = f.placement),
    ("air gap behind the bib", |t, f| take(&mut t.runner, &f.runner, [5])),
    ("what water does to the tag", |t, f| take(&mut t.runner, &f.runner, [6, 7])),
    ("resonance and crosswise response of this sample", |t, f| take(&mut t.runner, &f.runner, [9, 16])),
    ("height of the tag", |t, f| take(&mut t.runner, &f.runner, [0, 1, 2])),
    ("speed and steps", |t, f| take(&mut t.runner, &f.runner, [3, 11])),
    ("size, heading, lean and swing of the trunk", |t, f| {
        take(&mut t.runner, &f.runner, [4, 10, 12, 13, 14, 17]);
        take(&mut t.crossing, &f.crossing, [1, 2, 3, 4]);
    }),
    ("place across the road", |t, f| take(&mut t.crossing, &f.crossing, [0])),
    ("neighbours, contenders and timing of the rounds", |t, f| {
        take(&mut t.crossing, &f.crossing, [5, 6, 7, 8]);
        t.neighbours = f.neighbours;
    }),
    ("diffuse waves", |t, f| t.waves = f.waves),
];

impl Drawn {
    /// From Sobol' coordinates; what they do not cover comes from the streams of passing `number`.
    fn new(sobol: &[f64], seed: u64, number: u64) -> Drawn {
        let id = CrossingId { seed, race: 0, passing: number, point: 0 };
        let mut out = Drawn {
            race: [0.5; RACE_DIMS],
            wetness: sobol[0],
            placement: sobol[1],
            runner: runner_uniforms(seed, 0, number),
            crossing: crossing_uniforms(id),
            neighbours: number,
            waves: number,
        };
        let (race, rest) = sobol[2..].split_at(RACE.len());
        let (runner, crossing) = rest.split_at(RUNNER.len());
        RACE.iter().zip(race).for_each(|(&place, &u)| out.race[place] = u);
        RUNNER.iter().zip(runner).for_each(|(&place, &u)| out.runner[place] = u);
        CROSSING.iter().zip(crossing).for_each(|(&place, &u)| out.crossing[place] = u);
        out
    }

    fn miss(&self, prepared: &Prepared, seed: u64, work: &mut Workspace) -> f64 {
        let course = &prepared.course;
        let draw = RaceDraw::from_uniforms(course, &prepared.tag, 0, &self.race);
        let context = RaceContext::new(prepared, draw);
        let [dry, damp, _] = context.draw.wetness_shares;
        let wetness = match self.wetness {
            u if u < dry => Wetness::Dry,
            u if u < dry + damp => Wetness::Damp,
            _ => Wetness::Soaked,
        };
        let row = placement_row(course, self.placement);
        let runner = RunnerDraw::from_uniforms(course, &context.draw, row, wetness, &self.runner);
        let id = |passing| CrossingId { seed, race: 0, passing, point: 0 };
        let mut crossing = CrossingDraw::from_uniforms(course, id(self.waves), &self.crossing);
        crossing.neighbours = id(self.neighbours);
        pass(&Crossing::new(&context, &runner, &crossing), work);
        let all = (1 << prepared.points[0].lines.len()) - 1;
        work.score_lines(all, context.offset_law).miss
    }
}

/// Row of the field's placement table at a rank.
fn placement_row(course: &Course, rank: f64) -> usize {
    let rows = &course.field.placements;
    let total: f64 = rows.iter().map(|row| row.share).sum();
    let mut below = 0.0;
    for (i, row) in rows.iter().enumerate() {
        below += row.share / total;
        if rank < below {
            return i;
        }
    }
    rows.iter().rposition(|row| row.share > 0.0).unwrap_or(0)
}

/// Indices by `points` points in each of `replications` replications. `prepared` has one timing point.
pub fn indices(
    prepared: &Prepared,
    seed: u64,
    points: u64,
    replications: u64,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &dyn Fn(u64),
) -> Option<Split> {
    let sobol = Sobol::new(2 * DIMS)?;
    let mut runs = Vec::new();
    for replication in 0..replications {
        watch(replication);
        let scrambled = scramble(&sobol, seed, replication);
        let pairs: Vec<(Drawn, Drawn)> = (0..points)
            .map(|i| {
                let [a, b] = two_halves(&scrambled, DIMS, i);
                let number = 2 * (replication * points + i);
                (Drawn::new(&a, seed, number), Drawn::new(&b, seed, number + 1))
            })
            .collect();
        let exchange = |a: &Drawn, b: &Drawn, group: usize| {
            let mut mixed = a.clone();
            GROUPS[group].1(&mut mixed, b);
            mixed
        };
        let f = |drawn: &Drawn, work: &mut Workspace| log_odds(drawn.miss(prepared, seed, work));
        match pick_freeze(&pairs, GROUPS.len(), exchange, f, stop) {
            Some(run) => runs.push(run),
            None => break,
        }
    }
    split(&runs, |i| (GROUPS[i].0.to_owned(), String::new(), String::new()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exchanging every group in turn must turn A into B: no input is forgotten, none belongs to two groups.
    #[test]
    fn groups_cover_every_input_once() {
        let points = |u: f64| vec![u; DIMS];
        let (a, b) = (Drawn::new(&points(0.25), 1, 0), Drawn::new(&points(0.75), 1, 1));
        let flat = |d: &Drawn| {
            let mut list = vec![d.wetness, d.placement, d.neighbours as f64, d.waves as f64];
            list.extend(&d.race[..11]);
            // The sample's offset is integrated out; places beyond the last quantity are not in use.
            list.extend(d.runner.iter().enumerate().filter(|(i, _)| ![8, 15].contains(i)).map(|(_, u)| u));
            list.extend(&d.crossing[..9]);
            list
        };
        let mut mixed = a.clone();
        let mut changed = vec![0; flat(&a).len()];
        for (_, takes) in GROUPS {
            let before = flat(&mixed);
            takes(&mut mixed, &b);
            for (count, (x, y)) in changed.iter_mut().zip(before.iter().zip(flat(&mixed))) {
                *count += usize::from(*x != y);
            }
        }
        assert_eq!(flat(&mixed), flat(&b));
        assert!(changed.iter().all(|&c| c == 1), "{changed:?}");
    }
}
