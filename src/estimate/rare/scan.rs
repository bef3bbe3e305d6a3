//! Line scans: walk out from the middle along many directions and note where misses begin.
//!
//! Populations that climb towards higher severity follow the steepest slope and may miss a region which shows itself
//! late. A walk along a fixed direction does not look at slopes. Directions: both ways along the axes (of the 32
//! with the strongest trend, if there are more), both ways along the overall trend of severity (ridge regression on
//! its ranks), towards severe natural points which lie
//! far apart, and random ones with their opposites.

use super::explore::{Pilot, Shot};
use super::watch::Halt;
use super::{Problem, Score};
use crate::random::transform::normal_quantile;

const RADII: [f64; 5] = [1.5, 2.75, 4.0, 5.25, 6.5];
const BISECTIONS: usize = 3;
const AXES: usize = 32;
const TOWARDS_SEVERE: usize = 12;
const RANDOM_PAIRS: usize = 12;

/// Scan every stratum; misses found are kept in `pilot.found`. Needs natural shots.
pub fn scan<P: Problem>(pilot: &mut Pilot<P>) -> Result<(), Halt> {
    pilot.next_round();
    let mut rays = Vec::new();
    for stratum in 0..pilot.problem.strata().len() {
        if pilot.problem.strata()[stratum] > 0.0 {
            for direction in directions(pilot, stratum) {
                rays.push((stratum, direction));
            }
        }
    }
    let at = |ray: &(usize, Vec<f64>), radius: f64| {
        (ray.0, ray.1.iter().map(|x| x * radius).collect::<Vec<f64>>())
    };
    // Nearest radius that fails on each ray, with the last one that did not.
    let mut brackets: Vec<Option<(f64, f64, Shot)>> = vec![None; rays.len()];
    let mut inner = 0.0;
    for radius in RADII {
        let open: Vec<usize> = (0..rays.len()).filter(|&ray| brackets[ray].is_none()).collect();
        let shots = pilot.score(open.iter().map(|&ray| at(&rays[ray], radius)).collect())?;
        for (ray, shot) in open.into_iter().zip(shots) {
            if fails(&shot.score) {
                brackets[ray] = Some((inner, radius, shot));
            }
        }
        inner = radius;
    }
    for _ in 0..BISECTIONS {
        let open: Vec<usize> = (0..rays.len()).filter(|&ray| brackets[ray].is_some()).collect();
        let middle = |ray: usize| brackets[ray].as_ref().map_or(0.0, |(low, high, _)| 0.5 * (low + high));
        let middles: Vec<f64> = open.iter().map(|&ray| middle(ray)).collect();
        let points = open.iter().zip(&middles).map(|(&ray, &radius)| at(&rays[ray], radius)).collect();
        let shots = pilot.score(points)?;
        for ((ray, radius), shot) in open.into_iter().zip(middles).zip(shots) {
            if let Some(bracket) = &mut brackets[ray] {
                if fails(&shot.score) {
                    *bracket = (bracket.0, radius, shot);
                } else {
                    bracket.0 = radius;
                }
            }
        }
    }
    pilot.found.extend(brackets.into_iter().flatten().map(|(_, _, shot)| shot));
    Ok(())
}

fn fails(score: &Score) -> bool {
    score.miss_odds >= 0.25
}

