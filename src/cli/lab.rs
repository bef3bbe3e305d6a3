//! `readodds lab`.

use super::args::{Format, LabArgs};
use super::failure::{DONE, Failure};
use super::inputs::show_warnings;
use super::output::Output;
use super::pictures::Album;
use super::predict::json;
use crate::report::lab_text::lab_text;
use crate::report::pages::lab::page;
use crate::study::lab::{LabRequest, run as study};
use std::process::ExitCode;

pub fn run(args: &LabArgs) -> Result<ExitCode, Failure> {
    let output = Output::open(args.out.as_deref())?;
    let album = Album::open(&args.pictures)?;
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
    if album.wanted() {
        let load = |folder| crate::study::lab::load(folder).map(|loaded| loaded.measured);
        let sessions =
            args.folders.iter().map(|f| load(f)).collect::<Result<Vec<_>, _>>().map_err(Failure::Files)?;
        album.write(&page(&answer, &sessions))?;
    }
    output.write(&text)?;
    Ok(ExitCode::from(DONE))
}
