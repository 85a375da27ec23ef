//! The state named by any two of temperature, pressure, density, internal energy, enthalpy and
//! vapour fraction.
//!
//! Ten pairs have inversions of their own; the rest is a search along a curve of states on which
//! one property is held: an isochore for (rho, h), constant energy for (u, h), constant vapour
//! fraction for (rho, q), (u, q) and (h, q), an isotherm for (T, u) and (T, h). Such a search looks
//! at the whole curve, so that a second state with the same pair is found and told.

use crate::thermo::coexistence::{melting, saturation, sublimation, triple_point};
use crate::thermo::flash::{
    at_density_energy, at_temperature_density, mixture, solid_state, triple_edges, triple_of,
};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::inversion;
use crate::thermo::{
    FluidPoint, HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE, Phase, SolidPoint, State, ThermoError,
};

/// A property that names a state together with another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Property {
    /// Temperature [K].
    Temperature,
    /// Pressure [Pa].
    Pressure,
    /// Overall density [kg/m3].
    Density,
    /// Specific internal energy [J/kg].
    InternalEnergy,
    /// Specific enthalpy [J/kg].
    Enthalpy,
    /// Mass fraction of vapour.
    Quality,
}

impl Property {
    /// Trade name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Pressure => "pressure",
            Self::Density => "density",
            Self::InternalEnergy => "internal energy",
            Self::Enthalpy => "enthalpy",
            Self::Quality => "vapour fraction",
        }
    }

    fn of(self, state: &State) -> f64 {
        match self {
            Self::Temperature => state.temperature,
            Self::Pressure => state.pressure,
            Self::Density => state.density,
            Self::InternalEnergy => state.internal_energy,
            Self::Enthalpy => state.enthalpy(),
            Self::Quality => state.vapour_fraction.unwrap_or(f64::NAN),
        }
    }
}

/// The state with a pair of properties.
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    /// The state; of several at one temperature, the one of lowest density.
    pub state: State,
    /// Denser states with the same pair.
    pub denser: Vec<State>,
}

/// The state with two properties, each in SI, in any order.
///
/// At one temperature, energy and enthalpy pass through a minimum as the fluid is compressed: the
/// state of lowest density is returned and the denser ones beside it. For any other pair two states
/// are an error.
///
/// # Errors
/// Out of range, no such state, or several of them.
pub fn state(first: (Property, f64), second: (Property, f64)) -> Result<Named, ThermoError> {
    use Property::{Density, Enthalpy, InternalEnergy, Pressure, Quality, Temperature};
    let (a, b) = if first.0 <= second.0 {
        (first, second)
    } else {
        (second, first)
    };
    for (property, value) in [a, b] {
        if !value.is_finite() {
            return Err(no_such_state(
                a,
                b,
                format!("{} is not finite", property.name()),
            ));
        }
    }
    let (x, y) = (a.1, b.1);
    let one = match (a.0, b.0) {
        (Temperature, Pressure) => inversion::at_temperature_pressure(x, y)?,
        (Temperature, Density) => {
            pinned(x, a, b)?;
            at_temperature_density(x, y)?
        }
        (Temperature, InternalEnergy | Enthalpy) => {
            pinned(x, a, b)?;
            return on_isotherm(a, b);
        }
        (Temperature, Quality) => inversion::at_temperature_quality(x, y)?,
        (Pressure, Density) => inversion::at_pressure_density(x, y)?,
        (Pressure, InternalEnergy) => inversion::at_pressure_energy(x, y)?,
        (Pressure, Enthalpy) => inversion::at_pressure_enthalpy(x, y)?,
        (Pressure, Quality) => inversion::at_pressure_quality(x, y)?,
        (Density, InternalEnergy) => at_density_energy(x, y)?,
        (Density, Enthalpy) => at_density_enthalpy(x, y)?,
        (InternalEnergy, Enthalpy) => at_energy_enthalpy(x, y)?,
        (Density | InternalEnergy | Enthalpy, Quality) => at_quality(a, b)?,
        _ => {
            return Err(no_such_state(
                a,
                b,
                "two different properties name a state".to_owned(),
            ));
        }
    };
    let saturated = b.0 == Quality && (y == 0.0 || y == 1.0);
    Ok(Named {
        state: if saturated { one_phase(&one) } else { one },
        denser: Vec::new(),
    })
}

