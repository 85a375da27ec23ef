//! Saturated vapour along the vapour-pressure and the sublimation line, from tables that are filled at first
//! use: what there is to it beyond its state, its least density, and where its entropy is.
//!
//! `tests/verification_tables.rs` holds all three against the equations.

use std::sync::{LazyLock, OnceLock};

use crate::numerics::interpolate::{Mosaic, Patch};
use crate::thermo::coexistence::{self, Coexistence, Line, triple_point};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::line_table::{SATURATION_LOW, SUBLIMATION_LOW, TABLE_HIGH};
use crate::thermo::solve::increasing;
use crate::thermo::{FluidPoint, ThermoError, line_table};

/// Largest relative error of the specific heat and the slopes of the pressure at a test point of a stretch.
pub const SLOPE_TOLERANCE: f64 = 1e-8;

/// Stretches along the vapour-pressure line, by the square root of the distance to the critical point [K^0.5], in
/// which all is smooth there, and along the sublimation line by the temperature [K]. The second coordinate is
/// not used, here as below.
static ABOVE_LIQUID: LazyLock<Mosaic<3>> = LazyLock::new(|| {
    let farthest = (co2::CRITICAL_TEMPERATURE - SATURATION_LOW).sqrt();
    stretches(NEAREST, farthest, 36)
});
static ABOVE_ICE: LazyLock<Mosaic<3>> =
    LazyLock::new(|| stretches(SUBLIMATION_LOW, co2::TRIPLE_TEMPERATURE, 36));

/// Square root of the distance to the critical temperature at which the curves end [K^0.5].
const NEAREST: f64 = 0.3;

/// So many stretches of one coordinate, both ends within.
fn stretches<const K: usize>(from: f64, to: f64, count: usize) -> Mosaic<K> {
    let size = (1.0 + 1e-12) * (to - from) / count as f64;
    Mosaic::new((from, 0.0), (size, 1.0), (count, 1))
}

/// The saturated vapour of a line, its state as the line has it; `None` near the critical point, in stretches that
/// polynomials miss by more than [`SLOPE_TOLERANCE`], and of the melting line.
#[must_use]
pub fn point(line: &Coexistence) -> Option<FluidPoint> {
    let (mosaic, coordinate) = match line.line {
        Line::Saturation => {
            let distance = (co2::CRITICAL_TEMPERATURE - line.temperature).max(0.0);
            (&*ABOVE_LIQUID, distance.sqrt())
        }
        Line::Sublimation => (&*ABOVE_ICE, line.temperature),
        Line::Melting => return None,
    };
    let place = mosaic.place(coordinate, 0.5)?;
    let patches = mosaic.piece(&place, || {
        let solved = |x: f64| {
            let z = mosaic.point(&place, x, 0.0).0;
            let line = match line.line {
                Line::Saturation => {
                    let temperature = co2::CRITICAL_TEMPERATURE - z * z;
                    coexistence::saturation(temperature.max(SATURATION_LOW))
                }
                _ => coexistence::sublimation(z.min(co2::TRIPLE_TEMPERATURE)),
            };
            let line = line.ok()?;
            let point = FluidPoint::new(line.temperature, line.light.density());
            Some([point.cv, point.dp_dt, point.dp_drho])
        };
        Patch::along_each_within(&solved, SLOPE_TOLERANCE)
    })?;
    let [cv, dp_dt, dp_drho] = patches.each_ref().map(|patch| patch.along(place.x));
    Some(FluidPoint {
        temperature: line.temperature,
        density: line.light.density(),
        pressure: line.pressure,
        internal_energy: line.light.internal_energy,
        entropy: line.light.entropy,
        cv,
        dp_dt,
        dp_drho,
    })
}

/// Densities [kg/m3] at whole steps of temperature [K].
static LEAST: LazyLock<Vec<OnceLock<Option<f64>>>> = LazyLock::new(|| {
    let steps = (co2::CRITICAL_TEMPERATURE - SUBLIMATION_LOW) / STEP;
    (0..steps as usize).map(|_| OnceLock::new()).collect()
});
const STEP: f64 = 1.0;

/// Density [kg/m3] at the last whole step below a temperature [K], at which itself it is higher: what is thinner
/// is gas. `None` where there is no such step.
#[must_use]
pub fn least_density(temperature: f64) -> Option<f64> {
    let position = (temperature - SUBLIMATION_LOW) / STEP;
    let step = position as usize;
    let slot = LEAST.get(step).filter(|_| position >= 0.0)?;
    *slot.get_or_init(|| {
        let below = SUBLIMATION_LOW + STEP * step as f64;
        let line = if below < co2::TRIPLE_TEMPERATURE {
            coexistence::sublimation(below)
        } else {
            coexistence::saturation(below)
        };
        line.ok().map(|line| line.light.density())
    })
}

/// Largest relative error of a temperature by entropy at a test point of a stretch.
pub const DEW_TOLERANCE: f64 = 1e-9;

/// Entropies [J/(kg K)] along each line, on either side of the triple point.
static DEW_ABOVE_LIQUID: LazyLock<Option<Mosaic<1>>> = LazyLock::new(|| {
    let highest = coexistence::saturation(TABLE_HIGH).ok()?.light.entropy;
    Some(stretches(highest, triple_point().ok()?.vapour.entropy, 24))
});
static DEW_ABOVE_ICE: LazyLock<Option<Mosaic<1>>> = LazyLock::new(|| {
    let coldest = coexistence::sublimation(SUBLIMATION_LOW)
        .ok()?
        .light
        .entropy;
    Some(stretches(triple_point().ok()?.vapour.entropy, coldest, 48))
});

/// Temperature [K] at which saturated vapour has an entropy [J/(kg K)]: where a gas of that entropy begins to
/// condense on its way down in pressure. `None` beyond the lines and in stretches that polynomials miss by more than
/// [`DEW_TOLERANCE`].
#[must_use]
pub fn dew_temperature(entropy: f64) -> Option<f64> {
    let above_ice = entropy > triple_point().ok()?.vapour.entropy;
    let mosaic = if above_ice {
        DEW_ABOVE_ICE.as_ref()
    } else {
        DEW_ABOVE_LIQUID.as_ref()
    }?;
    let place = mosaic.place(entropy, 0.5)?;
    let [patch] = mosaic.piece(&place, || {
        let temperature = |x: f64| Some([searched(mosaic.point(&place, x, 0.0).0, above_ice)?]);
        Patch::along_each_within(&temperature, DEW_TOLERANCE)
    })?;
    Some(patch.along(place.x))
}

/// The same by iteration.
fn searched(entropy: f64, above_ice: bool) -> Option<f64> {
    let (low, high) = if above_ice {
        (SUBLIMATION_LOW, co2::TRIPLE_TEMPERATURE)
    } else {
        (SATURATION_LOW, TABLE_HIGH)
    };
    let less = |t: f64| -> Result<(f64, f64), ThermoError> {
        let line = if above_ice {
            line_table::sublimation(t)?
        } else {
            line_table::saturation(t)?
        };
        let light = &line.light;
        Ok((entropy - light.entropy, -line.entropy_slope(light)))
    };
    increasing(
        "dew point of an isentrope",
        (low, high),
        0.5 * (low + high),
        less,
    )
    .ok()
}
