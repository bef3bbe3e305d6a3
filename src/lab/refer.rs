//! Link formulas of the chamber: from instrument levels to levels at the tag, and conversions of the usual quantities.
//!
//! Incident power at an isotropic point: P_iso = EIRP·(λ/4πd)², so the threshold is
//! generator − cable + antenna gain − free-space loss.
//! Field: S = E²/Z0 and P_iso = S·λ²/4π, so E = √(4π·Z0·P_iso)/λ.
//! Backscatter efficiency B = modulated backscatter EIRP over P_iso (the tag's gain counts twice in it), and
//! P_rx = EIRP·B·G_rx·(λ/4πd)⁴ with one antenna and distance both ways.
//! Delta radar cross-section: Δσ = B·λ²/4π when Δσ is G²λ²/(4π)·|Γ1 − Γ2|²/4. Some authors leave the quarter out:
//! their Δσ is four times (6.02 dB) larger for the same tag. A file must say which it means.
//! Sources: H. T. Friis, A Note on a Simple Transmission Formula, Proc. IRE 34(5), 1946; the quarter: N. Barbot's
//! published derivation of the delta-RCS of UHF tags; without it: P. V. Nikitin, K. V. S. Rao and R. D. Martinez,
//! Differential RCS of RFID tag, Electronics Letters 43(8), 2007, 431-432 (formula from memory).

use crate::units::{FREE_SPACE_IMPEDANCE_OHM, power_ratio_to_db, wavelength_m};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const FOUR_PI: f64 = 4.0 * std::f64::consts::PI;

/// Which delta radar cross-section a file means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DeltaRcsConvention {
    /// λ²G²/4π·|Γ1 − Γ2|²/4: the modulated power of both states about their mean.
    Quarter,
    /// λ²G²/4π·|Γ1 − Γ2|²: the squared vector difference of the states.
    Full,
}

impl DeltaRcsConvention {
    /// What has to be taken off this convention's Δσ in dBsm to get the quarter convention's.
    pub fn above_quarter_db(self) -> f64 {
        match self {
            DeltaRcsConvention::Quarter => 0.0,
            DeltaRcsConvention::Full => power_ratio_to_db(4.0),
        }
    }
}

/// Area λ²/4π of an isotropic antenna in dB over 1 m².
pub fn isotropic_area_dbsm(freq_mhz: f64) -> f64 {
    let wavelength = wavelength_m(freq_mhz);
    power_ratio_to_db(wavelength * wavelength / FOUR_PI)
}

/// Field strength in V/m to isotropic power in dBm; field > 0.
pub fn field_to_isotropic_dbm(freq_mhz: f64, field_v_m: f64) -> f64 {
    power_ratio_to_db(field_v_m * field_v_m / FREE_SPACE_IMPEDANCE_OHM) + isotropic_area_dbsm(freq_mhz) + 30.0
}

/// Isotropic power in dBm to field strength in V/m.
pub fn isotropic_dbm_to_field(freq_mhz: f64, power_dbm: f64) -> f64 {
    let power_w = crate::units::dbm_to_watts(power_dbm);
    (FOUR_PI * FREE_SPACE_IMPEDANCE_OHM * power_w).sqrt() / wavelength_m(freq_mhz)
}

/// Backscatter efficiency in dB of a delta radar cross-section in dB over 1 m².
pub fn delta_rcs_to_efficiency_db(freq_mhz: f64, delta_rcs_dbsm: f64, convention: DeltaRcsConvention) -> f64 {
    delta_rcs_dbsm - convention.above_quarter_db() - isotropic_area_dbsm(freq_mhz)
}

/// Delta radar cross-section in dB over 1 m² of a backscatter efficiency in dB.
pub fn efficiency_to_delta_rcs_dbsm(
    freq_mhz: f64,
    efficiency_db: f64,
    convention: DeltaRcsConvention,
) -> f64 {
    efficiency_db + convention.above_quarter_db() + isotropic_area_dbsm(freq_mhz)
}

