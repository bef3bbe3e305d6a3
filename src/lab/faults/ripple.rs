//! A reflector in the chamber: ripple over frequency that every sample of a mount shares.
//!
//! A wave that takes a way longer by Δ arrives in and out of step with the direct one as the frequency changes; the
//! level ripples with the period c/Δ. A reflection of relative amplitude ρ ripples by about ±20·log10(1 + ρ) dB.

use super::{Finding, MountSweeps, odds_in_words};
use crate::lab::stat::ripple::{Ripple, Shape, shape, strongest_ripple, usable_paths_m};

/// Degree of the polynomial taken for the tag's own curve.
const DEGREE: usize = 5;
/// A ripple counts from these odds against chance and this amplitude on.
const MAX_ODDS: f64 = 1e-3;
const MIN_AMPLITUDE_DB: f64 = 0.15;
/// A polynomial of degree 5 follows half periods down to a fifth of the span or so: shorter extra ways belong to it.
const LEAST_PERIODS: f64 = 3.5;

/// Longest extra way looked for, m: longer than any chamber or cable run. Dense sweeps could show more, at a price in time.
const LONGEST_WAY_M: f64 = 100.0;

/// The strongest ripple of a mount, whether it counts or not, with the readings it was seen in.
pub struct Seen {
    pub ripple: Ripple,
    pub freq_mhz: Vec<f64>,
    pub shape: Shape,
}

/// `None` for sweeps too short or too coarse to look.
pub fn strongest(group: &MountSweeps<'_>) -> Option<Seen> {
    let (freq_mhz, threshold) = group.common_curve();
    let (shortest, longest) = usable_paths_m(&freq_mhz)?;
    // `usable_paths_m` starts at two periods in the span.
    let (shortest, longest) = (shortest * LEAST_PERIODS / 2.0, longest.min(LONGEST_WAY_M));
    if shortest >= longest {
        return None;
    }
    let found = strongest_ripple(&freq_mhz, &threshold, DEGREE, shortest, longest)?;
    let shape = shape(&freq_mhz, &threshold, DEGREE, found.path_difference_m)?;
    Some(Seen { ripple: found, freq_mhz, shape })
}

/// Whether it counts as a finding: hardly by chance, and large enough to matter.
pub fn counts(ripple: &Ripple) -> bool {
    ripple.false_alarm_odds < MAX_ODDS && ripple.amplitude >= MIN_AMPLITUDE_DB
}

pub fn ripple(group: &MountSweeps<'_>) -> Option<Finding> {
    let found = strongest(group)?.ripple;
    if !counts(&found) {
        return None;
    }
    let words = format!(
        "The threshold ripples by ±{:.1} dB with a period of {:.1} MHz. That is a reflection on a way {:.1} m longer than the direct one; the odds that chance shows it are {}. Look for a reflector about {:.1} m behind the tag or the antenna, or two whose ways differ by that much; a tag with a sharp or double resonance can look the same.",
        found.amplitude,
        found.period_mhz,
        found.path_difference_m,
        odds_in_words(found.false_alarm_odds),
        0.5 * found.path_difference_m,
    );
    Some(Finding {
        kind: "ripple",
        // A sharp resonance looks the same to a polynomial, so a ripple alone stops no study.
        serious: false,
        about: group.mount.to_string(),
        words,
        number: found.path_difference_m,
        unit: "m",
    })
}
