//! Ctrl-C and a polite request to end (SIGTERM): the first asks the run to stop at the next safe point, a second one ends it at once.

use super::failure::Failure;
use std::sync::atomic::{AtomicBool, Ordering};

/// Exit code of a run that was broken off (128 + SIGINT).
pub const BROKEN_OFF: u8 = 130;

static STOP: AtomicBool = AtomicBool::new(false);

/// From now on a signal sets the flag that `asked` reads.
pub fn watch() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::SeqCst) {
            std::process::exit(i32::from(BROKEN_OFF));
        }
    })
    .map_err(|error| Failure::Internal(format!("cannot watch for Ctrl-C: {error}")))
}

pub fn asked() -> bool {
    STOP.load(Ordering::SeqCst)
}
