//! The regional rules as rows of data. Every row says where it comes from and how sure we are.
//!
//! Rules change; a row is a starting point for planning, never legal advice. The local regulator prevails.

use super::region::{Hopping, PowerLimit};

/// How we know a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Certainty {
    /// Its main numbers were seen in the document, or in a copy or table of it.
    Seen,
    /// Its main numbers were seen in a secondary text only.
    SecondHand,
    /// At least one number that matters is from memory or assumed; check before use.
    Partly,
    /// The user's own.
    Own,
}

impl Certainty {
    pub fn words(self) -> &'static str {
        match self {
            Certainty::Seen => "seen in the source",
            Certainty::SecondHand => "second-hand",
            Certainty::Partly => "partly from memory, check before use",
            Certainty::Own => "set in the scenario",
        }
    }
}

/// Evenly spaced channel centres.
#[derive(Clone, Copy, Debug)]
pub struct Grid {
    pub first_mhz: f64,
    pub step_mhz: f64,
    pub count: u32,
}

impl Grid {
    pub fn channels_mhz(self) -> impl Iterator<Item = f64> {
        // Rounded to 1 Hz, so that 902.75 + 3 * 0.1 does not show its binary tail.
        (0..self.count).map(move |k| ((self.first_mhz + f64::from(k) * self.step_mhz) * 1e6).round() / 1e6)
    }
}

const fn grid(first_mhz: f64, step_mhz: f64, count: u32) -> Grid {
    Grid { first_mhz, step_mhz, count }
}

#[derive(Clone, Copy, Debug)]
pub struct Row {
    pub key: &'static str,
    pub name: &'static str,
    pub bands_mhz: &'static [(f64, f64)],
    pub channels: &'static [Grid],
    pub hopping: Hopping,
    pub dwell_s: f64,
    pub limit: PowerLimit,
    pub source: &'static str,
    pub certainty: Certainty,
}

const WATT_1: f64 = 30.0;
const WATT_2: f64 = 33.010_299_956_639_81;
const WATT_4: f64 = 36.020_599_913_279_62;
const ONE_WATT_6_DBI: PowerLimit = PowerLimit::Conducted { power_dbm: WATT_1, up_to_gain_dbi: 6.0 };