/// A mixture at the end of its range is one saturated phase, with all properties of one.
fn one_phase(state: &State) -> State {
    let nearly_all = |fraction: Option<f64>| fraction.is_some_and(|x| x > 1.0 - 1e-9);
    let fluid = |phase| State::single(FluidPoint::new(state.temperature, state.density), phase);
    if nearly_all(state.vapour_fraction) {
        fluid(Phase::Gas)
    } else if nearly_all(state.liquid_fraction) {
        fluid(Phase::Liquid)
    } else if nearly_all(Some(state.solid_fraction)) {
        solid_state(&SolidPoint::new(state.temperature, state.pressure))
    } else {
        *state
    }
}

/// Exactly at the triple temperature a density, an energy or an enthalpy does not fix the three
/// fractions.
fn pinned(temperature: f64, a: (Property, f64), b: (Property, f64)) -> Result<(), ThermoError> {
    let triple = triple_point()?;
    let ends = [&triple.solid, &triple.vapour].map(|phase| match b.0 {
        Property::Density => phase.density(),
        Property::InternalEnergy => phase.internal_energy,
        _ => phase.enthalpy(triple.pressure),
    });
    let between = b.1 > ends[0].min(ends[1]) && b.1 < ends[0].max(ends[1]);
    if temperature == triple.temperature && between {
        return Err(ThermoError::Ambiguous {
            first: a.0.name(),
            first_value: a.1,
            second: b.0.name(),
            second_value: b.1,
            reason: "three phases coexist at the triple point; give density and internal energy"
                .to_owned(),
        });
    }
    Ok(())
}

fn no_such_state(a: (Property, f64), b: (Property, f64), reason: String) -> ThermoError {
    ThermoError::NoSuchState {
        first: a.0.name(),
        first_value: a.1,
        second: b.0.name(),
        second_value: b.1,
        reason,
    }
}

/// Temperature [K] below which dry ice of at most 500 MPa, the limit of its equation, melts.
const HIGHEST_FREEZING: f64 = 290.0;

/// All densities at one temperature.
fn on_isotherm(a: (Property, f64), b: (Property, f64)) -> Result<Named, ThermoError> {
    let temperature = a.1;
    let at = |log_density: f64| at_temperature_density(temperature, log_density.exp());
    let thinnest = inversion::LOWEST_PRESSURE / (co2::SPECIFIC_GAS_CONSTANT * temperature);
    // Named first: a temperature out of range is not a missing state.
    at(thinnest.ln())?;
    let mut kinks = vec![thinnest, densest(temperature)?];
    let lines = [
        (temperature < co2::TRIPLE_TEMPERATURE).then(|| sublimation(temperature)),
        (co2::TRIPLE_TEMPERATURE..co2::CRITICAL_TEMPERATURE)
            .contains(&temperature)
            .then(|| saturation(temperature)),
        (co2::TRIPLE_TEMPERATURE..HIGHEST_FREEZING)
            .contains(&temperature)
            .then(|| melting(temperature)),
    ];
    for line in lines.into_iter().flatten() {
        let line = line?;
        kinks.extend([line.light.density(), line.heavy.density()]);
    }
    kinks.sort_by(f64::total_cmp);
    let grid: Vec<f64> = kinks
        .windows(2)
        .flat_map(|ends| match ends {
            [low, high] if low < high => spaced(low.ln(), high.ln(), 250),
            _ => Vec::new(),
        })
        .collect();
    let states = search(&grid, at, b);
    match states.as_slice() {
        [] => Err(no_such_state(
            a,
            b,
            "no density at this temperature has it".to_owned(),
        )),
        [state, rest @ ..] => Ok(Named {
            state: *state,
            denser: rest.to_vec(),
        }),
    }
}

