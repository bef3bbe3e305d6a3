//! What no passive tag can read: wrong units, and one sample's readings under two names.

use crate::diag::Diagnostic;
use crate::lab::Sweep;

/// Thresholds of a passive tag, boresight-equivalent isotropic, dBm: the best chips wake at about -25 dBm behind an antenna of 2 dBi; above +30
/// dBm nothing at the tag goes in a chamber. Our estimate, with room.
const THRESHOLD_DBM: (f64, f64) = (-35.0, 30.0);
/// Modulated backscatter over incident power, dB: at most the squared gain of the tag's antenna, 2 dBi for a half wave. Our estimate, with room.
const BACKSCATTER_DB: (f64, f64) = (-80.0, 8.0);
/// Most a threshold changes over one sweep, dB: 100 MHz away from a resonance of Q 100 it is 27 dB up. Our estimate, with room.
const SPAN_DB: f64 = 50.0;
/// Fewest equal readings that cannot be chance.
const EQUAL_READINGS: usize = 10;

/// One error per sweep whose readings no passive tag can give.
pub fn implausible(sweeps: &[Sweep]) -> Vec<Diagnostic> {
    sweeps.iter().filter_map(of_sweep).collect()
}

fn ends(values: impl Iterator<Item = (f64, f64, usize)>) -> Option<[(f64, f64, usize); 2]> {
    values.fold(None, |ends, v| match ends {
        None => Some([v, v]),
        Some([low, high]) => Some([if v.1 < low.1 { v } else { low }, if v.1 > high.1 { v } else { high }]),
    })
}

fn of_sweep(sweep: &Sweep) -> Option<Diagnostic> {
    let error = |(freq, _, at): (f64, f64, usize), message: String, help: &str| {
        let message = format!("sample {}, {}, {freq} MHz: {message}", sweep.sample, sweep.mount);
        Some(Diagnostic::error("tag-implausible", message).at(&sweep.source, at..at).help(help))
    };
    let woke = sweep.readings.iter().filter_map(|r| Some((r.freq_mhz, r.threshold_dbm?.exact()?, r.at)));
    if let Some([low, high]) = ends(woke) {
        let units = "a level in dBm at the tag is expected: is this column in mW, dBuV or at the generator?";
        let (min, max) = THRESHOLD_DBM;
        if low.1 < min || high.1 > max {
            let out = if low.1 < min { low } else { high };
            return error(
                out,
                format!("a threshold of {:.1} dBm; passive tags lie within {min} to {max} dBm", out.1),
                units,
            );
        }
        if high.1 - low.1 > SPAN_DB {
            let said = format!(
                "the threshold changes by {:.0} dB over the sweep; a tag stays within {SPAN_DB} dB",
                high.1 - low.1
            );
            return error(high, said, "milliwatts read as dBm look like this: name the unit of the column");
        }
    }
    let heard = sweep.readings.iter().filter_map(|r| Some((r.freq_mhz, r.backscatter_db?, r.at)));
    let [low, high] = ends(heard)?;
    let (min, max) = BACKSCATTER_DB;
    if low.1 >= min && high.1 <= max {
        return None;
    }
    let out = if high.1 > max { high } else { low };
    error(
        out,
        format!("a backscatter efficiency of {:.1} dB; passive tags lie within {min} to {max} dB", out.1),
        "a tag without a battery sends back less than it takes, but for the gain of its antenna: look at cable, gain and distance of the receive side",
    )
}

/// Sweeps of two samples in one mount that agree to the last digit: one file under two names.
pub fn copies(sweeps: &[Sweep]) -> Vec<Diagnostic> {
    let key = |s: &Sweep| -> Vec<(u64, u64)> {
        let exact = s.readings.iter().filter_map(|r| Some((r.freq_mhz, r.threshold_dbm?.exact()?)));
        exact.map(|(f, v)| (f.to_bits(), v.to_bits())).collect()
    };
    let keys: Vec<Vec<(u64, u64)>> = sweeps.iter().map(key).collect();
    let tells = |k: &[(u64, u64)]| {
        let mut levels: Vec<u64> = k.iter().map(|(_, v)| *v).collect();
        levels.sort_unstable();
        levels.dedup();
        levels.len() >= EQUAL_READINGS
    };
    let mut seen: std::collections::HashMap<&[(u64, u64)], usize> = std::collections::HashMap::new();
    let mut out = Vec::new();
    for (i, sweep) in sweeps.iter().enumerate().filter(|(i, _)| tells(&keys[*i])) {
        let first = *seen.entry(&keys[i]).or_insert(i);
        let other = &sweeps[first];
        if other.sample != sweep.sample {
            let message = format!(
                "samples {} ({}) and {} ({}) have the same {} thresholds to the last digit",
                other.sample,
                other.mount,
                sweep.sample,
                sweep.mount,
                keys[i].len()
            );
            out.push(Diagnostic::error("tag-copies", message).in_file(&sweep.source).help(
                "one file was saved under two names: two samples never read alike; put the right file in its place",
            ));
        }
    }
    out
}
