//! Steps between segments: the level jumps where an instrument changes its range or a cable was touched.
//!
//! A resonance is smooth. In a window of a few readings around a boundary it is nearly a straight line, and what is
//! left of its curvature is alike on both sides; a jump is not.

use super::{Finding, MountSweeps, odds_in_words};
use crate::lab::stat::trend::step_at;

/// Readings on each side of a boundary.
const SIDE: usize = 6;
const MAX_ODDS: f64 = 1e-3;
const MIN_STEP_DB: f64 = 0.4;
const SERIOUS_DB: f64 = 1.0;

pub fn step(group: &MountSweeps<'_>) -> Option<Finding> {
    let (freq_mhz, threshold) = group.common_curve();
    let places = (freq_mhz.len() + 1).checked_sub(2 * SIDE).filter(|n| *n > 0)?;
    let best = (0..places)
        .filter_map(|start| {
            let window = start..start + 2 * SIDE;
            let boundary = 0.5 * (freq_mhz[start + SIDE - 1] + freq_mhz[start + SIDE]);
            let step = step_at(&freq_mhz[window.clone()], &threshold[window], boundary)?;
            Some((boundary, step))
        })
        .min_by(|a, b| a.1.p_value.total_cmp(&b.1.p_value))?;
    let (boundary, step) = best;
    let odds = (step.p_value * places as f64).min(1.0);
    if !(odds < MAX_ODDS && step.value.abs() >= MIN_STEP_DB) {
        return None;
    }
    let words = format!(
        "The threshold jumps by {:+.1} dB at {boundary:.0} MHz in all samples; the odds that chance shows it are {}. Look for a change of range, of segment or of cable there.",
        step.value,
        odds_in_words(odds),
    );
    Some(Finding {
        kind: "step",
        serious: step.value.abs() >= SERIOUS_DB,
        about: group.mount.to_string(),
        words,
        number: step.value,
        unit: "dB",
    })
}
