//! Options compared over joint draws of what nobody knows (worlds): odds of being best, expected regret, what may be left.
//!
//! `losses[world][option]`, all options of a world under the same unknowns and on the same draws; least is best.
//! Expected regret of option k: mean over worlds of loss_k − min_j loss_j. The minimum of noisy losses is too low on
//! average, so this plug-in value is too high. Picking each world's best on one half of its passings and judging it on the other half
//! errs the other way (the pick is sometimes wrong, the judgement is fair). The two enclose the truth on average.

use super::selection::index_of_least;

/// What joint draws say of each option.
#[derive(Clone, Debug, PartialEq)]
pub struct JointRanking {
    /// Mean loss by option.
    pub mean: Vec<f64>,
    /// Option with the least mean loss.
    pub chosen: usize,
    /// Share of the worlds in which the option is best; ties are shared out.
    pub odds_best: Vec<f64>,
    /// Plug-in expected regret by option (an upper value).
    pub expected_regret: Vec<f64>,
}

/// `None` without worlds or options.
pub fn rank(losses: &[Vec<f64>]) -> Option<JointRanking> {
    let options = losses.first()?.len();
    let worlds = losses.len() as f64;
    let mut mean = vec![0.0; options];
    let mut odds = vec![0.0; options];
    let mut regret = vec![0.0; options];
    for world in losses {
        let least = world[index_of_least(world)?];
        let ties = world.iter().filter(|&&loss| loss == least).count() as f64;
        for (k, &loss) in world.iter().enumerate() {
            mean[k] += loss / worlds;
            regret[k] += (loss - least) / worlds;
            if loss == least {
                odds[k] += 1.0 / ties / worlds;
            }
        }
    }
    Some(JointRanking { chosen: index_of_least(&mean)?, mean, odds_best: odds, expected_regret: regret })
}

/// Regret of `option` with each world's best picked on one half of the passings and judged on the other, both ways round
/// (a lower value). The halves are losses as in [`rank`], of equal shape.
pub fn split_half_regret(first: &[Vec<f64>], second: &[Vec<f64>], option: usize) -> f64 {
    let one_way = |pick: &[Vec<f64>], judge: &[Vec<f64>]| -> f64 {
        pick.iter().zip(judge).filter_map(|(p, j)| Some(j[option] - j[index_of_least(p)?])).sum::<f64>()
    };
    let worlds = first.len().max(1) as f64;
    0.5 * (one_way(first, second) + one_way(second, first)) / worlds
}

/// Standard error of the mean of values from different worlds; `None` with fewer than two.
pub fn standard_error(values: impl Iterator<Item = f64> + Clone) -> Option<f64> {
    let n = values.clone().count() as f64;
    if n < 2.0 {
        return None;
    }
    let mean = values.clone().sum::<f64>() / n;
    let squares: f64 = values.map(|v| (v - mean) * (v - mean)).sum();
    Some((squares / (n - 1.0) / n).sqrt())
}

/// Value at rank `u` (0..=1) of unsorted values, between neighbours linearly (type 7 of Hyndman & Fan, The American
/// Statistician 50(4), 1996). NaN without values.
pub fn quantile(values: &[f64], u: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let position = u.clamp(0.0, 1.0) * last as f64;
    let below = position as usize;
    let above = (below + 1).min(last);
    sorted[below] + (position - below as f64) * (sorted[above] - sorted[below])
}

#[cfg(test)]
mod tests {
    use super::super::selection::expected_regret_normal;
    use super::*;
    use crate::random::transform::normal_cdf;
    use crate::random::{Purpose, Stream};

    /// Difference of two options normal with mean d and sd s, every passing half with noise of its own.
    fn worlds(n: u64, d: f64, s: f64, noise: f64, half: u64) -> Vec<Vec<f64>> {
        (0..n)
            .map(|w| {
                let shared = Stream::new(1, Purpose::Study, 1, 0, w).normal();
                let mut own = Stream::new(1, Purpose::Study, 2 + half, 0, w);
                vec![noise * own.normal(), d + s * shared + noise * own.normal()]
            })
            .collect()
    }

    /// Source: unit normal linear loss integral (Raiffa & Schlaifer 1961). Tolerance: four standard errors of 40 000 worlds, the
    /// regret's standard deviation lying below s (false-alarm odds 6e-5 each).
    #[test]
    fn val_regret_of_a_normal_difference() {
        let n = 40_000;
        let (d, s) = (0.4, 1.0);
        let ranking = rank(&worlds(n, d, s, 0.0, 0)).unwrap();
        let slack = 4.0 * s / (n as f64).sqrt();
        assert_eq!(ranking.chosen, 0);
        assert!((ranking.expected_regret[0] - expected_regret_normal(d, s)).abs() < slack);
        assert!((ranking.expected_regret[1] - expected_regret_normal(-d, s)).abs() < slack);
        assert!((ranking.odds_best[0] - normal_cdf(d / s)).abs() < slack);
    }

    /// Noise of the passings pushes the plug-in up and the split-half value down; the truth lies between.
    /// Four standard errors apart (false-alarm odds below 1e-4).
    #[test]
    fn the_two_values_enclose_the_truth() {
        let n = 40_000;
        let (d, s, noise) = (0.4, 0.5, 0.5);
        let (first, second) = (worlds(n, d, s, noise, 0), worlds(n, d, s, noise, 1));
        let both: Vec<Vec<f64>> = first
            .iter()
            .zip(&second)
            .map(|(a, b)| a.iter().zip(b).map(|(x, y)| 0.5 * (x + y)).collect())
            .collect();
        let truth = expected_regret_normal(d, s);
        let slack = 4.0 * (s + noise) / (n as f64).sqrt();
        let high = rank(&both).unwrap().expected_regret[0];
        let low = split_half_regret(&first, &second, 0);
        assert!(high > truth + slack && low < truth - slack, "{low} {truth} {high}");
    }

    #[test]
    fn ties_are_shared_and_quantiles_interpolate() {
        let ranking = rank(&[vec![1.0, 1.0, 2.0], vec![1.0, 2.0, 3.0]]).unwrap();
        assert_eq!(ranking.odds_best, [0.75, 0.25, 0.0]);
        assert_eq!(ranking.expected_regret, [0.0, 0.5, 1.5]);
        assert_eq!(rank(&[]), None);
        assert_eq!(quantile(&[3.0, 1.0, 2.0], 0.25), 1.5);
        assert!(quantile(&[], 0.5).is_nan());
        assert_eq!(standard_error([1.0, 3.0].into_iter()), Some(1.0));
    }
}
