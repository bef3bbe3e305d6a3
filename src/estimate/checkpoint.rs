//! A run that can be taken up again: its rows are saved on the way, and a new start goes on from them.
//!
//! Each save replaces the whole file, so a kill at any moment leaves the last one or the one before. The first start fixes the allocation of
//! passings (the pilot's work) in the header; a later one takes it from there.

use super::rows_file::{Header, read, write};
use super::run::{FIRST_WORLDS, Plan, Progress, Run, Stopped, ask, run, world_rows};
use super::shard::{Shard, WHOLE};
use crate::files::whole_file::WholeFile;
use super::world::WorldRow;
use crate::passing::Prepared;
use std::path::Path;
use std::time::{Duration, Instant};

/// Rows are saved when a wave of worlds ends, but not more often than this, and not so often that saving takes more than about a
/// twentieth of the time.
const SAVE_PAUSE: Duration = Duration::from_millis(200);
const SAVE_COST: u32 = 20;
const WAVE: usize = 32;
/// Generous size of one row, to claim disk space before the run.
const ROW_BYTES: u64 = 1000;
const SET_BYTES: u64 = 2000;

/// Where rows are kept, with what was found there.
pub struct Store {
    file: WholeFile,
    header: Header,
    kept: Vec<WorldRow>,
    last_save: Instant,
    pause: Duration,
}

impl Store {
    /// Opens or starts the file of rows at `path`. An existing file must come from the same program version, inputs and plan.
    pub fn open(
        path: &Path,
        prepared: &Prepared,
        plan: &Plan,
        masks: Vec<Vec<u64>>,
        shard: Shard,
    ) -> Result<Store, String> {
        // Before it is read: a device may have no end.
        let file = WholeFile::claim(path, 0).map_err(|error| unwritable(path, &error))?;
        let found = if path.exists() { Some(read(path)?) } else { None };
        let (header, kept) = match found {
            Some(file) => {
                let here = Header::new(prepared, plan, &file.header.ask, shard);
                let mut differences = file.header.differences(&here);
                if file.header.shard != shard {
                    differences.push(format!("shard: {} against {shard}", file.header.shard));
                }
                if file.header.ask.masks != masks {
                    differences.push("lines and timing points asked for".to_owned());
                }
                if !differences.is_empty() {
                    return Err(format!(
                        "{} holds rows of another run ({}); name another file or delete it",
                        path.display(),
                        differences.join("; ")
                    ));
                }
                (here, file.rows)
            }
            None => (Header::new(prepared, plan, &ask(prepared, plan, masks), shard), Vec::new()),
        };
        let points = header.ask.masks.len() as u64;
        let per_row = ROW_BYTES * (1 + points) + SET_BYTES * header.ask.sets() as u64;
        let rows = shard.worlds(plan.worlds.unwrap_or(FIRST_WORLDS)).count() as u64;
        file.probe(per_row * rows).map_err(|error| unwritable(path, &error))?;
        Ok(Store { file, header, kept, last_save: Instant::now(), pause: SAVE_PAUSE })
    }

    /// Worlds found in the file.
    pub fn kept(&self) -> u64 {
        self.kept.len() as u64
    }

    fn save(&mut self, rows: &[WorldRow]) -> Result<(), String> {
        let start = Instant::now();
        let saved = self
            .file
            .replace(|out| write(out, &self.header, rows))
            .map_err(|error| format!("cannot write {}: {error}", self.file.path().display()));
        self.last_save = Instant::now();
        self.pause = SAVE_PAUSE.max(start.elapsed() * SAVE_COST);
        saved
    }

    fn save_if_due(&mut self, rows: &[WorldRow]) -> Result<(), String> {
        if self.last_save.elapsed() < self.pause { Ok(()) } else { self.save(rows) }
    }

    /// Runs the plan from what is kept, saving on the way and at the end. If a save fails the run goes on to its end and the failure
    /// is told beside the result.
    pub fn run(
        &mut self,
        prepared: &Prepared,
        plan: &Plan,
        settled: &dyn Fn(&Run) -> bool,
        stop: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(&Progress),
    ) -> (Run, Result<(), String>) {
        let kept = std::mem::take(&mut self.kept);
        let ask = self.header.ask.clone();
        let mut trouble = Ok(());
        let done = run(prepared, plan, ask, kept, settled, stop, &mut |state, rows| {
            if trouble.is_ok() {
                trouble = self.save_if_due(rows);
            }
            progress(state);
        });
        let saved = self.save(&done.rows);
        (done, trouble.and(saved))
    }

    /// Works out the worlds of one shard (`plan.worlds` must be given). True if all are done.
    pub fn run_shard(
        mut self,
        prepared: &Prepared,
        worlds: u64,
        stop: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(&Progress),
    ) -> Result<bool, String> {
        let mut rows = std::mem::take(&mut self.kept);
        let all: Vec<u64> = self.header.shard.worlds(worlds).collect();
        while rows.len() < all.len() && !stop() {
            let wave = &all[rows.len()..(rows.len() + WAVE).min(all.len())];
            rows.extend(world_rows(prepared, &self.header.ask, wave.to_vec(), stop));
            progress(&Progress { worlds: rows.len() as u64, planned: all.len() as u64 });
            self.save_if_due(&rows)?;
        }
        self.save(&rows)?;
        Ok(rows.len() == all.len())
    }
}

fn unwritable(path: &Path, error: &std::io::Error) -> String {
    format!("cannot write {}: {error}; choose another place", path.display())
}

/// The run that merged rows stand for.
pub fn run_of_rows(header: &Header, rows: Vec<WorldRow>) -> Run {
    debug_assert_eq!(header.shard, WHOLE);
    Run { ask: header.ask.clone(), rows, stopped: Stopped::WorldsDone }
}
