//! A tag folder to a tag: read, choose, align, and say what the samples cannot tell.

use super::align::{Alignment, Track, align};
use super::censored::mean_level;
use super::interval::placement_sd;
use super::spread::Spread;
use super::{MountCurve, Tag, TagCurve, mounts, plausible};
use crate::diag::{Checked, Diagnostic, Severity, Source, codes};
use crate::lab::tag_file::{self, DEFAULT_LAB_BIAS_SD_DB, FindingFile, TagFile};
use crate::lab::{Level, Mount, Sweep, parse, sweep, text};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A tag with everything its curve came from.
#[derive(Clone, Debug)]
pub struct Measured {
    pub tag: Tag,
    pub file: TagFile,
    /// Every sweep read, also those the curve leaves out.
    pub sweeps: Vec<Sweep>,
    /// Link profile of the curve, empty when the files name none.
    pub link: String,
    /// Samples of the curve, in order of first appearance.
    pub samples: Vec<String>,
    /// Mounts of the alignment, from free air to the closest.
    pub mounts: Vec<Mount>,
    /// Frequencies of each mount, MHz.
    pub grid_mhz: Vec<Vec<f64>>,
    pub alignment: Alignment,
}

/// Reads a tag folder (or its `tag.toml`): curve of the average sample and the spread between samples.
pub fn load(folder: &Path) -> Checked<Tag> {
    measured(folder).map(|(measured, warnings)| (measured.tag, warnings))
}

/// The same with all that led to it.
pub fn measured(folder: &Path) -> Checked<Measured> {
    let toml_path = if folder.extension().is_some_and(|e| e == "toml") {
        folder.to_owned()
    } else {
        folder.join("tag.toml")
    };
    let folder = toml_path.parent().unwrap_or(Path::new("")).to_owned();
    let toml =
        text::read(&toml_path).map_err(|d| vec![d.help("a tag is a folder with tag.toml and CSV sweeps")])?;
    let file = tag_file::read(&toml.source)?;
    let mut found = Vec::new();
    let mut file_hashes = vec![(toml.source.path.clone(), toml.sha256)];
    let mut sweeps: Vec<Sweep> = Vec::new();
    for path in sweep_paths(&folder, &file, &toml.source, &mut found) {
        match text::read(&path) {
            Err(problem) => found.push(*problem),
            Ok(csv) => {
                file_hashes.push((csv.source.path.clone(), csv.sha256));
                match parse::referred_csv(&csv.source, file.own_spacer_mm) {
                    Ok((read, warnings)) => {
                        found.extend(warnings);
                        sweeps.extend(read);
                    }
                    Err(problems) => found.extend(problems),
                }
            }
        }
    }
    if sweeps.is_empty() && !failed(&found) {
        found.push(
            Diagnostic::error("tag-sweeps", "no sweeps found")
                .in_file(&toml.source)
                .help("put CSV sweeps beside tag.toml"),
        );
    }
    if failed(&found) {
        return Err(found);
    }
    from_sweeps(file, &toml.source, sweeps, file_hashes, found)
}

fn failed(found: &[Diagnostic]) -> bool {
    found.iter().any(|d| d.severity == Severity::Error)
}

fn sweep_paths(
    folder: &Path,
    file: &TagFile,
    toml: &Arc<Source>,
    found: &mut Vec<Diagnostic>,
) -> Vec<PathBuf> {
    if let Some(names) = &file.sweeps {
        return names.iter().map(|name| folder.join(name)).collect();
    }
    let listed = match std::fs::read_dir(if folder.as_os_str().is_empty() { Path::new(".") } else { folder })
    {
        Ok(listed) => listed,
        Err(e) => {
            found.push(
                Diagnostic::error(codes::FILE_MISSING, format!("cannot list the folder: {e}")).in_file(toml),
            );
            return Vec::new();
        }
    };
    // Sorted by name: the order of a directory is no promise.
    let mut names: Vec<_> = listed.flatten().map(|entry| entry.file_name()).collect();
    names.sort();
    names
        .iter()
        .filter(|name| Path::new(name).extension().is_some_and(|e| e.eq_ignore_ascii_case("csv")))
        .map(|name| folder.join(name))
        .collect()
}

