//! Everything that adds a plain number of dB to a tag's threshold, as one law.
//!
//! A sample's own offset, the error of the samples' mean, the laboratory's bias and the offset of the batch only move the
//! threshold; what the reader hears does not depend on them. The expected miss rate over race days and runners
//! is linear in their joint law, so the staircase of a passing (`passing::score`) may be integrated over their sum at
//! once, not only over the sample's offset within a race. Given the sample spread σ the sum is normal with variance
//! max(σ, floor)² + σ²/n + s_lab² + s_batch²; over the posterior of σ it is a mixture of normals, tabulated here.
//! (Conditional Monte Carlo: S. Asmussen, P. Glynn, Stochastic Simulation, 2007, chapter V.4.)

use crate::course::Course;
use crate::numeric::elementary::exp;
use crate::passing::score::NOTHING_LEFT;
use crate::random::quantity::Quantity;
use crate::random::transform::normal_cdf;
use crate::tag::Tag;
use std::f64::consts::PI;

/// One part of the mixture.
#[derive(Clone, Copy, Debug)]
struct Part {
    weight: f64,
    mean: f64,
    sd: f64,
}

/// Law of the sum of all threshold offsets, dB.
#[derive(Clone, Debug)]
pub struct OffsetMix {
    low_db: f64,
    /// ln of the odds above each node, and its slope per dB.
    table: Vec<(f64, f64)>,
    /// The sum lies below this with odds of 1e-9.
    pub certain_below_db: f64,
    /// The sum lies above this with odds of 1e-10.
    pub certain_above_db: f64,
    pub sd_db: f64,
}

/// Pieces of the posterior of σ, each integrated by a two-point Gauss rule; the quantile function of the posterior is
/// straight on each of them.
const PIECES: usize = 800;
const STEP_DB: f64 = 0.1;
/// How far from the middle the table may go at most, in standard deviations of the widest part, and the strides there.
const REACH: f64 = 9.5;
const STRIDE_DB: f64 = 1.0;
/// Odds above at the end of the table; beyond it they count as none.
const TABLE_END: f64 = 1e-16;
/// Odds below which the sum is taken as impossible on the low side.
const CERTAIN_BELOW: f64 = 1e-9;

impl OffsetMix {
    /// The law of a scenario and tag; `None` if the batch offset is a belief of another shape than normal, or nothing is spread
    /// at all: then the offsets are drawn one by one.
    pub fn new(course: &Course, tag: &Tag) -> Option<OffsetMix> {
        let (batch_mean, batch_sd) = match course.beliefs.batch_offset_db {
            Quantity::Pinned(value) => (value, 0.0),
            Quantity::Normal { mean, sd } => (mean, sd),
            Quantity::Uniform { .. } | Quantity::LogNormal { .. } => return None,
        };
        let common2 = batch_sd * batch_sd + tag.spread.lab_bias_sd_db * tag.spread.lab_bias_sd_db;
        let parts: Vec<Part> = match course.beliefs.sample_offset_db {
            Some(Quantity::Normal { mean, sd }) => {
                vec![Part { weight: 1.0, mean: batch_mean + mean, sd: (common2 + sd * sd).sqrt() }]
            }
            Some(own) => gauss_pieces()
                .map(|(weight, u)| Part { weight, mean: batch_mean + own.quantile(u), sd: common2.sqrt() })
                .collect(),
            None => gauss_pieces()
                .map(|(weight, u)| {
                    let sigma = tag.spread.offset_sigma_db.quantile(u);
                    let sample = sigma.max(course.beliefs.sample_offset_floor_db);
                    let of_mean = sigma * sigma / tag.spread.samples as f64;
                    Part { weight, mean: batch_mean, sd: (common2 + sample * sample + of_mean).sqrt() }
                })
                .collect(),
        };
        OffsetMix::from_parts(&merged(parts))
    }

    fn from_parts(parts: &[Part]) -> Option<OffsetMix> {
        let widest = parts.iter().map(|part| part.sd).fold(0.0, f64::max);
        let narrowest = parts.iter().map(|part| part.sd).fold(f64::INFINITY, f64::min);
        if narrowest < 2.0 * STEP_DB {
            return None;
        }
        let odds_and_density = |at: f64| {
            parts.iter().fold((0.0, 0.0), |(above, density), part| {
                let scaled = (part.mean - at) / part.sd;
                let hill = exp(-0.5 * scaled * scaled) / (part.sd * (2.0 * PI).sqrt());
                (above + part.weight * normal_cdf(scaled), density + part.weight * hill)
            })
        };
        let mean: f64 = parts.iter().map(|part| part.weight * part.mean).sum();
        let second: f64 =
            parts.iter().map(|part| part.weight * (part.sd * part.sd + (part.mean - mean).powi(2))).sum();
        // The table spans what can matter, found in strides from the middle.
        let (mut low_db, mut high_db) = (mean, mean);
        while odds_and_density(low_db).0 < 1.0 - CERTAIN_BELOW && low_db > mean - REACH * widest {
            low_db -= STRIDE_DB;
        }
        while odds_and_density(high_db).0 > TABLE_END && high_db < mean + REACH * widest {
            high_db += STRIDE_DB;
        }
        let table = (0..=((high_db - low_db) / STEP_DB).ceil() as usize)
            .map(|node| {
                let (above, density) = odds_and_density(low_db + node as f64 * STEP_DB);
                (libm::log(above), -density / above)
            })
            .collect();
        let mut mix = OffsetMix {
            low_db,
            table,
            certain_below_db: low_db,
            certain_above_db: high_db,
            sd_db: second.sqrt(),
        };
        mix.certain_below_db = mix.where_above(-CERTAIN_BELOW);
        mix.certain_above_db = mix.where_above(libm::log(NOTHING_LEFT));
        Some(mix)
    }

