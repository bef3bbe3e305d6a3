//! Sweeps as measured and referred to the tag: readings over frequency of one sample in one mount.
//!
//! A threshold is the least boresight-equivalent isotropic incident power that wakes the tag, in dBm. A tag that
//! did not wake up to the highest power has a threshold *above* that power (right-censored); one that woke at the
//! lowest power has a threshold *below* it (left-censored). Neither is dropped or replaced by the limit.
//! Backscatter efficiency is the modulated backscatter EIRP over the incident isotropic power, in dB.

use crate::diag::{Diagnostic, Source, codes};
use crate::limits;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// A level that was read, or the limit it lies beyond.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Level {
    Exact(f64),
    /// Higher than this: no answer up to the highest power.
    Above(f64),
    /// Lower than this: an answer at the lowest power already.
    Below(f64),
}

impl Level {
    /// The value or the limit.
    pub fn number(self) -> f64 {
        match self {
            Level::Exact(v) | Level::Above(v) | Level::Below(v) => v,
        }
    }
    pub fn exact(self) -> Option<f64> {
        match self {
            Level::Exact(v) => Some(v),
            _ => None,
        }
    }
    /// The same level raised by `db`.
    pub fn raised(self, db: f64) -> Level {
        match self {
            Level::Exact(v) => Level::Exact(v + db),
            Level::Above(v) => Level::Above(v + db),
            Level::Below(v) => Level::Below(v + db),
        }
    }
}

impl std::fmt::Display for Level {
    /// As a CSV cell: `-12.3`, `>12.0`, `<-30.0`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Level::Exact(v) => write!(f, "{v}"),
            Level::Above(v) => write!(f, ">{v}"),
            Level::Below(v) => write!(f, "<{v}"),
        }
    }
}

/// Lab condition of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub enum Mount {
    FreeAir,
    /// On a body phantom; the gap in mm lies between the tag and the phantom's surface, the tag's own spacer included.
    Phantom {
        name: String,
        gap_mm: f64,
    },
}

impl Mount {
    /// Gap in mm, own spacer included; `None` in free air.
    pub fn gap_mm(&self) -> Option<f64> {
        match self {
            Mount::FreeAir => None,
            Mount::Phantom { gap_mm, .. } => Some(*gap_mm),
        }
    }
}

impl std::fmt::Display for Mount {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Mount::FreeAir => write!(f, "free air"),
            Mount::Phantom { name, gap_mm } => write!(f, "{gap_mm} mm over {name}"),
        }
    }
}

/// Readings at one frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub freq_mhz: f64,
    /// `None`: could not be measured.
    pub threshold_dbm: Option<Level>,
    /// `None`: could not be measured, or the tag was asleep.
    pub backscatter_db: Option<f64>,
    /// Incident power at which the backscatter was taken, dBm.
    pub backscatter_at_dbm: Option<f64>,
    /// Byte offset of the row in its file.
    pub at: usize,
}

/// Circumstances of a sweep; empty where the file names none.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Taken {
    /// Production batch of the sample.
    pub batch: String,
    pub session: String,
    pub operator: String,
    pub day: String,
}

/// One sample in one mount at one link profile, sorted by frequency.
#[derive(Clone, Debug)]
pub struct Sweep {
    pub sample: String,
    pub mount: Mount,
    /// Link profile, empty when the file names none.
    pub link: String,
    /// Name of the repeat, empty when the sweep was taken once.
    pub repeat: String,
    pub taken: Taken,
    /// When the sweep began, minutes after the first one of the campaign.
    pub minute: Option<f64>,
    pub readings: Vec<Reading>,
    pub source: Arc<Source>,
}

impl Sweep {
    /// The sweep in words: `sample A, free air`.
    pub fn title(&self) -> String {
        let mut title = format!("sample {}, {}", self.sample, self.mount);
        if !self.link.is_empty() {
            title += &format!(", link {}", self.link);
        }
        if !self.repeat.is_empty() {
            title += &format!(", repeat {}", self.repeat);
        }
        let Taken { batch, session, operator, day } = &self.taken;
        for (what, name) in [("batch", batch), ("session", session), ("operator", operator), ("day", day)] {
            if !name.is_empty() {
                title += &format!(", {what} {name}");
            }
        }
        title
    }
}

/// Most samples of a tag. More say hardly more about it, and each is drawn.
pub const MOST_SAMPLES: usize = 300;

/// Names too long for a table, and samples too many for one tag.
fn bounds(sweeps: &[Sweep]) -> Option<Diagnostic> {
    let at = |sweep: &Sweep| sweep.readings.first().map_or(0, |r| r.at);
    let long = |sweep: &&Sweep| {
        let phantom = match &sweep.mount {
            Mount::Phantom { name, .. } => name.as_str(),
            Mount::FreeAir => "",
        };
        let Taken { batch, session, operator, day } = &sweep.taken;
        [&sweep.sample, phantom, &sweep.link, &sweep.repeat, batch, session, operator, day]
            .iter()
            .any(|text| text.chars().count() > limits::MOST_NAME)
    };
    if let Some(sweep) = sweeps.iter().find(long) {
        let message = format!("a name in this row is longer than {} characters", limits::MOST_NAME);
        let found = Diagnostic::error("csv-range", message).at(&sweep.source, at(sweep)..at(sweep));
        return Some(found.help("names stand in tables: choose short ones"));
    }
    let mut samples = HashSet::new();
    let beyond = sweeps.iter().find(|sweep| samples.insert(&sweep.sample) && samples.len() > MOST_SAMPLES)?;
    let message = format!("more than {MOST_SAMPLES} samples of one tag");
    let found = Diagnostic::error(codes::COUNT, message).at(&beyond.source, at(beyond)..at(beyond));
    Some(found.help("take some at random, or split them by batch into several tags"))
}

/// What is wrong with the names of all sweeps of a tag together: one measurement given twice, a sample in two batches.
pub fn clashes(sweeps: &[Sweep]) -> Vec<Diagnostic> {
    let mut found: Vec<Diagnostic> = bounds(sweeps).into_iter().collect();
    let mut seen: HashMap<(&str, String, &str, &str, &Taken), &Sweep> = HashMap::new();
    let mut batches: HashMap<&str, &Sweep> = HashMap::new();
    for sweep in sweeps {
        let at = sweep.readings.first().map_or(0, |r| r.at);
        let key =
            (sweep.sample.as_str(), sweep.mount.to_string(), &*sweep.link, &*sweep.repeat, &sweep.taken);
        if let Some(twin) = seen.insert(key, sweep) {
            let message = format!("{} is also in {}", sweep.title(), twin.source.path);
            found.push(
                Diagnostic::error("tag-twice", message)
                    .at(&sweep.source, at..at)
                    .help("keep one of them, or name repeated measurements by `repeat`"),
            );
        }
        let first = *batches.entry(&sweep.sample).or_insert(sweep);
        if first.taken.batch != sweep.taken.batch {
            let message = format!(
                "sample {} belongs to batch {:?} here and to batch {:?} in {}",
                sweep.sample, sweep.taken.batch, first.taken.batch, first.source.path
            );
            found.push(
                Diagnostic::error("tag-batch", message)
                    .at(&sweep.source, at..at)
                    .help("name every sample once in all batches, such as P1, P2, W1"),
            );
        }
    }
    found
}
