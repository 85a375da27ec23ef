//! What a sensor would have written down: from a discharge to readings.

use crate::discharge::{Discharge, DischargeError, Extent, Settings, run};
use crate::network::spec::System;

use super::measured::{Channel, Observable, WIRE_TRAVEL};

/// Time constants with which a bay wide open may empty [s].
const OPEN_BORE: (f64, f64) = (2e-4, 0.1);

/// Growth of the steps in which the empty bay is followed, and how long that goes on [s].
const GROWTH: f64 = 1.15;
const LONG_AFTER: f64 = 1e3;

/// A sensor and the clock of its trace.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Clock of the trace at the start of the model [s].
    pub start: f64,
    /// Added to every reading [SI].
    pub zero: f64,
    /// Factor on every reading [1].
    pub gain: f64,
    /// Change of the zero over the record [SI].
    pub drift: f64,
    /// Time constant of its first-order lag [s].
    pub lag: f64,
    /// Error of the model as a share of the rise above the start, at equally numbered points of
    /// the record.
    pub wander: Vec<f64>,
}

impl Sensor {
    /// A sensor without error.
    #[must_use]
    pub fn perfect(start: f64) -> Self {
        Sensor {
            start,
            zero: 0.0,
            gain: 1.0,
            drift: 0.0,
            lag: 0.0,
            wander: Vec::new(),
        }
    }
}

/// One run of the model as far as it can be measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    times: Vec<f64>,
    pressures: Vec<Vec<f64>>,
    travel: Vec<f64>,
    ambient: f64,
    horizon: f64,
}

impl Run {
    /// What can be measured of a discharge.
    #[must_use]
    pub fn new(system: &System, discharge: Discharge) -> Self {
        let cleared = discharge.outcome.clear_time.is_some();
        let trajectory = discharge.trajectory;
        let ambient = system.ambient.at(0.0).0;
        let mut times = trajectory.times;
        let mut pressures: Vec<Vec<f64>> = trajectory
            .vessels
            .into_iter()
            .map(|vessel| vessel.pressure)
            .collect();
        let mut travel = trajectory.nose.map(|nose| nose.travel).unwrap_or_default();
        if cleared
            && let Some((_, bay)) = &system.nose
            && let Some(series) = pressures.get(*bay)
        {
            let tau = emptying(&times, series, ambient);
            empty(&mut times, &mut pressures, *bay, ambient, tau);
            let last = travel.last().copied().unwrap_or(0.0);
            travel.resize(times.len(), last);
        }
        Run {
            times,
            pressures,
            travel,
            ambient,
            horizon: system.horizon,
        }
    }

    /// When a quantity first rises above its start by a share of its largest rise [s].
    #[must_use]
    pub fn rise_time(&self, observable: Observable, share: f64) -> Option<f64> {
        let series = match observable {
            Observable::Pressure { vessel, .. } => self.pressures.get(vessel)?,
            Observable::Travel => &self.travel,
            Observable::Release => return None,
        };
        let first = series.first()?;
        let most = series.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let level = first + share * (most - first);
        let index = series.iter().position(|v| *v > level)?;
        self.times.get(index).copied()
    }

    /// Readings of a sensor, averaged as the values of a channel are [SI].
    #[must_use]
    pub fn readings(&self, channel: &Channel, sensor: &Sensor) -> Vec<f64> {
        let (start, lag) = (sensor.start, sensor.lag);
        let followed = self.follow_channel(channel, &channel.looks(), start, lag);
        followed.readings(sensor)
    }

    /// What a perfect sensor would show of a channel at the times of the run, from the first to the last value of
    /// the channel: clock of its trace [s], at which the run starts at `start` [s], and value [SI].
    #[must_use]
    pub fn curve(&self, channel: &Channel, start: f64) -> Vec<(f64, f64)> {
        let (Some(&first), Some(&last)) = (channel.times.first(), channel.times.last()) else {
            return Vec::new();
        };
        let own = self.times.iter().map(|time| start + time);
        let inside = own.filter(|clock| (first..=last).contains(clock));
        let mut times: Vec<f64> = [first].into_iter().chain(inside).chain([last]).collect();
        times.dedup();
        let sensor = Sensor::perfect(start);
        let values = self.observe(channel.observable, &times, &sensor);
        times.into_iter().zip(values).collect()
    }

    /// What a channel shows but for errors that need no second look at the run.
    #[must_use]
    pub fn follow_channel(
        &self,
        channel: &Channel,
        looks: &(Vec<f64>, Vec<usize>),
        start: f64,
        lag: f64,
    ) -> Followed {
        let (times, counts) = looks;
        let looked = self.follow(channel.observable, times, start, lag);
        let averaged = |series: &[f64]| -> Vec<f64> {
            let mut rest = series.iter();
            let mean = |count: &usize| rest.by_ref().take(*count).sum::<f64>() / *count as f64;
            counts.iter().map(mean).collect()
        };
        Followed {
            values: averaged(&looked.values),
            shares: averaged(&looked.shares),
            first: looked.first,
        }
    }

