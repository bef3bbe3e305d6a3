//! Studies that can be taken up again: their worlds are kept in a file on the way, and a new start goes on from them.
//!
//! Every study draws its worlds through `Kept`, under a name that says what was sent past what, so one file serves them all. Each save replaces the whole
//! file, so a kill at any moment leaves the last one or the one before: a new start works out at most one wave of worlds again. What a pilot
//! found is kept too. A second process is kept off by a lock; rows found are tried by working one of each part out anew.

use super::rows_file::{Header, Part, read, write};
use super::run::world_rows;
use super::world::{Ask, WorldRow};
use crate::files::lock::{Lock, NotLocked};
use crate::files::whole_file::WholeFile;
use crate::passing::Prepared;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Rows are saved when a wave of worlds ends, but not more often than this, and not so often that saving takes more than about a
/// twentieth of the time.
const SAVE_PAUSE: Duration = Duration::from_millis(200);
const SAVE_COST: u32 = 20;
/// Worlds worked out between two looks at progress, stop and file.
const WAVE: usize = 32;
/// Generous size of one row, to claim disk space before the run.
const ROW_BYTES: u64 = 1000;
const SET_BYTES: u64 = 2000;

/// Room that rows take.
pub fn room_bytes(masks: &[Vec<u64>], rows: u64) -> u64 {
    let sets = masks.iter().map(Vec::len).sum::<usize>() as u64;
    (ROW_BYTES * (1 + masks.len() as u64) + SET_BYTES * sets) * rows
}

/// A file of rows, open and locked.
struct Store {
    file: WholeFile,
    lock: Lock,
    header: Header,
    parts: Vec<Part>,
    /// Parts whose found rows still have to be tried, by their number.
    untried: Vec<bool>,
    last_save: Instant,
    pause: Duration,
    unsaved: bool,
    trouble: Option<String>,
    notice: Option<String>,
}

/// Where worlds go and come from: nowhere, or a file.
pub struct Kept(Option<Store>);

impl Kept {
    /// Worlds are worked out and not kept.
    pub fn nowhere() -> Kept {
        Kept(None)
    }

    /// Opens or starts the file of rows at `path`. An existing one must come from the same build, inputs and plan.
    pub fn open(path: &Path, header: Header, room_bytes: u64) -> Result<Kept, String> {
        let unwritable =
            |error: std::io::Error| format!("cannot write {}: {error}; choose another place", path.display());
        // Before it is read: a device may have no end.
        let file = WholeFile::claim(path, 0).map_err(unwritable)?;
        let lock = Lock::take(file.path()).map_err(|why| match why {
            NotLocked::Busy => {
                format!("another process is at work on {}; wait for it, or name another file", path.display())
            }
            NotLocked::Io(error) => unwritable(error),
        })?;
        let parts = if file.path().exists() { found(path, &header)? } else { Vec::new() };
        file.probe(room_bytes).map_err(unwritable)?;
        let untried = parts.iter().map(|part| !part.rows.is_empty()).collect();
        Ok(Kept(Some(Store {
            file,
            lock,
            header,
            parts,
            untried,
            last_save: Instant::now(),
            pause: SAVE_PAUSE,
            unsaved: false,
            trouble: None,
            notice: None,
        })))
    }

    /// Worlds found or kept so far, in all parts.
    pub fn worlds(&self) -> u64 {
        self.0.iter().flat_map(|store| &store.parts).map(|part| part.rows.len() as u64).sum()
    }

    /// The file, if worlds are kept.
    pub fn path(&self) -> Option<PathBuf> {
        self.0.as_ref().map(|store| store.file.path().to_owned())
    }

    /// Whether the file system keeps a second process off.
    pub fn is_locked(&self) -> bool {
        self.0.as_ref().is_none_or(|store| store.lock.is_held())
    }

    /// The ask kept under this name for these sets of lines, or the one that `make` finds.
    pub fn ask(&mut self, name: &str, masks: &[Vec<u64>], make: impl FnOnce() -> Ask) -> Ask {
        let Some(store) = &mut self.0 else { return make() };
        if let Some(part) = store.parts.iter().find(|part| part.name == name && part.ask.masks == masks) {
            return part.ask.clone();
        }
        let ask = make();
        let number = store.part(name, &ask);
        debug_assert!(store.parts[number].rows.is_empty());
        store.unsaved = true;
        store.save_if_due();
        ask
    }

