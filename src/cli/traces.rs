//! Trace files on the command line: what a diagnosis reads and what `shot --as-trace` writes.

use std::path::{Path, PathBuf};

use crate::cli::Failure;
use crate::network::spec::{Role, System};
use crate::study::diagnosis::{Measured, Observable, Places, Trigger};
use crate::trace::reduce::median;
use crate::trace::{
    Assignment, Column, Place, Quantity, ReadOptions, Reference, Trace, read, reduce,
};
use crate::units::{Dimension, parse};

/// Largest trace read [bytes]: ten million rows and room.
const LARGEST: u64 = 2_000_000_000;
/// Clock error of a command whose time is told or assumed [s].
const CLOCK: f64 = 2e-3;
/// Quiet time kept before the command, as a share of what follows.
const BEFORE: f64 = 0.1;

/// When the valve was commanded, as told on the command line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Told {
    /// At a time on the clock of the trace [s].
    At(f64),
    /// Nobody knows.
    Unknown,
}

/// Reads `--trigger`.
///
/// # Errors
/// Anything but a time or `unknown`.
pub fn trigger(text: &str) -> Result<Told, String> {
    if text.trim() == "unknown" {
        return Ok(Told::Unknown);
    }
    parse(text, Dimension::Time)
        .map(|time| Told::At(time.value))
        .map_err(|error| format!("{error}; write a time such as \"12.4 s\", or unknown"))
}

/// What is told about the traces.
pub struct TraceOptions<'a> {
    /// What pressures are measured from.
    pub reference: Option<Reference>,
    /// Columns told.
    pub columns: &'a [String],
    /// When the valve was commanded.
    pub trigger: Option<Told>,
    /// Points kept of each column.
    pub points: usize,
}

/// A trace as read and as reduced.
pub struct Loaded {
    /// As read.
    pub trace: Trace,
    /// As fitted.
    pub measured: Measured,
    /// How it was reduced, in words.
    pub notes: Vec<String>,
}

/// Names a vessel may go by besides its own.
fn places(system: &System) -> Vec<Place> {
    system
        .vessels
        .iter()
        .map(|vessel| Place {
            vessel: vessel.name.clone(),
            also: match vessel.role {
                Role::Cartridge => &[
                    "cartridge",
                    "cart",
                    "cyl",
                    "cylinder",
                    "bottle",
                    "tank",
                    "source",
                    "co",
                    "co2",
                ],
                Role::Manifold => &["manifold", "line"],
                Role::Reservoir => &["reservoir", "accumulator", "plenum"],
                Role::Bay => &[
                    "bay",
                    "plenum",
                    "chamber",
                    "nosecone",
                    "nose",
                    "compartment",
                    "avionics",
                ],
            },
        })
        .collect()
}

/// Reads and reduces the traces of a system.
///
/// # Errors
/// Files that cannot be read, and everything the trace reader refuses.
pub fn load(
    paths: &[PathBuf],
    system: &System,
    options: &TraceOptions<'_>,
) -> Result<Vec<Loaded>, Failure> {
    let assignments = options
        .columns
        .iter()
        .map(|text| text.parse::<Assignment>().map_err(refused))
        .collect::<Result<Vec<_>, _>>()?;
    let reading = ReadOptions {
        places: places(system),
        usual: Some(Places::of(system).bay),
        reference: options.reference,
        surroundings: system.ambient.at(0.0).0,
        assignments,
    };
    paths
        .iter()
        .map(|path| {
            let bytes = bytes(path)?;
            let name = path.display().to_string();
            let trace = read(&name, bytes, &reading).map_err(refused)?;
            reduced(trace, system, options)
        })
        .collect()
}

fn refused(error: crate::trace::TraceError) -> Failure {
    Failure::input(error.to_string(), "")
}

fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let unreadable = |error: std::io::Error| {
        Failure::input(
            format!("{} could not be read: {error}", path.display()),
            "name a CSV file of a pressure trace",
        )
    };
    let size = std::fs::metadata(path).map_err(unreadable)?.len();
    if size > LARGEST {
        return Err(Failure::input(
            format!(
                "{} has {size} bytes; at most {LARGEST} are read",
                path.display()
            ),
            "cut the record to the seconds around the command",
        ));
    }
    std::fs::read(path).map_err(unreadable)
}

/// When the nose nearly reaches the end of its tether in a column of travel: what it does from there
/// on says nothing of the separation.
fn taut(column: &Column, system: &System) -> Option<f64> {
    const NEARLY: f64 = 0.95;
    let (nose, _) = system.nose.as_ref()?;
    let reach = NEARLY * nose.tether.as_ref()?.length;
    if column.quantity != Quantity::Travel {
        return None;
    }
    let index = column.values.iter().position(|value| *value > reach)?;
    column.times.get(index).copied()
}

