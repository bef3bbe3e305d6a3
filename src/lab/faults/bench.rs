//! Faults of the bench itself: the empty room, the distance, the highest power.

use super::Finding;
use crate::lab::raw_file::RawFile;
use crate::lab::raw_parse::RawSweep;
use crate::lab::refer::far_field_m;

/// A reply less than this above the empty room is raised by it, dB (10 dB: by up to 0.4 dB).
const MIN_ABOVE_NOISE_DB: f64 = 10.0;

/// Replies that do not stand clear of what the analyser reads with the tag removed.
pub fn quiet_room(raw: &[RawSweep], quiet: &[RawSweep]) -> Vec<Finding> {
    let mut noise: Vec<(f64, f64)> =
        quiet.iter().flat_map(|s| s.readings.iter().filter_map(|r| Some((r.freq_mhz, r.reply?)))).collect();
    noise.sort_by(|a, b| a.0.total_cmp(&b.0));
    if noise.is_empty() {
        return Vec::new();
    }
    let nearest = |freq: f64| {
        let right = noise.partition_point(|n| n.0 < freq).min(noise.len() - 1);
        let left = right.saturating_sub(1);
        if (freq - noise[left].0).abs() < (noise[right].0 - freq).abs() {
            noise[left].1
        } else {
            noise[right].1
        }
    };
    let mut found = Vec::new();
    for sweep in raw {
        let margins: Vec<(f64, f64)> = sweep
            .readings
            .iter()
            .filter_map(|r| Some((r.freq_mhz, r.reply? - nearest(r.freq_mhz))))
            .collect();
        let Some(least) = margins.iter().min_by(|a, b| a.1.total_cmp(&b.1)) else { continue };
        let low = margins.iter().filter(|m| m.1 < MIN_ABOVE_NOISE_DB).count();
        if low > 0 {
            found.push(Finding {
                kind: "quiet-room",
                serious: least.1 < 3.0,
                about: format!("sample {}, {}", sweep.sample, sweep.mount),
                words: format!(
                    "The reply stands less than {MIN_ABOVE_NOISE_DB} dB above the empty room at {low} of {} frequencies, {:.1} dB at {} MHz. What is read there is partly the room.",
                    margins.len(), least.1, least.0,
                ),
                number: least.1,
                unit: "dB",
            });
        }
    }
    found
}

/// A tag nearer than the far field of the antenna.
pub fn near_field(file: &RawFile, highest_mhz: f64) -> Option<Finding> {
    let (distance, largest) = (file.setup.distance_m?, file.setup.antenna_largest_dimension_m?);
    let least = far_field_m(highest_mhz, largest);
    (distance < least).then(|| Finding {
        kind: "near-field",
        serious: false,
        about: "set-up".to_owned(),
        words: format!(
            "The tag stands {distance} m from an antenna {largest} m across; the far field begins at 2D²/λ = {least:.2} m at {highest_mhz:.0} MHz. Free-space loss is an approximation nearer than that."
        ),
        number: least,
        unit: "m",
    })
}
