//! Miss odds of one race, stratum by stratum, on draws that do not depend on the tag or the layout.
//!
//! Strata are placement × wetness with exact weights. A stratum's mean miss odds do not depend on how many bibs of the day are
//! wet, so the shares of a day are laid over the means afterwards: any wetness mix is had from one run, without noise
//! of its own. Passings go where weight and misses are (J. Neyman, J. Roy. Statist. Soc. 97, 1934), at least two everywhere: passings of even
//! and odd number make two halves, whose difference tells the noise of the passings alone.

use crate::course::Course;
use crate::course::weather::{Weather, Wetness};
use crate::passing::draw::{crossing_uniforms, runner_uniforms};
use crate::passing::{
    Crossing, CrossingDraw, CrossingId, Prepared, RaceContext, RunnerDraw, Score, Workspace, pass,
};

pub const WETNESSES: usize = 3;
/// First passing of the runs that plan the others: those must not be seen twice.
const PLANNING: u64 = 1 << 39;
/// Passings of one stratum have numbers of their own.
const STRATUM_BITS: u32 = 24;

/// Which line sets are scored at each point, as bit masks over the point's lines.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSets(pub Vec<Vec<u64>>);

impl LineSets {
    /// All lines of every point together.
    pub fn all_lines(prepared: &Prepared) -> LineSets {
        LineSets(prepared.points.iter().map(|p| vec![(1u64 << p.lines.len()) - 1]).collect())
    }
}

/// What one stratum gave for one line set.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StratumSum {
    pub passings: u32,
    pub half: [f64; 2],
    pub squares: f64,
    /// Sums by first cause: never in reach, asleep, awake but not heard, heard but crowded out.
    pub causes: [f64; 4],
}

impl StratumSum {
    fn add(&mut self, number: u32, score: &Score) {
        self.passings += 1;
        self.half[(number % 2) as usize] += score.miss;
        self.squares += score.miss * score.miss;
        for (sum, part) in
            self.causes.iter_mut().zip([score.never_in_reach, score.asleep, score.unheard, score.crowded_out])
        {
            *sum += part;
        }
    }
    fn plus(&mut self, other: &StratumSum) {
        self.passings += other.passings;
        self.squares += other.squares;
        (0..2).for_each(|i| self.half[i] += other.half[i]);
        (0..4).for_each(|i| self.causes[i] += other.causes[i]);
    }
    /// Mean miss odds; 0 without passings.
    pub fn mean(&self) -> f64 {
        per(self.half[0] + self.half[1], self.passings)
    }
    /// Mean over the passings of even and of odd number.
    pub fn halves(&self) -> [f64; 2] {
        [per(self.half[0], self.passings.div_ceil(2)), per(self.half[1], self.passings / 2)]
    }
    pub fn cause_means(&self) -> [f64; 4] {
        self.causes.map(|sum| per(sum, self.passings))
    }
    /// Variance of the mean by the passings of this stratum alone.
    pub fn mean_variance(&self) -> f64 {
        let n = f64::from(self.passings);
        let mean = self.mean();
        if self.passings < 2 { 0.0 } else { ((self.squares / n - mean * mean) / (n - 1.0)).max(0.0) }
    }
}

fn per(sum: f64, count: u32) -> f64 {
    if count == 0 { 0.0 } else { sum / f64::from(count) }
}

/// How many passings each stratum gets, by placement row and wetness.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan(pub Vec<u32>);

impl Plan {
    /// The plan without strata of no weight: a class of wetness that a day does not have needs no passings.
    pub fn where_weighed(&self, weights: &[f64]) -> Plan {
        Plan(self.0.iter().zip(weights).map(|(&n, &w)| if w > 0.0 { n } else { 0 }).collect())
    }
}

/// Number of a stratum's passing among all of a race.
pub fn passing_number(stratum: usize, number: u64) -> u64 {
    ((stratum as u64) << STRATUM_BITS) + number
}

/// Stratum sums of one race: `[point][line set][row × 3 + wetness]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    pub sums: Vec<Vec<Vec<StratumSum>>>,
}

impl Surface {
    fn empty(sets: &LineSets, strata: usize) -> Surface {
        Surface {
            sums: sets.0.iter().map(|sets| vec![vec![StratumSum::default(); strata]; sets.len()]).collect(),
        }
    }

    /// Adds another run over the same sets and strata.
    pub fn plus(&mut self, other: &Surface) {
        for (mine, theirs) in
            self.sums.iter_mut().flatten().flatten().zip(other.sums.iter().flatten().flatten())
        {
            mine.plus(theirs);
        }
    }

    /// Σ over strata of weight × value.
    pub fn weigh(
        &self,
        point: usize,
        set: usize,
        weights: &[f64],
        value: impl Fn(&StratumSum) -> f64,
    ) -> f64 {
        self.sums[point][set].iter().zip(weights).map(|(sum, weight)| weight * value(sum)).sum()
    }

    pub fn miss(&self, point: usize, set: usize, weights: &[f64]) -> f64 {
        self.weigh(point, set, weights, StratumSum::mean)
    }

    pub fn halves(&self, point: usize, set: usize, weights: &[f64]) -> [f64; 2] {
        [0, 1].map(|half| self.weigh(point, set, weights, |sum| sum.halves()[half]))
    }
}

