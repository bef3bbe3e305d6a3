//! `readodds lab`.

use super::args::{Format, LabArgs};
use super::failure::{DONE, Failure};
use super::inputs::show_warnings;
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use crate::report::lab_text::lab_text;
use crate::report::pages::lab::page;
use crate::study::lab::{LabRequest, run as study};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

pub fn run(args: &LabArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    if let Some(folder) = &args.write {
        places.take("--write", folder, true)?;
    }
    places.spare(inside(&args.folders).iter().map(PathBuf::as_path))?;
    let request = LabRequest {
        folders: args.folders.clone(),
        regions: args.regions.clone(),
        level: args.level,
        same_laboratory: !args.different_laboratories,
        equivalence_margin_db: args.equivalent_within,
        write_to: args.write.clone(),
        force: places.force(),
        ..LabRequest::default()
    };
    let (answer, warnings) = study(&request).map_err(Failure::Files)?;
    // Benches and corrections may lie elsewhere.
    places.spare(answer.inputs.iter().map(|input| Path::new(&input.path)))?;
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

/// The folders and what lies in them: all of it may be read.
fn inside(folders: &[PathBuf]) -> Vec<PathBuf> {
    let listed = folders.iter().filter_map(|folder| std::fs::read_dir(folder).ok());
    let files = listed.flatten().flatten().map(|entry| entry.path());
    folders.iter().cloned().chain(files).collect()
}