/// The value named in tag.toml, or the only one, or the commonest with a warning.
fn choose(
    what: &str,
    key: &str,
    wanted: &Option<String>,
    present: impl Iterator<Item = String>,
    toml: &Arc<Source>,
    found: &mut Vec<Diagnostic>,
) -> Option<String> {
    let mut counts: Vec<(String, usize)> = Vec::new();
    for name in present {
        match counts.iter_mut().find(|(n, _)| *n == name) {
            Some((_, count)) => *count += 1,
            None => counts.push((name, 1)),
        }
    }
    let names = counts.iter().map(|(n, _)| format!("{n:?}")).collect::<Vec<_>>().join(", ");
    if let Some(wanted) = wanted {
        if !counts.iter().any(|(n, _)| n == wanted) {
            found.push(
                Diagnostic::error("tag-choice", format!("{key} = {wanted:?}, but the sweeps hold {names}"))
                    .at(toml, crate::lab::toml_text::place(toml, &[key]))
                    .help("name one of those, or leave the key out"),
            );
        }
        return Some(wanted.clone());
    }
    let most = counts.iter().map(|(_, count)| *count).max()?;
    let chosen = counts.iter().find(|(_, count)| *count == most)?.0.clone();
    if counts.len() > 1 {
        found.push(
            Diagnostic::warning(
                "tag-choice",
                format!("the sweeps hold {what}s {names}; the curve takes {chosen:?}"),
            )
            .in_file(toml)
            .help(format!("choose with `{key} = \"...\"` in tag.toml")),
        );
    }
    Some(chosen)
}

/// A tag from sweeps already at hand (read from a referred folder, or just referred). `found` carries the warnings so
/// far.
pub fn from_sweeps(
    file: TagFile,
    toml: &Arc<Source>,
    sweeps: Vec<Sweep>,
    file_hashes: Vec<(String, String)>,
    mut found: Vec<Diagnostic>,
) -> Checked<Measured> {
    found.extend(sweep::clashes(&sweeps));
    found.extend(plausible::implausible(&sweeps));
    found.extend(plausible::copies(&sweeps));
    if let Some(wanted) = &file.prototype_batch
        && !sweeps.iter().any(|s| s.taken.batch == *wanted)
    {
        let message = format!("prototype_batch = {wanted:?}, but no sweep was taken of it");
        let at = crate::lab::toml_text::place(toml, &["prototype_batch"]);
        found.push(
            Diagnostic::error("tag-batch", message)
                .at(toml, at)
                .help("name one of the batches of the sweeps"),
        );
    }
    let link =
        choose("link profile", "link", &file.link, sweeps.iter().map(|s| s.link.clone()), toml, &mut found);
    let bodies = sweeps.iter().filter_map(|s| match &s.mount {
        Mount::Phantom { name, .. } => Some(name.clone()),
        Mount::FreeAir => None,
    });
    let phantom = choose("phantom", "phantom", &file.phantom, bodies, toml, &mut found);
    if failed(&found) {
        return Err(found);
    }
    let used: Vec<&Sweep> = sweeps
        .iter()
        .filter(|s| link.as_ref().is_none_or(|link| *link == s.link))
        .filter(|s| match &s.mount {
            Mount::Phantom { name, .. } => phantom.as_ref() == Some(name),
            Mount::FreeAir => true,
        })
        .collect();
    let groups = mounts::group(&used, toml, &mut found);
    if failed(&found) {
        return Err(found);
    }
    let tracks: Vec<Vec<Option<Track>>> = groups
        .mounts
        .iter()
        .map(|mount| groups.samples.iter().map(|s| track(&used, mount, s)).collect())
        .collect();
    let grid_mhz: Vec<Vec<f64>> = groups.mounts.iter().map(|mount| mounts::grid(&used, mount)).collect();
    let alignment = align(&tracks, &grid_mhz, groups.samples.len(), file.power_step_db.unwrap_or(0.0));
    let curves = mounts::curves(&used, &groups, &grid_mhz, &tracks, &alignment, toml, &mut found);
    if failed(&found) {
        return Err(found);
    }
    for finding in &file.finding {
        let words = format!("found when it was measured: {}", finding.sentence().trim_end_matches('.'));
        let help = if finding.serious {
            "clear it up in the laboratory, measure again, and write the folder anew with `readodds lab --write`"
        } else {
            "`readodds lab` says more"
        };
        found.push(Diagnostic::warning(codes::TAG_FINDING, words).in_file(toml).help(help));
    }
    let spread = spread(&file, &alignment, toml, &mut found);
    let tag = Tag {
        name: file.name.clone(),
        note: file.note.clone(),
        own_spacer_mm: file.own_spacer_mm,
        price: file.price,
        curve: TagCurve::new(curves.into_iter().map(MountCurve::from).collect()),
        spread,
        findings: file.finding.iter().filter(|f| f.serious).map(FindingFile::sentence).collect(),
        learned_from: None,
        file_hashes,
    };
    let (samples, mounts) = (groups.samples, groups.mounts);
    let link = link.unwrap_or_default();
    Ok((Measured { tag, file, sweeps, link, samples, mounts, grid_mhz, alignment }, found))
}

