//! Are the files sound, is the set-up legal, is anyone standing too near an antenna?
//!
//! The loaders have already refused what cannot be run. This study reads a valid scenario and tells what a
//! careful engineer would check by hand before plugging anything in: power against the region, screening
//! distances, gain against beamwidths, sweeps against channels.

pub mod cover;
pub mod directivity;
pub mod exposure;
pub mod season;

use super::provenance::{
    AssumptionEcho, InputFile, SCHEMA_VERSION, SetUp, assumptions, effects_off, warning_lines,
};
use crate::course::antenna::Antenna;
use crate::course::power::{self, PowerCheck};
use crate::course::region::PowerLimit;
use crate::course::{Course, Placed, plausible};
use crate::diag::Diagnostic;
use crate::passing::antenna_pattern::Pattern;
use cover::{Cover, CoverVerdict};
use directivity::{DirectivityCheck, Verdict};
use exposure::Exposure;
use serde::{Deserialize, Serialize};

/// What the check needs to know about the tag.
#[derive(Clone, Debug)]
pub struct TagCover {
    pub name: String,
    /// Frequencies covered in every mount, MHz.
    pub swept_mhz: (f64, f64),
    /// Path and SHA-256 of each file of the tag.
    pub file_hashes: Vec<(String, String)>,
}

/// The region as applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RegionEcho {
    pub key: String,
    pub name: String,
    pub bands_mhz: Vec<(f64, f64)>,
    pub channels: usize,
    pub dwell_s: f64,
    pub limit: String,
    pub source: String,
    pub certainty: String,
}

/// One antenna, checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AntennaCheck {
    pub point: String,
    pub line: String,
    pub reader: String,
    pub antenna: String,
    /// Flat on the road: runners pass right over it.
    pub flat: bool,
    pub height_m: f64,
    pub power_dbm: f64,
    pub cable_loss_db: f64,
    pub gain_dbi: f64,
    pub power: PowerCheck,
    pub exposure: Exposure,
    pub directivity: DirectivityCheck,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gravity {
    /// Worth knowing.
    Note,
    /// Doubtful: look again.
    Warning,
    /// Not to be run on the air like this.
    Problem,
}

/// One thing to act on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    pub gravity: Gravity,
    /// Stable name for scripts.
    pub code: String,
    /// Point, line, reader, antenna; empty when it concerns the whole scenario.
    pub place: String,
    pub message: String,
}

/// The answer of `check`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckReport {
    pub schema_version: u32,
    pub version: String,
    pub inputs: Vec<InputFile>,
    pub event: String,
    pub note: String,
    pub runners: u64,
    pub tag: String,
    pub region: RegionEcho,
    pub antennas: Vec<AntennaCheck>,
    pub cover: Cover,
    /// Most serious first.
    pub findings: Vec<Finding>,
    pub effects_off: Vec<String>,
    pub assumptions: Vec<AssumptionEcho>,
    pub warnings: Vec<String>,
}

impl CheckReport {
    /// Whether nothing speaks against transmitting as set, as far as this check goes.
    pub fn is_clear(&self) -> bool {
        self.findings.iter().all(|f| f.gravity != Gravity::Problem)
    }
}

