//! `readodds redundancy`.

use super::args::{RedundancyArgs, StudyFormat};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::{files_of, lawful, load};
use super::interrupt;
use super::long_run::{close, open, stopped_early};
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use super::progress::StudyLine;
use crate::estimate::rows_file::Header;
use crate::estimate::run::{Plan, Stopped};
use crate::estimate::shard::WHOLE;
use crate::estimate::world::Ask;
use crate::lab::text;
use crate::report::justification::justification;
use crate::report::pages::redundancy::page;
use crate::report::redundancy_text::redundancy_text;
use crate::study::redundancy::answer::Refused;
use crate::study::redundancy::{Request, answer, catalogue};
use std::path::Path;
use std::process::ExitCode;

pub fn run(args: &RedundancyArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    places.checkpoint(args.checkpoint.as_deref())?;
    let loaded = load(&args.inputs)?;
    places.spare(files_of(&loaded.prepared.course, &loaded.prepared.tag))?;
    let path = &args.inputs.scenario;
    let read = text::read(path).map_err(|d| Failure::Files(vec![*d]))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let (catalogue, _) =
        catalogue::read(&read.source.path, &read.source.text, folder).map_err(Failure::Files)?;
    lawful(catalogue.set_up(&loaded.prepared.course).unlawful_power, args.inputs.allow_unlawful_power)?;
    let request = request(args);
    let masks = Ask::standard_masks(&loaded.prepared);
    let header = || Header::of("redundancy", &loaded.prepared, &request.plan, WHOLE);
    // What stands, its candidates and its floor.
    let mut kept = open(args.checkpoint.as_deref(), header, &masks, 8)?;
    interrupt::heed();
    let line = StudyLine::new();
    let result = answer(
        &loaded.prepared,
        &catalogue,
        &request,
        &loaded.warnings,
        &mut kept,
        &interrupt::asked,
        &|progress| {
            let leader = progress.leader.as_deref().unwrap_or("");
            line.show(progress.stage, progress.done, progress.planned, leader);
        },
    );
    line.done();
    close(&mut kept, result.as_ref().map_or(stopped_early(), |answer| answer.stopped));
    let result = result.map_err(|refused| match refused {
        Refused::Candidate(problems) => Failure::Files(problems),
        Refused::Nothing => Failure::Interrupted(refused.to_string()),
        _ => Failure::Usage(refused.to_string()),
    })?;
    if album.wanted() {
        album.write(&page(&result))?;
    }
    output.write(&match args.format {
        StudyFormat::Text => redundancy_text(&result),
        StudyFormat::Json => json(&result)?,
        StudyFormat::Markdown => justification(&result),
    })?;
    let met = !args.require_layout || result.search.as_ref().is_some_and(|s| s.found.is_some());
    if result.stopped == Stopped::Interrupted {
        return Ok(ExitCode::from(interrupt::INTERRUPTED));
    }
    if !met {
        eprintln!("not met: no layout of the catalogue is proven to keep the target");
    }
    Ok(ExitCode::from(if met { DONE } else { NOT_MET }))
}

fn request(args: &RedundancyArgs) -> Request {
    let mut plan = Plan::new(args.inputs.seed);
    plan.precision.max_passings = args.max_passings;
    plan.worlds = args.worlds;
    Request {
        plan,
        confidence: args.confidence,
        point: args.point.clone(),
        subsets: args
            .lines
            .iter()
            .map(|list| list.split(',').map(|name| name.trim().to_owned()).collect())
            .collect(),
        search: !args.no_search,
        races: args.season_races,
        missed_runner_cost: args.missed_runner_cost,
    }
}