    /// Odds that the sum exceeds `margin_db`: cubic Hermite interpolation of their logarithm.
    pub fn odds_above(&self, margin_db: f64) -> f64 {
        let position = (margin_db - self.low_db) / STEP_DB;
        if position <= 0.0 {
            return 1.0;
        }
        let node = position as usize;
        if node + 1 >= self.table.len() {
            return 0.0;
        }
        let t = position - node as f64;
        let ((a, slope_a), (b, slope_b)) = (self.table[node], self.table[node + 1]);
        let (slope_a, slope_b) = (slope_a * STEP_DB, slope_b * STEP_DB);
        let s = 1.0 - t;
        libm::exp(s * s * ((1.0 + 2.0 * t) * a + t * slope_a) + t * t * ((3.0 - 2.0 * t) * b - s * slope_b))
    }

    /// Last node whose log odds are still above `ln_odds`.
    fn where_above(&self, ln_odds: f64) -> f64 {
        let node = self.table.partition_point(|&(ln, _)| ln > ln_odds);
        self.low_db + node.min(self.table.len() - 1) as f64 * STEP_DB
    }
}

/// Weights and places of a two-point Gauss rule on each piece of 0..1.
fn gauss_pieces() -> impl Iterator<Item = (f64, f64)> {
    let far = 0.5 / 3.0_f64.sqrt();
    (0..PIECES).flat_map(move |piece| {
        [0.5 - far, 0.5 + far].map(|at| (0.5 / PIECES as f64, (piece as f64 + at) / PIECES as f64))
    })
}

/// Equal neighbours joined.
fn merged(parts: Vec<Part>) -> Vec<Part> {
    let mut out: Vec<Part> = Vec::new();
    for part in parts {
        match out.last_mut() {
            Some(last) if last.mean == part.mean && last.sd == part.sd => last.weight += part.weight,
            _ => out.push(part),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn law_and_truth(sample_offset_db: Option<Quantity>) -> (OffsetMix, impl Fn(f64) -> f64) {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (mut course, _) =
            crate::course::load(&root.join("scenarios/half-marathon-rain-eu-lower.toml")).unwrap();
        let (tag, _) = crate::tag::load(&root.join("demo-data/tags/cedar")).unwrap();
        course.beliefs.sample_offset_db = sample_offset_db;
        let law = OffsetMix::new(&course, &tag).unwrap();
        // The plain way: σ by 40,000 equal steps of its posterior, then the normal tail.
        let truth = move |margin: f64| {
            let n = 40_000;
            let common2 = 0.3 * 0.3 + tag.spread.lab_bias_sd_db.powi(2);
            (0..n)
                .map(|i| {
                    let u = (f64::from(i) + 0.5) / f64::from(n);
                    let (mean, own2) = match sample_offset_db {
                        Some(own) => (own.quantile(u), 0.0),
                        None => {
                            let sigma = tag.spread.offset_sigma_db.quantile(u);
                            (0.0, sigma.max(0.8).powi(2) + sigma * sigma / tag.spread.samples as f64)
                        }
                    };
                    normal_cdf((mean - margin) / (own2 + common2).sqrt())
                })
                .sum::<f64>()
                / f64::from(n)
        };
        (law, truth)
    }

    #[test]
    fn the_table_is_the_mixture() {
        for own in [None, Some(Quantity::Uniform { min: -1.0, max: 2.0 })] {
            let (law, truth) = law_and_truth(own);
            for margin in [-3.0, -0.33, 0.0, 1.234, 4.0, 6.05] {
                let (got, want) = (law.odds_above(margin), truth(margin));
                assert!((got / want - 1.0).abs() < 1e-5, "{own:?} {margin}: {got} against {want}");
            }
            assert!(law.odds_above(law.certain_above_db + 0.2) < crate::passing::score::NOTHING_LEFT);
            assert!(law.odds_above(law.certain_below_db - 0.2) > 1.0 - 1e-9);
        }
    }

    /// Normal beliefs add their variances: 0.8² of the samples, 0.3² of the batch and the laboratory's own.
    #[test]
    fn normal_parts_add_up() {
        let (law, _) = law_and_truth(Some(Quantity::Normal { mean: 0.5, sd: 0.8 }));
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (tag, _) = crate::tag::load(&root.join("demo-data/tags/cedar")).unwrap();
        let sd = (0.64 + 0.09 + tag.spread.lab_bias_sd_db.powi(2)).sqrt();
        assert!((law.sd_db / sd - 1.0).abs() < 1e-9);
        for margin in [-1.0, 0.5, 3.0, 5.0] {
            assert!((law.odds_above(margin) / normal_cdf((0.5 - margin) / sd) - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn beliefs_of_another_shape_are_drawn_one_by_one() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (mut course, _) =
            crate::course::load(&root.join("scenarios/half-marathon-rain-eu-lower.toml")).unwrap();
        let (tag, _) = crate::tag::load(&root.join("demo-data/tags/cedar")).unwrap();
        course.beliefs.batch_offset_db = Quantity::Uniform { min: -1.0, max: 1.0 };
        assert!(OffsetMix::new(&course, &tag).is_none());
    }
}