    /// When the nose had moved by some travel [m] [s], between two steps of the run: a fit needs it to
    /// follow its values smoothly.
    #[must_use]
    pub fn time_of_travel(&self, travel: f64) -> Option<f64> {
        let after = self.travel.iter().position(|t| *t > travel)?;
        let to = (*self.times.get(after)?, *self.travel.get(after)?);
        let Some(before) = after.checked_sub(1) else {
            return Some(to.0);
        };
        let from = (*self.times.get(before)?, *self.travel.get(before)?);
        let share = (travel - from.1) / (to.1 - from.1);
        Some(from.0 + share * (to.0 - from.0))
    }

    /// Readings of a sensor at times on the clock of its trace [SI].
    #[must_use]
    pub fn observe(&self, observable: Observable, times: &[f64], sensor: &Sensor) -> Vec<f64> {
        let followed = self.follow(observable, times, sensor.start, sensor.lag);
        followed.readings(sensor)
    }

    /// What a sensor with a clock and a lag shows at some times, but for its other errors.
    fn follow(&self, observable: Observable, times: &[f64], start: f64, lag: f64) -> Followed {
        let begin = times.first().copied().unwrap_or(0.0);
        let end = times.last().copied().unwrap_or(f64::INFINITY);
        let record = if end > begin { end - begin } else { 1.0 };
        let shares = times.iter().map(|t| (t - begin) / record).collect();
        let (source, offset): (&[f64], f64) = match observable {
            Observable::Release => {
                let moved = self.time_of_travel(WIRE_TRAVEL).unwrap_or(self.horizon);
                return Followed {
                    values: vec![(start + moved).min(end); times.len()],
                    shares,
                    first: 0.0,
                };
            }
            Observable::Pressure { vessel, gauge } => (
                self.pressures.get(vessel).map_or(&[], Vec::as_slice),
                if gauge { -self.ambient } else { 0.0 },
            ),
            Observable::Travel => (&self.travel, 0.0),
        };
        let filtered;
        let series: &[f64] = if lag > 0.0 {
            filtered = lagged(&self.times, source, lag);
            &filtered
        } else {
            source
        };
        let mut cursor = 0;
        let mut at = |clock: &f64| interpolate(&self.times, series, clock - start, &mut cursor);
        Followed {
            values: times.iter().map(|clock| at(clock) + offset).collect(),
            shares,
            first: series.first().copied().unwrap_or(0.0) + offset,
        }
    }
}

/// A run that ends before the horizon only where the nose is off: what goes on in a bay that stays shut
/// is measured.
///
/// # Errors
/// As [`run`].
pub fn run_long_enough(system: &System, settings: &Settings) -> Result<Discharge, DischargeError> {
    let discharge = run(system, settings)?;
    let last = discharge.trajectory.times.last().copied().unwrap_or(0.0);
    let cut = last < system.horizon && discharge.outcome.clear_time.is_none();
    if !cut || settings.extent == Extent::Horizon {
        return Ok(discharge);
    }
    let whole = Settings {
        extent: Extent::Horizon,
        ..*settings
    };
    run(system, &whole)
}

/// What a sensor shows but for the errors that act on its readings one by one.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// Values, lagged, on the clock of the trace [SI].
    pub values: Vec<f64>,
    /// Shares of the record gone by.
    pub shares: Vec<f64>,
    /// Value at the start of the run [SI].
    pub first: f64,
}

impl Followed {
    /// With all errors of the sensor.
    #[must_use]
    pub fn readings(&self, sensor: &Sensor) -> Vec<f64> {
        let count = self.values.len();
        let pairs = self.values.iter().zip(&self.shares).enumerate();
        pairs
            .map(|(index, (value, share))| {
                sensor.gain * value
                    + wander(&sensor.wander, index, count) * (value - self.first)
                    + sensor.zero
                    + sensor.drift * share
            })
            .collect()
    }
}

/// Time constant of the fall to a level at the end of a series, within those of an open bay [s].
fn emptying(times: &[f64], values: &[f64], level: f64) -> f64 {
    let fall = || {
        let (t1, p1) = (times.last()?, values.last()?);
        let index = times.partition_point(|t| *t < t1 - 3e-4).checked_sub(1)?;
        let (t0, p0) = (times.get(index)?, values.get(index)?);
        let shrink = ((p1 - level) / (p0 - level)).ln();
        Some(-(t1 - t0) / shrink)
    };
    match fall() {
        Some(tau) if tau > 0.0 => tau.clamp(OPEN_BORE.0, OPEN_BORE.1),
        _ => OPEN_BORE.0,
    }
}