/// Weight of each stratum when the shares of dry, damp and soaked bibs are `wetness`.
pub fn weights(course: &Course, wetness: [f64; WETNESSES]) -> Vec<f64> {
    course.field.placements.iter().flat_map(|row| wetness.map(|share| row.share * share)).collect()
}

/// Mean shares of dry, damp and soaked bibs over the days of a weather.
pub fn mean_shares(weather: &Weather) -> [f64; WETNESSES] {
    const DAYS: usize = 200;
    let mut mean = [0.0; WETNESSES];
    for rank in day_ranks(DAYS) {
        for (sum, share) in mean.iter_mut().zip(weather.shares(rank)) {
            *sum += share / DAYS as f64;
        }
    }
    mean
}

/// Ranks of `days` equally likely days.
pub fn day_ranks(days: usize) -> impl Iterator<Item = f64> {
    (0..days).map(move |i| (i as f64 + 0.5) / days as f64)
}

/// Runs the planned passings of one race; passing numbers start at `first` in every stratum.
pub fn run(
    context: &RaceContext,
    sets: &LineSets,
    plan: &Plan,
    seed: u64,
    first: u64,
    work: &mut Workspace,
) -> Surface {
    let course = &context.prepared.course;
    let mut surface = Surface::empty(sets, plan.0.len());
    for (stratum, &count) in plan.0.iter().enumerate() {
        let (row, wetness) = (stratum / WETNESSES, Wetness::ALL[stratum % WETNESSES]);
        for number in 0..count {
            let passing = first + passing_number(stratum, u64::from(number));
            let race = context.draw.race;
            let uniforms = runner_uniforms(seed, race, passing);
            let runner = RunnerDraw::from_uniforms(course, &context.draw, row, wetness, &uniforms);
            for (point, sets) in sets.0.iter().enumerate() {
                if sets.is_empty() {
                    continue;
                }
                let id = CrossingId { seed, race, passing, point: point as u64 };
                let draw = CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id));
                pass(&Crossing::new(context, &runner, &draw), work);
                for (set, &mask) in sets.iter().enumerate() {
                    let score = work.score_lines(mask, context.offset_law);
                    surface.sums[point][set][stratum].add(number, &score);
                }
            }
        }
    }
    surface
}

/// A few passings everywhere, with numbers of their own, to plan the rest.
pub fn run_planning(context: &RaceContext, sets: &LineSets, seed: u64, work: &mut Workspace) -> Surface {
    let strata = context.prepared.course.field.placements.len() * WETNESSES;
    run(context, sets, &Plan(vec![4; strata]), seed, PLANNING, work)
}

/// Shares out `passings` by Neyman's rule over pooled planning runs (their points and sets averaged), at least
/// two in every stratum and always an even number.
pub fn plan(course: &Course, planning: &Surface, passings: u32) -> Plan {
    // A stratum that happened to show no miss may still have some.
    const LEAST_SD: f64 = 0.03;
    let weights = weights(course, mean_shares(&course.weather));
    let pull: Vec<f64> = weights
        .iter()
        .enumerate()
        .map(|(stratum, weight)| {
            let all = || planning.sums.iter().flatten().map(|strata| &strata[stratum]);
            let count: f64 = all().map(|sum| f64::from(sum.passings)).sum();
            let squares: f64 = all().map(|sum| sum.squares).sum();
            weight * (squares / count.max(1.0)).sqrt().max(LEAST_SD)
        })
        .collect();
    let total: f64 = pull.iter().sum();
    Plan(
        pull.iter()
            .map(|p| {
                let share = if total > 0.0 { p / total } else { 0.0 };
                2 * ((f64::from(passings) * share / 2.0).round() as u32).clamp(1, (1 << STRATUM_BITS) / 2 - 1)
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::quantity::Quantity;

    #[test]
    fn halves_and_causes_add_up() {
        let mut sum = StratumSum::default();
        for (number, miss) in [0.1, 0.3, 0.5].into_iter().enumerate() {
            let score = Score { miss, asleep: miss, ..Score::default() };
            sum.add(number as u32, &score);
        }
        assert!((sum.mean() - 0.3).abs() < 1e-15);
        assert!((sum.halves()[0] - 0.3).abs() < 1e-15 && (sum.halves()[1] - 0.3).abs() < 1e-15);
        assert!((sum.cause_means()[1] - 0.3).abs() < 1e-15);
        // Sample variance 0.04 over three passings.
        assert!((sum.mean_variance() - 0.04 / 3.0).abs() < 1e-12);
        assert_eq!(StratumSum::default().mean(), 0.0);
    }

    #[test]
    fn mean_shares_of_a_uniform_day() {
        let weather = Weather {
            key: "own".into(),
            damp_share: Quantity::Pinned(0.3),
            soaked_share: Quantity::Uniform { min: 0.4, max: 0.7 },
        };
        let [dry, damp, soaked] = mean_shares(&weather);
        assert!((dry - 0.15).abs() < 1e-3 && (damp - 0.3).abs() < 1e-9 && (soaked - 0.55).abs() < 1e-9);
    }
}
