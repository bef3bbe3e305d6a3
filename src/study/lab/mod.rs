//! What do the chamber readings say about these tags, how sure is that, and what is wrong with the measurement?

pub mod answer;
pub mod batches;
pub mod compare;
pub mod one;
pub mod precision;
pub mod samples;
pub mod session;

pub use answer::*;

use crate::course::region_table::{ROWS, Row};
use crate::diag::{Checked, Diagnostic, Severity, Source};
use crate::lab::faults::Finding;
use crate::lab::tag_file::{self, FindingFile, TagFile};
use crate::lab::{parse, raw_folder, write};
use crate::study::provenance::{InputFile, SCHEMA_VERSION};
use crate::tag::load::{Measured, from_sweeps, measured};
use std::path::{Path, PathBuf};

/// Regions whose bands are reported when none is asked for.
const DEFAULT_REGIONS: [&str; 3] = ["eu_lower", "eu_upper", "usa"];

/// What is asked.
#[derive(Clone, Debug)]
pub struct LabRequest {
    /// Tag folders, raw or referred.
    pub folders: Vec<PathBuf>,
    /// Keys of the regions to report on; empty: the European bands and the USA.
    pub regions: Vec<String>,
    /// Odds of the intervals, 0.5 to 0.99.
    pub level: f64,
    /// The tags were measured by one laboratory on one bench: what they share cancels in a comparison.
    pub same_laboratory: bool,
    /// With two folders: the first is the approved prototype, the second a production batch; equal within this margin?
    pub equivalence_margin_db: Option<f64>,
    /// Largest shift water gives the resonance, MHz: the sweeps should reach that far above a band.
    pub water_shift_mhz: f64,
    /// Where to write the referred folder (one folder asked, and that one raw or referred).
    pub write_to: Option<PathBuf>,
    pub force: bool,
}

impl Default for LabRequest {
    fn default() -> LabRequest {
        LabRequest {
            folders: Vec::new(),
            regions: Vec::new(),
            level: 0.95,
            same_laboratory: true,
            equivalence_margin_db: None,
            // Soaked: 10 MHz times up to 1.5 (`course::beliefs`).
            water_shift_mhz: 15.0,
            write_to: None,
            force: false,
        }
    }
}

/// One tag ready to be looked at.
pub struct Loaded {
    pub measured: Measured,
    pub raw: Option<raw_folder::RawFolder>,
    pub warnings: Vec<Diagnostic>,
}

/// Reads one folder, raw or referred.
pub fn load(folder: &std::path::Path) -> Result<Loaded, Vec<Diagnostic>> {
    if !raw_folder::is_raw(folder) {
        let (measured, warnings) = measured(folder)?;
        return Ok(Loaded { measured, raw: None, warnings });
    }
    let (raw, warnings) = raw_folder::read(folder)?;
    let (measured, warnings) =
        from_sweeps(raw.referred_file(), &raw.toml, raw.sweeps.clone(), raw.file_hashes.clone(), warnings)?;
    Ok(Loaded { measured, raw: Some(raw), warnings })
}

