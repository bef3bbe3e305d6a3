//! `predict` as a long run: saved on the way, taken up again, broken off with what is known, or cut into shards.

use super::args::PredictArgs;
use super::failure::{DONE, Failure};
use super::inputs::Loaded;
use super::interrupt::{self, BROKEN_OFF};
use super::progress::Line;
use crate::estimate::checkpoint::Store;
use crate::estimate::race_row::Ask;
use crate::estimate::run::{Plan, Run, run};
use crate::estimate::shard::{Shard, WHOLE};
use crate::estimate::stop::Stopped;
use std::process::ExitCode;

/// Runs the plan, from the checkpoint if there is one.
pub fn run_whole(args: &PredictArgs, loaded: &Loaded, plan: &Plan) -> Result<Run, Failure> {
    interrupt::watch()?;
    let masks = Ask::standard_masks(&loaded.prepared);
    let store = match &args.checkpoint {
        Some(path) => {
            Some(Store::open(path, &loaded.prepared, plan, masks.clone(), WHOLE).map_err(Failure::Usage)?)
        }
        None => None,
    };
    let line = Line::new();
    let mut show = |progress: &crate::estimate::run::Progress| {
        line.show(progress);
        !interrupt::asked()
    };
    let done = match store {
        Some(store) => {
            if store.kept() > 0 {
                eprintln!("taken up again after {} race days", store.kept());
            }
            let (done, saved) = store.run(&loaded.prepared, plan, &mut show);
            // The result is worth more than the checkpoint: tell, and go on.
            if let Err(problem) = saved {
                eprintln!("warning: {problem}; this run cannot be taken up again");
            }
            done
        }
        None => run(&loaded.prepared, plan, masks, &mut show),
    };
    line.done();
    if done.stopped == Stopped::Interrupted {
        let races = done.rows.len();
        match &args.checkpoint {
            Some(path) => eprintln!(
                "broken off after {races} race days, which are kept in {}; the same command goes on from there",
                path.display()
            ),
            None => eprintln!(
                "broken off after {races} race days; nothing is kept (with --checkpoint FILE the same command could go on)"
            ),
        }
        if races < 2 {
            return Err(Failure::Usage("too few race days for a result".to_owned()));
        }
    }
    Ok(done)
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
    interrupt::watch()?;
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::Usage(format!("cannot make the folder {}: {error}", folder.display())))?;
    let path = folder.join(shard.file_name());
    let masks = Ask::standard_masks(&loaded.prepared);
    let store = Store::open(&path, &loaded.prepared, plan, masks, shard).map_err(Failure::Usage)?;
    let line = Line::new();
    let finished = store
        .run_shard(&loaded.prepared, races, &mut |progress| {
            line.show(progress);
            !interrupt::asked()
        })
        .map_err(Failure::Internal)?;
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
