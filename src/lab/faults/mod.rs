//! The chamber's own faults: what is wrong with a measurement, each finding in words with the number behind it.
//!
//! Nothing here changes a reading. A finding says what was seen, how large it is, how likely chance alone would
//! show it where odds exist, and what to look at. Limits are our estimates unless a line says otherwise.

pub mod bench;
pub mod curve;
pub mod repeats;
pub mod ripple;
pub mod step;

use super::tag_file::FindingFile;
use super::{Mount, Sweep};
use schemars::JsonSchema;
use serde::Serialize;

/// One finding about a measurement.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// Stable name of the kind: ripple, step, drift, quiet-room, beats-free-air, reversed-sign, near-field, cover,
    /// stands-out.
    pub kind: &'static str,
    /// Whether the curve should not be used before this is cleared up.
    pub serious: bool,
    /// Mount, sample or file it is about.
    pub about: String,
    /// What was seen and what to do, in one or two sentences.
    pub words: String,
    /// The number behind it, and its unit.
    pub number: f64,
    pub unit: &'static str,
}

/// Every kind of finding.
pub const KINDS: [&str; 14] = [
    "dud",
    "exchanged",
    "misplaced",
    "spike",
    "ripple",
    "step",
    "drift",
    "quiet-room",
    "beats-free-air",
    "reversed-sign",
    "near-field",
    "cover",
    "reply-cover",
    "stands-out",
];

/// A finding that came with the sweeps.
pub fn carried(earlier: &FindingFile) -> Finding {
    Finding {
        kind: KINDS.into_iter().find(|kind| *kind == earlier.kind).unwrap_or("earlier"),
        serious: earlier.serious,
        about: earlier.about.clone(),
        words: earlier.words.clone(),
        number: 0.0,
        unit: "",
    }
}

/// Sweeps of one mount and link profile, in the order they were read.
pub struct MountSweeps<'a> {
    pub mount: &'a Mount,
    pub link: &'a str,
    pub sweeps: Vec<&'a Sweep>,
}

/// Groups sweeps by mount and link profile.
pub fn by_mount(sweeps: &[Sweep]) -> Vec<MountSweeps<'_>> {
    let mut groups: Vec<MountSweeps<'_>> = Vec::new();
    for sweep in sweeps {
        match groups.iter_mut().find(|g| *g.mount == sweep.mount && g.link == sweep.link) {
            Some(group) => group.sweeps.push(sweep),
            None => groups.push(MountSweeps { mount: &sweep.mount, link: &sweep.link, sweeps: vec![sweep] }),
        }
    }
    groups
}

impl MountSweeps<'_> {
    /// Mean threshold over the sweeps at the frequencies where all of them have an exact one. A fault of the chamber
    /// is common to all samples, so their noise averages out and their own curves do not hide it.
    pub fn common_curve(&self) -> (Vec<f64>, Vec<f64>) {
        let Some(first) = self.sweeps.first() else { return (Vec::new(), Vec::new()) };
        let exact = |sweep: &Sweep, freq: f64| {
            let at = sweep.readings.binary_search_by(|r| r.freq_mhz.total_cmp(&freq)).ok()?;
            sweep.readings[at].threshold_dbm?.exact()
        };
        let n = self.sweeps.len() as f64;
        first
            .readings
            .iter()
            .filter_map(|r| {
                let values: Option<Vec<f64>> = self.sweeps.iter().map(|s| exact(s, r.freq_mhz)).collect();
                Some((r.freq_mhz, values?.iter().sum::<f64>() / n))
            })
            .unzip()
    }
}

/// Everything that can be seen in the sweeps alone, serious findings first.
pub fn of_sweeps(sweeps: &[Sweep]) -> Vec<Finding> {
    let groups = by_mount(sweeps);
    let mut found = Vec::new();
    for group in &groups {
        found.extend(curve::reversed(group));
        found.extend(ripple::ripple(group));
        found.extend(step::step(group));
        found.extend(repeats::drift(group));
    }
    found.extend(curve::beats_free_air(&groups));
    sort(&mut found);
    found
}

/// Serious findings first, else in the order found.
pub fn sort(found: &mut [Finding]) {
    found.sort_by_key(|f| !f.serious);
}

/// Odds in words that stay readable: `1 in 20000`, `less than 1 in a billion`.
pub fn odds_in_words(odds: f64) -> String {
    if odds < 1e-9 {
        "less than 1 in a billion".to_owned()
    } else if odds >= 0.05 {
        format!("{:.0} %", 100.0 * odds)
    } else {
        let n = 1.0 / odds;
        let digits = libm::pow(10.0, libm::floor(libm::log10(n)) - 1.0).max(1.0);
        format!("1 in {:.0}", (n / digits).round() * digits)
    }
}
