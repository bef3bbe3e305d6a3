//! `readodds drivers`.

use super::args::{DriversArgs, Format};
use super::failure::{DONE, Failure};
use super::inputs::{files_of, load};
use super::interrupt;
use super::long_run::{close, open, stopped_early};
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use super::progress::Line;
use crate::estimate::rows_file::Header;
use crate::estimate::run::{FORECAST, Plan, Progress, Stopped};
use crate::estimate::shard::WHOLE;
use crate::estimate::world::Ask;
use crate::report::drivers_text::drivers_text;
use crate::report::pages::drivers::page;
use crate::study::drivers::{Refused, answer};
use std::process::ExitCode;

pub fn run(args: &DriversArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    places.checkpoint(args.checkpoint.as_deref())?;
    let loaded = load(&args.inputs)?;
    places.spare(files_of(&loaded.prepared.course, &loaded.prepared.tag))?;
    let mut plan = Plan::new(args.inputs.seed);
    plan.precision.max_passings = args.max_passings;
    let masks = Ask::standard_masks(&loaded.prepared);
    // The worlds of a forecast: `predict` and `drivers` go on from each other's.
    let header = || Header::of(FORECAST, &loaded.prepared, &plan, WHOLE);
    let mut kept = open(args.checkpoint.as_deref(), header, &masks, 1)?;
    interrupt::heed();
    let line = Line::new();
    let point = args.point.as_deref();
    let mut show = |progress: &Progress| line.show(progress);
    let result =
        answer(&loaded.prepared, &plan, point, &loaded.warnings, &mut kept, &interrupt::asked, &mut show);
    line.done();
    close(&mut kept, result.as_ref().map_or(stopped_early(), |answer| answer.stopped));
    let result = result.map_err(|refused| match refused {
        Refused::Nothing => Failure::Interrupted(refused.to_string()),
        Refused::NoPoint(_) => Failure::Usage(refused.to_string()),
    })?;
    if album.wanted() {
        album.write(&page(&result))?;
    }
    output.write(&match args.format {
        Format::Text => drivers_text(&result),
        Format::Json => json(&result)?,
    })?;
    Ok(ExitCode::from(if result.stopped == Stopped::Interrupted { interrupt::INTERRUPTED } else { DONE }))
}
