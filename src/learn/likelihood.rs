//! ln L of the vectors of one group, and what each of them would have counted.
//!
//! The odds of a set of lines are laid over the law of the tags once for each spread. Given a vector, a race adds one offset to every threshold
//! (batch, and what it has of its own) and has one share of soaked bibs; both are integrated out on the grid of the table,
//!   L = Σ_k mass(k) · 1/N Σ_n Bin(soaked | n) · Π Bin(x | p_n(k)),
//! with four places within each step, since a count of many misses is sharper than the grid. Points and lines of a race share its day, so their product
//! stands inside.

use super::evidence::{Counted, Evidence, Kind, Odds, RaceEvidence, Sum, TrialEvidence};
use super::odds::{Kernel, cell_at, normal_masses};
use super::vectors::{EACH, SPREADS};
use crate::course::Course;
use crate::course::field::Placement;
use crate::estimate::response::Response;
use crate::estimate::strata::Stratum;
use crate::numeric::counts::{binomial_quantile, binomial_tails};
use crate::numeric::gamma::ln_gamma;
use crate::passing::RaceDraw;
use crate::passing::draw::{OffsetLaw, RACE_DIMS, offset_law};
use crate::random::quantity::Quantity;
use crate::random::{Purpose, Stream};
use std::collections::HashMap;

/// Days of a race: ranks of wetness at their middles.
const DAYS: usize = 8;
/// Places within a step of the grid.
const PLACES: [f64; 4] = [-0.375, -0.125, 0.125, 0.375];
/// What passings of one person have in common beyond the tag, dB (standard deviation; our estimate).
const PERSON_SD_DB: f64 = 1.0;
/// Odds nearer to 0 or 1 than this count as this.
const LEAST_ODDS: f64 = 1e-9;

/// What the vectors of a group say, each `[vector][...]`.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// ln L of each source.
    pub ln_l: Vec<Vec<f64>>,
    /// What each source would have counted on a day drawn for the vector: missed in its first count.
    pub again: Vec<Vec<u64>>,
}

/// The group at place `at` of the tables, whose vectors are `vectors`; `number` names its random numbers.
pub fn told(
    evidence: &Evidence,
    tables: &[Response],
    at: usize,
    vectors: &[[f64; RACE_DIMS]],
    (seed, number): (u64, u64),
) -> Told {
    let mut out = Told::default();
    let mut stream = Stream::new(seed, Purpose::Study, 2, number, 0);
    for spread in 0..SPREADS {
        let members = &vectors[spread * EACH..(spread + 1) * EACH];
        let mut laid = Laid::new(evidence, tables, at, &members[0]);
        let grids: Vec<Grid> =
            evidence.sources.iter().map(|source| laid.grid(source.view, &source.kind)).collect();
        for vector in members {
            let mut masses: HashMap<usize, Vec<f64>> = HashMap::new();
            let mut mass_of = |view: usize| -> Vec<f64> {
                masses.entry(view).or_insert_with(|| laid.masses(view, vector)).clone()
            };
            let (mut ln_l, mut again) = (Vec::new(), Vec::new());
            for (source, grid) in evidence.sources.iter().zip(&grids) {
                let mass = mass_of(source.view);
                ln_l.push(grid.ln_likelihood(&mass));
                let odds = grid.draw(&mass, &mut stream);
                again.push(binomial_quantile(stream.uniform(), grid.passed, odds.clamp(0.0, 1.0)));
            }
            out.ln_l.push(ln_l);
            out.again.push(again);
        }
    }
    out
}

/// A source over the offsets.
pub(super) struct Grid {
    /// Likelihood, times e^−ln_scale, the day averaged out.
    likelihood: Vec<f64>,
    ln_scale: f64,
    /// `[day][offset]`: odds of its first count.
    odds: Vec<Vec<f64>>,
    passed: u64,
}

