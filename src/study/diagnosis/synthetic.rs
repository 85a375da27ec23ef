//! Traces as a logger would have written them, with a fault, noise and the errors of a sensor: to
//! train on, and to find out how well a diagnosis works.

use crate::discharge::DischargeError;
use crate::network::spec::System;
use crate::statistics::stream::{Purpose, Stream};

use super::cause::Cause;
use super::measured::Observable;
use super::observe::{Run, Sensor, run_long_enough};
use super::places::Places;
use crate::discharge::Settings;

/// Range taken for a sensor of pressure [Pa] and of travel [m] where hardly anything happens.
const LEAST_RANGE: (f64, f64) = (1e4, 0.02);

/// What a logger does to a discharge.
#[derive(Debug, Clone, PartialEq)]
pub struct Logger {
    /// Samples per second [1/s].
    pub rate: f64,
    /// Standard deviation of white noise, as a share of the range of each channel.
    pub noise: f64,
    /// Change of the zero over the record, as a share of the range.
    pub drift: f64,
    /// Zero error, as a share of the range.
    pub zero: f64,
    /// Error of the scale [1].
    pub gain: f64,
    /// Time constant of the sensor [s].
    pub lag: f64,
    /// Share of samples that are spikes of up to the whole range.
    pub spikes: f64,
    /// Clock at the command [s]; the record begins before it.
    pub command: f64,
    /// Quiet time recorded before the command [s].
    pub before: f64,
    /// Length of the record after the command [s]; `None` for the whole run.
    pub length: Option<f64>,
    /// Seed of the noise.
    pub seed: u64,
}

impl Default for Logger {
    fn default() -> Self {
        Logger {
            rate: 2000.0,
            noise: 0.01,
            drift: 0.0,
            zero: 0.0,
            gain: 0.0,
            lag: 0.0,
            spikes: 0.0,
            command: 0.0,
            before: 0.02,
            length: None,
            seed: 1,
        }
    }
}

/// Columns of a synthetic trace.
#[derive(Debug, Clone, PartialEq)]
pub struct SyntheticTrace {
    /// Times on the clock of the logger [s].
    pub times: Vec<f64>,
    /// One column for each observable asked for [SI].
    pub columns: Vec<Vec<f64>>,
}

/// Reported values of a fault drawn by `seed` from what is believed of it [SI]; `None` where the system has no
/// place for the cause.
#[must_use]
pub fn draw_fault(cause: Cause, system: &System, range: f64, seed: u64) -> Option<Vec<f64>> {
    let mut stream = Stream::new(seed, Purpose::Other, 1);
    let faults = cause.faults(system, &Places::of(system), range)?;
    Some(
        faults
            .iter()
            .map(|fault| fault.reported(fault.prior.quantile(stream.uniform())))
            .collect(),
    )
}

/// Runs a system with a fault in it and records what was asked for.
///
/// # Errors
/// As [`run`].
pub fn record(
    system: &System,
    cause: Cause,
    faults: &[f64],
    observables: &[Observable],
    logger: &Logger,
    settings: &Settings,
) -> Result<SyntheticTrace, DischargeError> {
    let places = Places::of(system);
    let mut faulty = system.clone();
    cause.apply(&mut faulty, &places, faults);
    // Finer than the logger.
    let settings = Settings {
        apart: Some((0.5 / logger.rate, 0.0)),
        ..*settings
    };
    let discharge = run_long_enough(&faulty, &settings)?;
    let command = crate::study::criterion::first_command(system);
    let end = discharge.trajectory.times.last().copied().unwrap_or(0.0);
    // An open bay is followed after the end of a run, nothing else is.
    let to_end = end - command;
    let off = discharge.outcome.clear_time.is_some();
    let followed = |observable: &Observable| match observable {
        Observable::Pressure { vessel, .. } => *vessel == places.bay,
        Observable::Travel | Observable::Release => true,
    };
    let length = logger
        .length
        .unwrap_or(if off && observables.iter().all(followed) {
            1.1 * to_end + 0.02
        } else {
            to_end
        });
    let record = Run::new(&faulty, discharge);
    let first = logger.command - logger.before;
    let count = ((logger.before + length) * logger.rate).ceil().max(1.0) as usize;
    let times: Vec<f64> = (0..=count)
        .map(|i| first + i as f64 / logger.rate)
        .collect();
    let mut noise = vec![0.0; times.len()];
    let columns = observables
        .iter()
        .enumerate()
        .map(|(index, observable)| {
            let start = logger.command - command;
            let ideal = record.observe(*observable, &times, &Sensor::perfect(start));
            let low = ideal.iter().copied().fold(f64::INFINITY, f64::min);
            let high = ideal.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let range = (high - low).max(match observable {
                Observable::Pressure { .. } => LEAST_RANGE.0,
                Observable::Travel => LEAST_RANGE.1,
                Observable::Release => 0.0,
            });
            let mut sensor = Sensor {
                start,
                zero: logger.zero * range,
                gain: 1.0 + logger.gain,
                drift: logger.drift * range,
                lag: logger.lag,
                wander: Vec::new(),
            };
            // The sensor in the bay; what is wrong takes the place of its small errors.
            if matches!(observable, Observable::Pressure { vessel, .. } if *vessel == places.bay) {
                match (cause, faults) {
                    (Cause::SensorOffset, [zero, gain]) => {
                        (sensor.zero, sensor.gain) = (*zero, *gain);
                    }
                    (Cause::SensorLag, [lag]) => sensor.lag = *lag,
                    _ => {}
                }
            }
            let mut values = record.observe(*observable, &times, &sensor);
            let mut stream = Stream::new(logger.seed, Purpose::Other, 16 + index as u64);
            stream.fill_normal(&mut noise);
            for (value, noise) in values.iter_mut().zip(&noise) {
                *value += logger.noise * range * noise;
                if stream.uniform() < logger.spikes {
                    *value += range * (2.0 * stream.uniform() - 1.0);
                }
            }
            values
        })
        .collect();
    Ok(SyntheticTrace { times, columns })
}
