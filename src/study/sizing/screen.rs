//! What can be ruled out without a single discharge.

use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::Tables;
use crate::thermo::{air, flash};

/// Highest temperature that filling alone can give the gas over that of the charge: the ratio of
/// specific heats, of air 1.40, of dilute CO2 1.30 at 290 K and 1.40 at 190 K.
const FILLING: f64 = 1.4;

/// A bound above the bay pressure any discharge can reach [Pa], absolute.
///
/// Law: first law of a filled adiabatic vessel. Gas that enters with the enthalpy of the charge
/// ends no hotter than kappa times its temperature, so p <= kappa (m R + m_air R_air) T/V with all
/// of the charge in the bay alone. Walls can do no more than bring it to their own temperature,
/// so T is the highest temperature of anything. Symbols: m mass [kg], R gas constant
/// [J/(kg K)], T [K], V volume of the bay [m3].
/// Assumption: real CO2 (Z < 1, heat of vaporisation to pay) only lies lower. Air of other
/// vessels that sweeps into the bay is counted in.
#[must_use]
pub fn bay_pressure_bound(system: &System, bay: usize) -> f64 {
    let Some(volume) = system.vessels.get(bay).map(|vessel| vessel.volume) else {
        return f64::INFINITY;
    };
    let mut hottest = 0.0_f64;
    let mut gas = 0.0;
    for vessel in &system.vessels {
        hottest = hottest.max(vessel.temperature);
        if let Some(wall) = &vessel.wall {
            hottest = hottest.max(wall.temperature);
            if wall.solar > 0.0 {
                return f64::INFINITY;
            }
        }
        gas += vessel.co2_mass * co2::SPECIFIC_GAS_CONSTANT + vessel.air_mass * air::GAS_CONSTANT;
    }
    hottest = hottest.max(system.ambient.at(0.0).1);
    FILLING * gas * hottest / volume
}

/// The retention factor no discharge can exceed, with the limit it must reach [1]; `None` when
/// nothing holds the nose or there is none.
#[must_use]
pub fn retention_bound(system: &System, criteria: &Criteria) -> Option<(f64, f64)> {
    let (nose, bay) = system.nose.as_ref()?;
    let retention = nose.retention_force();
    if retention <= 0.0 {
        return None;
    }
    let over = bay_pressure_bound(system, *bay) - system.ambient.at(0.0).0;
    // Without a criterion of its own the force must still reach what holds the nose.
    let limit = criteria.retention_factor.unwrap_or(1.0);
    Some((over * nose.area() / retention, limit))
}

/// Pressure of each charge at the start against the rating of what holds it, the cartridge and all that
/// stands open to it: name, pressure, rating [Pa].
///
/// # Errors
/// A charge outside the model, or one that does not fill what stands open to it.
pub fn charges(system: &System) -> Result<Vec<(String, f64, f64)>, String> {
    let mut found = Vec::new();
    let masses = system
        .masses_at_start(&Tables)
        .map_err(|error| error.to_string())?;
    for (vessel, (co2_mass, _)) in system.vessels.iter().zip(masses) {
        let Some(rating) = vessel.pressure_rating else {
            continue;
        };
        if co2_mass <= 0.0 {
            continue;
        }
        let density = co2_mass / vessel.volume;
        let state = flash::at_temperature_density(vessel.temperature, density)
            .map_err(|error| format!("{}: {error}", vessel.name))?;
        found.push((vessel.name.clone(), state.pressure, rating));
    }
    Ok(found)
}
