//! `readodds drivers`.

use super::args::{DriversArgs, Format};
use super::failure::{DONE, Failure};
use super::inputs::load;
use super::interrupt;
use super::output::Output;
use super::pictures::Album;
use super::predict::json;
use super::progress::StudyLine;
use crate::report::drivers_text::drivers_text;
use crate::report::pages::drivers::page;
use crate::study::drivers::answer::Refused;
use crate::study::drivers::{Request, answer};
use std::process::ExitCode;

pub fn run(args: &DriversArgs) -> Result<ExitCode, Failure> {
    let output = Output::open(args.out.as_deref())?;
    let album = Album::open(&args.pictures)?;
    let loaded = load(&args.inputs)?;
    interrupt::heed();
    let request = Request {
        seed: args.inputs.seed,
        point: args.point.clone(),
        points: u64::from(args.points).next_power_of_two(),
        passing_points: u64::from(args.passing_points).next_power_of_two(),
        replications: u64::from(args.replications),
        passings_per_race: args.passings_per_race,
    };
    let line = StudyLine::new();
    let result = answer(&loaded.prepared, &request, &loaded.warnings, &interrupt::asked, &|progress| {
        let leader = progress.leader.as_deref().unwrap_or("");
        line.show(progress.stage, progress.done, progress.planned, leader);
    });
    line.done();
    let result = result.map_err(|refused| match refused {
        Refused::Nothing => Failure::BrokenOff(refused.to_string()),
        Refused::NoPoint(_) => Failure::Usage(refused.to_string()),
    })?;
    if album.wanted() {
        album.write(&page(&result))?;
    }
    output.write(&match args.format {
        Format::Text => drivers_text(&result),
        Format::Json => json(&result)?,
    })?;
    Ok(ExitCode::from(if result.interrupted { interrupt::BROKEN_OFF } else { DONE }))
}
