//! Which option is best, and how wrong the choice may be: closed forms of ranking and selection.
//!
//! The best option is the one with the LEAST mean (a miss rate, a loss). Estimates are normal and, where the
//! formula says so, have errors of their own. Regret is what choosing an option costs over the best:
//! for a difference (other − chosen) with mean d and sd s it is E[(−X)⁺] = s·φ(d/s) − d·Φ(−d/s).
//!
//! Sources: expected regret (linear loss), H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory, 1961;
//! indifference zone, R. E. Bechhofer, Ann. Math. Statist. 25(1), 1954, 16-39; allocation of runs,
//! C.-H. Chen, J. Lin, E. Yücesan, S. E. Chick, Discrete Event Dynamic Systems 10(3), 2000, 251-270; bounds on the
//! odds of a correct selection, Bonferroni's inequality and D. Slepian, Bell System Tech. J. 41(2), 1962.

use crate::numeric::quadrature::normal_expectation;
use crate::random::transform::{normal_cdf, normal_pdf};

/// Index of the least value; the first of equals. `None` on an empty slice or when every value is NaN.
pub fn index_of_least(values: &[f64]) -> Option<usize> {
    (0..values.len()).filter(|&i| !values[i].is_nan()).min_by(|&i, &j| values[i].total_cmp(&values[j]))
}

/// Expected regret of an option whose advantage over its rival is normal with mean `advantage` and standard deviation
/// `sd` (≥ 0), in the unit of both.
pub fn expected_regret_normal(advantage: f64, sd: f64) -> f64 {
    if sd <= 0.0 {
        return (-advantage).max(0.0);
    }
    let z = advantage / sd;
    (sd * normal_pdf(z) - advantage * normal_cdf(-z)).max(0.0)
}

/// Standardised distances of every other option from the one with the least mean:
/// z_i = (m_i − m_b) / √(se_b² + se_i²). Slices of equal length, standard errors > 0.
pub fn distances_from_best(means: &[f64], standard_errors: &[f64]) -> Vec<f64> {
    let Some(best) = index_of_least(means) else { return Vec::new() };
    (0..means.len())
        .filter(|&i| i != best)
        .map(|i| (means[i] - means[best]) / standard_errors[best].hypot(standard_errors[i]))
        .collect()
}

/// Lower bound of the odds of a correct selection, 1 − Σ Φ(−z_i); holds whatever the errors share.
pub fn correct_selection_bonferroni(distances: &[f64]) -> f64 {
    (1.0 - distances.iter().map(|&z| normal_cdf(-z)).sum::<f64>()).max(0.0)
}

/// Lower bound Π Φ(z_i); holds when the differences are positively correlated (as with a common best).
pub fn correct_selection_slepian(distances: &[f64]) -> f64 {
    distances.iter().map(|&z| normal_cdf(z)).product()
}

/// Odds that the option with the least true mean also shows the least estimate, when every estimate has a normal error of
/// its own: ∫ φ(u) Π Φ((m_i − m_b − s_b·u)/s_i) du. Standard errors > 0.
pub fn correct_selection_exact(means: &[f64], standard_errors: &[f64]) -> f64 {
    let Some(best) = index_of_least(means) else { return 1.0 };
    normal_expectation(|u| {
        (0..means.len())
            .filter(|&i| i != best)
            .map(|i| normal_cdf((means[i] - means[best] - standard_errors[best] * u) / standard_errors[i]))
            .product()
    })
}

