//! Homogeneous equilibrium flow: one velocity, one temperature, phases in equilibrium.
//!
//! Law: along the isentrope of the stagnation state, G = rho sqrt(2 (h0 - h)); the critical flux is
//! the maximum over throat pressure, and the flow into a receiver at p2 the running maximum over
//! [p2, p0]. Where the isentrope crosses a phase boundary the slope of G jumps, and near the triple
//! point there are two maxima, so each stretch between kinks is searched by itself:
//! single phase, liquid+vapour, the triple plateau (p, T and h constant, density falling: its best
//! end is where it begins), dry ice+vapour. Inside a stretch the maximum is where the velocity
//! equals the equilibrium sound speed, found as the zero of w^2 - 2 (h0 - h).

use std::sync::LazyLock;

use crate::flow::hint::{CLEAR, Hint};
use crate::flow::phase_boundary::{PLACE_ON_LINE, boundary};
use crate::flow::stagnation::{Choke, Content, Flux, Stagnation};
use crate::flow::throat::{self, Best, COLDEST_THROAT, Throat, secant, throat};
use crate::flow::{FlowError, gas_alone, isentrope, over_ice, saturated_table};
use crate::numerics::roots::{self, Ends, Tolerance};
use crate::thermo::coexistence::{self, Coexistence, triple_point};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;
use crate::thermo::{FluidPoint, ThermoError};

