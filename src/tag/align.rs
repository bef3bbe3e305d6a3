//! Lays the sweeps of several samples over each other: one curve per mount, one offset and one shift per sample.
//!
//! Model: yᵢₘ(f) = μₘ(f − δᵢ) + oᵢ + e. The whole curve of sample i moves together, the same in every mount m:
//! by oᵢ in dB and by δᵢ in frequency. Offsets and shifts sum to zero over the samples, so μ is the curve
//! of the average sample. Solved by alternating: μ from the aligned samples (censored points and wide power steps by
//! likelihood), then
//! δᵢ by least squares on the slope of μ inside each mount, and oᵢ as the mean over the mounts: placing a sample moves
//! a whole mount up or down, and must not be taken for a shift. A flat curve does not show its shift: a weak pull towards zero
//! (standard deviation `SHIFT_PULL_MHZ`) keeps it from wandering.

use super::censored::mean_level;
use super::pchip::Pchip;
use crate::lab::Level;

/// Standard deviation of the weak pull on a shift, MHz; far wider than shifts between good samples. Our estimate.
pub const SHIFT_PULL_MHZ: f64 = 6.0;
/// Largest shift looked for, MHz.
pub const MAX_SHIFT_MHZ: f64 = 15.0;
/// Least scatter assumed of an aligned reading, dB (resolution of a chamber sweep). Our estimate.
pub const MIN_SCATTER_DB: f64 = 0.1;
const ROUNDS: usize = 8;

/// Threshold sweep of one sample in one mount: strictly increasing frequencies.
pub struct Track {
    freq_mhz: Vec<f64>,
    level: Vec<Level>,
    exact: Option<Pchip>,
}

impl Track {
    /// Frequencies strictly increasing (asserted by the interpolation).
    pub fn new(points: &[(f64, Level)]) -> Track {
        let (x, y): (Vec<f64>, Vec<f64>) =
            points.iter().filter_map(|(f, level)| level.exact().map(|v| (*f, v))).unzip();
        Track {
            freq_mhz: points.iter().map(|p| p.0).collect(),
            level: points.iter().map(|p| p.1).collect(),
            exact: (!x.is_empty()).then(|| Pchip::new(x, y)),
        }
    }

    /// Level at a frequency: a limit where the nearest reading is one, else interpolated; `None` outside the sweep.
    pub fn at(&self, freq_mhz: f64) -> Option<Level> {
        let last = self.freq_mhz.len().checked_sub(1)?;
        if freq_mhz < self.freq_mhz[0] - 1e-9 || freq_mhz > self.freq_mhz[last] + 1e-9 {
            return None;
        }
        let right = self.freq_mhz.partition_point(|&f| f < freq_mhz).min(last);
        let left = right.saturating_sub(1);
        let nearest =
            if freq_mhz - self.freq_mhz[left] < self.freq_mhz[right] - freq_mhz { left } else { right };
        match (self.level[nearest], &self.exact) {
            (Level::Exact(_), Some(curve)) => Some(Level::Exact(curve.value(freq_mhz))),
            (limit, _) => Some(limit),
        }
    }
}

/// What the samples of a tag say together.
#[derive(Clone, Debug)]
pub struct Alignment {
    /// Offset of each sample from the average sample, dB (positive: needs more power).
    pub offset_db: Vec<f64>,
    /// Frequency shift of each sample, MHz (positive: resonates higher).
    pub shift_mhz: Vec<f64>,
    /// Standard deviation of a reading about its aligned curve, dB; `None` with one sample.
    pub residual_sd_db: Option<f64>,
    /// Per mount, per sample: mean residual of its exact readings, dB (what placing it in that mount changed).
    pub mount_residual_db: Vec<Vec<Option<f64>>>,
    /// Variance of each offset (dB²) and shift (MHz²) that comes from placing and reading, not from the samples.
    pub offset_noise: f64,
    pub shift_noise: f64,
    /// Per mount, per grid frequency: level of the average sample. A limit where every sample is beyond it.
    pub mean: Vec<Vec<Option<Level>>>,
}

