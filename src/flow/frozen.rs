//! Frozen flow: no phase change between the vessel and the throat.
//!
//! A single phase follows its own isentrope into the metastable region until the velocity equals
//! the single-phase sound speed; it chokes at the latest where that sound speed falls to zero, the
//! adiabatic spinodal, but for what `near_critical` says. A mixture keeps its vapour fraction: see
//! [`discharge_flux::mixture`](crate::flow::discharge_flux::mixture); its vapour follows
//! p v^kappa = const, because it would have to expand to supersaturations at which the fluid
//! equation has lost its meaning (negative cv below about 185 K). Its liquid does not yield to
//! pressure, but with a last trace of vapour it turns into the liquid alone, which does: a vessel
//! full of liquid that begins to boil gives what it gave.

use crate::flow::discharge_flux::{GasMixture, mixture};
use crate::flow::hint::{CLEAR, Hint};
use crate::flow::stagnation::{Choke, Condensate, Content, Flux, Stagnation};
use crate::flow::{FlowError, isentrope, near_critical, saturated_table};
use crate::numerics::smooth_step;
use crate::thermo::FluidPoint;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// Vapour fraction below which a mixture turns into liquid that yields to pressure.
const TRACE: f64 = 0.05;

/// Range above the triple point over which its liquid begins to yield [K]; it hardly does there.
const ABOVE_TRIPLE: f64 = 2.0;

/// Part of ln(rho) within which a flux that grows at both ends has no maximum that matters.
const STRIDE: f64 = 0.05;

/// Lowest throat pressure considered [Pa].
pub(super) const LOWEST_PRESSURE: f64 = 1e-2;

