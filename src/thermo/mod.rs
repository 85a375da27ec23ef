//! Pure carbon dioxide from dry ice to the dense fluid: one description, every phase.
//!
//! * [`helmholtz`]: the fluid equation; [`solid`]: dry ice;
//! * [`coexistence`]: sublimation, vapour-pressure and melting lines, the triple point;
//! * [`flash`]: the equilibrium state at (T, rho) or (rho, u), with phase fractions;
//! * [`source`]: properties from the equations or from tables of them ([`line_table`], [`surface`]);
//! * [`inversion`]: the same from other pairs of properties; [`pairs`]: from any two;
//! * [`map`]: where the (rho, u) inversion holds and how exactly;
//! * [`air`]: the perfect gas that shares a vessel with CO2.

pub mod air;
pub mod coexistence;
pub mod flash;
pub mod fluids;
pub mod helmholtz;
pub mod inversion;
pub mod line_table;
pub mod map;
pub mod pairs;
pub mod saturated_vapour;
pub mod solid;
mod solve;
pub mod source;
pub mod state;
pub mod surface;

use crate::units::number;

pub use coexistence::{Coexistence, Line, LinePhase};
pub use helmholtz::FluidPoint;
pub use solid::SolidPoint;
pub use state::{Phase, State};

/// Lowest temperature at which the model answers [K].
pub const LOWEST_TEMPERATURE: f64 = 120.0;
/// Highest temperature at which the model answers [K] (limit of the fluid equation).
pub const HIGHEST_TEMPERATURE: f64 = 1100.0;
/// Highest pressure at which the fluid equation holds [Pa].
pub const HIGHEST_PRESSURE: f64 = 800e6;
/// Highest pressure at which the equation of dry ice holds [Pa].
pub const HIGHEST_SOLID_PRESSURE: f64 = 500e6;

/// A value as it is written; a pure number has no unit.
fn with_unit(value: &f64, unit: &str) -> String {
    format!("{} {unit}", number(*value)).trim_end().to_owned()
}

/// Why a state of CO2 could not be found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ThermoError {
    /// A given property lies outside the range of the model.
    #[error(
        "{property} {} is outside the model's range {} .. {}",
        with_unit(.value, .unit),
        number(*.low),
        with_unit(.high, .unit)
    )]
    OutOfRange {
        /// Name of the property.
        property: &'static str,
        /// SI unit; empty for a pure number.
        unit: &'static str,
        /// Value given.
        value: f64,
        /// Lowest allowed value.
        low: f64,
        /// Highest allowed value.
        high: f64,
    },
    /// No equilibrium state has this pair of properties.
    #[error(
        "no state of CO2 has {first} = {} and {second} = {}: {reason}",
        number(*.first_value),
        number(*.second_value)
    )]
    NoSuchState {
        /// First property.
        first: &'static str,
        /// Its value [SI].
        first_value: f64,
        /// Second property.
        second: &'static str,
        /// Its value [SI].
        second_value: f64,
        /// What is wrong and the way out.
        reason: String,
    },
    /// Several states share this pair of properties.
    #[error(
        "{first} = {} and {second} = {} do not name one state: {reason}",
        number(*.first_value),
        number(*.second_value)
    )]
    Ambiguous {
        /// First property.
        first: &'static str,
        /// Its value [SI].
        first_value: f64,
        /// Second property.
        second: &'static str,
        /// Its value [SI].
        second_value: f64,
        /// What would be unambiguous.
        reason: String,
    },
    /// An iteration did not converge.
    #[error(
        "{what} did not converge at T = {temperature} K, rho = {density} kg/m3 after {iterations} \
         iterations (residual {residual:e})"
    )]
    NotConverged {
        /// Which iteration.
        what: &'static str,
        /// Temperature reached [K].
        temperature: f64,
        /// Density reached [kg/m3].
        density: f64,
        /// Iterations spent.
        iterations: usize,
        /// Relative residual left.
        residual: f64,
    },
}
