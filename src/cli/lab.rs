//! `readodds lab`.

use super::args::{Format, LabArgs};
use super::failure::{DONE, Failure};
use super::inputs::show_warnings;
use super::output::Output;
use super::predict::json;
use crate::report::lab_text::lab_text;
use crate::study::lab::{LabRequest, run as study};
use std::process::ExitCode;

pub fn run(args: &LabArgs) -> Result<ExitCode, Failure> {
    let output = Output::open(args.out.as_deref())?;
    let request = LabRequest {
        folders: args.folders.clone(),
        regions: args.regions.clone(),
        level: args.level,
        same_laboratory: !args.different_laboratories,
        equivalence_margin_db: args.equivalent_within,
        write_to: args.write.clone(),
        force: args.force,
        ..LabRequest::default()
    };
    let (answer, warnings) = study(&request).map_err(Failure::Files)?;
    show_warnings(&warnings);
    let text = match args.format {
        Format::Text => lab_text(&answer),
        Format::Json => json(&answer)?,
    };
    output.write(&text)?;
    Ok(ExitCode::from(DONE))
}
