//! Where the flash, the flows and the network get the properties of CO2 from: the equations
//! themselves, or tables of them.
//!
//! The equation of state costs about 0.4 us a point and a coexistence line about 3 us (Newton in two
//! densities); a discharge asks for tens of thousands of each. [`Tables`] answers from
//! [`surface`] and [`line_table`], which are filled from the equations and
//! shared by all threads.

use crate::thermo::coexistence::{Coexistence, saturation, sublimation};
use crate::thermo::{FluidPoint, ThermoError, line_table, surface};

/// A source of properties.
pub trait PropertySource {
    /// Whether asking for a line costs less than estimating whether one needs to ask.
    const CHEAP: bool;

    /// A single-phase point, metastable ones included, at a temperature [K] and density [kg/m3].
    fn fluid(&self, temperature: f64, density: f64) -> FluidPoint;

    /// Liquid and vapour at a temperature [K].
    ///
    /// # Errors
    /// Outside the line.
    fn saturation(&self, temperature: f64) -> Result<Coexistence, ThermoError>;

    /// Dry ice and vapour at a temperature [K].
    ///
    /// # Errors
    /// Outside the line.
    fn sublimation(&self, temperature: f64) -> Result<Coexistence, ThermoError>;

    /// Temperature [K] at which liquid and vapour have a pressure [Pa], where that is known without a search.
    fn boiling_temperature(&self, _pressure: f64) -> Option<f64> {
        None
    }
}

/// The equations, solved at every call.
#[derive(Debug, Clone, Copy, Default)]
pub struct Equations;

impl PropertySource for Equations {
    const CHEAP: bool = false;

    fn fluid(&self, temperature: f64, density: f64) -> FluidPoint {
        FluidPoint::new(temperature, density)
    }
    fn saturation(&self, temperature: f64) -> Result<Coexistence, ThermoError> {
        saturation(temperature)
    }
    fn sublimation(&self, temperature: f64) -> Result<Coexistence, ThermoError> {
        sublimation(temperature)
    }
}

/// Tables of the equations, filled at first use and shared by all threads.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tables;

impl PropertySource for Tables {
    const CHEAP: bool = true;

    fn fluid(&self, temperature: f64, density: f64) -> FluidPoint {
        surface::fluid(temperature, density)
    }
    fn saturation(&self, temperature: f64) -> Result<Coexistence, ThermoError> {
        line_table::saturation(temperature)
    }
    fn sublimation(&self, temperature: f64) -> Result<Coexistence, ThermoError> {
        line_table::sublimation(temperature)
    }
    fn boiling_temperature(&self, pressure: f64) -> Option<f64> {
        line_table::boiling_temperature(pressure)
    }
}
