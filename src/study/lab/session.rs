//! What a laboratory session shows beside the tag: ripple over frequency, and the level of every sweep in the order it was
//! taken.
//!
//! Ripple: the mean threshold of a mount less a smooth polynomial, with the strongest sinusoid fitted (`faults::ripple`).
//! Level of a sweep: mean of its exact readings less the average curve of the mount moved by the sample's offset and
//! shift. It goes over the minute the sweep began, or over the measuring order (that of the files) where minutes are
//! missing.

use crate::lab::faults::{by_mount, ripple};
use crate::lab::stat::ripple::Ripple;
use crate::lab::stat::trend::{Estimate, drift};
use crate::tag::load::Measured;
use serde::Serialize;

/// Ripple of one mount.
#[derive(Clone, Debug, Serialize)]
pub struct RippleAnswer {
    pub mount: String,
    /// Whether it counts as a finding.
    pub found: bool,
    pub ripple: Ripple,
    pub freq_mhz: Vec<f64>,
    /// Mean threshold less the smooth curve, and the fitted sinusoid, dB.
    pub rest_db: Vec<f64>,
    pub fitted_db: Vec<f64>,
}

/// One sweep in the order of measuring.
#[derive(Clone, Debug, Serialize)]
pub struct SweepLevel {
    /// From 1, in the order of the files or of the minutes.
    pub order: usize,
    pub minute: Option<f64>,
    pub mount: String,
    pub sample: String,
    pub repeat: String,
    pub day: String,
    pub level_db: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct SessionAnswer {
    pub ripples: Vec<RippleAnswer>,
    pub sweeps: Vec<SweepLevel>,
    /// Every sweep says when it began.
    pub timed: bool,
    /// Slope of the levels, dB per hour when timed, else dB per sweep.
    pub drift: Option<Estimate>,
}

pub fn answer(measured: &Measured) -> SessionAnswer {
    let ripples = by_mount(&measured.sweeps)
        .iter()
        .filter(|group| group.link == measured.link)
        .filter_map(|group| {
            let seen = ripple::strongest(group)?;
            Some(RippleAnswer {
                mount: group.mount.to_string(),
                found: ripple::counts(&seen.ripple),
                ripple: seen.ripple,
                freq_mhz: seen.freq_mhz,
                rest_db: seen.shape.rest,
                fitted_db: seen.shape.wave,
            })
        })
        .collect();
    let mut sweeps: Vec<SweepLevel> =
        measured.sweeps.iter().filter_map(|sweep| level(measured, sweep)).collect();
    let timed = !sweeps.is_empty() && sweeps.iter().all(|s| s.minute.is_some());
    if timed {
        sweeps.sort_by(|a, b| a.minute.unwrap_or(0.0).total_cmp(&b.minute.unwrap_or(0.0)));
    }
    sweeps.iter_mut().enumerate().for_each(|(k, s)| s.order = k + 1);
    let at: Vec<f64> =
        sweeps.iter().map(|s| if timed { s.minute.unwrap_or(0.0) / 60.0 } else { s.order as f64 }).collect();
    let levels: Vec<f64> = sweeps.iter().map(|s| s.level_db).collect();
    SessionAnswer { ripples, drift: drift(&at, &levels), sweeps, timed }
}

/// `None` for a sweep that is not part of the curve or holds no exact reading.
fn level(measured: &Measured, sweep: &crate::lab::Sweep) -> Option<SweepLevel> {
    if sweep.link != measured.link {
        return None;
    }
    let mount = measured.mounts.iter().position(|m| *m == sweep.mount)?;
    let sample = measured.samples.iter().position(|s| *s == sweep.sample)?;
    let curve = &measured.tag.curve.mounts()[mount].threshold_dbm;
    let (offset, shift) = (measured.alignment.offset_db[sample], measured.alignment.shift_mhz[sample]);
    let rest: Vec<f64> = sweep
        .readings
        .iter()
        .filter_map(|r| Some(r.threshold_dbm?.exact()? - offset - curve.value(r.freq_mhz - shift)))
        .collect();
    (!rest.is_empty()).then(|| SweepLevel {
        order: 0,
        minute: sweep.minute,
        mount: sweep.mount.to_string(),
        sample: sweep.sample.clone(),
        repeat: sweep.repeat.clone(),
        day: sweep.taken.day.clone(),
        level_db: rest.iter().sum::<f64>() / rest.len() as f64,
    })
}
