//! `coldkick shot --as-trace`: a trace as a logger would have written it, to train on.

use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;

use crate::cli::Failure;
use crate::cli::files::{check_target, print, write_whole};
use crate::discharge::Settings;
use crate::network::spec::System;
use crate::study::diagnosis::synthetic::{Logger, draw_fault, record};
use crate::study::diagnosis::{Cause, Observable, Places};
use crate::units::{Dimension, UnitSystem, format, parse};

/// Options of `--as-trace`.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Training trace")]
pub struct TraceArguments {
    /// Write the shot as a logger would have recorded it (CSV), with the errors below
    #[arg(long, value_name = "FILE.csv")]
    pub as_trace: Option<PathBuf>,
    /// Put a fault in: its name, or "any" for one drawn by the seed (see `coldkick diagnose --help`)
    #[arg(long, value_name = "CAUSE", requires = "as_trace")]
    pub fault: Option<String>,
    /// Samples per second
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 2000.0,
        requires = "as_trace"
    )]
    pub rate: f64,
    /// Noise, as a share of the range of each column
    #[arg(
        long,
        value_name = "SHARE",
        default_value = "1 %",
        requires = "as_trace"
    )]
    pub noise: String,
    /// Drift of the zero over the record, as a share of the range
    #[arg(
        long,
        value_name = "SHARE",
        default_value = "0 %",
        allow_hyphen_values = true,
        requires = "as_trace"
    )]
    pub drift: String,
    /// Time constant of the sensor
    #[arg(
        long,
        value_name = "TIME",
        default_value = "0.5 ms",
        requires = "as_trace"
    )]
    pub sensor_lag: String,
    /// Share of samples that are spikes
    #[arg(
        long,
        value_name = "SHARE",
        default_value = "0 %",
        requires = "as_trace"
    )]
    pub spikes: String,
    /// Columns: vessels of the design, "travel" and "wire" (a wire across the joint), separated by
    /// commas; the bay alone if left out
    #[arg(long, value_name = "NAMES", requires = "as_trace")]
    pub record: Option<String>,
}

/// Most samples of a synthetic trace.
const MOST: f64 = 1e7;

/// Writes a synthetic trace of a system and says what is in it; `seed` draws the noise and the size
/// of the fault.
///
/// # Errors
/// Options that make no sense, a discharge that fails, a file that cannot be written.
pub fn write(
    arguments: &TraceArguments,
    system: &System,
    settings: &Settings,
    seed: u64,
    force: bool,
    quiet: bool,
) -> Result<(), Failure> {
    let Some(path) = &arguments.as_trace else {
        return Ok(());
    };
    check_target(path, force)?;
    let share = |option: &str, text: &str| {
        parse(text, Dimension::Fraction)
            .map(|share| share.value)
            .map_err(|error| Failure::input(format!("--{option} {text}: {error}"), error.help()))
    };
    let lag = parse(&arguments.sensor_lag, Dimension::Time).map_err(|error| {
        let message = format!("--sensor-lag {}: {error}", arguments.sensor_lag);
        Failure::input(message, error.help())
    })?;
    let logger = Logger {
        rate: arguments.rate,
        noise: share("noise", &arguments.noise)?,
        drift: share("drift", &arguments.drift)?,
        lag: lag.value,
        spikes: share("spikes", &arguments.spikes)?,
        seed,
        ..Logger::default()
    };
    let samples = logger.rate * system.horizon;
    if !(logger.rate > 0.0 && (8.0..=MOST).contains(&samples)) {
        return Err(Failure::input(
            format!(
                "--rate {}: a record of {} s would have {samples:.0} samples",
                logger.rate, system.horizon
            ),
            "choose a rate that gives 8 to 10 million samples",
        ));
    }
    if logger.noise < 0.0 || logger.lag < 0.0 || !(0.0..=0.5).contains(&logger.spikes) {
        return Err(Failure::input(
            "noise and lag cannot be negative, and at most half of the samples can be spikes",
            "choose among --noise, --sensor-lag and --spikes what a logger could have",
        ));
    }
    let columns = columns(arguments, system)?;
    let observables: Vec<Observable> = columns.iter().map(|(_, o)| *o).collect();
    let places = Places::of(system);
    let range = system.ambient.at(0.0).0.max(1.0);
    let possible = || -> Vec<Cause> {
        Cause::ALL
            .into_iter()
            .filter(|cause| cause.faults(system, &places, range).is_some())
            .collect()
    };
    let cause = match arguments.fault.as_deref() {
        None => Cause::NothingWrong,
        Some("any") => {
            let possible = possible();
            let mixed = crate::statistics::stream::mix(seed);
            let index = (mixed % possible.len().max(1) as u64) as usize;
            possible.get(index).copied().unwrap_or(Cause::NothingWrong)
        }
        Some(name) => named(name, &possible())?,
    };
    let values = draw_fault(cause, system, range, seed).unwrap_or_default();
    let trace =
        record(system, cause, &values, &observables, &logger, settings).map_err(|error| {
            Failure::computation(format!(
                "the discharge with this fault could not be computed: {error}"
            ))
        })?;
    let mut text = String::from("time [s]");
    for (heading, _) in &columns {
        let _ = write!(text, ",{heading}");
    }
    text.push('\n');
    let end = trace.times.last().copied().unwrap_or(0.0);
    for (index, time) in trace.times.iter().enumerate() {
        let _ = write!(text, "{time:.6}");
        for ((_, observable), column) in columns.iter().zip(&trace.columns) {
            let value = column.get(index).copied().unwrap_or(f64::NAN);
            let _ = match observable {
                Observable::Pressure { .. } => write!(text, ",{:.3}", value / 1e3),
                Observable::Travel => write!(text, ",{:.3}", value * 1e3),
                // Five volts while the wire is whole.
                Observable::Release if value < end && *time >= value => write!(text, ",0"),
                Observable::Release => write!(text, ",5"),
            };
        }
        text.push('\n');
    }
    write_whole(path, text.as_bytes(), force)?;
    if !quiet {
        let amounts: Vec<String> = cause
            .faults(system, &places, range)
            .unwrap_or_default()
            .iter()
            .zip(&values)
            .map(|(fault, value)| {
                format!(
                    "{} {} (design {})",
                    fault.label,
                    format(fault.dimension, *value, UnitSystem::Metric),
                    format(fault.dimension, fault.expected, UnitSystem::Metric)
                )
            })
            .collect();
        let amounts = if amounts.is_empty() {
            String::new()
        } else {
            format!(": {}", amounts.join(", "))
        };
        print(&format!(
            "wrote {}: {} samples of {} column(s), {}{amounts}\n",
            path.display(),
            trace.times.len(),
            columns.len(),
            cause.label()
        ))?;
    }
    Ok(())
}

