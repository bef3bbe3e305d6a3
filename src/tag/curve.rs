//! The tag curve: threshold and backscatter efficiency over frequency and over the gap to the body.
//!
//! Over frequency each mount is a PCHIP through the sweep's knots. Over the gap the curves are joined linearly in
//! the closeness s = exp(-gap / 6 mm); free air is s = 0. A gap closer than the closest mount measured is
//! clamped to that mount (and counted by the passing); one wider than the widest gap measured moves towards free air.
//! Source of the 6 mm: our estimate, the decay of the computed gain penalty of a half-wave dipole over muscle
//! between 2 and 20 mm (`passing::body`).

use super::pchip::Pchip;
use crate::numeric::elementary::exp;

/// Decay length of the closeness, mm.
pub const CLOSENESS_DECAY_MM: f64 = 6.0;
/// Most mounts a tag curve may have (free air included).
pub const MAX_MOUNTS: usize = 8;

/// Closeness s of a gap in mm (≥ 0); 0 in free air.
#[inline(always)]
pub fn closeness(gap_mm: f64) -> f64 {
    exp(gap_mm * (-1.0 / CLOSENESS_DECAY_MM))
}

/// What all samples say of one mount: the curve of the average sample.
#[derive(Clone, Debug)]
pub struct MountCurve {
    /// Gap between tag and body surface in mm, the tag's own spacer included; `None` in free air.
    pub gap_mm: Option<f64>,
    /// Least boresight-equivalent isotropic incident power that wakes the tag, dBm.
    pub threshold_dbm: Pchip,
    /// Modulated backscatter EIRP over incident isotropic power, dB.
    pub backscatter_db: Pchip,
    /// Where the threshold is only known to lie above a limit; `None` where every frequency was read.
    pub open: Option<OpenSpread>,
}

/// Spread of a belief in open thresholds about the curve, dB per unit of the score; 0 where a threshold was read.
#[derive(Clone, Debug)]
pub struct OpenSpread {
    pub down_db: Pchip,
    pub up_db: Pchip,
}

impl OpenSpread {
    /// What a normal score (no unit) adds to the curve at `freq_mhz`, dB.
    pub fn added_db(&self, freq_mhz: f64, score: f64) -> f64 {
        score * if score < 0.0 { &self.down_db } else { &self.up_db }.value(freq_mhz)
    }
}

/// The curve of the average sample over all mounts, sorted from free air to the closest mount.
#[derive(Clone, Debug)]
pub struct TagCurve {
    mounts: Vec<MountCurve>,
    closeness: Vec<f64>,
}

/// Threshold and backscatter of all mounts at one frequency, ready to be joined over the gap.
#[derive(Clone, Copy, Debug)]
pub struct AtFrequency {
    pub threshold_dbm: [f64; MAX_MOUNTS],
    pub backscatter_db: [f64; MAX_MOUNTS],
}

fn common(spans: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    spans.fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), (a, b)| (low.max(a), high.min(b)))
}

impl TagCurve {
    /// 1 to `MAX_MOUNTS` mounts with different gaps (asserted); any order.
    pub fn new(mut mounts: Vec<MountCurve>) -> TagCurve {
        assert!((1..=MAX_MOUNTS).contains(&mounts.len()), "1 to {MAX_MOUNTS} mounts");
        let s = |m: &MountCurve| m.gap_mm.map_or(0.0, closeness);
        mounts.sort_by(|a, b| s(a).total_cmp(&s(b)));
        let closeness: Vec<f64> = mounts.iter().map(s).collect();
        assert!(closeness.windows(2).all(|w| w[0] < w[1]), "gaps all different");
        TagCurve { mounts, closeness }
    }

    /// Closeness of each mount, rising.
    pub fn closeness_knots(&self) -> &[f64] {
        &self.closeness
    }

    pub fn mounts(&self) -> &[MountCurve] {
        &self.mounts
    }

    /// Closest gap measured, mm; infinite when only free air was measured.
    pub fn closest_gap_mm(&self) -> f64 {
        self.mounts.last().and_then(|m| m.gap_mm).unwrap_or(f64::INFINITY)
    }

    /// Span of frequencies at which every mount's threshold was looked for, MHz; a tag that slept there was looked for, too.
    pub fn covered_mhz(&self) -> (f64, f64) {
        common(self.mounts.iter().map(|m| m.threshold_dbm.span()))
    }

    /// Span of frequencies at which every mount has a reply, MHz.
    pub fn reply_covered_mhz(&self) -> (f64, f64) {
        common(self.mounts.iter().map(|m| m.backscatter_db.span()))
    }

    /// Widest upward spread of an open threshold, dB; 0 where none is open.
    pub fn most_open_db(&self) -> f64 {
        let open = self.mounts.iter().filter_map(|m| m.open.as_ref());
        open.flat_map(|o| o.up_db.knots().1).fold(0.0, |a, &b| a.max(b))
    }

    /// All mounts at `freq_mhz` (clamped to the sweep's span), open thresholds at a normal score of `open_score`.
    pub fn at(&self, freq_mhz: f64, open_score: f64) -> AtFrequency {
        let mut out = AtFrequency { threshold_dbm: [0.0; MAX_MOUNTS], backscatter_db: [0.0; MAX_MOUNTS] };
        for (i, mount) in self.mounts.iter().enumerate() {
            out.threshold_dbm[i] = mount.threshold_dbm.value(freq_mhz);
            if let Some(open) = &mount.open {
                out.threshold_dbm[i] += open.added_db(freq_mhz, open_score);
            }
            out.backscatter_db[i] = mount.backscatter_db.value(freq_mhz);
        }
        out
    }

    /// Threshold in dBm and backscatter efficiency in dB at closeness `s` in 0..=1.
    pub fn join(&self, at: &AtFrequency, s: f64) -> (f64, f64) {
        let last = self.closeness.len() - 1;
        if s <= self.closeness[0] {
            return (at.threshold_dbm[0], at.backscatter_db[0]);
        }
        if s >= self.closeness[last] {
            return (at.threshold_dbm[last], at.backscatter_db[last]);
        }
        let mut k = 0;
        while s > self.closeness[k + 1] {
            k += 1;
        }
        let t = (s - self.closeness[k]) / (self.closeness[k + 1] - self.closeness[k]);
        (
            at.threshold_dbm[k] + t * (at.threshold_dbm[k + 1] - at.threshold_dbm[k]),
            at.backscatter_db[k] + t * (at.backscatter_db[k + 1] - at.backscatter_db[k]),
        )
    }

    /// Threshold (dBm) and backscatter efficiency (dB) at a frequency and gap; free air for an infinite gap; open thresholds at their
    /// medians.
    pub fn value(&self, freq_mhz: f64, gap_mm: f64) -> (f64, f64) {
        self.join(&self.at(freq_mhz, 0.0), closeness(gap_mm))
    }
}
