//! Radio regions: channels, dwell, power limit, and how sure each row is. The rows are in `region_table`.

use super::region_table::{Certainty, ROWS, Row};
use super::walk::Section;
use crate::diag::codes;
use crate::limits;
use schemars::JsonSchema;
use serde::Serialize;
use toml::de::DeValue;

/// The regional limit, in the quantity the rule speaks of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PowerLimit {
    /// Conducted power that holds up to an antenna gain, reduced dB for dB above it.
    Conducted {
        power_dbm: f64,
        up_to_gain_dbi: f64,
    },
    Erp {
        power_dbm: f64,
    },
    Eirp {
        power_dbm: f64,
    },
}

/// How the reader moves over the channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hopping {
    /// Pseudo-random, each channel used alike.
    PseudoRandom,
    /// Stays on a channel and moves on after the dwell.
    InTurn,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Region {
    pub key: String,
    pub name: String,
    /// Band the rule allows, MHz; several parts possible.
    pub bands_mhz: Vec<(f64, f64)>,
    pub channels_mhz: Vec<f64>,
    pub hopping: Hopping,
    /// Longest stay on one channel, s.
    pub dwell_s: f64,
    pub limit: PowerLimit,
    /// Document, clause, year.
    pub source: String,
    /// How sure the row is: seen in the source, second-hand, from memory, the user's own.
    pub certainty: String,
}

impl Region {
    pub fn contains(&self, freq_mhz: f64) -> bool {
        self.bands_mhz.iter().any(|&(low, high)| freq_mhz >= low && freq_mhz <= high)
    }

    /// `865 to 868 MHz`.
    pub fn bands_in_words(&self) -> String {
        let parts: Vec<_> = self.bands_mhz.iter().map(|(low, high)| format!("{low} to {high} MHz")).collect();
        parts.join(" and ")
    }
}

impl From<&Row> for Region {
    fn from(row: &Row) -> Region {
        Region {
            key: row.key.to_owned(),
            name: row.name.to_owned(),
            bands_mhz: row.bands_mhz.to_vec(),
            channels_mhz: row.channels.iter().flat_map(|grid| grid.channels_mhz()).collect(),
            hopping: row.hopping,
            dwell_s: row.dwell_s,
            limit: row.limit,
            source: row.source.to_owned(),
            certainty: row.certainty.words().to_owned(),
        }
    }
}

/// `[region]` as written: a key of the table, with changes, or a region of your own.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RegionForm {
    /// eu_lower, eu_upper, usa, canada, mexico, brazil, japan, china, india, korea, australia, singapore, vietnam, south_africa,
    /// or a name of your own with every other key.
    pub key: String,
    /// Name in reports.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Parts of the band, MHz: [[low, high], ...].
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bands_mhz: Option<Vec<(f64, f64)>>,
    /// Channel centres, MHz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channels_mhz: Option<Vec<f64>>,
    /// `pseudo_random` or `in_turn`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hopping: Option<String>,
    /// Longest stay on a channel, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dwell_s: Option<f64>,
    /// Power limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitForm>,
    /// Document, clause, year.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// How sure the row is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certainty: Option<String>,
}

/// How a power limit is written.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum LimitForm {
    /// Conducted power up to an antenna gain, less dB for dB above it.
    Conducted { conducted_dbm: f64, up_to_gain_dbi: f64 },
    /// Effective radiated power (over a half-wave dipole).
    Erp { erp_dbm: f64 },
    /// Equivalent isotropic radiated power.
    Eirp { eirp_dbm: f64 },
}

const HOPPING: [(&str, Hopping); 2] =
    [("pseudo_random", Hopping::PseudoRandom), ("in_turn", Hopping::InTurn)];

impl From<&Region> for RegionForm {
    fn from(r: &Region) -> RegionForm {
        RegionForm {
            key: r.key.clone(),
            name: Some(r.name.clone()),
            bands_mhz: Some(r.bands_mhz.clone()),
            channels_mhz: Some(r.channels_mhz.clone()),
            hopping: Some(HOPPING[r.hopping as usize].0.to_owned()),
            dwell_s: Some(r.dwell_s),
            limit: Some(match r.limit {
                PowerLimit::Conducted { power_dbm, up_to_gain_dbi } => {
                    LimitForm::Conducted { conducted_dbm: power_dbm, up_to_gain_dbi }
                }
                PowerLimit::Erp { power_dbm } => LimitForm::Erp { erp_dbm: power_dbm },
                PowerLimit::Eirp { power_dbm } => LimitForm::Eirp { eirp_dbm: power_dbm },
            }),
            source: Some(r.source.clone()),
            certainty: Some(r.certainty.clone()),
        }
    }
}

