//! The importance density: a share of the natural density plus Gaussians at failing regions.
//!
//! q(c, z) = α w_c φ(z) + Σ_k a_k [c = c_k] N(z; μ_k, σ_k²), with stratum c, its weight w_c, z in standard-normal space,
//! α + Σ a_k = 1. A point drawn from q has weight w_c φ / q ≤ 1/α everywhere, so no single point can ruin an
//! estimate and no region is ever left without points (T. Hesterberg, Weighted average importance sampling and defensive
//! mixture distributions, Technometrics 37 (1995) 185-194; A. Owen, Y. Zhou, Safe and effective importance sampling, J. Am.
//! Stat. Assoc. 95 (2000) 135-143).

use crate::numeric::elementary::exp;
use crate::random::Stream;

/// One Gaussian of the mixture; it lives in one stratum.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    pub stratum: usize,
    /// Share of all points.
    pub share: f64,
    mean: Vec<f64>,
    sd: Vec<f64>,
    /// 1/σ of each axis and Σ ln σ: a fit asks for them millions of times.
    inverse_sd: Vec<f64>,
    ln_sd: f64,
}

impl Component {
    pub fn new(stratum: usize, share: f64, mean: Vec<f64>, sd: Vec<f64>) -> Component {
        let inverse_sd = sd.iter().map(|sd| 1.0 / sd).collect();
        let ln_sd = sd.iter().map(|&sd| libm::log(sd)).sum();
        Component { stratum, share, mean, sd, inverse_sd, ln_sd }
    }

    pub fn mean(&self) -> &[f64] {
        &self.mean
    }

    /// ln of (its density over the natural one) at z.
    pub fn ln_ratio(&self, z: &[f64]) -> f64 {
        // Four sums side by side: half the waiting.
        let mut sums = [0.0; 4];
        for (i, ((&x, &mean), &inverse)) in z.iter().zip(&self.mean).zip(&self.inverse_sd).enumerate() {
            let scaled = (x - mean) * inverse;
            sums[i % 4] += x * x - scaled * scaled;
        }
        0.5 * ((sums[0] + sums[1]) + (sums[2] + sums[3])) - self.ln_sd
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Mixture {
    /// Share α of the natural density.
    pub natural: f64,
    /// Weights of the strata.
    pub strata: Vec<f64>,
    pub components: Vec<Component>,
}

impl Mixture {
    /// Rescale the shares so that they and `natural` add up to 1. Without components all points are natural.
    pub fn normalised(natural: f64, strata: &[f64], mut components: Vec<Component>) -> Mixture {
        let total: f64 = components.iter().map(|component| component.share).sum();
        components.retain(|component| component.share > 0.0);
        for component in &mut components {
            component.share *= (1.0 - natural) / total;
        }
        let natural = if components.is_empty() { 1.0 } else { natural };
        Mixture { natural, strata: strata.to_vec(), components }
    }

    /// q over the natural density at (stratum, z); at least the natural share.
    pub fn ratio(&self, stratum: usize, z: &[f64]) -> f64 {
        self.natural + self.component_ratio(stratum, z)
    }

    /// The part of `ratio` that the Gaussians give.
    pub fn component_ratio(&self, stratum: usize, z: &[f64]) -> f64 {
        self.components
            .iter()
            .filter(|component| component.stratum == stratum)
            .map(|component| component.share / self.strata[stratum] * exp(component.ln_ratio(z)))
            .sum()
    }

    /// Draw one point into `z` and give its stratum. `place` in 0..1 decides which part of the mixture it comes from, so
    /// that evenly spread places give every part its exact share.
    pub fn draw(&self, place: f64, stream: &mut Stream, z: &mut [f64]) -> usize {
        let mut left = place;
        for component in &self.components {
            if left < component.share {
                for ((x, &mean), &sd) in z.iter_mut().zip(&component.mean).zip(&component.sd) {
                    *x = mean + sd * stream.normal();
                }
                return component.stratum;
            }
            left -= component.share;
        }
        z.fill_with(|| stream.normal());
        stratum_at(&self.strata, (left / self.natural).clamp(0.0, 1.0))
    }
}

/// The stratum at `place` in 0..=1 of the weights laid end to end.
pub fn stratum_at(strata: &[f64], place: f64) -> usize {
    let mut left = place;
    for (stratum, &weight) in strata.iter().enumerate() {
        if left < weight {
            return stratum;
        }
        left -= weight;
    }
    // Rounding may leave a hair beyond the last weight: it belongs to the last stratum that has any.
    strata.iter().rposition(|&weight| weight > 0.0).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Purpose;

    fn example() -> Mixture {
        let component = |stratum, share, x| Component::new(stratum, share, vec![x, 0.5], vec![0.8, 1.2]);
        Mixture::normalised(0.2, &[0.7, 0.3], vec![component(0, 1.0, 2.0), component(1, 3.0, -1.0)])
    }

    /// E_q[w] = 1 and the points of stratum 1 weigh 0.3 in all: both within five standard errors (odds 6e-7 each;
    /// weights lie in 0..=5, so their standard deviation is at most 2.5, in truth near 1).
    #[test]
    fn weights_restore_the_natural_density() {
        let mixture = example();
        let (n, mut z) = (40_000, [0.0; 2]);
        let (mut sum, mut squares, mut second) = (0.0, 0.0, 0.0);
        for index in 0..n {
            let mut stream = Stream::new(3, Purpose::Mixture, 0, 0, index);
            let stratum = mixture.draw((index as f64 + 0.5) / n as f64, &mut stream, &mut z);
            let weight = 1.0 / mixture.ratio(stratum, &z);
            assert!(weight <= 5.0);
            sum += weight;
            squares += weight * weight;
            second += if stratum == 1 { weight } else { 0.0 };
        }
        let mean = sum / n as f64;
        let error = ((squares / n as f64 - mean * mean) / n as f64).sqrt();
        assert!((mean - 1.0).abs() < 5.0 * error, "{mean} {error}");
        assert!((second / n as f64 - 0.3).abs() < 5.0 * error, "{second}");
    }

    #[test]
    fn a_shift_has_the_textbook_ratio() {
        // N(z; β, 1) / φ(z) = exp(β z − β²/2).
        let component = Component::new(0, 1.0, vec![3.0], vec![1.0]);
        assert!((component.ln_ratio(&[2.0]) - (6.0 - 4.5)).abs() < 1e-12);
    }

    #[test]
    fn strata_are_laid_end_to_end() {
        let places = [0.0, 0.69, 0.71, 0.999, 1.0];
        assert_eq!(places.map(|place| stratum_at(&[0.7, 0.3, 0.0], place)), [0, 0, 1, 1, 1]);
    }
}
