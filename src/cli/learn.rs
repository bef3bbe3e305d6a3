//! `readodds learn`.

use super::args::{Format, LearnArgs};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::{cleared, files_of, lawful, read, show_warnings, use_threads};
use super::interrupt;
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use super::progress::StudyLine;
use crate::course::power;
use crate::diag::Diagnostic;
use crate::learn::folder;
use crate::outcome::{race, trial};
use crate::passing::{Prepared, prepare};
use crate::report::learn_text::{doubts, learn_text};
use crate::report::pages::learn::page;
use crate::study::learn::{Given, Plan, answer};
use crate::study::provenance::findings_of;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

/// Room the vectors take at most.
const ROOM_BYTES: u64 = 4 << 20;

pub fn run(args: &LearnArgs, mut places: Places) -> Result<ExitCode, Failure> {
    use_threads(args.threads)?;
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    let write = match &args.write {
        Some(path) => Some(places.folder("--write", path, ROOM_BYTES)?),
        None => None,
    };
    places.spare(args.outcomes.iter().map(PathBuf::as_path))?;
    let (given, warnings) = load(args, &places)?;
    show_warnings(&warnings);
    interrupt::heed();
    let line = StudyLine::new();
    let plan = Plan { seed: args.seed, groups: args.draws, passings_per_world: args.passings };
    let done = answer(&given, &plan, &warnings, &interrupt::asked, &mut |stage| line.show(stage, 0, 1, ""));
    line.done();
    let Some((answer, posterior)) = done.map_err(Failure::Usage)? else {
        return Err(Failure::Interrupted(
            "interrupted: nothing is known yet, and nothing was written".to_owned(),
        ));
    };
    if let Some(folder) = write {
        let from = answer.learned_from.clone();
        let files = folder::files(&posterior, &given[0].prepared, from, doubts(&answer));
        let path = folder.path().to_owned();
        let written = folder.replace(&files.map_err(Failure::Internal)?, |_| false);
        written.map_err(|e| Failure::Write(format!("cannot write {}: {e}", path.display())))?;
    }
    if album.wanted() {
        album.write(&page(&answer))?;
    }
    output.write(&match args.format {
        Format::Text => learn_text(&answer, args.write.as_deref()),
        Format::Json => json(&answer)?,
    })?;
    Ok(ExitCode::from(if doubts(&answer).is_empty() { DONE } else { NOT_MET }))
}

/// Reads every outcome with its scenario, tag and trial; all problems of all files are told together.
fn load(args: &LearnArgs, places: &Places) -> Result<(Vec<Given>, Vec<Diagnostic>), Failure> {
    let (mut given, mut warnings, mut problems): (Vec<Given>, Vec<Diagnostic>, Vec<Diagnostic>) =
        (Vec::new(), Vec::new(), Vec::new());
    let mut unlawful: Vec<String> = Vec::new();
    for path in &args.outcomes {
        let outcome = match race::load(path) {
            Ok((outcome, found)) => {
                warnings.extend(found);
                outcome
            }
            Err(found) => {
                problems.extend(found);
                continue;
            }
        };
        let (course, tag, found) = match read(&outcome.scenario, args.tag.as_deref()) {
            Ok(all) => all,
            Err(Failure::Files(found)) => {
                problems.extend(found);
                continue;
            }
            Err(other) => return Err(other),
        };
        places.spare(files_of(&course, &tag))?;
        for warning in found {
            if !warnings.iter().any(|w: &Diagnostic| w.message == warning.message) {
                warnings.push(warning);
            }
        }
        cleared(findings_of([&tag]), args.despite_findings)?;
        unlawful.extend(
            power::unlawful(&course).into_iter().map(|words| format!("{}: {words}", course.file_hash.0)),
        );
        problems.extend(race::belongs(&outcome, &course));
        let trial = match &outcome.trial {
            None => None,
            Some(file) => {
                places.spare([file.as_path()])?;
                match trial::load(file) {
                    Ok((trial, found)) => {
                        warnings.extend(found);
                        Some(trial)
                    }
                    Err(found) => {
                        problems.extend(found);
                        continue;
                    }
                }
            }
        };
        let same = |g: &&Given| {
            g.outcome.scenario == outcome.scenario && g.outcome.power_lowered_db == outcome.power_lowered_db
        };
        let there = given.iter().find(same).map(|g| (g.prepared.clone(), g.full_power.clone()));
        let (prepared, full_power) = there.unwrap_or_else(|| {
            let mut tag = tag;
            tag.spread.race_effect_db = args.race_effect;
            let full_power: Arc<Prepared> = Arc::new(prepare(Arc::new(course), Arc::new(tag)));
            match outcome.power_lowered_db {
                0.0 => (full_power.clone(), full_power),
                drop_db => (Arc::new(full_power.lowered(drop_db, false)), full_power),
            }
        });
        given.push(Given { outcome, trial, prepared, full_power });
    }
    if !problems.is_empty() {
        return Err(Failure::Files(problems));
    }
    unlawful.sort_unstable();
    unlawful.dedup();
    lawful(unlawful, args.allow_unlawful_power)?;
    alike(&given)?;
    Ok((given, warnings))
}

/// One tag, band and set of beliefs for all that is learned from; no outcome twice.
fn alike(given: &[Given]) -> Result<(), Failure> {
    let first = &given[0];
    let own = folder::Ties::of(&first.prepared.course, &first.prepared.tag);
    for (i, other) in given.iter().enumerate() {
        let ties = folder::Ties::of(&other.prepared.course, &other.prepared.tag);
        let differs = [
            ("tag", ties.tag_sha256 != own.tag_sha256),
            ("region", ties.region != own.region),
            ("beliefs or effects", ties.beliefs_sha256 != own.beliefs_sha256),
        ];
        if let Some((what, _)) = differs.iter().find(|d| d.1) {
            return Err(Failure::Usage(format!(
                "{} and {} do not share their {what}: learn from outcomes of one tag, band and set of beliefs at a time",
                first.outcome.file_hash.0, other.outcome.file_hash.0
            )));
        }
        let twice = given[..i].iter().find(|g| g.outcome.file_hash.1 == other.outcome.file_hash.1);
        if let Some(twice) = twice {
            let (a, b) = (Path::new(&twice.outcome.file_hash.0), Path::new(&other.outcome.file_hash.0));
            return Err(Failure::Usage(format!(
                "{} and {} hold the same outcome: nothing is learned twice from one race",
                a.display(),
                b.display()
            )));
        }
    }
    Ok(())
}
