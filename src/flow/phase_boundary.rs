//! Where the isentrope of a single phase meets a region of two.

use crate::flow::critical_boundary::{self, CriticalEnds};
use crate::flow::stagnation::Stagnation;
use crate::flow::throat::COLDEST_THROAT;
use crate::flow::{FlowError, isentrope};
use crate::numerics::roots::{self, Ends, Tolerance};
use crate::thermo::coexistence::{Coexistence, triple_point};
use crate::thermo::source::PropertySource;
use crate::thermo::{FluidPoint, ThermoError};

/// Tolerance on the temperature [K] of a place on a line of two phases: round-off.
pub(super) const PLACE_ON_LINE: Tolerance = Tolerance {
    x_absolute: 1e-12,
    x_relative: 1e-14,
    value: 0.0,
    max_iterations: 100,
};

/// Where the isentrope of a single-phase state meets a two-phase region:
/// (pressure [Pa], temperature [K], density [kg/m3] of the saturated phase).
pub(super) fn boundary(
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
        &PLACE_ON_LINE,
    )?;
    Ok(root.x)
}
