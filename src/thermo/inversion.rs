//! Equilibrium states from other pairs of properties than (T, rho) and (rho, u).
//!
//! Each inversion first finds the phases from the coexistence lines, then solves inside one phase
//! from the outer branch of the isotherm, so that the spinodal loops below 302 K are never entered.

use crate::thermo::coexistence::{
    Coexistence, auxiliary_melting_pressure, auxiliary_saturation_pressure,
    auxiliary_sublimation_pressure, melting, saturation, sublimation, triple_point,
};
use crate::thermo::flash::{at_temperature_density, mixture, solid_state};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::solve::{check_range, increasing};
use crate::thermo::{
    FluidPoint, HIGHEST_PRESSURE, HIGHEST_SOLID_PRESSURE, HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE,
    Phase, SolidPoint, State, ThermoError,
};

/// Lowest pressure the inversions answer [Pa].
pub const LOWEST_PRESSURE: f64 = 1e-3;
/// Densest fluid the searches consider [kg/m3].
const DENSEST: f64 = 1800.0;

fn check_temperature(t: f64) -> Result<(), ThermoError> {
    check_range(
        "temperature",
        "K",
        t,
        LOWEST_TEMPERATURE,
        HIGHEST_TEMPERATURE,
    )
}

fn check_pressure(p: f64) -> Result<(), ThermoError> {
    check_range("pressure", "Pa", p, LOWEST_PRESSURE, HIGHEST_PRESSURE)
}

/// Density of one fluid branch at a temperature [K] and pressure [Pa], searched between two
/// densities [kg/m3] over which pressure rises.
fn branch_density(
    temperature: f64,
    pressure: f64,
    bracket: (f64, f64),
    start: f64,
) -> Result<FluidPoint, ThermoError> {
    let density = increasing("density at (T, p)", bracket, start, |rho| {
        let point = FluidPoint::new(temperature, rho);
        Ok((point.pressure - pressure, point.dp_drho))
    })?;
    Ok(FluidPoint::new(temperature, density))
}

/// The gas branch at (T, p): below the saturated density where there is a line.
fn gas(temperature: f64, pressure: f64, most: f64) -> Result<FluidPoint, ThermoError> {
    let ideal = pressure / (co2::SPECIFIC_GAS_CONSTANT * temperature);
    branch_density(temperature, pressure, (0.2 * ideal, most), ideal.min(most))
}

/// The state at a temperature [K] and a pressure [Pa].
///
/// Within 1e-10 of the pressure of a coexistence line the pair does not name a state.
///
/// # Errors
/// Out of range; on a line (give a vapour fraction or a density instead).
pub fn at_temperature_pressure(temperature: f64, pressure: f64) -> Result<State, ThermoError> {
    check_temperature(temperature)?;
    check_pressure(pressure)?;
    let ambiguous =
        |line: &Coexistence| -> bool { ((pressure - line.pressure) / line.pressure).abs() < 1e-10 };
    let on_line = || ThermoError::Ambiguous {
        first: "temperature",
        first_value: temperature,
        second: "pressure",
        second_value: pressure,
        reason: "two phases coexist here; give a density, an energy or a vapour fraction with one \
                 of them"
            .to_owned(),
    };
    if temperature < co2::TRIPLE_TEMPERATURE {
        let line = sublimation(temperature)?;
        if ambiguous(&line) {
            return Err(on_line());
        }
        return if pressure < line.pressure {
            Ok(State::single(
                gas(temperature, pressure, line.light.density())?,
                Phase::Gas,
            ))
        } else {
            solid_at(temperature, pressure)
        };
    }
    if temperature <= 300.0 && pressure > 0.9 * auxiliary_melting_pressure(temperature) {
        let line = melting(temperature)?;
        if ambiguous(&line) {
            return Err(on_line());
        }
        if pressure > line.pressure {
            return solid_at(temperature, pressure);
        }
    }
    if temperature > 300.0 && pressure > auxiliary_melting_pressure(temperature) {
        return Err(ThermoError::NoSuchState {
            first: "temperature",
            first_value: temperature,
            second: "pressure",
            second_value: pressure,
            reason: "freezes here, above 500 MPa, the limit of the solid equation".to_owned(),
        });
    }
    if temperature < co2::CRITICAL_TEMPERATURE {
        let line = saturation(temperature)?;
        if ambiguous(&line) {
            return Err(on_line());
        }
        return if pressure < line.pressure {
            Ok(State::single(
                gas(temperature, pressure, line.light.density())?,
                Phase::Gas,
            ))
        } else {
            let least = line.heavy.density();
            let point = branch_density(temperature, pressure, (least, DENSEST), least)?;
            Ok(State::single(point, Phase::Liquid))
        };
    }
    let ideal = pressure / (co2::SPECIFIC_GAS_CONSTANT * temperature);
    let point = branch_density(
        temperature,
        pressure,
        (0.1 * ideal.min(10.0), DENSEST),
        ideal.min(700.0),
    )?;
    let phase = if pressure < co2::CRITICAL_PRESSURE {
        Phase::Gas
    } else {
        Phase::Supercritical
    };
    Ok(State::single(point, phase))
}