fn directions<P: Problem>(pilot: &Pilot<P>, stratum: usize) -> Vec<Vec<f64>> {
    let dims = pilot.problem.lead_dims();
    let mut shots: Vec<&Shot> = pilot.shots.iter().filter(|shot| shot.stratum == stratum).collect();
    shots.sort_by(|a, b| b.score.severity.total_cmp(&a.score.severity));
    let trend = trend(&shots, dims);
    let mut axes: Vec<usize> = (0..dims).collect();
    axes.sort_by(|&a, &b| trend[b].abs().total_cmp(&trend[a].abs()).then(a.cmp(&b)));
    axes.truncate(AXES);
    let mut list: Vec<Vec<f64>> = Vec::new();
    for sign in [1.0, -1.0] {
        for &axis in &axes {
            let mut direction = vec![0.0; dims];
            direction[axis] = sign;
            list.push(direction);
        }
        list.push(trend.iter().map(|x| sign * x).collect());
    }
    let mut list: Vec<Vec<f64>> = list.into_iter().filter_map(unit_length).collect();
    spread_out(&shots, &mut list);
    let mut stream = pilot.stream(stratum as u64);
    for _ in 0..RANDOM_PAIRS {
        let random = (0..dims).map(|_| stream.normal()).collect();
        if let Some(direction) = unit_length(random) {
            list.push(direction.iter().map(|x| -x).collect());
            list.push(direction);
        }
    }
    list
}

/// Add directions towards the most severe fifth of the shots (sorted), each time the one farthest from all directions so far.
fn spread_out(shots: &[&Shot], list: &mut Vec<Vec<f64>>) {
    let mut open: Vec<Vec<f64>> =
        shots.iter().take(shots.len() / 5 + 1).filter_map(|shot| unit_length(shot.z.clone())).collect();
    let nearest = |candidate: &Vec<f64>, list: &[Vec<f64>]| {
        let cosine = |other: &Vec<f64>| candidate.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
        list.iter().map(cosine).fold(-1.0, f64::max)
    };
    for _ in 0..TOWARDS_SEVERE {
        let best =
            (0..open.len()).min_by(|&a, &b| nearest(&open[a], list).total_cmp(&nearest(&open[b], list)));
        if let Some(best) = best {
            list.push(open.swap_remove(best));
        }
    }
}

fn unit_length(mut direction: Vec<f64>) -> Option<Vec<f64>> {
    let length = direction.iter().map(|x| x * x).sum::<f64>().sqrt();
    direction.iter_mut().for_each(|x| *x /= length);
    (length > 1e-9).then_some(direction)
}

/// Coefficients of a ridge regression of the ranks of severity (as normal scores) on z. `shots` are sorted, most
/// severe first; ranks make the slope safe from scores that explode.
fn trend(shots: &[&Shot], dims: usize) -> Vec<f64> {
    let n = shots.len() as f64;
    let mut moments = vec![vec![0.0; dims]; dims];
    let mut right = vec![0.0; dims];
    for (rank, shot) in shots.iter().enumerate() {
        let y = normal_quantile(1.0 - (rank as f64 + 0.5) / n);
        for (i, row) in moments.iter_mut().enumerate() {
            right[i] += y * shot.z[i];
            for (j, sum) in row.iter_mut().enumerate().take(i + 1) {
                *sum += shot.z[i] * shot.z[j];
            }
        }
    }
    for (i, row) in moments.iter_mut().enumerate() {
        row[i] += 0.01 * n + 1.0;
    }
    solve(moments, right)
}

/// Cholesky solution of a symmetric positive definite system; the lower triangle is read.
pub(super) fn solve(mut a: Vec<Vec<f64>>, mut x: Vec<f64>) -> Vec<f64> {
    let n = x.len();
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            a[i][j] = if i == j { (a[i][i] - dot).sqrt() } else { (a[i][j] - dot) / a[j][j] };
        }
        let dot: f64 = (0..i).map(|k| a[i][k] * x[k]).sum();
        x[i] = (x[i] - dot) / a[i][i];
    }
    for i in (0..n).rev() {
        let dot: f64 = (i + 1..n).map(|k| a[k][i] * x[k]).sum();
        x[i] = (x[i] - dot) / a[i][i];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cholesky_solves_a_small_system() {
        // [[4, 2], [2, 3]] · (1, 2) = (8, 8)
        let x = solve(vec![vec![4.0, 2.0], vec![2.0, 3.0]], vec![8.0, 8.0]);
        assert!((x[0] - 1.0).abs() < 1e-12 && (x[1] - 2.0).abs() < 1e-12);
    }
}
