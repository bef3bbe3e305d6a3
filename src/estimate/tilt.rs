//! Worlds drawn where the misses are, and weighted back.
//!
//! Where misses are rare a few bad worlds and levels carry the mean. Worlds are then drawn from a defensive mixture (T. Hesterberg, Technometrics 37 (1995) 185-194):
//! a share α from their own law, the rest with the normal scores z of the unknowns moved by b, so a world weighs
//!   w(z) = 1 / (α + (1 − α)·e^(b·z − b²/2)) ≤ 1/α.
//! b is the mean of z among the misses (cross-entropy; R. Rubinstein, Methodol. Comput. Appl. Probab. 1 (1999) 127-190), found by the pilot with every
//! threshold raised just so far that enough of its worlds have misses. With b = 0 worlds are drawn from their own law.

use crate::passing::draw::RACE_DIMS;
use crate::passing::unknowns::{Enters, Layer, RACE_EFFECT_KEY, UNKNOWNS, Unknown};
use crate::random::transform::{normal_cdf, normal_quantile};
use serde::{Deserialize, Serialize};

/// Share of worlds from their own law.
const NATURAL: f64 = 0.2;
/// Moves as long as chance alone makes them are left out: this many standard errors.
const CHANCE: f64 = 1.5;
/// Least move of what raises thresholds.
const LEAST_THRESHOLD_MOVE: f64 = 0.5;
/// Longest move of one unknown, normal scores.
pub(crate) const LONGEST: f64 = 1.8;

/// By how much the normal score of each unknown is moved.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Tilt {
    pub moves: [f64; RACE_DIMS],
}

impl Tilt {
    /// The point of the unit cube for a natural point `u`, and its weight, moved in the dimensions `dims`; `pick` in (0, 1) chooses the part
    /// of the mixture.
    pub fn point(
        &self,
        u: &[f64; RACE_DIMS],
        pick: f64,
        dims: impl Iterator<Item = usize>,
    ) -> ([f64; RACE_DIMS], f64) {
        let mut out = *u;
        let (mut along, mut square) = (0.0, 0.0);
        for dim in dims.filter(|&dim| self.moves[dim] != 0.0) {
            let b = self.moves[dim];
            let mut z = normal_quantile(u[dim]);
            if pick >= NATURAL {
                z += b;
                out[dim] = normal_cdf(z).clamp(1e-15, 1.0 - 1e-15);
            }
            along += b * z;
            square += b * b;
        }
        if square == 0.0 {
            return (*u, 1.0);
        }
        (out, 1.0 / (NATURAL + (1.0 - NATURAL) * libm::exp(along - 0.5 * square)))
    }

    /// From pilot worlds: their points and how much each misses under `stress` steps of raised thresholds, `missed[world][step]`.
    pub fn from_pilot(points: &[[f64; RACE_DIMS]], missed: &[Vec<f64>]) -> Tilt {
        let steps = missed.first().map_or(0, Vec::len);
        let enough = 0.12 * points.len() as f64;
        let ess = |step: usize| {
            let (sum, squares) =
                missed.iter().fold((0.0, 0.0), |(s, q), m| (s + m[step], q + m[step] * m[step]));
            if squares > 0.0 { sum * sum / squares } else { 0.0 }
        };
        let Some(step) = (0..steps).find(|&step| ess(step) >= enough) else { return Tilt::default() };
        // Misses everywhere: no world is worth more than another.
        if step == 0 && ess(0) > 0.7 * points.len() as f64 {
            return Tilt::default();
        }
        let sum: f64 = missed.iter().map(|m| m[step]).sum();
        let chance = CHANCE / ess(step).sqrt();
        let mut moves = [0.0; RACE_DIMS];
        // How far races differ counts only where beliefs are learned, and those are not tilted.
        let moved = |u: &&Unknown| {
            u.key != RACE_EFFECT_KEY && (u.layer == Layer::NobodyKnows || u.enters == Enters::Passings)
        };
        for unknown in UNKNOWNS.iter().filter(moved) {
            let mean = points
                .iter()
                .zip(missed)
                .map(|(u, m)| m[step] / sum * normal_quantile(u[unknown.dim]))
                .sum::<f64>();
            if unknown.enters == Enters::Threshold {
                // Which way is known beforehand: a higher threshold, or a wider spread, costs reads. Its tail may be heavy and the
                // pilot miss it, so it is always moved.
                moves[unknown.dim] = mean.clamp(LEAST_THRESHOLD_MOVE, LONGEST);
            } else if mean.abs() > chance {
                // Raised thresholds blur what decides: the move is longer without them.
                let longer = 1.0 + 0.12 * step as f64;
                moves[unknown.dim] = (mean * longer).clamp(-LONGEST, LONGEST);
            }
        }
        Tilt { moves }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Purpose, Stream};

    /// Weights average to 1 and give back the mean of any function: 40,000 points, tolerances of five standard errors (false alarm 6e-7).
    #[test]
    fn weights_give_back_the_law() {
        let mut moves = [0.0; RACE_DIMS];
        (moves[1], moves[4]) = (-1.2, 0.8);
        let tilt = Tilt { moves };
        let n = 40_000;
        let (mut weight, mut tail, mut tail_squares) = (0.0, 0.0, 0.0);
        for i in 0..n {
            let mut stream = Stream::new(2, Purpose::Study, 0, i, 0);
            let u: [f64; RACE_DIMS] = std::array::from_fn(|_| stream.uniform());
            let (point, w) = tilt.point(&u, stream.uniform(), 0..RACE_DIMS);
            assert!(w <= 1.0 / NATURAL);
            let hit = f64::from(u8::from(normal_quantile(point[4]) - normal_quantile(point[1]) > 4.0));
            weight += w;
            tail += w * hit;
            tail_squares += w * w * hit;
        }
        let n = n as f64;
        assert!((weight / n - 1.0).abs() < 0.03, "{}", weight / n);
        // z₄ − z₁ is normal with variance 2.
        let exact = normal_cdf(-4.0 / std::f64::consts::SQRT_2);
        let error = (tail_squares / n / n).sqrt();
        assert!((tail / n - exact).abs() < 5.0 * error && error < 0.05 * exact, "{} {exact}", tail / n);
    }

    #[test]
    fn the_pilot_finds_what_carries_the_misses() {
        let points: Vec<[f64; RACE_DIMS]> = (0..64)
            .map(|world| {
                let mut stream = Stream::new(3, Purpose::Study, 0, world, 0);
                std::array::from_fn(|_| stream.uniform())
            })
            .collect();
        let missed: Vec<Vec<f64>> = points
            .iter()
            .map(|u| (0..7).map(|s| normal_cdf(2.0 * normal_quantile(u[1]) - 6.0 + f64::from(s))).collect())
            .collect();
        let tilt = Tilt::from_pilot(&points, &missed);
        assert!(tilt.moves[1] > 0.6, "{tilt:?}");
        assert!(tilt.moves[2] == 0.0 || tilt.moves[2].abs() < 0.7 * tilt.moves[1]);
    }
}
