//! Curves over frequency: mean over a band, and where two curves cross.
//!
//! Between readings a curve is taken as straight. A crossing is clear only if on both sides of it, before the next
//! one, the difference somewhere exceeds its uncertainty; otherwise the curves merely touch.

use serde::{Deserialize, Serialize};

/// Mean of the curve over `low..=high`; `None` if it does not cover the band, has fewer than two points, or its
/// frequencies do not increase. Values in dB are averaged in dB.
pub fn band_mean(freq_mhz: &[f64], values: &[f64], low: f64, high: f64) -> Option<f64> {
    if !increasing(freq_mhz, values) || !(high >= low) {
        return None;
    }
    if freq_mhz[0] > low || freq_mhz[freq_mhz.len() - 1] < high {
        return None;
    }
    if high == low {
        return Some(interpolate(freq_mhz, values, low));
    }
    let mut area = 0.0;
    for i in 1..freq_mhz.len() {
        let (a, b) = (freq_mhz[i - 1].max(low), freq_mhz[i].min(high));
        if b > a {
            let ends = interpolate(freq_mhz, values, a) + interpolate(freq_mhz, values, b);
            area += 0.5 * ends * (b - a);
        }
    }
    Some(area / (high - low))
}

fn increasing(freq_mhz: &[f64], values: &[f64]) -> bool {
    freq_mhz.len() == values.len()
        && freq_mhz.len() >= 2
        && freq_mhz.windows(2).all(|w| w[0] < w[1])
        && values.iter().all(|v| v.is_finite())
}

/// Straight line between neighbours; `at` inside the range.
fn interpolate(x: &[f64], y: &[f64], at: f64) -> f64 {
    let i = x.partition_point(|&v| v < at).clamp(1, x.len() - 1);
    y[i - 1] + (at - x[i - 1]) / (x[i] - x[i - 1]) * (y[i] - y[i - 1])
}

/// Where the difference of two curves changes sign.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    pub freq_mhz: f64,
    /// Whether the first curve is the lower one below this frequency.
    pub first_lower_before: bool,
    /// Whether both sides hold a difference larger than its uncertainty.
    pub clear: bool,
}

/// Crossings of two curves from their `difference` (first − second) at increasing frequencies, with the `half_width` of its
/// interval at each. Empty if lengths do not match or frequencies do not increase.
pub fn crossings(freq_mhz: &[f64], difference: &[f64], half_width: &[f64]) -> Vec<Crossing> {
    if !increasing(freq_mhz, difference) || half_width.len() != difference.len() {
        return Vec::new();
    }
    // Readings that are exactly equal belong to neither side.
    let signed: Vec<usize> = (0..difference.len()).filter(|&i| difference[i] != 0.0).collect();
    let mut found = Vec::new();
    let mut side_is_clear = Vec::new();
    let mut clear = false;
    for (place, &i) in signed.iter().enumerate() {
        if place > 0 {
            let j = signed[place - 1];
            if (difference[i] > 0.0) != (difference[j] > 0.0) {
                let freq = if i == j + 1 {
                    freq_mhz[j]
                        + difference[j] / (difference[j] - difference[i]) * (freq_mhz[i] - freq_mhz[j])
                } else {
                    0.5 * (freq_mhz[j + 1] + freq_mhz[i - 1])
                };
                found.push((freq, difference[j] < 0.0));
                side_is_clear.push(clear);
                clear = false;
            }
        }
        clear |= difference[i].abs() > half_width[i];
    }
    side_is_clear.push(clear);
    found
        .into_iter()
        .enumerate()
        .map(|(k, (freq_mhz, first_lower_before))| Crossing {
            freq_mhz,
            first_lower_before,
            clear: side_is_clear[k] && side_is_clear[k + 1],
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn band_mean_cuts_the_ends() {
        let (f, v) = ([860.0, 880.0, 900.0], [0.0, 2.0, 0.0]);
        assert_eq!(band_mean(&f, &v, 860.0, 900.0), Some(1.0));
        // 870 to 880: 1 to 2.
        assert_eq!(band_mean(&f, &v, 870.0, 880.0), Some(1.5));
        assert_eq!(band_mean(&f, &v, 865.0, 865.0), Some(0.5));
        assert_eq!(band_mean(&f, &v, 850.0, 900.0), None);
        assert_eq!(band_mean(&[860.0, 860.0], &[1.0, 1.0], 860.0, 860.0), None);
        assert_eq!(band_mean(&f, &[0.0, f64::NAN, 0.0], 860.0, 900.0), None);
    }

    #[test]
    fn a_crossing_within_the_noise_is_not_clear() {
        let f = [860.0, 870.0, 880.0, 890.0, 900.0];
        let d = [-2.0, -0.5, 0.5, -0.1, 3.0];
        let found = crossings(&f, &d, &[1.0; 5]);
        let freqs: Vec<f64> = found.iter().map(|c| c.freq_mhz).collect();
        assert_eq!(freqs.len(), 3);
        assert!((freqs[0] - 875.0).abs() < 1e-12 && (freqs[2] - (890.0 + 10.0 * 0.1 / 3.1)).abs() < 1e-12);
        assert!(
            found.iter().all(|c| !c.clear) && found[0].first_lower_before && !found[1].first_lower_before
        );
        let clean = crossings(&f, &[-2.0, -1.5, 0.0, 0.0, 3.0], &[1.0; 5]);
        assert_eq!(clean, [Crossing { freq_mhz: 885.0, first_lower_before: true, clear: true }]);
        assert!(crossings(&f, &[1.0; 5], &[0.1; 5]).is_empty());
    }
}