/// Reads `[region]`; `None` when it cannot be known (reported).
pub fn read(section: &Section) -> Option<Region> {
    let key = section.name("key");
    let name = section.name("name");
    let bands = read_bands(section);
    let channels = section.numbers("channels_mhz", &limits::FREQ_MHZ);
    let hopping = section.choice("hopping", &HOPPING);
    let dwell_s = section.number("dwell_s", &limits::DWELL_S);
    let limit = read_limit(section);
    let source = section.text("source");
    let certainty = section.text("certainty");
    section.finish();
    let Some(key_found) = section.find("key") else {
        section.missing("key", format!("choose a region: {}", keys()));
        return None;
    };
    let key = key?;
    let row = ROWS.iter().find(|row| row.key == key);
    let changed = ["name", "bands_mhz", "channels_mhz", "hopping", "dwell_s", "limit", "source"]
        .iter()
        .any(|k| section.find(k).is_some());
    let mut region = match row {
        Some(row) => Region::from(row),
        None if !changed => {
            section.unknown_choice("key", &key_found.span, &key, ROWS.iter().map(|r| r.key));
            return None;
        }
        None => {
            let mut complete = true;
            for needed in ["bands_mhz", "channels_mhz", "hopping", "dwell_s", "limit"] {
                if section.find(needed).is_none() {
                    section
                        .missing(needed, format!("a region of your own needs it; known regions: {}", keys()));
                    complete = false;
                }
            }
            if !complete {
                return None;
            }
            Region {
                name: key.clone(),
                key,
                bands_mhz: Vec::new(),
                channels_mhz: Vec::new(),
                hopping: Hopping::InTurn,
                dwell_s: 1.0,
                limit: PowerLimit::Eirp { power_dbm: 0.0 },
                source: "the scenario".to_owned(),
                certainty: String::new(),
            }
        }
    };
    if changed {
        // A resolved scenario says the same as the table and keeps its certainty.
        region.certainty = certainty.unwrap_or_else(|| Certainty::Own.words().to_owned());
    }
    region.name = name.unwrap_or(region.name);
    region.bands_mhz = bands.unwrap_or(region.bands_mhz);
    region.channels_mhz = channels.unwrap_or(region.channels_mhz);
    region.hopping = hopping.unwrap_or(region.hopping);
    region.dwell_s = dwell_s.unwrap_or(region.dwell_s);
    region.limit = limit.unwrap_or(region.limit);
    region.source = source.unwrap_or(region.source);
    check_channels(section, &region);
    Some(region)
}

fn keys() -> String {
    ROWS.iter().map(|r| r.key).collect::<Vec<_>>().join(", ")
}

fn read_bands(section: &Section) -> Option<Vec<(f64, f64)>> {
    const KEY: &str = "bands_mhz";
    let found = section.find(KEY)?;
    let wrong = |message: &str| {
        section.walk.note(
            section
                .walk
                .error(codes::WRONG_TYPE, &found.span, format!("`{KEY}` {message}"))
                .label("expected a list of [low, high]")
                .help("write bands_mhz = [[902.0, 928.0]]"),
        );
        None
    };
    let DeValue::Array(parts) = found.value else { return wrong("is not a list") };
    if parts.is_empty() {
        return wrong("is empty");
    }
    let mut bands = Vec::new();
    for part in parts.iter() {
        let place = super::walk::Found { value: part.get_ref(), span: part.span() };
        match section.numbers_of(KEY, &place, &limits::FREQ_MHZ)?[..] {
            [low, high] if low <= high => bands.push((low, high)),
            _ => return wrong("needs pairs of low and high"),
        }
    }
    Some(bands)
}

fn read_limit(section: &Section) -> Option<PowerLimit> {
    let found = section.find("limit")?;
    let table = section.section_of("limit", &found, "limit");
    let conducted = table.number("conducted_dbm", &limits::LIMIT_DBM);
    let up_to = table.number("up_to_gain_dbi", &limits::UP_TO_GAIN_DBI);
    let erp = table.number("erp_dbm", &limits::LIMIT_DBM);
    let eirp = table.number("eirp_dbm", &limits::LIMIT_DBM);
    table.finish();
    table.conflict("erp_dbm", "eirp_dbm", "both ERP and EIRP are given", "keep one: EIRP = ERP + 2.15 dB");
    for radiated in ["erp_dbm", "eirp_dbm"] {
        table.conflict(
            radiated,
            "conducted_dbm",
            "both a radiated and a conducted limit are given",
            "keep one",
        );
    }
    match (conducted, up_to, erp, eirp) {
        (Some(power_dbm), Some(up_to_gain_dbi), ..) => {
            Some(PowerLimit::Conducted { power_dbm, up_to_gain_dbi })
        }
        (.., Some(power_dbm), _) => Some(PowerLimit::Erp { power_dbm }),
        (.., Some(power_dbm)) => Some(PowerLimit::Eirp { power_dbm }),
        _ => {
            let any = ["erp_dbm", "eirp_dbm"].iter().any(|k| table.find(k).is_some());
            if !any {
                let both = table.find("conducted_dbm").is_some() && table.find("up_to_gain_dbi").is_some();
                if !both {
                    table.missing(
                        "erp_dbm",
                        "write { erp_dbm = 33 }, { eirp_dbm = 36 } or { conducted_dbm = 30, up_to_gain_dbi = 6 }",
                    );
                }
            }
            None
        }
    }
}

fn check_channels(section: &Section, region: &Region) {
    let span = section.find("channels_mhz").or_else(|| section.find("bands_mhz")).map(|f| f.span);
    let Some(span) = span else { return };
    if region.channels_mhz.is_empty() {
        section.walk.note(
            section
                .walk
                .error(codes::COUNT, &span, "`channels_mhz` is empty")
                .label("a region needs a channel")
                .help("write channels_mhz = [865.7, 866.3]"),
        );
    }
    for &channel in region.channels_mhz.iter().filter(|c| !region.contains(**c)).take(5) {
        section.walk.note(
            section
                .walk
                .error(
                    codes::CHANNEL_OUTSIDE_BAND,
                    &span,
                    format!("channel {channel} MHz lies outside {}", region.bands_in_words()),
                )
                .label("outside the band")
                .help("correct the channel or bands_mhz"),
        );
    }
}