    /// Adds rows until there is one for each of `worlds` (those of `rows` come first in it), from what is kept or worked out anew in
    /// parallel. Once `stop` says so, only the first ones that are whole. `told` hears how many there are.
    #[allow(clippy::too_many_arguments)]
    pub fn extend(
        &mut self,
        name: &str,
        prepared: &Prepared,
        ask: &Ask,
        rows: &mut Vec<WorldRow>,
        worlds: &[u64],
        stop: &(dyn Fn() -> bool + Sync),
        told: &mut dyn FnMut(usize),
    ) {
        let part = self.0.as_mut().map(|store| {
            let part = store.part(name, ask);
            store.try_found(part, prepared);
            let there = &store.parts[part].rows;
            let more = there.len().min(worlds.len());
            rows.extend(there.iter().take(more).skip(rows.len()).cloned());
            part
        });
        while rows.len() < worlds.len() && !stop() {
            let wave = &worlds[rows.len()..(rows.len() + WAVE).min(worlds.len())];
            let new = world_rows(prepared, ask, wave.to_vec(), stop);
            if let (Some(store), Some(part)) = (&mut self.0, part) {
                store.parts[part].rows.extend(new.iter().cloned());
                store.unsaved = true;
                store.save_if_due();
            }
            rows.extend(new);
            told(rows.len());
        }
    }

    /// What is to be told of the rows that were found.
    pub fn notice(&self) -> Option<&str> {
        self.0.as_ref()?.notice.as_deref()
    }

    /// Saves what is not saved yet. The first failure on the way is told, too: what is kept is older then.
    pub fn finish(&mut self) -> Result<(), String> {
        let Some(store) = &mut self.0 else { return Ok(()) };
        if store.unsaved {
            store.save();
        }
        store.trouble.take().map_or(Ok(()), Err)
    }
}

/// The parts of an existing file, or why they are not used.
fn found(path: &Path, header: &Header) -> Result<Vec<Part>, String> {
    let file = read(path)?;
    let mut differences = file.header.differences(header);
    if file.header.shard != header.shard {
        differences.push(format!("shard: {} against {}", file.header.shard, header.shard));
    }
    if differences.is_empty() {
        return Ok(file.parts);
    }
    Err(format!(
        "{} holds rows of another run ({}); name another file or delete it",
        path.display(),
        differences.join("; ")
    ))
}

impl Store {
    /// Number of the part of this name and ask, made if need be.
    fn part(&mut self, name: &str, ask: &Ask) -> usize {
        let there = self.parts.iter().position(|part| part.name == name && part.ask == *ask);
        there.unwrap_or_else(|| {
            self.parts.push(Part { name: name.to_owned(), ask: ask.clone(), rows: Vec::new() });
            self.untried.push(false);
            self.parts.len() - 1
        })
    }

    /// Tries the rows found for a part once; rows that this program does not work out the same are left out and made anew.
    fn try_found(&mut self, part: usize, prepared: &Prepared) {
        if std::mem::replace(&mut self.untried[part], false) && !self.parts[part].is_honest(prepared) {
            self.parts[part].rows.clear();
            self.notice = Some(format!(
                "rows found in {} are not those that this program works out; they were made anew",
                self.file.path().display()
            ));
        }
    }

    fn save_if_due(&mut self) {
        // After a failure the run goes on to its end without.
        if self.trouble.is_none() && self.last_save.elapsed() >= self.pause {
            self.save();
        }
    }

    fn save(&mut self) {
        let start = Instant::now();
        let saved = self.file.replace(|out| write(out, &self.header, &self.parts));
        match saved {
            Ok(()) => self.unsaved = false,
            Err(error) => {
                self.trouble = Some(format!("cannot write {}: {error}", self.file.path().display()));
            }
        }
        self.last_save = Instant::now();
        self.pause = SAVE_PAUSE.max(start.elapsed() * SAVE_COST);
    }
}
