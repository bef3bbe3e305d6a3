//! Screening distances: how far a person who stays should keep from an antenna that is on.
//!
//! Far field of one antenna at full power all the time:
//!
//!   S = EIRP / (4π d²)  so  d = √(EIRP / (4π S_limit))
//!
//! A reflection from the ground may raise the field by up to 1.6, which multiplies the distance by 1.6.
//! Limits for the general public, whole body, averaged over 30 min: ICNIRP 2020 table 5, S = f/200 W/m² for
//! 400 to 2000 MHz (second-hand and from memory); FCC 47 CFR 1.1310, S = f/1500 mW/cm² = f/150 W/m² for 300
//! to 1500 MHz; f in MHz. Ground factor: OET Bulletin 65 (from memory).
//!
//! Known weakness: these distances often lie in the near field, where the formula is only a guide; antennas
//! side by side add up; a reader that serves its ports in turn radiates less on average. So this is a
//! screening value, not an assessment.

use serde::{Deserialize, Serialize};

/// Field factor of a reflecting ground. Source: OET Bulletin 65, from memory.
pub const GROUND_FIELD_FACTOR: f64 = 1.6;

/// Screening distances of one antenna, m.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    pub icnirp_m: f64,
    pub icnirp_with_ground_m: f64,
    pub fcc_m: f64,
    pub fcc_with_ground_m: f64,
    /// The largest of them.
    pub screening_m: f64,
}

/// ICNIRP 2020 whole-body reference level for the general public, W/m²; 400 to 2000 MHz.
pub fn icnirp_w_m2(freq_mhz: f64) -> f64 {
    freq_mhz / 200.0
}

/// FCC general-population limit, W/m²; 300 to 1500 MHz.
pub fn fcc_w_m2(freq_mhz: f64) -> f64 {
    freq_mhz / 150.0
}

/// Distance at which a source of `eirp_dbm` falls to `limit_w_m2`, m.
pub fn distance_m(eirp_dbm: f64, limit_w_m2: f64) -> f64 {
    let eirp_w = crate::units::db_to_power_ratio(eirp_dbm) * 1e-3;
    (eirp_w / (4.0 * std::f64::consts::PI * limit_w_m2)).sqrt()
}

/// Screening distances at the lowest frequency in use, where the limits are strictest.
pub fn screen(eirp_dbm: f64, lowest_mhz: f64) -> Exposure {
    let icnirp_m = distance_m(eirp_dbm, icnirp_w_m2(lowest_mhz));
    let fcc_m = distance_m(eirp_dbm, fcc_w_m2(lowest_mhz));
    let (icnirp_with_ground_m, fcc_with_ground_m) =
        (GROUND_FIELD_FACTOR * icnirp_m, GROUND_FIELD_FACTOR * fcc_m);
    Exposure {
        icnirp_m,
        icnirp_with_ground_m,
        fcc_m,
        fcc_with_ground_m,
        screening_m: icnirp_with_ground_m.max(fcc_with_ground_m),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: distances worked by hand from ICNIRP 2020 table 5 (f/200 W/m²) and 47 CFR 1.1310 (f/150
    /// W/m²), far field, with the factor 1.6 of OET Bulletin 65: 4 W EIRP at 915 MHz: 0.26377, 0.22843,
    /// 0.36549 m; 2 W ERP (3.28118 W EIRP) at 866.3 MHz: 0.24552, 0.21263, 0.34021 m; 4 W ERP (6.56236 W
    /// EIRP) at 917.5 MHz: 0.33739, 0.29219, 0.46751 m. Tolerance: half of the last digit.
    #[test]
    fn val_exposure_distances() {
        for (eirp_w, freq, icnirp, fcc, ground) in [
            (4.0_f64, 915.0, 0.26377, 0.22843, 0.36549),
            (3.28118, 866.3, 0.24552, 0.21263, 0.34021),
            (6.56236, 917.5, 0.33739, 0.29219, 0.46751),
        ] {
            let e = screen(10.0 * (eirp_w * 1e3).log10(), freq);
            for (got, printed) in [(e.icnirp_m, icnirp), (e.fcc_m, fcc), (e.fcc_with_ground_m, ground)] {
                assert!((got - printed).abs() < 6e-6, "{freq}: {got} {printed}");
            }
            assert!((e.screening_m - 1.6 * e.icnirp_m).abs() < 1e-12);
        }
    }

    /// Source: ICNIRP 2020 table 5 at 915 MHz 4.575 W/m²; 47 CFR 1.1310 at 915 MHz 6.100 W/m²; 4 W EIRP at
    /// 3 m 0.035368 W/m² (worked by hand). Tolerance: half of the last digit.
    #[test]
    fn val_reference_levels() {
        assert!((icnirp_w_m2(915.0) - 4.575).abs() < 5e-4);
        assert!((fcc_w_m2(915.0) - 6.100).abs() < 5e-4);
        assert!((distance_m(10.0 * 4000.0_f64.log10(), 0.035_368) - 3.0).abs() < 5e-5);
    }
}