/// Settles when the command was, cuts the record to what the design can explain, and reduces it.
fn reduced(trace: Trace, system: &System, options: &TraceOptions<'_>) -> Result<Loaded, Failure> {
    let first = trace
        .columns
        .iter()
        .filter_map(|column| column.times.first())
        .copied()
        .fold(f64::INFINITY, f64::min);
    let last = trace
        .columns
        .iter()
        .filter_map(|column| column.times.last())
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let mut notes = Vec::new();
    let known = |time| Trigger::Known {
        time,
        deviation: CLOCK,
    };
    let trigger = match (options.trigger, trace.trigger) {
        (Some(Told::At(time)), _) => {
            if time < first - system.horizon || time > last {
                return Err(Failure::input(
                    format!(
                        "{}: the record runs from {first:.4} s to {last:.4} s, so that a command at \
                         {time} s lies outside",
                        trace.name
                    ),
                    "give --trigger on the clock of the trace",
                ));
            }
            known(time)
        }
        (Some(Told::Unknown), _) => Trigger::Unknown,
        (None, Some(time)) => known(time),
        (None, None) if first <= 1e-3 && last > 0.0 => {
            notes.push(
                "time 0 taken as the command, within 2 ms (--trigger tells otherwise)".to_owned(),
            );
            known(0.0)
        }
        (None, None) => {
            notes.push(format!(
                "the record begins at {first:.4} s: the time of the command is not known and is \
                 fitted, so that a late valve cannot be seen (--trigger tells it)"
            ));
            Trigger::Unknown
        }
    };
    let command = crate::study::criterion::first_command(system);
    let window = match trigger {
        Trigger::Known { time, .. } => {
            let start = time - command;
            (start - BEFORE * system.horizon, start + system.horizon)
        }
        Trigger::Unknown => {
            // A first look at the whole record finds the rise.
            let onset = trace
                .columns
                .iter()
                .filter_map(|column| reduce(column, (first, last), 2000).0?.onset)
                .fold(f64::INFINITY, f64::min);
            let onset = if onset.is_finite() { onset } else { first };
            (onset - BEFORE * system.horizon, onset + system.horizon)
        }
    };
    if last > window.1 {
        notes.push(format!(
            "used up to {:.4} s, the horizon of the design; {:.4} s more were recorded",
            window.1,
            last - window.1
        ));
    }
    let mut channels = Vec::new();
    for column in &trace.columns {
        let (start, end) = window;
        let taut = taut(column, system).filter(|time| *time < end);
        if let Some(time) = taut {
            notes.push(format!(
                "`{}` used up to {time:.4} s, where the tether comes taut",
                column.heading
            ));
        }
        let window = (start, taut.unwrap_or(end));
        let (channel, left_out) = reduce(column, window, options.points);
        notes.extend(left_out);
        match channel {
            Some(channel) => {
                if column.quantity != Quantity::BreakWire {
                    notes.push(format!(
                        "`{}`: {} samples reduced to {} points, noise of a sample {}",
                        column.heading,
                        channel.samples,
                        channel.values.len(),
                        match column.quantity {
                            Quantity::Pressure { .. } =>
                                format!("{:.2} mbar", channel.noise / 100.0),
                            _ => format!("{:.3} mm", channel.noise * 1e3),
                        }
                    ));
                }
                channels.push(channel);
            }
            None => {
                return Err(Failure::input(
                    format!(
                        "{}: `{}` has no four samples between {:.4} s and {:.4} s, where the design \
                         could explain them",
                        trace.name, column.heading, window.0, window.1
                    ),
                    "give the time of the command with --trigger",
                ));
            }
        }
    }
    let silent = |channel: &crate::study::diagnosis::Channel| {
        channel.onset.is_none() && channel.observable != Observable::Release
    };
    if channels
        .iter()
        .all(|channel| silent(channel) && !has_moved(channel))
    {
        return Err(Failure::input(
            format!(
                "{}: nothing rises or falls beyond the noise in this record; a valve that stayed shut, a cartridge not \
                 pierced or empty and a sensor that is not connected all look like this",
                trace.name
            ),
            "try the sensor with a known pressure, weigh the cartridge, watch the valve; where the record may \
             only miss what happened, record for longer or give the time of the command with --trigger",
        ));
    }
    let measured = Measured {
        name: trace.name.clone(),
        channels,
        trigger,
    };
    Ok(Loaded {
        trace,
        measured,
        notes,
    })
}

/// Standard deviations of a sample by which a record ends elsewhere than it began if something happened in it.
const MOVED: f64 = 4.0;

/// Whether a channel ends elsewhere than it began, by the middle values of its first and last tenth.
fn has_moved(channel: &crate::study::diagnosis::Channel) -> bool {
    let values = &channel.values;
    let tenth = values.len().div_ceil(10);
    let (mut first, mut last) = (values.clone(), values.clone());
    first.truncate(tenth);
    last.drain(..values.len() - tenth);
    (median(&mut last) - median(&mut first)).abs() > MOVED * channel.noise
}