fn solid_at(temperature: f64, pressure: f64) -> Result<State, ThermoError> {
    check_range(
        "pressure on dry ice",
        "Pa",
        pressure,
        0.0,
        HIGHEST_SOLID_PRESSURE,
    )?;
    Ok(solid_state(&SolidPoint::new(temperature, pressure)))
}

/// The vapour-side line at a pressure [Pa] below the critical one: sublimation or saturation.
///
/// # Errors
/// Pressure outside the lines.
pub fn line_at_pressure(pressure: f64) -> Result<Coexistence, ThermoError> {
    let triple = triple_point()?;
    let lowest = sublimation(LOWEST_TEMPERATURE)?.pressure;
    check_range(
        "pressure of a vapour line",
        "Pa",
        pressure,
        lowest,
        co2::CRITICAL_PRESSURE,
    )?;
    let (bracket, solid) = if pressure < triple.pressure {
        ((LOWEST_TEMPERATURE, co2::TRIPLE_TEMPERATURE), true)
    } else {
        ((co2::TRIPLE_TEMPERATURE, co2::CRITICAL_TEMPERATURE), false)
    };
    // Invert the auxiliary line for a start, then the line itself in ln p against T.
    let auxiliary = |t: f64| {
        if solid {
            auxiliary_sublimation_pressure(t)
        } else {
            auxiliary_saturation_pressure(t)
        }
    };
    let (mut low, mut high) = bracket;
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if auxiliary(middle) < pressure {
            low = middle;
        } else {
            high = middle;
        }
    }
    let line = |t: f64| if solid { sublimation(t) } else { saturation(t) };
    let highest = line(bracket.1)?;
    if pressure >= highest.pressure {
        return Ok(highest);
    }
    let temperature = increasing("line temperature at p", bracket, 0.5 * (low + high), |t| {
        let line = line(t)?;
        Ok((line.pressure - pressure, line.pressure_slope))
    })?;
    line(temperature)
}

/// The state at a pressure [Pa] and a vapour mass fraction (vapour over dry ice or liquid).
///
/// # Errors
/// Pressure outside the lines or fraction outside 0 .. 1.
pub fn at_pressure_quality(pressure: f64, quality: f64) -> Result<State, ThermoError> {
    check_range("vapour fraction", "", quality, 0.0, 1.0)?;
    Ok(at_quality(&line_at_pressure(pressure)?, quality))
}

/// The state at a temperature [K] and a vapour mass fraction.
///
/// # Errors
/// Temperature outside the lines or fraction outside 0 .. 1.
pub fn at_temperature_quality(temperature: f64, quality: f64) -> Result<State, ThermoError> {
    check_range("vapour fraction", "", quality, 0.0, 1.0)?;
    check_range(
        "temperature",
        "K",
        temperature,
        LOWEST_TEMPERATURE,
        co2::CRITICAL_TEMPERATURE,
    )?;
    let line = if temperature < co2::TRIPLE_TEMPERATURE {
        sublimation(temperature)?
    } else {
        saturation(temperature)?
    };
    Ok(at_quality(&line, quality))
}

