//! What flows through an opening, and the rates it adds.

use super::{Network, PathFlow};
use crate::flow::FluxModel;
use crate::flow::friction::friction_factor_on_flux;
use crate::flow::stagnation::Flux;
use crate::network::contents::Contents;
use crate::network::spec::{Condensation, Draw, End, Path, System};
use crate::network::stream::Stream;
use crate::network::{NetworkError, flow_path};
use crate::thermo::source::PropertySource;

/// An opening as it is at an instant.
pub(super) struct Aperture<'p> {
    pub(super) ends: (End, End),
    /// Geometric open area [m2].
    pub(super) area: f64,
    pub(super) discharge_coefficient: f64,
    pub(super) flux_model: FluxModel,
    pub(super) one_way: bool,
    pub(super) friction_number: f64,
    pub(super) name: &'p str,
}

/// What flows per area from a donor towards a receiver.
#[derive(Debug, Clone, Copy)]
pub(super) struct Draft {
    flux: Flux,
    air_fraction: f64,
    /// Specific enthalpy [J/kg].
    enthalpy: f64,
    /// Density at rest [kg/m3].
    density: f64,
}

/// All that a draft of one opening depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DraftKey {
    /// Of the donor.
    version: u64,
    phases: (bool, bool),
    receiver_pressure: f64,
}

impl DraftKey {
    /// Whether a draft by another key is this one's too: of a flow that stays choked the receiver does not
    /// matter.
    #[inline]
    fn is_met_by(&self, other: &Self, draft: &Draft) -> bool {
        let alike = |pressure: f64| {
            pressure == other.receiver_pressure
                || pressure.max(other.receiver_pressure) <= draft.flux.unmoved_up_to
        };
        (self.version, self.phases) == (other.version, other.phases)
            && alike(self.receiver_pressure)
    }
}

impl<L: PropertySource> Network<'_, L> {
    fn stream(&self, end: End) -> Stream {
        match end {
            End::Vessel(i) => {
                let vessel = &self.system.vessels[i];
                let draw = match (vessel.condensation, vessel.draw) {
                    (Condensation::Metastable, _) => Draw::Vapour,
                    (_, Draw::Liquid) if self.liquid_gone[i] => Draw::Vapour,
                    (_, draw) => draw,
                };
                self.contents(i)
                    .stream(&self.properties, draw, self.bulk[i])
            }
            End::Ambient => {
                let (pressure, temperature) = self.ambient;
                Contents::ambient_air(pressure, temperature).stream(
                    &self.properties,
                    Draw::Vapour,
                    false,
                )
            }
        }
    }

    fn pressure(&self, end: End) -> f64 {
        match end {
            End::Vessel(i) => self.contents(i).pressure,
            End::Ambient => self.ambient.0,
        }
    }

    /// Add the flow through one opening to the rates.
    pub(super) fn flow(
        &mut self,
        index: usize,
        opening: &Aperture<'_>,
        rates: &mut [f64],
    ) -> Result<PathFlow, NetworkError> {
        let mut result = PathFlow {
            mass_flow: 0.0,
            open_area: opening.area,
            choked: false,
        };
        let (from, to) = opening.ends;
        let difference = self.pressure(from) - self.pressure(to);
        let effective_area = opening.area * opening.discharge_coefficient;
        if effective_area <= 0.0 || difference == 0.0 || (opening.one_way && difference < 0.0) {
            return Ok(result);
        }
        let (donor, receiver, sign) = if difference > 0.0 {
            (from, to, 1.0)
        } else {
            (to, from, -1.0)
        };
        let draft = self.draft(index, opening, donor, self.pressure(receiver))?;
        let mass_flow = draft.flux.mass_flux * effective_area;
        result.mass_flow = sign * mass_flow;
        result.choked = draft.flux.choked;
        let co2 = mass_flow * (1.0 - draft.air_fraction);
        let air = mass_flow * draft.air_fraction;
        let enthalpy = mass_flow * draft.enthalpy;
        for (end, sign) in [(donor, -1.0), (receiver, 1.0)] {
            let (at, sign) = match end {
                End::Vessel(i) => (self.layout.vessels[i], sign),
                End::Ambient => (self.layout.accounts, sign),
            };
            rates[at] += sign * co2;
            rates[at + 1] += sign * air;
            rates[at + 2] += sign * enthalpy;
        }
        if let End::Vessel(i) = receiver {
            // Velocity in the throat from its own flux, density about 0.63 of the stagnation one.
            self.stirring[i] += mass_flow * draft.flux.mass_flux / (0.63 * draft.density);
        }
        Ok(result)
    }

    /// What flows through an opening per area.
    fn draft(
        &mut self,
        index: usize,
        opening: &Aperture<'_>,
        donor: End,
        receiver_pressure: f64,
    ) -> Result<Draft, NetworkError> {
        let (version, phases) = match donor {
            End::Vessel(i) => (self.versions[i], (self.bulk[i], self.liquid_gone[i])),
            End::Ambient => (self.ambient_version, (false, false)),
        };
        let key = DraftKey {
            version,
            phases,
            receiver_pressure,
        };
        let slot = self.draft_slots[index];
        if let Some(draft) = self.known_drafts[slot].find_where(|k, v| key.is_met_by(k, v)) {
            return Ok(*draft);
        }
        let stream = self.stream(donor);
        let friction = |kappa: f64, ratio: f64| {
            if opening.friction_number > 0.0 {
                friction_factor_on_flux(kappa, opening.friction_number, ratio)
            } else {
                Ok(1.0)
            }
        };
        let mut flux = flow_path::mass_flux(
            &self.properties,
            opening.flux_model,
            &stream,
            receiver_pressure,
            &friction,
            &self.hints[slot],
        )
        .map_err(|source| NetworkError::Path {
            path: opening.name.to_owned(),
            source,
        })?;
        if opening.friction_number > 0.0 {
            flux.unmoved_up_to = 0.0;
        }
        let draft = Draft {
            flux,
            air_fraction: stream.air_fraction,
            enthalpy: stream.enthalpy,
            density: stream.density,
        };
        self.known_drafts[slot].keep(key, draft);
        Ok(draft)
    }
}

/// For each path, and the opening gap, the first path that passes the same per area: a leak and a vent
/// side by side are computed once.
pub(super) fn draft_slots(system: &System) -> Vec<usize> {
    let alike = |a: &Path, b: &Path| {
        (a.from, a.to, a.flux_model, a.friction_number)
            == (b.from, b.to, b.flux_model, b.friction_number)
    };
    let first = |path: &Path| system.paths.iter().position(|other| alike(path, other));
    let mut slots: Vec<usize> = system.paths.iter().filter_map(first).collect();
    slots.push(system.paths.len());
    slots
}
