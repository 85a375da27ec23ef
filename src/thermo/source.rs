//! Where the flash, the flows and the network get the properties of CO2 from: the equations
//! themselves, or tables of them.
//!
//! The equation of state costs about 0.4 us a point and a coexistence line about 3 us (Newton in two
//! densities); a discharge asks for tens of thousands of each. [`Tables`] answers from
//! [`surface`] and [`line_table`], which are filled from the equations and
//! shared by all threads.

use crate::thermo::coexistence::{Coexistence, saturation, sublimation};
use crate::thermo::{FluidPoint, ThermoError, line_table, saturated_vapour, surface};

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

    /// The saturated vapour of a line, of the vapour-pressure or the sublimation line.
    fn vapour(&self, line: &Coexistence) -> FluidPoint {
        self.fluid(line.temperature, line.light.density())
    }

    /// Density [kg/m3] below which there is nothing but gas at a temperature [K] below the critical one, where
    /// that is known without a search; no more than that of saturated vapour.
    fn surely_gas_below(&self, _temperature: f64) -> Option<f64> {
        None
    }

    /// Temperature [K] at which liquid and vapour have a pressure [Pa], where that is known without a search.
    fn boiling_temperature(&self, _pressure: f64) -> Option<f64> {
        None
    }

    /// The same of dry ice and vapour.
    fn subliming_temperature(&self, _pressure: f64) -> Option<f64> {
        None
    }

    /// Temperature [K] at which a gas of an entropy [J/(kg K)] begins to condense on its way down in pressure, where
    /// that is known without a search.
    fn dew_temperature(&self, _entropy: f64) -> Option<f64> {
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
    fn vapour(&self, line: &Coexistence) -> FluidPoint {
        saturated_vapour::point(line)
            .unwrap_or_else(|| surface::fluid(line.temperature, line.light.density()))
    }
    fn surely_gas_below(&self, temperature: f64) -> Option<f64> {
        saturated_vapour::least_density(temperature)
    }
    fn boiling_temperature(&self, pressure: f64) -> Option<f64> {
        line_table::boiling_temperature(pressure)
    }
    fn subliming_temperature(&self, pressure: f64) -> Option<f64> {
        line_table::subliming_temperature(pressure)
    }
    fn dew_temperature(&self, entropy: f64) -> Option<f64> {
        saturated_vapour::dew_temperature(entropy)
    }
}
