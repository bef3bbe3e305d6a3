//! `readodds predict`.

use super::args::{Format, PredictArgs, RunArgs};
use super::failure::{DONE, Failure, NOT_MET};
use super::inputs::{files_of, load};
use super::long_run;
use super::pictures::Album;
use super::places::Places;
use crate::estimate::run::{Plan, Precision};
use crate::report::predict_text::predict_text;
use crate::report::visible::visible_json;
use crate::study::predict::Forecast;
use std::process::ExitCode;

pub fn run(args: &PredictArgs, mut places: Places) -> Result<ExitCode, Failure> {
    let plan = plan(args.inputs.seed, args.worlds, &args.run)?;
    let shard = args.shard.as_deref().map(long_run::shard_of).transpose()?;
    let mut output = places.file("--out", args.out.as_deref())?;
    let album = Album::open(&args.pictures, &mut places)?;
    places.checkpoint(args.checkpoint.as_deref())?;
    if let Some(folder) = &args.rows {
        places.take("--rows", folder, false)?;
    }
    let loaded = load(&args.inputs)?;
    places.spare(files_of(&loaded.prepared.course, &loaded.prepared.tag))?;
    if let Some(shard) = shard {
        return long_run::run_shard(args, &loaded, &plan, shard);
    }
    let forecast = long_run::run_whole(args, &loaded, &plan)?;
    // The result first: pages and figures may still fail.
    output.write(&render(&forecast, args.format, args.full)?)?;
    album.forecast(&loaded.prepared, &forecast)?;
    Ok(long_run::exit_code(forecast.stopped, if met(&forecast, args.require) { DONE } else { NOT_MET }))
}

/// The run the options ask for.
pub fn plan(seed: u64, worlds: Option<u64>, run: &RunArgs) -> Result<Plan, Failure> {
    if run.passings_per_world == 0 || run.max_passings == 0 {
        return Err(Failure::Usage("--passings-per-world and --max-passings must be at least 1".to_owned()));
    }
    if worlds.is_some_and(|worlds| worlds < 2) {
        return Err(Failure::Usage("--worlds must be at least 2: a spread cannot come from one".to_owned()));
    }
    if worlds.is_some_and(|worlds| worlds >= crate::random::MAX_RACES) {
        return Err(Failure::Usage(format!("--worlds must stay below {}", crate::random::MAX_RACES)));
    }
    Ok(Plan {
        seed,
        precision: Precision {
            relative: run.precision,
            runners: run.least_runners,
            max_passings: run.max_passings,
        },
        worlds,
        passings_per_world: run.passings_per_world,
    })
}

/// The forecast as text or JSON.
pub fn render(forecast: &Forecast, format: Format, full: bool) -> Result<String, Failure> {
    match format {
        Format::Text => Ok(predict_text(forecast, full)),
        Format::Json => json(forecast),
    }
}

/// Pretty JSON with a final newline.
pub fn json(value: &impl serde::Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map(|s| visible_json(&s).into_owned() + "\n")
        .map_err(|e| Failure::Internal(format!("cannot write JSON: {e}")))
}

/// Fewest worlds on which a promise can be called kept.
const LEAST_WORLDS: u64 = 64;

/// Whether every point keeps its promise in the share of races required, judged by the lower end of the interval; says so on
/// stderr if not.
pub fn met(forecast: &Forecast, require: Option<f64>) -> bool {
    let Some(share) = require else { return true };
    if forecast.worlds < LEAST_WORLDS {
        eprintln!(
            "not met: {} worlds are too few to judge a promise by; at least {LEAST_WORLDS}",
            forecast.worlds
        );
        return false;
    }
    // NaN counts as short.
    let keeps = |low: f64| low >= share;
    let short: Vec<String> = forecast
        .points
        .iter()
        .filter(|p| !keeps(p.promise.kept().low))
        .map(|p| format!("{} ({:.4}, at worst {:.4})", p.name, p.promise.kept().value, p.promise.kept().low))
        .collect();
    if !short.is_empty() {
        eprintln!("not met: the promise is not surely kept in {share} of races at {}", short.join(", "));
    }
    short.is_empty()
}
