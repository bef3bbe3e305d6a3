//! `readodds drivers`.

use super::args::{DriversArgs, Format};
use super::failure::{DONE, Failure};
use super::inputs::{files_of, load};
use super::interrupt;
use super::places::Places;
use super::pictures::Album;
use super::predict::json;
use super::progress::Line;
use crate::estimate::run::{Plan, Progress, Stopped};
use crate::report::drivers_text::drivers_text;
use crate::report::pages::drivers::page;
use crate::study::drivers::{Refused, answer};
use std::process::ExitCode;

pub fn run(args: &DriversArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    let loaded = load(&args.inputs)?;
    places.spare(files_of(&loaded.prepared.course, &loaded.prepared.tag))?;
    interrupt::heed();
    let mut plan = Plan::new(args.inputs.seed);
    plan.precision.max_passings = args.max_passings;
    let line = Line::new();
    let point = args.point.as_deref();
    let mut show = |progress: &Progress| line.show(progress);
    let result = answer(&loaded.prepared, &plan, point, &loaded.warnings, &interrupt::asked, &mut show);
    line.done();
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
