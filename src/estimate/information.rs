//! What knowing one thing would be worth before choosing.
//!
//! Knowing unknown x before the choice lowers the expected loss by min_k E[L_k] − E_x[min_k E[L_k | x]] (expected value of partial
//! perfect information; Raiffa & Schlaifer 1961). E[L_k | x] is a regression of the worlds' losses on x (M. Strong, J. E. Oakley,
//! A. Brennan, Medical Decision Making 34(3), 2014), here a polynomial in x. Fitting and judging on the same worlds would
//! find value in noise, so worlds are split in folds: the rule "choose by the fit" is fitted on the others and judged on
//! the fold. What it saves against the one best choice is then fair or too low, never flattering.

use super::joint::standard_error;
use super::selection::index_of_least;

const FOLDS: usize = 5;
const DEGREE: usize = 2;

/// Value of knowing one unknown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Loss saved per decision, in the unit of the losses; below 0 is noise.
    pub saved: f64,
    pub standard_error: f64,
}

/// `losses[world][option]` and the unknown's value in each world (scaled to about −3..3, such as a normal score).
/// `None` with fewer than 20 worlds.
pub fn value_of_knowing(losses: &[Vec<f64>], unknown: &[f64]) -> Option<Value> {
    if losses.len() < 20 || unknown.len() != losses.len() {
        return None;
    }
    let options = losses[0].len();
    let mut saved = Vec::with_capacity(losses.len());
    for fold in 0..FOLDS {
        let others: Vec<usize> = (0..losses.len()).filter(|w| w % FOLDS != fold).collect();
        let mean: Vec<f64> =
            (0..options).map(|k| others.iter().map(|&w| losses[w][k]).sum::<f64>()).collect();
        let blind = index_of_least(&mean)?;
        let fits: Vec<[f64; DEGREE + 1]> = (0..options)
            .map(|k| {
                let points = others.iter().map(|&w| (unknown[w], losses[w][k] - losses[w][blind]));
                polynomial(points)
            })
            .collect::<Option<_>>()?;
        for w in (0..losses.len()).filter(|w| w % FOLDS == fold) {
            let expected: Vec<f64> = fits.iter().map(|c| evaluate(c, unknown[w])).collect();
            let informed = index_of_least(&expected)?;
            saved.push(losses[w][blind] - losses[w][informed]);
        }
    }
    Some(Value {
        saved: saved.iter().sum::<f64>() / saved.len() as f64,
        standard_error: standard_error(saved.iter().copied())?,
    })
}

fn evaluate(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Least-squares polynomial by the normal equations; `None` if x takes too few values.
fn polynomial(points: impl Iterator<Item = (f64, f64)>) -> Option<[f64; DEGREE + 1]> {
    const N: usize = DEGREE + 1;
    let mut system = [[0.0; N + 1]; N];
    for (x, y) in points {
        let mut powers = [1.0; N];
        for i in 1..N {
            powers[i] = powers[i - 1] * x;
        }
        for (row, p) in system.iter_mut().zip(powers) {
            for (cell, q) in row.iter_mut().zip(powers) {
                *cell += p * q;
            }
            row[N] += p * y;
        }
    }
    for column in 0..N {
        let pivot =
            (column..N).max_by(|&i, &j| system[i][column].abs().total_cmp(&system[j][column].abs()))?;
        system.swap(column, pivot);
        if system[column][column].abs() < 1e-9 {
            return None;
        }
        let head = system[column];
        for (i, row) in system.iter_mut().enumerate() {
            if i != column {
                let factor = row[column] / head[column];
                row.iter_mut().zip(head).for_each(|(cell, h)| *cell -= factor * h);
            }
        }
    }
    let mut coefficients = [0.0; N];
    for (i, c) in coefficients.iter_mut().enumerate() {
        *c = system[i][N] / system[i][i];
    }
    Some(coefficients)
}

#[cfg(test)]
mod tests {
    use super::super::selection::expected_regret_normal;
    use super::*;
    use crate::random::{Purpose, Stream};

    /// Option 1 is better by `d` + `known`·x + `hidden`·y; x can be learnt, y cannot.
    fn worlds(n: u64, d: f64, known: f64, hidden: f64) -> (Vec<Vec<f64>>, Vec<f64>) {
        (0..n)
            .map(|w| {
                let mut stream = Stream::new(9, Purpose::Study, 0, 0, w);
                let (x, y) = (stream.normal(), stream.normal());
                (vec![0.0, -(d + known * x + hidden * y)], x)
            })
            .unzip()
    }

    /// Source: value of information on a normal mean, s·φ(d/s) − d·Φ(−d/s) with s the part that can be learnt (Raiffa & Schlaifer
    /// 1961). Tolerance: four standard errors (false-alarm odds 6e-5 each).
    #[test]
    fn val_partial_information_on_a_normal_mean() {
        for (d, known, hidden) in [(0.3, 1.0, 0.0), (0.3, 1.0, 1.0), (0.5, 0.6, 2.0)] {
            let (losses, x) = worlds(20_000, d, known, hidden);
            let value = value_of_knowing(&losses, &x).unwrap();
            let truth = expected_regret_normal(d, known);
            assert!((value.saved - truth).abs() < 4.0 * value.standard_error, "{value:?} {truth}");
            assert!(value.standard_error < 0.02);
        }
    }

    #[test]
    fn an_unknown_without_effect_is_worth_nothing() {
        let (losses, _) = worlds(2_000, 0.3, 1.0, 0.0);
        let noise: Vec<f64> = (0..2_000).map(|w| Stream::new(9, Purpose::Study, 7, 0, w).normal()).collect();
        let value = value_of_knowing(&losses, &noise).unwrap();
        assert!(value.saved <= 4.0 * value.standard_error, "{value:?}");
        assert!(value_of_knowing(&losses[..10], &noise[..10]).is_none());
        assert!(value_of_knowing(&losses, &vec![0.0; 2_000]).is_none());
    }
}
