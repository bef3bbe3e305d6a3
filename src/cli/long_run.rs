//! `predict` as a long run: saved on the way, resumed, interrupted with what is known, or cut into shards.

use super::args::PredictArgs;
use super::failure::{DONE, Failure};
use super::inputs::Loaded;
use super::interrupt::{self, INTERRUPTED};
use super::progress::Line;
use crate::estimate::checkpoint::Store;
use crate::estimate::run::{Plan, Progress, Stopped, ask, run};
use crate::estimate::shard::{Shard, WHOLE};
use crate::estimate::world::{Ask, WorldRow};
use crate::study::predict::{Forecast, forecast, settled};
use std::process::ExitCode;

/// Runs the plan, from the checkpoint if there is one.
pub fn run_whole(args: &PredictArgs, loaded: &Loaded, plan: &Plan) -> Result<Forecast, Failure> {
    let prepared = &loaded.prepared;
    let masks = Ask::standard_masks(prepared);
    let mut store = match &args.checkpoint {
        Some(path) => Some(Store::open(path, prepared, plan, masks.clone(), WHOLE).map_err(Failure::Usage)?),
        None => None,
    };
    interrupt::heed();
    let line = Line::new();
    let settled = settled(prepared, plan);
    let (done, saved) = match &mut store {
        Some(store) => {
            if store.kept() > 0 {
                eprintln!("resumed after {} worlds", store.kept());
            }
            store.run(prepared, plan, &settled, &interrupt::asked, &mut |progress| line.show(progress))
        }
        None => {
            let ask = ask(prepared, plan, masks);
            let mut watch = |progress: &Progress, _: &[WorldRow]| line.show(progress);
            let kept = Vec::new();
            (run(prepared, plan, ask, kept, &settled, &interrupt::asked, &mut watch), Ok(()))
        }
    };
    line.done();
    let worlds = done.rows.len();
    if done.stopped == Stopped::Interrupted {
        interrupted(args, &format!("after {worlds} worlds"), &saved);
    } else if let Err(problem) = &saved {
        // The result is worth more than the checkpoint: tell, and go on.
        eprintln!("warning: {problem}; this run cannot be resumed");
    }
    if worlds < 2 {
        return Err(Failure::Interrupted("too few worlds for a result: nothing is known yet".to_owned()));
    }
    Ok(forecast(prepared, plan, &done, &loaded.warnings))
}

/// Tells what is kept of a run that was interrupted, and how to go on.
fn interrupted(args: &PredictArgs, when: &str, saved: &Result<(), String>) {
    match (&args.checkpoint, saved) {
        (Some(path), Ok(())) => eprintln!(
            "interrupted {when}; what is done is kept in {}, and the same command goes on from there",
            path.display()
        ),
        (Some(_), Err(problem)) => {
            eprintln!("interrupted {when}; {problem}: the run cannot be resumed")
        }
        (None, _) => eprintln!(
            "interrupted {when}; nothing is kept (with --checkpoint FILE the same command could go on)"
        ),
    }
}

/// Exit code of a finished or interrupted run, given the code it would have if finished.
pub fn exit_code(stopped: Stopped, finished: u8) -> ExitCode {
    ExitCode::from(if stopped == Stopped::Interrupted { INTERRUPTED } else { finished })
}

/// Works out one shard into its file of rows.
pub fn run_shard(
    args: &PredictArgs,
    loaded: &Loaded,
    plan: &Plan,
    shard: Shard,
) -> Result<ExitCode, Failure> {
    let (Some(worlds), Some(folder)) = (plan.worlds, &args.rows) else {
        return Err(Failure::Usage(
            "--shard needs --worlds (shards cannot see each other's precision) and --rows FOLDER".to_owned(),
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
        .run_shard(&loaded.prepared, worlds, &interrupt::asked, &mut |progress| line.show(progress))
        .map_err(Failure::Write)?;
    line.done();
    let how = if finished { "done" } else { "interrupted; the same command goes on from there" };
    eprintln!("shard {shard}: {how}: {}", path.display());
    Ok(ExitCode::from(if finished { DONE } else { INTERRUPTED }))
}

/// `I/N` or `auto`.
pub fn shard_of(text: &str) -> Result<Shard, Failure> {
    let shard = match text {
        "auto" => Shard::from_environment(|name| std::env::var(name).ok()),
        text => Shard::parse(text),
    };
    shard.map_err(Failure::Usage)
}
