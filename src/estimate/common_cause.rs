//! Parametric models of shared causes: beta factor, multiple Greek letters, alpha factor.
//!
//! n alike units, each missing with probability Q. Q_k is the probability of the basic event that takes
//! out one given set of k units together; every unit belongs to C(n−1, k−1) sets of size k, so
//! Σ_k C(n−1, k−1)·Q_k = Q.
//!
//! - beta factor: Q_1 = (1−β)Q, Q_n = βQ;
//! - multiple Greek letters: Q_k = [Π_{i=2..k} ρ_i]·(1−ρ_{k+1})·Q / C(n−1, k−1), ρ_{n+1} = 0;
//! - alpha factor, every test tries all units (one passing tries all lines): Q_k = k·α_k·Q / (C(n−1, k−1)·Σ i·α_i);
//! - alpha factor, staggered tests: Q_k = α_k·Q / C(n−1, k−1) (from memory, NUREG/CR-5485).
//!
//! Source of the first three: Open-PSA Model Exchange Format, meta-logical layer (CCF groups). They describe
//! what a simulation found; nothing here predicts.

/// Q_1 … Q_n of the beta-factor model; n ≥ 2, 0 ≤ β ≤ 1.
pub fn beta_factor(q: f64, beta: f64, units: usize) -> Vec<f64> {
    let mut levels = vec![0.0; units];
    levels[0] = (1.0 - beta) * q;
    levels[units - 1] += beta * q;
    levels
}

/// Q_1 … Q_n of the multiple-Greek-letter model; `rho` holds ρ_2 … ρ_n.
pub fn multiple_greek_letter(q: f64, rho: &[f64]) -> Vec<f64> {
    let units = rho.len() + 1;
    let mut shared = 1.0;
    (1..=units)
        .map(|k| {
            if k >= 2 {
                shared *= rho[k - 2];
            }
            let next = rho.get(k - 1).copied().unwrap_or(0.0);
            shared * (1.0 - next) * q / binomial(units - 1, k - 1)
        })
        .collect()
}

/// Q_1 … Q_n of the alpha-factor model when every test tries all units; `alpha` holds α_1 … α_n, summing to 1.
pub fn alpha_factor(q: f64, alpha: &[f64]) -> Vec<f64> {
    let mean: f64 = alpha.iter().enumerate().map(|(i, a)| (i + 1) as f64 * a).sum();
    alpha
        .iter()
        .enumerate()
        .map(|(i, a)| (i + 1) as f64 * a / mean * q / binomial(alpha.len() - 1, i))
        .collect()
}

/// Q_1 … Q_n of the alpha-factor model under staggered tests.
pub fn alpha_factor_staggered(q: f64, alpha: &[f64]) -> Vec<f64> {
    alpha.iter().enumerate().map(|(i, a)| a * q / binomial(alpha.len() - 1, i)).collect()
}

/// Shares α_k of the events that took out exactly k units, from (weighted) counts n_1 … n_n, and their posterior means under
/// Dirichlet(½, …, ½). `None` when nothing was counted.
pub fn alpha_from_counts(counts: &[f64]) -> Option<(Vec<f64>, Vec<f64>)> {
    let total: f64 = counts.iter().sum();
    let with_prior = total + 0.5 * counts.len() as f64;
    (total > 0.0).then(|| {
        (counts.iter().map(|n| n / total).collect(), counts.iter().map(|n| (n + 0.5) / with_prior).collect())
    })
}

/// The beta factor and the second Greek letter that say the same as α_1, α_2, α_3 of three units tried together:
/// β = (2α_2 + 3α_3)/(α_1 + 2α_2 + 3α_3), γ = 3α_3/(2α_2 + 3α_3).
pub fn greek_from_alpha(alpha: [f64; 3]) -> (f64, f64) {
    let [one, two, three] = alpha;
    let shared = 2.0 * two + 3.0 * three;
    (shared / (one + shared), 3.0 * three / shared)
}

