//! Problems with exact answers: a miss is g(x) < 0, severity is −g.
//!
//! Problem statements as published in the open benchmark collection of the TNO black-box reliability challenge 2019 (problem numbers RP)
//! and in P. H. Waarts, Structural reliability using finite element methods, 2000 (four-branch). Exact probabilities by one-dimensional
//! quadrature (SciPy 1.17.1, relative tolerance 1e-11) or in closed form; several published ones are wrong in the first or second figure.

use super::{Problem, Score};
use crate::random::transform::normal_quantile;

/// One benchmark problem over independent standard-normal inputs.
pub struct Known {
    pub name: &'static str,
    pub dims: usize,
    pub exact: f64,
    pub limit_state: fn(&[f64]) -> f64,
    /// Passings a general-purpose reliability library needs, with the coefficient of variation it then really has.
    pub library: &'static str,
}

impl Problem for Known {
    fn lead_dims(&self) -> usize {
        self.dims
    }

    fn score(&self, _stratum: usize, point: &[f64], _index: u64) -> Score {
        let x: Vec<f64> = point.iter().map(|&u| normal_quantile(u)).collect();
        let g = (self.limit_state)(&x);
        Score { miss_odds: if g < 0.0 { 1.0 } else { 0.0 }, severity: -g }
    }
}

fn mean_shift(x: &[f64], beta: f64) -> f64 {
    beta - x.iter().sum::<f64>() / (x.len() as f64).sqrt()
}

fn four_branch(x: &[f64]) -> f64 {
    let (sum, difference) = (x[0] + x[1], x[0] - x[1]);
    let root2 = std::f64::consts::SQRT_2;
    let curved = 3.0 + 0.1 * difference * difference;
    (curved - sum / root2).min(curved + sum / root2).min(7.0 / root2 - difference.abs())
}

