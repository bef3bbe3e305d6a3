//! The pilot: every passing scored while looking for failing regions, with the weight it deserves.
//!
//! Points come from a growing list of proposals (first the natural density, then better and better mixtures). A
//! point is weighted by the balance heuristic over all of them, W = 1 / Σ_t n_t q_t(z)/φ(z), so that no round
//! is thrown away (E. Veach, L. Guibas, Optimally combining sampling techniques, SIGGRAPH 1995; J.-M. Cornuet et al.,
//! Adaptive multiple importance sampling, Scand. J. Stat. 39 (2012) 798-812). As long as the points hold too few misses, a lower bar is
//! used in their place: the highest severity which enough points exceed.

use super::mixture::Mixture;
use super::watch::Halt;
use super::{Problem, Score};
use crate::random::transform::normal_cdf;
use crate::random::{MAX_PASSINGS, Purpose, Stream};
use rayon::prelude::*;

/// First index of the pilot's passings: the second stage never reaches it.
pub const PILOT_INDEX: u64 = MAX_PASSINGS / 2;
const PILOT_PLACE: u64 = 4;

/// A scored point of standard-normal space.
#[derive(Clone, Debug)]
pub struct Shot {
    pub stratum: usize,
    pub z: Vec<f64>,
    pub score: Score,
}

/// What the next mixture is fitted to.
pub struct Target {
    /// 0..=1 for each shot: its miss odds, a power of them, or whether it exceeds the bar.
    pub values: Vec<f64>,
    pub aim: Aim,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Aim {
    /// The misses themselves are plenty.
    Misses,
    /// Miss odds to this power below 1: flatter odds, to which more points contribute.
    Power(f64),
    /// Severity above this bar.
    Bar(f64),
}

impl Aim {
    /// Whether this lies nearer to the misses than `other`; aims of two kinds do not compare.
    pub fn beyond(&self, other: &Aim) -> bool {
        match (self, other) {
            (Aim::Power(a), Aim::Power(b)) | (Aim::Bar(a), Aim::Bar(b)) => a > b,
            _ => true,
        }
    }
}

/// Powers tried while the misses are too few.
const POWERS: [f64; 8] = [0.85, 0.7, 0.6, 0.5, 0.4, 0.3, 0.22, 0.15];

pub struct Pilot<'p, P> {
    pub problem: &'p P,
    stop: &'p (dyn Fn() -> bool + Sync),
    seed: u64,
    try_number: u64,
    pub calls: u64,
    rounds: u64,
    pub shots: Vec<Shot>,
    /// Σ_t n_t q_t/φ for each shot.
    denominators: Vec<f64>,
    proposals: Vec<(Mixture, u64)>,
    /// Shots of line scans: they seed components and carry no weight.
    pub found: Vec<Shot>,
}

/// Point of the unit cube for z. Far out Φ would round to 1; half the last place keeps it inside.
pub fn to_cube(z: &[f64], point: &mut [f64]) {
    for (u, &x) in point.iter_mut().zip(z) {
        *u = normal_cdf(x).clamp(1e-300, 1.0 - f64::EPSILON / 2.0);
    }
}

impl<'p, P: Problem> Pilot<'p, P> {
    pub fn new(problem: &'p P, seed: u64, try_number: u64, stop: &'p (dyn Fn() -> bool + Sync)) -> Self {
        Pilot {
            problem,
            stop,
            seed,
            try_number,
            calls: 0,
            rounds: 0,
            shots: Vec::new(),
            denominators: Vec::new(),
            proposals: Vec::new(),
            found: Vec::new(),
        }
    }

