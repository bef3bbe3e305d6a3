//! What a result came from: program, seed, files.

use crate::course::{Course, plausible, power};
use crate::diag::Diagnostic;
use crate::tag::Tag;
use serde::{Deserialize, Serialize};

pub const SCHEMA_VERSION: u32 = 1;

/// One input file and what it held.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InputFile {
    pub path: String,
    pub sha256: String,
}

/// What every answer says first of the set-ups it rests on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SetUp {
    /// Antennas set above what the region allows; a run with any is a study on paper.
    pub unlawful_power: Vec<String>,
    /// What a crew would hardly have meant (`course::plausible`).
    #[serde(default)]
    pub doubts: Vec<String>,
}

impl SetUp {
    pub fn of(course: &Course) -> SetUp {
        SetUp { unlawful_power: power::unlawful(course), doubts: plausible::doubts(course) }
    }

    /// Adds what another set-up says, each sentence once, with `place` before it.
    pub fn add(&mut self, other: SetUp, place: &str) {
        let lists = [(&mut self.unlawful_power, other.unlawful_power), (&mut self.doubts, other.doubts)];
        for (list, new) in lists {
            for words in new.into_iter().map(|words| format!("{place}{words}")) {
                if !list.contains(&words) {
                    list.push(words);
                }
            }
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    pub schema_version: u32,
    pub program: String,
    pub version: String,
    pub seed: u64,
    #[serde(flatten)]
    pub set_up: SetUp,
    /// Serious findings about the measurement of the tags; a run with any was made despite them.
    #[serde(default)]
    pub findings: Vec<String>,
    /// What the beliefs in force were learned from, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub learned_from: Option<String>,
    pub inputs: Vec<InputFile>,
}

impl Provenance {
    pub fn new(seed: u64, course: &Course, tag: &Tag) -> Provenance {
        let input =
            |(path, sha256): &(String, String)| InputFile { path: path.clone(), sha256: sha256.clone() };
        Provenance {
            schema_version: SCHEMA_VERSION,
            program: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            seed,
            set_up: SetUp::of(course),
            findings: findings_of([tag]),
            learned_from: tag.learned_from.clone(),
            inputs: std::iter::once(&course.file_hash).chain(&tag.file_hashes).map(input).collect(),
        }
    }
}

/// Serious findings of some tags, each with the name of its tag.
pub fn findings_of<'a>(tags: impl IntoIterator<Item = &'a Tag>) -> Vec<String> {
    let of = |tag: &'a Tag| tag.findings.iter().map(|words| format!("tag {}: {words}", tag.name));
    tags.into_iter().flat_map(of).collect()
}

/// The tag in the words of a report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TagEcho {
    pub name: String,
    pub note: String,
    pub own_spacer_mm: f64,
    pub samples: usize,
    pub observed_offset_sd_db: f64,
    pub closest_gap_mm: f64,
    pub lab_bias_sd_db: f64,
    /// Mounts in which no sample woke at some frequency.
    pub open_mounts: Vec<String>,
}

impl TagEcho {
    pub fn new(tag: &Tag) -> TagEcho {
        TagEcho {
            name: tag.name.clone(),
            note: tag.note.clone(),
            own_spacer_mm: tag.own_spacer_mm,
            samples: tag.spread.samples,
            observed_offset_sd_db: tag.spread.observed_offset_sd_db,
            closest_gap_mm: tag.curve.closest_gap_mm(),
            lab_bias_sd_db: tag.spread.lab_bias_sd_db,
            open_mounts: open_mounts(tag),
        }
    }
}

/// Mounts in which no sample woke at some frequency, in words.
pub fn open_mounts(tag: &Tag) -> Vec<String> {
    let open = tag.curve.mounts().iter().filter(|m| m.open.is_some());
    open.map(|m| m.gap_mm.map_or("free air".to_owned(), |gap| format!("{gap} mm from the body"))).collect()
}

/// A value in force that nobody measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AssumptionEcho {
    pub what: String,
    pub value: String,
    pub source: String,
}

pub fn assumptions(course: &Course) -> Vec<AssumptionEcho> {
    let echo =
        |a: crate::course::Assumption| AssumptionEcho { what: a.what, value: a.value, source: a.source };
    course.assumptions().into_iter().map(echo).collect()
}

/// Effects the scenario switched off, in words.
pub fn effects_off(course: &Course) -> Vec<String> {
    let e = &course.effects;
    [
        ("ground", e.ground),
        ("body", e.body),
        ("neighbours", e.neighbours),
        ("diffuse waves", e.diffuse_waves),
        ("water", e.water),
        ("contention", e.contention),
        ("tag pattern", e.tag_pattern),
        ("antenna pattern", e.antenna_pattern),
        ("stride", e.stride),
        ("decoding", e.decoding),
    ]
    .iter()
    .filter(|(_, on)| !on)
    .map(|(name, _)| (*name).to_owned())
    .collect()
}

/// Warnings of the loaders in one line each.
pub fn warning_lines(diagnostics: &[Diagnostic]) -> Vec<String> {
    diagnostics
        .iter()
        .map(|d| match d.place() {
            Some(place) => format!("{place}: {}", d.message),
            None => d.message.clone(),
        })
        .collect()
}
