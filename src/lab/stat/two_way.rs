//! Samples by mounts: what one number per sample and mount says about labels and files.
//!
//! Model: level = mount + sample + placing. Two questions to what is left, each against its own null law, simulated with equal samples (the
//! case in which chance looks most like a fault; fixed seed, so the answer is a pure function of the numbers):
//! does exchanging two samples in one mount explain the levels much better (ratio of the residual sums of squares before and after the best
//! exchange)? does one cell stand out (largest residual over the root of their sum of squares)?
//! Source: F. J. Anscombe and J. W. Tukey, The examination and analysis of residuals, Technometrics 5 (1963) 141-160 (residuals of two-way
//! tables); A. C. A. Hope, A simplified Monte Carlo significance test procedure, J. R. Statist. Soc. B 30 (1968) 582-598 (odds by simulation).

use crate::random::{Purpose, Stream};

/// Tables drawn for the null laws: fewer for large tables, never so few that odds of 1 in 200 cannot be shown.
const DRAWS: (usize, usize) = (399, 1999);
const MOST_EXCHANGES: usize = 40_000_000;

/// Two samples exchanged in one mount.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exchange {
    pub mount: usize,
    pub samples: (usize, usize),
    /// Odds that chance explains as much.
    pub odds: f64,
    /// How far apart the two samples are elsewhere, dB.
    pub apart_db: f64,
}

/// One cell that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    pub mount: usize,
    pub sample: usize,
    pub away_db: f64,
    pub odds: f64,
}

/// Residuals of `levels[mount][sample]` about mount and sample, and the means of the samples.
fn residuals(levels: &[Vec<f64>]) -> (Vec<Vec<f64>>, Vec<f64>) {
    let (m, n) = (levels.len() as f64, levels[0].len());
    let of_mount: Vec<f64> = levels.iter().map(|row| row.iter().sum::<f64>() / n as f64).collect();
    let grand = of_mount.iter().sum::<f64>() / m;
    let of_sample: Vec<f64> = (0..n).map(|i| levels.iter().map(|row| row[i]).sum::<f64>() / m).collect();
    let rest = levels
        .iter()
        .zip(&of_mount)
        .map(|(row, mount)| row.iter().zip(&of_sample).map(|(y, s)| y - mount - s + grand).collect())
        .collect();
    (rest, of_sample)
}

fn squares(rest: &[Vec<f64>]) -> f64 {
    rest.iter().flatten().map(|r| r * r).sum()
}

/// Best exchange: ratio of the sums of squares, mount, samples.
fn best_exchange(levels: &[Vec<f64>]) -> (f64, usize, (usize, usize)) {
    let (rest, means) = residuals(levels);
    let (m, all) = (levels.len() as f64, squares(&rest));
    let mut best = (1.0, 0, (0, 0));
    for (k, row) in levels.iter().enumerate() {
        for i in 0..row.len() {
            for j in i + 1..row.len() {
                // Only the means of the two samples move.
                let d = (row[j] - row[i]) / m;
                let gain = 2.0 * m * d * (means[i] - means[j] + d);
                let ratio = all / (all - gain).max(1e-12 * all).max(1e-300);
                if ratio > best.0 {
                    best = (ratio, k, (i, j));
                }
            }
        }
    }
    best
}

/// Largest residual: over the root of the sum of squares, mount, sample, residual.
fn largest(levels: &[Vec<f64>]) -> (f64, usize, usize, f64) {
    let (rest, _) = residuals(levels);
    let root = squares(&rest).sqrt().max(1e-300);
    let mut best = (0.0, 0, 0, 0.0);
    for (k, row) in rest.iter().enumerate() {
        for (i, r) in row.iter().enumerate() {
            if r.abs() / root > best.0 {
                best = (r.abs() / root, k, i, *r);
            }
        }
    }
    best
}

/// The likeliest exchange and the cell that stands out most, in a full table of at least two mounts and three samples; `None` for less.
pub fn look(levels: &[Vec<f64>]) -> Option<(Exchange, Cell)> {
    let n = levels.first()?.len();
    if levels.len() < 2 || n < 3 || levels.iter().any(|row| row.len() != n) {
        return None;
    }
    let (exchange, cell) = (best_exchange(levels), largest(levels));
    let mut stream = Stream::new(0, Purpose::Campaign, 901, levels.len() as u64, n as u64);
    let (mut exchanges, mut cells) = (0, 0);
    let draws = (MOST_EXCHANGES / (levels.len() * n * n)).clamp(DRAWS.0, DRAWS.1);
    for _ in 0..draws {
        let drawn: Vec<Vec<f64>> = levels.iter().map(|_| (0..n).map(|_| stream.normal()).collect()).collect();
        exchanges += usize::from(best_exchange(&drawn).0 >= exchange.0);
        cells += usize::from(largest(&drawn).0 >= cell.0);
    }
    let odds = |count: usize| (1 + count) as f64 / (1 + draws) as f64;
    let (_, mount, samples) = exchange;
    let apart = |k: usize| levels[k][samples.0] - levels[k][samples.1];
    let others = (levels.len() - 1) as f64;
    let apart_db = (0..levels.len()).filter(|&k| k != mount).map(apart).sum::<f64>() / others;
    // A residual is short of the whole error by what went into its mount and sample.
    let freed = (1.0 - 1.0 / levels.len() as f64) * (1.0 - 1.0 / n as f64);
    Some((
        Exchange { mount, samples, odds: odds(exchanges), apart_db },
        Cell { mount: cell.1, sample: cell.2, away_db: cell.3 / freed, odds: odds(cells) },
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exchange_is_named_and_its_undoing_leaves_nothing() {
        let offsets = [-0.8, 0.1, 0.9, 0.2];
        let placing = [[0.05, -0.04, 0.02, -0.03], [-0.06, 0.03, 0.01, 0.02], [0.02, 0.04, -0.05, -0.01]];
        let mut levels: Vec<Vec<f64>> =
            placing.iter().map(|row| row.iter().zip(offsets).map(|(p, o)| p + o - 10.0).collect()).collect();
        let (clean, cell) = look(&levels).expect("three by four");
        assert!(clean.odds > 0.01 && cell.odds > 0.01);
        levels[1].swap(0, 2);
        let (found, _) = look(&levels).expect("three by four");
        assert_eq!((found.mount, found.samples), (1, (0, 2)));
        assert!(found.odds < 0.005 && (found.apart_db + 1.7).abs() < 0.1, "{found:?}");
    }

    #[test]
    fn a_cell_off_is_named_with_its_size() {
        let mut levels =
            vec![vec![0.0, 0.1, -0.1, 0.05], vec![0.02, 0.05, -0.12, 0.1], vec![0.1, 0.12, -0.05, 0.1]];
        levels[2][1] += 2.0;
        let (_, cell) = look(&levels).expect("three by four");
        assert_eq!((cell.mount, cell.sample), (2, 1));
        assert!(cell.odds < 0.005 && (cell.away_db - 2.0).abs() < 0.2, "{cell:?}");
        assert!(look(&levels[..1]).is_none());
    }
}