/// h of the indifference-zone rule n = (h·σ/δ)²: with that many runs each, k options of common known σ and the best ahead by
/// δ or more, the right one is chosen with odds ≥ `odds`. k ≥ 2, 1/k < odds < 1.
pub fn bechhofer_h(options: u32, odds: f64) -> f64 {
    let others = options.max(2) - 1;
    let reached = |h: f64| normal_expectation(|u| libm::pow(normal_cdf(u + h), f64::from(others)));
    let (mut low, mut high) = (0.0, 20.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if reached(middle) < odds {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Shares of the runs each option should get (they sum to 1):
/// N_i/N_j = (σ_i/δ_i)² / (σ_j/δ_j)², N_b = σ_b·√Σ N_i²/σ_i², δ_i = m_i − m_b.
///
/// `sds` > 0. An option that ties with the best is treated as `least_gap` (> 0) away, so that
/// no share becomes infinite; `least_gap` is the difference nobody would care about.
pub fn allocation_shares(means: &[f64], sds: &[f64], least_gap: f64) -> Vec<f64> {
    let Some(best) = index_of_least(means) else { return Vec::new() };
    let mut shares: Vec<f64> = (0..means.len())
        .map(|i| {
            let ratio = sds[i] / (means[i] - means[best]).max(least_gap);
            if i == best { 0.0 } else { ratio * ratio }
        })
        .collect();
    let spread: f64 = (0..means.len()).map(|i| shares[i] / sds[i]).map(|ratio| ratio * ratio).sum();
    shares[best] = if means.len() == 1 { 1.0 } else { sds[best] * spread.sqrt() };
    let total: f64 = shares.iter().sum();
    shares.iter().map(|share| share / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Raiffa & Schlaifer 1961, unit normal linear loss integral, computed with scipy 1.17.1:
    /// d = s = 1 gives .08331547; d = .002, s = .001 gives 8.4907e-6. Tolerance: half the last digit.
    #[test]
    fn val_expected_regret_of_a_normal_difference() {
        assert!((expected_regret_normal(1.0, 1.0) - 0.083_315_47).abs() < 5e-9);
        assert!((expected_regret_normal(0.002, 0.001) - 8.4907e-6).abs() < 5e-11);
        assert_eq!(expected_regret_normal(-0.3, 0.0), 0.3);
        assert_eq!(expected_regret_normal(0.3, 0.0), 0.0);
    }

    /// Source: the formulas at the head, quadrature with scipy 1.17.1: means 1..5, σ = 1, two runs each: Bonferroni
    /// .817213, Slepian .821068, exact .831602; twenty runs each: .9992173. Tolerance: half the last digit.
    #[test]
    fn val_odds_of_a_correct_selection() {
        let means = [1.0, 2.0, 3.0, 4.0, 5.0];
        let errors = [std::f64::consts::FRAC_1_SQRT_2; 5];
        let z = distances_from_best(&means, &errors);
        assert!((correct_selection_bonferroni(&z) - 0.817_213).abs() < 5e-7);
        assert!((correct_selection_slepian(&z) - 0.821_068).abs() < 5e-7);
        assert!((correct_selection_exact(&means, &errors) - 0.831_602).abs() < 5e-7);
        let errors = [(1.0_f64 / 20.0).sqrt(); 5];
        assert!((correct_selection_exact(&means, &errors) - 0.999_217_3).abs() < 5e-8);
    }

    /// Source: R. E. Bechhofer 1954, table I (P* = .95, k = 2..5, from memory), all values recomputed by quadrature with
    /// scipy 1.17.1. Tolerance: half the last digit.
    #[test]
    fn val_indifference_zone() {
        for (odds, row) in [
            (0.90, [1.8124, 2.2302, 2.4516, 2.5997, 2.9829]),
            (0.95, [2.3262, 2.7101, 2.9162, 3.0552, 3.4182]),
            (0.99, [3.2900, 3.6173, 3.7970, 3.9196, 4.2456]),
        ] {
            for (options, h) in [2, 3, 4, 5, 10].into_iter().zip(row) {
                assert!((bechhofer_h(options, odds) - h).abs() < 5.1e-5, "k = {options}, P* = {odds}");
            }
        }
    }

    /// Source: Chen et al. 2000, allocation rule at the head, evaluated with numpy 1.26.4. Tolerance: half the last digit.
    #[test]
    fn val_allocation_of_runs() {
        let bernoulli: Vec<f64> =
            [0.002, 0.003, 0.004, 0.01].iter().map(|p: &f64| (p * (1.0 - p)).sqrt()).collect();
        let cases: [(&[f64], &[f64], &[f64]); 3] = [
            (&[1.0, 2.0, 3.0, 4.0, 5.0], &[1.0; 5], &[0.421_823, 0.406_134, 0.101_534, 0.045_126, 0.025_383]),
            (&[1.0, 1.5, 2.0, 3.0], &[1.0, 1.0, 2.0, 2.0], &[0.333_333, 0.296_296, 0.296_296, 0.074_074]),
            (&[0.002, 0.003, 0.004, 0.01], &bernoulli, &[0.380_513, 0.447_375, 0.148_975, 0.023_137]),
        ];
        for (means, sds, expected) in cases {
            for (share, value) in allocation_shares(means, sds, 1e-9).iter().zip(expected) {
                assert!((share - value).abs() < 5.1e-7, "{share} {value}");
            }
        }
    }

    #[test]
    fn ties_and_single_options_stay_finite() {
        assert_eq!(allocation_shares(&[1.0], &[1.0], 1e-6), [1.0]);
        let shares = allocation_shares(&[1.0, 1.0], &[1.0, 1.0], 1e-6);
        assert!((shares[0] - 0.5).abs() < 1e-12 && (shares[1] - 0.5).abs() < 1e-12);
        assert_eq!(index_of_least(&[]), None);
        assert_eq!(index_of_least(&[f64::NAN, 2.0, 1.0, 1.0]), Some(2));
    }
}
