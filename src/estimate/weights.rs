//! Weights nobody knows exactly: closed forms, draws, and what they leave of a ranking.
//!
//! A season's mix of races is a guess. Dirichlet(1, …, 1) is "anything goes", Dirichlet(κ·w) spreads round stated weights w
//! with strength κ (E = w, Var = w(1−w)/(κ+1)), and rank-order-centroid weights follow from the order alone.
//! For each option: odds of being best (rank acceptability), the mean weights under which it is best (central
//! weights), and expected regret.
//!
//! Sources: S. D. Barron, B. E. Barrett, Management Science 42(11), 1996 (rank-order centroid); R. Lahdelma, P. Salminen,
//! SMAA-2, Operations Research 49(3), 2001 (rank acceptability, central weights). Gamma quantiles by the incomplete
//! gamma function make the draws inverse-CDF draws (Dirichlet = gammas over their sum).

use crate::numeric::gamma::gamma_quantile;
use crate::random::Stream;
use crate::random::transform::exponential_quantile;

/// Rank-order-centroid weights of m ranks, w_k = (1/m) Σ_{i=k}^m 1/i.
pub fn rank_order_centroid(ranks: usize) -> Vec<f64> {
    (1..=ranks).map(|k| (k..=ranks).map(|i| 1.0 / i as f64).sum::<f64>() / ranks as f64).collect()
}

/// Mean and variance of each weight of a Dirichlet law with positive parameters.
pub fn dirichlet_mean_and_variance(parameters: &[f64]) -> Vec<(f64, f64)> {
    let total: f64 = parameters.iter().sum();
    parameters
        .iter()
        .map(|a| {
            let mean = a / total;
            (mean, mean * (1.0 - mean) / (total + 1.0))
        })
        .collect()
}

/// One draw of weights from a Dirichlet law; every parameter > 0. Uses one uniform per weight.
pub fn dirichlet_draw(parameters: &[f64], stream: &mut Stream) -> Vec<f64> {
    let gammas: Vec<f64> = parameters
        .iter()
        .map(|&shape| {
            let u = stream.uniform();
            if shape == 1.0 {
                return exponential_quantile(u, 1.0);
            }
            // A parameter outside the gamma law's range cannot be drawn; its weight is its mean.
            gamma_quantile(shape, u)
        })
        .collect();
    let total: f64 = gammas.iter().sum();
    if total > 0.0 {
        gammas.iter().map(|g| g / total).collect()
    } else {
        let total: f64 = parameters.iter().sum();
        parameters.iter().map(|a| a / total).collect()
    }
}

/// Odds that Σ w_i·d_i > 0 when the weights are anything (uniform on the simplex).
///
/// Σ over the positive d_i of d_i^(m−1) / Π_{j≠i} (d_i − d_j): a weighted sum of exponentials is positive. Positive values that tie
/// are moved apart by a millionth of their size.
pub fn odds_positive_any_weights(differences: &[f64]) -> f64 {
    let mut d = differences.to_vec();
    d.sort_by(f64::total_cmp);
    for i in 1..d.len() {
        if d[i] > 0.0 && d[i] <= d[i - 1] * (1.0 + 1e-7) {
            d[i] = d[i - 1] * (1.0 + 1e-6);
        }
    }
    let positive =
        |i: usize| -> f64 { (0..d.len()).filter(|&j| j != i).map(|j| d[i] / (d[i] - d[j])).product() };
    (0..d.len()).filter(|&i| d[i] > 0.0).map(positive).sum::<f64>().clamp(0.0, 1.0)
}

/// What uncertain weights leave of a ranking.
#[derive(Clone, Debug, PartialEq)]
pub struct Acceptability {
    /// [option][rank]: share of the weight draws that give the option this rank (0 = best).
    pub rank_share: Vec<Vec<f64>>,
    /// Mean weights among the draws that make the option best; empty if none does.
    pub central_weights: Vec<Vec<f64>>,
    /// Mean loss over the best of each draw, by option.
    pub expected_regret: Vec<f64>,
}