impl Grid {
    /// Odds on a day drawn.
    fn draw(&self, mass: &[f64], stream: &mut Stream) -> f64 {
        let day = ((stream.uniform() * self.odds.len() as f64) as usize).min(self.odds.len() - 1);
        self.odds[day][cell_at(mass, stream.uniform())]
    }

    /// Mean odds of its first count.
    pub(super) fn mean_odds(&self, mass: &[f64]) -> f64 {
        let of_day = |day: &Vec<f64>| mass.iter().zip(day).map(|(m, p)| m * p).sum::<f64>();
        self.odds.iter().map(of_day).sum::<f64>() / self.odds.len() as f64
    }

    /// ln of its likelihood.
    pub(super) fn ln_likelihood(&self, mass: &[f64]) -> f64 {
        let sum: f64 = mass.iter().zip(&self.likelihood).map(|(m, l)| m * l).sum();
        self.ln_scale + libm::log(sum.max(1e-300))
    }
}

/// A count known within limits only.
struct Ranged {
    passed: u64,
    missed: (u64, u64),
}

/// Law of what a walker's passings have in common: the tag's own offset, and the person's.
pub(super) fn walker_law(law: OffsetLaw) -> OffsetLaw {
    match law.0 {
        Quantity::Normal { mean, sd } => {
            OffsetLaw(Quantity::Normal { mean, sd: libm::hypot(sd, PERSON_SD_DB) })
        }
        _ => law,
    }
}

/// The tables of one group laid over the tags of one spread.
pub(super) struct Laid<'a> {
    evidence: &'a Evidence,
    tables: &'a [Response],
    at: usize,
    kernel: Kernel,
    pub(super) walker: Kernel,
    /// `[day][offset]` of a view and set.
    mixed: HashMap<(usize, usize), Vec<Vec<f64>>>,
}

