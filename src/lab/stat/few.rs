//! What n samples say about the spread of production: intervals of σ, of the mean and of the next sample.
//!
//! σ lies between s√(ν/χ²_{1−α/2}) and s√(ν/χ²_{α/2}), ν = n − 1. With 2 to 5 samples these are so wide that a prior
//! cannot be avoided; two are offered and both are visible: half-t (`sigma_posterior`) and conjugate
//! (scaled inverse chi-square: as if ν₀ earlier samples had shown a spread s₀).
//! Source: W. Q. Meeker, G. J. Hahn and L. A. Escobar, Statistical Intervals (2nd edition 2017), 4.3 (mean), 4.4 (σ),
//! 4.8 (next sample); A. Gelman and others, Bayesian Data Analysis (3rd edition 2013), 2.6 and 3.3 (conjugate).

use super::sigma_posterior::{Prior, SigmaPosterior};
use crate::numeric::chi_square::{chi_square_quantile, chi_square_upper, chi_square_upper_quantile};
use crate::numeric::gamma::ln_gamma;
use crate::numeric::quadrature::integrate;
use crate::numeric::student::t_quantile;
use crate::numeric::summary::{mean, standard_deviation};
use crate::numeric::{normal_cdf, root};
use serde::{Deserialize, Serialize};

/// Interval of a standard deviation or of a value, both ends in the unit of the readings.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Range {
    pub low: f64,
    pub high: f64,
}

/// Exact interval of σ from the standard deviation `sd` of `n` ≥ 2 normal samples at two-sided `level`; `None` for
/// fewer.
pub fn sigma_interval(n: usize, sd: f64, level: f64) -> Option<Range> {
    if n < 2 || !(sd >= 0.0) {
        return None;
    }
    let dof = n as f64 - 1.0;
    let half = 0.5 * (1.0 - level);
    Some(Range {
        low: sd * (dof / chi_square_upper_quantile(half, dof)).sqrt(),
        high: sd * (dof / chi_square_quantile(half, dof)).sqrt(),
    })
}

/// One-sided upper limit of σ.
pub fn sigma_upper(n: usize, sd: f64, level: f64) -> Option<f64> {
    let dof = n as f64 - 1.0;
    (n >= 2).then(|| sd * (dof / chi_square_quantile(1.0 - level, dof)).sqrt())
}

/// Half width of the interval of the mean of `n` ≥ 2 samples.
pub fn mean_half_width(n: usize, sd: f64, level: f64) -> Option<f64> {
    (n >= 2).then(|| t_quantile(0.5 + 0.5 * level, n as f64 - 1.0) * sd / (n as f64).sqrt())
}

/// Half width of the interval that holds the next sample.
pub fn prediction_half_width(n: usize, sd: f64, level: f64) -> Option<f64> {
    (n >= 2).then(|| t_quantile(0.5 + 0.5 * level, n as f64 - 1.0) * sd * (1.0 + 1.0 / n as f64).sqrt())
}

/// c₄: mean of s over σ for `n` ≥ 2 samples.
pub fn c4(n: usize) -> f64 {
    let count = n as f64;
    (2.0 / (count - 1.0)).sqrt() * libm::exp(ln_gamma(0.5 * count) - ln_gamma(0.5 * (count - 1.0)))
}

/// What the samples say, with and without the prior.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpreadSummary {
    pub samples: usize,
    pub level: f64,
    pub mean: f64,
    /// `None` for one sample.
    pub standard_deviation: Option<f64>,
    /// Without a prior; `None` for one sample.
    pub sigma_alone: Option<Range>,
    pub next_sample_half_width_alone: Option<f64>,
    /// Variance of the error of each value itself (placing, reading), taken off before it counts as spread.
    pub noise_variance: f64,
    pub prior: Prior,
    /// The spread is not worked out here but known from elsewhere: all of `sigma` is that number.
    pub known: bool,
    pub sigma_median: f64,
    pub sigma: Range,
    pub next_sample_half_width: f64,
}

