//! Long runs: kept on the way, taken up again, interrupted with what is known, or cut into shards.

use super::args::PredictArgs;
use super::failure::{DONE, Failure};
use super::inputs::Loaded;
use super::interrupt::{self, INTERRUPTED};
use super::progress::Line;
use crate::estimate::checkpoint::{Kept, room_bytes};
use crate::estimate::rows_file::Header;
use crate::estimate::run::{FIRST_WORLDS, FORECAST, Plan, Progress, Stopped, ask, run};
use crate::estimate::shard::{Shard, WHOLE};
use crate::estimate::world::Ask;
use crate::study::predict::{Forecast, forecast, settled};
use std::path::Path;
use std::process::ExitCode;

/// Opens the checkpoint of a study, if one is asked for. `masks` are the sets of lines of one of its parts, of which there are `parts`.
pub fn open(
    path: Option<&Path>,
    header: impl FnOnce() -> Header,
    masks: &[Vec<u64>],
    parts: u64,
) -> Result<Kept, Failure> {
    let Some(path) = path else { return Ok(Kept::nowhere()) };
    let header = header();
    let worlds = header.shard.worlds(header.plan.worlds.unwrap_or(FIRST_WORLDS)).count() as u64;
    let kept = Kept::open(path, header, room_bytes(masks, worlds * parts)).map_err(Failure::Usage)?;
    if !kept.is_locked() {
        eprintln!(
            "warning: the file system of {} knows no locks: see that no second process uses it",
            path.display()
        );
    }
    if kept.worlds() > 0 {
        eprintln!("resumed after {} worlds", kept.worlds());
    }
    Ok(kept)
}

/// Saves what a study has kept, and tells how to go on if it was interrupted.
pub fn close(kept: &mut Kept, stopped: Stopped) {
    let saved = kept.finish();
    if let Some(notice) = kept.notice() {
        eprintln!("warning: {notice}");
    }
    let interrupted = stopped == Stopped::Interrupted;
    let when = format!("interrupted after {} worlds", kept.worlds());
    match (kept.path(), saved) {
        (None, _) if interrupted => {
            eprintln!("interrupted; nothing is kept (with --checkpoint FILE the same command could go on)")
        }
        (Some(path), Ok(())) if interrupted => eprintln!(
            "{when}; what is done is kept in {}, and the same command goes on from there",
            path.display()
        ),
        (_, Err(problem)) if interrupted => eprintln!("{when}; {problem}: the run cannot be resumed"),
        // The result is worth more than the checkpoint: tell, and go on.
        (_, Err(problem)) => eprintln!("warning: {problem}; this run cannot be resumed"),
        (_, Ok(())) => {}
    }
}

/// How a study without an answer ended.
pub fn stopped_early() -> Stopped {
    if interrupt::asked() { Stopped::Interrupted } else { Stopped::WorldsDone }
}

/// Runs the plan, from the checkpoint if there is one.
pub fn run_whole(args: &PredictArgs, loaded: &Loaded, plan: &Plan) -> Result<Forecast, Failure> {
    let prepared = &loaded.prepared;
    let masks = Ask::standard_masks(prepared);
    let header = || Header::of(FORECAST, prepared, plan, WHOLE);
    let mut kept = open(args.checkpoint.as_deref(), header, &masks, 1)?;
    interrupt::heed();
    let line = Line::new();
    let ask = kept.ask(FORECAST, &masks, || ask(prepared, plan, masks.clone()));
    let mut watch = |progress: &Progress| line.show(progress);
    let settled = settled(prepared, plan);
    let done = run(prepared, plan, ask, &mut kept, &settled, &interrupt::asked, &mut watch);
    line.done();
    close(&mut kept, done.stopped);
    if done.rows.len() < 2 {
        return Err(Failure::Interrupted("too few worlds for a result: nothing is known yet".to_owned()));
    }
    Ok(forecast(prepared, plan, &done, &loaded.warnings))
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
    let prepared = &loaded.prepared;
    let masks = Ask::standard_masks(prepared);
    let header = || Header::of(FORECAST, prepared, plan, shard);
    let mut kept = open(Some(&path), header, &masks, 1)?;
    interrupt::heed();
    let line = Line::new();
    let ask = kept.ask(FORECAST, &masks, || ask(prepared, plan, masks.clone()));
    let (mut rows, all) = (Vec::new(), shard.worlds(worlds).collect::<Vec<u64>>());
    let mut told = |worlds: usize| line.show(&Progress { worlds: worlds as u64, planned: all.len() as u64 });
    kept.extend(FORECAST, prepared, &ask, &mut rows, &all, &interrupt::asked, &mut told);
    line.done();
    kept.finish().map_err(Failure::Write)?;
    if let Some(notice) = kept.notice() {
        eprintln!("warning: {notice}");
    }
    let finished = rows.len() == all.len();
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
