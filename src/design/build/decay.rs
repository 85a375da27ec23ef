//! The size of a leak from a pressure-decay test: pumped up, or drawn down to a partial vacuum.

use crate::design::build::{Site, TEMPERATURES};
use crate::design::error::{DesignError, Problem};
use crate::design::reader::{Kind, Reader};
use crate::design::schema::DecaySection;
use crate::flow::perfect_gas;
use crate::thermo::air;
use crate::units::Dimension;

/// Ratio of specific heats of air near room temperature.
const KAPPA_OF_AIR: f64 = 1.4;
/// Intervals of the quadrature, an even number: good to 1e-7 across the choking point, and done
/// anew for every drawn design.
const INTERVALS: usize = 128;

/// Discharge coefficient times area of a leak [m2].
pub(super) fn effective_area(
    at: &str,
    test: &DecaySection,
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<f64, DesignError> {
    let pressure = Kind::positive(Dimension::Pressure);
    let volume = reader.value(
        &format!("{at}.volume"),
        &test.volume.0,
        Kind::positive(Dimension::Volume),
    )?;
    let stated = reader.optional(
        at,
        "surroundings",
        test.surroundings.as_ref(),
        Kind::positive(Dimension::AbsolutePressure),
    )?;
    let outside = stated.unwrap_or(site.pressure);
    // What a gauge showed counts from the air around the test.
    let of_site = reader.surroundings.replace(outside);
    let start = reader.value(&format!("{at}.start"), &test.start.0, pressure)?;
    let end = reader.value(&format!("{at}.end"), &test.end.0, pressure)?;
    reader.surroundings = of_site;
    let in_flight = site.bench_elevation.is_none();
    if stated.is_none() && in_flight {
        for field in ["start", "end"] {
            if reader.is_gauge(&format!("{at}.{field}")) {
                return Err(reader.error(&format!("{at}.{field}"), no_surroundings()));
            }
        }
    }
    let time = reader.value(
        &format!("{at}.time"),
        &test.time.0,
        Kind::positive(Dimension::Time),
    )?;
    let stated = reader.optional(
        at,
        "temperature",
        test.temperature.as_ref(),
        Kind::within(Dimension::Temperature, TEMPERATURES),
    )?;
    if stated.is_none() && in_flight {
        return Err(reader.error(&format!("{at}.temperature"), no_temperature()));
    }
    let temperature = stated.unwrap_or(site.temperature);
    // Towards the surroundings, and not past them, from above or from below.
    const OUTSIDE: &str = "the pressure of the surroundings";
    let order = if start > outside {
        [
            (end, start, ["end", "start"]),
            (outside, end, [OUTSIDE, "end"]),
        ]
    } else {
        [
            (start, end, ["start", "end"]),
            (end, outside, ["end", OUTSIDE]),
        ]
    };
    for (lower, upper, [lower_name, upper_name]) in order {
        if lower >= upper {
            return Err(reader.error(
                &format!("{at}.end"),
                Problem::Order {
                    lower: lower_name.to_owned(),
                    upper: upper_name.to_owned(),
                },
            ));
        }
    }
    area_from_decay(volume, start, end, time, temperature, outside).ok_or_else(|| {
        let reason = "the decay test gives no finite leak area".to_owned();
        reader.error(at, Problem::Physics { reason })
    })
}

/// A flight's site is where the nose comes off, not where the bay was tested.
fn no_surroundings() -> Problem {
    Problem::Conflict {
        message:
            "gauge readings count from the air around the test, and the site of a flight is not \
                  where it was made"
                .to_owned(),
        help: "add `surroundings: \"1.013 bara\"`, the pressure of the air at the test, to the \
               `decay`, or write the readings in bara"
            .to_owned(),
    }
}

/// As [`no_surroundings`]: the air there is not that of the test.
fn no_temperature() -> Problem {
    Problem::Conflict {
        message: "the area depends on the temperature of the air in the test, and the site of a flight is not where it \
                  was made"
            .to_owned(),
        help: "add `temperature: \"20 degC\"`, that of the air in the volume, to the `decay`".to_owned(),
    }
}

/// Effective area from an isothermal decay of air in a closed volume, or from the rise of a partial
/// vacuum.
///
/// Law: dm/dt = -A G(p, p2), m = p V/(R T), T constant (slow test, warm walls); for a vacuum
/// dm/dt = A G(p2, p), constant while choked.
/// Equation: A = V/(R T t) integral from p1' to p1 of dp/G(p, p2), with G the frictionless
/// nozzle flux of air (kappa 1.4), choked or not. With G = C* p/sqrt(R T) throughout it is
/// A = V ln(p1/p1')/(t C* sqrt(R T)). Symbols: V volume [m3], p1 and p1' first and last pressure
/// [Pa], p2 surroundings [Pa], t time [s], R T [J/kg], A effective area [m2].
/// Range: p1 > p1' > p2 or p1 < p1' < p2. Assumption: an orifice; a long thin leak is viscous and passes
/// relatively less at low pressure.
fn area_from_decay(
    volume: f64,
    start: f64,
    end: f64,
    time: f64,
    temperature: f64,
    outside: f64,
) -> Option<f64> {
    let gas = air::GAS_CONSTANT * temperature;
    // Simpson's rule in s with p = p2 + (p1 - p2) s^2, which takes the square-root
    // singularity of 1/G at p = p2 out of the integrand.
    let span = start - outside;
    let first = ((end - outside) / span).sqrt();
    let step = (1.0 - first) / INTERVALS as f64;
    let mut sum = 0.0;
    for index in 0..=INTERVALS {
        let s = first + step * index as f64;
        let pressure = outside + span * s * s;
        let (donor, receiver) = if span > 0.0 {
            (pressure, outside)
        } else {
            (outside, pressure)
        };
        let flux = perfect_gas::mass_flux(donor, donor / gas, receiver, KAPPA_OF_AIR).ok()?;
        let weight = match index {
            0 | INTERVALS => 1.0,
            odd if odd % 2 == 1 => 4.0,
            _ => 2.0,
        };
        sum += weight * 2.0 * span.abs() * s / flux;
    }
    let area = volume / (gas * time) * sum * step / 3.0;
    area.is_finite().then_some(area)
}