/// Φ(−3), Φ(−4), 1e-6 = Φ(−4.7534243) in the linear rows.
pub const KNOWN: &[Known] = &[
    Known {
        name: "linear d=2 3 sigma",
        dims: 2,
        exact: 1.3498980316e-3,
        limit_state: |x| mean_shift(x, 3.0),
        library: "subset 36k: 7.6 %; adaptive 880: 9.4 %; cross-entropy 3.4k: 8.5 %; design point 378: 7.9 %",
    },
    Known {
        name: "linear d=2 1e-6",
        dims: 2,
        exact: 1e-6,
        limit_state: |x| mean_shift(x, 4.753424308822899),
        library: "subset 78k: 12.8 %; adaptive 1375: 11.9 %; cross-entropy 11k: 9.2 %; design point 593: 8.8 %",
    },
    Known {
        name: "linear d=10 1e-6",
        dims: 10,
        exact: 1e-6,
        limit_state: |x| mean_shift(x, 4.753424308822899),
        library: "subset 12.9k: 40.6 %; adaptive 8k: 11.1 %; cross-entropy 10k: 5.6 %; design point 661: 10.1 %",
    },
    Known {
        name: "linear d=50 3 sigma",
        dims: 50,
        exact: 1.3498980316e-3,
        limit_state: |x| mean_shift(x, 3.0),
        library: "subset 6.2k: 15.8 %; adaptive fails (0.024 p); cross-entropy 6k: 6.3 %; design point 665: 9.5 %",
    },
    Known {
        name: "four-branch k=7",
        dims: 2,
        exact: 2.2227950662e-3,
        limit_state: four_branch,
        library: "subset 36k: 7.5 %; adaptive 3k: 8.8 %; cross-entropy 8.8k: 9.9 %; design point biased (0.41 p)",
    },
    Known {
        name: "RP25",
        dims: 2,
        exact: 4.1485662938e-5,
        limit_state: |x| (x[0] * x[0] - 8.0 * x[1] + 16.0).max(-16.0 * x[0] + x[1] + 32.0),
        library: "subset 10k: 33.7 %; adaptive 9.4k: 3.3 %; cross-entropy 13k: 26.8 %; design point did not converge",
    },
    Known {
        name: "RP31",
        dims: 2,
        exact: 3.2266812096e-3,
        limit_state: |x| 2.0 - x[1] + 256.0 * x[0] * x[0] * x[0] * x[0],
        library: "",
    },
    Known {
        name: "RP33",
        dims: 3,
        exact: 2.5755977908e-3,
        limit_state: |x| (3.0 * 3.0_f64.sqrt() - x[0] - x[1] - x[2]).min(3.0 - x[2]),
        library: "subset 6k: 13.8 %; adaptive 6k: 3.1 %; cross-entropy 8k: 11.6 %; design point biased (0.78 p)",
    },
    Known {
        name: "RP35",
        dims: 2,
        exact: 3.4789463209e-3,
        limit_state: |x| {
            (2.0 - x[1] + libm::exp(-0.1 * x[0] * x[0]) + (0.2 * x[0]).powi(4)).min(4.5 - x[0] * x[1])
        },
        library: "",
    },
    Known {
        name: "RP53",
        dims: 2,
        exact: 3.1320485687e-2,
        limit_state: |x| {
            let (a, b) = (1.5 + x[0], 2.5 + x[1]);
            libm::sin(2.5 * a) + 2.0 - (a * a + 4.0) * (b - 1.0) / 20.0
        },
        library: "",
    },
    Known {
        name: "RP57",
        dims: 2,
        exact: 2.8237506584e-2,
        limit_state: |x| {
            (-x[0] * x[0] + x[1] * x[1] * x[1] + 3.0)
                .max(2.0 - x[0] - 8.0 * x[1])
                .min((x[0] + 3.0) * (x[0] + 3.0) + (x[1] + 3.0) * (x[1] + 3.0) - 4.0)
        },
        library: "",
    },
    Known {
        name: "RP63",
        dims: 100,
        exact: 3.7694361183e-4,
        limit_state: |x| 0.1 * x[1..].iter().map(|v| v * v).sum::<f64>() - x[0] - 4.5,
        library: "subset 8k: 22.7 %; adaptive >15 s a run; design point 0",
    },
    Known {
        name: "RP75",
        dims: 2,
        exact: 9.8192987215e-3,
        limit_state: |x| 3.0 - x[0] * x[1],
        library: "subset 5.1k: 13.7 %; adaptive 4k: 5.3 %; cross-entropy does not end; design point biased (0.515 p)",
    },
    Known {
        name: "RP77",
        dims: 3,
        exact: 2.6908439522e-7,
        limit_state: |x| {
            let (a, b, c) = (10.0 + 0.5 * x[0], x[1], 4.0 + x[2]);
            if c <= 5.0 { a - b - c } else { c - b }
        },
        library: "",
    },
    Known {
        name: "RP89",
        dims: 2,
        exact: 5.4712805290e-3,
        limit_state: |x| (-x[0] * x[0] - x[1] + 8.0).min(-x[0] / 5.0 - x[1] + 6.0),
        library: "subset 6k: 17.8 %; adaptive 5.3k: 5.4 %; cross-entropy 6k: 6.7 %; design point biased (0.23 p)",
    },
    Known {
        name: "RP110",
        dims: 2,
        exact: 3.1957884326e-5,
        limit_state: |x| {
            (if x[0] <= 3.5 { 0.85 - 0.1 * x[0] } else { 4.0 - x[0] }).min(if x[1] <= 2.0 {
                2.3 - x[1]
            } else {
                0.5 - 0.1 * x[1]
            })
        },
        library: "subset 12k: 245 % (says 30 %); adaptive 8.9k: 72 % (says 13 %); cross-entropy 0.07 p; design point 581: 10.9 %",
    },
    Known {
        name: "RP111",
        dims: 2,
        exact: 8.0350859650e-7,
        limit_state: |x| 12.5 - (x[0] * x[1]).abs(),
        library: "subset 13.7k: 40.7 %; adaptive 8k: 9.5 %; cross-entropy 17k: 16 %; design point biased (0.25 p)",
    },
];
