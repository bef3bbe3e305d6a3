//! Weights that can be trusted: Pareto smoothing of the largest ones, and the diagnostic k-hat.
//!
//! The largest weights follow a generalised Pareto law; its shape k says how many of their moments exist. Fitted by J. Zhang, M. Stephens, Technometrics 51 (2009)
//! 316-325, with the weak prior of and smoothing by A. Vehtari, D. Simpson, A. Gelman, Y. Yao, J. Gabry, J. Mach. Learn. Res. 25(72) (2024). Usable up to
//! k = min(1 − 1/log₁₀ S, 0.7) for S weights.

/// Largest k at which S weights can be trusted.
pub fn limit(weights: usize) -> f64 {
    (1.0 - 1.0 / libm::log10(weights as f64)).min(0.7)
}

/// Effective number of weights, (Σw)²/Σw².
pub fn effective(weights: &[f64]) -> f64 {
    let (sum, squares) = weights.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}

/// Weights of the logarithms `ln_w`, smoothed and summing to 1, with k-hat (none for fewer than 25 weights, or a tail without spread).
pub fn smoothed(ln_w: &[f64]) -> (Vec<f64>, Option<f64>) {
    let most = ln_w.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut w: Vec<f64> = ln_w.iter().map(|l| libm::exp(l - most)).collect();
    let n = w.len();
    let tail = ((0.2 * n as f64).min(3.0 * (n as f64).sqrt())).ceil() as usize;
    let mut shape = None;
    if n >= 25 && tail >= 5 {
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|&a, &b| w[a].total_cmp(&w[b]));
        let (rest, top) = order.split_at(n - tail);
        let cut = w[*rest.last().expect("a fifth at most is tail")].max(f64::MIN_POSITIVE);
        let above: Vec<f64> = top.iter().map(|&i| w[i] - cut).collect();
        // Weights that are all but equal have no tail.
        if above[0] > 0.0 && above[tail - 1] > 1e-6 * cut && above[tail - 1] > 1.000_001 * above[0] {
            let (k, sigma) = fit(&above);
            shape = Some(k);
            for (rank, &i) in top.iter().enumerate() {
                let p = (rank as f64 + 0.5) / tail as f64;
                let order_statistic = if k.abs() < 1e-9 {
                    -sigma * libm::log1p(-p)
                } else {
                    sigma * libm::expm1(-k * libm::log1p(-p)) / k
                };
                w[i] = (cut + order_statistic).min(1.0);
            }
        }
    }
    let total: f64 = w.iter().sum();
    w.iter_mut().for_each(|w| *w /= total);
    (w, shape)
}

/// Shape and scale of a generalised Pareto law from a sorted sample above 0.
fn fit(sorted: &[f64]) -> (f64, f64) {
    let n = sorted.len();
    let points = 30 + (n as f64).sqrt() as usize;
    let quarter = sorted[((n as f64 / 4.0 + 0.5) as usize).saturating_sub(1)].max(1e-300);
    let last = sorted[n - 1];
    let thetas: Vec<f64> = (1..=points)
        .map(|j| 1.0 / last + (1.0 - (points as f64 / (j as f64 - 0.5)).sqrt()) / (3.0 * quarter))
        .collect();
    let shape = |theta: f64| sorted.iter().map(|x| libm::log1p(-theta * x)).sum::<f64>() / n as f64;
    let profile: Vec<f64> = thetas
        .iter()
        .map(|&theta| {
            let k = shape(theta);
            n as f64 * (libm::log(-theta / k) - k - 1.0)
        })
        .collect();
    let weight = |j: usize| 1.0 / profile.iter().map(|l| libm::exp(l - profile[j])).sum::<f64>();
    let theta: f64 = (0..points).map(|j| thetas[j] * weight(j)).sum();
    let k = shape(theta);
    let sigma = -k / theta;
    // Ten observations of k = 0.5, as weakly informative as the paper has it.
    ((k * n as f64 + 5.0) / (n as f64 + 10.0), sigma)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Purpose, Stream};

    /// Source: elementary: 1/Σw² of .5 .3 .1 .05 .03 .02 = 1/0.3538 = 2.826456. Tolerance: 1e-6.
    #[test]
    fn val_effective_number() {
        assert!((effective(&[0.5, 0.3, 0.1, 0.05, 0.03, 0.02]) - 2.826_456).abs() < 1e-6);
    }

    /// Source: A. Vehtari and others, J. Mach. Learn. Res. 25(72) (2024): min(1 − 1/log₁₀ S, 0.7). Tolerance: 1e-5.
    #[test]
    fn val_limits_of_k_hat() {
        for (s, want) in [(100, 0.5), (320, 0.600_82), (1000, 0.666_67), (2000, 0.697_06), (100_000, 0.7)] {
            assert!((limit(s) - want).abs() < 1e-5, "{s}");
        }
    }

    /// Weights of a Pareto law with shape 0.3 pass, of 1.2 fail. 4000 weights, 190 in the tail: the fit scatters by some 0.1 about the shape,
    /// so a false alarm is some four of its standard errors away (below 1e-4).
    #[test]
    fn k_hat_finds_the_shape() {
        for (shape, passes) in [(0.3, true), (1.2, false)] {
            let mut stream = Stream::new(5, Purpose::Study, 0, 0, 0);
            let ln_w: Vec<f64> = (0..4000).map(|_| -shape * libm::log(stream.uniform())).collect();
            let (w, k) = smoothed(&ln_w);
            let k = k.expect("a tail");
            assert_eq!(k < limit(4000), passes, "{k}");
            assert!((k - shape).abs() < 0.35, "{k} for {shape}");
            assert!((w.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn equal_weights_stay_equal() {
        let (w, k) = smoothed(&vec![-3.0; 200]);
        assert!(k.is_none() && w.iter().all(|w| (w - 0.005).abs() < 1e-15));
        assert!((effective(&w) - 200.0).abs() < 1e-9);
    }
}
