//! `readodds new`: a first scenario.

use super::args::{Antennas, NewArgs};
use super::failure::{DONE, Failure};
use super::places::Places;
use crate::course::starter::{Answers, Kind, choices, text};
use crate::limits;
use std::process::ExitCode;

pub fn run(args: &NewArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let (region, weather) = choices(&args.region, &args.weather).map_err(Failure::Usage)?;
    for (option, value, limit) in [
        ("--road-width", args.road_width, &limits::ROAD_WIDTH_M),
        ("--runners", args.runners as f64, &limits::RUNNERS),
    ] {
        limit.check(value).map_err(|why| Failure::Usage(format!("{option}: {why}")))?;
    }
    output.write(&text(&Answers {
        name: args.name.clone(),
        region,
        weather,
        runners: args.runners,
        road_width_m: args.road_width,
        kind: match args.antennas {
            Antennas::Mats => Kind::Mats,
            Antennas::Panels => Kind::Panels,
            Antennas::Overhead => Kind::Overhead,
        },
        tag: args.tag.clone(),
    }))?;
    Ok(ExitCode::from(DONE))
}
