//! Radiated power of one antenna against the regional limit.
//!
//!   EIRP = conducted power + gain;  ERP = EIRP − 2.15 dB
//!
//! A conducted limit holds up to a stated antenna gain and falls dB for dB above it (47 CFR 15.247 (b)(4)).
//! It is held against two places: what the reader puts out, and what reaches the antenna after the cable.
//! Gain counts over both polarisations; rules that measure one linear polarisation may be up to 3 dB kinder
//! to circular antennas (from memory), so this check errs on the strict side.

use super::antenna::Antenna;
use super::region::PowerLimit;
use super::{Course, Placed};
use crate::units::ERP_TO_EIRP_DB;
use serde::{Deserialize, Serialize};

/// Rounding slack of a limit given in watts, dB.
const SLACK_DB: f64 = 1e-6;

/// One antenna's power beside the limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PowerCheck {
    /// Power at the antenna's connector, dBm.
    pub conducted_dbm: f64,
    pub eirp_dbm: f64,
    pub erp_dbm: f64,
    /// Most power at the antenna's connector that this gain allows, dBm.
    pub most_conducted_dbm: f64,
    /// Room below the limit, dB; negative: above it.
    pub room_db: f64,
    /// Setting of the reader that would just be legal with this cable and gain, dBm.
    pub most_setting_dbm: f64,
    pub legal: bool,
}

/// Most power at an antenna's connector, dBm, for an antenna of `gain_dbi`.
pub fn most_conducted_dbm(limit: PowerLimit, gain_dbi: f64) -> f64 {
    match limit {
        PowerLimit::Conducted { power_dbm, up_to_gain_dbi } => {
            power_dbm - (gain_dbi - up_to_gain_dbi).max(0.0)
        }
        PowerLimit::Erp { power_dbm } => power_dbm + ERP_TO_EIRP_DB - gain_dbi,
        PowerLimit::Eirp { power_dbm } => power_dbm - gain_dbi,
    }
}

/// Checks one antenna as it is set.
pub fn check(antenna: &Antenna, limit: PowerLimit) -> PowerCheck {
    let conducted_dbm = antenna.port_power_dbm();
    let eirp_dbm = conducted_dbm + antenna.gain_dbi;
    let most = most_conducted_dbm(limit, antenna.gain_dbi);
    // What the reader puts out may not pass a conducted limit either, however lossy the cable.
    let most_setting_dbm = match limit {
        PowerLimit::Conducted { power_dbm, .. } => (most + antenna.cable_loss_db).min(power_dbm),
        PowerLimit::Erp { .. } | PowerLimit::Eirp { .. } => most + antenna.cable_loss_db,
    };
    let room_db = most_setting_dbm - antenna.power_dbm;
    PowerCheck {
        conducted_dbm,
        eirp_dbm,
        erp_dbm: eirp_dbm - ERP_TO_EIRP_DB,
        most_conducted_dbm: most,
        room_db,
        most_setting_dbm,
        legal: room_db >= -SLACK_DB,
    }
}

/// Every antenna of a course set above what its region allows, in a sentence each that says what would be lawful.
pub fn unlawful(course: &Course) -> Vec<String> {
    let words = |at: Placed| {
        let found = check(at.antenna, course.region.limit);
        let place = [&at.point.name, &at.line.name, &at.reader.name, &at.antenna.name];
        let place = place.map(String::as_str).join(" / ");
        (!found.legal).then(|| format!("{place}: {}", excess(at.antenna, &found, &course.region.name)))
    };
    course.antennas().filter_map(words).collect()
}

/// By how much an antenna is over the limit, and the setting that would be lawful.
pub fn excess(antenna: &Antenna, found: &PowerCheck, region: &str) -> String {
    format!(
        "power_dbm = {} is {:.2} dB above what {region} allows with {} dBi and {} dB of cable: set it to {:.2} dBm or less",
        antenna.power_dbm,
        -found.room_db,
        antenna.gain_dbi,
        antenna.cable_loss_db,
        // Down to a hundredth, so that the setting named is lawful itself.
        (found.most_setting_dbm * 100.0 + 1e-9).floor() / 100.0
    )
}

