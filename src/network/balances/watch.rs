//! The events a network watches for: what they mean, their functions of the state, and which way each must
//! cross zero in the present modes.

use super::Network;
use crate::mechanics::{NOSE_EVENTS, NoseEvent};
use crate::network::NetworkError;
use crate::network::spec::Draw;
use crate::numerics::integrate::Direction;
use crate::thermo::source::PropertySource;

/// How far beyond the boundary of the dense phase, in vapour fraction or share of the pressure, a vessel
/// counts as across: more than properties from tables differ by on its two sides, and too little to
/// matter to what flows, which does not jump there.
pub(super) const BEYOND: f64 = 1e-7;
/// Factor on that each time a vessel crosses, and the most it grows to: a small vessel next to a large one may stay at
/// the boundary for a while, within the tolerance on either side of it.
pub(super) const FURTHER: f64 = 10.0;
pub(super) const FARTHEST: f64 = 1e-3;

/// Share of the pressure outside by which that in a vented bay may still differ from it.
const VENTED: f64 = 2e-3;

/// Share of a charge that is vapour, or liquid yet to be drawn, and of the highest pressure by which the bay is below it, from
/// which an event is far: not met and left again within a step.
const FAR: f64 = 0.05;

/// What an event function of the network means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NetworkEvent {
    /// An event of the nose.
    Nose(NoseEvent),
    /// A dense charge became two-phase, or the other way round.
    Phase {
        /// Index of the vessel.
        vessel: usize,
    },
    /// A liquid draw ran out of liquid.
    LiquidGone {
        /// Index of the vessel.
        vessel: usize,
    },
    /// The bay of a nose that is clear is at the pressure outside, be it from above or from below.
    Vented,
    /// The gap of a clear nose is as wide as its bore: no pressure in the bay has a hold on it.
    Uncovered,
    /// Nothing has more pressure than the bay, whose nose does not move.
    Spent,
    /// The force on a nose that is held is as much as one wanted to know.
    Enough,
}

