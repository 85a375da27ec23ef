//! How far measured and expected readings are apart, in standard deviations.

use super::measured::{Channel, Measured, Observable};
use super::observe::{Followed, Run, Sensor};
use super::problem::Problem;

/// Residual, in standard deviations, beyond which it counts linearly (Huber 1964).
const HUBER: f64 = 3.0;
/// Error of the model from point to point, as a share of the range of a channel.
const FLOOR: f64 = 0.002;
/// The same at least, where hardly anything happens: a pressure [Pa], a travel [m], a time [s].
const LEAST: (f64, f64, f64) = (50.0, 5e-4, 1e-4);
/// Error of the model in time: when a front comes is not known better than this [s], nor than this
/// share of the time since the command.
const FRONT: (f64, f64) = (3e-4, 3e-3);

/// Values on either side from which the slope of the record is taken, and the step between two of them
/// over its noise that makes a front.
const AROUND: usize = 2;
const A_FRONT: f64 = 4.0;

/// Pressure of the bay over its peak, both above the start, at which the nose is off.
const OFF: f64 = 0.3;

/// Noise of a record of travel over the engagement up to which it tells when the nose is off.
const FINE: f64 = 0.2;

/// When the nose was off, on the clock of the trace [s]: when the nose has travelled through its
/// engagement [m], or the pressure of the bay has fallen; `None` where neither was measured or seen.
#[must_use]
pub fn nose_off(measured: &Measured, bay: usize, engagement: f64) -> Option<f64> {
    // Before it moves the noise alone may pass; it never comes back.
    let through = |channel: &Channel| {
        let last = channel.values.iter().rposition(|t| *t < engagement);
        channel.times.get(last.map_or(0, |last| last + 1)).copied()
    };
    let mut travel = (measured.channels.iter()).filter(|c| c.observable == Observable::Travel);
    let fallen = || {
        measured.channels.iter().find_map(|channel| {
            let in_bay =
                matches!(channel.observable, Observable::Pressure { vessel, .. } if vessel == bay);
            let first = channel.values.first().filter(|_| in_bay)?;
            let values = || channel.values.iter().zip(&channel.times);
            let (most, peak) = values().max_by(|a, b| a.0.total_cmp(b.0))?;
            let mut after = values().skip_while(|(_, time)| *time <= peak);
            let fallen = after.find(|(value, _)| *value - first < OFF * (most - first));
            fallen.map(|(_, time)| *time)
        })
    };
    match travel.next() {
        Some(travel) if travel.noise < FINE * engagement => through(travel),
        Some(travel) => fallen().or_else(|| through(travel)),
        None => fallen(),
    }
}

/// How well a model should meet one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Standard deviation, all errors together [SI].
    pub total: f64,
    /// Share of the noise in its square [1].
    pub noise: f64,
}

/// Deviations of the values of a channel: noise, the floor of the model, and fronts that come a little
/// early or late: the steeper the record, the less a value says. `command` is the time of the command
/// on the clock of the trace, `until` when the values end that count [s].
#[must_use]
pub fn deviations(channel: &Channel, command: f64, until: f64) -> Vec<Deviation> {
    let least = (FLOOR * channel.range).max(match channel.observable {
        Observable::Pressure { .. } => LEAST.0,
        Observable::Travel => LEAST.1,
        Observable::Release => LEAST.2,
    });
    channel
        .deviations
        .iter()
        .zip(&channel.times)
        .enumerate()
        .map(|(i, (noise, time))| {
            let steepest = steepest(channel, i);
            let doubt = FRONT.0.hypot(FRONT.1 * (time - command).max(0.0));
            let still = noise.hypot(least).max(f64::MIN_POSITIVE);
            let total = if *time < until {
                still.hypot(steepest * doubt)
            } else {
                f64::INFINITY
            };
            Deviation {
                total,
                noise: (still / total).powi(2),
            }
        })
        .collect()
}

