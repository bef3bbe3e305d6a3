//! `readodds score`.

use super::args::{Format, ScoreArgs};
use super::failure::{DONE, Failure};
use super::inputs::show_warnings;
use super::places::Places;
use super::predict::json;
use crate::diag::{Diagnostic, codes};
use crate::lab::text;
use crate::outcome::{Outcome, race};
use crate::report::score_text::score_text;
use crate::study::predict::Forecast;
use crate::study::score::answer;
use std::path::PathBuf;
use std::process::ExitCode;

pub fn run(args: &ScoreArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    places.spare(args.outcomes.iter().map(PathBuf::as_path))?;
    let (mut given, mut warnings, mut problems) = (Vec::new(), Vec::new(), Vec::new());
    for path in &args.outcomes {
        match race::load(path) {
            Ok((outcome, found)) => {
                warnings.extend(found);
                if let Some(file) = &outcome.forecast {
                    places.spare([file.as_path()])?;
                }
                match forecast(&outcome) {
                    Ok(forecast) => given.push((outcome, forecast)),
                    Err(found) => problems.extend(found),
                }
            }
            Err(found) => problems.extend(found),
        }
    }
    if !problems.is_empty() {
        return Err(Failure::Files(problems));
    }
    show_warnings(&warnings);
    let answer = answer(&given);
    output.write(&match args.format {
        Format::Text => score_text(&answer),
        Format::Json => json(&answer)?,
    })?;
    Ok(ExitCode::from(DONE))
}

/// The forecast stored for an outcome, made from the very scenario it names.
fn forecast(outcome: &Outcome) -> Result<Forecast, Vec<Diagnostic>> {
    let Some(path) = &outcome.forecast else {
        let none =
            Diagnostic::error(codes::OUTCOME_FORECAST, "no forecast is named").in_file(&outcome.source);
        return Err(vec![none.help("store one before the race (`readodds predict SCENARIO --format json --out FILE`) and name it: [race] forecast = \"FILE\"")]);
    };
    let read = text::read(path).map_err(|d| vec![*d])?;
    let forecast: Forecast = serde_json::from_str(&read.source.text).map_err(|e| {
        let broken = Diagnostic::error(codes::OUTCOME_FORECAST, format!("this is no forecast: {e}"))
            .in_file(&read.source);
        vec![broken.help("write it with `readodds predict SCENARIO --format json --out FILE`")]
    })?;
    let scenario = text::read(&outcome.scenario).map_err(|d| vec![*d])?;
    if !forecast.provenance.inputs.iter().any(|input| input.sha256 == scenario.sha256) {
        let other = Diagnostic::error(
            codes::OUTCOME_FORECAST,
            format!("the forecast was not made from {} as it is", outcome.scenario.display()),
        );
        return Err(vec![other.in_file(&read.source).help("name the forecast that was stored for this scenario; a forecast made after the race proves nothing")]);
    }
    Ok(forecast)
}
