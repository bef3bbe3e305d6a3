//! Weights of all vectors, and later rounds where the first were spent badly.
//!
//! Rounds after J.-M. Cornuet, J.-M. Marin, A. Mira, C. Robert, Scand. J. Stat. 39 (2012) 798-812 (arXiv 0907.1254): the likelihood is tempered until it leaves enough effective
//! vectors to fit a mean and a covariance, new groups are drawn there (a t law of 5 degrees, 15 % from the prior), and every group is weighted anew by the
//! deterministic mixture of all rounds. Few rounds, and a share of the prior in each.

use super::evidence::{Evidence, View};
use super::likelihood::{Told, told};
use super::pareto::{effective, limit, smoothed};
use super::vectors::{INNER, inner, outer, outer_dims};
use crate::estimate::response::{Response, response};
use crate::passing::draw::RACE_DIMS;
use crate::random::quantity::Quantity;
use crate::random::transform::{normal_cdf, normal_quantile};
use crate::random::{Purpose, Stream};
use rayon::prelude::*;

/// Added to the seed, so that a forecast with the same seed has passings of its own.
const SEED_OFFSET: u64 = 0x5ca1_ab1e_0000_0001;
/// Groups of the first round.
pub const GROUPS: u64 = 512;
/// Most later rounds, each of a third of the first one's groups.
const ROUNDS: usize = 3;
/// Fewest effective groups that are enough.
const ENOUGH: f64 = 50.0;
const PRIOR_SHARE: f64 = 0.15;
const T_DEGREES: f64 = 5.0;

/// All groups tried, with what the outcomes make of them.
pub struct Posterior {
    pub points: Vec<[f64; RACE_DIMS]>,
    numbers: Vec<u64>,
    seed: u64,
    /// ln(prior / proposal) of each group.
    ln_ratio: Vec<f64>,
    pub told: Vec<Told>,
    /// Weight of each group, summing to 1.
    pub weights: Vec<f64>,
    pub effective: f64,
    pub k_hat: Option<f64>,
    pub rounds: usize,
    pub passings: u64,
    /// Of all groups, view by view.
    pub(super) tables: Vec<Response>,
}

/// Seed of the tables.
pub fn seed_of(seed: u64) -> u64 {
    seed.wrapping_add(SEED_OFFSET)
}

/// Learns; `None` once `stop` says so.
pub fn learn(
    evidence: &Evidence,
    seed: u64,
    groups: u64,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &mut dyn FnMut(&str),
) -> Option<Posterior> {
    let dims = outer_dims();
    let more_groups = groups / 3;
    let mut out = Posterior {
        points: Vec::new(),
        numbers: Vec::new(),
        seed: seed_of(seed),
        ln_ratio: Vec::new(),
        told: Vec::new(),
        weights: Vec::new(),
        effective: 0.0,
        k_hat: None,
        rounds: 0,
        passings: 0,
        tables: Vec::new(),
    };
    let mut proposals: Vec<(f64, Option<Proposal>)> = vec![(groups as f64, None)];
    let first: Vec<_> = (0..groups).map(|i| outer(evidence, out.seed, i)).collect();
    watch("tables of the first round");
    out.extend(evidence, first, stop)?;
    out.weigh(&proposals, &dims);
    while out.rounds < ROUNDS && !out.is_enough() {
        out.rounds += 1;
        watch("tables of a further round");
        let fitted = out.fit(&dims);
        let from = out.points.len() as u64;
        let mut stream = Stream::new(out.seed, Purpose::Study, 3, out.rounds as u64, 0);
        let more: Vec<_> = (from..from + more_groups)
            .map(|i| {
                let mut point = outer(evidence, out.seed, i);
                if stream.uniform() >= PRIOR_SHARE
                    && let Some(fitted) = &fitted
                {
                    let z = fitted.draw(&mut stream);
                    dims.iter()
                        .zip(z)
                        .for_each(|(&dim, z)| point[dim] = normal_cdf(z).clamp(1e-15, 1.0 - 1e-15));
                }
                point
            })
            .collect();
        proposals.push((more_groups as f64, fitted));
        out.extend(evidence, more, stop)?;
        out.weigh(&proposals, &dims);
    }
    Some(out)
}

/// How far thresholds may lie from those measured: four standard deviations of all that shifts them, dB.
pub(super) fn reach_db(evidence: &Evidence) -> f64 {
    let of = |view: &View| {
        let (course, spread) = (&view.prepared.course, &view.prepared.tag.spread);
        let width = |law: &Quantity| 0.5 * (law.quantile(0.8413) - law.quantile(0.1587));
        let sigma = spread.offset_sigma_db.quantile(0.9);
        let parts = [
            course.beliefs.sample_offset_db.as_ref().map_or(sigma, width),
            sigma / (spread.samples as f64).sqrt(),
            spread.lab_bias_sd_db,
            width(&course.beliefs.batch_offset_db),
            spread.race_effect_db,
        ];
        let centre = course.beliefs.batch_offset_db.quantile(0.5).abs();
        centre + 4.0 * parts.iter().map(|p| p * p).sum::<f64>().sqrt()
    };
    evidence.views.iter().map(of).fold(6.0, f64::max)
}

