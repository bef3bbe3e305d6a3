//! What happened: counts of races and the passings of trials, as a company writes them down afterwards.
//!
//! ```text
//! reads     reads.toml: logs of readers, their lines and columns          read_log  their rows, counted by tag (log_table, tag_ids)
//! who       bibs of those missed, beside a chance sample of all
//! race    outcome.toml: who passed, by what reference, and who was missed      trial   trial.csv: one row a passing
//! ```
//!
//! A count means nothing without its reference: how those who passed are known. Only references that do not hang on the antennas asked about, or whose
//! condition the simulation can share, are taken; two lines alone never tell how many both missed.

pub mod log_table;
pub mod race;
pub mod read_log;
pub mod reads;
pub mod tag_ids;
pub mod trial;
pub mod who;

use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use crate::diag::Source;

/// One outcome file: a race, or a trial.
#[derive(Clone, Debug)]
pub struct Outcome {
    pub name: String,
    /// First comment or note; for invented outcomes it says so.
    pub note: String,
    /// The scenario it belongs to.
    pub scenario: PathBuf,
    /// Weather the scenario must have, and where that stands.
    pub weather_seen: Option<(String, Range<usize>)>,
    /// Readers stood this much below the scenario, dB.
    pub power_lowered_db: f64,
    /// Bibs found soaked among those looked at.
    pub soaked: Option<(u64, u64)>,
    pub counts: Vec<PointCount>,
    /// Forecast stored before the race (JSON).
    pub forecast: Option<PathBuf>,
    /// The same without what was learned by then, to compare with.
    pub unlearned_forecast: Option<PathBuf>,
    /// File of a trial's passings.
    pub trial: Option<PathBuf>,
    pub source: Arc<Source>,
    /// Path as given, SHA-256.
    pub file_hash: (String, String),
}

/// How those who passed are known.
#[derive(Clone, Debug, PartialEq)]
pub enum Reference {
    /// Everybody was filmed or counted by hand.
    Everyone,
    /// A chance sample of all, drawn without regard to reads.
    Sample,
    /// Bibs handed out less runners seen anywhere, searched in pictures.
    Bibs,
    /// Only runners who were read at one of these other points at least.
    SeenElsewhere(Vec<String>),
    /// Only runners whom another line of the point read.
    OtherLine { line: String, by: String },
}

impl Reference {
    pub fn words(&self) -> String {
        match self {
            Reference::Everyone => "everybody known".to_owned(),
            Reference::Sample => "a chance sample of all".to_owned(),
            Reference::Bibs => "bibs handed out, searched".to_owned(),
            Reference::SeenElsewhere(points) => format!("those read at {}", points.join(" or ")),
            Reference::OtherLine { by, .. } => format!("those read by line {by}"),
        }
    }
}

/// Counts of one timing point.
#[derive(Clone, Debug)]
pub struct PointCount {
    pub point: String,
    pub reference: Reference,
    /// Known to have passed.
    pub passed: u64,
    /// Fewest and most of them that were missed.
    pub missed: (u64, u64),
    /// Which lines read how many, every combination; empty where only the total is known.
    pub patterns: Vec<Pattern>,
    /// Who was missed, where somebody looked.
    pub who: Option<who::Who>,
    /// Why the point is left out, on record.
    pub excluded: Option<String>,
    pub span: Range<usize>,
}

/// Runners whom exactly these lines read.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    pub read: Vec<String>,
    pub count: u64,
}
