//! `readodds predict`.

use super::args::{Format, PredictArgs, RunArgs};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::load;
use super::long_run;
use super::output::Output;
use super::pictures::Album;
use crate::estimate::run::Plan;
use crate::estimate::stop::Precision;
use crate::report::predict_text::predict_text;
use crate::study::predict::Forecast;
use std::process::ExitCode;

pub fn run(args: &PredictArgs) -> Result<ExitCode, Failure> {
    let plan = plan(args.inputs.seed, args.races, &args.run)?;
    let shard = args.shard.as_deref().map(long_run::shard_of).transpose()?;
    let output = Output::open(args.out.as_deref())?;
    let album = Album::open(&args.pictures)?;
    let loaded = load(&args.inputs)?;
    if let Some(shard) = shard {
        return long_run::run_shard(args, &loaded, &plan, shard);
    }
    let forecast = long_run::run_whole(args, &loaded, &plan)?;
    // The result first: pages and figures may still fail.
    output.write(&render(&forecast, args.format)?)?;
    album.forecast(&loaded.prepared, &forecast)?;
    Ok(long_run::exit_code(forecast.stopped, if met(&forecast, args.require) { DONE } else { NOT_MET }))
}

/// The run the options ask for.
pub fn plan(seed: u64, races: Option<u64>, run: &RunArgs) -> Result<Plan, Failure> {
    if run.passings_per_race == 0 || run.max_passings == 0 {
        return Err(Failure::Usage("--passings-per-race and --max-passings must be at least 1".to_owned()));
    }
    if races.is_some_and(|races| races < 2) {
        return Err(Failure::Usage(
            "--races must be at least 2: the spread between race days cannot come from one".to_owned(),
        ));
    }
    if races.is_some_and(|r| r >= crate::random::MAX_RACES) {
        return Err(Failure::Usage(format!("--races must stay below {}", crate::random::MAX_RACES)));
    }
    Ok(Plan {
        seed,
        precision: Precision {
            relative: run.precision,
            absolute: run.absolute_precision,
            max_passings: run.max_passings,
        },
        races,
        passings_per_race: run.passings_per_race,
        estimator: run.estimator,
    })
}

/// The forecast as text or JSON.
pub fn render(forecast: &Forecast, format: Format) -> Result<String, Failure> {
    match format {
        Format::Text => Ok(predict_text(forecast)),
        Format::Json => json(forecast),
    }
}

/// Pretty JSON with a final newline.
pub fn json(value: &impl serde::Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map(|s| s + "\n")
        .map_err(|e| Failure::Internal(format!("cannot write JSON: {e}")))
}

/// Whether every point meets its target with the odds required; says so on stderr if not.
pub fn met(forecast: &Forecast, require: Option<f64>) -> bool {
    let Some(odds) = require else { return true };
    let short: Vec<&str> =
        forecast.points.iter().filter(|p| p.missed.target_odds < odds).map(|p| p.name.as_str()).collect();
    if !short.is_empty() {
        eprintln!("not met: {} keep the target in fewer than {odds} of races", short.join(", "));
    }
    short.is_empty()
}
