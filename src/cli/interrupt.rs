//! Ctrl-C and a polite request to end (SIGTERM): the first asks the run to stop and tell what is known, a second one ends it at once.
//! Whatever ends the process this way, no half-written neighbour of a result stays behind.

use super::failure::Failure;
use crate::files::part;
use std::sync::atomic::{AtomicBool, Ordering};

/// Exit code of a run that was interrupted (128 + SIGINT).
pub const INTERRUPTED: u8 = 130;

static STOP: AtomicBool = AtomicBool::new(false);
/// Whether anybody reads `STOP`; until then a signal ends the process at once.
static HEEDED: AtomicBool = AtomicBool::new(false);

/// To be called once, before anything is written.
pub fn set_up() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::SeqCst) || !HEEDED.load(Ordering::SeqCst) {
            part::remove_open();
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
