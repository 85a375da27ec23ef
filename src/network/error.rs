//! What can go wrong in a network of vessels.

use crate::flow::FlowError;
use crate::thermo::ThermoError;
use crate::units::number;

/// Why the rates of a system cannot be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NetworkError {
    /// Masses, energy or volume that no vessel can have.
    #[error(
        "{} kg of CO2 and {} kg of air with {} J in {} m3 is no state",
        number(*.co2_mass),
        number(*.air_mass),
        number(*.energy),
        number(*.volume)
    )]
    Impossible {
        /// CO2 [kg].
        co2_mass: f64,
        /// Air [kg].
        air_mass: f64,
        /// Internal energy [J].
        energy: f64,
        /// Volume [m3].
        volume: f64,
    },
    /// A temperature the model does not cover.
    #[error("a temperature of {temperature} K is outside the model's 120 .. 1100 K")]
    Temperature {
        /// Temperature [K].
        temperature: f64,
    },
    /// CO2 kept as vapour beyond where that means anything.
    #[error(
        "CO2 at {density} kg/m3 and {energy} J/kg cannot stay vapour: let it condense \
         (condensation: equilibrium); metastable vapour is for vapour draw only"
    )]
    Metastable {
        /// Density [kg/m3].
        density: f64,
        /// Specific energy [J/kg].
        energy: f64,
    },
    /// A vessel frozen solid.
    #[error("the contents freeze solid at {temperature} K and {pressure} Pa: no flow can be drawn")]
    Frozen {
        /// Temperature [K].
        temperature: f64,
        /// Pressure [Pa].
        pressure: f64,
    },
    /// A specification that contradicts itself.
    #[error("{what} of {name}: {reason}")]
    Specification {
        /// Which quantity.
        what: &'static str,
        /// Of which part.
        name: String,
        /// What is wrong and the way out.
        reason: String,
    },
    /// An error in one vessel.
    #[error("vessel {vessel}: {source}")]
    Vessel {
        /// Name of the vessel.
        vessel: String,
        /// What is wrong there.
        #[source]
        source: Box<NetworkError>,
    },
    /// An error in one path.
    #[error("path {path}: {source}")]
    Path {
        /// Name of the path.
        path: String,
        /// What is wrong there.
        #[source]
        source: FlowError,
    },
    /// A state of CO2 could not be found.
    #[error(transparent)]
    State(#[from] ThermoError),
    /// A flow could not be computed.
    #[error(transparent)]
    Flow(#[from] FlowError),
}