/// Aligns `tracks[mount][sample]` on the frequencies `grid[mount]`; levels were read in steps of `step_db` (0: exactly).
pub fn align(tracks: &[Vec<Option<Track>>], grid: &[Vec<f64>], samples: usize, step_db: f64) -> Alignment {
    let mut offset_db = vec![0.0; samples];
    let mut shift_mhz = vec![0.0; samples];
    let mut residual_sd_db = None;
    let mut mean = means(tracks, grid, &offset_db, &shift_mhz, MIN_SCATTER_DB, step_db);
    if samples < 2 {
        let mount_residual_db = tracks.iter().map(|t| vec![None; t.len()]).collect();
        return Alignment {
            offset_db,
            shift_mhz,
            residual_sd_db,
            mount_residual_db,
            offset_noise: 0.0,
            shift_noise: 0.0,
            mean,
        };
    }
    for _ in 0..ROUNDS {
        let scatter = residual_sd_db.unwrap_or(1.0_f64).max(MIN_SCATTER_DB);
        for sample in 0..samples {
            let (d_offset, d_shift) =
                step(tracks, grid, &mean, sample, offset_db[sample], shift_mhz[sample], scatter);
            offset_db[sample] += d_offset;
            shift_mhz[sample] = (shift_mhz[sample] + d_shift).clamp(-MAX_SHIFT_MHZ, MAX_SHIFT_MHZ);
        }
        centre(&mut offset_db);
        centre(&mut shift_mhz);
        mean = means(tracks, grid, &offset_db, &shift_mhz, below_step(scatter, step_db), step_db);
        residual_sd_db = residual_sd(tracks, grid, &mean, &offset_db, &shift_mhz);
    }
    let moments: Vec<Vec<Moments>> = (0..samples)
        .map(|i| {
            let points = residuals(tracks, grid, &mean, i, offset_db[i], shift_mhz[i]);
            points.iter().map(|p| Moments::new(p)).collect()
        })
        .collect();
    let mount_residual_db: Vec<Vec<Option<f64>>> = (0..tracks.len())
        .map(|m| moments.iter().map(|of| (of[m].count > 0.0).then_some(of[m].residual)).collect())
        .collect();
    let scatter = residual_sd_db.unwrap_or(MIN_SCATTER_DB);
    let n = samples as f64;
    let shift_noise = moments.iter().map(|of| {
        let slope_square: f64 = of.iter().map(|m| m.slope_square).sum();
        scatter * scatter / (slope_square + pull(scatter))
    });
    let shift_noise = shift_noise.sum::<f64>() / n;
    // The mounts of a sample scatter about its offset; their mean is what the offset is.
    let mut known: Vec<f64> = mount_residual_db.iter().flatten().flatten().copied().collect();
    known.iter_mut().for_each(|r| *r *= *r);
    let dof = known.len() as f64 - n - tracks.len() as f64 + 1.0;
    let placing = if dof > 0.0 { known.iter().sum::<f64>() / dof } else { 0.0 };
    let offset_noise = placing * n / (known.len() as f64).max(1.0);
    Alignment { offset_db, shift_mhz, residual_sd_db, mount_residual_db, offset_noise, shift_noise, mean }
}

fn centre(values: &mut [f64]) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter_mut().for_each(|v| *v -= mean);
}

/// Exact residuals of one sample with the slope of the mean curve, mount by mount: (residual dB, dB/MHz).
fn residuals(
    tracks: &[Vec<Option<Track>>],
    grid: &[Vec<f64>],
    mean: &[Vec<Option<Level>>],
    sample: usize,
    offset: f64,
    shift: f64,
) -> Vec<Vec<(f64, f64)>> {
    let mut all = Vec::with_capacity(grid.len());
    for (m, frequencies) in grid.iter().enumerate() {
        let mut out = Vec::new();
        let Some(track) = &tracks[m][sample] else {
            all.push(out);
            continue;
        };
        let known = |k: usize| mean[m][k].and_then(Level::exact);
        for (k, &freq) in frequencies.iter().enumerate() {
            let (Some(Level::Exact(y)), Some(mu)) = (track.at(freq + shift), known(k)) else { continue };
            // Slope over a few knots: single differences are mostly noise.
            let (a, b) = (k.saturating_sub(2), (k + 2).min(frequencies.len() - 1));
            let slope = match (known(a), known(b)) {
                (Some(low), Some(high)) if b > a => (high - low) / (frequencies[b] - frequencies[a]),
                _ => 0.0,
            };
            out.push((y - offset - mu, slope));
        }
        all.push(out);
    }
    all
}

