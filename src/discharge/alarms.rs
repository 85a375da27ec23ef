//! What is known to happen at a time: commands, kinks of an opening or of what is outside.

use crate::network::spec::{Command, Path, System};

/// Something known to happen at a time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Alarm {
    time: f64,
    /// What.
    pub kind: AlarmKind,
}

/// What can be known to happen.
#[derive(Debug, Clone, Copy)]
pub(super) enum AlarmKind {
    /// A path is commanded open, a backup only if it is needed.
    Command { path: usize, backup: bool },
    /// The rates bend.
    Kink,
    /// A path has its final opening.
    Open { path: usize },
}

/// All that is known to happen, latest first.
#[derive(Debug, Clone)]
pub(super) struct Calendar(Vec<Alarm>);

impl Calendar {
    /// Commands of the paths and kinks of what is outside.
    pub fn new(system: &System) -> Self {
        let mut alarms = Vec::new();
        for (path, p) in system.paths.iter().enumerate() {
            let (time, backup) = match p.command {
                Command::Always => continue,
                Command::At(time) => (time, false),
                Command::Backup(time) => (time, true),
            };
            let kind = AlarmKind::Command { path, backup };
            alarms.push(Alarm { time, kind });
        }
        let kinks = system.ambient.times.iter().filter(|time| **time > 0.0);
        alarms.extend(kinks.map(|time| Alarm {
            time: *time,
            kind: AlarmKind::Kink,
        }));
        let mut calendar = Self(alarms);
        calendar.sort();
        calendar
    }

    /// Kinks and end of the opening of a path commanded at a time [s].
    pub fn opening(&mut self, path: usize, p: &Path, time: f64) {
        let kinks = p.opening.kinks().into_iter().filter(|kink| *kink > 0.0);
        self.0.extend(kinks.map(|kink| Alarm {
            time: time + kink,
            kind: AlarmKind::Kink,
        }));
        let open = p.opening.time_fully_open();
        if open.is_finite() {
            self.0.push(Alarm {
                time: time + open,
                kind: AlarmKind::Open { path },
            });
        }
        self.sort();
    }

    fn sort(&mut self) {
        self.0.sort_by(|a, b| b.time.total_cmp(&a.time));
    }

    /// When the next thing happens [s]; infinite if nothing will.
    pub fn next(&self) -> f64 {
        self.0.last().map_or(f64::INFINITY, |alarm| alarm.time)
    }

    /// Takes the next thing out if its time has come.
    pub fn due(&mut self, time: f64) -> Option<Alarm> {
        (self.next() <= time).then(|| self.0.pop()).flatten()
    }

    /// Whether a path has still to be commanded.
    pub fn commands_left(&self) -> bool {
        let is_command = |alarm: &Alarm| matches!(alarm.kind, AlarmKind::Command { .. });
        self.0.iter().any(is_command)
    }
}