/// Ranks options by Σ w·loss (least is best) over draws of the weights. `losses[option][criterion]`.
pub fn acceptability(losses: &[Vec<f64>], weight_draws: &[Vec<f64>]) -> Acceptability {
    let options = losses.len();
    let mut rank_share = vec![vec![0.0; options]; options];
    let mut central = vec![Vec::<f64>::new(); options];
    let mut regret = vec![0.0; options];
    for weights in weight_draws {
        let totals: Vec<f64> =
            losses.iter().map(|row| row.iter().zip(weights).map(|(loss, w)| loss * w).sum()).collect();
        let mut order: Vec<usize> = (0..options).collect();
        order.sort_by(|&i, &j| totals[i].total_cmp(&totals[j]));
        for (rank, &option) in order.iter().enumerate() {
            rank_share[option][rank] += 1.0;
            regret[option] += totals[option] - totals[order[0]];
        }
        if let Some(&best) = order.first() {
            central[best].resize(weights.len(), 0.0);
            for (sum, w) in central[best].iter_mut().zip(weights) {
                *sum += w;
            }
        }
    }
    let draws = weight_draws.len().max(1) as f64;
    for (option, sums) in central.iter_mut().enumerate() {
        let wins: f64 = rank_share[option].first().copied().unwrap_or(0.0);
        sums.iter_mut().for_each(|sum| *sum /= wins);
    }
    rank_share.iter_mut().flatten().for_each(|share| *share /= draws);
    regret.iter_mut().for_each(|sum| *sum /= draws);
    Acceptability { rank_share, central_weights: central, expected_regret: regret }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Purpose;

    /// Source: Barron & Barrett 1996, rank-order-centroid formula; m = 3 and 4 computed by hand (11/18, 5/18, 2/18;
    /// 25/48, 13/48, 7/48, 3/48). Tolerance: half of the sixth digit.
    #[test]
    fn val_rank_order_centroid() {
        for (m, expected) in
            [(3, vec![0.611_111, 0.277_778, 0.111_111]), (4, vec![0.520_833, 0.270_833, 0.145_833, 0.0625])]
        {
            let weights = rank_order_centroid(m);
            assert_eq!(weights.len(), m);
            for (w, value) in weights.iter().zip(&expected) {
                assert!((w - value).abs() < 5e-7);
            }
        }
    }

    /// Source: Dirichlet moments, N. L. Johnson, S. Kotz, Continuous Multivariate Distributions, 1972 (from memory): m = 3
    /// variance .055556, m = 4 .0375. Draws: n = 20 000, mean within 4 standard errors (false-alarm odds 6e-5 per weight).
    #[test]
    fn val_dirichlet() {
        assert!((dirichlet_mean_and_variance(&[1.0; 3])[0].1 - 0.055_556).abs() < 5e-7);
        assert!((dirichlet_mean_and_variance(&[1.0; 4])[0].1 - 0.0375).abs() < 1e-15);
        let parameters = [8.0, 0.6, 2.0];
        let n = 20_000;
        let mut sums = [0.0; 3];
        let mut stream = Stream::new(11, Purpose::Study, 1, 0, 0);
        for _ in 0..n {
            for (sum, w) in sums.iter_mut().zip(dirichlet_draw(&parameters, &mut stream)) {
                *sum += w;
            }
        }
        for (sum, (mean, variance)) in sums.iter().zip(dirichlet_mean_and_variance(&parameters)) {
            let error = (variance / f64::from(n)).sqrt();
            assert!((sum / f64::from(n) - mean).abs() < 4.0 * error, "{sum} {mean}");
        }
    }

    /// Source: volume of the simplex cut by a plane, P = a²/((a+b)(a+c)) for (a, −b, −c): .25, .266667; and
    /// 1 − c²/((c+a)(c+b)) = .733333 for (3, 1, −2). Tolerance: half the last digit.
    #[test]
    fn val_any_weights() {
        for (d, odds) in
            [([1.0, -1.0, -1.0], 0.25), ([2.0, -1.0, -3.0], 0.266_667), ([3.0, 1.0, -2.0], 0.733_333)]
        {
            assert!((odds_positive_any_weights(&d) - odds).abs() < 5e-7);
        }
        assert!((odds_positive_any_weights(&[1.0, 1.0, -1.0]) - 0.75).abs() < 1e-5);
        assert_eq!(odds_positive_any_weights(&[-1.0, -2.0]), 0.0);
        assert!((odds_positive_any_weights(&[1.0, 2.0]) - 1.0).abs() < 1e-12);
    }

    /// Source: simulation over uniform weights with numpy 1.26.4; scores (high is good) [[.9,.3,.5],[.6,.7,.4],[.3,.6,.9]]: odds of
    /// rank 1 .331, .225, .443; expected regret .127, .128, .094. Tolerance: their half digit plus four standard
    /// errors of 40 000 draws (odds .010, regret .003; false-alarm odds 6e-5 each).
    #[test]
    fn val_rank_acceptability() {
        let losses: Vec<Vec<f64>> = [[0.9, 0.3, 0.5], [0.6, 0.7, 0.4], [0.3, 0.6, 0.9]]
            .iter()
            .map(|row| row.iter().map(|score| -score).collect())
            .collect();
        let mut stream = Stream::new(5, Purpose::Study, 2, 0, 0);
        let draws: Vec<Vec<f64>> = (0..40_000).map(|_| dirichlet_draw(&[1.0; 3], &mut stream)).collect();
        let result = acceptability(&losses, &draws);
        for (option, (odds, regret)) in
            [(0.331, 0.127), (0.225, 0.128), (0.443, 0.094)].into_iter().enumerate()
        {
            assert!((result.rank_share[option][0] - odds).abs() < 0.0105);
            assert!((result.expected_regret[option] - regret).abs() < 0.0035);
            assert!((result.central_weights[option].iter().sum::<f64>() - 1.0).abs() < 1e-9);
        }
    }
}
