//! How far the curve of the average sample may lie from the curve of the average tag of the production.
//!
//! Three parts, each at two-sided odds, joined as a root of squares: the mean offset of n samples (σ/√n averaged
//! over the posterior of σ), the mean frequency shift times the slope of the curve, and what is left per mount: placing a
//! sample (the mean residual of a sample in a mount, Student's t) and the scatter of the readings.
//! The laboratory's level is not in here: it is common to all tags and kept apart.

use super::MountCurve;
use super::align::Alignment;
use super::load::Measured;
use crate::lab::stat::sigma_posterior::SigmaPosterior;
use crate::numeric::student::t_quantile;
use crate::numeric::{normal_cdf, root};
use crate::random::transform::normal_quantile;

/// Half width h with odds `level` that the production mean lies within ± h of the mean of `n` samples.
pub fn mean_half_width(posterior: &SigmaPosterior, n: usize, level: f64) -> f64 {
    let root_n = (n as f64).sqrt();
    let outside = |h: f64| posterior.mean_of(|sigma| 2.0 * normal_cdf(-h * root_n / sigma.max(1e-12)));
    let high = 10.0 * posterior.quantile(1.0).max(1e-9) / root_n;
    root::brent(|h| 1.0 - level - outside(h), 0.0, high, 1e-9 * high).unwrap_or(high)
}

/// Standard deviation of placing a sample in a mount, from the mean residuals of each sample in each mount; with its
/// degrees of freedom. `None` with one sample or one mount.
pub fn placement_sd(alignment: &Alignment) -> Option<(f64, f64)> {
    let mounts = alignment.mount_residual_db.len();
    let samples = alignment.offset_db.len();
    let dof = (mounts.checked_sub(1)? * samples.checked_sub(1)?) as f64;
    let known = || alignment.mount_residual_db.iter().flatten().flatten();
    let missing = mounts * samples - known().count();
    let dof = dof - missing as f64;
    (dof > 0.0).then(|| ((known().map(|r| r * r).sum::<f64>() / dof).sqrt(), dof))
}

/// Half widths of the threshold curve of the average tag.
pub struct CurveInterval {
    level: f64,
    offset_db: f64,
    shift_mhz: f64,
    /// Placing and scatter, the same at every frequency.
    rest_db: f64,
}

impl CurveInterval {
    /// Two-sided `level` in 0..1.
    pub fn new(measured: &Measured, level: f64) -> CurveInterval {
        let spread = &measured.tag.spread;
        let samples = spread.samples;
        let n = samples as f64;
        let scatter = measured.alignment.residual_sd_db.unwrap_or(0.0) / n.sqrt();
        let scatter = normal_quantile(0.5 + 0.5 * level) * scatter;
        let placing = placement_sd(&measured.alignment)
            .map_or(normal_quantile(0.5 + 0.5 * level) * spread.placing_sd_db, |(sd, dof)| {
                t_quantile(0.5 + 0.5 * level, dof) * sd
            })
            / n.sqrt();
        CurveInterval {
            level,
            offset_db: mean_half_width(&spread.offset_sigma_db, samples, level),
            shift_mhz: mean_half_width(&spread.shift_sigma_mhz, samples, level),
            rest_db: libm::hypot(scatter, placing),
        }
    }

    pub fn level(&self) -> f64 {
        self.level
    }

    /// Half width in dB where the curve has this slope.
    pub fn half_width_db(&self, slope_db_per_mhz: f64) -> f64 {
        libm::hypot(libm::hypot(self.offset_db, self.shift_mhz * slope_db_per_mhz), self.rest_db)
    }

    /// Ends of the interval of the average tag's threshold at a frequency, dBm; an open threshold adds its own belief to either side.
    pub fn ends_dbm(&self, curve: &MountCurve, freq_mhz: f64) -> (f64, f64) {
        let half = self.half_width_db(slope(&curve.threshold_dbm, freq_mhz));
        let score = normal_quantile(0.5 + 0.5 * self.level);
        let added = |score: f64| curve.open.as_ref().map_or(0.0, |open| open.added_db(freq_mhz, score));
        let middle = curve.threshold_dbm.value(freq_mhz);
        (middle - libm::hypot(half, added(-score)), middle + libm::hypot(half, added(score)))
    }
}

/// Slope of a curve in dB per MHz over ± 2 MHz, inside its span.
pub fn slope(curve: &super::pchip::Pchip, freq_mhz: f64) -> f64 {
    let (low, high) = curve.span();
    let (a, b) = ((freq_mhz - 2.0).max(low), (freq_mhz + 2.0).min(high));
    if b > a { (curve.value(b) - curve.value(a)) / (b - a) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A known spread gives the normal interval σ/√n·1.96.
    #[test]
    fn a_known_spread_gives_the_plain_interval() {
        let h = mean_half_width(&SigmaPosterior::known(0.6), 4, 0.95);
        assert!((h - 0.3 * 1.959_963_984_540_054).abs() < 1e-6, "{h}");
    }
}
