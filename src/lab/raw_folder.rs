//! A raw tag folder to everything the analysis needs: raw sweeps, the empty room, referred sweeps, budget.

use super::raw_budget;
use super::raw_file::{self, RawFile};
use super::raw_parse::{self, RawSweep};
use super::raw_refer::{self, Bench};
use super::tag_file::{SweepLevel, TagFile};
use super::{Sweep, text};
use crate::diag::{Checked, Diagnostic, Severity, Source};
use std::path::Path;
use std::sync::Arc;

/// What a raw folder holds, as read and as referred.
#[derive(Clone, Debug)]
pub struct RawFolder {
    pub toml: Arc<Source>,
    pub file: RawFile,
    pub bench: Bench,
    /// Sweeps as the instruments read them, in the order of tag.toml; the empty room left out.
    pub raw: Vec<RawSweep>,
    pub quiet_room: Vec<RawSweep>,
    pub sweeps: Vec<Sweep>,
    /// SHA-256 of every file read.
    pub file_hashes: Vec<(String, String)>,
}

impl RawFolder {
    /// The `tag.toml` of the referred folder: same tag, level `referred`, the bench's shared uncertainty as lab bias.
    pub fn referred_file(&self) -> TagFile {
        let raw = &self.file;
        let middle = self.sweeps.iter().flat_map(|s| s.readings.iter().map(|r| r.freq_mhz));
        let (sum, count) = middle.fold((0.0, 0.0), |(s, n), f| (s + f, n + 1.0));
        let components =
            raw_budget::components(raw, &self.bench, if count > 0.0 { sum / count } else { 900.0 });
        let stated = components.iter().any(|c| c.reach != super::stat::budget::Reach::Reading);
        let budget = super::stat::budget::budget(&components, 0.95);
        let shared = (budget.laboratory * budget.laboratory + budget.session * budget.session).sqrt();
        TagFile {
            name: raw.name.clone(),
            note: raw.note.clone(),
            own_spacer_mm: raw.own_spacer_mm,
            price: raw.price,
            level: SweepLevel::Referred,
            taken: raw.taken.clone(),
            lab_bias_sd_db: stated.then_some(shared),
            placing_sd_db: raw.uncertainty.positioning_sd_db,
            sweeps: None,
            phantom: raw.phantom.clone(),
            link: raw.link.clone(),
            prototype_batch: raw.prototype_batch.clone(),
            power_step_db: raw.setup.power_step_db,
            spread: raw.spread,
            link_profile: raw.link_profile.clone(),
            finding: Vec::new(),
        }
    }
}

/// Whether a folder's `tag.toml` declares raw sweeps (false when it cannot be read).
pub fn is_raw(folder: &Path) -> bool {
    text::read(&toml_path(folder)).is_ok_and(|toml| {
        toml::from_str::<toml::Table>(&toml.source.text)
            .is_ok_and(|t| t.get("level").and_then(toml::Value::as_str) == Some("raw"))
    })
}

/// The `tag.toml` of a folder, or the file itself.
pub fn toml_path(folder: &Path) -> std::path::PathBuf {
    if folder.extension().is_some_and(|e| e == "toml") { folder.to_owned() } else { folder.join("tag.toml") }
}

/// Reads a raw folder: everything that is wrong with all of its files at once.
pub fn read(folder: &Path) -> Checked<RawFolder> {
    let path = toml_path(folder);
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let toml = text::read(&path).map_err(|problem| vec![*problem])?;
    let file = raw_file::read(&toml.source)?;
    let mut found: Vec<Diagnostic> = Vec::new();
    let mut file_hashes = vec![(toml.source.path.clone(), toml.sha256)];
    let bench = match raw_refer::bench(&file, &folder) {
        Ok((bench, warnings)) => {
            found.extend(warnings);
            file_hashes.extend(bench.file_hashes.iter().cloned());
            Some(bench)
        }
        Err(problems) => {
            found.extend(problems);
            None
        }
    };
    let (mut raw, mut quiet_room, mut sweeps) = (Vec::new(), Vec::new(), Vec::new());
    for entry in &file.sweep {
        let read = match text::read(&folder.join(&entry.file)) {
            Ok(read) => read,
            Err(problem) => {
                found.push(*problem);
                continue;
            }
        };
        // One file may serve several sweeps.
        if !file_hashes.iter().any(|(path, _)| *path == read.source.path) {
            file_hashes.push((read.source.path.clone(), read.sha256));
        }
        match raw_parse::read(&file, entry, &read.source) {
            Err(problems) => found.extend(problems),
            Ok((list, warnings)) => {
                found.extend(warnings);
                if entry.quiet_room {
                    quiet_room.extend(list);
                    continue;
                }
                if let Some(bench) = &bench {
                    match raw_refer::refer(&file, bench, &list, &read.source) {
                        Ok((referred, warnings)) => {
                            found.extend(warnings);
                            sweeps.extend(referred);
                        }
                        Err(problems) => found.extend(problems),
                    }
                }
                raw.extend(list);
            }
        }
    }
    if found.iter().any(|d| d.severity == Severity::Error) {
        return Err(found);
    }
    let bench = bench.expect("a bench that could not be read is an error");
    Ok((RawFolder { toml: toml.source, file, bench, raw, quiet_room, sweeps, file_hashes }, found))
}