/// Mass flux from `stagnation` into a receiver at `receiver_pressure` [Pa].
///
/// # Errors
/// A state outside the model, or a search that does not converge.
pub fn mass_flux(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Flux, FlowError> {
    let sonic = isentrope::sonic_of_gas(properties, stagnation);
    match gas_alone::mass_flux(properties, stagnation, receiver_pressure, sonic)? {
        Some(flux) => Ok(flux),
        None => {
            let hint = Hint::default();
            let choke = saturated_table::equilibrium(properties, stagnation);
            let choke = choke.as_ref();
            across_boundaries(properties, stagnation, receiver_pressure, choke, &hint)
        }
    }
}

/// The flux of anything but a gas that stays one: where a saturated phase is known to choke from there, else
/// from the last throat where there is one, by search otherwise.
pub(crate) fn across_boundaries<P: PropertySource>(
    properties: &P,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    choke: Option<&Choke>,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    if let Some(choke) = choke.filter(|choke| choke.chokes(receiver_pressure)) {
        return Ok(choke.flux());
    }
    if let Some(flux) = unchoked(properties, stagnation, receiver_pressure) {
        return Ok(flux);
    }
    if choke.is_some() {
        return of_saturated_phase(properties, stagnation, receiver_pressure);
    }
    let follows = P::CHEAP && !may_have_two_maxima(stagnation);
    if follows
        && let Some(flux) = over_ice::mass_flux(properties, stagnation, receiver_pressure, hint)
    {
        return Ok(flux);
    }
    if follows && let Some(flux) = resumed(properties, stagnation, receiver_pressure, hint) {
        return Ok(flux);
    }
    let best = searched(properties, stagnation, receiver_pressure)?;
    let flux = best.flux(receiver_pressure);
    hint.throat.set(None);
    if follows && flux.choked {
        let line = beside_liquid(properties, stagnation);
        throat::remember(&line, stagnation, best.temperature, hint);
    }
    Ok(flux)
}

/// A saturated phase above its only maximum, where the flux is that at the receiver's pressure.
fn of_saturated_phase(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Flux, FlowError> {
    let (low, high) = (co2::TRIPLE_TEMPERATURE, stagnation.temperature);
    let mut best = Best::at_rest(stagnation);
    if let Some(t) = temperature_of(
        &|t| properties.saturation(t),
        (low, high),
        receiver_pressure,
    )? {
        let line = properties.saturation(t)?;
        let end = throat(&line, stagnation.entropy, stagnation.enthalpy);
        best.offer(stagnation.enthalpy, &end);
    }
    Ok(best.met(receiver_pressure))
}

/// The flux of liquid and vapour that are still both there, and slower than sound, where they meet the
/// receiver; `None` if they are not, or where the place is not known without a search.
fn unchoked(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Option<Flux> {
    if receiver_pressure <= CLEAR * co2::TRIPLE_PRESSURE_ROUNDED {
        return None;
    }
    let t = properties.boiling_temperature(receiver_pressure)?;
    if t >= stagnation.temperature {
        return None;
    }
    let line = properties.saturation(t).ok()?;
    let end = throat(&line, stagnation.entropy, stagnation.enthalpy);
    let two_phase = end.density > line.light.density() && end.density < line.heavy.density();
    if !two_phase || end.growth < 0.0 {
        return None;
    }
    Some(Best::only(stagnation, &end).met(receiver_pressure))
}

/// Choked flow whose throat between liquid and vapour lies near the last one; `None` where it does not, where
/// the receiver's pressure may matter, or where the triple point is near enough for two maxima.
fn resumed(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    hint: &Hint,
) -> Option<Flux> {
    let found = throat::followed(&beside_liquid(properties, stagnation), stagnation, hint)?;
    let clear = found.pressure > CLEAR * co2::TRIPLE_PRESSURE_ROUNDED
        && receiver_pressure < found.pressure / CLEAR;
    clear.then(|| Flux {
        unmoved_up_to: found.pressure / CLEAR,
        ..Best::only(stagnation, &found).flux(receiver_pressure)
    })
}

/// The line on which liquid and vapour may be beside each other in the throat at a temperature [K].
fn beside_liquid(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
) -> impl Fn(f64) -> Option<Coexistence> {
    let among = co2::TRIPLE_TEMPERATURE..stagnation.temperature;
    move |t| among.contains(&t).then(|| properties.saturation(t).ok())?
}

/// Whether the isentrope of a single phase passes so near the critical point that its flux may have a maximum in the
/// single phase, where sound is slow, and another among liquid and vapour: none is then the largest for sure.
fn may_have_two_maxima(stagnation: &Stagnation) -> bool {
    static BETWEEN: LazyLock<Option<(f64, f64)>> = LazyLock::new(|| {
        let line = coexistence::saturation(PASSES_NEAR).ok()?;
        Some((line.heavy.entropy, line.light.entropy))
    });
    let near = |(low, high): (f64, f64)| (low..high).contains(&stagnation.entropy);
    matches!(stagnation.content, Content::Single(_)) && BETWEEN.is_some_and(near)
}

/// Saturation temperature from which on an isentrope that meets the line passes near the critical point [K].
const PASSES_NEAR: f64 = 298.0;

/// The general search, stretch by stretch.
pub(crate) fn search(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Flux, FlowError> {
    Ok(searched(properties, stagnation, receiver_pressure)?.flux(receiver_pressure))
}

fn searched(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Best, FlowError> {
    let mut best = Best::at_rest(stagnation);
    descend(properties, stagnation, receiver_pressure, &mut best)?;
    Ok(best)
}

/// Critical mass flux: the maximum over every throat pressure.
///
/// # Errors
/// As [`mass_flux`].
pub fn critical(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
) -> Result<Flux, FlowError> {
    mass_flux(properties, stagnation, 0.0)
}

/// Walk down the isentrope stretch by stretch until the receiver pressure is met.
fn descend(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver: f64,
    best: &mut Best,
) -> Result<(), FlowError> {
    let triple = triple_point()?;
    let s0 = stagnation.entropy;
    let mut top = stagnation.temperature;
    if let Content::Single(point) = &stagnation.content
        && !stagnation.saturated
    {
        match single_phase(properties, stagnation, point, receiver, best)? {
            None => return Ok(()),
            Some(temperature) => top = temperature,
        }
    }
    if top > triple.temperature {
        let bottom = triple.temperature;
        let done = two_phase(
            &|t| properties.saturation(t),
            (bottom, top.min(co2::CRITICAL_TEMPERATURE)),
            stagnation,
            receiver,
            best,
        )?;
        if done {
            return Ok(());
        }
        top = bottom;
    } else if top == triple.temperature {
        // The plateau's dense end: the stagnation state itself if it lies on the plateau.
        let density = stagnation.density;
        best.offer(
            stagnation.enthalpy,
            &Throat {
                temperature: triple.temperature,
                pressure: triple.pressure,
                density,
                enthalpy: triple.sublimation.heavy.enthalpy(triple.pressure)
                    + triple.temperature * (s0 - triple.solid.entropy),
                growth: 0.0,
            },
        );
    }
    if receiver >= triple.pressure && top == triple.temperature {
        return Ok(());
    }
    if top > COLDEST_THROAT {
        two_phase(
            &|t| properties.sublimation(t),
            (COLDEST_THROAT, top),
            stagnation,
            receiver,
            best,
        )?;
    }
    Ok(())
}

/// The single-phase stretch. Returns the temperature at which the isentrope enters a two-phase
/// region above the receiver pressure, or `None` when the receiver is met first.
fn single_phase(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    start: &FluidPoint,
    receiver: f64,
    best: &mut Best,
) -> Result<Option<f64>, FlowError> {
    let boundary = boundary(properties, stagnation, start)?;
    let (end_pressure, end) = match &boundary {
        Some((pressure, _, _)) => (pressure.max(receiver), boundary),
        None => (receiver, None),
    };
    if end_pressure < start.pressure * (1.0 - 1e-13) {
        // Density at the end of the stretch: the saturated phase, or on the isentrope at p2.
        let last = match &end {
            Some((pressure, temperature, density)) if *pressure >= receiver => {
                properties.fluid(*temperature, *density)
            }
            _ => isentrope::at_pressure(properties, start, receiver.max(1e-2))?,
        };
        let throat = |point: &FluidPoint| Throat {
            temperature: point.temperature,
            pressure: point.pressure,
            density: point.density,
            enthalpy: point.enthalpy(),
            growth: point.sound_speed_squared() - 2.0 * (stagnation.enthalpy - point.enthalpy()),
        };
        let bottom = throat(&last);
        if bottom.growth >= 0.0 {
            best.offer(stagnation.enthalpy, &bottom);
        } else {
            let point = match isentrope::sonic(properties, start, stagnation.enthalpy) {
                Some(point) if point.density >= last.density => point,
                // The boundary's own point lies off the isentrope by a hair, which near the critical point may be
                // enough to change the sign there: it counts as it is.
                _ => isentrope::zero_between(properties, start, &last, &|p| throat(p).growth)?,
            };
            best.offer(stagnation.enthalpy, &throat(&point));
        }
    }
    match end {
        Some((pressure, temperature, _)) if pressure > receiver => Ok(Some(temperature)),
        _ => Ok(None),
    }
}

/// Shares of a two-phase stretch from its top at which the flux may grow: close to the critical point sound is slow, and
/// one that does not at the top may again below.
const FROM_THE_TOP: [f64; 5] = [0.0, 1e-3, 1e-2, 3e-2, 0.1];

/// A two-phase stretch between two temperatures. Returns whether the receiver was met in it.
fn two_phase(
    line: &dyn Fn(f64) -> Result<Coexistence, ThermoError>,
    (bottom, top): (f64, f64),
    stagnation: &Stagnation,
    receiver: f64,
    best: &mut Best,
) -> Result<bool, FlowError> {
    let s0 = stagnation.entropy;
    let at =
        |t: f64| -> Result<Throat, FlowError> { Ok(throat(&line(t)?, s0, stagnation.enthalpy)) };
    let lowest = line(bottom)?;
    let (met, end_temperature) = if lowest.pressure < receiver {
        match temperature_of(line, (bottom, top), receiver)? {
            Some(temperature) => (true, temperature),
            // The receiver lies above the top of the stretch by round-off.
            None => return Ok(true),
        }
    } else {
        (false, bottom)
    };
    let last = at(end_temperature)?;
    if last.growth >= 0.0 {
        best.offer(stagnation.enthalpy, &last);
    } else {
        let mut grows = None;
        for share in FROM_THE_TOP {
            let t = top - share * (top - end_temperature);
            let place = at(t)?;
            if place.growth > 0.0 {
                grows = Some((t, place.growth));
                break;
            }
            best.offer(stagnation.enthalpy, &place);
        }
        if let Some(grows) = grows {
            let found = match secant(&at, (end_temperature, last.growth), grows)? {
                Some(throat) => throat,
                None => {
                    let root = roots::brent(
                        |t: f64| Ok::<_, FlowError>(at(t)?.growth),
                        end_temperature,
                        grows.0,
                        &SEARCH,
                    )?;
                    at(root.x)?
                }
            };
            best.offer(stagnation.enthalpy, &found);
        }
    }
    Ok(met)
}

/// Temperature [K] in a stretch of a line at which its pressure is that of the receiver [Pa]; `None`
/// if there is none.
fn temperature_of(
    line: &dyn Fn(f64) -> Result<Coexistence, ThermoError>,
    (bottom, top): (f64, f64),
    receiver: f64,
) -> Result<Option<f64>, FlowError> {
    let highest = line(top)?;
    if highest.pressure < receiver {
        return Ok(None);
    }
    let root = roots::newton(
        |t: f64| -> Result<(f64, f64), FlowError> {
            let line = line(t)?;
            let slope = line.pressure_slope / line.pressure;
            Ok(((line.pressure / receiver).ln(), slope))
        },
        bottom,
        top,
        temperature_at_pressure(&highest, receiver),
        Ends::Rising,
        &PLACE_ON_LINE,
    );
    match root {
        Ok(root) => Ok(Some(root.x)),
        Err(roots::RootError::NoSignChange { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Temperature [K] of a line at a pressure [Pa], from its slope elsewhere: ln p is nearly straight
/// in 1/T.
fn temperature_at_pressure(line: &Coexistence, pressure: f64) -> f64 {
    let t = line.temperature;
    let slope = t * t * line.pressure_slope / line.pressure;
    1.0 / (1.0 / t + (line.pressure / pressure).ln() / slope)
}

/// Tolerance of searches for a flat maximum.
const SEARCH: Tolerance = Tolerance {
    x_absolute: 1e-9,
    x_relative: 1e-9,
    value: 0.0,
    max_iterations: 100,
};
