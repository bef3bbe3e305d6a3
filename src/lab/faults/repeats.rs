//! Drift: what changed between the first and the last repeat of a sample in one mount.

use super::{Finding, MountSweeps};
use crate::lab::Sweep;
use crate::lab::stat::trend::first_to_last;

const MIN_DRIFT_DB: f64 = 0.3;
const SERIOUS_DB: f64 = 0.8;
const MAX_ODDS: f64 = 0.01;

/// Thresholds of two sweeps at the frequencies where both are exact.
pub fn common(first: &Sweep, last: &Sweep) -> (Vec<f64>, Vec<f64>) {
    let exact = |r: &crate::lab::Reading| r.threshold_dbm.and_then(|t| t.exact());
    let mut out = (Vec::new(), Vec::new());
    for r in &first.readings {
        let twin = last.readings.binary_search_by(|l| l.freq_mhz.total_cmp(&r.freq_mhz)).ok();
        if let (Some(a), Some(b)) = (exact(r), twin.and_then(|i| exact(&last.readings[i]))) {
            out.0.push(a);
            out.1.push(b);
        }
    }
    out
}

/// One finding per sample that changed, in the order the sweeps were read.
pub fn drift(group: &MountSweeps<'_>) -> Vec<Finding> {
    let mut samples: Vec<&str> = Vec::new();
    for sweep in &group.sweeps {
        if !samples.contains(&sweep.sample.as_str()) {
            samples.push(&sweep.sample);
        }
    }
    let of = |sample: &str| {
        let mut repeats = group.sweeps.iter().filter(|s| s.sample == sample);
        let first = repeats.next()?;
        let last = repeats.next_back()?;
        let (a, b) = common(first, last);
        let change = first_to_last(&a, &b)?;
        if !(change.p_value < MAX_ODDS && change.value.abs() >= MIN_DRIFT_DB) {
            return None;
        }
        let words = format!(
            "Sample {sample} reads {:+.1} dB in its last repeat ({}) against its first ({}), over {} frequencies. Something drifted: warm-up, a cable, the place of the tag. Repeat the session after it has settled.",
            change.value,
            last.repeat,
            first.repeat,
            a.len(),
        );
        Some(Finding {
            kind: "drift",
            serious: change.value.abs() >= SERIOUS_DB,
            about: group.mount.to_string(),
            words,
            number: change.value,
            unit: "dB",
        })
    };
    samples.into_iter().filter_map(of).collect()
}
