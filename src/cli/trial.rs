//! `readodds trial`.

use super::args::{Format, TrialArgs};
use super::failure::{DONE, Failure};
use super::inputs::{believe, cleared, files_of, lawful, read, show_warnings, use_threads};
use super::interrupt;
use super::pictures::Album;
use super::places::{Places, way_from};
use super::predict::json;
use super::progress::StudyLine;
use crate::course::{Course, power};
use crate::learn::RACE_EFFECT_DB;
use crate::learn::design::Task;
use crate::learn::folder::{self, Ties};
use crate::passing::{Prepared, prepare};
use crate::report::pages::trial::page;
use crate::report::trial_sheet::files;
use crate::report::trial_text::trial_text;
use crate::study::provenance::findings_of;
use crate::study::trial::{Plan, answer};
use crate::tag::Tag;
use std::process::ExitCode;
use std::sync::Arc;

/// Room the files take at most.
const ROOM_BYTES: u64 = 1 << 20;

pub fn run(args: &TrialArgs, mut places: Places) -> Result<ExitCode, Failure> {
    use_threads(args.threads)?;
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    let write = match &args.write {
        Some(path) => Some(places.folder("--write", path, ROOM_BYTES)?),
        None => None,
    };
    let yard_path = args.yard.as_deref().unwrap_or(&args.scenario);
    let (race, tag, mut warnings) = read(&args.scenario, args.tag.as_deref())?;
    let (yard, yard_tag, more) = read(yard_path, args.tag.as_deref())?;
    for warning in more {
        if !warnings.iter().any(|w| w.message == warning.message) {
            warnings.push(warning);
        }
    }
    places.spare(files_of(&race, &tag))?;
    places.spare(files_of(&yard, &yard_tag))?;
    cleared(findings_of([&tag]), args.despite_findings)?;
    show_warnings(&warnings);
    alike(&race, &tag, &yard, &yard_tag)?;
    let mut unlawful = Vec::new();
    for course in [&race, &yard] {
        let of = power::unlawful(course).into_iter();
        unlawful.extend(of.map(|words| format!("{}: {words}", course.file_hash.0)));
    }
    unlawful.sort_unstable();
    unlawful.dedup();
    lawful(unlawful, args.allow_unlawful_power)?;
    let learned = args.learned.as_ref().map(|folder| Ok((folder::load(folder)?.0, folder)));
    let learned = learned.transpose().map_err(Failure::Files)?;
    let prepared = |course: Course, mut tag: Tag| {
        tag.spread.race_effect_db = RACE_EFFECT_DB;
        let mut prepared = prepare(Arc::new(course), Arc::new(tag));
        let told = match &learned {
            Some((learned, folder)) => believe(&mut prepared, learned, folder)?,
            None => Vec::new(),
        };
        Ok((Arc::new(prepared), told))
    };
    let ((race, told), (yard, _)) = (prepared(race, tag)?, prepared(yard, yard_tag)?);
    show_warnings(&told);
    warnings.extend(told);
    let task = Task {
        race_point: point(&race, args.point.as_deref())?,
        yard_point: point(&yard, None)?,
        race,
        yard,
        people: args.people as usize,
        seed: args.seed,
        groups: args.draws,
        passings: args.passings,
    };
    let plan = Plan { minutes: args.minutes, seconds_between: args.seconds };
    interrupt::heed();
    let line = StudyLine::new();
    let done = answer(&task, &plan, &warnings, &interrupt::asked, &mut |stage| line.show(stage, 0, 1, ""));
    line.done();
    let Some(answer) = done.map_err(Failure::Usage)? else {
        return Err(Failure::Interrupted(
            "interrupted: nothing is known yet, and nothing was written".to_owned(),
        ));
    };
    if album.wanted() {
        album.write(&page(&answer))?;
    }
    if let Some(folder) = write {
        let path = folder.path().to_owned();
        let written = folder.replace(&files(&answer, &way_from(&path, yard_path)?), |_| false);
        written.map_err(|e| Failure::Write(format!("cannot write {}: {e}", path.display())))?;
    }
    output.write(&match args.format {
        Format::Text => trial_text(&answer, args.write.as_deref()),
        Format::Json => json(&answer)?,
    })?;
    Ok(ExitCode::from(DONE))
}

/// The point of a name, or the finish, or the only one.
fn point(prepared: &Prepared, name: Option<&str>) -> Result<usize, Failure> {
    let course = &prepared.course;
    let found = match name {
        Some(name) => course.points.iter().position(|p| p.name == name),
        None if course.points.len() == 1 => Some(0),
        None => course.points.iter().position(|p| p.is_finish),
    };
    found.ok_or_else(|| {
        let names: Vec<&str> = course.points.iter().map(|p| p.name.as_str()).collect();
        let wanted = name.map_or("a finish".to_owned(), |name| format!("{name:?}"));
        Failure::Usage(format!("{} has no {wanted}; it has {}", course.file_hash.0, names.join(", ")))
    })
}

/// What is learned in the yard must hold in the race: one tag, band and set of beliefs.
fn alike(race: &Course, tag: &Tag, yard: &Course, yard_tag: &Tag) -> Result<(), Failure> {
    let (a, b) = (Ties::of(race, tag), Ties::of(yard, yard_tag));
    let differs = [
        ("tag", a.tag_sha256 != b.tag_sha256),
        ("region", a.region != b.region),
        ("beliefs or effects", a.beliefs_sha256 != b.beliefs_sha256),
    ];
    match differs.iter().find(|d| d.1) {
        Some((what, _)) => Err(Failure::Usage(format!(
            "{} and {} do not share their {what}: what is walked there would teach nothing about the race (--tag gives both the same tag)",
            race.file_hash.0, yard.file_hash.0
        ))),
        None => Ok(()),
    }
}
