//! `predict` as a long run: saved on the way, taken up again, broken off with what is known, or cut into shards.

use super::args::PredictArgs;
use super::failure::{DONE, Failure};
use super::inputs::Loaded;
use super::interrupt::{self, BROKEN_OFF};
use super::progress::{CloserLine, Line};
use crate::estimate::checkpoint::Store;
use crate::estimate::closer_look::{CloserLook, SetWork};
use crate::estimate::race_row::Ask;
use crate::estimate::run::{Plan, Progress, pilot_allocation, run_from};
use crate::estimate::shard::{Shard, WHOLE};
use crate::estimate::stop::Stopped;
use crate::study::predict::{Forecast, forecast};
use std::process::ExitCode;

/// Runs the plan, from the checkpoint if there is one, and looks closer where race days do not do.
pub fn run_whole(args: &PredictArgs, loaded: &Loaded, plan: &Plan) -> Result<Forecast, Failure> {
    let masks = Ask::standard_masks(&loaded.prepared);
    let mut store = match &args.checkpoint {
        Some(path) => {
            Some(Store::open(path, &loaded.prepared, plan, masks.clone(), WHOLE).map_err(Failure::Usage)?)
        }
        None => None,
    };
    interrupt::heed();
    let line = Line::new();
    let mut show = |progress: &Progress| {
        line.show(progress);
        true
    };
    let mut trouble = Ok(());
    let done = match &mut store {
        Some(store) => {
            if store.kept() > 0 {
                let sets = store.kept_sets().iter().filter(|set| set.answer.is_some()).count();
                let closer = if sets > 0 { format!(" and {sets} closer looks") } else { String::new() };
                eprintln!("taken up again after {} race days{closer}", store.kept());
            }
            let (done, saved) = store.run(&loaded.prepared, plan, &interrupt::asked, &mut show);
            trouble = saved;
            done
        }
        None => {
            let ask =
                Ask { seed: plan.seed, allocation: pilot_allocation(&loaded.prepared, plan, &masks), masks };
            run_from(&loaded.prepared, plan, ask, Vec::new(), &interrupt::asked, &mut |state, _| show(state))
        }
    };
    line.done();
    let races = done.rows.len();
    if races < 2 {
        broken_off(args, &format!("after {races} race days"), &trouble);
        return Err(Failure::BrokenOff("too few race days for a result: nothing is known yet".to_owned()));
    }
    let kept = store.as_ref().map(Store::kept_sets).unwrap_or_default();
    let sets: usize = done.ask.masks.iter().map(Vec::len).sum();
    let closer = CloserLine::new(sets as u64);
    let mut tell = |work: &[SetWork]| {
        closer.show(work, &loaded.prepared);
        if let (Some(store), Ok(())) = (&mut store, &trouble) {
            // The end of each set and a wish to stop are saved at once.
            let at_once = interrupt::asked() || work.last().is_some_and(|set| set.answer.is_some());
            trouble = store.save_sets(&done.rows, work, at_once);
        }
    };
    let mut look = CloserLook { stop: &interrupt::asked, sets: kept, tell: &mut tell };
    let forecast = forecast(&loaded.prepared, plan, &done, &loaded.warnings, &mut look);
    closer.done();
    if forecast.stopped == Stopped::Interrupted {
        let when = if done.stopped == Stopped::Interrupted {
            format!("after {races} race days")
        } else {
            "while looking closer at rare misses".to_owned()
        };
        broken_off(args, &when, &trouble);
    } else if let Err(problem) = &trouble {
        // The result is worth more than the checkpoint: tell, and go on.
        eprintln!("warning: {problem}; this run cannot be taken up again");
    }
    Ok(forecast)
}

/// Tells what is kept of a run that was broken off, and how to go on.
fn broken_off(args: &PredictArgs, when: &str, saved: &Result<(), String>) {
    match (&args.checkpoint, saved) {
        (Some(path), Ok(())) => eprintln!(
            "broken off {when}; what is done is kept in {}, and the same command goes on from there",
            path.display()
        ),
        (Some(_), Err(problem)) => {
            eprintln!("broken off {when}; {problem}: the run cannot be taken up again")
        }
        (None, _) => eprintln!(
            "broken off {when}; nothing is kept (with --checkpoint FILE the same command could go on)"
        ),
    }
}

/// Exit code of a finished or broken-off run, given the code it would have if finished.
pub fn exit_code(stopped: Stopped, finished: u8) -> ExitCode {
    ExitCode::from(if stopped == Stopped::Interrupted { BROKEN_OFF } else { finished })
}

/// Works out one shard into its file of rows.
pub fn run_shard(
    args: &PredictArgs,
    loaded: &Loaded,
    plan: &Plan,
    shard: Shard,
) -> Result<ExitCode, Failure> {
    let (Some(races), Some(folder)) = (plan.races, &args.rows) else {
        return Err(Failure::Usage(
            "--shard needs --races (shards cannot see each other's precision) and --rows FOLDER".to_owned(),
        ));
    };
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::Usage(format!("cannot make the folder {}: {error}", folder.display())))?;
    let path = folder.join(shard.file_name());
    let masks = Ask::standard_masks(&loaded.prepared);
    let store = Store::open(&path, &loaded.prepared, plan, masks, shard).map_err(Failure::Usage)?;
    interrupt::heed();
    let line = Line::new();
    let finished = store
        .run_shard(&loaded.prepared, races, &interrupt::asked, &mut |progress| line.show(progress))
        .map_err(Failure::Write)?;
    line.done();
    let how = if finished { "done" } else { "broken off; the same command goes on from there" };
    eprintln!("shard {shard}: {how}: {}", path.display());
    Ok(ExitCode::from(if finished { DONE } else { BROKEN_OFF }))
}

/// `I/N` or `auto`.
pub fn shard_of(text: &str) -> Result<Shard, Failure> {
    let shard = match text {
        "auto" => Shard::from_environment(|name| std::env::var(name).ok()),
        text => Shard::parse(text),
    };
    shard.map_err(Failure::Usage)
}