/// A cause by its name in options or as reports print it: `seal_leak` or "seal leaking".
///
/// # Errors
/// A name that is none, or one the design has no place for.
pub fn named(name: &str, possible: &[Cause]) -> Result<Cause, Failure> {
    let plain = name.trim().to_lowercase().replace([' ', '-'], "_");
    let called = |cause: &Cause| cause.name() == plain || cause.label().replace(' ', "_") == plain;
    match Cause::ALL.into_iter().find(called) {
        Some(cause) if possible.contains(&cause) => Ok(cause),
        Some(cause) => Err(Failure::input(
            format!("this design has no place for `{}`", cause.label()),
            format!("choose one of {}", names(possible)),
        )),
        None => Err(Failure::input(
            format!("`{name}` is not a cause"),
            format!("choose one of {}", names(possible)),
        )),
    }
}

fn names(causes: &[Cause]) -> String {
    causes
        .iter()
        .map(|cause| cause.name())
        .collect::<Vec<_>>()
        .join(", ")
}

/// Headings and what stands under them.
fn columns(
    arguments: &TraceArguments,
    system: &System,
) -> Result<Vec<(String, Observable)>, Failure> {
    let bay = Places::of(system).bay;
    let pressure = |vessel: usize, name: &str| {
        // Bays are measured with gauge sensors, cartridges with absolute ones, as is usual.
        let gauge = vessel == bay;
        let unit = if gauge { "kPa gauge" } else { "kPa abs" };
        (
            format!("{name} [{unit}]"),
            Observable::Pressure { vessel, gauge },
        )
    };
    let Some(wanted) = &arguments.record else {
        let name = system.vessels.get(bay).map_or("bay", |v| v.name.as_str());
        return Ok(vec![pressure(bay, name)]);
    };
    let names: Vec<&str> = wanted.split(',').map(str::trim).collect();
    names
        .iter()
        .enumerate()
        .map(|(place, &name)| {
            if names.iter().take(place).any(|earlier| *earlier == name) {
                return Err(Failure::input(
                    format!("--record {wanted}: {name} is named twice"),
                    "name each column once",
                ));
            }
            if name == "travel" && system.nose.is_some() {
                return Ok(("travel [mm]".to_owned(), Observable::Travel));
            }
            if name == "wire" && system.nose.is_some() {
                return Ok(("wire [V]".to_owned(), Observable::Release));
            }
            let known = || {
                let mut names: Vec<&str> = system.vessels.iter().map(|v| v.name.as_str()).collect();
                if system.nose.is_some() {
                    names.extend(["travel", "wire"]);
                }
                names.join(", ")
            };
            system
                .vessels
                .iter()
                .position(|vessel| vessel.name == name)
                .map(|vessel| pressure(vessel, name))
                .ok_or_else(|| {
                    Failure::input(
                        format!("--record {name}: the design has no such vessel"),
                        format!("choose among {}", known()),
                    )
                })
        })
        .collect()
}