/// Goes on after the end of a run with an open bay that empties with a time constant, so that the
/// tail of a slow sensor has something to follow; all else stays as it was.
fn empty(times: &mut Vec<f64>, pressures: &mut [Vec<f64>], bay: usize, level: f64, tau: f64) {
    let Some(end) = times.last().copied() else {
        return;
    };
    // Ten time constants in short steps, then growing ones: a slow sensor still falls long after.
    let short = (1..=40).map(|k| 0.25 * tau * f64::from(k));
    let growing = std::iter::successors(Some(11.0 * tau), |after| Some(GROWTH * after));
    let start = pressures
        .get(bay)
        .and_then(|series| series.last().copied())
        .unwrap_or(level);
    for after in short.chain(growing.take_while(|after| *after < LONG_AFTER)) {
        times.push(end + after);
        for (vessel, series) in pressures.iter_mut().enumerate() {
            let last = series.last().copied().unwrap_or(level);
            series.push(if vessel == bay {
                level + (start - level) * (-after / tau).exp()
            } else {
                last
            });
        }
    }
}

/// Share by which two intervals between samples may differ and count as the same.
const SAME_STEP: f64 = 1e-9;

/// Response of a first-order lag, tau dy/dt = p - y, to straight lines between samples (exact).
fn lagged(times: &[f64], values: &[f64], tau: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(values.len());
    let mut y = values.first().copied().unwrap_or(0.0);
    out.push(y);
    // Samples of one step of a run are equally far apart but for round-off.
    let (mut known, mut left) = (0.0_f64, 1.0);
    for (t, p) in times.windows(2).zip(values.windows(2)) {
        let (&[t0, t1], &[p0, p1]) = (t, p) else {
            continue;
        };
        let step = t1 - t0;
        if step > 0.0 {
            if (step - known).abs() > SAME_STEP * step {
                (known, left) = (step, (-step / tau).exp());
            }
            let slope = (p1 - p0) / step;
            y = p1 - tau * slope + (y - p0 + tau * slope) * left;
        }
        out.push(y);
    }
    out
}

/// Straight between samples, constant before the first and after the last.
fn interpolate(times: &[f64], values: &[f64], time: f64, cursor: &mut usize) -> f64 {
    // Times are asked for in ascending order.
    while times.get(*cursor).is_some_and(|t| *t <= time) {
        *cursor += 1;
    }
    let next = *cursor;
    let Some(before) = next.checked_sub(1) else {
        return values.first().copied().unwrap_or(0.0);
    };
    let v0 = values.get(before).copied().unwrap_or(0.0);
    match (times.get(before), times.get(next), values.get(next)) {
        (Some(t0), Some(t1), Some(v1)) => v0 + (v1 - v0) * (time - t0) / (t1 - t0),
        _ => v0,
    }
}

/// Straight between equally numbered knots.
fn wander(knots: &[f64], index: usize, count: usize) -> f64 {
    let (left, share) = between_knots(knots.len(), index, count);
    let at = |i: usize| knots.get(i).copied().unwrap_or(0.0);
    at(left) + share * (at(left + 1) - at(left))
}

/// Between which of some equally numbered knots a value lies: the one before, and the share of the way to
/// the next.
#[must_use]
pub fn between_knots(knots: usize, index: usize, count: usize) -> (usize, f64) {
    let Some(last) = knots.checked_sub(1).filter(|last| *last > 0) else {
        return (0, 0.0);
    };
    let place = index as f64 / (count.max(2) - 1) as f64 * last as f64;
    let left = (place as usize).min(last - 1);
    (left, place - left as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lag_of_a_ramp_is_its_closed_form() {
        let times: Vec<f64> = (0..=10).map(|i| f64::from(i) * 0.01).collect();
        let values: Vec<f64> = times.iter().map(|t| 3.0 * t).collect();
        let tau = 0.02;
        for (t, y) in times.iter().zip(lagged(&times, &values, tau)) {
            let exact = 3.0 * (t - tau * (1.0 - (-t / tau).exp()));
            assert!((y - exact).abs() < 1e-14, "{t}: {y} {exact}");
        }
    }

    #[test]
    fn wander_passes_through_its_knots() {
        let knots = [0.01, -0.02, 0.03];
        for (index, expected) in [(0, 0.01), (50, -0.02), (75, 0.005), (100, 0.03)] {
            assert!(
                (wander(&knots, index, 101) - expected).abs() < 1e-15,
                "{index}"
            );
        }
        assert_eq!(wander(&[], 3, 10), 0.0);
    }
}