/// Means of residual and slope in a mount, and the sums of squares and products about them.
struct Moments {
    count: f64,
    residual: f64,
    slope: f64,
    slope_square: f64,
    product: f64,
}

impl Moments {
    fn new(points: &[(f64, f64)]) -> Moments {
        let count = points.len() as f64;
        let mean = |pick: fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / count.max(1.0);
        let (residual, slope) = (mean(|p| p.0), mean(|p| p.1));
        let about = |p: &(f64, f64)| (p.0 - residual, p.1 - slope);
        let slope_square = points.iter().map(|p| about(p).1 * about(p).1).sum();
        let product = points.iter().map(|p| about(p).0 * about(p).1).sum();
        Moments { count, residual, slope, slope_square, product }
    }

    /// Weight of a mount in the offset: its placing weighs as much as a few readings.
    fn weight(&self) -> f64 {
        self.count / (self.count + 4.0)
    }
}

/// Least-squares correction of one sample's offset and shift.
fn step(
    tracks: &[Vec<Option<Track>>],
    grid: &[Vec<f64>],
    mean: &[Vec<Option<Level>>],
    sample: usize,
    offset: f64,
    shift: f64,
    scatter: f64,
) -> (f64, f64) {
    let mounts: Vec<Moments> =
        residuals(tracks, grid, mean, sample, offset, shift).iter().map(|p| Moments::new(p)).collect();
    let weight: f64 = mounts.iter().map(Moments::weight).sum();
    if weight == 0.0 {
        return (0.0, 0.0);
    }
    // Minimise Σ(r + s·dδ)² about the means of each mount + pull·(δ + dδ)².
    let pull = pull(scatter);
    let slope_square: f64 = mounts.iter().map(|m| m.slope_square).sum();
    let product: f64 = mounts.iter().map(|m| m.product).sum();
    let d_shift = ((-product - pull * shift) / (slope_square + pull)).clamp(-4.0, 4.0);
    let d_offset = mounts.iter().map(|m| m.weight() * (m.residual + m.slope * d_shift)).sum::<f64>() / weight;
    (d_offset, d_shift)
}

/// Weight of the pull on a shift beside squared slopes.
fn pull(scatter: f64) -> f64 {
    (scatter / SHIFT_PULL_MHZ) * (scatter / SHIFT_PULL_MHZ)
}

/// Scatter of the levels themselves: that of stepped readings holds Δ/√12 of the step.
fn below_step(scatter: f64, step_db: f64) -> f64 {
    (scatter * scatter - step_db * step_db / 12.0).max(MIN_SCATTER_DB * MIN_SCATTER_DB).sqrt()
}

fn means(
    tracks: &[Vec<Option<Track>>],
    grid: &[Vec<f64>],
    offset: &[f64],
    shift: &[f64],
    scatter: f64,
    step_db: f64,
) -> Vec<Vec<Option<Level>>> {
    let beyond = |levels: &[(Level, f64)]| {
        // Every sample beyond its limit: the mean lies beyond the least telling one.
        levels.iter().map(|(level, _)| *level).reduce(|a, b| match (a, b) {
            (Level::Above(x), Level::Above(y)) => Level::Above(x.max(y)),
            (Level::Below(x), Level::Below(y)) => Level::Below(x.min(y)),
            (above @ Level::Above(_), _) | (_, above) => above,
        })
    };
    let at = |m: usize, freq: f64, clamp: bool| {
        let levels: Vec<(Level, f64)> = (0..offset.len())
            .filter_map(|i| {
                let track = tracks[m][i].as_ref()?;
                let shifted = if clamp { freq } else { freq + shift[i] };
                Some((track.at(shifted)?.raised(-offset[i]), scatter))
            })
            .collect();
        mean_level(&levels, step_db).map(Level::Exact).or_else(|| beyond(&levels))
    };
    let one = |m: usize, freq: f64| at(m, freq, false).or_else(|| at(m, freq, true));
    grid.iter().enumerate().map(|(m, f)| f.iter().map(|&freq| one(m, freq)).collect()).collect()
}

