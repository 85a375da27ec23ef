//! The equilibrium state of CO2 at a density: given temperature, or given energy.
//!
//! (rho, u) is what a vessel knows, and the only pair that is well posed everywhere: on the triple
//! line temperature and pressure are pinned while the energy decides the phase fractions.

use crate::thermo::coexistence::{
    Coexistence, TriplePoint, auxiliary_densities, auxiliary_sublimation_pressure, melting,
    triple_point,
};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::solve::{check_range, increasing};
use crate::thermo::source::{Equations, PropertySource};
use crate::thermo::{
    HIGHEST_PRESSURE, HIGHEST_SOLID_PRESSURE, HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE, Phase,
    SolidPoint, State, ThermoError,
};

/// A heat capacity that shares the vessel's energy with the CO2: specific internal energy and its
/// slope, both per kilogram of CO2, at a temperature [K].
pub trait Companion {
    /// (energy [J/kg CO2], slope [J/(kg CO2 K)]).
    fn energy(&self, temperature: f64) -> (f64, f64);
}

/// Nothing but CO2.
pub struct Alone;

impl Companion for Alone {
    fn energy(&self, _: f64) -> (f64, f64) {
        (0.0, 0.0)
    }
}

/// The equilibrium state at a temperature [K] and an overall density [kg/m3].
///
/// At exactly the triple temperature a density between the phases does not name one state; the
/// liquid+vapour (or solid+liquid) end is returned.
///
/// # Errors
/// Temperature or pressure outside the range of the equations; denser than dry ice.
pub fn at_temperature_density(temperature: f64, density: f64) -> Result<State, ThermoError> {
    at_temperature_density_with(&Equations, temperature, density)
}

/// [`at_temperature_density`] with the coexistence lines from a source.
///
/// # Errors
/// As [`at_temperature_density`].
pub fn at_temperature_density_with(
    properties: &impl PropertySource,
    temperature: f64,
    density: f64,
) -> Result<State, ThermoError> {
    check_range(
        "temperature",
        "K",
        temperature,
        LOWEST_TEMPERATURE,
        HIGHEST_TEMPERATURE,
    )?;
    check_range("density", "kg/m3", density, f64::MIN_POSITIVE, 3000.0)?;
    let state = if temperature < co2::TRIPLE_TEMPERATURE {
        below_triple(properties, temperature, density)?
    } else {
        above_triple(properties, temperature, density)?
    };
    if state.pressure > HIGHEST_PRESSURE {
        return Err(ThermoError::OutOfRange {
            property: "pressure",
            unit: "Pa",
            value: state.pressure,
            low: 0.0,
            high: HIGHEST_PRESSURE,
        });
    }
    Ok(state)
}

fn lines_are_cheap<L: PropertySource>(_: &L) -> bool {
    L::CHEAP
}

/// Whether the auxiliary densities alone, good to 0.3 %, show a single phase.
fn clear_of_saturation<L: PropertySource>(_: &L, temperature: f64, density: f64) -> bool {
    if L::CHEAP || temperature > co2::CRITICAL_TEMPERATURE - 0.5 {
        return false;
    }
    let (liquid, vapour) = auxiliary_densities(temperature);
    density < 0.98 * vapour || density > 1.02 * liquid
}

fn below_triple(
    properties: &impl PropertySource,
    temperature: f64,
    density: f64,
) -> Result<State, ThermoError> {
    // Clearly thinner than saturated vapour: skip the line. The auxiliary pressure is good to
    // 12 % down to 120 K and vapour is a perfect gas within 5 % there.
    let surely_gas = || {
        density * co2::SPECIFIC_GAS_CONSTANT * temperature
            < 0.8 * auxiliary_sublimation_pressure(temperature)
    };
    if !lines_are_cheap(properties) && surely_gas() {
        return Ok(State::single(
            properties.fluid(temperature, density),
            Phase::Gas,
        ));
    }
    let line = properties.sublimation(temperature)?;
    if density <= line.light.density() {
        return Ok(State::single(
            properties.fluid(temperature, density),
            Phase::Gas,
        ));
    }
    if density <= line.heavy.density() {
        return Ok(mixture(&line, density));
    }
    compressed_solid(temperature, density)
}

