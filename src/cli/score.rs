//! `readodds score`.

use super::args::{Format, ScoreArgs};
use super::failure::{DONE, Failure};
use super::inputs::show_warnings;
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use crate::diag::{Diagnostic, codes};
use crate::lab::text;
use crate::outcome::{Outcome, race};
use crate::report::pages::score::page;
use crate::report::score_text::score_text;
use crate::study::predict::Forecast;
use crate::study::provenance::InputFile;
use crate::study::score::{Given, answer};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

pub fn run(args: &ScoreArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    places.spare(args.outcomes.iter().map(PathBuf::as_path))?;
    let (mut given, mut warnings, mut problems) = (Vec::new(), Vec::new(), Vec::new());
    for path in &args.outcomes {
        match race::load(path) {
            Ok((outcome, found)) => {
                warnings.extend(found);
                let files = outcome.forecast.iter().chain(&outcome.unlearned_forecast);
                places.spare(files.map(PathBuf::as_path))?;
                match stored(outcome) {
                    Ok(one) => given.push(one),
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
    if album.wanted() {
        album.write(&page(&answer))?;
    }
    output.write(&match args.format {
        Format::Text => score_text(&answer),
        Format::Json => json(&answer)?,
    })?;
    Ok(ExitCode::from(DONE))
}

/// A race with the forecasts stored for it.
fn stored(outcome: Outcome) -> Result<Given, Vec<Diagnostic>> {
    let Some(path) = &outcome.forecast else {
        let none =
            Diagnostic::error(codes::OUTCOME_FORECAST, "no forecast is named").in_file(&outcome.source);
        return Err(vec![none.help("store one before the race (`readodds predict SCENARIO --format json --out FILE`) and name it: [race] forecast = \"FILE\"")]);
    };
    let (own, file) = forecast(&outcome, path)?;
    let (path, sha256) = outcome.file_hash.clone();
    let mut inputs = vec![InputFile { path, sha256 }, file];
    let mut unlearned = None;
    if let Some(path) = &outcome.unlearned_forecast {
        let (other, file) = forecast(&outcome, path)?;
        unlearned = Some(other);
        inputs.push(file);
    }
    Ok(Given { outcome, forecast: own, unlearned, inputs })
}

/// A stored forecast, made from the very scenario that the outcome names.
fn forecast(outcome: &Outcome, path: &Path) -> Result<(Forecast, InputFile), Vec<Diagnostic>> {
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
    Ok((forecast, InputFile { path: path.display().to_string(), sha256: read.sha256 }))
}