fn residual_sd(
    tracks: &[Vec<Option<Track>>],
    grid: &[Vec<f64>],
    mean: &[Vec<Option<Level>>],
    offset: &[f64],
    shift: &[f64],
) -> Option<f64> {
    let (mut count, mut sum) = (0usize, 0.0);
    for sample in 0..offset.len() {
        // About the level of each mount: placing is no scatter of the readings.
        for points in residuals(tracks, grid, mean, sample, offset[sample], shift[sample]) {
            let level = Moments::new(&points).residual;
            count += points.len();
            sum += points.iter().map(|p| (p.0 - level) * (p.0 - level)).sum::<f64>();
        }
    }
    // Each grid point spends one degree of freedom, each sample but one an offset and a shift.
    let spent =
        mean.iter().flatten().flatten().filter(|l| l.exact().is_some()).count() + 2 * (offset.len() - 1);
    (count > spent).then(|| (sum / (count - spent) as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dip(freq: f64, centre: f64) -> f64 {
        -18.0 + 6.0 * ((freq - centre) / 40.0) * ((freq - centre) / 40.0)
    }

    /// Noise-free samples made from one curve give back the offsets and shifts they were made with.
    #[test]
    fn offsets_and_shifts_are_recovered() {
        let (offsets, shifts) = ([-0.6, 0.1, 0.5], [2.0, -0.5, -1.5]);
        let grid: Vec<f64> = (0..51).map(|k| 850.0 + 2.0 * f64::from(k)).collect();
        let track = |i: usize, centre: f64| {
            let points: Vec<(f64, Level)> = grid
                .iter()
                .map(|&f| {
                    let level = dip(f - shifts[i], centre) + offsets[i];
                    (f, if level > -9.0 { Level::Above(-9.0) } else { Level::Exact(level) })
                })
                .collect();
            Some(Track::new(&points))
        };
        let tracks =
            vec![(0..3).map(|i| track(i, 900.0)).collect(), (0..3).map(|i| track(i, 880.0)).collect()];
        let found = align(&tracks, &[grid.clone(), grid.clone()], 3, 0.0);
        for i in 0..3 {
            // Tolerances: curvature over one step (0.015 dB) and what it does to the shift.
            assert!((found.offset_db[i] - offsets[i]).abs() < 0.02, "{:?}", found.offset_db);
            assert!((found.shift_mhz[i] - shifts[i]).abs() < 0.1, "{:?}", found.shift_mhz);
        }
        for (k, &f) in grid.iter().enumerate() {
            match found.mean[0][k].expect("read") {
                Level::Exact(v) if dip(f, 900.0) < -9.8 => {
                    assert!((v - dip(f, 900.0)).abs() < 0.05, "{f}: {v}")
                }
                Level::Exact(_) => {}
                limit => assert!(limit.number() > -10.0 && dip(f, 900.0) > -10.2, "{f}: {limit}"),
            }
        }
    }

    #[test]
    fn one_sample_is_its_own_average() {
        let grid = vec![860.0, 870.0];
        let track = Track::new(&[(860.0, Level::Exact(-15.0)), (870.0, Level::Above(12.0))]);
        let found = align(&[vec![Some(track)]], &[grid], 1, 0.0);
        assert_eq!(found.mean[0], [Some(Level::Exact(-15.0)), Some(Level::Above(12.0))]);
        assert_eq!(found.residual_sd_db, None);
    }
}