fn above_triple(
    properties: &impl PropertySource,
    temperature: f64,
    density: f64,
) -> Result<State, ThermoError> {
    if temperature < co2::CRITICAL_TEMPERATURE
        && !clear_of_saturation(properties, temperature, density)
    {
        let line = properties.saturation(temperature)?;
        if density < line.light.density() {
            return Ok(State::single(
                properties.fluid(temperature, density),
                Phase::Gas,
            ));
        }
        if density <= line.heavy.density() {
            return Ok(mixture(&line, density));
        }
    }
    let point = properties.fluid(temperature, density);
    // Liquid freezes only when denser than at the triple point.
    if density > 1170.0
        && temperature <= 299.0
        && point.pressure > 0.9 * freezing_guess(temperature)
    {
        let line = melting(temperature)?;
        if density > line.light.density() {
            check_range(
                "pressure on dry ice",
                "Pa",
                line.pressure,
                0.0,
                HIGHEST_SOLID_PRESSURE,
            )?;
            return if density <= line.heavy.density() {
                Ok(mixture(&line, density))
            } else {
                compressed_solid(temperature, density)
            };
        }
    }
    // Above the range of the solid equation only the measured melting pressure is known.
    if point.pressure > freezing_guess(temperature) && temperature > 299.0 {
        return Err(ThermoError::NoSuchState {
            first: "temperature",
            first_value: temperature,
            second: "density",
            second_value: density,
            reason: "freezes here, above 500 MPa, the limit of the solid equation".to_owned(),
        });
    }
    let phase = if temperature < co2::CRITICAL_TEMPERATURE {
        if density < co2::CRITICAL_DENSITY {
            Phase::Gas
        } else {
            Phase::Liquid
        }
    } else if point.pressure < co2::CRITICAL_PRESSURE {
        Phase::Gas
    } else {
        Phase::Supercritical
    };
    Ok(State::single(point, phase))
}

fn freezing_guess(temperature: f64) -> f64 {
    crate::thermo::coexistence::auxiliary_melting_pressure(temperature)
}

/// Dry ice denser than on its line: pressure from the solid equation at constant temperature.
fn compressed_solid(temperature: f64, density: f64) -> Result<State, ThermoError> {
    let highest = HIGHEST_SOLID_PRESSURE;
    let at = |pressure: f64| SolidPoint::new(temperature, pressure);
    if temperature > 300.0 || density > at(highest).density() {
        return Err(ThermoError::NoSuchState {
            first: "temperature",
            first_value: temperature,
            second: "density",
            second_value: density,
            reason: "denser than dry ice at 500 MPa, the limit of the solid equation".to_owned(),
        });
    }
    let pressure = increasing("solid density", (0.0, highest), 1e6, |p| {
        let point = at(p);
        Ok((1.0 / density - point.volume, -point.dv_dp))
    })?;
    Ok(solid_state(&at(pressure)))
}

/// Pure dry ice as a state.
#[must_use]
pub fn solid_state(point: &SolidPoint) -> State {
    State {
        temperature: point.temperature,
        pressure: point.pressure,
        density: point.density(),
        internal_energy: point.internal_energy(),
        entropy: point.entropy,
        phase: Phase::Solid,
        solid_fraction: 1.0,
        liquid_fraction: Some(0.0),
        vapour_fraction: Some(0.0),
        equilibrium_cv: point.cv(),
        fluid: None,
    }
}

/// Two phases on a line sharing an overall density [kg/m3].
#[must_use]
pub fn mixture(line: &Coexistence, density: f64) -> State {
    use crate::thermo::Line;
    let lever = line.lever(1.0 / density);
    let light = lever.light_fraction.clamp(0.0, 1.0);
    let heavy = 1.0 - light;
    let (phase, solid, liquid, vapour) = match line.line {
        Line::Saturation => (Phase::LiquidVapour, 0.0, heavy, light),
        Line::Sublimation => (Phase::SolidVapour, heavy, 0.0, light),
        Line::Melting => (Phase::SolidLiquid, heavy, light, 0.0),
    };
    State {
        temperature: line.temperature,
        pressure: line.pressure,
        density,
        internal_energy: lever.internal_energy,
        entropy: lever.entropy,
        phase,
        solid_fraction: solid,
        liquid_fraction: Some(liquid),
        vapour_fraction: Some(vapour),
        equilibrium_cv: lever.cv,
        fluid: None,
    }
}

/// The equilibrium state at an overall density [kg/m3] and specific internal energy [J/kg].
///
/// # Errors
/// Energy outside what the model's temperature range holds at this density.
pub fn at_density_energy(density: f64, internal_energy: f64) -> Result<State, ThermoError> {
    at_density_energy_with(&Equations, density, internal_energy, &Alone, None)
}

