//! What is known about CO2 in equilibrium.

use crate::thermo::FluidPoint;

/// Which phases are present.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// Gas below the critical pressure.
    Gas,
    /// Liquid below the critical temperature.
    Liquid,
    /// Dense fluid above both critical temperature and critical pressure.
    Supercritical,
    /// Dry ice.
    Solid,
    /// Liquid and vapour.
    LiquidVapour,
    /// Dry ice and vapour.
    SolidVapour,
    /// Dry ice and liquid.
    SolidLiquid,
    /// The triple line: dry ice, liquid and vapour.
    SolidLiquidVapour,
}

impl Phase {
    /// One word or two for people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Gas => "gas",
            Self::Liquid => "liquid",
            Self::Supercritical => "supercritical",
            Self::Solid => "solid",
            Self::LiquidVapour => "liquid+vapour",
            Self::SolidVapour => "solid+vapour",
            Self::SolidLiquid => "solid+liquid",
            Self::SolidLiquidVapour => "solid+liquid+vapour",
        }
    }
}

/// A state of CO2 in equilibrium. Fractions are by mass and sum to one where all are defined;
/// above the critical point liquid and vapour cannot be told apart and are `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Temperature [K].
    pub temperature: f64,
    /// Pressure [Pa].
    pub pressure: f64,
    /// Density [kg/m3].
    pub density: f64,
    /// Specific internal energy [J/kg].
    pub internal_energy: f64,
    /// Specific entropy [J/(kg K)].
    pub entropy: f64,
    /// Phases present.
    pub phase: Phase,
    /// Mass fraction of dry ice.
    pub solid_fraction: f64,
    /// Mass fraction of liquid.
    pub liquid_fraction: Option<f64>,
    /// Mass fraction of vapour.
    pub vapour_fraction: Option<f64>,
    /// du/dT at constant density with phases in equilibrium [J/(kg K)]; infinite on the triple line.
    pub equilibrium_cv: f64,
    /// The fluid point of a single fluid phase; `None` with several phases and for pure dry ice.
    pub fluid: Option<FluidPoint>,
}

impl State {
    /// Specific enthalpy [J/kg].
    #[must_use]
    pub fn enthalpy(&self) -> f64 {
        self.internal_energy + self.pressure / self.density
    }

    /// A single fluid phase.
    #[must_use]
    pub fn single(point: FluidPoint, phase: Phase) -> Self {
        let (liquid_fraction, vapour_fraction) = match phase {
            Phase::Gas => (Some(0.0), Some(1.0)),
            Phase::Liquid => (Some(1.0), Some(0.0)),
            _ => (None, None),
        };
        Self {
            temperature: point.temperature,
            pressure: point.pressure,
            density: point.density,
            internal_energy: point.internal_energy,
            entropy: point.entropy,
            phase,
            solid_fraction: 0.0,
            liquid_fraction,
            vapour_fraction,
            equilibrium_cv: point.cv,
            fluid: Some(point),
        }
    }
}
