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

/// One line that is written over and over, and gone at the end; nothing but on a terminal.
pub struct StatusLine {
    shown: bool,
    started: Instant,
    written: Mutex<Written>,
}

struct Written {
    last: Instant,
    width: usize,
}

impl StatusLine {
    /// A line that is silent if `quiet` or if standard error is no terminal.
    #[must_use]
    pub fn new(quiet: bool) -> Self {
        let now = Instant::now();
        Self {
            shown: !quiet && std::io::stderr().is_terminal(),
            started: now,
            written: Mutex::new(Written {
                last: now,
                width: 0,
            }),
        }
    }

    /// Writes the line anew, unless that was done a moment ago.
    pub fn say(&self, text: impl FnOnce(Duration) -> String) {
        if !self.shown {
            return;
        }
        let Ok(mut written) = self.written.try_lock() else {
            return;
        };
        let now = Instant::now();
        if now < self.started + PATIENCE || now < written.last + PAUSE {
            return;
        }
        written.last = now;
        let text = text(now - self.started);
        let width = written.width.max(text.chars().count());
        written.width = text.chars().count();
        let mut err = std::io::stderr().lock();
        // A line that cannot be shown is no reason to stop.
        let _ = write!(err, "\r{text:<width$}");
        let _ = err.flush();
    }
}

impl Drop for StatusLine {
    fn drop(&mut self) {
        let width = self.written.get_mut().map_or(0, |written| written.width);
        if width > 0 {
            let _ = write!(std::io::stderr(), "\r{:width$}\r", "");
        }
    }
}

/// Counts what is done and now and then says so.
pub struct Progress {
    what: &'static str,
    total: Option<u64>,
    done: AtomicU64,
    line: StatusLine,
    note: Mutex<String>,
}

impl Progress {
    /// Of `total` things called `what`, or of nobody knows how many; silent if `quiet` or if
    /// standard error is no terminal.
    #[must_use]
    pub fn new(what: &'static str, total: Option<u64>, quiet: bool) -> Self {
        Self {
            what,
            total,
            done: AtomicU64::new(0),
            line: StatusLine::new(quiet),
            note: Mutex::default(),
        }
    }

    /// Whether anybody sees it.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.line.shown
    }

    /// What to say beside the count from now on, such as a running interval.
    pub fn note(&self, note: String) {
        if let Ok(mut current) = self.note.lock() {
            *current = note;
        }
    }

    fn text(&self, elapsed: Duration) -> String {
        let done = self.done.load(Ordering::Relaxed);
        let rate = done as f64 / elapsed.as_secs_f64();
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
        if let Ok(note) = self.note.lock()
            && !note.is_empty()
        {
            text += &format!("; {note}");
        }
        text
    }
}

impl Observer for Progress {
    fn tick(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.line.say(|elapsed| self.text(elapsed));
    }
}
