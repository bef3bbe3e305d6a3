//! What a handful of samples tells about the standard deviation of the production they come from.
//!
//! Half-normal prior on σ (scale A), flat prior on the mean,
//! p(σ | s, n) ∝ exp(-σ²/2A²) · σ^-(n-1) · exp(-(n-1)s²/2σ²).
//! Where the n values themselves are uncertain with variance v (a shift read off a curve), σ² + v stands for σ² in the
//! likelihood: s² is then not all spread.
//! Source: A. Gelman, Prior distributions for variance parameters in hierarchical models, Bayesian
//! Analysis 1 (2006) 515-533, for the half-normal family of priors; the scale of 1 dB is our estimate.

/// Scale A of the half-normal prior on the sample spread, dB.
pub const PRIOR_SCALE_DB: f64 = 1.0;
const GRID: usize = 400;

/// Posterior of a production standard deviation as equally likely values.
#[derive(Clone, Debug)]
pub struct SigmaPosterior {
    quantiles: Vec<f64>,
}

impl SigmaPosterior {
    /// `n` samples (≥ 1) with standard deviation `s` (ignored for n = 1); prior scale `a` > 0.
    pub fn new(n: usize, s: f64, a: f64) -> SigmaPosterior {
        SigmaPosterior::with_noise(n, s, 0.0, a)
    }

    /// The same when each of the values has an error of variance `noise` (≥ 0) of its own.
    pub fn with_noise(n: usize, s: f64, noise: f64, a: f64) -> SigmaPosterior {
        // Dense grid in ln σ from far below to far above anything plausible, then invert the summed density.
        let dof = n as f64 - 1.0;
        let (low, high, cells) = (libm::log(1e-3 * a), libm::log(8.0 * a.max(s)), 4000);
        let step = (high - low) / cells as f64;
        let log_density = |ln_sigma: f64| {
            let sigma = libm::exp(ln_sigma);
            let seen = sigma * sigma + noise;
            // + ln σ is the Jacobian of the logarithmic grid.
            -0.5 * (sigma / a) * (sigma / a) - 0.5 * dof * (libm::log(seen) + s * s / seen) + ln_sigma
        };
        let at: Vec<f64> = (0..cells).map(|i| low + (i as f64 + 0.5) * step).collect();
        let logs: Vec<f64> = at.iter().map(|&x| log_density(x)).collect();
        let peak = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut cumulative = Vec::with_capacity(cells);
        let mut sum = 0.0;
        for log in &logs {
            sum += libm::exp(log - peak);
            cumulative.push(sum);
        }
        let quantiles = (0..GRID)
            .map(|i| {
                let target = (i as f64 + 0.5) / GRID as f64 * sum;
                let k = cumulative.partition_point(|&c| c < target).min(cells - 1);
                libm::exp(at[k])
            })
            .collect();
        SigmaPosterior { quantiles }
    }

    /// A spread that is known (pinned in the scenario or by the user).
    pub fn known(sigma: f64) -> SigmaPosterior {
        SigmaPosterior { quantiles: vec![sigma] }
    }

    /// Mean of a function of σ.
    pub fn mean_of(&self, f: impl Fn(f64) -> f64) -> f64 {
        self.quantiles.iter().map(|&sigma| f(sigma)).sum::<f64>() / self.quantiles.len() as f64
    }

    /// σ with posterior odds `u` (0..1) of being below it; clamped to the outermost of the stored values.
    pub fn quantile(&self, u: f64) -> f64 {
        let n = self.quantiles.len();
        if n == 1 {
            return self.quantiles[0];
        }
        let position = (u * n as f64 - 0.5).clamp(0.0, n as f64 - 1.0);
        let k = (position as usize).min(n - 2);
        self.quantiles[k] + (position - k as f64) * (self.quantiles[k + 1] - self.quantiles[k])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: A. Gelman, Bayesian Analysis 1 (2006) 515-533 (half-normal prior); values by quadrature on a
    /// grid independent of this file (Python). n = 3, s = 0.5 dB, A = 1 dB: median 0.650, 95 % 0.284 to 1.749;
    /// n = 5: 0.589, 0.317 to 1.357; n = 2: 0.707, 0.249 to 2.012. Tolerance: 1 % (grid of this file).
    #[test]
    fn val_sigma_posterior() {
        for (n, low, median, high) in
            [(3, 0.284, 0.650, 1.749), (5, 0.317, 0.589, 1.357), (2, 0.249, 0.707, 2.012)]
        {
            let p = SigmaPosterior::new(n, 0.5, 1.0);
            for (u, want) in [(0.025, low), (0.5, median), (0.975, high)] {
                let got = p.quantile(u);
                assert!((got / want - 1.0).abs() < 0.01, "n={n} u={u}: {got} against {want}");
            }
        }
    }
}