impl<'a> Laid<'a> {
    pub(super) fn new(
        evidence: &'a Evidence,
        tables: &'a [Response],
        at: usize,
        vector: &[f64; RACE_DIMS],
    ) -> Laid<'a> {
        let prepared = &evidence.views[0].prepared;
        let draw = RaceDraw::from_uniforms(&prepared.course, &prepared.tag, 0, vector);
        let law = offset_law(&prepared.course, &draw);
        let step_db = tables[0].offsets_db[1] - tables[0].offsets_db[0];
        let (kernel, walker) = (Kernel::new(law, step_db), Kernel::new(walker_law(law), step_db));
        Laid { evidence, tables, at, kernel, walker, mixed: HashMap::new() }
    }

    pub(super) fn course(&self, view: usize) -> &'a Course {
        &self.evidence.views[view].prepared.course
    }

    /// Mass of a race's own offset on the grid.
    pub(super) fn masses(&self, view: usize, vector: &[f64; RACE_DIMS]) -> Vec<f64> {
        let prepared = &self.evidence.views[view].prepared;
        let draw = RaceDraw::from_uniforms(&prepared.course, &prepared.tag, 0, vector);
        let (centre, own) = (draw.constant_offset_db(), draw.race_effect_sd_db);
        let grid = &self.tables[view].offsets_db;
        let mut masses = vec![0.0; grid.len()];
        match prepared.course.beliefs.batch_offset_db {
            Quantity::Normal { mean, sd } => {
                normal_masses(grid, centre + mean, libm::hypot(sd, own), 1.0, &mut masses);
            }
            Quantity::Pinned(batch) => normal_masses(grid, centre + batch, own, 1.0, &mut masses),
            law => {
                const NODES: usize = 15;
                for node in 0..NODES {
                    let batch = law.quantile((node as f64 + 0.5) / NODES as f64);
                    normal_masses(grid, centre + batch, own, 1.0 / NODES as f64, &mut masses);
                }
            }
        }
        masses
    }

    /// Odds of a set by day and offset.
    pub(super) fn set(&mut self, view: usize, set: usize) -> &Vec<Vec<f64>> {
        let (tables, at, kernel) = (self.tables, self.at, &self.kernel);
        let course = &self.evidence.views[view].prepared.course;
        self.mixed.entry((view, set)).or_insert_with(|| {
            let table = &tables[view];
            let of_day = |shares: [f64; 3]| {
                let mut mixed = vec![0.0; table.offsets_db.len()];
                for (s, share) in stratum_shares(course, &table.strata, shares).into_iter().enumerate() {
                    let odds = table.odds(at, set, s);
                    mixed.iter_mut().zip(odds).for_each(|(sum, &odds)| *sum += share * f64::from(odds));
                }
                kernel.over(&mixed)
            };
            days(course).into_iter().map(of_day).collect()
        })
    }

    /// A sum over sets by day and offset.
    pub(super) fn sum(&mut self, view: usize, sum: &Sum) -> Vec<Vec<f64>> {
        let (days, cells) = (days(self.course(view)).len(), self.tables[view].offsets_db.len());
        let mut out = vec![vec![sum.constant; cells]; days];
        for &(view, set, factor) in &sum.terms {
            let of = self.set(view, set);
            for (sums, odds) in out.iter_mut().zip(of) {
                sums.iter_mut().zip(odds).for_each(|(s, p)| *s += factor * p);
            }
        }
        out
    }

    pub(super) fn ratio(&mut self, view: usize, odds: &Odds) -> Vec<Vec<f64>> {
        let (mut top, bottom) = (self.sum(view, &odds.top), self.sum(view, &odds.bottom));
        for (tops, bottoms) in top.iter_mut().zip(&bottom) {
            tops.iter_mut().zip(bottoms).for_each(|(t, b)| *t = (*t / b.max(LEAST_ODDS)).clamp(0.0, 1.0));
        }
        top
    }

    pub(super) fn grid(&mut self, view: usize, kind: &Kind) -> Grid {
        match kind {
            Kind::Race(race) => self.race(view, race),
            Kind::Trial(trial) => self.trial(trial),
        }
    }

    fn race(&mut self, view: usize, race: &RaceEvidence) -> Grid {
        let shares = days(self.course(view));
        let cells = self.tables[view].offsets_db.len();
        // ln of every factor of the likelihood, `[factor][day][offset]`, with its exponent.
        let mut factors: Vec<(Vec<Vec<f64>>, f64)> = Vec::new();
        let mut ranges: Vec<(Vec<Vec<f64>>, Ranged)> = Vec::new();
        let (mut first, mut passed, mut constant) = (None, 0, 0.0);
        for counted in &race.counted {
            match counted {
                Counted::Missed { odds, passed: n, missed } => {
                    let p = self.ratio(view, odds);
                    if first.is_none() {
                        (first, passed) = (Some(p.clone()), *n);
                    }
                    if missed.0 == missed.1 {
                        let x = missed.0;
                        constant += ln_choose(*n, x);
                        factors.push((ln_of(&p, |p| p), x as f64));
                        factors.push((ln_of(&p, |p| 1.0 - p), (n - x) as f64));
                    } else {
                        ranges.push((p, Ranged { passed: *n, missed: *missed }));
                    }
                }
                Counted::Patterns { cells } => {
                    let total: u64 = cells.iter().map(|c| c.1).sum();
                    constant += ln_gamma(total as f64 + 1.0);
                    for (sum, count) in cells {
                        constant -= ln_gamma(*count as f64 + 1.0);
                        factors.push((ln_of(&self.sum(view, sum), |p| p), *count as f64));
                    }
                    if first.is_none() {
                        // The last combination is "missed by all".
                        let none = cells.last().expect("at least one line");
                        (first, passed) = (Some(self.sum(view, &none.0)), total);
                    }
                }
            }
        }
        let mut ln = vec![vec![[0.0; PLACES.len()]; cells]; shares.len()];
        for (n, of_day) in ln.iter_mut().enumerate() {
            let soaked = race.soaked.map_or(0.0, |(counted, of)| ln_binomial(counted, of, shares[n][2]));
            for (k, places) in of_day.iter_mut().enumerate() {
                for (place, value) in places.iter_mut().zip(PLACES) {
                    let mut sum = soaked;
                    for (ln_p, exponent) in factors.iter().filter(|f| f.1 > 0.0) {
                        sum += exponent * between(&ln_p[n], k, value);
                    }
                    for (p, ranged) in &ranges {
                        sum += ln_range(ranged.passed, ranged.missed, between(&p[n], k, value));
                    }
                    *place = sum;
                }
            }
        }
        let most = ln.iter().flatten().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut likelihood = vec![0.0; cells];
        for of_day in &ln {
            for (sum, places) in likelihood.iter_mut().zip(of_day) {
                let cell: f64 = places.iter().map(|l| libm::exp(l - most)).sum();
                *sum += cell / (PLACES.len() * shares.len()) as f64;
            }
        }
        let odds = first.unwrap_or_else(|| vec![vec![0.0; cells]]);
        Grid { likelihood, ln_scale: most + constant, odds, passed }
    }

    /// Odds that a runner with a placement is missed by a set, at one offset and with a day's shares of wetness.
    pub(super) fn of_placement(
        &self,
        view: usize,
        set: usize,
        placement: Placement,
        shares: [f64; 3],
        cell: usize,
    ) -> f64 {
        let (table, course) = (&self.tables[view], self.course(view));
        let own = table.strata.iter().enumerate();
        let own = own.filter(|(_, s)| course.field.placements[s.placement_row].placement == placement);
        own.map(|(s, stratum)| {
            shares[stratum.wetness as usize] * self.kernel.at(table.odds(self.at, set, s), cell)
        })
        .sum()
    }

    /// Odds of every setting of a trial by offset.
    pub(super) fn of_settings(&self, evidence: &TrialEvidence) -> Vec<Vec<f64>> {
        let of = |&(view, set, stratum): &(usize, usize, usize)| {
            // A table of m passings knows nothing of odds much below 1/m.
            let least = 0.1 / self.evidence.views[view].ask.allocation[stratum] as f64;
            let odds = self.tables[view].odds(self.at, set, stratum);
            odds.iter().map(|&p| f64::from(p).clamp(least, 1.0 - least)).collect()
        };
        evidence.settings.iter().map(of).collect()
    }

    fn trial(&self, evidence: &TrialEvidence) -> Grid {
        let trial = &evidence.trial;
        let odds = self.of_settings(evidence);
        let cells = odds[0].len();
        let mut ln = vec![0.0; cells];
        let over_settings = |counts: &[(usize, u64, u64)], odds: &[Vec<f64>], k: usize| -> f64 {
            let of = |&(setting, n, x): &(usize, u64, u64)| {
                let p = odds[setting][k];
                x as f64 * libm::log(p) + (n - x) as f64 * libm::log1p(-p)
            };
            counts.iter().map(of).sum()
        };
        if trial.told_apart {
            for walker in &trial.walkers {
                let own: Vec<f64> = (0..cells).map(|k| over_settings(&walker.counts, &odds, k)).collect();
                let most = own.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let likely: Vec<f64> = own.iter().map(|l| libm::exp(l - most)).collect();
                let over = self.walker.over(&likely);
                ln.iter_mut().zip(over).for_each(|(sum, l)| *sum += most + libm::log(l.max(1e-300)));
            }
        } else {
            let laid: Vec<Vec<f64>> = odds.iter().map(|o| self.walker.over(o)).collect();
            for walker in &trial.walkers {
                ln.iter_mut()
                    .enumerate()
                    .for_each(|(k, sum)| *sum += over_settings(&walker.counts, &laid, k));
            }
        }
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // All passings together, for "what would have been counted again".
        let mut mean = vec![0.0; cells];
        for &(setting, n, _) in trial.walkers.iter().flat_map(|w| &w.counts) {
            let share = n as f64 / trial.passings as f64;
            mean.iter_mut().zip(&odds[setting]).for_each(|(sum, p)| *sum += p * share);
        }
        let mean = self.walker.over(&mean);
        let likelihood = ln.iter().map(|l| libm::exp(l - most)).collect();
        Grid { likelihood, ln_scale: most, odds: vec![mean], passed: trial.passings }
    }
}