/// Works the answer out and writes the referred folder when asked. All folders are read before anything is written.
pub fn run(request: &LabRequest) -> Checked<LabAnswer> {
    let mut problems = Vec::new();
    let regions = regions(&request.regions, &mut problems);
    if !(request.level >= 0.5 && request.level <= 0.99) {
        let message = format!("level = {} is outside 0.5..=0.99", request.level);
        problems.push(Diagnostic::error(crate::diag::codes::OUT_OF_RANGE, message));
    }
    if let Some(margin) = request.equivalence_margin_db
        && !(margin > 0.0 && margin <= 20.0)
    {
        let message = format!("a margin of {margin} dB for equivalence is outside 0..=20 dB, 0 left out");
        problems.push(Diagnostic::error(crate::diag::codes::OUT_OF_RANGE, message));
    }
    if request.write_to.is_some() && request.folders.len() != 1 {
        let message = format!("{} folders cannot be written to one place", request.folders.len());
        problems.push(Diagnostic::error(crate::diag::codes::COUNT, message).help("name one tag folder"));
    }
    let mut loaded = Vec::new();
    for folder in &request.folders {
        match load(folder) {
            Ok(one) => loaded.push(one),
            Err(found) => problems.extend(found),
        }
    }
    if problems.iter().any(|d| d.severity == Severity::Error) {
        return Err(problems);
    }
    if request.equivalence_margin_db.is_some() && !can_test(&loaded) {
        let message = "equivalence needs two folders (prototype, then batch), or one whose tag.toml names the `prototype_batch` among several";
        return Err(vec![Diagnostic::error(crate::diag::codes::COUNT, message)]);
    }
    let tags: Vec<TagAnswer> = loaded.iter().map(|tag| one::answer(tag, request, &regions)).collect();
    let mut comparisons = Vec::new();
    for (i, first) in loaded.iter().enumerate() {
        for second in &loaded[i + 1..] {
            comparisons.push(compare::pair(first, second, request, &regions));
        }
    }
    let equivalence = match (&request.equivalence_margin_db, &loaded[..]) {
        (Some(margin), [prototype, batch]) => {
            Some(compare::equivalence(prototype, batch, *margin, request, &regions))
        }
        _ => None,
    };
    let mut written = None;
    if let (Some(place), [only]) = (&request.write_to, &loaded[..]) {
        let file = &only.measured.file;
        let origin = match (&only.raw, file.note.to_lowercase().contains("invented")) {
            (Some(_), true) => "Invented readings, referred to the tag by `readodds lab`.",
            (Some(_), false) => "Referred to the tag by `readodds lab`.",
            (None, true) => "Invented readings, written by `readodds lab`.",
            (None, false) => "Written by `readodds lab`.",
        };
        let finding = tags.iter().flat_map(|tag| &tag.findings).filter(|f| f.kind != COVER).map(travelling);
        let file = &TagFile { finding: finding.collect(), ..file.clone() };
        let files = write::files(file, &only.measured.sweeps, origin);
        readable(place, &files)?;
        write::folder(place, &files, request.force).map_err(|problem| vec![*problem])?;
        written = Some(place.display().to_string());
    }
    let warnings = loaded.iter().flat_map(|tag| tag.warnings.clone()).collect();
    let answer = LabAnswer {
        schema_version: SCHEMA_VERSION,
        program: env!("CARGO_PKG_NAME").to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        level: request.level,
        same_laboratory: request.same_laboratory,
        tags,
        comparisons,
        equivalence,
        written,
        assumed: [assumed(request), loaded.iter().flat_map(not_given).collect()].concat(),
        inputs: loaded.iter().flat_map(|tag| &tag.measured.tag.file_hashes).map(input).collect(),
    };
    Ok((answer, warnings))
}

/// Kind of the findings about the bands asked for: whoever forecasts asks for bands of his own.
const COVER: &str = "cover";

/// What is about to be written, read back: nothing is written that the other commands would refuse.
fn readable(place: &Path, files: &write::Files) -> Result<(), Vec<Diagnostic>> {
    let shown = |name: &String| place.join(name).display().to_string();
    let (mut sweeps, mut problems, mut read) = (Vec::new(), Vec::new(), None);
    for (name, text) in files {
        let source = Source::new(shown(name), text.clone());
        if name == "tag.toml" {
            match tag_file::read(&source) {
                Ok(file) => read = Some((file, source)),
                Err(found) => problems.extend(found),
            }
        }
    }
    let Some((file, toml)) = read else { return Err(problems) };
    for (name, text) in files.iter().filter(|(name, _)| name != "tag.toml") {
        match parse::referred_csv(&Source::new(shown(name), text.clone()), file.own_spacer_mm) {
            Ok((found, _)) => sweeps.extend(found),
            Err(found) => problems.extend(found),
        }
    }
    if problems.is_empty() {
        match from_sweeps(file, &toml, sweeps, Vec::new(), Vec::new()) {
            Ok(_) => return Ok(()),
            Err(found) => problems.extend(found),
        }
    }
    let errors = problems.into_iter().filter(|d| d.severity == Severity::Error);
    Err(errors
        .map(|d| {
            d.help(
                "nothing was written: the folder could not be read again; correct the readings it comes from",
            )
        })
        .collect())
}