/// Mass flux from `stagnation` into a receiver at `receiver_pressure` [Pa]; of a single phase up to its first
/// maximum, at the latest at its spinodal, even where flow goes on beyond that near the critical point.
///
/// # Errors
/// A search that does not converge.
pub fn mass_flux(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Flux, FlowError> {
    let sonic = isentrope::sonic_of_gas(properties, stagnation).map(|sonic| sonic.choke());
    match &stagnation.content {
        Content::Single(start) => {
            let hint = Hint::default();
            first_maximum(
                properties,
                stagnation,
                start,
                receiver_pressure,
                sonic,
                &hint,
            )
        }
        Content::Mixture { .. } => afresh(properties, stagnation, receiver_pressure, sonic),
    }
}

/// What flows, with the sonic point of a gas already known: of a dense phase near the critical point
/// the largest flux, be it beyond the spinodal.
pub(crate) fn choking_at(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    sonic: Option<Choke>,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    match &stagnation.content {
        Content::Single(start) => of_single(
            properties,
            stagnation,
            start,
            receiver_pressure,
            sonic,
            hint,
        ),
        Content::Mixture {
            vapour_fraction,
            condensed,
            vapour,
        } => {
            let gas = carried_along(stagnation.pressure, *vapour_fraction, condensed, vapour);
            of_mixture(properties, stagnation, &gas, receiver_pressure)
        }
    }
}

/// The same with no place known from before.
fn afresh(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    sonic: Option<Choke>,
) -> Result<Flux, FlowError> {
    let hint = Hint::default();
    choking_at(properties, stagnation, receiver_pressure, sonic, &hint)
}

fn of_mixture(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    gas: &GasMixture,
    receiver_pressure: f64,
) -> Result<Flux, FlowError> {
    let mut flux = mixture(gas, receiver_pressure);
    let liquid = 1.0 - smooth_step(gas.gas_fraction / TRACE);
    if liquid > 0.0 {
        let ratio = yielding(properties, stagnation, receiver_pressure)?;
        flux.mass_flux *= 1.0 + liquid * (ratio - 1.0);
        flux.unmoved_up_to = 0.0;
    }
    let vapour = near_critical::closeness(stagnation.temperature)
        * (1.0 - smooth_step((1.0 - gas.gas_fraction) / TRACE));
    if vapour > 0.0 {
        let ratio = expanding(properties, stagnation, gas, receiver_pressure)?;
        flux.mass_flux *= 1.0 + vapour * (ratio - 1.0);
        flux.unmoved_up_to = 0.0;
    }
    Ok(flux)
}

/// One phase along its own isentrope: its first maximum, or the one beyond the spinodal where that is larger.
fn of_single(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    start: &FluidPoint,
    receiver_pressure: f64,
    sonic: Option<Choke>,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    let first = || {
        first_maximum(
            properties,
            stagnation,
            start,
            receiver_pressure,
            sonic,
            hint,
        )
    };
    if !near_critical::may_pass_beyond(stagnation) {
        return first();
    }
    let known = saturated_table::beyond(properties, stagnation)
        .filter(|choke| choke.chokes(receiver_pressure))
        .map(|choke| choke.flux());
    if let Some(second) = known
        && near_critical::surely_beyond(stagnation.temperature)
    {
        return Ok(second);
    }
    let first = first()?;
    if !first.choked {
        return Ok(first);
    }
    let second = match known {
        Some(known) => Some(known),
        None => near_critical::beyond(properties, start, receiver_pressure, hint)?,
    };
    Ok(second
        .filter(|second| second.mass_flux > first.mass_flux)
        .unwrap_or(first))
}

/// Down the isentrope to where the flux has its first maximum, or the receiver is met before.
fn first_maximum(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    start: &FluidPoint,
    receiver_pressure: f64,
    sonic: Option<Choke>,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    let p0 = stagnation.pressure;
    if receiver_pressure >= p0 {
        return Ok(Flux {
            mass_flux: 0.0,
            choked: false,
            throat_pressure: p0,
            unmoved_up_to: 0.0,
        });
    }
    let receiver = receiver_pressure.max(LOWEST_PRESSURE);
    let h0 = start.enthalpy();
    let velocity2 = |p: &FluidPoint| 2.0 * (h0 - p.enthalpy()).max(0.0);
    let growth = |p: &FluidPoint| p.sound_speed_squared() - velocity2(p);
    let flux = |p: &FluidPoint| p.density * velocity2(p).sqrt();
    // The common case, a vapour: sonic point by Newton, or the receiver met before it.
    if let Some(sonic) = sonic {
        if sonic.chokes(receiver_pressure) {
            return Ok(sonic.flux());
        }
        if let Some(mass_flux) =
            saturated_table::frozen_unchoked(properties, stagnation, receiver_pressure, &sonic)
        {
            return Ok(Flux {
                mass_flux,
                choked: false,
                throat_pressure: receiver_pressure,
                unmoved_up_to: 0.0,
            });
        }
        let point = isentrope::at_pressure(properties, start, receiver)?;
        let throat_pressure = receiver_pressure;
        return Ok(Flux {
            mass_flux: flux(&point),
            choked: false,
            throat_pressure,
            unmoved_up_to: 0.0,
        });
    }
    let choked = |point: &FluidPoint| Flux {
        mass_flux: flux(point),
        choked: true,
        throat_pressure: point.pressure,
        unmoved_up_to: 0.0,
    };
    // Among thinner fluid it may be the one beyond the spinodal, and a first one have come into being before it.
    let known = hint.first.again(properties, start, growth);
    let first = |point: &FluidPoint| {
        let grows = |p: &FluidPoint| growth(p) > 0.0;
        point.density > near_critical::LARGEST_DENSITY
            || isentrope::holds_between(properties, start, point, STRIDE, grows)
    };
    if let Some(point) = known.filter(|p| p.pressure > CLEAR * receiver && first(p)) {
        return Ok(choked(&point));
    }
    // Otherwise walk down the isentrope until the flux has passed its maximum or the receiver is met.
    let mut above = *start;
    let mut step = f64::INFINITY;
    loop {
        // About a quarter of the pressure at a time; never far in density while dense, where the
        // spinodal is near, and never suddenly faster.
        let longest = if above.density > 0.2 * co2::CRITICAL_DENSITY {
            0.01
        } else {
            0.04
        };
        step = (0.3 / above.isentropic_exponent().max(0.1))
            .min(longest)
            .min(1.5 * step);
        let below = isentrope::at_density(properties, &above, above.density * (-step).exp())?;
        let passed = growth(&below) < 0.0;
        if !passed && below.pressure > receiver {
            above = below;
            continue;
        }
        if below.pressure <= receiver {
            let point = between(properties, &above, &below, &|p| {
                (p.pressure.max(1e-3) / receiver).ln()
            })?;
            if growth(&point) >= 0.0 {
                let mass_flux = flux(&point);
                return Ok(Flux {
                    mass_flux,
                    choked: false,
                    throat_pressure: receiver_pressure,
                    unmoved_up_to: 0.0,
                });
            }
        }
        let point = between(properties, &above, &below, &growth)?;
        hint.first.remember(properties, start, &point, growth);
        return Ok(choked(&point));
    }
}

/// Phases in the proportions of a mixture at rest; `None` for a single phase.
pub(crate) fn gas_mixture(stagnation: &Stagnation) -> Option<GasMixture> {
    match &stagnation.content {
        Content::Single(_) => None,
        Content::Mixture {
            vapour_fraction,
            condensed,
            vapour,
        } => Some(carried_along(
            stagnation.pressure,
            *vapour_fraction,
            condensed,
            vapour,
        )),
    }
}

/// A vapour at a pressure [Pa] by its mass fraction, with what is condensed.
fn carried_along(
    pressure: f64,
    gas_fraction: f64,
    condensed: &Condensate,
    vapour: &FluidPoint,
) -> GasMixture {
    GasMixture {
        pressure,
        gas_density: vapour.density,
        exponent: vapour.isentropic_exponent(),
        gas_fraction,
        condensed: *condensed,
    }
}

/// What saturated liquid passes over what it passes as the condensed part of a mixture: near the critical
/// point it swells, and chokes at its spinodal. One where the condensed part is (in part) dry ice.
fn yielding(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<f64, FlowError> {
    let t = stagnation.temperature;
    let above = smooth_step((t - co2::TRIPLE_TEMPERATURE) / ABOVE_TRIPLE);
    if above <= 0.0 || receiver_pressure >= stagnation.pressure {
        return Ok(1.0);
    }
    let liquid = Stagnation::liquid(properties, &properties.saturation(t)?);
    let choke = saturated_table::frozen(properties, &liquid);
    let flux = afresh(properties, &liquid, receiver_pressure, choke)?;
    let condensed = near_critical::without_vapour(properties, &liquid, receiver_pressure);
    Ok(1.0 + above * (flux.mass_flux / condensed - 1.0))
}

/// What saturated vapour passes over what it passes as the vapour of a mixture.
fn expanding(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    gas: &GasMixture,
    receiver_pressure: f64,
) -> Result<f64, FlowError> {
    if receiver_pressure >= stagnation.pressure {
        return Ok(1.0);
    }
    let vapour = Stagnation::light(properties, &properties.saturation(stagnation.temperature)?);
    let choke = saturated_table::frozen(properties, &vapour)
        .or_else(|| isentrope::sonic_of_gas(properties, &vapour).map(|sonic| sonic.choke()));
    let flux = afresh(properties, &vapour, receiver_pressure, choke)?;
    let alone = GasMixture {
        gas_fraction: 1.0,
        condensed: Condensate::NONE,
        ..*gas
    };
    Ok(flux.mass_flux / mixture(&alone, receiver_pressure).mass_flux)
}

/// The point between two points of an isentrope where a function of the state is zero.
fn between(
    properties: &impl PropertySource,
    above: &FluidPoint,
    below: &FluidPoint,
    function: &dyn Fn(&FluidPoint) -> f64,
) -> Result<FluidPoint, FlowError> {
    // Newton with secant slopes from the chord's zero; the bracket only if that strays.
    let (high, low) = (function(above), function(below));
    let width = (above.density / below.density).ln();
    let slope = (high - low) / width;
    let guess = above.density * (-high / slope).exp();
    if let Some(point) = isentrope::newton(
        properties,
        above,
        guess,
        |p| (function(p), slope),
        high.abs().max(low.abs()),
    ) && point.density >= below.density
        && point.density <= above.density
    {
        return Ok(point);
    }
    isentrope::zero_between(properties, above, below, function)
}

/// Incompressible discharge G = sqrt(2 rho0 (p0 - p2)) (Bernoulli) [kg/(m2 s)].
#[must_use]
pub fn bernoulli(stagnation: &Stagnation, receiver_pressure: f64) -> f64 {
    (2.0 * stagnation.density * (stagnation.pressure - receiver_pressure).max(0.0)).sqrt()
}
