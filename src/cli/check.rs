//! `readodds check` and `readodds schema`.

use super::args::{CheckArgs, Format, SchemaOf};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::{files_of, read_files};
use super::output::Output;
use super::places::Places;
use super::predict::json;
use crate::course::schema::json_schema;
use crate::report::check_text::check_text;
use crate::study::check::{TagCover, check};
use std::process::ExitCode;

pub fn run(args: &CheckArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
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
    let report = check(&course, &cover, &warnings);
    output.write(&match args.format {
        Format::Text => check_text(&report),
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
