//! What stands still upstream of a restriction.

use crate::flow::near_critical;
use crate::thermo::source::PropertySource;
use crate::thermo::{Coexistence, FluidPoint, Line, State};

/// The stagnation state of pure CO2 that a restriction draws from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stagnation {
    /// Temperature [K].
    pub temperature: f64,
    /// Pressure [Pa].
    pub pressure: f64,
    /// Density of the drawn mixture [kg/m3].
    pub density: f64,
    /// Specific enthalpy [J/kg].
    pub enthalpy: f64,
    /// Specific entropy [J/(kg K)].
    pub entropy: f64,
    /// What it consists of.
    pub content: Content,
    /// A single phase that lies on the vapour-pressure or sublimation line.
    pub saturated: bool,
}

/// Phases of a stagnation state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Content {
    /// One fluid phase, saturated phases included.
    Single(FluidPoint),
    /// A homogeneous mixture: mass fraction of vapour, the condensed part, and the vapour.
    Mixture {
        /// Mass fraction of vapour.
        vapour_fraction: f64,
        /// The condensed part.
        condensed: Condensate,
        /// The vapour.
        vapour: FluidPoint,
    },
}

/// The condensed part of a stream.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condensate {
    /// Specific volume [m3/kg].
    pub volume: f64,
    /// Isentropic exponent [-]; infinite where it does not yield to pressure.
    pub exponent: f64,
}

impl Condensate {
    /// Nothing is condensed.
    pub const NONE: Self = Self {
        volume: 0.0,
        exponent: f64::INFINITY,
    };
}

impl Stagnation {
    /// One phase of the fluid.
    #[must_use]
    pub fn single(point: FluidPoint) -> Self {
        Self {
            temperature: point.temperature,
            pressure: point.pressure,
            density: point.density,
            enthalpy: point.enthalpy(),
            entropy: point.entropy,
            content: Content::Single(point),
            saturated: false,
        }
    }

    /// The light phase of a line: saturated vapour.
    #[must_use]
    pub fn light(properties: &impl PropertySource, line: &Coexistence) -> Self {
        let point = properties.fluid(line.temperature, line.light.density());
        Self {
            pressure: line.pressure,
            saturated: true,
            ..Self::single(point)
        }
    }

    /// The heavy phase of the vapour-pressure line: saturated liquid.
    #[must_use]
    pub fn liquid(properties: &impl PropertySource, line: &Coexistence) -> Self {
        debug_assert_eq!(line.line, Line::Saturation);
        let point = properties.fluid(line.temperature, line.heavy.density());
        Self {
            pressure: line.pressure,
            enthalpy: line.heavy.enthalpy(line.pressure),
            saturated: true,
            ..Self::single(point)
        }
    }

    /// A whole equilibrium state, phases in their mass proportions; `vapour` is that of a state with
    /// several phases.
    #[must_use]
    pub fn mixture(properties: &impl PropertySource, state: &State, vapour: FluidPoint) -> Self {
        let content = match state.fluid {
            Some(point) => Content::Single(point),
            None => {
                let x = state.vapour_fraction.unwrap_or(0.0);
                let volume = if x < 1.0 {
                    (1.0 / state.density - x / vapour.density) / (1.0 - x)
                } else {
                    0.0
                };
                Content::Mixture {
                    vapour_fraction: x,
                    condensed: near_critical::condensate(properties, state.temperature, volume),
                    vapour,
                }
            }
        };
        Self {
            temperature: state.temperature,
            pressure: state.pressure,
            density: state.density,
            enthalpy: state.enthalpy(),
            entropy: state.entropy,
            content,
            saturated: false,
        }
    }

    /// What is condensed of it.
    #[must_use]
    pub fn condensed(&self) -> Condensate {
        match self.content {
            Content::Single(_) => Condensate::NONE,
            Content::Mixture { condensed, .. } => condensed,
        }
    }
}

/// Mass flux through a restriction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flux {
    /// Mass flux [kg/(m2 s)].
    pub mass_flux: f64,
    /// The receiver no longer matters.
    pub choked: bool,
    /// Pressure at the throat [Pa].
    pub throat_pressure: f64,
    /// Receiver pressure up to which all of this stays as it is [Pa]: of a flow known to choke in one place
    /// only. Zero where that is not known.
    pub unmoved_up_to: f64,
}

/// Where a flow chokes, and what then passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choke {
    /// Mass flux [kg/(m2 s)].
    pub mass_flux: f64,
    /// Pressure at the throat [Pa].
    pub pressure: f64,
}

impl Choke {
    /// Of a flow that does not choke at any pressure.
    pub const NOWHERE: Self = Self {
        mass_flux: 0.0,
        pressure: 0.0,
    };

    /// Whether the flow into a receiver [Pa] is choked.
    #[must_use]
    pub fn chokes(&self, receiver_pressure: f64) -> bool {
        self.pressure > 0.0 && receiver_pressure <= self.pressure
    }

    /// The flux of the choked flow.
    #[must_use]
    pub fn flux(&self) -> Flux {
        Flux {
            mass_flux: self.mass_flux,
            choked: true,
            throat_pressure: self.pressure,
            unmoved_up_to: self.pressure,
        }
    }
}
