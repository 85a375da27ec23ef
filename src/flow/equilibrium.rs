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

use crate::flow::critical_boundary::{self, CriticalEnds};
use crate::flow::hint::{CLEAR, Hint};
use crate::flow::sonic_table::Sonic;
use crate::flow::stagnation::{Choke, Content, Flux, Stagnation};
use crate::flow::throat::{self, Best, Throat, secant, throat};
use crate::flow::{FlowError, isentrope, over_ice, saturated_table};
use crate::numerics::roots::{self, Ends, Tolerance};
use crate::thermo::coexistence::{self, Coexistence, triple_point};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;
use crate::thermo::{FluidPoint, LOWEST_TEMPERATURE, ThermoError};

/// Lowest throat temperature considered [K]; the pressure there is a few hundredths of a pascal.
pub(super) const COLDEST_THROAT: f64 = LOWEST_TEMPERATURE - 20.0;

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
    match gas_only(properties, stagnation, receiver_pressure, sonic)? {
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

/// The flux of a gas that is still a single phase where it chokes or meets the receiver, which is
/// then the frozen flux; `None` if a phase boundary comes first. (Beyond choking in a gas no second
/// maximum exceeds the first: condensation further down only slows the growth of velocity.)
///
/// # Errors
/// As [`mass_flux`].
pub(crate) fn gas_only(
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

/// Where the isentrope of a single-phase state meets a two-phase region:
/// (pressure [Pa], temperature [K], density [kg/m3] of the saturated phase).
fn boundary(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    start: &FluidPoint,
) -> Result<Option<(f64, f64, f64)>, FlowError> {
    let triple = triple_point()?;
    let s0 = stagnation.entropy;
    let guess = stagnation.temperature;
    let saturated = |line: &Coexistence, light: bool| {
        let phase = if light { &line.light } else { &line.heavy };
        (line.pressure, line.temperature, phase.density())
    };
    let ends = CriticalEnds::get()?;
    let near_critical = |light: bool| {
        let (end, highest) = (&ends.table_end, &ends.highest);
        let above = if light {
            s0 < end.light.entropy && s0 >= highest.light.entropy
        } else {
            s0 > end.heavy.entropy && s0 <= highest.heavy.entropy
        };
        above.then(|| critical_boundary::meeting(properties, s0, light))?
    };
    if let Some(met) = near_critical(true).or_else(|| near_critical(false)) {
        return Ok(Some(met));
    }
    let bracket = |light: bool| {
        // Nearly always below the end of the tables; the last hundredth of a kelvin only if needed.
        let line = &ends.table_end;
        let inside = if light {
            s0 >= line.light.entropy
        } else {
            s0 <= line.heavy.entropy
        };
        if inside {
            (triple.temperature, line.temperature)
        } else {
            (line.temperature, ends.highest.temperature)
        }
    };
    if s0 >= ends.highest.light.entropy {
        // Vapour side: saturated-vapour entropy falls with temperature all along both lines.
        if s0 <= triple.vapour.entropy {
            let t = entropy_on_line(
                &|t| properties.saturation(t),
                s0,
                bracket(true),
                guess,
                true,
            )?;
            return Ok(Some(saturated(&properties.saturation(t)?, true)));
        }
        let coldest = properties.sublimation(COLDEST_THROAT)?;
        if s0 >= coldest.light.entropy {
            return Ok(None);
        }
        let t = entropy_on_line(
            &|t| properties.sublimation(t),
            s0,
            (COLDEST_THROAT, triple.temperature),
            guess,
            true,
        )?;
        return Ok(Some(saturated(&properties.sublimation(t)?, true)));
    }
    if s0 > ends.highest.heavy.entropy {
        // Within a hair of the critical isentrope: between the two phases, which differ by a hair.
        let line = &ends.highest;
        let (heavy, light) = (&line.heavy, &line.light);
        let share = (s0 - heavy.entropy) / (light.entropy - heavy.entropy);
        let volume = heavy.volume + share * (light.volume - heavy.volume);
        return Ok(Some((line.pressure, line.temperature, 1.0 / volume)));
    }
    if s0 > triple.liquid.entropy {
        let t = entropy_on_line(
            &|t| properties.saturation(t),
            s0,
            bracket(false),
            guess,
            false,
        )?;
        return Ok(Some(saturated(&properties.saturation(t)?, false)));
    }
    // Colder than the triple liquid: the plateau is met with ice forming in the liquid.
    let point = isentrope::at_pressure(properties, start, triple.pressure)?;
    Ok(Some((triple.pressure, triple.temperature, point.density)))
}

/// Temperature at which a saturated phase has entropy `s0`, searched from a `guess`.
fn entropy_on_line(
    line: &dyn Fn(f64) -> Result<Coexistence, ThermoError>,
    s0: f64,
    (low, high): (f64, f64),
    guess: f64,
    light: bool,
) -> Result<f64, FlowError> {
    let root = roots::newton(
        |t: f64| -> Result<(f64, f64), FlowError> {
            let line = line(t)?;
            let phase = if light { &line.light } else { &line.heavy };
            Ok((phase.entropy - s0, line.entropy_slope(phase)))
        },
        low,
        high,
        guess,
        Ends::Evaluate,
        &SHARP,
    )?;
    Ok(root.x)
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
        &SHARP,
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
/// Tolerance of searches for a place.
const SHARP: Tolerance = Tolerance {
    x_absolute: 1e-12,
    x_relative: 1e-14,
    value: 0.0,
    max_iterations: 100,
};
