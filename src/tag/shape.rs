//! What the readings of one mount say about its curve where there are none: a resonance with a smooth rest.
//!
//! Model, dB: μ(f) = P + 10·lg(1 + ((f − f₀)/w)²) + t·(f − f̄) + g(f). The first two terms are a matched tag off its single resonance
//! (half width w at 3 dB), t is the slope of the chip, g what a real antenna adds: a Gaussian process (Matérn 3/2) of standard deviation
//! σ and length ℓ. P, t and g are normal and solved exactly; f₀ and ln w lie on a grid that is drawn in around what counts; σ and ℓ are
//! averaged over eight pairs, each weighed by how well it explains the readings. So a sweep that is a clean resonance is carried
//! far beyond its last reading, one that is not soon becomes a wide belief.
//! Source: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning (2006), 2.2, 2.7 (explicit basis), 4.2 (Matérn), 5.4.1.

use crate::random::Stream;

/// σ in dB and ℓ in MHz of the rest. Our estimate: from a clean resonance to one that is hardly a guide.
pub const RESTS: [(f64, f64); 8] =
    [(0.1, 8.0), (0.1, 25.0), (0.3, 8.0), (0.3, 25.0), (0.8, 8.0), (0.8, 25.0), (2.0, 10.0), (2.0, 30.0)];
/// Standard deviation of the slope over 50 MHz, dB. Our estimate.
const SLOPE_SD_DB: f64 = 1.0;
const SLOPE_SPAN_MHZ: f64 = 50.0;
/// Half widths looked at, MHz (Q of 150 to 3).
const WIDTHS_MHZ: (f64, f64) = (3.0, 150.0);
const CELLS: usize = 15;
const ROUNDS: usize = 4;

/// A reading taken as normal about the curve: frequency MHz, level dBm, standard deviation dB (> 0).
#[derive(Clone, Copy, Debug)]
pub struct Known {
    pub freq_mhz: f64,
    pub level_dbm: f64,
    pub sd_db: f64,
}

/// Mean and standard deviation of what is believed before the readings of this mount.
#[derive(Clone, Copy, Debug)]
pub struct Before {
    pub level_dbm: (f64, f64),
    pub centre_mhz: (f64, f64),
    pub ln_width: (f64, f64),
    /// Logarithms of the weights of `RESTS`.
    pub rests: [f64; RESTS.len()],
}

/// One curve drawn from what is known.
#[derive(Clone, Debug)]
pub struct Drawn {
    pub centre_mhz: f64,
    pub ln_width: f64,
    /// Level P of the resonance, dBm.
    pub level_dbm: f64,
    pub rest: usize,
    /// At the frequencies asked for, dBm.
    pub curve_dbm: Vec<f64>,
}

/// Symmetric positive definite matrix to its lower Cholesky factor, row by row; a pivot that rounding has eaten counts as tiny.
fn cholesky(mut a: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    for i in 0..a.len() {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            a[i][j] = if i == j { (a[i][i] - dot).max(1e-10).sqrt() } else { (a[i][j] - dot) / a[j][j] };
        }
        a[i].truncate(i + 1);
    }
    a
}

/// L⁻¹r.
fn forward(lower: &[Vec<f64>], r: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::with_capacity(r.len());
    for (row, &right) in lower.iter().zip(r) {
        let dot: f64 = row.iter().zip(&out).map(|(a, b)| a * b).sum();
        out.push((right - dot) / row[row.len() - 1]);
    }
    out
}

fn resonance(freq: f64, centre: f64, width: f64) -> f64 {
    let away = (freq - centre) / width;
    10.0 * libm::log10(1.0 + away * away)
}

/// Readings and targets under one rest, factorised; the resonance only moves the mean.
struct Solved {
    lower: Vec<Vec<f64>>,
    ln_determinant: f64,
    /// L⁻¹k of each target; the level P last.
    gain: Vec<Vec<f64>>,
    spread: Vec<Vec<f64>>,
}

impl Solved {
    fn new(known: &[Known], targets: &[f64], middle: f64, level_sd: f64, (sd, length): (f64, f64)) -> Solved {
        let slope = |f: f64| SLOPE_SD_DB * (f - middle) / SLOPE_SPAN_MHZ;
        let cov = |f: f64, g: f64| {
            let d = 3.0_f64.sqrt() * (f - g).abs() / length;
            level_sd * level_sd + slope(f) * slope(g) + sd * sd * (1.0 + d) * libm::exp(-d)
        };
        let n = known.len();
        let at = |i: usize, j: usize| {
            let own = if i == j { known[i].sd_db * known[i].sd_db } else { 0.0 };
            cov(known[i].freq_mhz, known[j].freq_mhz) + own
        };
        let lower = cholesky((0..n).map(|i| (0..n).map(|j| at(i, j)).collect()).collect());
        let ln_determinant = lower.iter().map(|row| libm::log(row[row.len() - 1])).sum::<f64>();
        let mut gain: Vec<Vec<f64>> = targets
            .iter()
            .map(|&t| forward(&lower, &known.iter().map(|k| cov(t, k.freq_mhz)).collect::<Vec<f64>>()))
            .collect();
        gain.push(forward(&lower, &vec![level_sd * level_sd; n]));
        let last = targets.len();
        let before = |i: usize, j: usize| match (i == last, j == last) {
            (false, false) => cov(targets[i], targets[j]),
            _ => level_sd * level_sd,
        };
        let left =
            |i: usize, j: usize| before(i, j) - gain[i].iter().zip(&gain[j]).map(|(a, b)| a * b).sum::<f64>();
        let spread = cholesky((0..=last).map(|i| (0..=last).map(|j| left(i, j)).collect()).collect());
        Solved { lower, ln_determinant, gain, spread }
    }
}