/// Distance 2D²/λ in m beyond which an antenna of largest dimension D counts as far away.
/// Source: IEEE Std 145-2013, IEEE Standard for Definitions of Terms for Antennas, `far-field region` (from memory).
pub fn far_field_m(freq_mhz: f64, largest_dimension_m: f64) -> f64 {
    2.0 * largest_dimension_m * largest_dimension_m / wavelength_m(freq_mhz)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{db_to_power_ratio, free_space_loss_db, watts_to_dbm};

    /// Source: Friis 1946 with c = 299 792 458 m/s and Z0 = 376.7303 Ω, worked by hand calculator: λ²/4π in dBsm, and
    /// the isotropic power of 1 V/m. Tolerance: half the last printed digit.
    #[test]
    fn val_isotropic_area_and_field() {
        assert!((isotropic_area_dbsm(866.3) + 20.209).abs() < 5e-4);
        assert!((isotropic_area_dbsm(915.0) + 20.684).abs() < 5e-4);
        for (freq, m2) in [(866.3, 0.00953004), (915.0, 0.00854259), (918.0, 0.00848684), (953.0, 0.00787491)]
        {
            assert!((db_to_power_ratio(isotropic_area_dbsm(freq)) - m2).abs() < 5e-9);
        }
        for (freq, dbm) in [(866.3, -15.9694), (915.0, -16.4444), (918.0, -16.4728), (953.0, -16.7978)] {
            assert!((field_to_isotropic_dbm(freq, 1.0) - dbm).abs() < 5e-5, "{freq}");
        }
    }

    /// Source: as above; threshold field E = √(4π·Z0·P)/λ. Tolerance: half the last printed digit.
    #[test]
    fn val_threshold_field() {
        for (dbm, lower, upper) in [
            (-24.0, 0.3967, 0.4190),
            (-22.0, 0.4994, 0.5275),
            (-20.0, 0.6287, 0.6641),
            (-18.0, 0.7915, 0.8360),
            (-15.0, 1.1181, 1.1809),
            (-10.0, 1.9882, 2.1000),
        ] {
            assert!((isotropic_dbm_to_field(866.3, dbm) - lower).abs() < 5e-5);
            assert!((isotropic_dbm_to_field(915.0, dbm) - upper).abs() < 5e-5);
            assert!((field_to_isotropic_dbm(915.0, isotropic_dbm_to_field(915.0, dbm)) - dbm).abs() < 1e-12);
        }
    }

    /// Source: Friis 1946, chamber examples: 10 dBm into 6 dBi, 1 m at 915 MHz and 3 m at 866.3 MHz.
    /// Tolerance: half the last printed digit; for the field 0.05 %, because the printed one is √(30·EIRP)/d, which
    /// rounds Z0/4π = 29.979 Ω to 30 Ω.
    #[test]
    fn val_chamber_examples() {
        for (freq, distance, dbm, field) in [(915.0, 1.0, -15.676, 1.0929), (866.3, 3.0, -24.744, 0.3643)] {
            let incident = 10.0 + 6.0 - free_space_loss_db(freq, distance);
            assert!((incident - dbm).abs() < 5e-4);
            assert!((isotropic_dbm_to_field(freq, incident) / field - 1.0).abs() < 5e-4);
        }
    }

    /// Source: radar equation P_rx = P_tx·G²·λ²·Δσ/((4π)³·d⁴), 4 W EIRP, 915 MHz, 5 m, 3 dB polarisation loss each way,
    /// B = −10 dB: Δσ = 8.5426 cm², P_iso −12.635 dBm, P_rx −65.291 dBm. Tolerance: half the last digit.
    #[test]
    fn val_full_chain() {
        let loss = free_space_loss_db(915.0, 5.0);
        let incident = watts_to_dbm(4.0) - 3.0 - loss;
        assert!((incident + 12.635).abs() < 5e-4);
        let received = incident - 10.0 - 3.0 - loss + 6.0;
        assert!((received + 65.291).abs() < 5e-4);
        let rcs = efficiency_to_delta_rcs_dbsm(915.0, -10.0, DeltaRcsConvention::Quarter);
        assert!((db_to_power_ratio(rcs) * 1e4 - 8.5426).abs() < 5e-5);
        assert!((delta_rcs_to_efficiency_db(915.0, rcs, DeltaRcsConvention::Quarter) + 10.0).abs() < 1e-12);
    }

    /// Source: half-wave tag (G = 1.64), Γ 0/−1 in the quarter convention: −22.408 dBsm, 57.44 cm² (N. Barbot's page
    /// prints −22 dBsm); isotropic tag −26.705 dBsm. Tolerance: half the last digit. The other convention: +6.02 dB.
    #[test]
    fn val_delta_rcs_conventions() {
        let half_wave = power_ratio_to_db(1.64 * 1.64 * 0.25);
        let quarter = efficiency_to_delta_rcs_dbsm(915.0, half_wave, DeltaRcsConvention::Quarter);
        assert!((quarter + 22.408).abs() < 5e-4 && (quarter + 22.0).abs() < 0.5);
        let isotropic =
            efficiency_to_delta_rcs_dbsm(915.0, power_ratio_to_db(0.25), DeltaRcsConvention::Quarter);
        assert!((isotropic + 26.705).abs() < 5e-4);
        let full = efficiency_to_delta_rcs_dbsm(915.0, half_wave, DeltaRcsConvention::Full);
        assert!((full - quarter - 6.02).abs() < 0.005);
    }

    /// Source: 2D²/λ at 915 MHz: 0.55 m for a 0.3 m panel, 6.1 m for a 1 m mat. Tolerance: half the last digit.
    #[test]
    fn val_far_field() {
        assert!((far_field_m(915.0, 0.3) - 0.55).abs() < 0.005);
        assert!((far_field_m(915.0, 1.0) - 6.1).abs() < 0.05);
    }
}