fn at_quality(line: &Coexistence, quality: f64) -> State {
    let volume = line.heavy.volume + quality * (line.light.volume - line.heavy.volume);
    mixture(line, 1.0 / volume)
}

/// A property that rises with temperature at constant pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Caloric {
    Enthalpy,
    Entropy,
    Energy,
    Volume,
}

impl Caloric {
    fn name(self) -> &'static str {
        match self {
            Self::Enthalpy => "enthalpy",
            Self::Entropy => "entropy",
            Self::Energy => "internal energy",
            Self::Volume => "specific volume",
        }
    }

    fn of(self, state: &State) -> f64 {
        match self {
            Self::Enthalpy => state.enthalpy(),
            Self::Entropy => state.entropy,
            Self::Energy => state.internal_energy,
            Self::Volume => 1.0 / state.density,
        }
    }

    fn of_line(self, line: &Coexistence) -> (f64, f64) {
        match self {
            Self::Enthalpy => (
                line.heavy.enthalpy(line.pressure),
                line.light.enthalpy(line.pressure),
            ),
            Self::Entropy => (line.heavy.entropy, line.light.entropy),
            Self::Energy => (line.heavy.internal_energy, line.light.internal_energy),
            Self::Volume => (line.heavy.volume, line.light.volume),
        }
    }
}

/// The state at a pressure [Pa] and a specific enthalpy [J/kg].
///
/// # Errors
/// Out of range.
pub fn at_pressure_enthalpy(pressure: f64, enthalpy: f64) -> Result<State, ThermoError> {
    at_pressure_caloric(pressure, enthalpy, Caloric::Enthalpy)
}

/// The state at a pressure [Pa] and a specific entropy [J/(kg K)].
///
/// # Errors
/// Out of range.
pub fn at_pressure_entropy(pressure: f64, entropy: f64) -> Result<State, ThermoError> {
    at_pressure_caloric(pressure, entropy, Caloric::Entropy)
}

/// The state at a pressure [Pa] and a specific internal energy [J/kg].
///
/// # Errors
/// Out of range.
pub fn at_pressure_energy(pressure: f64, internal_energy: f64) -> Result<State, ThermoError> {
    at_pressure_caloric(pressure, internal_energy, Caloric::Energy)
}

/// The state at a pressure [Pa] and a density [kg/m3]; CO2 expands on heating in every phase.
///
/// # Errors
/// Out of range.
pub fn at_pressure_density(pressure: f64, density: f64) -> Result<State, ThermoError> {
    check_range("density", "kg/m3", density, f64::MIN_POSITIVE, 3000.0)?;
    at_pressure_caloric(pressure, 1.0 / density, Caloric::Volume).map_err(|error| match error {
        ThermoError::NoSuchState { reason, .. } => ThermoError::NoSuchState {
            first: "pressure",
            first_value: pressure,
            second: "density",
            second_value: density,
            reason,
        },
        ThermoError::Ambiguous { reason, .. } => ThermoError::Ambiguous {
            first: "pressure",
            first_value: pressure,
            second: "density",
            second_value: density,
            reason,
        },
        other => other,
    })
}