    /// Score points in parallel; the result keeps their order. Asked to stop, nothing of it is of use.
    pub fn score(&mut self, points: Vec<(usize, Vec<f64>)>) -> Result<Vec<Shot>, Halt> {
        let first = PILOT_INDEX + (self.try_number << 36) + self.calls;
        self.calls += points.len() as u64;
        let (problem, stop) = (self.problem, self.stop);
        points
            .into_par_iter()
            .enumerate()
            .map(|(offset, (stratum, z))| {
                if stop() {
                    return Err(Halt);
                }
                let mut point = vec![0.0; z.len()];
                to_cube(&z, &mut point);
                let score = problem.score(stratum, &point, first + offset as u64);
                Ok(Shot { stratum, z, score })
            })
            .collect()
    }

    /// A stream for the choices of one round; `lane` tells points of a round apart.
    pub fn stream(&self, lane: u64) -> Stream {
        let place = PILOT_PLACE + (self.try_number << 8);
        Stream::new(self.seed, Purpose::Mixture, place, self.rounds, lane)
    }

    pub fn next_round(&mut self) {
        self.rounds += 1;
    }

    /// Draw and score `n` points of a mixture.
    pub fn sample(&mut self, mixture: &Mixture, n: u64) -> Result<(), Halt> {
        self.next_round();
        let shift = self.stream(n).uniform();
        let points = (0..n)
            .map(|i| {
                let mut z = vec![0.0; self.problem.lead_dims()];
                let place = (i as f64 + shift) / n as f64;
                let stratum = mixture.draw(place, &mut self.stream(i), &mut z);
                (stratum, z)
            })
            .collect();
        let fresh = self.score(points)?;
        let ratio = |mixture: &Mixture, shot: &Shot| mixture.ratio(shot.stratum, &shot.z);
        for (denominator, shot) in self.denominators.iter_mut().zip(&self.shots) {
            *denominator += n as f64 * ratio(mixture, shot);
        }
        self.proposals.push((mixture.clone(), n));
        for shot in fresh {
            let all = self.proposals.iter().map(|(proposal, count)| *count as f64 * ratio(proposal, &shot));
            self.denominators.push(all.sum());
            self.shots.push(shot);
        }
        Ok(())
    }

    /// Balance-heuristic weights; they add up to about 1.
    pub fn weights(&self) -> Vec<f64> {
        self.denominators.iter().map(|denominator| 1.0 / denominator).collect()
    }

    /// The misses, if their effective count reaches `enough`; else the highest power of the odds that does; else, where
    /// scores are all or nothing, the highest bar that enough points exceed.
    pub fn target(&self, weights: &[f64], enough: f64) -> Target {
        let odds: Vec<f64> = self.shots.iter().map(|shot| shot.score.miss_odds).collect();
        if effective_count(weights, &odds) >= enough {
            return Target { values: odds, aim: Aim::Misses };
        }
        for power in POWERS {
            let values: Vec<f64> = odds.iter().map(|&odds| libm::pow(odds, power)).collect();
            if effective_count(weights, &values) >= enough {
                return Target { values, aim: Aim::Power(power) };
            }
        }
        let mut order: Vec<usize> = (0..self.shots.len()).collect();
        let severity = |shot: usize| self.shots[shot].score.severity;
        order.sort_by(|&a, &b| severity(b).total_cmp(&severity(a)));
        let (mut sum, mut squares, mut bar) = (0.0, 0.0, f64::NEG_INFINITY);
        for &shot in &order {
            sum += weights[shot];
            squares += weights[shot] * weights[shot];
            bar = severity(shot);
            if sum * sum / squares >= enough {
                break;
            }
        }
        let values =
            (0..self.shots.len()).map(|shot| if severity(shot) >= bar { 1.0 } else { 0.0 }).collect();
        Target { values, aim: Aim::Bar(bar) }
    }
}

/// (Σ W v)² / Σ (W v)².
pub fn effective_count(weights: &[f64], values: &[f64]) -> f64 {
    let (mut sum, mut squares) = (0.0, 0.0);
    for (weight, value) in weights.iter().zip(values) {
        sum += weight * value;
        squares += (weight * value).powi(2);
    }
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}