/// The limit in words.
pub fn limit_in_words(limit: PowerLimit) -> String {
    match limit {
        PowerLimit::Conducted { power_dbm, up_to_gain_dbi } => {
            format!(
                "{power_dbm:.2} dBm conducted up to {up_to_gain_dbi} dBi, less 1 dB for each dB of gain above"
            )
        }
        PowerLimit::Erp { power_dbm } => {
            format!("{power_dbm:.2} dBm ERP ({:.2} dBm EIRP)", power_dbm + ERP_TO_EIRP_DB)
        }
        PowerLimit::Eirp { power_dbm } => format!("{power_dbm:.2} dBm EIRP"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::region::Region;
    use crate::course::region_table::ROWS;

    fn limit_of(key: &str) -> PowerLimit {
        Region::from(ROWS.iter().find(|r| r.key == key).expect("row")).limit
    }

    /// Source: 47 CFR 15.247 (b)(2), (b)(4), text of 2005: 1 W up to 6 dBi, above it reduced dB for dB.
    /// Worked by hand: gain 3, 6, 8, 9, 12 dBi gives 30, 30, 28, 27, 24 dBm conducted and 33, 36, 36, 36,
    /// 36 dBm EIRP. Tolerance: 1e-9 dB.
    #[test]
    fn val_fcc_gain_reduction() {
        for (gain, conducted, eirp) in
            [(3.0, 30.0, 33.0), (6.0, 30.0, 36.0), (8.0, 28.0, 36.0), (9.0, 27.0, 36.0), (12.0, 24.0, 36.0)]
        {
            let most = most_conducted_dbm(limit_of("usa"), gain);
            assert!((most - conducted).abs() < 1e-9 && (most + gain - eirp).abs() < 1e-9, "{gain}: {most}");
        }
    }

    /// Source: ERC/REC 70-03 Annex 11 band a (2 W ERP) and b (4 W ERP), half-wave dipole referral 2.15 dB:
    /// 35.160 and 38.171 dBm EIRP; G.S.R. 168(E), 2005: 1 W conducted reaches 4 W ERP with 8.17 dBi.
    /// Tolerance: half of the last digit printed.
    #[test]
    fn val_erp_limits() {
        assert!((most_conducted_dbm(limit_of("eu_lower"), 0.0) - 35.160).abs() < 0.0005);
        assert!((most_conducted_dbm(limit_of("eu_upper"), 0.0) - 38.171).abs() < 0.0005);
        assert!((most_conducted_dbm(limit_of("india"), 8.17) - 30.0).abs() < 0.005);
    }

    #[test]
    fn the_edge_is_legal_and_a_hair_more_is_not() {
        let text = |power: f64, gain: f64, key: &str| {
            format!(
                "tag = \"t\"\nevent = {{ name = \"a\" }}\nregion = {{ key = \"{key}\" }}\nweather = {{ key = \"dry\" }}\n\
                 field = {{ runners = 9 }}\n[[point]]\nname = \"p\"\nfinish = true\nflow_per_min = 1\n[[point.line]]\n\
                 [[point.line.reader]]\nantenna = [{{ kind = \"mat\", y_m = 0, power_dbm = {power}, gain_dbi = {gain}, cable_loss_db = 1 }}]\n"
            )
        };
        let checked = |power: f64, gain: f64, key: &str| {
            let (course, _) =
                crate::course::from_text("t", &text(power, gain, key), std::path::Path::new(""))
                    .expect("valid");
            check(&course.points[0].lines[0].readers[0].antennas[0], course.region.limit)
        };
        assert!(checked(29.0, 8.0, "usa").legal);
        assert!(!checked(29.01, 8.0, "usa").legal);
        // A lossy cable does not lift the reader's own limit.
        assert!(checked(30.0, 2.0, "usa").legal && !checked(30.5, 2.0, "usa").legal);
        let eu = checked(30.0, 5.0, "eu_lower");
        assert!((eu.eirp_dbm - 34.0).abs() < 1e-12 && (eu.erp_dbm - 31.85).abs() < 1e-12 && eu.legal);
        assert!((eu.room_db - 1.160_3).abs() < 1e-4 && (eu.most_setting_dbm - 31.160_3).abs() < 1e-4);
    }
}
