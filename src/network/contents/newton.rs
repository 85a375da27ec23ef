//! Newton's way to the temperature of contents that are still what they were at the last evaluation: liquid or dry ice
//! with vapour, or a gas.

use crate::network::spec::Condensation;
use crate::thermo::flash::mixture;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;
use crate::thermo::{Coexistence, FluidPoint, HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE, State, air};

/// A Newton step, as a share of the temperature, so short that what changes along it is a straight line to
/// round-off: no further point is needed. With properties from tables, which are no better, second
/// derivatives may be off by as much.
const SHORT: f64 = 1e-8;
const SHORT_BY_TABLES: f64 = 1e-7;
/// The same of a gas, whose properties bend less than lines do.
const SHORT_OF_GAS: f64 = 1e-6;
/// The same as a share of this many times the distance to the critical temperature, where lines bend.
const TAME: f64 = 10.0;

/// The share of the temperature below which a Newton step is the last.
fn short<P: PropertySource>(_: &P) -> f64 {
    if P::CHEAP { SHORT_BY_TABLES } else { SHORT }
}

fn short_of_gas<P: PropertySource>(_: &P) -> f64 {
    if P::CHEAP { SHORT_OF_GAS } else { SHORT }
}

/// Share by which a density may lie outside a line's two on the way to the temperature. Whether contents
/// are in two phases is decided there, so that it does not depend on where the search began: a vessel
/// that fills up would be in two phases or one as its last evaluation was.
const NEAR: f64 = 0.02;

/// Newton along the vapour-pressure or the sublimation line, for contents that were in two phases at
/// the temperature to start from; `None` if they are not, or if the triple point comes between.
pub(super) fn along_line(
    properties: &impl PropertySource,
    density: f64,
    energy: f64,
    ratio: f64,
    guess: f64,
) -> Option<(State, Coexistence)> {
    let above = guess > co2::TRIPLE_TEMPERATURE;
    let mut t = guess;
    for _ in 0..10 {
        let on_line = if above {
            t > co2::TRIPLE_TEMPERATURE && t < co2::CRITICAL_TEMPERATURE - 0.1
        } else {
            t < co2::TRIPLE_TEMPERATURE && t > LOWEST_TEMPERATURE
        };
        if !on_line {
            return None;
        }
        let line = if above {
            properties.saturation(t)
        } else {
            properties.sublimation(t)
        }
        .ok()?;
        let (light, heavy) = (line.light.density(), line.heavy.density());
        if density <= (1.0 - NEAR) * light || density >= (1.0 + NEAR) * heavy {
            return None;
        }
        let lever = line.lever(1.0 / density);
        let (air_energy, air_cv) = air::energy_and_capacity(ratio, t);
        let step = (energy - lever.internal_energy - air_energy) / (lever.cv + air_cv);
        if step.abs() < short(properties) * t.min(TAME * (co2::CRITICAL_TEMPERATURE - t)) {
            let line = line.nearby(step);
            let (light, heavy) = (line.light.density(), line.heavy.density());
            let two_phase = density > light && density < heavy;
            return two_phase.then(|| (mixture(&line, density), line));
        }
        t += step;
    }
    None
}

/// Newton for a single gas phase, the common case of a bay; `None` if it is not one.
pub(super) fn of_gas(
    properties: &impl PropertySource,
    condensation: Condensation,
    density: f64,
    energy: f64,
    ratio: f64,
    guess: f64,
) -> Option<FluidPoint> {
    let metastable = condensation == Condensation::Metastable;
    if density > 300.0 {
        return None;
    }
    let mut t = guess;
    for _ in 0..12 {
        if !(LOWEST_TEMPERATURE..=HIGHEST_TEMPERATURE).contains(&t) {
            return None;
        }
        let point = properties.fluid(t, density);
        let (air_energy, air_cv) = air::energy_and_capacity(ratio, t);
        let slope = point.cv + air_cv;
        if slope <= 0.0 {
            return None;
        }
        let step = (energy - point.internal_energy - air_energy) / slope;
        if step.abs() < short_of_gas(properties) * t {
            let found = point.nearby(step);
            let gas = metastable || is_gas(properties, found.temperature, density);
            return gas.then_some(found);
        }
        t += step;
    }
    None
}

fn is_gas(properties: &impl PropertySource, temperature: f64, density: f64) -> bool {
    if properties
        .surely_gas_below(temperature)
        .is_some_and(|limit| density < limit)
    {
        return true;
    }
    let line = if temperature < co2::TRIPLE_TEMPERATURE {
        properties.sublimation(temperature)
    } else if temperature < co2::CRITICAL_TEMPERATURE {
        properties.saturation(temperature)
    } else {
        return true;
    };
    line.is_ok_and(|line| density < line.light.density())
}
