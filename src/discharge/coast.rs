//! A nose that is clear of its coupler: nothing but its own motion and the tether is left to follow.

use std::convert::Infallible;
use std::f64::consts::PI;

use crate::discharge::{DischargeError, Ending, EventKind, EventRecord, Peak};
use crate::mechanics::{Motion, NOSE_EVENTS, Nose, NoseEvent};
use crate::numerics::integrate::{Integrator, Settings, Stop, System};

/// How the flight of a clear nose went on.
pub(super) struct Coasted {
    pub events: Vec<EventRecord>,
    pub ending: Ending,
    pub peak_tether: Option<Peak>,
    /// Travel at the end [m].
    pub travel: f64,
}

/// Travel and speed, the bay's pressure staying as it is.
struct Coast<'a> {
    nose: &'a Nose,
    motion: Motion,
    over_pressure: f64,
}

impl System for Coast<'_> {
    type Error = Infallible;

    fn rates(&mut self, _: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        rates[0] = state[1];
        rates[1] = self
            .nose
            .acceleration(self.motion, state[0], state[1], self.over_pressure, 0.0);
        Ok(())
    }

    fn events(&mut self, _: f64, state: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
        let all = self
            .nose
            .event_values(self.motion, state[0], state[1], self.over_pressure, 0.0);
        values.copy_from_slice(&all);
        Ok(())
    }
}

/// How far beyond the horizon a nose is followed to its tether [s]: one so slow that this is not enough
/// pulls with next to nothing.
const BEYOND: f64 = 1e6;

/// Longest step, as a share of the time in which the nose covers the length of its tether: nothing but
/// events bounds a step of a steady flight, and one that leads past the tether and back would show none.
const SHARE_OF_FLIGHT: f64 = 0.1;
/// A longest step that is no hindrance however short the tether [s].
const SHORTEST_STEP: f64 = 1e-6;

/// How long a taut tether is followed that neither peaks nor slackens, as one damped much from which the nose
/// hangs: so many times its own times, of damping and of swinging.
const SETTLED: f64 = 10.0;

/// Follows a clear nose from (`time`, `travel`, `speed`) to the peak of its tether or its fall back, with
/// the bay at `over_pressure` [Pa] above the outside: none once it has vented.
///
/// The tension is at its greatest where it stops to rise or, with a damping ratio from 1/2 on, at once
/// where the tether runs taut. What becomes of the nose counts up to the `horizon`; beyond it only the
/// load on the tether does, which is no less for being late.
///
/// # Errors
/// An integration that does not go on.
pub(super) fn coast(
    nose: &Nose,
    motion: Motion,
    (time, travel, speed): (f64, f64, f64),
    over_pressure: f64,
    horizon: f64,
) -> Result<Coasted, DischargeError> {
    let acceleration = nose.acceleration(motion, travel, speed, over_pressure, 0.0);
    let settings = Settings {
        relative: 1e-7,
        absolute: vec![1e-9, 1e-7],
        event_samples: 2,
        max_step: nose.tether.as_ref().map_or(f64::INFINITY, |tether| {
            let (steady, speeding) = (
                tether.length / speed.abs(),
                (2.0 * tether.length / acceleration.abs()).sqrt(),
            );
            (SHARE_OF_FLIGHT * steady.min(speeding)).max(SHORTEST_STEP)
        }),
        ..Settings::default()
    };
    let mut integrator = Integrator::new(2, NOSE_EVENTS.len(), settings)?;
    integrator.start(time, &[travel, speed]);
    let mut coast = Coast {
        nose,
        motion,
        over_pressure,
    };
    let mut coasted = Coasted {
        events: Vec::new(),
        ending: Ending::Horizon,
        peak_tether: None,
        travel,
    };
    coasted.pull(nose, (time, travel, speed));
    let mut settled = match motion {
        Motion::Taut => time + settling(nose),
        _ => f64::INFINITY,
    };
    let mut end = horizon.min(settled);
    loop {
        let stop = if end > integrator.time() {
            integrator
                .advance(&mut coast, end, &mut |_, _| {})
                .map_err(|error| DischargeError::Coasting(Box::new(error)))?
        } else {
            Stop::End
        };
        let within = end <= horizon;
        let (time, travel, speed) = (
            integrator.time(),
            integrator.state()[0],
            integrator.state()[1],
        );
        if within {
            coasted.travel = travel;
        }
        let Stop::Event { index } = stop else {
            coasted.pull(nose, (time, travel, speed));
            if within && time >= settled {
                coasted.ending = Ending::TetherTaut;
            } else if within && nose.tether.is_some() {
                end = settled.min(horizon + BEYOND);
                continue;
            }
            return Ok(coasted);
        };
        let event = NOSE_EVENTS[index];
        let after = nose.after(coast.motion, event, travel, speed, over_pressure, 0.0);
        coasted.pull(nose, (time, after.travel, after.speed));
        if within {
            let kind = EventKind::Nose(event);
            coasted.events.push(EventRecord { time, kind });
        }
        let ending = match event {
            NoseEvent::TetherPeak | NoseEvent::Slack => Some(Ending::TetherTaut),
            NoseEvent::Recontact => Some(Ending::FellBack),
            NoseEvent::Taut => {
                settled = time + settling(nose);
                end = end.min(settled);
                None
            }
            _ => None,
        };
        if let Some(ending) = ending {
            if within {
                coasted.ending = ending;
            }
            return Ok(coasted);
        }
        coast.motion = after.motion;
        integrator
            .state_mut()
            .copy_from_slice(&[after.travel, after.speed]);
        integrator.restart();
    }
}

/// How long after running taut the tension has settled at the latest [s].
fn settling(nose: &Nose) -> f64 {
    nose.tether.as_ref().map_or(0.0, |tether| {
        let swing = 2.0 * PI * (nose.reduced_mass() / tether.stiffness).sqrt();
        SETTLED * (tether.damping / tether.stiffness + swing)
    })
}

impl Coasted {
    /// Counts the tension at a moment.
    fn pull(&mut self, nose: &Nose, (time, travel, speed): (f64, f64, f64)) {
        let value = nose.tether_tension(travel, speed);
        if value > self.peak_tether.map_or(0.0, |peak| peak.value) {
            self.peak_tether = Some(Peak { value, time });
        }
    }
}