/// All rows. Source: as each row says.
pub const ROWS: &[Row] = &[
    Row {
        key: "eu_lower",
        name: "Europe, lower band",
        bands_mhz: &[(865.0, 868.0)],
        channels: &[grid(865.7, 0.6, 4)],
        hopping: Hopping::InTurn,
        dwell_s: 4.0,
        limit: PowerLimit::Erp { power_dbm: WATT_2 },
        source: "ERC/REC 70-03 Annex 11 band a and ETSI EN 302 208 (2 W ERP, four channels of 200 kHz; 4 s on a channel from memory)",
        certainty: Certainty::Seen,
    },
    Row {
        key: "eu_upper",
        name: "Europe, upper band",
        bands_mhz: &[(915.0, 919.4)],
        channels: &[grid(916.3, 1.2, 3)],
        hopping: Hopping::InTurn,
        dwell_s: 4.0,
        limit: PowerLimit::Erp { power_dbm: WATT_4 },
        source: "Decision (EU) 2018/1538 as amended by (EU) 2022/172, ERC/REC 70-03 Annex 11 band b (4 W ERP, 400 kHz; not in force in every country; 4 s on a channel from memory)",
        certainty: Certainty::Seen,
    },
    Row {
        key: "usa",
        name: "USA",
        bands_mhz: &[(902.0, 928.0)],
        channels: &[grid(902.75, 0.5, 50)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: ONE_WATT_6_DBI,
        source: "47 CFR 15.247 (a)(1)(i), (b)(2), (b)(4), text of 2005 (50 channels, 0.4 s in 20 s, 1 W up to 6 dBi); channel grid is common practice",
        certainty: Certainty::Seen,
    },
    Row {
        key: "canada",
        name: "Canada",
        bands_mhz: &[(902.0, 928.0)],
        channels: &[grid(902.75, 0.5, 50)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: ONE_WATT_6_DBI,
        source: "RSS-247 Issue 4, 2025, 5.1(c) and 5.4(a) (1 W conducted, 4 W EIRP, numbers from memory; taken as 1 W up to 6 dBi)",
        certainty: Certainty::Partly,
    },
    Row {
        key: "mexico",
        name: "Mexico",
        bands_mhz: &[(902.0, 928.0)],
        channels: &[grid(902.75, 0.5, 50)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: ONE_WATT_6_DBI,
        source: "IFT-008 / NOM-208 (band second-hand; power and hopping from memory)",
        certainty: Certainty::Partly,
    },
    Row {
        key: "brazil",
        name: "Brazil",
        bands_mhz: &[(902.0, 907.5), (915.0, 928.0)],
        channels: &[grid(902.75, 0.5, 10), grid(915.25, 0.5, 25)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: PowerLimit::Eirp { power_dbm: WATT_4 },
        source: "public reader library and IEEE 802.15.4 band list (bands and 4 W EIRP); channel grid and dwell as in 47 CFR 15.247, our estimate",
        certainty: Certainty::SecondHand,
    },
    Row {
        key: "japan",
        name: "Japan",
        bands_mhz: &[(916.7, 920.9)],
        channels: &[grid(916.8, 1.2, 3), grid(920.4, 1.2, 1)],
        hopping: Hopping::InTurn,
        dwell_s: 4.0,
        limit: ONE_WATT_6_DBI,
        source: "ARIB STD-T106 v2.0, 2019 (band, 4 W EIRP, outdoor event class: licence or registration); channels second-hand; 4 s from the MIC rules of 2005 for the older band",
        certainty: Certainty::SecondHand,
    },
    Row {
        key: "china",
        name: "China",
        bands_mhz: &[(920.5, 924.5)],
        channels: &[grid(920.625, 0.25, 16)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 2.0,
        limit: PowerLimit::Erp { power_dbm: WATT_2 },
        source: "MIIT rule for 900 MHz RFID, document (2024) 76 (band); 2 W ERP and channels second-hand; dwell not established, 2 s is our estimate",
        certainty: Certainty::SecondHand,
    },
    Row {
        key: "india",
        name: "India",
        bands_mhz: &[(865.0, 868.0)],
        channels: &[grid(865.7, 0.6, 4)],
        hopping: Hopping::InTurn,
        dwell_s: 4.0,
        limit: PowerLimit::Erp { power_dbm: WATT_4 },
        source: "G.S.R. 168(E), 2005 (1 W transmitter, 4 W ERP, 200 kHz) and G.S.R. 853(E), 2021 (865 to 868 MHz); channels and dwell as in Europe, our estimate",
        certainty: Certainty::Partly,
    },
    Row {
        key: "korea",
        name: "Korea",
        bands_mhz: &[(917.0, 920.8)],
        channels: &[grid(917.3, 0.6, 6)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: PowerLimit::Eirp { power_dbm: WATT_4 },
        source: "RFID/USN rules 917 to 923.5 MHz (channel list and 0.4 s seen in a summary for IEEE 802.15); 4 W EIRP on these six channels second-hand",
        certainty: Certainty::SecondHand,
    },
    Row {
        key: "australia",
        name: "Australia",
        bands_mhz: &[(920.0, 926.0)],
        channels: &[grid(920.25, 0.5, 12)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: PowerLimit::Eirp { power_dbm: WATT_4 },
        source: "Radiocommunications (Low Interference Potential Devices) Class Licence, 2015, by Soares Boaventura and Borges Carvalho (2025), table 2.2 (4 W EIRP); channel grid and dwell are our estimate",
        certainty: Certainty::SecondHand,
    },
    Row {
        key: "singapore",
        name: "Singapore",
        bands_mhz: &[(920.0, 925.0)],
        channels: &[grid(920.25, 0.5, 10)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: PowerLimit::Erp { power_dbm: WATT_2 },
        source: "Soares Boaventura and Borges Carvalho (2025), table 2.2 (2 W ERP); channel grid and dwell are our estimate",
        certainty: Certainty::SecondHand,
    },
    Row {
        key: "vietnam",
        name: "Vietnam",
        bands_mhz: &[(918.0, 923.0)],
        channels: &[grid(918.25, 0.5, 10)],
        hopping: Hopping::PseudoRandom,
        dwell_s: 0.4,
        limit: PowerLimit::Erp { power_dbm: 26.989_700_043_360_19 },
        source: "GS1, Regulatory status for using RFID in the EPC Gen2 band, 13 March 2021 (0.5 W ERP without a licence); channel grid and dwell are our estimate",
        certainty: Certainty::Partly,
    },
    Row {
        key: "south_africa",
        name: "South Africa",
        bands_mhz: &[(865.0, 868.0)],
        channels: &[grid(865.7, 0.6, 4)],
        hopping: Hopping::InTurn,
        dwell_s: 4.0,
        limit: PowerLimit::Erp { power_dbm: WATT_2 },
        source: "ICASA Radio Frequency Spectrum Regulations 2015, after EN 302 208 (2 W ERP)",
        certainty: Certainty::SecondHand,
    },
];

#[cfg(test)]
mod tests {
    use super::super::region::Region;
    use super::*;

    #[test]
    fn every_row_is_whole_and_its_channels_lie_in_its_band() {
        assert!(ROWS.len() >= 11);
        for row in ROWS {
            let region = Region::from(row);
            assert!(!region.channels_mhz.is_empty() && region.source.len() > 20, "{}", row.key);
            for &channel in &region.channels_mhz {
                assert!(region.contains(channel), "{} {channel}", row.key);
                assert!(crate::limits::FREQ_MHZ.holds(channel));
            }
            assert_eq!(ROWS.iter().filter(|r| r.key == row.key).count(), 1);
        }
    }

    /// Source: ERC/REC 70-03 Annex 11 note 1 (865.7, 866.3, 866.9, 867.5 MHz); 902.75 to 927.25 MHz in 50
    /// channels: Soares Boaventura and Borges Carvalho (2025), section 2.3.2; 920.625 to 924.375 MHz in 16
    /// channels: second-hand. Tolerance: exact.
    #[test]
    fn val_channel_plans() {
        let channels =
            |key: &str| Region::from(ROWS.iter().find(|r| r.key == key).expect("row")).channels_mhz;
        assert_eq!(channels("eu_lower"), [865.7, 866.3, 866.9, 867.5]);
        assert_eq!(channels("eu_upper"), [916.3, 917.5, 918.7]);
        assert_eq!((channels("usa")[0], channels("usa")[49], channels("usa").len()), (902.75, 927.25, 50));
        assert_eq!((channels("china")[0], channels("china")[15]), (920.625, 924.375));
        assert_eq!(channels("japan"), [916.8, 918.0, 919.2, 920.4]);
        assert_eq!(channels("korea"), [917.3, 917.9, 918.5, 919.1, 919.7, 920.3]);
    }
}
