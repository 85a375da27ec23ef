//! Ctrl-C as a wish: what runs ends where its work is safe; a second one ends the process at once.

use std::sync::atomic::{AtomicBool, Ordering};

use crate::cli::Failure;

static ASKED: AtomicBool = AtomicBool::new(false);

/// From here on Ctrl-C only asks to stop.
///
/// # Errors
/// It cannot be caught.
pub fn catch() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        if ASKED.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    })
    .map_err(|error| Failure::computation(format!("Ctrl-C cannot be caught: {error}")))
}

/// Whether it was asked to stop.
#[must_use]
pub fn asked() -> bool {
    ASKED.load(Ordering::Relaxed)
}
