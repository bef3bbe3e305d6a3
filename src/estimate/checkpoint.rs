//! Long runs: rows are saved while a run goes on, and a later run takes them up again.
//!
//! The saved file is whole at every moment (see `whole_file`). Rows are pure functions of their index, so a run which was
//! killed and taken up again gives the same bytes as one that was not.

use super::closer_look::SetWork;
use super::race_row::{Ask, RaceRow};
use super::rows_file::{Header, read, write};
use super::run::{Estimator, Plan, Progress, Run, pilot_allocation, progress_of, race_rows_unless, run_from};
use super::shard::{Shard, WHOLE};
use super::whole_file::WholeFile;
use crate::passing::Prepared;
use std::path::Path;
use std::time::{Duration, Instant};

/// Rows are saved when a wave of races ends, but not more often than this, and not so often that saving takes more than about a
/// twentieth of the time.
const SAVE_PAUSE: Duration = Duration::from_millis(200);
const SAVE_COST: u32 = 20;
const WAVE: usize = 32;
/// Generous size of one row, to claim disk space before the run.
const ROW_BYTES: u64 = 700;
const SET_BYTES: u64 = 260;
/// The same of the work on a set of lines looked at more closely.
const LOOK_BYTES: u64 = 24_000;

/// Where rows are kept, with what was found there.
pub struct Store {
    file: WholeFile,
    header: Header,
    kept: Vec<RaceRow>,
    sets: Vec<SetWork>,
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
        let ask = Ask { seed: plan.seed, allocation: Vec::new(), masks };
        let mut header = Header::new(prepared, plan, &ask, shard);
        let (kept, sets) = match found {
            Some(file) => {
                let mut differences = file.header.differences(&header);
                if file.header.shard != shard {
                    differences.push(format!("shard: {} against {shard}", file.header.shard));
                }
                if file.header.ask.masks != header.ask.masks {
                    differences.push("lines and timing points asked for".to_owned());
                }
                if !differences.is_empty() {
                    return Err(format!(
                        "{} holds rows of another run ({}); name another file or delete it",
                        path.display(),
                        differences.join("; ")
                    ));
                }
                header.ask = file.header.ask;
                (file.rows, file.sets)
            }
            None => {
                header.ask.allocation = pilot_allocation(prepared, plan, &header.ask.masks);
                (Vec::new(), Vec::new())
            }
        };
        let sets_asked: usize = header.ask.masks.iter().map(Vec::len).sum();
        let points = header.ask.masks.len() as u64;
        let per_row = ROW_BYTES * (1 + points) + SET_BYTES * sets_asked as u64;
        let rows = shard.races(plan.races.unwrap_or(super::run::FIRST_STAGE_RACES)).count() as u64;
        let looks = match plan.estimator {
            Estimator::RaceDays => 0,
            _ if shard != WHOLE => 0,
            _ => LOOK_BYTES * sets_asked as u64,
        };
        file.probe(per_row * rows + looks).map_err(|error| unwritable(path, &error))?;
        Ok(Store { file, header, kept, sets, last_save: Instant::now(), pause: SAVE_PAUSE })
    }

    /// Races found in the file.
    pub fn kept(&self) -> u64 {
        self.kept.len() as u64
    }

    /// Sets of lines looked at more closely, as found in the file.
    pub fn kept_sets(&self) -> Vec<SetWork> {
        self.sets.clone()
    }

    /// Saves the sets beside the rows of the run: at once, or if it is time again.
    pub fn save_sets(&mut self, rows: &[RaceRow], sets: &[SetWork], at_once: bool) -> Result<(), String> {
        if !at_once && self.last_save.elapsed() < self.pause {
            return Ok(());
        }
        self.sets = sets.to_vec();
        self.save(rows)
    }

    fn save(&mut self, rows: &[RaceRow]) -> Result<(), String> {
        let start = Instant::now();
        let saved = self
            .file
            .replace(|out| write(out, &self.header, rows, &self.sets))
            .map_err(|error| format!("cannot write {}: {error}", self.file.path().display()));
        self.last_save = Instant::now();
        self.pause = SAVE_PAUSE.max(start.elapsed() * SAVE_COST);
        saved
    }

    fn save_if_due(&mut self, rows: &[RaceRow]) -> Result<(), String> {
        if self.last_save.elapsed() < self.pause { Ok(()) } else { self.save(rows) }
    }

    /// Runs the plan from what is kept, saving on the way and at the end. `stop` breaks off. If a save fails
    /// the run goes on to its end and the failure is told beside the result.
    pub fn run(
        &mut self,
        prepared: &Prepared,
        plan: &Plan,
        stop: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(&Progress) -> bool,
    ) -> (Run, Result<(), String>) {
        let kept = std::mem::take(&mut self.kept);
        let ask = self.header.ask.clone();
        let mut trouble = Ok(());
        let done = run_from(prepared, plan, ask, kept, stop, &mut |state, rows| {
            if trouble.is_ok() {
                trouble = self.save_if_due(rows);
            }
            progress(state)
        });
        let saved = self.save(&done.rows);
        (done, trouble.and(saved))
    }

    /// Works out the races of one shard (`plan.races` must be given). True if all are done.
    pub fn run_shard(
        mut self,
        prepared: &Prepared,
        races: u64,
        stop: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(&Progress),
    ) -> Result<bool, String> {
        let mut rows = std::mem::take(&mut self.kept);
        let all: Vec<u64> = self.header.shard.races(races).collect();
        while rows.len() < all.len() && !stop() {
            let wave = &all[rows.len()..(rows.len() + WAVE).min(all.len())];
            rows.extend(race_rows_unless(prepared, &self.header.ask, wave.to_vec(), stop));
            progress(&progress_of(&rows, all.len() as u64));
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
pub fn run_of_rows(header: &Header, rows: Vec<RaceRow>) -> Run {
    let stopped = super::run::stopped_at_end(&rows, &header.plan);
    Run { ask: header.ask.clone(), rows, stopped }
}
