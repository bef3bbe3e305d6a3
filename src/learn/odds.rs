//! A table of miss odds laid over the law of the tags of a batch: odds of a set of lines by offset of the thresholds.
//!
//!   P(δ) = ∫ T(δ + o) dF(o),   F the law of a tag's offset, on the table's own grid.

use crate::passing::draw::OffsetLaw;
use crate::random::quantity::Quantity;

/// Mass of a law on the cells of a grid, from −reach to +reach about zero.
pub struct Kernel {
    mass: Vec<f64>,
    reach: usize,
}

/// Probability beyond which an offset no longer counts.
const LEFT_OUT: f64 = 1e-7;

impl Kernel {
    /// The law of a tag's offset on a grid of `step_db`. What the grid itself adds to a variance (a rise is split over two cells, and counts half where it
    /// stands: h²/6 + h²/12) is taken off a normal law.
    pub fn new(law: OffsetLaw, step_db: f64) -> Kernel {
        let law = match law.0 {
            Quantity::Normal { mean, sd } if sd > step_db => {
                OffsetLaw(Quantity::Normal { mean, sd: (sd * sd - 0.25 * step_db * step_db).sqrt() })
            }
            _ => law,
        };
        let beyond = |cells: usize| {
            let edge = (cells as f64 + 0.5) * step_db;
            law.odds_above(edge) + (1.0 - law.odds_above(-edge))
        };
        let reach = (0..400).find(|&cells| beyond(cells) < LEFT_OUT).unwrap_or(400);
        let edge = |cell: usize| (cell as f64 - reach as f64 - 0.5) * step_db;
        let mass: Vec<f64> =
            (0..=2 * reach).map(|i| law.odds_above(edge(i)) - law.odds_above(edge(i + 1))).collect();
        let total: f64 = mass.iter().sum();
        Kernel { mass: mass.into_iter().map(|m| m / total).collect(), reach }
    }

    /// Cells off the middle of the law at rank `u`.
    pub fn pick(&self, u: f64) -> isize {
        cell_at(&self.mass, u) as isize - self.reach as isize
    }

    /// `values` averaged over the law at one offset.
    pub fn at(&self, values: &[f32], cell: usize) -> f64 {
        let last = values.len() as isize - 1;
        let place = |i: usize| (cell as isize + i as isize - self.reach as isize).clamp(0, last) as usize;
        self.mass.iter().enumerate().map(|(i, m)| m * f64::from(values[place(i)])).sum()
    }

    /// `values` averaged over the law at every offset; the ends of the grid stand for what lies beyond.
    pub fn over(&self, values: &[f64]) -> Vec<f64> {
        let (n, reach) = (values.len(), self.reach);
        let mut padded = vec![values[0]; reach];
        padded.extend_from_slice(values);
        padded.extend(std::iter::repeat_n(values[n - 1], reach));
        (0..n).map(|i| self.mass.iter().zip(&padded[i..]).map(|(m, v)| m * v).sum()).collect()
    }
}

/// Cell at rank `u` of masses that sum to 1.
pub fn cell_at(masses: &[f64], u: f64) -> usize {
    let mut below = 0.0;
    let cell = masses.iter().position(|m| {
        below += m;
        below >= u
    });
    cell.unwrap_or(masses.len() - 1)
}

/// Mass that a normal law of `mean` and `sd` puts on each cell of a grid; a law narrower than the grid is split over two cells.
pub fn normal_masses(offsets_db: &[f64], mean: f64, sd: f64, factor: f64, masses: &mut [f64]) {
    use crate::random::transform::normal_cdf;
    let n = offsets_db.len();
    let step = offsets_db[1] - offsets_db[0];
    if sd < 0.5 * step {
        let place = ((mean - offsets_db[0]) / step).clamp(0.0, (n - 1) as f64 - 1e-9);
        let (cell, part) = (place as usize, place.fract());
        masses[cell] += factor * (1.0 - part);
        masses[cell + 1] += factor * part;
        return;
    }
    let mut below = 0.0;
    for (i, mass) in masses.iter_mut().enumerate() {
        let reached = if i + 1 == n { 1.0 } else { normal_cdf((offsets_db[i] + 0.5 * step - mean) / sd) };
        *mass += factor * (reached - below);
        below = reached;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::transform::normal_cdf;

    fn grid() -> Vec<f64> {
        (0..141).map(|i| -14.0 + 0.2 * f64::from(i)).collect()
    }

    /// Source: a step at s averaged over N(0, σ) is Φ((δ − s)/σ), elementary. Tolerance: 0.002.
    #[test]
    fn val_a_step_under_a_normal_law() {
        let grid = grid();
        let sd: f64 = 1.1;
        // A rise split over two cells and counted half where it stands, as the table does.
        let at = 1.23;
        let rises: Vec<f64> = grid.iter().map(|d| (1.0 - ((d - at) / 0.2).abs()).max(0.0)).collect();
        let mut sum = 0.0;
        let step: Vec<f64> = rises
            .iter()
            .map(|rise| {
                sum += rise;
                sum - 0.5 * rise
            })
            .collect();
        let kernel = Kernel::new(OffsetLaw(Quantity::Normal { mean: 0.0, sd }), 0.2);
        for (delta, got) in grid.iter().zip(kernel.over(&step)).filter(|(d, _)| d.abs() < 8.0) {
            let exact = normal_cdf((delta - at) / sd);
            assert!((got - exact).abs() < 2e-3, "{delta}: {got} {exact}");
        }
    }

    #[test]
    fn masses_sum_to_one_and_keep_the_mean() {
        let grid = grid();
        for (mean, sd) in [(0.33, 0.0), (0.33, 0.05), (-2.1, 0.7), (1.0, 2.5)] {
            let mut masses = vec![0.0; grid.len()];
            normal_masses(&grid, mean, sd, 1.0, &mut masses);
            let total: f64 = masses.iter().sum();
            let got: f64 = masses.iter().zip(&grid).map(|(m, d)| m * d).sum();
            assert!((total - 1.0).abs() < 1e-12 && (got - mean).abs() < 2e-3, "{mean} {sd}: {got}");
        }
    }
}