impl SpreadSummary {
    fn sd(&self) -> f64 {
        self.standard_deviation.unwrap_or(0.0)
    }
    /// Samples in all that would halve the interval of σ; `None` when it is known or no number up to 10 000 would.
    pub fn samples_to_halve(&self) -> Option<usize> {
        let ground = Ground { prior: self.prior, noise_variance: self.noise_variance, known: None };
        if self.known { None } else { samples_to_halve(self.samples, self.sd(), &ground, self.level) }
    }
    /// Odds, under the prior alone, of samples spread at least as far as these; small: prior and samples disagree.
    pub fn prior_odds(&self) -> f64 {
        prior_agrees(self.samples, self.sd(), self.prior)
    }
}

/// How the spread of some values is judged: prior, variance of the error of each value (≥ 0), and σ itself where it is
/// known from elsewhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ground {
    pub prior: Prior,
    pub noise_variance: f64,
    pub known: Option<f64>,
}

impl Ground {
    pub fn prior(prior: Prior) -> Ground {
        Ground { prior, noise_variance: 0.0, known: None }
    }
    /// Posterior of σ from `n` values of standard deviation `sd`: the one and only place where it is worked out.
    pub fn posterior(&self, n: usize, sd: f64) -> SigmaPosterior {
        match self.known {
            Some(sigma) => SigmaPosterior::known(sigma),
            None => SigmaPosterior::with_noise(n, sd, self.noise_variance, self.prior),
        }
    }
}

/// Summary of at least one sample value (one number per sample, the mean of its repeats), two-sided `level` up to
/// 0.99. `None` without a sample or for bad numbers.
pub fn spread_summary(values: &[f64], ground: &Ground, level: f64) -> Option<SpreadSummary> {
    let n = values.len();
    if n == 0
        || !(ground.prior.scale > 0.0 && ground.prior.degrees > 0.0 && ground.noise_variance >= 0.0)
        || !(level > 0.0 && level < 1.0)
        || values.iter().any(|v| !v.is_finite())
    {
        return None;
    }
    let sd = if n > 1 { standard_deviation(values) } else { 0.0 };
    let posterior = ground.posterior(n, sd);
    let noise = ground.noise_variance;
    // s² holds the noise too.
    let less_noise = |r: Range| Range {
        low: (r.low * r.low - noise).max(0.0).sqrt(),
        high: (r.high * r.high - noise).max(0.0).sqrt(),
    };
    let half = 0.5 * (1.0 - level);
    Some(SpreadSummary {
        samples: n,
        level,
        mean: mean(values),
        standard_deviation: (n > 1).then_some(sd),
        sigma_alone: sigma_interval(n, sd, level).map(less_noise),
        next_sample_half_width_alone: prediction_half_width(n, sd, level),
        noise_variance: noise,
        prior: ground.prior,
        known: ground.known.is_some(),
        sigma_median: posterior.quantile(0.5),
        sigma: Range { low: posterior.quantile(half), high: posterior.quantile(1.0 - half) },
        next_sample_half_width: posterior_prediction_half_width(&posterior, n, level),
    })
}

/// Half width h with odds `level` that the next sample is within ± h of the mean of `n` samples, σ after its
/// posterior.
pub fn posterior_prediction_half_width(posterior: &SigmaPosterior, n: usize, level: f64) -> f64 {
    let widen = (1.0 + 1.0 / n as f64).sqrt();
    let outside = |h: f64| posterior.mean_of(|sigma| 2.0 * normal_cdf(-h / (sigma * widen)));
    let high = 10.0 * widen * posterior.quantile(1.0);
    root::brent(|h| 1.0 - level - outside(h), 0.0, high, 1e-10 * high).unwrap_or(f64::NAN)
}

/// Posterior under the conjugate prior.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conjugate {
    pub samples: usize,
    pub mean: f64,
    pub degrees_of_freedom: f64,
    pub scale: f64,
}

impl Conjugate {
    /// `prior_degrees` ≥ 0 earlier samples' worth of belief in a spread `prior_scale`; `None` if nothing is known
    /// (no values, or no degree of freedom in all).
    pub fn new(values: &[f64], prior_degrees: f64, prior_scale: f64) -> Option<Conjugate> {
        let own = values.len().checked_sub(1)? as f64;
        let degrees = prior_degrees + own;
        if !(degrees > 0.0) {
            return None;
        }
        let centre = mean(values);
        let squares: f64 = values.iter().map(|v| (v - centre) * (v - centre)).sum();
        let scale = ((prior_degrees * prior_scale * prior_scale + squares) / degrees).sqrt();
        Some(Conjugate { samples: values.len(), mean: centre, degrees_of_freedom: degrees, scale })
    }
    pub fn sigma_interval(&self, level: f64) -> Range {
        let half = 0.5 * (1.0 - level);
        let dof = self.degrees_of_freedom;
        Range {
            low: self.scale * (dof / chi_square_upper_quantile(half, dof)).sqrt(),
            high: self.scale * (dof / chi_square_quantile(half, dof)).sqrt(),
        }
    }
    pub fn prediction_half_width(&self, level: f64) -> f64 {
        let widen = (1.0 + 1.0 / self.samples as f64).sqrt();
        t_quantile(0.5 + 0.5 * level, self.degrees_of_freedom) * self.scale * widen
    }
}

