//! `readodds check` and `readodds schema`.

use super::args::{CheckArgs, Format, SchemaOf};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::{files_of, read_files};
use super::output::Output;
use super::places::Places;
use super::predict::json;
use crate::course::schema::json_schema;
use crate::lab::text;
use crate::report::check_text::{check_text, season_text};
use crate::study::check::season::check_season;
use crate::study::check::{TagCover, check};
use crate::study::provenance::SetUp;
use crate::study::redundancy::catalogue;
use crate::study::season::{file, resolve};
use std::path::Path;
use std::process::ExitCode;

pub fn run(args: &CheckArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let read = text::read(&args.scenario).map_err(|d| Failure::Files(vec![*d]))?;
    // A calendar of scenarios is a season.
    if read.source.text.lines().any(|line| line.trim_end() == "[[scenario]]") {
        return season(args, output, places);
    }
    let (course, tag, warnings) = read_files(&args.scenario, args.tag.as_deref())?;
    places.spare(files_of(&course, &tag))?;
    if args.resolved {
        output.write(&course.resolved_toml())?;
        return Ok(ExitCode::from(DONE));
    }
    let cover = TagCover {
        name: tag.name.clone(),
        swept_mhz: tag.curve.covered_mhz(),
        file_hashes: tag.file_hashes.clone(),
    };
    let folder = args.scenario.parent().unwrap_or(Path::new(""));
    let (catalogue, _) =
        catalogue::read(&read.source.path, &read.source.text, folder).map_err(Failure::Files)?;
    // Candidates of our own are ours to answer for.
    let candidates = if catalogue.built_in { SetUp::default() } else { catalogue.set_up(&course) };
    let report = check(&course, &cover, &candidates, &warnings);
    output.write(&match args.format {
        Format::Text => check_text(&report),
        Format::Json => json(&report)?,
    })?;
    Ok(ExitCode::from(if report.is_clear() { DONE } else { NOT_MET }))
}

fn season(args: &CheckArgs, mut output: Output, places: Places) -> Result<ExitCode, Failure> {
    let (season, mut warnings) = file::load(&args.scenario).map_err(Failure::Files)?;
    let (resolved, more) = resolve::resolve(&season).map_err(Failure::Files)?;
    warnings.extend(more);
    places.spare(resolved.file_hashes.iter().map(|(path, _)| Path::new(path)))?;
    if args.resolved || args.tag.is_some() {
        return Err(Failure::Usage(
            "--resolved and --tag are for one scenario; a season names its tags itself".to_owned(),
        ));
    }
    let report = check_season(&season, &resolved, &warnings);
    output.write(&match args.format {
        Format::Text => season_text(&report),
        Format::Json => json(&report)?,
    })?;
    Ok(ExitCode::from(if report.is_clear() { DONE } else { NOT_MET }))
}

pub fn schema(of: SchemaOf) -> Result<ExitCode, Failure> {
    let schema = match of {
        SchemaOf::Scenario => json_schema(),
        SchemaOf::Tag => crate::lab::schema::referred(),
        SchemaOf::RawTag => crate::lab::schema::raw(),
    };
    Output::Stdout.write(&json(&schema)?)?;
    Ok(ExitCode::from(DONE))
}
