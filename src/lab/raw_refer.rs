//! Raw sweeps to sweeps at the tag: the bench's corrections applied frequency by frequency.
//!
//! incident = generator − cable + antenna gain − polarisation loss − free-space loss.
//! threshold = incident at the level that woke the tag, less half a step of the power search (the tag woke somewhere
//! within the last step), plus the transfer correction. The step goes along: the fit of the curve takes the threshold for an
//! interval where the step is wide against the scatter (`tag::censored`).
//! efficiency = analyser + cable − gain + polarisation loss + free-space loss − incident, plus its transfer correction.

use super::correction::{self, Correction};
use super::problems::Problems;
use super::raw_file::{LevelUnit, RawFile};
use super::raw_parse::{RawReading, RawSweep};
use super::refer::delta_rcs_to_efficiency_db;
use super::{Reading, Sweep, text, touchstone};
use crate::diag::{Checked, Diagnostic, Severity, Source};
use crate::units::free_space_loss_db;
use std::path::Path;
use std::sync::Arc;

/// Corrections of the bench, read and checked.
#[derive(Clone, Debug)]
pub struct Bench {
    pub gain_dbi: Correction,
    pub cable_db: Correction,
    pub receive_gain_dbi: Correction,
    pub receive_cable_db: Correction,
    pub transfer_threshold_db: Correction,
    pub transfer_backscatter_db: Correction,
    /// Magnitude of the antenna's reflection coefficient, when it is known.
    pub antenna_reflection: Option<Reflection>,
    /// SHA-256 of the correction files.
    pub file_hashes: Vec<(String, String)>,
}

/// Reflection coefficient of the antenna: one number, or over frequency (MHz, magnitude).
#[derive(Clone, Debug)]
pub enum Reflection {
    Constant(f64),
    Over(Vec<(f64, f64)>),
}

impl Bench {
    /// Magnitude of the antenna's reflection at the nearest frequency known.
    pub fn reflection_at(&self, freq_mhz: f64) -> Option<f64> {
        match self.antenna_reflection.as_ref()? {
            Reflection::Constant(value) => Some(*value),
            Reflection::Over(points) => points
                .iter()
                .min_by(|a, b| (a.0 - freq_mhz).abs().total_cmp(&(b.0 - freq_mhz).abs()))
                .map(|point| point.1),
        }
    }
}

/// What a correction can be, dB.
struct Bounds {
    min: f64,
    max: f64,
    why: &'static str,
}

/// Noise of a network analyser may show a short adapter a little above 0 dB. Our estimate: 0.1 dB.
const CABLE: Bounds = Bounds {
    min: -0.1,
    max: 60.0,
    why: "a cable does not amplify: a loss is written without a sign, in a Touchstone file |S21| lies below 0 dB",
};
/// Chamber antennas, from a short probe to a long horn. Our estimate.
const GAIN: Bounds = Bounds { min: -10.0, max: 25.0, why: "gain of a chamber antenna in dBi, not a ratio" };
const TRANSFER: Bounds = Bounds { min: -20.0, max: 20.0, why: "what a reference tag reads too low here" };

impl Bounds {
    /// The worst point of a table outside the bounds.
    fn broken(&self, correction: &Correction, source: &Arc<Source>) -> Option<Diagnostic> {
        let Correction::Table { freq_mhz, value_db } = correction else { return None };
        let outside = |v: f64| (self.min - v).max(v - self.max);
        let (freq, value) = freq_mhz
            .iter()
            .zip(value_db)
            .filter(|(_, v)| outside(**v) > 0.0)
            .max_by(|a, b| outside(*a.1).total_cmp(&outside(*b.1)))?;
        let message = format!("{value:.2} dB at {freq} MHz is outside {}..={} dB", self.min, self.max);
        Some(Diagnostic::error("raw-bench", message).in_file(source).help(self.why))
    }
}

/// Reads the correction files named in the set-up, relative to `folder`.
pub fn bench(file: &RawFile, folder: &Path) -> Checked<Bench> {
    let setup = &file.setup;
    let mut found: Vec<Diagnostic> = Vec::new();
    let mut file_hashes = Vec::new();
    let mut one = |number: Option<f64>, name: &Option<String>, bounds: &Bounds| -> Option<Correction> {
        let Some(name) = name else { return number.map(Correction::Constant) };
        let read = match text::read(&folder.join(name)) {
            Ok(read) => read,
            Err(problem) => {
                found.push(*problem);
                return None;
            }
        };
        file_hashes.push((read.source.path.clone(), read.sha256));
        match correction::read(&read.source) {
            Ok((correction, warnings)) => {
                found.extend(warnings);
                found.extend(bounds.broken(&correction, &read.source));
                Some(correction)
            }
            Err(problems) => {
                found.extend(problems);
                None
            }
        }
    };
    // Checked before: where levels are referred, gain and cable are there.
    let zero = Correction::Constant(0.0);
    let gain_dbi = one(setup.antenna_gain_dbi, &setup.antenna_gain_file, &GAIN).unwrap_or(zero.clone());
    let cable_db = one(setup.cable_loss_db, &setup.cable_loss_file, &CABLE).unwrap_or(zero.clone());
    let receive_gain = one(setup.receive_gain_dbi, &setup.receive_gain_file, &GAIN);
    let receive_cable = one(setup.receive_cable_loss_db, &setup.receive_cable_loss_file, &CABLE);
    let transfer_threshold = one(setup.transfer_threshold_db, &setup.transfer_threshold_file, &TRANSFER);
    let transfer_backscatter =
        one(setup.transfer_backscatter_db, &setup.transfer_backscatter_file, &TRANSFER);
    let mut antenna_reflection = file.uncertainty.antenna_reflection.map(Reflection::Constant);
    if let Some(name) = &file.uncertainty.antenna_s11_file {
        let read = text::read(&folder.join(name)).map_err(|problem| vec![*problem]).and_then(|read| {
            file_hashes.push((read.source.path.clone(), read.sha256));
            touchstone::read(&read.source, 1)
        });
        match read {
            Ok((data, _)) => {
                let points = data.freq_mhz.iter().zip(&data.s).map(|(f, s)| (*f, s[0].norm()));
                antenna_reflection = Some(Reflection::Over(points.collect()));
            }
            Err(problems) => found.extend(problems),
        }
    }
    if found.iter().any(|d| d.severity == Severity::Error) {
        return Err(found);
    }
    let bench = Bench {
        receive_gain_dbi: receive_gain.unwrap_or(gain_dbi.clone()),
        receive_cable_db: receive_cable.unwrap_or(cable_db.clone()),
        gain_dbi,
        cable_db,
        transfer_threshold_db: transfer_threshold.unwrap_or(zero.clone()),
        transfer_backscatter_db: transfer_backscatter.unwrap_or(zero),
        antenna_reflection,
        file_hashes,
    };
    Ok((bench, found))
}

