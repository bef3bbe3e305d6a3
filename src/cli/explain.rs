//! `readodds explain`.

use super::args::{ExplainArgs, TraceFormat};
use super::failure::{DONE, Failure};
use super::inputs::{files_of, load};
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use crate::random::{MAX_PASSINGS, MAX_RACES};
use crate::report::explain_text::{story_text, trace_csv, worst_text};
use crate::report::pages::explain::page;
use crate::report::words::first_lines;
use crate::study::explain::{Answer, explain};
use crate::study::which_point::which_point;
use crate::study::worst::{Search, worst};
use std::process::ExitCode;

/// How far `--worst` looks.
const SEARCH: Search = Search { races: 60, per_stratum: 40 };
/// Rounds printed as text.
const ROUNDS_SHOWN: usize = 24;

pub fn run(args: &ExplainArgs, mut places: Places) -> Result<ExitCode, Failure> {
    if args.race >= MAX_RACES || args.passing >= MAX_PASSINGS {
        return Err(Failure::Usage(format!(
            "--race must stay below {MAX_RACES} and --passing below {MAX_PASSINGS}"
        )));
    }
    if args.inputs.learned.is_some() {
        return Err(Failure::Usage(
            "--learned is not for explain: it replays single passings, drawn from the beliefs of the scenario".to_owned(),
        ));
    }
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    if album.wanted() && args.worst.is_some() {
        return Err(Failure::Usage(
            "--worst tells passings in text or json; --html and --figures draw one passing, by --race and --passing"
                .to_owned(),
        ));
    }
    let prepared = load(&args.inputs)?.prepared;
    places.spare(files_of(&prepared.course, &prepared.tag))?;
    let point = which_point(&prepared.course, args.point.as_deref())
        .map_err(|missing| Failure::Usage(missing.to_string()))?;
    let name = &prepared.points[point].name;
    let seed = args.inputs.seed;
    let passings = match args.worst {
        Some(count) => worst(&prepared, seed, point, SEARCH, count),
        None => vec![explain(&prepared, seed, point, args.race, args.passing, true)],
    };
    let answer = Answer::new(&prepared, seed, passings);
    if album.wanted() {
        album.write(&page(&answer, &prepared))?;
    }
    let mut text = String::new();
    first_lines(&mut text, &answer.provenance);
    let text = match (args.format, args.worst) {
        (TraceFormat::Json, _) => json(&answer)?,
        (TraceFormat::Text, Some(_)) => text + &worst_text(name, &answer.passings, SEARCH.races),
        (TraceFormat::Text, None) => text + &story_text(&answer.passings[0], ROUNDS_SHOWN),
        (TraceFormat::Csv, Some(_)) => {
            return Err(Failure::Usage(
                "--worst tells passings in text or json; csv is the trace of one passing".to_owned(),
            ));
        }
        (TraceFormat::Csv, None) => {
            trace_csv(&answer.passings[0]).map_err(|e| Failure::Internal(format!("cannot write CSV: {e}")))?
        }
    };
    output.write(&text)?;
    Ok(ExitCode::from(DONE))
}