fn at_pressure_caloric(pressure: f64, value: f64, kind: Caloric) -> Result<State, ThermoError> {
    check_pressure(pressure)?;
    let triple = triple_point()?;
    let impossible = |reason: &str| ThermoError::NoSuchState {
        first: "pressure",
        first_value: pressure,
        second: kind.name(),
        second_value: value,
        reason: reason.to_owned(),
    };
    if !value.is_finite() {
        return Err(impossible("it is not a finite number"));
    }
    let mut low = LOWEST_TEMPERATURE;
    let mut high = HIGHEST_TEMPERATURE;
    // Dry ice and liquid, above the triple pressure.
    if pressure > triple.pressure
        && pressure < HIGHEST_SOLID_PRESSURE
        && let Some(line) = melting_line_at_pressure(pressure)?
    {
        let (heavy, light) = kind.of_line(&line);
        if value >= heavy && value <= light {
            let fraction = (value - heavy) / (light - heavy);
            let volume = line.heavy.volume + fraction * (line.light.volume - line.heavy.volume);
            return Ok(mixture(&line, 1.0 / volume));
        }
        if value < heavy {
            high = line.temperature.next_down();
        } else {
            low = line.temperature.next_up();
        }
    }
    if pressure >= HIGHEST_SOLID_PRESSURE {
        low = frozen_below(pressure);
    }
    let lowest_line = sublimation(LOWEST_TEMPERATURE)?.pressure;
    if pressure > lowest_line && pressure < co2::CRITICAL_PRESSURE && high == HIGHEST_TEMPERATURE {
        let line = line_at_pressure(pressure)?;
        let (heavy, light) = kind.of_line(&line);
        if value >= heavy && value <= light {
            if (pressure / triple.pressure - 1.0).abs() < 1e-9 {
                return Err(ThermoError::Ambiguous {
                    first: "pressure",
                    first_value: pressure,
                    second: kind.name(),
                    second_value: value,
                    reason: "three phases coexist at the triple pressure; give density and energy"
                        .to_owned(),
                });
            }
            return Ok(at_quality(&line, (value - heavy) / (light - heavy)));
        }
        if value < heavy {
            high = line.temperature.next_down();
        } else {
            low = line.temperature.next_up();
        }
    }
    let at = |t: f64| {
        // Next to a line the branch is known; a hair's breadth decides nothing physical.
        at_temperature_pressure(t, pressure).or_else(|error| match error {
            ThermoError::Ambiguous { .. } => {
                let t = if t == high {
                    t - 1e-9 * t
                } else {
                    t + 1e-9 * t
                };
                at_temperature_pressure(t, pressure)
            }
            other => Err(other),
        })
    };
    let (bottom, top) = (kind.of(&at(low)?), kind.of(&at(high)?));
    if value < bottom || value > top {
        // Between the last representable states beside a line: take the line's own edge.
        let gap = if value < bottom {
            bottom - value
        } else {
            value - top
        };
        if gap < 1e-6 * (top - bottom).abs() + 1e-9 * value.abs() {
            return at(if value < bottom { low } else { high });
        }
        return Err(impossible("the temperature would leave 120 .. 1100 K"));
    }
    let temperature = increasing(
        "temperature at (p, caloric)",
        (low, high),
        0.5 * (low + high.min(400.0)),
        |t| {
            let state = at(t)?;
            let slope = caloric_slope(&state, kind);
            Ok((kind.of(&state) - value, slope))
        },
    )?;
    at(temperature)
}

/// Slope of a caloric property with temperature at constant pressure in one phase.
fn caloric_slope(state: &State, kind: Caloric) -> f64 {
    let (cp, expansion) = match &state.fluid {
        Some(point) => {
            let dv_dt = point.dp_dt / (point.density * point.density * point.dp_drho);
            (point.cp(), dv_dt)
        }
        None => {
            let point = SolidPoint::new(state.temperature, state.pressure);
            (point.cp, point.dv_dt)
        }
    };
    match kind {
        Caloric::Enthalpy => cp,
        Caloric::Entropy => cp / state.temperature,
        Caloric::Energy => cp - state.pressure * expansion,
        Caloric::Volume => expansion,
    }
}

/// Temperature [K] of the auxiliary melting line at a pressure [Pa], for pressures beyond the solid
/// equation: colder states are not described.
fn frozen_below(pressure: f64) -> f64 {
    let (a, b) = co2::AUXILIARY_MELTING;
    let rise = pressure / co2::TRIPLE_PRESSURE_ROUNDED - 1.0;
    co2::TRIPLE_TEMPERATURE * (1.0 + 2.0 * rise / (a + (a * a + 4.0 * b * rise).sqrt())) * 1.0001
}