/// A cell of the grid and the logarithm of its weight.
struct Cell {
    rest: usize,
    centre_mhz: f64,
    ln_width: f64,
    ln_weight: f64,
}

/// Draws `count` curves at `targets` (MHz) from what `known` and `before` say. Pure: the same stream gives the same draws.
pub fn draw(
    known: &[Known],
    targets: &[f64],
    before: &Before,
    stream: &mut Stream,
    count: usize,
) -> Vec<Drawn> {
    let span = || known.iter().map(|k| k.freq_mhz).chain(targets.iter().copied());
    let middle = 0.5 * (span().fold(f64::INFINITY, f64::min) + span().fold(f64::NEG_INFINITY, f64::max));
    let residual = |centre: f64, width: f64| -> Vec<f64> {
        let mean = |k: &Known| before.level_dbm.0 + resonance(k.freq_mhz, centre, width);
        known.iter().map(|k| k.level_dbm - mean(k)).collect()
    };
    let solved: Vec<Solved> =
        RESTS.iter().map(|&rest| Solved::new(known, targets, middle, before.level_dbm.1, rest)).collect();
    let mut cells = Vec::new();
    for (rest, solved) in solved.iter().enumerate() {
        let score = |value: f64, (mean, sd): (f64, f64)| -0.5 * ((value - mean) / sd) * ((value - mean) / sd);
        let weight = |centre: f64, ln_width: f64| {
            let v = forward(&solved.lower, &residual(centre, libm::exp(ln_width)));
            before.rests[rest] + score(centre, before.centre_mhz) + score(ln_width, before.ln_width)
                - 0.5 * v.iter().map(|x| x * x).sum::<f64>()
                - solved.ln_determinant
        };
        cells.extend(grid(before, &weight).into_iter().map(|(centre_mhz, ln_width, ln_weight)| Cell {
            rest,
            centre_mhz,
            ln_width,
            ln_weight,
        }));
    }
    let most = cells.iter().map(|c| c.ln_weight).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = cells.iter().map(|c| libm::exp(c.ln_weight - most)).sum();
    // Systematic resampling: every cell as often as its weight says, but for rounding.
    let (mut out, mut sum, start) = (Vec::with_capacity(count), 0.0, stream.uniform());
    for cell in &cells {
        sum += libm::exp(cell.ln_weight - most) / total * count as f64;
        if (out.len() as f64 + start) >= sum {
            continue;
        }
        let solved = &solved[cell.rest];
        let width = libm::exp(cell.ln_width);
        let v = forward(&solved.lower, &residual(cell.centre_mhz, width));
        let shape = targets.iter().map(|&f| resonance(f, cell.centre_mhz, width)).chain([0.0]);
        let mean: Vec<f64> = shape
            .zip(&solved.gain)
            .map(|(m, gain)| before.level_dbm.0 + m + gain.iter().zip(&v).map(|(a, b)| a * b).sum::<f64>())
            .collect();
        while (out.len() as f64 + start) < sum && out.len() < count {
            let z: Vec<f64> = mean.iter().map(|_| stream.normal()).collect();
            let away = |row: &Vec<f64>| row.iter().zip(&z).map(|(a, b)| a * b).sum::<f64>();
            let mut curve_dbm: Vec<f64> =
                mean.iter().zip(&solved.spread).map(|(m, row)| m + away(row)).collect();
            let level_dbm = curve_dbm.pop().unwrap_or(before.level_dbm.0);
            let (centre_mhz, ln_width) = (cell.centre_mhz, cell.ln_width);
            out.push(Drawn { centre_mhz, ln_width, level_dbm, rest: cell.rest, curve_dbm });
        }
    }
    out
}

/// Grid over centre and ln width, drawn in around what counts: (centre, ln width, logarithm of weight times area).
fn grid(before: &Before, weight: &dyn Fn(f64, f64) -> f64) -> Vec<(f64, f64, f64)> {
    let around = |(mean, sd): (f64, f64)| (mean - 4.0 * sd, mean + 4.0 * sd);
    let (mut centre, mut width) = (around(before.centre_mhz), around(before.ln_width));
    width = (width.0.max(libm::log(WIDTHS_MHZ.0)), width.1.min(libm::log(WIDTHS_MHZ.1)));
    let mut out = Vec::new();
    for round in 0..ROUNDS {
        let step = |(low, high): (f64, f64)| (high - low) / CELLS as f64;
        let (d_centre, d_width) = (step(centre), step(width));
        let area = libm::log((d_centre * d_width).max(1e-300));
        out.clear();
        for i in 0..CELLS {
            for j in 0..CELLS {
                let at = (centre.0 + (i as f64 + 0.5) * d_centre, width.0 + (j as f64 + 0.5) * d_width);
                out.push((at.0, at.1, weight(at.0, at.1) + area));
            }
        }
        let most = out.iter().map(|c| c.2).fold(f64::NEG_INFINITY, f64::max);
        // The first rounds are coarse: a narrow peak may lie between their cells.
        let within = [60.0, 25.0, 12.0, 12.0][round];
        let kept = || out.iter().filter(|c| c.2 > most - within);
        if round + 1 < ROUNDS {
            let ends = |of: fn(&(f64, f64, f64)) -> f64, d: f64| {
                let low = kept().map(of).fold(f64::INFINITY, f64::min);
                let high = kept().map(of).fold(f64::NEG_INFINITY, f64::max);
                (low - d, high + d)
            };
            (centre, width) = (ends(|c| c.0, d_centre), ends(|c| c.1, d_width));
        }
    }
    out
}
