//! Ctrl-C and a polite request to end (SIGTERM): the first asks the run to stop and tell what is known, a second one ends it at once.
//! Whatever ends the process this way, no half-written neighbour of a result stays behind.

use super::failure::Failure;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

/// Exit code of a run that was interrupted (128 + SIGINT).
pub const INTERRUPTED: u8 = 130;

static STOP: AtomicBool = AtomicBool::new(false);
/// Whether anybody reads `STOP`; until then a signal ends the process at once.
static HEEDED: AtomicBool = AtomicBool::new(false);
/// Files to take away before the process ends at once.
static PARTS: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// To be called once, before anything is written.
pub fn set_up() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::SeqCst) || !HEEDED.load(Ordering::SeqCst) {
            let parts = PARTS.lock().unwrap_or_else(PoisonError::into_inner);
            for part in parts.iter() {
                let _ = std::fs::remove_file(part);
            }
            std::process::exit(i32::from(INTERRUPTED));
        }
        eprintln!("stopping, to tell what is known so far; again: end at once");
    })
    .map_err(|error| Failure::Internal(format!("cannot watch for Ctrl-C: {error}")))
}

/// From now on somebody asks `asked`, and the first signal does not end the process.
pub fn heed() {
    HEEDED.store(true, Ordering::SeqCst);
}

pub fn asked() -> bool {
    STOP.load(Ordering::SeqCst)
}

/// A file that must not outlive the process.
pub fn remember_part(part: &Path) {
    PARTS.lock().unwrap_or_else(PoisonError::into_inner).push(part.to_owned());
}

/// It is gone, or a result now.
pub fn forget_part(part: &Path) {
    PARTS.lock().unwrap_or_else(PoisonError::into_inner).retain(|known| known != part);
}