/// Shares of dry, damp and soaked bibs of the days that a race may have; one day where they do not differ.
pub(super) fn days(course: &Course) -> Vec<[f64; 3]> {
    let all: Vec<[f64; 3]> =
        (0..DAYS).map(|n| course.weather.shares((n as f64 + 0.5) / DAYS as f64)).collect();
    if all.iter().all(|day| *day == all[0]) { vec![all[0]] } else { all }
}

fn stratum_shares(course: &Course, strata: &[Stratum], shares: [f64; 3]) -> Vec<f64> {
    let total: f64 = course.field.placements.iter().map(|p| p.share).sum();
    let of =
        |s: &Stratum| course.field.placements[s.placement_row].share / total * shares[s.wetness as usize];
    strata.iter().map(of).collect()
}

fn ln_of(p: &[Vec<f64>], of: impl Fn(f64) -> f64) -> Vec<Vec<f64>> {
    p.iter().map(|day| day.iter().map(|&p| libm::log(of(p).max(LEAST_ODDS))).collect()).collect()
}

/// Value at a place of cell `k`, straight between cells.
fn between(values: &[f64], k: usize, place: f64) -> f64 {
    let other = if place < 0.0 { k.saturating_sub(1) } else { (k + 1).min(values.len() - 1) };
    values[k] + place.abs() * (values[other] - values[k])
}

