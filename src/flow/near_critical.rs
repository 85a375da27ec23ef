//! Frozen flow near the critical point, where liquid and vapour become one.
//!
//! Far below, liquid hardly yields to pressure and chokes at its spinodal. Towards the critical point it
//! yields like a gas, and beyond the spinodal of its isentrope the flux has a second maximum that
//! outdoes the first from about 297 K on; above 303.4 K the isentrope of saturated liquid passes over the
//! spinodal and the first is gone. The largest of both changes with the state without a jump, and is
//! not less than the flux in equilibrium.

use std::sync::LazyLock;

use crate::flow::hint::Hint;
use crate::flow::stagnation::{Condensate, Flux, Stagnation};
use crate::flow::{FlowError, frozen, isentrope, perfect_gas};
use crate::numerics::smooth_step;
use crate::thermo::FluidPoint;
use crate::thermo::coexistence::saturation;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// Temperatures [K] between which the condensed part of a mixture begins to yield, and its vapour to flow as
/// saturated vapour by itself does. Below them the laws of a perfect gas and of incompressible liquid are good to a few per cent.
const FROM: f64 = 297.0;
const WHOLLY: f64 = 302.0;

/// Saturated liquid whose isentrope is the lowest that is followed beyond the spinodal [K]: on lower ones
/// the first maximum is larger.
const LOWEST_BOILING: f64 = 297.0;

/// Densities [kg/m3] among which the second maximum lies.
const LEAST_DENSITY: f64 = 200.0;
pub(crate) const LARGEST_DENSITY: f64 = 420.0;
/// Ratio of densities from one looked at to the next.
const STRIDE: f64 = 1.04;

/// How far a temperature [K] counts as near the critical one.
pub(crate) fn closeness(temperature: f64) -> f64 {
    smooth_step((temperature - FROM) / (WHOLLY - FROM))
}

/// The condensed part of a mixture by its volume [m3/kg].
pub(crate) fn condensate(
    properties: &impl PropertySource,
    temperature: f64,
    volume: f64,
) -> Condensate {
    let closeness = closeness(temperature);
    let exponent = if closeness <= 0.0 || volume <= 0.0 {
        f64::INFINITY
    } else {
        properties
            .fluid(temperature, 1.0 / volume)
            .isentropic_exponent()
            / closeness
    };
    Condensate { volume, exponent }
}

/// Mass flux [kg/(m2 s)] of one dense phase that forms no vapour, into a receiver [Pa]: Bernoulli's, and near
/// the critical point that of the condensed part of a mixture.
pub(crate) fn without_vapour(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> f64 {
    let (p0, volume) = (stagnation.pressure, 1.0 / stagnation.density);
    let exponent = condensate(properties, stagnation.temperature, volume).exponent;
    if exponent.is_infinite() {
        return frozen::bernoulli(stagnation, receiver_pressure);
    }
    perfect_gas::flux_function(receiver_pressure / p0, exponent) * (p0 * stagnation.density).sqrt()
}

/// Whether the isentrope of a dense fluid may have its largest flux beyond the spinodal.
pub(crate) fn may_pass_beyond(stagnation: &Stagnation) -> bool {
    static LOWEST: LazyLock<f64> = LazyLock::new(|| {
        saturation(LOWEST_BOILING).map_or(f64::INFINITY, |line| line.heavy.entropy)
    });
    stagnation.density > co2::CRITICAL_DENSITY && stagnation.entropy > *LOWEST
}

/// Whether that of saturated liquid at a temperature [K] has it there, which then need not be compared.
pub(crate) fn surely_beyond(temperature: f64) -> bool {
    temperature > LOWEST_BOILING + 2.0
}

/// The flux of an isentrope at its maximum beyond the spinodal, or into a receiver [Pa] met before that.
/// `None` if it has none there, or where it ends above the receiver.
///
/// # Errors
/// An isentrope that is lost.
pub(crate) fn beyond(
    properties: &impl PropertySource,
    start: &FluidPoint,
    receiver: f64,
    hint: &Hint,
) -> Result<Option<Flux>, FlowError> {
    let end = end_beyond(properties, start, receiver, hint)?;
    Ok(end.map(|(point, choked)| {
        let velocity2 = 2.0 * (start.enthalpy() - point.enthalpy()).max(0.0);
        Flux {
            mass_flux: point.density * velocity2.sqrt(),
            choked,
            throat_pressure: point.pressure,
            unmoved_up_to: 0.0,
        }
    }))
}

fn end_beyond(
    properties: &impl PropertySource,
    start: &FluidPoint,
    receiver: f64,
    hint: &Hint,
) -> Result<Option<(FluidPoint, bool)>, FlowError> {
    let h0 = start.enthalpy();
    let growth = |p: &FluidPoint| p.sound_speed_squared() - 2.0 * (h0 - p.enthalpy());
    let known = hint.beyond.again(properties, start, growth);
    let among = LEAST_DENSITY..LARGEST_DENSITY;
    if let Some(throat) = known.filter(|p| among.contains(&p.density) && p.pressure >= receiver) {
        return Ok(Some((throat, true)));
    }
    // Down to where the flux grows, and on to where it no longer does: soon after it may grow again, in
    // vapour so far below its dew point that the equation says nothing about it.
    let mut high = isentrope::at_density(properties, start, LARGEST_DENSITY.min(start.density))?;
    let mut grew = growth(&high) > 0.0;
    let low = loop {
        let next = high.density / STRIDE;
        if next < LEAST_DENSITY {
            return Ok(None);
        }
        let point = isentrope::at_density(properties, &high, next)?;
        let grows = growth(&point) > 0.0;
        if grew && !grows {
            break point;
        }
        grew = grows;
        high = point;
    };
    let throat = isentrope::zero_between(properties, &low, &high, &growth)?;
    if throat.pressure >= receiver {
        hint.beyond.remember(properties, start, &throat, growth);
        return Ok(Some((throat, true)));
    }
    // Up the isentrope to the receiver's pressure, as long as the flux falls on the way.
    let mut low = throat;
    while high.pressure < receiver {
        let next = high.density * STRIDE;
        if next > start.density {
            return Ok(None);
        }
        let point = isentrope::at_density(properties, &high, next)?;
        if growth(&point) < 0.0 || point.pressure < high.pressure {
            return Ok(None);
        }
        low = high;
        high = point;
    }
    let over = |p: &FluidPoint| p.pressure - receiver;
    let end = isentrope::zero_between(properties, &low, &high, &over)?;
    Ok(Some((end, false)))
}