fn travelling(finding: &Finding) -> FindingFile {
    FindingFile {
        kind: finding.kind.to_owned(),
        serious: finding.serious,
        about: finding.about.clone(),
        words: finding.words.clone(),
    }
}

/// Whether there are a prototype and a batch.
fn can_test(loaded: &[Loaded]) -> bool {
    match loaded {
        [_, _] => true,
        [only] => {
            let measured = &only.measured;
            let others = |approved: &String| measured.sweeps.iter().any(|s| s.taken.batch != *approved);
            measured.file.prototype_batch.as_ref().is_some_and(others)
        }
        _ => false,
    }
}

fn input((path, sha256): &(String, String)) -> InputFile {
    InputFile { path: path.clone(), sha256: sha256.clone() }
}

fn regions(keys: &[String], problems: &mut Vec<Diagnostic>) -> Vec<&'static Row> {
    let find = |key: &str| ROWS.iter().find(|row| row.key == key);
    if keys.is_empty() {
        return DEFAULT_REGIONS.iter().filter_map(|key| find(key)).collect();
    }
    let mut rows = Vec::new();
    for key in keys {
        match find(key) {
            Some(row) => rows.push(row),
            None => {
                let known = ROWS.iter().map(|row| row.key).collect::<Vec<_>>().join(", ");
                let message = format!("no region {key:?}");
                problems.push(
                    Diagnostic::error(crate::diag::codes::UNKNOWN_CHOICE, message)
                        .help(format!("regions known: {known}")),
                );
            }
        }
    }
    rows
}

/// Parts of a bench that its tag.toml does not give, and what stands in for them.
fn not_given(loaded: &Loaded) -> Vec<String> {
    let Some(raw) = &loaded.raw else { return Vec::new() };
    let name = &raw.file.name;
    let mut out = Vec::new();
    let table: toml::Table = toml::from_str(&raw.toml.text).unwrap_or_default();
    let given = table.get("setup").and_then(|s| s.get("polarisation_loss_db")).is_some();
    if !given {
        out.push(format!("{name}: polarisation_loss_db is not given and taken as 0 dB (antenna and tag co-polar); a circular antenna loses 3 dB each way."));
    }
    let u = &raw.file.uncertainty;
    let parts = [
        ("generator", u.generator_sd_db.is_some()),
        ("analyser", u.analyser_sd_db.is_some()),
        ("cable", u.cable_sd_db.is_some()),
        ("antenna gain", u.gain_sd_db.is_some()),
        ("distance", u.distance_half_width_m.is_some()),
        ("mismatch", u.generator_reflection.is_some()),
        ("placing", u.positioning_sd_db.is_some()),
    ];
    let missing: Vec<&str> = parts.into_iter().filter(|(_, there)| !there).map(|(part, _)| part).collect();
    if !missing.is_empty() {
        out.push(format!(
            "{name}: the uncertainty of {} is not given; the budget leaves it out and is too small by it.",
            missing.join(", ")
        ));
    }
    out
}

fn assumed(request: &LabRequest) -> Vec<String> {
    let mut out = vec![
        "Samples differ by a common offset, a frequency shift and a small rest; a whole curve moves together.".to_owned(),
        "The spread of the production has a half-t prior; its scales and degrees of freedom stand in tag.toml ([spread]) or are 1 dB, 2 MHz and 4.".to_owned(),
        format!("Water lowers a resonance by up to {} MHz (belief).", request.water_shift_mhz),
    ];
    if request.folders.len() > 1 {
        out.push(if request.same_laboratory {
            "The tags were measured on one bench: generator, cable, gain and distance are wrong for all of them alike and cancel in every difference.".to_owned()
        } else {
            "The tags were measured by different laboratories: the uncertainty of both levels counts in every difference.".to_owned()
        });
    }
    out
}