/// Steepest slope at a value [SI/s]: of the line through it and its neighbours, and to each of the two
/// next ones where the step is more than noise makes. Neighbours beyond missing samples say nothing of it.
fn steepest(channel: &Channel, at: usize) -> f64 {
    let missing = |i: usize| channel.gap_after(i);
    // What stands alone has no others.
    let begins = at.checked_sub(1).is_none_or(missing);
    let alone = begins && (missing(at) || at + 1 == channel.values.len());
    let joined = |i: usize| alone || !missing(i);
    let first = (at.saturating_sub(AROUND)..at)
        .rev()
        .take_while(|i| joined(*i))
        .last();
    let first = first.unwrap_or(at);
    let last = (at..at + AROUND).take_while(|i| joined(*i)).last();
    let last = last.map_or(at + 1, |i| i + 2).min(channel.values.len());
    let near = |series: &'_ [f64]| series.get(first..last).map(<[f64]>::to_vec);
    let (Some(times), Some(values)) = (near(&channel.times), near(&channel.values)) else {
        return 0.0;
    };
    let count = times.len() as f64;
    let (t, v) = (
        times.iter().sum::<f64>() / count,
        values.iter().sum::<f64>() / count,
    );
    let pairs = || times.iter().zip(&values);
    let product: f64 = pairs().map(|(time, value)| (time - t) * (value - v)).sum();
    let square: f64 = times.iter().map(|time| (time - t).powi(2)).sum();
    let line = if square > 0.0 {
        (product / square).abs()
    } else {
        0.0
    };
    let step = |i: usize, j: usize| -> Option<f64> {
        let rise = (channel.values.get(j)? - channel.values.get(i)?).abs();
        let noise = channel
            .deviations
            .get(i)?
            .hypot(*channel.deviations.get(j)?);
        let length = channel.times.get(j)? - channel.times.get(i)?;
        Some(if rise > A_FRONT * noise {
            rise / length
        } else {
            0.0
        })
    };
    let before = at.checked_sub(1).filter(|before| joined(*before));
    let before = before.and_then(|before| step(before, at));
    let after = Some(at).filter(|at| joined(*at));
    let after = after.and_then(|at| step(at, at + 1));
    line.max(before.unwrap_or(0.0)).max(after.unwrap_or(0.0))
}

/// One channel as a run and a sensor make it.
pub struct View {
    /// Index of the trace.
    pub trace: usize,
    /// Index of the channel in it.
    pub channel: usize,
    /// The sensor.
    pub sensor: Sensor,
    /// What it shows but for errors that act on single readings.
    pub followed: Followed,
    /// Readings less measured values, in standard deviations, before any loss.
    pub plain: Vec<f64>,
}

impl Problem<'_, '_> {
    /// One channel, its sensor having the errors in `z`.
    pub fn view(&self, run: &Run, z: &[f64], trace: usize, channel: usize) -> Option<View> {
        let data = self.model.traces.get(trace)?.channels.get(channel)?;
        let sensor = self.sensor(z, trace, channel);
        let followed = self.follow(run, &sensor, trace, channel)?;
        let known = self.model.deviations(trace, channel);
        let points = data.values.iter().zip(known).zip(&data.saturated);
        let plain = points
            .zip(followed.readings(&sensor))
            .map(|(((value, deviation), saturated), expected)| {
                let residual = (expected - value) / (self.inflation * deviation.total);
                // At its end stop a sensor only says that the value is not lower.
                if *saturated {
                    residual.min(0.0)
                } else {
                    residual
                }
            })
            .collect();
        Some(View {
            trace,
            channel,
            sensor,
            followed,
            plain,
        })
    }

    /// What one channel shows with the clock and the lag of a sensor.
    pub fn follow(
        &self,
        run: &Run,
        sensor: &Sensor,
        trace: usize,
        channel: usize,
    ) -> Option<Followed> {
        let data = self.model.traces.get(trace)?.channels.get(channel)?;
        let looks = self.model.looks.get(trace)?.get(channel)?;
        Some(run.follow_channel(data, looks, sensor.start, sensor.lag))
    }

    /// All channels of one trace.
    pub fn views(&self, run: &Run, z: &[f64], trace: usize) -> Vec<View> {
        let measured = self.model.traces.get(trace);
        let count = measured.map_or(0, |measured| measured.channels.len());
        let channels = (0..count).filter_map(|channel| self.view(run, z, trace, channel));
        channels.collect()
    }

    /// Residuals of one trace in standard deviations, before any loss.
    pub fn plain_residuals(&self, run: &Run, z: &[f64], trace: usize) -> Vec<f64> {
        let views = self.views(run, z, trace).into_iter();
        views.flat_map(|view| view.plain).collect()
    }

    /// Residuals of one trace, each squared giving its part of the robust cost.
    pub fn robust_residuals(&self, run: &Run, z: &[f64], trace: usize) -> Vec<f64> {
        let mut residuals = self.plain_residuals(run, z, trace);
        for residual in &mut residuals {
            *residual = huber(*residual);
        }
        residuals
    }
}

/// A residual whose square is Huber's loss of r: r within the threshold k, else with
/// square 2 k |r| - k^2.
#[must_use]
pub fn huber(residual: f64) -> f64 {
    let size = residual.abs();
    if size <= HUBER {
        residual
    } else {
        residual.signum() * (2.0 * HUBER * size - HUBER * HUBER).sqrt()
    }
}

/// Its slope over r.
#[must_use]
pub fn huber_slope(residual: f64) -> f64 {
    let size = residual.abs();
    if size <= HUBER {
        1.0
    } else {
        HUBER / (2.0 * HUBER * size - HUBER * HUBER).sqrt()
    }
}
