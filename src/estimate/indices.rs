//! Which inputs drive an output: variance-based indices on given point sets, and the one-at-a-time tornado.
//!
//! A and B are two sets of N points of the unit cube with nothing in common, A_B^(i) is A with column i taken from B; cost N·(d + 2)
//! evaluations. V is the variance over A and B together.
//!
//! - first order: (1/N)·Σ f(B)·(f(A_B^i) − f(A)) / V (A. Saltelli et al., Comput. Phys. Commun. 181, 2010), or
//!   1 − (1/2N)·Σ (f(B) − f(A_B^i))² / V (M. J. W. Jansen, Comput. Phys. Commun. 117, 1999);
//! - total: (1/2N)·Σ (f(A) − f(A_B^i))² / V (Jansen 1999).
//!
//! Estimates below 0 or above 1 are noise and are shown as such. Total indices assume inputs without common causes of
//! their own. An interval comes from replications with new points, never from one set of scrambled points.

use crate::numeric::student::t_quantile;
use serde::Serialize;

/// Values of f at A, at B and at every A_B^(i).
#[derive(Clone, Debug)]
pub struct PickFreeze {
    pub a: Vec<f64>,
    pub b: Vec<f64>,
    /// [input][point]
    pub a_with_b: Vec<Vec<f64>>,
}

/// Indices of one input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Index {
    /// Saltelli 2010.
    pub first_order: f64,
    /// Jansen 1999.
    pub first_order_jansen: f64,
    /// Jansen 1999.
    pub total: f64,
}

/// A with column `input` from B.
pub fn exchange_column(a: &[Vec<f64>], b: &[Vec<f64>], input: usize) -> Vec<Vec<f64>> {
    a.iter()
        .zip(b)
        .map(|(row_a, row_b)| {
            let mut row = row_a.clone();
            row[input] = row_b[input];
            row
        })
        .collect()
}

impl PickFreeze {
    /// Evaluates f at all points; rows of `a` and `b` have equal length.
    pub fn evaluate(a: &[Vec<f64>], b: &[Vec<f64>], f: impl Fn(&[f64]) -> f64) -> PickFreeze {
        let all = |points: &[Vec<f64>]| points.iter().map(|p| f(p)).collect::<Vec<f64>>();
        let inputs = a.first().map_or(0, Vec::len);
        PickFreeze {
            a: all(a),
            b: all(b),
            a_with_b: (0..inputs).map(|i| all(&exchange_column(a, b, i))).collect(),
        }
    }

    /// Mean and variance over A and B together.
    pub fn mean_and_variance(&self) -> (f64, f64) {
        let n = (self.a.len() + self.b.len()) as f64;
        let all = || self.a.iter().chain(&self.b);
        let mean = all().sum::<f64>() / n;
        (mean, all().map(|y| (y - mean) * (y - mean)).sum::<f64>() / n)
    }

    /// Indices by input; `None` when the output does not vary.
    pub fn indices(&self) -> Option<Vec<Index>> {
        let (mean, variance) = self.mean_and_variance();
        // A constant has a variance of rounding errors.
        if variance.is_nan() || variance <= 1e-24 * mean * mean {
            return None;
        }
        let n = self.a.len() as f64;
        let index = |mixed: &Vec<f64>| {
            let (mut saltelli, mut jansen_first, mut jansen_total) = (0.0, 0.0, 0.0);
            for ((a, b), m) in self.a.iter().zip(&self.b).zip(mixed) {
                // Centring changes no expectation and takes noise out.
                saltelli += (b - mean) * (m - a);
                jansen_first += (b - m) * (b - m);
                jansen_total += (a - m) * (a - m);
            }
            Index {
                first_order: saltelli / n / variance,
                first_order_jansen: 1.0 - 0.5 * jansen_first / n / variance,
                total: 0.5 * jansen_total / n / variance,
            }
        };
        Some(self.a_with_b.iter().map(index).collect())
    }
}

/// Mean and half width of the interval at `level` from replications, by Student's t; `None` with fewer than two.
pub fn over_replications(values: &[f64], level: f64) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let sd = (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0)).sqrt();
    let t = t_quantile(0.5 + 0.5 * level, n - 1.0);
    Some((mean, t * sd / n.sqrt()))
}