/// Odds, under the prior alone, of a standard deviation of `n` ≥ 2 samples at least as large as `sd`: small odds
/// say that prior and samples disagree, so that the prior should be widened. 1 for one sample.
pub fn prior_agrees(n: usize, sd: f64, prior: Prior) -> f64 {
    if n < 2 {
        return 1.0;
    }
    let dof = n as f64 - 1.0;
    // P(s ≥ sd | σ) over the prior density of σ = A·u, with u = v/(1 − v) to reach the whole tail.
    let density = |v: f64| {
        let u = v / (1.0 - v);
        let jacobian = 1.0 / ((1.0 - v) * (1.0 - v));
        jacobian * prior.density(u) * chi_square_upper(dof * (sd / (prior.scale * u)).powi(2), dof)
    };
    integrate(density, 0.0, 1.0 - 1e-9, 1e-10, 1e-9)
}

/// Samples in all that would halve the interval of σ if the spread seen stays what it is. At most 10 000 are
/// looked at: `None` beyond.
pub fn samples_to_halve(n: usize, sd: f64, ground: &Ground, level: f64) -> Option<usize> {
    let half = 0.5 * (1.0 - level);
    let width = |n: usize| {
        let p = ground.posterior(n, sd);
        p.quantile(1.0 - half) - p.quantile(half)
    };
    let target = 0.5 * width(n.max(1));
    let mut high = n.max(1) + 1;
    while width(high) > target {
        high *= 2;
        if high > 10_000 {
            return None;
        }
    }
    let mut low = n.max(1);
    while low + 1 < high {
        let middle = low + (high - low) / 2;
        if width(middle) > target { low = middle } else { high = middle }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: SciPy 1.17.1 (chi2, t) for the factors on s at 95 %; c₄ also in the factors of ASTM International as printed by A. M. Joglekar, Statistical Methods for Six Sigma (2003), appendix G (seen). Tolerance: half the
    /// last digit.
    #[test]
    fn val_factors_for_few_samples() {
        for (n, low, high, of_mean, of_next, upper, c) in [
            (2, 0.4461, 31.9102, 8.9846, 15.5619, 15.9472, 0.797885),
            (3, 0.5207, 6.2847, 2.4841, 4.9683, 4.4154, 0.886227),
            (4, 0.5665, 3.7285, 1.5912, 3.5581, 2.9200, 0.921318),
            (5, 0.5991, 2.8736, 1.2417, 3.0414, 2.3724, 0.939986),
            (10, 0.6878, 1.8256, 0.7154, 2.3726, 1.6452, 0.972659),
        ] {
            let sigma = sigma_interval(n, 1.0, 0.95).expect("n > 1");
            let near =
                |got: f64, want: f64| assert!((got - want).abs() < 5.1e-5, "{n}: {got} against {want}");
            near(sigma.low, low);
            near(sigma.high, high);
            near(mean_half_width(n, 1.0, 0.95).expect("n > 1"), of_mean);
            near(prediction_half_width(n, 1.0, 0.95).expect("n > 1"), of_next);
            near(sigma_upper(n, 1.0, 0.95).expect("n > 1"), upper);
            assert!((c4(n) - c).abs() < 5e-7);
        }
        assert!(sigma_interval(1, 1.0, 0.95).is_none() && prediction_half_width(0, 1.0, 0.95).is_none());
    }

    /// Source: half-normal prior of A. Gelman, Bayesian Analysis 1 (2006) 515-533; predictive half widths on a grid of
    /// its own in Python (numpy 1.26.4): n = 3, s = 0.5 dB, A = 1 dB: 2.010; A = 0.5: 1.403; n = 2, A = 1: 2.441;
    /// n = 5: 1.572. Tolerance: 1 % (400 stored values of σ).
    #[test]
    fn val_predictive_half_width() {
        for (n, a, want) in [(3, 1.0, 2.010), (3, 0.5, 1.403), (2, 1.0, 2.441), (5, 1.0, 1.572)] {
            let got =
                posterior_prediction_half_width(&SigmaPosterior::new(n, 0.5, Prior::half_normal(a)), n, 0.95);
            assert!((got / want - 1.0_f64).abs() < 0.01, "{n} {a}: {got} against {want}");
        }
    }

    /// Source: A. Gelman and others, Bayesian Data Analysis (3rd edition 2013), 3.3, worked in SciPy 1.17.1:
    /// −17.8, −18.3, −17.1, −18.0, −17.5 with ν₀ = 4, s₀ = 0.8: ν 8, scale 0.653070, half width 1.64972; without a prior
    /// the next sample lies in −19.1437 to −16.3363. Tolerance: half the last digit.
    #[test]
    fn val_conjugate_posterior() {
        let values = [-17.8, -18.3, -17.1, -18.0, -17.5];
        let c = Conjugate::new(&values, 4.0, 0.8).expect("degrees");
        assert_eq!(c.degrees_of_freedom, 8.0);
        assert!((c.scale - 0.653070).abs() < 5e-7);
        assert!((c.prediction_half_width(0.95) - 1.64972).abs() < 5e-6);
        let alone = Conjugate::new(&values, 0.0, 1.0).expect("degrees");
        assert!((alone.mean - alone.prediction_half_width(0.95) + 19.1437).abs() < 5e-5);
        assert!((alone.mean + alone.prediction_half_width(0.95) + 16.3363).abs() < 5e-5);
        assert_eq!(alone.sigma_interval(0.95), sigma_interval(5, alone.scale, 0.95).expect("n > 1"));
        assert!(Conjugate::new(&[1.0], 0.0, 1.0).is_none() && Conjugate::new(&[], 5.0, 1.0).is_none());
        let k = super::super::tolerance::one_sided_factor(5, 0.95, 0.95).expect("in range");
        assert!((alone.mean + k * alone.scale + 15.8004).abs() < 5e-5);
    }

    /// Source: closed form for two samples: s = σ|z| with σ = A|u|, so P(s ≥ x) = P(|u·z| ≥ x/A), the product of two normal
    /// numbers; with density K₀/π its two tails beyond 1 hold 0.208 993 66, beyond 3 0.019 638 60 (mpmath 1.4.1, quadrature of
    /// besselk(0)). Tolerance: half the last digit.
    #[test]
    fn val_prior_agreement() {
        assert!((prior_agrees(2, 1.0, Prior::half_normal(1.0)) - 0.208_993_66).abs() < 1e-8);
        assert!((prior_agrees(2, 6.0, Prior::half_normal(2.0)) - 0.019_638_60).abs() < 1e-8);
        assert!(
            prior_agrees(5, 3.0, Prior::half_normal(1.0)) < 0.01
                && prior_agrees(5, 0.5, Prior::half_t(1.0)) > 0.5
                && prior_agrees(1, 9.0, Prior::half_t(1.0)) == 1.0
        );
    }

    #[test]
    fn halving_needs_more_samples_and_reaches_half() {
        let ground = Ground::prior(Prior::half_t(1.0));
        for (n, sd) in [(1, 0.0), (2, 0.5), (3, 0.5), (5, 1.0)] {
            let needed = samples_to_halve(n, sd, &ground, 0.95).expect("within 10 000");
            let width = |n: usize| {
                let p = ground.posterior(n, sd);
                p.quantile(0.975) - p.quantile(0.025)
            };
            assert!(
                needed > n && width(needed) <= 0.5 * width(n) && width(needed - 1) > 0.5 * width(n)
                    || needed == n + 1
            );
        }
        let one = spread_summary(&[-17.0], &ground, 0.95).expect("one sample");
        assert!(one.standard_deviation.is_none() && one.sigma.high > 2.0 && one.next_sample_half_width > 1.0);
        assert!(
            spread_summary(&[], &ground, 0.95).is_none()
                && spread_summary(&[f64::NAN], &ground, 0.95).is_none()
        );
    }
}