/// Densest state at a temperature [kg/m3]: dry ice at 500 MPa or fluid at 800 MPa.
fn densest(temperature: f64) -> Result<f64, ThermoError> {
    if temperature <= HIGHEST_FREEZING {
        return Ok(SolidPoint::new(temperature, 500e6).density());
    }
    let (mut low, mut high) = (100.0, 2000.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if at_temperature_density(temperature, middle).is_ok() {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(low)
}

/// The state at a density [kg/m3] and a specific enthalpy [J/kg]; enthalpy rises with temperature
/// along an isochore, and with the energy on the triple line.
///
/// # Errors
/// Out of range or no such state.
pub fn at_density_enthalpy(density: f64, enthalpy: f64) -> Result<State, ThermoError> {
    let (a, b) = ((Property::Density, density), (Property::Enthalpy, enthalpy));
    let triple = triple_point()?;
    let at = |temperature: f64| at_temperature_density(temperature, density);
    let (mut low, mut high) = (LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE);
    // Named first: a density out of range is not a missing state.
    if let Err(
        error @ ThermoError::OutOfRange {
            property: "density",
            ..
        },
    ) = at(high)
    {
        return Err(error);
    }
    if density > triple.vapour.density() && density < triple.solid.density() {
        let energy = enthalpy - triple.pressure / density;
        let (lower, upper) = triple_edges(triple, density);
        if energy >= lower && energy <= upper {
            return triple_of(density, energy);
        }
        if energy < lower {
            high = triple.temperature.next_down();
        } else {
            low = triple.temperature;
        }
    }
    only(search(&spaced(low, high, 200), at, b), a, b)
}

/// The state at a specific internal energy and a specific enthalpy [J/kg], searched along the line
/// of constant energy.
///
/// # Errors
/// No such state, or two of them.
pub fn at_energy_enthalpy(internal_energy: f64, enthalpy: f64) -> Result<State, ThermoError> {
    let a = (Property::InternalEnergy, internal_energy);
    let b = (Property::Enthalpy, enthalpy);
    let at = |log_density: f64| at_density_energy(log_density.exp(), internal_energy);
    let coarse = spaced(1e-8f64.ln(), 1790f64.ln(), 900);
    // Finer where the phase changes, since p/rho has a kink there.
    let phases: Vec<Option<Phase>> = coarse
        .iter()
        .map(|z| at(*z).ok().map(|state| state.phase))
        .collect();
    let mut grid = Vec::with_capacity(coarse.len());
    for (ends, phases) in coarse.windows(2).zip(phases.windows(2)) {
        if let ([low, high], [first, second]) = (ends, phases) {
            let parts = if first == second { 1 } else { 40 };
            grid.extend(spaced(*low, *high, parts));
        }
    }
    only(search(&grid, at, b), a, b)
}

/// The state at a vapour fraction and a density, energy or enthalpy: the curve of that fraction
/// runs up the sublimation line, across the triple line from all ice to all liquid, and up the
/// vapour-pressure line.
fn at_quality(a: (Property, f64), b: (Property, f64)) -> Result<State, ThermoError> {
    let quality = b.1;
    if !(0.0..=1.0).contains(&quality) {
        return Err(ThermoError::OutOfRange {
            property: "vapour fraction",
            unit: "",
            value: quality,
            low: 0.0,
            high: 1.0,
        });
    }
    let triple = triple_point()?;
    let at = |z: f64| -> Result<State, ThermoError> {
        let on = |line: &crate::thermo::Coexistence| {
            let (h, l) = (line.heavy.volume, line.light.volume);
            mixture(line, 1.0 / (h + quality * (l - h)))
        };
        if z <= 1.0 {
            let t = LOWEST_TEMPERATURE + z * (triple.temperature - LOWEST_TEMPERATURE);
            Ok(on(&sublimation(t.min(triple.temperature))?))
        } else if z < 2.0 {
            let (solid, liquid) = ((1.0 - quality) * (2.0 - z), (1.0 - quality) * (z - 1.0));
            let mix = |of: fn(&crate::thermo::LinePhase) -> f64| {
                solid * of(&triple.solid)
                    + liquid * of(&triple.liquid)
                    + quality * of(&triple.vapour)
            };
            triple_of(1.0 / mix(|p| p.volume), mix(|p| p.internal_energy))
        } else {
            // Finer towards the critical point, where everything goes with the square root.
            let span = co2::CRITICAL_TEMPERATURE - triple.temperature;
            let t = co2::CRITICAL_TEMPERATURE - span * (3.0 - z) * (3.0 - z);
            Ok(on(&saturation(t.max(triple.temperature))?))
        }
    };
    only(search(&spaced(0.0, 3.0, 600), at, a), a, b)
}

fn spaced(low: f64, high: f64, intervals: u32) -> Vec<f64> {
    let step = (high - low) / f64::from(intervals);
    (0..=intervals)
        .map(|i| {
            if i == intervals {
                high
            } else {
                low + step * f64::from(i)
            }
        })
        .collect()
}

/// One state, or the error that says why not.
fn only(states: Vec<State>, a: (Property, f64), b: (Property, f64)) -> Result<State, ThermoError> {
    match states.as_slice() {
        [] => Err(no_such_state(
            a,
            b,
            "no state within the model's range has both".to_owned(),
        )),
        [state] => Ok(*state),
        several => Err(ThermoError::Ambiguous {
            first: a.0.name(),
            first_value: a.1,
            second: b.0.name(),
            second_value: b.1,
            reason: format!(
                "states at {} share them; give the temperature with one of them",
                several
                    .iter()
                    .map(|s| format!("{:.4} K ({:.6} kg/m3)", s.temperature, s.density))
                    .collect::<Vec<_>>()
                    .join(" and ")
            ),
        }),
    }
}

/// All states on a curve whose property has the wanted value: sign changes between neighbouring
/// points of the grid, and pairs of roots hidden beside an extremum between them.
fn search(
    grid: &[f64],
    at: impl Fn(f64) -> Result<State, ThermoError>,
    (property, value): (Property, f64),
) -> Vec<State> {
    let miss = |z: f64| at(z).ok().map(|state| property.of(&state) - value);
    let points: Vec<(f64, Option<f64>)> = grid.iter().map(|z| (*z, miss(*z))).collect();
    let mut roots = Vec::new();
    for pair in points.windows(2) {
        if let [(low, Some(f_low)), (high, Some(f_high))] = *pair {
            if f_low == 0.0 {
                roots.push(low);
            } else if f_high != 0.0 && (f_low < 0.0) != (f_high < 0.0) {
                roots.push(bisect(low, high, f_low, &miss));
            }
        }
    }
    if let Some((z, Some(0.0))) = points.last() {
        roots.push(*z);
    }
    for triple in points.windows(3) {
        if let [(low, Some(f_low)), (_, Some(f)), (high, Some(f_high))] = *triple {
            let nearer = f.abs() <= f_low.abs() && f.abs() <= f_high.abs();
            let same = f * f_low > 0.0 && f * f_high > 0.0;
            // Out of reach of the curve's own variation: round-off in a dilute gas, say.
            let reachable = f.abs() <= 4.0 * (f_low - f).abs().max((f_high - f).abs());
            if nearer
                && same
                && reachable
                && let Some((z, f_z)) = closest(low, high, f.signum(), &miss)
                && (f_z < 0.0) != (f < 0.0)
            {
                roots.push(bisect(low, z, f_low, &miss));
                roots.push(bisect(z, high, f_z, &miss));
            }
        }
    }
    roots.sort_by(f64::total_cmp);
    let mut states: Vec<State> = Vec::new();
    for root in roots {
        if let Ok(state) = at(root) {
            let close = |a: f64, b: f64| (a - b).abs() <= 1e-7 * a.abs();
            let known = states.iter().any(|known| {
                close(known.temperature, state.temperature) && close(known.density, state.density)
            });
            // A jump of the property is not a root.
            let met = (property.of(&state) - value).abs() <= 1e-6 * (value.abs() + 1.0);
            if met && !known {
                states.push(state);
            }
        }
    }
    states
}

/// Halve a bracket with a sign change down to round-off, by regula falsi where it helps.
fn bisect(mut low: f64, mut high: f64, f_low: f64, miss: &impl Fn(f64) -> Option<f64>) -> f64 {
    let negative_low = f_low < 0.0;
    let (mut a, mut b) = (f_low, miss(high).unwrap_or(-f_low));
    for iteration in 0..200 {
        let middle = 0.5 * (low + high);
        if (high - low).abs() <= 2.0 * f64::EPSILON * middle.abs() {
            break;
        }
        let falsi = low - a * (high - low) / (b - a);
        let z = if iteration % 3 != 2 && falsi > low && falsi < high {
            falsi
        } else {
            middle
        };
        match miss(z) {
            Some(0.0) => return z,
            Some(f) if (f < 0.0) == negative_low => {
                (low, a) = (z, f);
                b *= 0.5;
            }
            Some(f) => {
                (high, b) = (z, f);
                a *= 0.5;
            }
            None => return middle,
        }
    }
    0.5 * (low + high)
}

/// Where the distance to the wanted value is least inside a bracket (golden section), with the
/// signed distance there; stops early once the sign has changed.
fn closest(
    mut low: f64,
    mut high: f64,
    sign: f64,
    miss: &impl Fn(f64) -> Option<f64>,
) -> Option<(f64, f64)> {
    const SECTION: f64 = 0.618_033_988_749_894_9;
    let mut best = None;
    for _ in 0..60 {
        let (left, right) = (high - SECTION * (high - low), low + SECTION * (high - low));
        let (f_left, f_right) = (sign * miss(left)?, sign * miss(right)?);
        let (z, f) = if f_left < f_right {
            high = right;
            (left, f_left)
        } else {
            low = left;
            (right, f_right)
        };
        best = Some((z, sign * f));
        if f <= 0.0 {
            break;
        }
    }
    best
}
