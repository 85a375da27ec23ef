//! How far a long computation is: one line on standard error, on a terminal only.

use std::io::{IsTerminal, Write};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use crate::study::Observer;

/// Shortest time between two lines.
const PAUSE: Duration = Duration::from_millis(150);
/// Width of the bar.
const BAR: usize = 20;
/// Nothing is shown before this.
const PATIENCE: Duration = Duration::from_millis(700);

/// Counts what is done and now and then says so.
pub struct Progress {
    what: &'static str,
    total: Option<u64>,
    done: AtomicU64,
    shown: bool,
    started: Instant,
    line: Mutex<Line>,
}

struct Line {
    last: Instant,
    width: usize,
    note: String,
}

impl Progress {
    /// Of `total` things called `what`, or of nobody knows how many; silent if `quiet` or if
    /// standard error is no terminal.
    #[must_use]
    pub fn new(what: &'static str, total: Option<u64>, quiet: bool) -> Self {
        let now = Instant::now();
        Self {
            what,
            total,
            done: AtomicU64::new(0),
            shown: !quiet && std::io::stderr().is_terminal(),
            started: now,
            line: Mutex::new(Line {
                last: now,
                width: 0,
                note: String::new(),
            }),
        }
    }

    /// Whether anybody sees it.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// What to say beside the count from now on, such as a running interval.
    pub fn note(&self, note: String) {
        if self.shown
            && let Ok(mut line) = self.line.lock()
        {
            line.note = note;
        }
    }

    fn show(&self) {
        let Ok(mut line) = self.line.try_lock() else {
            return;
        };
        let now = Instant::now();
        if now < self.started + PATIENCE || now < line.last + PAUSE {
            return;
        }
        line.last = now;
        let done = self.done.load(Ordering::Relaxed);
        let seconds = self.started.elapsed().as_secs_f64();
        let rate = done as f64 / seconds;
        let mut text = match self.total {
            Some(total) => {
                let filled = (BAR as u64 * done / total.max(1)) as usize;
                let bar = "#".repeat(filled.min(BAR));
                format!(
                    "[{bar:-<BAR$}] {done} of {total} {}, {rate:.0}/s",
                    self.what
                )
            }
            None => format!("{done} {}, {rate:.0}/s", self.what),
        };
        if let Some(left) = self.total.and_then(|total| total.checked_sub(done)) {
            text += &format!(", {:.0} s left", left as f64 / rate);
        }
        if !line.note.is_empty() {
            text += &format!("; {}", line.note);
        }
        let width = line.width.max(text.len());
        line.width = text.len();
        // A line that cannot be shown is no reason to stop.
        let _ = write!(std::io::stderr(), "\r{text:<width$}");
    }
}

impl Observer for Progress {
    fn tick(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        if self.shown {
            self.show();
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        let width = self.line.get_mut().map_or(0, |line| line.width);
        if width > 0 {
            let _ = write!(std::io::stderr(), "\r{:width$}\r", "");
        }
    }
}