/// Checks a scenario that loaded; `candidates` is what only its candidates bring, `warnings` are those of the loaders.
pub fn check(course: &Course, tag: &TagCover, candidates: &SetUp, warnings: &[Diagnostic]) -> CheckReport {
    let antennas = antennas(course);
    let cover = cover::check(course, tag.swept_mhz);
    let mut findings = Vec::new();
    for (a, at) in antennas.iter().zip(course.antennas()) {
        antenna_findings(a, at.antenna, course, &mut findings);
    }
    cover_findings(&cover, &tag.name, course, &mut findings);
    if course.region.certainty != crate::course::region_table::Certainty::Seen.words() {
        findings.push(Finding {
            gravity: Gravity::Warning,
            code: "region-unsure".to_owned(),
            place: String::new(),
            message: format!(
                "the rules of {} are {}: look them up before transmitting",
                course.region.name, course.region.certainty
            ),
        });
    }
    let doubts = SetUp { unlawful_power: Vec::new(), doubts: plausible::doubts(course) };
    findings.extend([&doubts, candidates].into_iter().flat_map(set_up_findings));
    findings.sort_by_key(|f| std::cmp::Reverse(f.gravity as u8));
    let input = |(path, sha256): &(String, String)| InputFile { path: path.clone(), sha256: sha256.clone() };
    CheckReport {
        schema_version: SCHEMA_VERSION,
        version: env!("CARGO_PKG_VERSION").to_owned(),
        inputs: std::iter::once(&course.file_hash).chain(&tag.file_hashes).map(input).collect(),
        event: course.event_name.clone(),
        note: course.note.clone(),
        runners: course.field.runners,
        tag: tag.name.clone(),
        region: RegionEcho {
            key: course.region.key.clone(),
            name: course.region.name.clone(),
            bands_mhz: course.region.bands_mhz.clone(),
            channels: course.region.channels_mhz.len(),
            dwell_s: course.region.dwell_s,
            limit: power::limit_in_words(course.region.limit),
            source: course.region.source.clone(),
            certainty: course.region.certainty.clone(),
        },
        antennas,
        cover,
        findings,
        effects_off: effects_off(course),
        assumptions: assumptions(course),
        warnings: warning_lines(warnings),
    }
}

/// What set-ups say first, as findings.
pub(super) fn set_up_findings(set_up: &SetUp) -> Vec<Finding> {
    let of = |list: &[String], gravity: Gravity, code: &str| -> Vec<Finding> {
        let finding = |message: &String| Finding {
            gravity,
            code: code.to_owned(),
            place: String::new(),
            message: message.clone(),
        };
        list.iter().map(finding).collect()
    };
    let mut out = of(&set_up.unlawful_power, Gravity::Problem, "power-above-limit");
    out.extend(of(&set_up.doubts, Gravity::Warning, "set-up-doubtful"));
    out
}

fn antennas(course: &Course) -> Vec<AntennaCheck> {
    // Rows of mats share one pattern: integrate each pattern once.
    let mut patterns: Vec<(Pattern, DirectivityCheck)> = Vec::new();
    let check = |Placed { point, line, reader, antenna }: Placed| {
        let lowest_mhz = reader.channels_mhz.iter().copied().fold(f64::INFINITY, f64::min);
        let power = power::check(antenna, course.region.limit);
        AntennaCheck {
            point: point.name.clone(),
            line: line.name.clone(),
            reader: reader.name.clone(),
            antenna: antenna.name.clone(),
            flat: antenna.is_flat(),
            height_m: antenna.z_m,
            power_dbm: antenna.power_dbm,
            cable_loss_db: antenna.cable_loss_db,
            gain_dbi: antenna.gain_dbi,
            exposure: exposure::screen(power.eirp_dbm, lowest_mhz),
            directivity: directivity_of(antenna, &mut patterns),
            power,
        }
    };
    course.antennas().map(check).collect()
}

fn directivity_of(antenna: &Antenna, done: &mut Vec<(Pattern, DirectivityCheck)>) -> DirectivityCheck {
    let pattern = Pattern {
        gain_dbi: antenna.gain_dbi,
        horizontal_beamwidth_deg: antenna.horizontal_beamwidth_deg,
        vertical_beamwidth_deg: antenna.vertical_beamwidth_deg,
        front_to_back_db: antenna.front_to_back_db,
    };
    let numbers =
        |p: &Pattern| [p.gain_dbi, p.horizontal_beamwidth_deg, p.vertical_beamwidth_deg, p.front_to_back_db];
    if let Some((_, known)) = done.iter().find(|(p, _)| numbers(p) == numbers(&pattern)) {
        return known.clone();
    }
    let fresh = directivity::check(&pattern);
    done.push((pattern, fresh.clone()));
    fresh
}

