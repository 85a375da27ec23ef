//! The equilibrium flux of a gas that stays one on its way to the throat: no phase boundary comes before it.

use crate::flow::sonic_table::Sonic;
use crate::flow::stagnation::{Content, Flux, Stagnation};
use crate::flow::throat::COLDEST_THROAT;
use crate::flow::{FlowError, isentrope};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// The flux of a gas that is still a single phase where it chokes or meets the receiver, which is
/// then the frozen flux; `None` if a phase boundary comes first. (Beyond choking in a gas no second
/// maximum exceeds the first: condensation further down only slows the growth of velocity.)
///
/// # Errors
/// A search that does not converge.
pub(super) fn mass_flux(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    sonic: Option<Sonic>,
) -> Result<Option<Flux>, FlowError> {
    let Content::Single(start) = &stagnation.content else {
        return Ok(None);
    };
    let (false, Some(sonic)) = (stagnation.saturated, sonic) else {
        return Ok(None);
    };
    let choked = sonic.pressure >= receiver_pressure;
    let throat = if choked {
        sonic
    } else if receiver_pressure < start.pressure {
        if condenses_before(properties, stagnation, receiver_pressure) {
            return Ok(None);
        }
        let point = isentrope::at_pressure(properties, start, receiver_pressure)?;
        let velocity = (2.0 * (stagnation.enthalpy - point.enthalpy()))
            .max(0.0)
            .sqrt();
        Sonic {
            temperature: point.temperature,
            density: point.density,
            pressure: receiver_pressure,
            mass_flux: point.density * velocity,
        }
    } else {
        return Ok(None);
    };
    let dew = if throat.temperature >= co2::CRITICAL_TEMPERATURE {
        f64::INFINITY
    } else if throat.temperature >= co2::TRIPLE_TEMPERATURE {
        properties.saturation(throat.temperature)?.light.density()
    } else if throat.temperature > COLDEST_THROAT {
        properties.sublimation(throat.temperature)?.light.density()
    } else {
        return Ok(None);
    };
    if throat.density >= dew {
        return Ok(None);
    }
    Ok(Some(Flux {
        mass_flux: throat.mass_flux,
        choked,
        throat_pressure: throat.pressure,
        unmoved_up_to: if choked { throat.pressure } else { 0.0 },
    }))
}

/// Whether a gas is known to pass its dew point, by a hair or more, before it is down to a pressure [Pa].
fn condenses_before(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    pressure: f64,
) -> bool {
    let dew = properties.dew_temperature(stagnation.entropy);
    let line = dew.and_then(|t| {
        let line = if t > co2::TRIPLE_TEMPERATURE {
            properties.saturation(t)
        } else {
            properties.sublimation(t)
        };
        line.ok()
    });
    line.is_some_and(|line| pressure < (1.0 - HAIR) * line.pressure)
}

/// Share of a dew pressure within which what is known without a search does not count.
const HAIR: f64 = 1e-6;