impl Posterior {
    /// Whether there are enough effective groups and the weights can be trusted.
    pub fn is_enough(&self) -> bool {
        self.effective >= ENOUGH && self.k_hat.is_none_or(|k| k <= limit(self.points.len()))
    }

    fn extend(
        &mut self,
        evidence: &Evidence,
        points: Vec<[f64; RACE_DIMS]>,
        stop: &(dyn Fn() -> bool + Sync),
    ) -> Option<()> {
        let reach_db = reach_db(evidence);
        let first = self.points.len() as u64;
        // The same passings for all: what they err by is common to all groups and does not spend weights.
        let worlds: Vec<_> = points.iter().map(|point| (0, *point)).collect();
        let tables: Option<Vec<Response>> =
            evidence.views.iter().map(|v| response(&v.prepared, &v.ask, &worlds, reach_db, stop)).collect();
        let tables = tables?;
        self.passings += tables.iter().map(|t| t.passings).sum::<u64>();
        let seed = self.seed;
        let told: Vec<Told> = points
            .par_iter()
            .enumerate()
            .map(|(i, point)| {
                let number = first + i as u64;
                told(evidence, &tables, i, &inner(point, seed, number), (seed, number))
            })
            .collect();
        self.numbers.extend((0..points.len() as u64).map(|i| first + i));
        self.points.extend(points);
        self.told.extend(told);
        if self.tables.is_empty() {
            self.tables = tables;
        } else {
            self.tables.iter_mut().zip(tables).for_each(|(all, more)| all.extend(more));
        }
        Some(())
    }

    fn weigh(&mut self, proposals: &[(f64, Option<Proposal>)], dims: &[usize]) {
        let total: f64 = proposals.iter().map(|p| p.0).sum();
        self.ln_ratio = self
            .points
            .iter()
            .map(|point| {
                let z: Vec<f64> = dims.iter().map(|&dim| normal_quantile(point[dim])).collect();
                // Density of each round over that of the prior.
                let over_prior = |fitted: &Option<Proposal>| match fitted {
                    None => 1.0,
                    Some(fitted) => PRIOR_SHARE + (1.0 - PRIOR_SHARE) * libm::exp(fitted.ln_over_normal(&z)),
                };
                let mixture: f64 = proposals.iter().map(|(n, fitted)| n / total * over_prior(fitted)).sum();
                -libm::log(mixture)
            })
            .collect();
        let ln_w: Vec<f64> = (0..self.points.len()).map(|i| self.ln_group(i, 1.0, None)).collect();
        let (weights, k_hat) = smoothed(&ln_w);
        self.effective = effective(&weights);
        (self.weights, self.k_hat) = (weights, k_hat);
    }

    /// ln weight of a group: its vectors averaged, the likelihood to a power, one source left out.
    fn ln_group(&self, group: usize, power: f64, without: Option<usize>) -> f64 {
        let ln: Vec<f64> = (0..INNER).map(|j| power * self.ln_vector(group, j, without)).collect();
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mean = ln.iter().map(|l| libm::exp(l - most)).sum::<f64>() / INNER as f64;
        self.ln_ratio[group] + most + libm::log(mean)
    }

    /// ln L of a vector, one source left out.
    fn ln_vector(&self, group: usize, vector: usize, without: Option<usize>) -> f64 {
        let ln_l = &self.told[group].ln_l[vector];
        ln_l.iter().enumerate().filter(|(s, _)| Some(*s) != without).map(|(_, l)| l).sum()
    }

    /// Weights of all vectors, `[group][vector]`, summing to 1: learned from everything, or with one source left out.
    pub fn vector_weights(&self, without: Option<usize>) -> Vec<Vec<f64>> {
        let groups: Vec<f64> = match without {
            None => self.weights.clone(),
            Some(_) => {
                smoothed(&(0..self.points.len()).map(|i| self.ln_group(i, 1.0, without)).collect::<Vec<_>>())
                    .0
            }
        };
        let within = |group: usize| {
            let ln: Vec<f64> = (0..INNER).map(|j| self.ln_vector(group, j, without)).collect();
            let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let w: Vec<f64> = ln.iter().map(|l| libm::exp(l - most)).collect();
            let total: f64 = w.iter().sum();
            w.into_iter().map(|w| groups[group] * w / total).collect()
        };
        (0..self.points.len()).map(within).collect()
    }

    /// Weights before anything was counted.
    pub fn prior_weights(&self) -> Vec<Vec<f64>> {
        let most = self.ln_ratio.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let w: Vec<f64> = self.ln_ratio.iter().map(|l| libm::exp(l - most)).collect();
        let total: f64 = w.iter().sum();
        w.into_iter().map(|w| vec![w / total / INNER as f64; INNER]).collect()
    }

    /// The vectors of a group.
    pub fn vectors(&self, group: usize) -> Vec<[f64; RACE_DIMS]> {
        inner(&self.points[group], self.seed, self.numbers[group])
    }