fn antenna_findings(a: &AntennaCheck, antenna: &Antenna, course: &Course, findings: &mut Vec<Finding>) {
    let place = format!("{} / {} / {} / {}", a.point, a.line, a.reader, a.antenna);
    let mut push = |gravity, code: &str, message: String| {
        findings.push(Finding { gravity, code: code.to_owned(), place: place.clone(), message });
    };
    if !a.power.legal {
        push(Gravity::Problem, "power-above-limit", power::excess(antenna, &a.power, &course.region.name));
    }
    let over = a.directivity.gain_over_directivity_db;
    match a.directivity.verdict {
        Verdict::Consistent => {}
        Verdict::GainTooHigh => push(
            Gravity::Warning,
            "gain-above-directivity",
            format!(
                "gain {} dBi is {over:.1} dB above the {:.1} dBi its beamwidths can give: gain or beamwidths are wrong",
                a.gain_dbi, a.directivity.directivity_dbi
            ),
        ),
        Verdict::GainTooLow => push(
            Gravity::Warning,
            "gain-below-directivity",
            format!(
                "gain {} dBi is {:.1} dB below the {:.1} dBi of its beamwidths: a lossy antenna, or wider than stated",
                a.gain_dbi, -over, a.directivity.directivity_dbi
            ),
        ),
    }
    if let (PowerLimit::Erp { .. }, Some(most_deg)) =
        (course.region.limit, older_beamwidth_deg(a, antenna, course))
    {
        push(
            Gravity::Note,
            "beamwidth-rule",
            format!(
                "older editions of ETSI EN 302 208 asked for a horizontal half-power beamwidth of at most {most_deg}° at this power (from memory): check the edition in force"
            ),
        );
    }
}

/// The beamwidth older European editions allowed, where this antenna is wider. Source: ETSI EN 302 208,
/// older editions, from memory: up to 0.5 W ERP none, up to 1 W 180°, up to 2 W 90°.
fn older_beamwidth_deg(a: &AntennaCheck, antenna: &Antenna, course: &Course) -> Option<f64> {
    let most = match a.power.erp_dbm {
        p if p > 30.0 => 90.0,
        p if p > 27.0 => 180.0,
        _ => return None,
    };
    (course.region.key == "eu_lower" && antenna.horizontal_beamwidth_deg > most).then_some(most)
}

fn cover_findings(cover: &Cover, tag: &str, course: &Course, findings: &mut Vec<Finding>) {
    let (low, high) = cover.swept_mhz;
    let (first, last) = cover.channels_mhz;
    let mut push = |gravity, code: &str, message: String| {
        findings.push(Finding { gravity, code: code.to_owned(), place: String::new(), message });
    };
    match cover.verdict {
        CoverVerdict::Covered => {}
        CoverVerdict::WaterBeyond => push(
            Gravity::Warning,
            "sweep-water",
            format!(
                "water may move {tag} by {:.0} MHz, up to {:.1} MHz, but it was swept to {high} MHz only: there its curve is held at the edge",
                cover.water_shift_mhz,
                last + cover.water_shift_mhz
            ),
        ),
        CoverVerdict::ChannelsBeyond => push(
            Gravity::Problem,
            "sweep-channels",
            format!(
                "{tag} was swept from {low} to {high} MHz, the channels run from {first} to {last} MHz: sweep it over all of them"
            ),
        ),
        CoverVerdict::NoOverlap => push(
            Gravity::Problem,
            "sweep-no-overlap",
            format!(
                "{tag} was swept from {low} to {high} MHz, {} uses {first} to {last} MHz: nothing in common",
                course.region.name
            ),
        ),
    }
    if cover.sweeps_leave_the_band {
        push(
            Gravity::Note,
            "sweep-out-of-band",
            format!(
                "the sweeps of {tag} leave {}: repeat them only inside a shielded chamber",
                course.region.bands_in_words()
            ),
        );
    }
}

#[cfg(test)]
mod tests;
