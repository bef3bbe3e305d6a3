//! Levels, ratios and radiated powers, and the only place where `10·log10` is written.
//!
//! Newtypes stand only where a mix-up is silent and common: an absolute level against a ratio, and
//! conducted against radiated power (ERP and EIRP lie 2.15 dB apart). Lengths, angles, times and
//! frequencies are plain `f64` with the unit in the name.
//!
//! ERP is referred to a half-wave dipole: EIRP = ERP + 2.15 dB.
//! Source: the rounded dipole directivity 1.6406 (2.15 dB), common practice in radio rules; the exact
//! value is 1.64092 = 2.1509 dB (see `passing::dipole`).

use crate::numeric::elementary::exp;
use std::ops::{Add, Neg, Sub};

/// Speed of light in vacuum, m/s. Source: SI definition (BIPM, SI Brochure, 9th edition 2019, 2.2).
pub const SPEED_OF_LIGHT_M_S: f64 = 299_792_458.0;
/// Vacuum permittivity, F/m. Source: CODATA 2018.
pub const VACUUM_PERMITTIVITY_F_M: f64 = 8.854_187_812_8e-12;
/// Impedance of free space, ohm. Source: CODATA 2018 (376.730 313 668).
pub const FREE_SPACE_IMPEDANCE_OHM: f64 = 376.730_313_668;
/// Dipole referral of ERP, dB.
pub const ERP_TO_EIRP_DB: f64 = 2.15;

/// Power level in dB above one milliwatt.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Dbm(pub f64);

/// Ratio in dB.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Db(pub f64);

/// Power at an antenna connector, dBm.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Conducted(pub Dbm);

/// Effective radiated power (referred to a half-wave dipole), dBm.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Erp(pub Dbm);

/// Equivalent isotropically radiated power, dBm.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Eirp(pub Dbm);

impl Add<Db> for Dbm {
    type Output = Dbm;
    fn add(self, ratio: Db) -> Dbm {
        Dbm(self.0 + ratio.0)
    }
}
impl Sub<Db> for Dbm {
    type Output = Dbm;
    fn sub(self, ratio: Db) -> Dbm {
        Dbm(self.0 - ratio.0)
    }
}
impl Sub<Dbm> for Dbm {
    type Output = Db;
    fn sub(self, other: Dbm) -> Db {
        Db(self.0 - other.0)
    }
}
impl Add for Db {
    type Output = Db;
    fn add(self, other: Db) -> Db {
        Db(self.0 + other.0)
    }
}
impl Neg for Db {
    type Output = Db;
    fn neg(self) -> Db {
        Db(-self.0)
    }
}

impl Erp {
    pub fn to_eirp(self) -> Eirp {
        Eirp(self.0 + Db(ERP_TO_EIRP_DB))
    }
}
impl Eirp {
    pub fn to_erp(self) -> Erp {
        Erp(self.0 - Db(ERP_TO_EIRP_DB))
    }
    pub fn watts(self) -> f64 {
        dbm_to_watts(self.0.0)
    }
}
impl Conducted {
    /// Radiated power of an antenna of `gain_dbi` fed with this power.
    pub fn radiated_by(self, gain_dbi: f64) -> Eirp {
        Eirp(self.0 + Db(gain_dbi))
    }
}

/// Power ratio (linear, > 0) in dB.
pub fn power_ratio_to_db(ratio: f64) -> f64 {
    10.0 * libm::log10(ratio)
}
/// dB to linear power ratio.
pub fn db_to_power_ratio(db: f64) -> f64 {
    exp(db * (std::f64::consts::LN_10 / 10.0))
}
/// Amplitude ratio (linear, > 0) in dB.
pub fn amplitude_ratio_to_db(ratio: f64) -> f64 {
    20.0 * libm::log10(ratio)
}
/// dB to linear amplitude ratio.
#[inline(always)]
pub fn db_to_amplitude_ratio(db: f64) -> f64 {
    exp(db * (std::f64::consts::LN_10 / 20.0))
}
pub fn watts_to_dbm(watts: f64) -> f64 {
    power_ratio_to_db(watts) + 30.0
}
pub fn dbm_to_watts(dbm: f64) -> f64 {
    db_to_power_ratio(dbm - 30.0)
}
/// Free-space wavelength in metres of `freq_mhz` (> 0).
pub fn wavelength_m(freq_mhz: f64) -> f64 {
    SPEED_OF_LIGHT_M_S / (freq_mhz * 1e6)
}
/// Free-space wave number, rad/m.
pub fn wave_number_rad_m(freq_mhz: f64) -> f64 {
    2.0 * std::f64::consts::PI / wavelength_m(freq_mhz)
}
/// Free-space loss between isotropic antennas in dB, `20·log10(4πd/λ)`, distance > 0.
/// Source: H. T. Friis, A Note on a Simple Transmission Formula, Proc. IRE 34(5), 1946.
pub fn free_space_loss_db(freq_mhz: f64, distance_m: f64) -> f64 {
    amplitude_ratio_to_db(4.0 * std::f64::consts::PI * distance_m / wavelength_m(freq_mhz))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: H. T. Friis, Proc. IRE 34(5), 1946, evaluated with c = 299 792 458 m/s; table of
    /// 20·log10(4πd/λ) printed to 0.001 dB. Tolerance: half the last digit.
    #[test]
    fn val_free_space_loss() {
        for (freq_mhz, distance_m, loss_db) in
            [(850.0, 1.0, 31.036), (866.0, 2.0, 37.219), (915.0, 3.0, 41.219), (950.0, 10.0, 52.002)]
        {
            assert!((free_space_loss_db(freq_mhz, distance_m) - loss_db).abs() < 0.0005);
        }
    }

    /// Source: 2 W ERP = 35.160 dBm EIRP = 3.2812 W, 4 W ERP = 38.171 dBm EIRP = 6.5624 W; arithmetic on
    /// the 2.15 dB referral (common practice). Tolerance: half the last digit.
    #[test]
    fn val_erp_to_eirp() {
        for (erp_w, eirp_dbm, eirp_w) in [(2.0, 35.160, 3.2812), (4.0, 38.171, 6.5624), (0.5, 29.140, 0.8203)]
        {
            let eirp = Erp(Dbm(watts_to_dbm(erp_w))).to_eirp();
            assert!((eirp.0.0 - eirp_dbm).abs() < 0.0005);
            assert!((eirp.watts() - eirp_w).abs() < 0.00005);
            assert!((eirp.to_erp().0.0 - watts_to_dbm(erp_w)).abs() < 1e-12);
        }
    }
}