/// A value as the mean of replications, with its interval; none from a single replication.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Replicated {
    pub mean: f64,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// Mean of replications (at least one) with the interval at `level`.
pub fn replicated(values: &[f64], level: f64) -> Replicated {
    let reach = over_replications(values, level).map(|(_, reach)| reach);
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    Replicated { mean, low: reach.map(|r| mean - r), high: reach.map(|r| mean + r) }
}

/// One bar of a tornado: the output with one input at its low and at its high end, all others at their middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TornadoBar {
    pub input: usize,
    pub at_low: f64,
    pub at_high: f64,
}

/// Bars by width, widest first. Inputs are ranks in 0..1: `low` and `high` are the ends, 0.5 the middle.
pub fn tornado(inputs: usize, low: f64, high: f64, f: impl Fn(&[f64]) -> f64) -> Vec<TornadoBar> {
    let at = |input: usize, rank: f64| {
        let mut point = vec![0.5; inputs];
        point[input] = rank;
        f(&point)
    };
    let mut bars: Vec<TornadoBar> = (0..inputs)
        .map(|input| TornadoBar { input, at_low: at(input, low), at_high: at(input, high) })
        .collect();
    let width = |bar: &TornadoBar| (bar.at_high - bar.at_low).abs();
    bars.sort_by(|one, two| width(two).total_cmp(&width(one)));
    bars
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::sobol::{Scrambled, Sobol};
    use crate::random::{Purpose, Stream};
    use std::f64::consts::PI;

    fn points(n: usize, inputs: usize, place: u64, replication: u64) -> Vec<Vec<f64>> {
        (0..n)
            .map(|i| {
                let mut stream = Stream::new(2, Purpose::Study, place, replication, i as u64);
                (0..inputs).map(|_| stream.uniform()).collect()
            })
            .collect()
    }

    fn ishigami(u: &[f64]) -> f64 {
        let x: Vec<f64> = u.iter().map(|u| PI * (2.0 * u - 1.0)).collect();
        let s = libm::sin(x[1]);
        libm::sin(x[0]) * (1.0 + 0.1 * libm::pow(x[2], 4.0)) + 7.0 * s * s
    }

    fn g_function(u: &[f64], a: &[f64]) -> f64 {
        u.iter().zip(a).map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a)).product()
    }

    /// Means over `replications` of first order (Saltelli), first order (Jansen) and total, with standard errors.
    fn replicated(
        inputs: usize,
        n: usize,
        replications: u64,
        f: impl Fn(&[f64]) -> f64,
    ) -> Vec<[(f64, f64); 3]> {
        let runs: Vec<Vec<Index>> = (0..replications)
            .map(|r| {
                PickFreeze::evaluate(&points(n, inputs, 1, r), &points(n, inputs, 2, r), &f)
                    .indices()
                    .unwrap()
            })
            .collect();
        // Half width at level 0.6827 of the normal law is about one standard error; use the t factor directly.
        let error = |values: Vec<f64>| {
            let (mean, half) = over_replications(&values, 0.95).unwrap();
            let t = t_quantile(0.975, values.len() as f64 - 1.0);
            (mean, half / t)
        };
        (0..inputs)
            .map(|i| {
                [
                    error(runs.iter().map(|run| run[i].first_order).collect()),
                    error(runs.iter().map(|run| run[i].first_order_jansen).collect()),
                    error(runs.iter().map(|run| run[i].total).collect()),
                ]
            })
            .collect()
    }

    /// Source: T. Ishigami, T. Homma, ISUMA '90, 1990; with a = 7, b = 0.1: S = (.31390519, .44241114, 0),
    /// ST = (.55758886, .44241114, .24368366), mean 3.5, V = 13.844587940719254. Plain points, 40 replications of 1024: within
    /// 4.5 standard errors plus 0.002 for the ratio's bias of order 1/N (Student's t, 39 degrees: false-alarm odds 6e-5 for each of 9).
    #[test]
    fn val_ishigami() {
        let first = [0.313_905_19, 0.442_411_14, 0.0];
        let total = [0.557_588_86, 0.442_411_14, 0.243_683_66];
        for (i, [saltelli, jansen, all]) in replicated(3, 1024, 40, ishigami).into_iter().enumerate() {
            for ((mean, error), value) in [(saltelli, first[i]), (jansen, first[i]), (all, total[i])] {
                assert!((mean - value).abs() < 4.5 * error + 0.002, "input {i}: {mean} ± {error}, {value}");
                assert!(error < 0.02, "the test would see nothing");
            }
        }
    }

    /// Source: I. M. Sobol', Math. Comput. Simul. 55, 2001 (g-function), V_i = 1/(3(1+a_i)²): a = (0, .5, 3, 9, 99, 99):
    /// S = .58678119, .26079164, .03667382, .00586781, 5.868e-5 twice; ST = .69008589, .35617336, .05633354, .00917058,
    /// 9.201e-5 twice. Tolerance as above.
    #[test]
    fn val_g_function() {
        let a = [0.0, 0.5, 3.0, 9.0, 99.0, 99.0];
        let first = [0.586_781_19, 0.260_791_64, 0.036_673_82, 0.005_867_81, 5.868e-5, 5.868e-5];
        let total = [0.690_085_89, 0.356_173_36, 0.056_333_54, 0.009_170_58, 9.201e-5, 9.201e-5];
        for (i, [saltelli, jansen, all]) in
            replicated(6, 1024, 30, |u| g_function(u, &a)).into_iter().enumerate()
        {
            for ((mean, error), value) in [(saltelli, first[i]), (jansen, first[i]), (all, total[i])] {
                assert!((mean - value).abs() < 4.7 * error + 0.002, "input {i}: {mean} ± {error}, {value}");
            }
        }
    }

    /// Source: as above. Scrambled Sobol' points, 16 replications of 1024: A in the first three columns, B in the last three.
    /// Tolerance: 4.9 standard errors plus 0.002 (Student's t, 15 degrees: false-alarm odds 2e-4 for each of 6), and the root mean square
    /// error of the total indices below half of what plain points reach (.0433, .0227, .0164 against .0069, .0039,
    /// .0039 in SALib 1.5.1).
    #[test]
    fn val_ishigami_on_scrambled_points() {
        let sobol = Sobol::new(6).unwrap();
        let runs: Vec<Vec<Index>> = (0..16)
            .map(|r| {
                let scrambled = Scrambled::new(&sobol, 4, r);
                let part = |first: usize| -> Vec<Vec<f64>> {
                    (0..1024)
                        .map(|i| (0..3).map(|dim| scrambled.coordinate(first + dim, i)).collect())
                        .collect()
                };
                PickFreeze::evaluate(&part(0), &part(3), ishigami).indices().unwrap()
            })
            .collect();
        let first = [0.313_905_19, 0.442_411_14, 0.0];
        let total = [0.557_588_86, 0.442_411_14, 0.243_683_66];
        for i in 0..3 {
            for (values, value) in [
                (runs.iter().map(|run| run[i].first_order).collect::<Vec<f64>>(), first[i]),
                (runs.iter().map(|run| run[i].total).collect(), total[i]),
            ] {
                let (mean, half) = over_replications(&values, 0.95).unwrap();
                let error = half / 2.131;
                assert!((mean - value).abs() < 4.9 * error + 0.002, "input {i}: {mean} ± {error}, {value}");
            }
            let squares: f64 =
                runs.iter().map(|run| (run[i].total - total[i]) * (run[i].total - total[i])).sum();
            let plain = [0.0433, 0.0227, 0.0164][i];
            assert!((squares / 16.0).sqrt() < 0.5 * plain, "input {i}: {}", (squares / 16.0).sqrt());
        }
    }

    #[test]
    fn tornado_of_a_weighted_sum() {
        let bars = tornado(3, 0.05, 0.95, |u| u[0] - 3.0 * u[1] + 2.0 * u[2]);
        assert_eq!(bars.iter().map(|bar| bar.input).collect::<Vec<_>>(), [1, 2, 0]);
        assert!((bars[0].at_low - bars[0].at_high - 2.7).abs() < 1e-12);
    }

    #[test]
    fn a_constant_has_no_indices() {
        let sets = points(8, 2, 1, 0);
        assert!(PickFreeze::evaluate(&sets, &sets, |_| 1.0).indices().is_none());
        assert_eq!(over_replications(&[1.0], 0.95), None);
    }
}
