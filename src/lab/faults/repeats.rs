//! Drift: what changed between the first and the last repeat of a sample in one mount.

use super::{Finding, MountSweeps, odds_in_words};
use crate::lab::Sweep;
use crate::lab::stat::trend::first_to_last;

const MIN_DRIFT_DB: f64 = 0.3;
const SERIOUS_DB: f64 = 0.6;
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

/// Mean change over the samples of the mount, from the first repeat of each to its last.
pub fn drift(group: &MountSweeps<'_>) -> Option<Finding> {
    let mut samples: Vec<&str> = Vec::new();
    for sweep in &group.sweeps {
        if !samples.contains(&sweep.sample.as_str()) {
            samples.push(&sweep.sample);
        }
    }
    let pair = |sample: &str| {
        let mut repeats = group.sweeps.iter().filter(|s| s.sample == sample);
        let (first, last) = (repeats.next()?, repeats.next_back()?);
        let (a, b) = common(first, last);
        (!a.is_empty()).then_some((a, b))
    };
    let pairs: Vec<(Vec<f64>, Vec<f64>)> = samples.iter().filter_map(|s| pair(s)).collect();
    // Readings of one sweep hang together, because the sample was placed once: so samples are what is counted. With
    // one sample only its readings can be.
    let change = match &pairs[..] {
        [] => return None,
        [(first, last)] => first_to_last(first, last)?,
        many => {
            let mean = |v: &Vec<f64>| v.iter().sum::<f64>() / v.len() as f64;
            let (first, last): (Vec<f64>, Vec<f64>) = many.iter().map(|(a, b)| (mean(a), mean(b))).unzip();
            first_to_last(&first, &last)?
        }
    };
    if !(change.p_value < MAX_ODDS && change.value.abs() >= MIN_DRIFT_DB) {
        return None;
    }
    let words = format!(
        "The last repeat reads {:+.1} dB against the first, in {} of {} samples with repeats; the odds that chance shows it are {}. Something drifted: warm-up, a cable, the place of the tag. Repeat the session after it has settled.",
        change.value,
        pairs
            .iter()
            .filter(|(a, b)| (b.iter().sum::<f64>() - a.iter().sum::<f64>()) * change.value > 0.0)
            .count(),
        pairs.len(),
        odds_in_words(change.p_value),
    );
    Some(Finding {
        kind: "drift",
        serious: change.value.abs() >= SERIOUS_DB,
        about: group.mount.to_string(),
        words,
        number: change.value,
        unit: "dB",
    })
}
