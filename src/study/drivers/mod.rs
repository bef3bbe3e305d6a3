//! What drives the misses: which unknowns move the miss rate of a race day, and what decides one passing.
//!
//! ```text
//! race_day    indices and swings of what all runners of a race share
//! one_passing indices of what differs from runner to runner, in groups
//! all_runners swings when one quantity is the same for every runner
//! answer      all of it as plain data
//! ```
//!
//! Indices split the variance of the log miss odds (`estimate::indices`): misses are rare and lie over decades, so the odds
//! themselves would only show the worst corner. Log odds need a floor: odds below `FLOOR` count as `FLOOR`, since nobody
//! cares which of two layouts misses fewer than one in a hundred million. The share of the points on the floor is told.
//! All points of one replication meet the same runners; the interval comes from replications with other points and other runners.

pub mod all_runners;
pub mod answer;
pub mod one_passing;
pub mod race_day;

pub use answer::{Answer, Request, answer};

use crate::course::Course;
use crate::estimate::indices::{PickFreeze, replicated};
use crate::estimate::joint::quantile;
use crate::passing::{Prepared, Workspace};
use crate::random::sobol::{Scrambled, Sobol};
use answer::{Driver, Split};
use rayon::prelude::*;
use std::sync::Arc;

/// Miss odds below this count as this, and odds above 1 less this as that.
pub const FLOOR: f64 = 1e-8;
/// Level of every interval here.
const LEVEL: f64 = 0.95;
/// Scrambles of this study: far from those of the race days.
const SCRAMBLES: u64 = 1 << 16;

/// ln(p/(1−p)) of miss odds held between the floor and 1 less the floor.
pub fn log_odds(miss: f64) -> f64 {
    let p = miss.clamp(FLOOR, 1.0 - FLOOR);
    libm::log(p / (1.0 - p))
}

/// Odds behind a log odds.
fn odds(log_odds: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-log_odds))
}

/// The scenario with one timing point left.
pub fn only_point(base: &Prepared, point: usize) -> Prepared {
    let mut course: Course = (*base.course).clone();
    course.points = vec![course.points[point].clone()];
    let mut prepared = base.clone();
    prepared.points = vec![prepared.points[point].clone()];
    prepared.course = Arc::new(course);
    prepared
}

/// Two halves of `dims` coordinates each of scrambled Sobol' point `index`.
fn two_halves(scrambled: &Scrambled, dims: usize, index: u64) -> [Vec<f64>; 2] {
    [0, dims].map(|first| (first..first + dims).map(|dim| scrambled.coordinate(dim, index)).collect())
}

/// Scramble of one replication. `sobol` has twice the dimensions of a point.
fn scramble(sobol: &Sobol, seed: u64, replication: u64) -> Scrambled<'_> {
    Scrambled::new(sobol, seed, SCRAMBLES + replication)
}

/// Values of `f` at A, B and every mixed point, in parallel; `None` once asked to stop.
fn pick_freeze<T: Sync>(
    pairs: &[(T, T)],
    inputs: usize,
    exchange: impl Fn(&T, &T, usize) -> T + Sync,
    f: impl Fn(&T, &mut Workspace) -> f64 + Sync,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<PickFreeze> {
    let rows: Vec<Option<Vec<f64>>> = pairs
        .par_iter()
        .map_init(Workspace::new, |work, (a, b)| {
            let mut row = vec![f(a, work), f(b, work)];
            for input in 0..inputs {
                if stop() {
                    return None;
                }
                row.push(f(&exchange(a, b, input), work));
            }
            Some(row)
        })
        .collect();
    let rows: Vec<Vec<f64>> = rows.into_iter().collect::<Option<_>>()?;
    let column = |k: usize| rows.iter().map(|row| row[k]).collect::<Vec<f64>>();
    Some(PickFreeze { a: column(0), b: column(1), a_with_b: (0..inputs).map(|i| column(2 + i)).collect() })
}

/// Indices over replications, largest total first; `None` without a replication or when the output never varies.
fn split(runs: &[PickFreeze], drivers: impl Fn(usize) -> (String, String, String)) -> Option<Split> {
    let indices: Vec<_> = runs.iter().filter_map(PickFreeze::indices).collect();
    let inputs = indices.first()?.len();
    let mut list: Vec<Driver> = (0..inputs)
        .map(|i| {
            let (name, unit, how) = drivers(i);
            let first: Vec<f64> = indices.iter().map(|run| run[i].first_order).collect();
            let total: Vec<f64> = indices.iter().map(|run| run[i].total).collect();
            Driver {
                name,
                unit,
                how,
                first_order: replicated(&first, LEVEL),
                total: replicated(&total, LEVEL),
            }
        })
        .collect();
    list.sort_by(|x, y| y.total.mean.total_cmp(&x.total.mean));
    let outputs: Vec<f64> = runs.iter().flat_map(|run| run.a.iter().chain(&run.b)).copied().collect();
    let bottom = log_odds(0.0);
    Some(Split {
        replications: indices.len(),
        points: outputs.len(),
        on_floor: outputs.iter().filter(|&&y| y <= bottom).count() as f64 / outputs.len() as f64,
        odds_p05: odds(quantile(&outputs, 0.05)),
        odds_p50: odds(quantile(&outputs, 0.5)),
        odds_p95: odds(quantile(&outputs, 0.95)),
        first_order_sum: list.iter().map(|d| d.first_order.mean).sum(),
        drivers: list,
    })
}