impl<L: PropertySource> Network<'_, L> {
    /// Values of all event functions.
    pub(super) fn watch(
        &mut self,
        time: f64,
        state: &[f64],
        values: &mut [f64],
    ) -> Result<(), NetworkError> {
        let bay = self.nose().map(|(_, bay, _)| bay);
        // Vessels hold what they did at the end of the step, or at the last look.
        let bay_alone = self.far_but_for_bay && self.is_far_but_for_bay();
        self.evaluate_some(time, state, |i| !bay_alone || bay == Some(i))?;
        self.far_but_for_bay = self.is_far_but_for_bay();
        let nose = self.nose_values(state);
        for (value, event) in values.iter_mut().zip(&self.events) {
            *value = self.value(*event, state, nose.as_ref())?;
        }
        Ok(())
    }

    /// Whether, by what vessels held when they were last looked at, no event is near but those of the bay.
    fn is_far_but_for_bay(&self) -> bool {
        let Some((_, bay, _)) = self.nose() else {
            return false;
        };
        self.events.iter().all(|event| match *event {
            NetworkEvent::Phase { vessel } if vessel == bay => true,
            NetworkEvent::Phase { vessel } => {
                !self.bulk[vessel] && self.contents(vessel).is_far_from_one_dense_phase(FAR)
            }
            NetworkEvent::LiquidGone { vessel } => {
                let charge = self.system.vessels[vessel].co2_mass;
                self.liquid_gone[vessel] || self.contents(vessel).liquid_mass > FAR * charge
            }
            NetworkEvent::Spent if self.brief && self.is_at_rest() => {
                let highest = self.highest_but_for(bay);
                self.contents(bay).pressure < (1.0 - FAR) * highest
            }
            _ => true,
        })
    }

    /// The value of one event function, for which only the vessels it speaks of are looked at.
    pub(super) fn watch_one(
        &mut self,
        index: usize,
        time: f64,
        state: &[f64],
    ) -> Result<f64, NetworkError> {
        let event = self.events[index];
        let bay = self.nose().map(|(_, bay, _)| bay);
        self.evaluate_some(time, state, |i| match event {
            NetworkEvent::Spent => true,
            NetworkEvent::Phase { vessel } | NetworkEvent::LiquidGone { vessel } => i == vessel,
            _ => bay == Some(i),
        })?;
        let nose = self.nose_values(state);
        self.value(event, state, nose.as_ref())
    }

    /// Values of the events of the nose, from what its vessel held at the last evaluation.
    fn nose_values(&self, state: &[f64]) -> Option<[f64; NOSE_EVENTS.len()]> {
        let (nose, bay, at) = self.nose().filter(|_| !self.held)?;
        let pressure = self.contents(bay).pressure;
        let (travel, speed) = (state[at], state[at + 1]);
        Some(nose.event_values(self.motion, travel, speed, pressure, self.ambient.0))
    }

    /// The value of an event function, from what the vessels held at the last evaluation.
    fn value(
        &self,
        event: NetworkEvent,
        state: &[f64],
        nose: Option<&[f64; NOSE_EVENTS.len()]>,
    ) -> Result<f64, NetworkError> {
        Ok(match event {
            NetworkEvent::Nose(event) => NOSE_EVENTS
                .iter()
                .zip(nose.into_iter().flatten())
                .find_map(|(e, value)| (*e == event).then_some(*value))
                .unwrap_or(-1.0),
            NetworkEvent::Vented if self.motion.on_coupler() => -1.0,
            NetworkEvent::Vented => self.venting_margin().unwrap_or(-1.0),
            NetworkEvent::Uncovered => match self.nose() {
                Some((nose, _, at)) if !self.motion.on_coupler() => {
                    state[at] / nose.uncovered_travel() - 1.0
                }
                _ => -1.0,
            },
            NetworkEvent::Enough => self.enough_margin().unwrap_or(-1.0),
            NetworkEvent::Spent if !self.is_at_rest() => -1.0,
            NetworkEvent::Spent => self.spent_margin().unwrap_or(-1.0),
            NetworkEvent::Phase { vessel } => {
                let margin = self
                    .contents(vessel)
                    .single_phase_margin(&self.properties)?;
                let beyond = self.beyond[vessel];
                margin + if self.bulk[vessel] { beyond } else { -beyond }
            }
            NetworkEvent::LiquidGone { vessel } => {
                if self.liquid_gone[vessel] || self.bulk[vessel] {
                    1.0
                } else {
                    let least = 1e-6 * self.system.vessels[vessel].co2_mass.max(1e-6);
                    (self.contents(vessel).liquid_mass - least) / least
                }
            }
        })
    }

    /// Whether an event changes nothing about what flows: a vessel that gives its contents as they are gives
    /// the same in one phase and in two.
    pub fn flows_on(&self, event: NetworkEvent) -> bool {
        match event {
            NetworkEvent::Phase { vessel } => self.system.vessels[vessel].draw == Draw::Mixed,
            _ => false,
        }
    }

    /// Which way an event function must cross zero to be met.
    pub(super) fn watched_direction(&self, index: usize) -> Direction {
        match self.events[index] {
            NetworkEvent::Nose(_) if self.held => Direction::Off,
            NetworkEvent::Uncovered if !self.nose_alone => Direction::Off,
            NetworkEvent::Spent if !self.brief => Direction::Off,
            NetworkEvent::Enough if !self.held || self.enough.is_none() => Direction::Off,
            NetworkEvent::Vented
            | NetworkEvent::Uncovered
            | NetworkEvent::Spent
            | NetworkEvent::Enough => Direction::Rising,
            NetworkEvent::Nose(_) => Direction::Rising,
            NetworkEvent::Phase { vessel } if self.bulk[vessel] => Direction::Falling,
            NetworkEvent::Phase { .. } => Direction::Rising,
            NetworkEvent::LiquidGone { vessel } if self.liquid_gone[vessel] => Direction::Off,
            NetworkEvent::LiquidGone { .. } => Direction::Falling,
        }
    }

    /// The force of the pressure on a held nose less what is enough [N].
    fn enough_margin(&self) -> Option<f64> {
        let (nose, bay) = self.system.nose.as_ref()?;
        let over = self.contents(*bay).pressure - self.ambient.0;
        Some(over * nose.area() - self.enough?)
    }

    /// Whether the bay is at the pressure outside, at the last evaluation.
    pub fn is_vented(&self) -> bool {
        self.venting_margin().is_none_or(|margin| margin >= 0.0)
    }

    /// By how much less than a little the bay's pressure differs from that outside [Pa]: a cold bay that the nose has
    /// made larger may be below it, and sucks at the nose until air has come in.
    fn venting_margin(&self) -> Option<f64> {
        let (_, bay) = self.system.nose.as_ref()?;
        let difference = self.contents(*bay).pressure - self.ambient.0;
        Some(VENTED * self.ambient.0 - difference.abs())
    }

    /// The bay's pressure less the highest elsewhere [Pa].
    fn spent_margin(&self) -> Option<f64> {
        let (_, bay) = self.system.nose.as_ref()?;
        Some(self.contents(*bay).pressure - self.highest_but_for(*bay))
    }

    /// The highest pressure in any other vessel [Pa].
    fn highest_but_for(&self, vessel: usize) -> f64 {
        let others = (0..self.system.vessels.len()).filter(|other| *other != vessel);
        let pressures = others.map(|i| self.contents(i).pressure);
        pressures.fold(0.0, f64::max)
    }
}