/// Threshold readings of one sample in one mount; repeats are averaged frequency by frequency.
fn track(used: &[&Sweep], mount: &Mount, sample: &str) -> Option<Track> {
    let mut points: Vec<(f64, Level)> = used
        .iter()
        .filter(|s| s.sample == sample && s.mount == *mount)
        .flat_map(|s| s.readings.iter().filter_map(|r| r.threshold_dbm.map(|t| (r.freq_mhz, t))))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut merged: Vec<(f64, Level)> = Vec::new();
    for same in points.chunk_by(|a, b| a.0 == b.0) {
        // The scatter of repeats weighs alike on all of them; its size only matters beside a limit.
        let levels: Vec<(Level, f64)> = same.iter().map(|p| (p.1, 0.3)).collect();
        merged.push((same[0].0, mean_level(&levels, 0.0).map_or(same[0].1, Level::Exact)));
    }
    (!merged.is_empty()).then(|| Track::new(&merged))
}

fn sample_sd(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    if n < 2.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0)).sqrt()
}

fn spread(file: &TagFile, alignment: &Alignment, toml: &Arc<Source>, found: &mut Vec<Diagnostic>) -> Spread {
    let samples = alignment.offset_db.len();
    let (offset_sd, shift_sd) = (sample_sd(&alignment.offset_db), sample_sd(&alignment.shift_mhz));
    let given = &file.spread;
    let offset_sigma_db = given.offset_ground(alignment.offset_noise).posterior(samples, offset_sd);
    let shift_sigma_mhz = given.shift_ground(alignment.shift_noise).posterior(samples, shift_sd);
    if samples < 3 && given.offset_sd_db.is_none() {
        let (low, high) = (offset_sigma_db.quantile(0.025), offset_sigma_db.quantile(0.975));
        let count = if samples == 1 { "one sample".to_owned() } else { format!("{samples} samples") };
        found.push(
            Diagnostic::warning(
                "tag-few-samples",
                format!("with {count} the production spread is {low:.1} to {high:.1} dB (95 %)"),
            )
            .in_file(toml)
            .help("measure at least three samples, better five"),
        );
    }
    Spread {
        samples,
        observed_offset_sd_db: offset_sd,
        observed_shift_sd_mhz: shift_sd,
        offset_sigma_db,
        shift_sigma_mhz,
        lab_bias_sd_db: file.lab_bias_sd_db.unwrap_or(DEFAULT_LAB_BIAS_SD_DB),
        placing_sd_db: placement_sd(alignment).map(|(sd, _)| sd).or(file.placing_sd_db).unwrap_or(0.0),
        race_effect_db: 0.0,
    }
}
