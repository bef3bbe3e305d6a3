//! Does a stated gain agree with the stated beamwidths?
//!
//!   D = 4π / ∫∫ g(φ, θ) cosθ dφ dθ
//!
//! with g the pattern of 3GPP TR 38.901 table 7.3-1 relative to its peak. A gain above D is impossible for
//! that pattern; a gain far below it means losses, or beamwidths that are not those of this antenna. The
//! model needs both numbers, so it is over-determined; this check says by how much.

use crate::passing::antenna_pattern::Pattern;
use serde::{Deserialize, Serialize};

/// Directivity and what it says about the gain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DirectivityCheck {
    /// Directivity of the pattern with these beamwidths, dBi.
    pub directivity_dbi: f64,
    /// Stated gain less directivity, dB: 0 is a lossless antenna.
    pub gain_over_directivity_db: f64,
    pub verdict: Verdict,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Consistent,
    /// More gain than the pattern can have.
    GainTooHigh,
    /// So little gain that the antenna would lose most of its power.
    GainTooLow,
}

/// Tolerance above the directivity, dB: data sheets round to half a dB and to five degrees.
const ABOVE_DB: f64 = 0.5;
/// A printed antenna this far below its directivity would be less than 32 % efficient.
const BELOW_DB: f64 = 5.0;

/// Directivity of the pattern, dBi, by the midpoint rule over the sphere in steps of 1° (error below 0.01
/// dB for beamwidths of 10° and more).
pub fn directivity_dbi(pattern: &Pattern) -> f64 {
    let relative = Pattern { gain_dbi: 0.0, ..*pattern };
    let step = std::f64::consts::PI / 180.0;
    let mut integral = 0.0;
    for row in 0..180 {
        let theta_deg = f64::from(row) - 89.5;
        let ring: f64 = (0..360)
            .map(|column| {
                crate::units::db_to_power_ratio(relative.gain_dbi(f64::from(column) - 179.5, theta_deg))
            })
            .sum();
        integral += ring * libm::cos(theta_deg * step);
    }
    crate::units::power_ratio_to_db(4.0 * std::f64::consts::PI / (integral * step * step))
}

pub fn check(pattern: &Pattern) -> DirectivityCheck {
    let directivity = directivity_dbi(pattern);
    let over = pattern.gain_dbi - directivity;
    let verdict = if over > ABOVE_DB {
        Verdict::GainTooHigh
    } else if over < -BELOW_DB {
        Verdict::GainTooLow
    } else {
        Verdict::Consistent
    };
    DirectivityCheck { directivity_dbi: directivity, gain_over_directivity_db: over, verdict }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pattern(gain_dbi: f64, beamwidth_deg: f64, front_to_back_db: f64) -> Pattern {
        Pattern {
            gain_dbi,
            horizontal_beamwidth_deg: beamwidth_deg,
            vertical_beamwidth_deg: beamwidth_deg,
            front_to_back_db,
        }
    }

    /// Source: 3GPP TR 38.901 table 7.3-1 (65°, 65°, 30 dB), integrated apart from this code by a midpoint
    /// rule of 0.5° in Python 3.11: 9.83 dBi. Tolerance: half of the last digit.
    #[test]
    fn val_directivity_of_the_3gpp_pattern() {
        assert!((directivity_dbi(&pattern(8.0, 65.0, 30.0)) - 9.83).abs() < 0.005);
    }

    /// Source: closed form: no front-to-back ratio means an isotropic pattern, 0 dBi. Tolerance: 0.001 dB
    /// (midpoint rule).
    #[test]
    fn val_directivity_of_an_isotropic_pattern() {
        assert!(directivity_dbi(&pattern(3.0, 65.0, 0.0)).abs() < 1e-3);
    }

    #[test]
    fn a_gain_above_the_directivity_is_called_out() {
        assert_eq!(check(&pattern(8.0, 65.0, 30.0)).verdict, Verdict::Consistent);
        assert_eq!(check(&pattern(12.0, 65.0, 30.0)).verdict, Verdict::GainTooHigh);
        assert_eq!(check(&pattern(0.0, 65.0, 30.0)).verdict, Verdict::GainTooLow);
    }
}