    /// A t law about where the likelihood, tempered, lies; `None` where nothing can be fitted.
    fn fit(&self, dims: &[usize]) -> Option<Proposal> {
        let wanted = 3.0 * dims.len() as f64;
        let weights = |power: f64| {
            let ln: Vec<f64> = (0..self.points.len()).map(|i| self.ln_group(i, power, None)).collect();
            let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let w: Vec<f64> = ln.iter().map(|l| libm::exp(l - most)).collect();
            let total: f64 = w.iter().sum();
            w.into_iter().map(|w| w / total).collect::<Vec<f64>>()
        };
        let mut power = 1.0;
        while effective(&weights(power)) < wanted && power > 1e-4 {
            power *= 0.8;
        }
        let weights = weights(power);
        let z: Vec<Vec<f64>> =
            self.points.iter().map(|p| dims.iter().map(|&dim| normal_quantile(p[dim])).collect()).collect();
        let d = dims.len();
        let mean: Vec<f64> = (0..d).map(|a| weights.iter().zip(&z).map(|(w, z)| w * z[a]).sum()).collect();
        let mut covariance = vec![vec![0.0; d]; d];
        for (w, z) in weights.iter().zip(&z) {
            for a in 0..d {
                for b in 0..d {
                    covariance[a][b] += w * (z[a] - mean[a]) * (z[b] - mean[b]);
                }
            }
        }
        // Not narrower than a quarter of the prior in any direction: few vectors understate a spread.
        (0..d).for_each(|a| covariance[a][a] += 0.06);
        Proposal::new(mean, &covariance)
    }
}

/// Multivariate t law.
struct Proposal {
    mean: Vec<f64>,
    /// Lower triangle with L·Lᵀ the scale matrix.
    lower: Vec<Vec<f64>>,
}

impl Proposal {
    fn new(mean: Vec<f64>, covariance: &[Vec<f64>]) -> Option<Proposal> {
        let d = mean.len();
        let mut lower = vec![vec![0.0; d]; d];
        for a in 0..d {
            for b in 0..=a {
                let known: f64 = (0..b).map(|c| lower[a][c] * lower[b][c]).sum();
                let rest = covariance[a][b] - known;
                if a == b {
                    if !(rest > 0.0) {
                        return None;
                    }
                    lower[a][a] = rest.sqrt();
                } else {
                    lower[a][b] = rest / lower[b][b];
                }
            }
        }
        Some(Proposal { mean, lower })
    }

    fn draw(&self, stream: &mut Stream) -> Vec<f64> {
        let d = self.mean.len();
        let normal: Vec<f64> = (0..d).map(|_| stream.normal()).collect();
        let chi: f64 = (0..T_DEGREES as usize).map(|_| stream.normal()).map(|z| z * z).sum();
        let factor = (T_DEGREES / chi).sqrt();
        let of =
            |a: usize| self.mean[a] + factor * (0..=a).map(|b| self.lower[a][b] * normal[b]).sum::<f64>();
        (0..d).map(of).collect()
    }

    /// ln of its density over the standard normal's.
    fn ln_over_normal(&self, z: &[f64]) -> f64 {
        let d = z.len();
        let mut solved = vec![0.0; d];
        for a in 0..d {
            let known: f64 = (0..a).map(|b| self.lower[a][b] * solved[b]).sum();
            solved[a] = (z[a] - self.mean[a] - known) / self.lower[a][a];
        }
        let square: f64 = solved.iter().map(|s| s * s).sum();
        let ln_det: f64 = (0..d).map(|a| libm::log(self.lower[a][a])).sum();
        let (nu, d) = (T_DEGREES, d as f64);
        let ln_t = libm::lgamma(0.5 * (nu + d))
            - libm::lgamma(0.5 * nu)
            - 0.5 * d * libm::log(nu * std::f64::consts::PI)
            - ln_det
            - 0.5 * (nu + d) * libm::log1p(square / nu);
        let own: f64 = z.iter().map(|z| z * z).sum();
        ln_t + 0.5 * d * libm::log(2.0 * std::f64::consts::PI) + 0.5 * own
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The t law integrates to 1: its ratio to the normal, averaged over draws of a wider law, gives 1. 20,000 draws, tolerance of five standard errors.
    #[test]
    fn the_proposal_is_a_density() {
        let law = Proposal::new(vec![0.6, -0.3], &[vec![0.4, 0.1], vec![0.1, 0.3]]).unwrap();
        let mut stream = Stream::new(8, Purpose::Study, 0, 0, 0);
        let (n, mut sum, mut squares) = (20_000, 0.0, 0.0);
        for _ in 0..n {
            let z = [stream.normal(), stream.normal()];
            let ratio = libm::exp(law.ln_over_normal(&z));
            sum += ratio;
            squares += ratio * ratio;
        }
        let mean = sum / f64::from(n);
        let error = ((squares / f64::from(n) - mean * mean) / f64::from(n)).sqrt();
        assert!((mean - 1.0).abs() < 5.0 * error && error < 0.05, "{mean} {error}");
        let mut along = 0.0;
        (0..n).for_each(|_| along += law.draw(&mut stream)[0]);
        assert!((along / f64::from(n) - 0.6).abs() < 0.03);
    }
}