/// Refers every sweep of one file (the empty room is left out). One error per correction that does not cover it.
pub fn refer(file: &RawFile, bench: &Bench, raw: &[RawSweep], source: &Arc<Source>) -> Checked<Vec<Sweep>> {
    let mut problems = Problems::new(source);
    let frequencies = || raw.iter().flat_map(|s| s.readings.iter().map(|r| r.freq_mhz));
    let (low, high) =
        frequencies().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), f| (a.min(f), b.max(f)));
    let named = [
        ("antenna gain", &bench.gain_dbi),
        ("cable loss", &bench.cable_db),
        ("receive gain", &bench.receive_gain_dbi),
        ("receive cable loss", &bench.receive_cable_db),
        ("transfer correction of the threshold", &bench.transfer_threshold_db),
        ("transfer correction of the backscatter", &bench.transfer_backscatter_db),
    ];
    for (k, (name, correction)) in named.iter().enumerate() {
        // The receive side is the transmit side unless it has files of its own: said once.
        if named[..k].iter().any(|(_, before)| before == correction) {
            continue;
        }
        if let Some((from, to)) = correction.span_mhz()
            && (from > low || to < high)
        {
            problems.error(|| {
                let message =
                    format!("the {name} covers {from} to {to} MHz, the sweep runs from {low} to {high} MHz");
                Diagnostic::error("correction-cover", message).in_file(source).help(
                    "measure the correction over the whole band, or cut the sweep; nothing is extrapolated",
                )
            });
        }
    }
    if problems.has_errors() {
        return problems.finish(Vec::new());
    }
    let sweeps = raw.iter().filter(|s| !s.quiet_room).map(|sweep| {
        let readings = sweep.readings.iter().filter_map(|r| reading(file, bench, r)).collect();
        Sweep {
            sample: sweep.sample.clone(),
            mount: sweep.mount.clone(),
            link: sweep.link.clone(),
            repeat: sweep.repeat.clone(),
            taken: sweep.taken.clone(),
            minute: sweep.minute,
            readings,
            source: sweep.source.clone(),
        }
    });
    let sweeps = sweeps.collect();
    problems.finish(sweeps)
}

/// What has to be added to a generator level to get the incident power at the tag, dB.
pub fn forward_db(file: &RawFile, bench: &Bench, freq_mhz: f64) -> Option<f64> {
    let distance_m = file.setup.distance_m?;
    Some(
        bench.gain_dbi.at(freq_mhz)?
            - bench.cable_db.at(freq_mhz)?
            - file.setup.polarisation_loss_db
            - free_space_loss_db(freq_mhz, distance_m),
    )
}

fn reading(file: &RawFile, bench: &Bench, raw: &RawReading) -> Option<Reading> {
    let f = raw.freq_mhz;
    let columns = &file.columns;
    let field = columns.threshold.as_ref().is_some_and(|c| c.unit == LevelUnit::VoltPerMetre);
    let forward = forward_db(file, bench, f);
    let transfer = bench.transfer_threshold_db.at(f)?;
    let half_step = 0.5 * file.setup.power_step_db.unwrap_or(0.0);
    let incident = if field { Some(0.0) } else { forward };
    let threshold_dbm = raw.threshold_dbm.and_then(|level| {
        let level = level.raised(incident? + transfer);
        Some(if level.exact().is_some() { level.raised(-half_step) } else { level })
    });
    // Taken at a stated level, or at the level that woke the tag.
    let backscatter_at_dbm = match (raw.reply_at_dbm, columns.reply_at.is_some()) {
        (Some(level), _) => forward.map(|db| level + db),
        (None, true) => None,
        (None, false) => raw.threshold_dbm.and_then(|level| Some(level.exact()? + incident?)),
    };
    let backscatter_db = raw.reply.and_then(|reply| match columns.reply.as_ref()?.unit {
        LevelUnit::Dbsm | LevelUnit::SquareMetre => {
            Some(delta_rcs_to_efficiency_db(f, reply, file.setup.delta_rcs?))
        }
        _ => {
            let distance_m = file.setup.receive_distance_m.or(file.setup.distance_m)?;
            let sent = reply + bench.receive_cable_db.at(f)? - bench.receive_gain_dbi.at(f)?
                + file.setup.polarisation_loss_db
                + free_space_loss_db(f, distance_m);
            Some(sent - backscatter_at_dbm?)
        }
    });
    let backscatter_db = match backscatter_db {
        Some(db) => Some(db + bench.transfer_backscatter_db.at(f)?),
        None => None,
    };
    Some(Reading { freq_mhz: f, threshold_dbm, backscatter_db, backscatter_at_dbm, at: raw.at })
}