/// C(n, k).
pub fn binomial(n: usize, k: usize) -> f64 {
    (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product()
}

/// Odds that no basic event leaves the set of units in `inside` (a bit mask).
fn odds_confined(levels: &[f64], inside: u32) -> f64 {
    let all = 1u32 << levels.len();
    (1..all)
        .filter(|event| event & !inside != 0)
        .map(|event| 1.0 - levels[event.count_ones() as usize - 1])
        .product()
}

/// Odds that every one of n lines fails when a line fails as soon as one of its parts does; each group holds the Q_1 … Q_n of
/// one kind of part, one part of the kind in each line. Exact, by inclusion and exclusion.
pub fn all_lines_fail(groups: &[Vec<f64>]) -> f64 {
    let Some(units) = groups.first().map(Vec::len) else { return 0.0 };
    (0..1u32 << units)
        .map(|inside| {
            let sign = if (units as u32 - inside.count_ones()).is_multiple_of(2) { 1.0 } else { -1.0 };
            sign * groups.iter().map(|levels| odds_confined(levels, inside)).product::<f64>()
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn identity(levels: &[f64]) -> f64 {
        let n = levels.len();
        levels.iter().enumerate().map(|(i, q)| binomial(n - 1, i) * q).sum()
    }

    /// Source: test values of the open-source fault-tree analyser SCRAM (rakhimov/scram, tests/bench_core_tests.cc, commit
    /// b85b7894): three trains, each failing when its valve or its pump fails, two groups of three, Q = 0.1.
    /// Printed: beta .2 .04308, multiple Greek letters .2 .1 .01630, alpha .7 .2 .1 .05298. Tolerance: one unit of the last digit;
    /// and the exact values .0430803731, .0162947705, .0529814107 (inclusion-exclusion in Python) to 1e-10.
    #[test]
    fn val_three_trains_with_common_causes() {
        let cases = [
            (beta_factor(0.1, 0.2, 3), [0.08, 0.0, 0.02], 0.04308, 0.043_080_373_1),
            (multiple_greek_letter(0.1, &[0.2, 0.1]), [0.08, 0.009, 0.002], 0.01630, 0.016_294_770_5),
            (
                alpha_factor(0.1, &[0.7, 0.2, 0.1]),
                [0.05, 0.014_285_714_3, 0.021_428_571_4],
                0.05298,
                0.052_981_410_7,
            ),
        ];
        for (levels, expected, printed, exact) in cases {
            for (q, value) in levels.iter().zip(expected) {
                assert!((q - value).abs() < 1e-10);
            }
            assert!((identity(&levels) - 0.1).abs() < 1e-15);
            let top = all_lines_fail(&[levels.clone(), levels]);
            assert!((top - printed).abs() < 1e-5, "{top} {printed}");
            assert!((top - exact).abs() < 1e-10, "{top} {exact}");
        }
    }

    /// Source: same file: rare-event sum over the ten minimal cut sets of the beta-factor case, .044096: eight
    /// mixed triples of single failures and two shared events. Tolerance: 1e-12.
    #[test]
    fn val_rare_event_sum_of_the_beta_case() {
        let q = beta_factor(0.1, 0.2, 3);
        assert!((8.0 * q[0] * q[0] * q[0] + 2.0 * q[2] - 0.044_096).abs() < 1e-12);
    }

    /// Source: alpha-factor estimators from counts (30, 4, 2): .83333, .11111, .05556; mean under Dirichlet(½)
    /// .81333, .12, .06667; arithmetic. Tolerance: half the last digit.
    #[test]
    fn val_alpha_from_counts() {
        let (plain, posterior) = alpha_from_counts(&[30.0, 4.0, 2.0]).unwrap();
        for (got, value) in plain.iter().zip([0.833_33, 0.111_11, 0.055_56]) {
            assert!((got - value).abs() < 5e-6);
        }
        for (got, value) in posterior.iter().zip([0.813_33, 0.12, 0.066_67]) {
            assert!((got - value).abs() < 5e-6);
        }
        assert_eq!(alpha_from_counts(&[0.0, 0.0]), None);
    }

    #[test]
    fn greek_letters_and_alphas_say_the_same() {
        let alpha = [0.7, 0.2, 0.1];
        let (beta, gamma) = greek_from_alpha(alpha);
        for (one, two) in multiple_greek_letter(0.1, &[beta, gamma]).iter().zip(alpha_factor(0.1, &alpha)) {
            assert!((one - two).abs() < 1e-15);
        }
        assert!((identity(&alpha_factor_staggered(0.1, &alpha)) - 0.1).abs() < 1e-15);
    }
}
