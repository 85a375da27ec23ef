//! A nose that is clear of its coupler: nothing but its own motion and the tether is left to follow.

use std::convert::Infallible;

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

/// Travel and speed, the bay's pressure being that outside.
struct Coast<'a> {
    nose: &'a Nose,
    motion: Motion,
}

impl System for Coast<'_> {
    type Error = Infallible;

    fn rates(&mut self, _: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        rates[0] = state[1];
        rates[1] = self
            .nose
            .acceleration(self.motion, state[0], state[1], 0.0, 0.0);
        Ok(())
    }

    fn events(&mut self, _: f64, state: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
        let all = self
            .nose
            .event_values(self.motion, state[0], state[1], 0.0, 0.0);
        values.copy_from_slice(&all);
        Ok(())
    }
}

/// Follows a clear nose from (`time`, `travel`, `speed`) to the peak of its tether, its fall back or
/// the `horizon`.
///
/// # Errors
/// An integration that does not go on.
pub(super) fn coast(
    nose: &Nose,
    motion: Motion,
    (time, travel, speed): (f64, f64, f64),
    horizon: f64,
) -> Result<Coasted, DischargeError> {
    let settings = Settings {
        relative: 1e-7,
        absolute: vec![1e-9, 1e-7],
        event_samples: 2,
        ..Settings::default()
    };
    let mut integrator = Integrator::new(2, NOSE_EVENTS.len(), settings)?;
    integrator.start(time, &[travel, speed]);
    let mut coast = Coast { nose, motion };
    let mut coasted = Coasted {
        events: Vec::new(),
        ending: Ending::Horizon,
        peak_tether: None,
        travel,
    };
    loop {
        let stop = integrator
            .advance(&mut coast, horizon, &mut |_, _| {})
            .map_err(|error| DischargeError::Coasting(Box::new(error)))?;
        let (travel, speed) = (integrator.state()[0], integrator.state()[1]);
        coasted.travel = travel;
        let Stop::Event { index } = stop else {
            return Ok(coasted);
        };
        let (event, time) = (NOSE_EVENTS[index], integrator.time());
        let kind = EventKind::Nose(event);
        coasted.events.push(EventRecord { time, kind });
        match event {
            NoseEvent::TetherPeak => {
                let value = nose.tether_tension(travel, speed);
                coasted.peak_tether = Some(Peak { value, time });
                coasted.ending = Ending::TetherTaut;
                return Ok(coasted);
            }
            NoseEvent::Recontact => {
                coasted.ending = Ending::FellBack;
                return Ok(coasted);
            }
            _ => {}
        }
        let after = nose.after(coast.motion, event, travel, speed, 0.0, 0.0);
        coast.motion = after.motion;
        integrator
            .state_mut()
            .copy_from_slice(&[after.travel, after.speed]);
        integrator.restart();
    }
}
