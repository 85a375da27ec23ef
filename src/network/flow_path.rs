//! Mass flow along a path between two vessels, or a vessel and the outside.

use crate::flow::discharge_flux::{self, dense_share};
use crate::flow::hint::Hint;
use crate::flow::stagnation::{Flux, Stagnation};
use crate::flow::{FlowError, FluxModel, frozen};
use crate::network::stream::Stream;
use crate::numerics::smooth_step;
use crate::thermo::source::PropertySource;

/// Pressure differences below this share of the donor pressure flow linearly (creeping flow), so
/// that the square-root law has a finite slope where vessels are in balance.
pub const CREEPING: f64 = 1e-3;

/// Share of the creeping range over which the flow sets in quadratically: no slope at zero, so
/// that vessels in balance are not stiff and a change of donor is smooth; wide enough for a run at a
/// loose tolerance not to trip over it.
const ONSET: f64 = 0.2;

/// Share of air in the donor's pressure above which condensation in the throat is left out and the
/// gas-mixture law alone is used; below it the two are joined smoothly.
const AIR_SHARE: f64 = 0.05;

/// Mass flux of a stream into a receiver pressure [Pa] below its own; `hint` is the path's own.
///
/// # Errors
/// As the flux models.
pub fn mass_flux(
    properties: &impl PropertySource,
    model: FluxModel,
    stream: &Stream,
    receiver_pressure: f64,
    friction: &dyn Fn(f64, f64) -> Result<f64, FlowError>,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    let p0 = stream.pressure;
    let difference = p0 - receiver_pressure;
    let creeping = CREEPING * p0;
    let receiver = receiver_pressure.min(p0 - creeping);
    let mut flux = nozzle(properties, model, stream, receiver, hint)?;
    flux.mass_flux *= friction(stream.gas.exponent, receiver / p0)?;
    if difference < creeping {
        // Value and slope of the square root at the joint, linear below, quadratic at zero.
        let r = (difference / creeping).max(0.0);
        let r = (1.0 + ONSET) * r * r / (r + ONSET);
        flux.mass_flux *= r * (1.5 - 0.5 * r);
        flux.unmoved_up_to = 0.0;
    }
    Ok(flux)
}

fn nozzle(
    properties: &impl PropertySource,
    model: FluxModel,
    stream: &Stream,
    receiver: f64,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    let air = smooth_step(stream.air_pressure_share / AIR_SHARE);
    let Some(stagnation) = &stream.stagnation else {
        return Ok(discharge_flux::mixture(&stream.gas, receiver));
    };
    // Pure CO2 sees its own pressure; a trace of air raises both ends alike.
    let share = stagnation.pressure / stream.pressure;
    let pure = || {
        let receiver = receiver * share;
        let pure = discharge_flux::pure_from(properties, model, stagnation, receiver, hint);
        pure.map(|flux| Flux {
            unmoved_up_to: flux.unmoved_up_to / share,
            ..flux
        })
    };
    if air <= 0.0 {
        return pure();
    }
    let gas = discharge_flux::mixture(&stream.gas, receiver);
    let (condensed, lift) = condensed(stream, stagnation, &gas, receiver * share);
    if air >= 1.0 && condensed <= 0.0 {
        return Ok(gas);
    }
    let pure = pure()?;
    let mut mixed = gas;
    mixed.mass_flux += condensed * (lift * pure.mass_flux - gas.mass_flux);
    Ok(Flux {
        mass_flux: pure.mass_flux + air * (mixed.mass_flux - pure.mass_flux),
        choked: if air < 0.5 { pure.choked } else { mixed.choked },
        throat_pressure: pure.throat_pressure
            + air * (mixed.throat_pressure - pure.throat_pressure),
        // With condensate the air's part is by a law more, which may yet change.
        unmoved_up_to: if condensed > 0.0 {
            0.0
        } else {
            gas.unmoved_up_to.min(pure.unmoved_up_to)
        },
    })
}

/// How far a stream counts as condensed, when its own flux model holds, and by how much its air then
/// raises the flux: by the mixture law with and without the air, or for a dense single phase by the square
/// root of the pressures, where that law ends without vapour. A twentieth of condensate counts wholly: a
/// trace of it changes nothing at once.
fn condensed(stream: &Stream, stagnation: &Stagnation, gas: &Flux, receiver: f64) -> (f64, f64) {
    match frozen::gas_mixture(stagnation) {
        Some(alone) => {
            let alone = discharge_flux::mixture(&alone, receiver).mass_flux;
            let lift = if alone > 0.0 {
                gas.mass_flux / alone
            } else {
                1.0
            };
            (smooth_step((1.0 - stream.gas.gas_fraction) / 0.05), lift)
        }
        None => (
            dense_share(stagnation),
            (stream.pressure / stagnation.pressure).sqrt(),
        ),
    }
}