fn ln_choose(n: u64, x: u64) -> f64 {
    ln_gamma(n as f64 + 1.0) - ln_gamma(x as f64 + 1.0) - ln_gamma((n - x) as f64 + 1.0)
}

fn ln_binomial(x: u64, n: u64, p: f64) -> f64 {
    let p = p.clamp(LEAST_ODDS, 1.0 - LEAST_ODDS);
    ln_choose(n, x) + x as f64 * libm::log(p) + (n - x) as f64 * libm::log1p(-p)
}

/// ln of the probability that between `low` and `high` of n are missed.
fn ln_range(n: u64, (low, high): (u64, u64), p: f64) -> f64 {
    let p = p.clamp(LEAST_ODDS, 1.0 - LEAST_ODDS);
    let below = if low == 0 { (0.0, 1.0) } else { binomial_tails(low - 1, n, p) };
    let up_to = binomial_tails(high, n, p);
    // From the side on which both tails are small.
    let between = if n as f64 * p > high as f64 { up_to.0 - below.0 } else { below.1 - up_to.1 };
    libm::log(between.max(1e-300))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::counts::binomial_pmf;

    /// Source: sums of binomial probabilities, elementary. Tolerance: 1e-6.
    #[test]
    fn val_ranges_of_counts() {
        for (n, low, high, p) in
            [(900, 0, 900, 0.3), (900, 0, 900, 1.0), (40, 3, 5, 0.1), (40, 30, 32, 0.1), (40, 2, 2, 0.9)]
        {
            let exact: f64 = (low..=high).map(|x| binomial_pmf(x, n, p)).sum();
            let got = ln_range(n, (low, high), p);
            assert!((got - libm::log(exact)).abs() < 1e-6 && got.is_finite(), "{n} {low} {high} {p}: {got}");
        }
        assert!((ln_binomial(3, 40, 0.1) - libm::log(binomial_pmf(3, 40, 0.1))).abs() < 1e-9);
    }
}
