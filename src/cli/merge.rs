//! `readodds merge`: shards to the forecast of the whole run.

use super::args::{Inputs, MergeArgs};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::{files_of, load};
use super::long_run::exit_code;
use super::pictures::Album;
use super::places::Places;
use super::predict::{met, render};
use crate::estimate::merge::merge;
use crate::estimate::rows_file::{Header, read};
use crate::estimate::run::{FORECAST, Run, Stopped};
use crate::study::predict::forecast;
use std::path::PathBuf;
use std::process::ExitCode;

pub fn run(args: &MergeArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    let named = row_files(&args.rows)?;
    places.spare(named.iter().map(PathBuf::as_path))?;
    let mut files = Vec::new();
    let mut problems = Vec::new();
    for path in named {
        match read(&path) {
            Ok(file) => files.push((path.display().to_string(), file)),
            Err(problem) => problems.push(problem),
        }
    }
    if !problems.is_empty() {
        return Err(Failure::Usage(problems.join("\n")));
    }
    let (header, part) = merge(files).map_err(|problems| Failure::Usage(problems.join("\n")))?;
    if let Some(seed) = args.seed.filter(|&seed| seed != header.plan.seed) {
        return Err(Failure::Usage(format!(
            "the rows were made with --seed {}, not {seed}; leave --seed out to take theirs",
            header.plan.seed
        )));
    }
    let loaded = load(&Inputs {
        scenario: args.scenario.clone(),
        tag: args.tag.clone(),
        seed: header.plan.seed,
        threads: args.threads,
        allow_unlawful_power: args.allow_unlawful_power,
        despite_findings: args.despite_findings,
        learned: args.learned.clone(),
    })?;
    places.spare(files_of(&loaded.prepared.course, &loaded.prepared.tag))?;
    let here = Header::of(FORECAST, &loaded.prepared, &header.plan, header.shard);
    let differences = here.differences(&header);
    if !differences.is_empty() {
        return Err(Failure::Usage(format!(
            "the rows do not come from this scenario and program: {}",
            differences.join("; ")
        )));
    }
    if !part.is_honest(&loaded.prepared) {
        return Err(Failure::Usage(
            "the rows are not those that this program works out from these files; run the shards again"
                .to_owned(),
        ));
    }
    let plan = header.plan.clone();
    let run = Run { ask: part.ask, rows: part.rows, stopped: Stopped::WorldsDone };
    let forecast = forecast(&loaded.prepared, &plan, &run, &loaded.warnings);
    output.write(&render(&forecast, args.format, args.full)?)?;
    album.forecast(&loaded.prepared, &forecast)?;
    Ok(exit_code(forecast.stopped, if met(&forecast, args.require) { DONE } else { NOT_MET }))
}

/// Files as named, folders as the `.rows` files in them, in the order of their names.
fn row_files(named: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for path in named {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let listed = std::fs::read_dir(path)
            .map_err(|error| Failure::Usage(format!("cannot read {}: {error}", path.display())))?;
        let mut inside: Vec<PathBuf> = listed
            .filter_map(|entry| entry.ok().map(|entry| entry.path()))
            .filter(|path| path.extension().is_some_and(|extension| extension == "rows"))
            .collect();
        if inside.is_empty() {
            return Err(Failure::Usage(format!("{} holds no .rows file", path.display())));
        }
        inside.sort();
        files.append(&mut inside);
    }
    for (k, path) in files.iter().enumerate() {
        let same = |other: &&PathBuf| std::fs::canonicalize(other).ok() == std::fs::canonicalize(path).ok();
        if let Some(other) = files[..k].iter().filter(|other| other.exists()).find(same) {
            let also = if other == path { String::new() } else { format!(", as {} too", other.display()) };
            return Err(Failure::Usage(format!(
                "{} is named twice{also}; name each file of rows once",
                path.display()
            )));
        }
    }
    Ok(files)
}