/// The melting line at a pressure [Pa], where it lies below 300 K.
fn melting_line_at_pressure(pressure: f64) -> Result<Option<Coexistence>, ThermoError> {
    let top = melting(300.0)?;
    if pressure >= top.pressure {
        return Ok(None);
    }
    let bracket = (co2::TRIPLE_TEMPERATURE, 300.0);
    let temperature = increasing("melting temperature at p", bracket, 220.0, |t| {
        let line = melting(t)?;
        Ok((line.pressure - pressure, line.pressure_slope))
    })?;
    melting(temperature).map(Some)
}

/// The state at a temperature [K] and a specific entropy [J/(kg K)]; entropy falls with density.
///
/// # Errors
/// Out of range, or denser than the fluid allows.
pub fn at_temperature_entropy(temperature: f64, entropy: f64) -> Result<State, ThermoError> {
    at_temperature_falling(temperature, entropy, Caloric::Entropy)
}

/// The state at a temperature [K] and a specific internal energy [J/kg].
///
/// Internal energy falls with density up to a minimum in the compressed liquid; the branch below
/// it is searched.
///
/// # Errors
/// Out of range, or no such state.
pub fn at_temperature_energy(temperature: f64, internal_energy: f64) -> Result<State, ThermoError> {
    at_temperature_falling(temperature, internal_energy, Caloric::Energy)
}

/// The state at a temperature [K] and a specific enthalpy [J/kg].
///
/// Enthalpy falls with density up to a minimum in the compressed fluid; the branch below it is
/// searched.
///
/// # Errors
/// Out of range, or no such state.
pub fn at_temperature_enthalpy(temperature: f64, enthalpy: f64) -> Result<State, ThermoError> {
    at_temperature_falling(temperature, enthalpy, Caloric::Enthalpy)
}

fn at_temperature_falling(t: f64, value: f64, kind: Caloric) -> Result<State, ThermoError> {
    check_temperature(t)?;
    let missing = |reason: &str| ThermoError::NoSuchState {
        first: "temperature",
        first_value: t,
        second: kind.name(),
        second_value: value,
        reason: reason.to_owned(),
    };
    if !value.is_finite() {
        return Err(missing("it is not a finite number"));
    }
    let line = if t < co2::TRIPLE_TEMPERATURE {
        Some(sublimation(t)?)
    } else if t < co2::CRITICAL_TEMPERATURE {
        Some(saturation(t)?)
    } else {
        None
    };
    let (mut thin, mut dense) = (LOWEST_PRESSURE / (co2::SPECIFIC_GAS_CONSTANT * t), 1400.0);
    if let Some(line) = &line {
        let (heavy, light) = kind.of_line(line);
        if value >= heavy && value <= light {
            return Ok(at_quality(line, (value - heavy) / (light - heavy)));
        }
        if value > light {
            dense = line.light.density();
        } else if t < co2::TRIPLE_TEMPERATURE {
            return Err(missing(
                "it would be compressed dry ice; give temperature and pressure",
            ));
        } else {
            thin = line.heavy.density();
        }
    }
    // Walk up in density until the value is passed; stop at the minimum of the property.
    let at = |rho: f64| kind.of(&State::single(FluidPoint::new(t, rho), Phase::Gas));
    if value > at(thin) {
        return Err(missing(
            "it is above the value of the thinnest gas considered",
        ));
    }
    let steps = 400;
    let ratio = (dense / thin).powf(1.0 / f64::from(steps));
    let mut low = thin;
    for _ in 0..steps {
        let high = (low * ratio).min(dense);
        if at(high) <= value {
            let density = increasing("density at (T, caloric)", (low, high), low, |rho| {
                let step = 1e-6 * rho;
                let slope = (at(rho - step) - at(rho + step)) / (2.0 * step);
                Ok((value - at(rho), slope))
            })?;
            return at_temperature_density(t, density);
        }
        if at(high) > at(low) {
            break;
        }
        low = high;
    }
    Err(missing(
        "it is below the least value of the fluid at this temperature",
    ))
}
