//! `readodds reads`.

use super::args::{Format, ReadsArgs};
use super::failure::{DONE, Failure};
use super::inputs::show_warnings;
use super::places::{Places, way_from};
use super::predict::json;
use crate::course;
use crate::diag::{Diagnostic, codes};
use crate::outcome::read_log::{Counts, tags};
use crate::outcome::reads::{Reads, load};
use crate::outcome::tag_ids::Ids;
use crate::report::reads_text::{outcome_toml, reads_text};
use crate::study::reads::answer;
use std::path::Path;
use std::process::ExitCode;

pub fn run(args: &ReadsArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let mut write = match &args.write {
        Some(path) => Some(places.file("--write", Some(path.as_path()))?),
        None => None,
    };
    places.spare([args.reads.as_path()])?;
    let (reads, warnings) = load(&args.reads).map_err(Failure::Files)?;
    let lists = reads.handed_out.iter().chain(reads.known.iter().map(|k| &k.tags));
    let inputs = reads.logs.iter().map(|log| log.file.as_path()).chain(lists.map(|l| l.file.as_path()));
    places.spare(inputs.chain([reads.scenario.as_path()]))?;
    let (course, more) = course::load(&reads.scenario).map_err(Failure::Files)?;
    show_warnings(&warnings);
    show_warnings(&more);
    let mut problems = belongs(&reads, &course, &args.reads);
    let ids = Ids::new().map_err(Failure::Internal)?;
    let mut list = |of| {
        tags(of, &ids).unwrap_or_else(|found| {
            problems.extend(found);
            Default::default()
        })
    };
    let handed_out = reads.handed_out.as_ref().map(&mut list);
    let known: Vec<_> = reads.known.iter().map(|k| list(&k.tags)).collect();
    if !problems.is_empty() {
        return Err(Failure::Files(problems));
    }
    let mut counts = Counts::default();
    for log in &reads.logs {
        problems.extend(counts.add(log, &ids, handed_out.as_ref()));
    }
    if !problems.is_empty() {
        return Err(Failure::Files(problems));
    }
    let answer = answer(&reads, &course, &counts, &known);
    if let (Some(file), Some(path)) = (&mut write, &args.write) {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        file.write(&outcome_toml(&answer, &way_from(folder, &reads.scenario)?))?;
    }
    output.write(&match args.format {
        Format::Text => reads_text(&answer, args.write.as_deref()),
        Format::Json => json(&answer)?,
    })?;
    Ok(ExitCode::from(DONE))
}

/// What the logs name that the scenario does not have.
fn belongs(reads: &Reads, course: &course::Course, path: &Path) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let mut unknown = |what: &str, name: &str, there: Vec<&str>| {
        let message = format!("{}: no {what} \"{name}\" in the scenario", path.display());
        let one = Diagnostic::error(codes::OUTCOME_POINT, message);
        found.push(one.help(format!("{what}s of the scenario: {}", there.join(", "))));
    };
    let points = || course.points.iter().map(|p| p.name.as_str()).collect::<Vec<_>>();
    let named = reads.logs.iter().map(|l| &l.point).chain(reads.known.iter().map(|k| &k.point));
    for point in named {
        if !points().contains(&point.as_str()) {
            unknown("point", point, points());
        }
    }
    for log in &reads.logs {
        let Some(point) = course.points.iter().find(|p| p.name == log.point) else { continue };
        let lines: Vec<&str> = point.lines.iter().map(|l| l.name.as_str()).collect();
        for (line, _) in &log.lines {
            if !lines.contains(&line.as_str()) {
                unknown("line", line, lines.clone());
            }
        }
    }
    found
}
