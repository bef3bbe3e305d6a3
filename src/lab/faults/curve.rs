//! Curves that cannot be what their file says: a sign turned round, files swapped.

use super::{Finding, MountSweeps};
use crate::lab::{Level, Sweep};

/// A tag's free-air threshold above this is not believed, dBm. Source: passive tags wake between about −24 and −10 dBm
/// in free air (common practice).
const BELIEVED_FREE_AIR_DBM: f64 = 3.0;
/// Backscatter above this is not believed, dB: a half-wave tag that switches between ±1 reaches +4.3 dB.
/// Source: G²/4·|Γ1 − Γ2|² with G = 1.64 and |Γ1 − Γ2| = 2.
const BELIEVED_BACKSCATTER_DB: f64 = 5.0;
/// A closer mount that reads better than a wider one by this much at nearly all frequencies looks swapped, dB.
const MIN_BEATS_DB: f64 = 1.0;
const SHARE_OF_FREQUENCIES: f64 = 0.9;

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (n > 0).then(|| 0.5 * (values[(n - 1) / 2] + values[n / 2]))
}

/// Thresholds or backscatter of the wrong sign.
pub fn reversed(group: &MountSweeps<'_>) -> Vec<Finding> {
    let readings = || group.sweeps.iter().flat_map(|s| s.readings.iter());
    let mut found = Vec::new();
    let exact = readings().filter_map(|r| r.threshold_dbm.and_then(Level::exact)).collect();
    if let Some(level) = median(exact)
        && group.mount.gap_mm().is_none()
        && level > BELIEVED_FREE_AIR_DBM
    {
        found.push(Finding {
            kind: "reversed-sign",
            serious: true,
            about: group.mount.to_string(),
            words: format!(
                "The middle free-air threshold is {level:+.1} dBm; tags wake between about −24 and −10 dBm there. Look for a reversed sign, a missing cable loss or a wrong unit."
            ),
            number: level,
            unit: "dBm",
        });
    }
    if let Some(level) = median(readings().filter_map(|r| r.backscatter_db).collect())
        && level > BELIEVED_BACKSCATTER_DB
    {
        found.push(Finding {
            kind: "reversed-sign",
            serious: true,
            about: group.mount.to_string(),
            words: format!(
                "The middle backscatter efficiency is {level:+.1} dB; a half-wave tag cannot exceed +4.3 dB. Look for a reversed sign or a wrong correction."
            ),
            number: level,
            unit: "dB",
        });
    }
    found
}

/// A closer mount that reads better than a wider one: swapped files, or a tag tuned to the body.
pub fn beats_free_air(groups: &[MountSweeps<'_>]) -> Vec<Finding> {
    let gap = |g: &MountSweeps<'_>| g.mount.gap_mm().unwrap_or(f64::INFINITY);
    let mut found = Vec::new();
    for close in groups {
        let wider = groups
            .iter()
            .filter(|w| w.link == close.link && gap(w) > gap(close))
            .min_by(|a, b| gap(a).total_cmp(&gap(b)));
        let Some(wide) = wider else { continue };
        for sweep in &close.sweeps {
            let twin = wide.sweeps.iter().find(|s| s.sample == sweep.sample && s.repeat == sweep.repeat);
            found.extend(twin.and_then(|twin| beats(close, sweep, wide, twin)));
        }
    }
    found
}

fn beats(close: &MountSweeps<'_>, sweep: &Sweep, wide: &MountSweeps<'_>, twin: &Sweep) -> Option<Finding> {
    let (near, far) = super::repeats::common(sweep, twin);
    let gains: Vec<f64> = near.iter().zip(&far).map(|(n, f)| f - n).collect();
    let better = gains.iter().filter(|g| **g > 0.0).count();
    let (count, middle) = (gains.len(), median(gains)?);
    if middle < MIN_BEATS_DB || (better as f64) < SHARE_OF_FREQUENCIES * count as f64 {
        return None;
    }
    let words = format!(
        "Sample {} wakes {middle:.1} dB earlier at {} than at {}, at {better} of {count} frequencies. A body takes power away: the files look swapped, unless this tag is tuned to the body.",
        sweep.sample, close.mount, wide.mount,
    );
    let about = format!("{} against {}", close.mount, wide.mount);
    Some(Finding { kind: "beats-free-air", serious: true, about, words, number: middle, unit: "dB" })
}
