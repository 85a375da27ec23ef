//! The pressure a charge can hold in the bay, without any discharge.

use crate::network::spec::System;
use crate::thermo::{ThermoError, air, flash};

/// What the charge comes to when it has spread through every vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holding {
    /// Absolute pressure right after, nothing gained from walls [Pa].
    pub cold_pressure: f64,
    /// Temperature then [K].
    pub cold_temperature: f64,
    /// Share of the CO2 that is dry ice or liquid then [1].
    pub cold_condensed: f64,
    /// Absolute pressure once all is back at the temperature it started from [Pa].
    pub warm_pressure: f64,
    /// What a perfect gas that never cools would reach ([`System::perfect_gas_pressure`]) [Pa].
    pub perfect_gas_pressure: f64,
    /// Greatest pressure that any charge starts at [Pa]; `None` without a charge.
    pub first_pressure: Option<f64>,
    /// Absolute bay pressure at which the nose leaves [Pa]; `None` without a nose.
    pub needed_pressure: Option<f64>,
    /// Force of the cold pressure on the bore over the force that holds the nose [1].
    pub cold_factor: Option<f64>,
}

/// Steps of the search for the temperature of the mixture.
const STEPS: usize = 80;

/// Spreads all charges through all vessels.
///
/// Law: first law of an adiabatic rigid system, sum of m u before = m u(T, rho) + m_air u_air(T)
/// after, with rho = m/V over all vessels; air and CO2 share temperature and add their pressures
/// (Dalton). Real fluid with its phases; vessels not yet opened count as well. Symbols: m mass
/// [kg], u specific internal energy [J/kg], V volume [m3], T temperature [K].
/// Range: states of the model of CO2. Assumption: equilibrium everywhere, no leak.
///
/// # Errors
/// A state outside the model.
pub fn holding(system: &System) -> Result<Holding, ThermoError> {
    let (mut volume, mut carbon, mut air_mass, mut energy, mut warmth) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut first_pressure: Option<f64> = None;
    for vessel in &system.vessels {
        volume += vessel.volume;
        air_mass += vessel.air_mass;
        energy += vessel.air_mass * air::internal_energy_and_cv(vessel.temperature).0;
        if vessel.co2_mass > 0.0 {
            let density = vessel.co2_mass / vessel.volume;
            let state = flash::at_temperature_density(vessel.temperature, density)?;
            first_pressure = Some(first_pressure.map_or(state.pressure, |p| p.max(state.pressure)));
            carbon += vessel.co2_mass;
            energy += vessel.co2_mass * state.internal_energy;
            warmth += vessel.co2_mass * vessel.temperature;
        }
    }
    let start = if carbon > 0.0 {
        warmth / carbon
    } else {
        system.ambient.at(0.0).1
    };
    let pressure_of_air = |temperature: f64| air_mass * air::GAS_CONSTANT * temperature / volume;
    let density = carbon / volume;
    let at = |temperature: f64| flash::at_temperature_density(temperature, density);
    let (cold_pressure, cold_temperature, cold_condensed, warm_pressure) = if carbon > 0.0 {
        let excess = |temperature: f64| -> Result<f64, ThermoError> {
            let inside = at(temperature)?.internal_energy * carbon
                + air_mass * air::internal_energy_and_cv(temperature).0;
            Ok(inside - energy)
        };
        // On the triple line a range of energies shares one temperature: bisection still ends
        // there, with the energy made up by the phases below.
        let (mut cold, mut hot) = (150.0, start.max(150.0) + 50.0);
        for _ in 0..STEPS {
            let middle = 0.5 * (cold + hot);
            if excess(middle)? > 0.0 {
                hot = middle;
            } else {
                cold = middle;
            }
        }
        let temperature = 0.5 * (cold + hot);
        let rest = (energy - air_mass * air::internal_energy_and_cv(temperature).0) / carbon;
        let state = flash::at_density_energy(density, rest)?;
        let condensed = state.solid_fraction + state.liquid_fraction.unwrap_or(0.0);
        (
            state.pressure + pressure_of_air(state.temperature),
            state.temperature,
            condensed,
            at(start)?.pressure + pressure_of_air(start),
        )
    } else {
        (pressure_of_air(start), start, 0.0, pressure_of_air(start))
    };
    let ambient = system.ambient.at(0.0).0;
    let nose = system.nose.as_ref().map(|(nose, _)| nose);
    Ok(Holding {
        cold_pressure,
        cold_temperature,
        cold_condensed,
        warm_pressure,
        perfect_gas_pressure: system.perfect_gas_pressure(),
        first_pressure,
        needed_pressure: nose.map(|nose| ambient + nose.retention_pressure()),
        cold_factor: nose.map(|nose| {
            (cold_pressure - ambient) * nose.area() / nose.retention_force().max(f64::MIN_POSITIVE)
        }),
    })
}