/// The same with a [`Companion`] sharing the energy; `energy` is the total per kilogram of CO2
/// [J/kg] and `guess` a temperature to start from [K].
///
/// # Errors
/// As [`at_density_energy`].
pub fn at_density_energy_with(
    properties: &impl PropertySource,
    density: f64,
    energy: f64,
    companion: &impl Companion,
    guess: Option<f64>,
) -> Result<State, ThermoError> {
    check_range("density", "kg/m3", density, f64::MIN_POSITIVE, 3000.0)?;
    if !energy.is_finite() {
        return Err(out_of_energy(density, energy, "it is not a finite number"));
    }
    let triple = triple_point()?;
    let mut range = (LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE);
    if density > triple.vapour.density() && density < triple.solid.density() {
        let (lower, upper) = triple_edges(triple, density);
        let own = energy - companion.energy(triple.temperature).0;
        if own >= lower && own <= upper {
            return triple_state(triple, density, own);
        }
        if own < lower {
            range.1 = triple.temperature.next_down();
        } else {
            range.0 = triple.temperature;
        }
    }
    let balance = |t: f64| -> Result<(f64, f64), ThermoError> {
        let (own, slope) = match at_temperature_density_with(properties, t, density) {
            Ok(state) => (state.internal_energy, state.equilibrium_cv),
            // The hot end of a dense state lies beyond the equations: only the sign matters.
            Err(ThermoError::OutOfRange { .. } | ThermoError::NoSuchState { .. }) => {
                let point = properties.fluid(t, density);
                (point.internal_energy, point.cv)
            }
            Err(error) => return Err(error),
        };
        let (other, other_slope) = companion.energy(t);
        Ok((own + other - energy, slope + other_slope))
    };
    let start = guess.unwrap_or(0.5 * (range.0 + range.1.min(400.0)));
    let temperature = increasing("(density, energy) inversion", range, start, balance)?;
    // Without a zero in the range the search runs into its end.
    for (end, word) in [
        (LOWEST_TEMPERATURE, "below"),
        (HIGHEST_TEMPERATURE, "above"),
    ] {
        if (temperature / end - 1.0).abs() < 1e-12 {
            let (residual, slope) = balance(end)?;
            if residual.abs() > 1e-9 * slope * end {
                return Err(out_of_energy(
                    density,
                    energy,
                    &format!("the temperature would be {word} {end} K, the limit of the model"),
                ));
            }
        }
    }
    at_temperature_density_with(properties, temperature, density)
}

fn out_of_energy(density: f64, energy: f64, reason: &str) -> ThermoError {
    ThermoError::NoSuchState {
        first: "density",
        first_value: density,
        second: "internal energy",
        second_value: energy,
        reason: reason.to_owned(),
    }
}

/// Internal energies [J/kg] between which the three phases coexist at a density between those of
/// the triple-point vapour and dry ice: all solid+vapour below, liquid+vapour (or solid+liquid)
/// above.
pub(crate) fn triple_edges(triple: &TriplePoint, density: f64) -> (f64, f64) {
    let volume = 1.0 / density;
    let upper = if density <= triple.liquid.density() {
        &triple.saturation
    } else {
        &triple.melting
    };
    (
        triple.sublimation.lever(volume).internal_energy,
        upper.lever(volume).internal_energy,
    )
}

/// The three-phase state at a density [kg/m3] and a specific internal energy [J/kg] that lie on the
/// triple line.
pub(crate) fn triple_of(density: f64, internal_energy: f64) -> Result<State, ThermoError> {
    triple_state(triple_point()?, density, internal_energy)
}

/// Phase fractions on the triple line from mass, volume and energy (a 3 x 3 system, here reduced
/// by the lever rule: every state is a blend of the solid+vapour and the upper edge).
fn triple_state(
    triple: &TriplePoint,
    density: f64,
    internal_energy: f64,
) -> Result<State, ThermoError> {
    let volume = 1.0 / density;
    let (s, l, v) = (&triple.solid, &triple.liquid, &triple.vapour);
    // 1 = xs + xl + xv; volume and energy likewise; eliminate xv.
    let (a, b) = (s.volume - v.volume, l.volume - v.volume);
    let (c, d) = (
        s.internal_energy - v.internal_energy,
        l.internal_energy - v.internal_energy,
    );
    let (e, f) = (volume - v.volume, internal_energy - v.internal_energy);
    let determinant = a * d - b * c;
    let solid = ((e * d - b * f) / determinant).clamp(0.0, 1.0);
    let liquid = ((a * f - c * e) / determinant).clamp(0.0, 1.0);
    let vapour = (1.0 - solid - liquid).max(0.0);
    Ok(State {
        temperature: triple.temperature,
        pressure: triple.pressure,
        density,
        internal_energy,
        entropy: solid * s.entropy + liquid * l.entropy + vapour * v.entropy,
        phase: Phase::SolidLiquidVapour,
        solid_fraction: solid,
        liquid_fraction: Some(liquid),
        vapour_fraction: Some(vapour),
        equilibrium_cv: f64::INFINITY,
        fluid: None,
    })
}
