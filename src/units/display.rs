//! From SI to text a person reads: a fitting unit and sensible digits.

use super::Dimension;
use super::parse;
use super::table::{self, PressureReference};

/// Family of units for output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitSystem {
    /// Grams, millimetres, bar, degC.
    #[default]
    Metric,
    /// Ounces, inches, psi, degF.
    Us,
}

/// A unit for output: shown number = (SI value - offset) / scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DisplayUnit {
    /// Symbol; empty for plain numbers.
    pub symbol: &'static str,
    scale: f64,
    offset: f64,
}

impl DisplayUnit {
    /// The number to show.
    #[must_use]
    pub fn from_si(&self, value: f64) -> f64 {
        (value - self.offset) / self.scale
    }

    /// The first unit in a written value: `in3` of "normal 45 in3 sd 2 in3"; `None` where none of a dimension is
    /// there, or one that does not go with a factor ("350 deg/s" for a slew time, gauge pressures).
    #[must_use]
    pub fn written(dimension: Dimension, text: &str) -> Option<DisplayUnit> {
        let unit = parse::first_unit(text, dimension)?;
        let plain = !unit.inverse && unit.reference != PressureReference::Gauge;
        plain.then_some(DisplayUnit {
            symbol: unit.symbol,
            scale: unit.scale,
            offset: unit.offset,
        })
    }

    /// Whether it is one that metric output uses.
    pub(super) fn is_everyday(&self, dimension: Dimension) -> bool {
        let all = choices(dimension, UnitSystem::Metric);
        self.symbol.is_empty() || all.iter().any(|(symbol, _)| *symbol == self.symbol)
    }

    fn named(dimension: Dimension, symbol: &'static str) -> DisplayUnit {
        match table::find(dimension, symbol) {
            Some(unit) => DisplayUnit {
                symbol: unit.symbol,
                scale: unit.scale,
                offset: unit.offset,
            },
            None => DisplayUnit {
                symbol: "",
                scale: 1.0,
                offset: 0.0,
            },
        }
    }
}

/// Units to choose from, small to large, with the SI magnitude from which each serves.
fn choices(dimension: Dimension, system: UnitSystem) -> &'static [(&'static str, f64)] {
    use UnitSystem::{Metric, Us};
    match (dimension, system) {
        (Dimension::Mass, Metric) => &[("g", 0.0), ("kg", 1.0)],
        (Dimension::Mass, Us) => &[("oz", 0.0), ("lb", 0.907_184_74)],
        (Dimension::Length, Metric) => &[("um", 0.0), ("mm", 1e-4), ("m", 1.0), ("km", 1e4)],
        (Dimension::Length, Us) => &[("in", 0.0), ("ft", 0.6096)],
        (Dimension::Area, Metric) => &[("mm2", 0.0), ("cm2", 1e-3), ("m2", 1.0)],
        (Dimension::Area, Us) => &[("in2", 0.0), ("ft2", 0.1)],
        (Dimension::Volume, Metric) => &[("mL", 0.0), ("L", 9.995e-4), ("m3", 1.0)],
        (Dimension::Volume, Us) => &[("in3", 0.0), ("ft3", 0.028)],
        (Dimension::Time, _) => &[
            ("us", 0.0),
            ("ms", 1e-4),
            ("s", 0.999_5),
            ("min", 300.0),
            ("h", 7200.0),
        ],
        (Dimension::Temperature, Metric) => &[("degC", 0.0)],
        (Dimension::Temperature, Us) => &[("degF", 0.0)],
        (Dimension::TemperatureDifference, Metric) => &[("K", 0.0)],
        (Dimension::TemperatureDifference, Us) => &[("degF", 0.0)],
        (Dimension::AbsolutePressure | Dimension::Pressure, Metric) => &[("bara", 0.0)],
        (Dimension::AbsolutePressure | Dimension::Pressure, Us) => &[("psia", 0.0)],
        (Dimension::PressureDifference, Metric) => {
            &[("Pa", 0.0), ("mbar", 100.0), ("bar", 9.995e3)]
        }
        (Dimension::PressureDifference, Us) => &[("psi", 0.0)],
        (Dimension::Stress, Metric) => &[("MPa", 0.0)],
        (Dimension::Stress, Us) => &[("psi", 0.0)],
        (Dimension::Force, Metric) => &[("N", 0.0), ("kN", 1e4)],
        (Dimension::Force, Us) => &[("lbf", 0.0)],
        (Dimension::Speed, Metric) => &[("m/s", 0.0)],
        (Dimension::Speed, Us) => &[("ft/s", 0.0)],
        (Dimension::Acceleration, Metric) => &[("m/s2", 0.0)],
        (Dimension::Acceleration, Us) => &[("ft/s2", 0.0)],
        (Dimension::Angle, _) => &[("deg", 0.0)],
        (Dimension::SlewTime, _) => &[("s/60deg", 0.0)],
        (Dimension::Stiffness, Metric) => &[("N/m", 0.0), ("kN/m", 1e3)],
        (Dimension::Stiffness, Us) => &[("lbf/in", 0.0)],
        (Dimension::Damping, Metric) => &[("N s/m", 0.0)],
        (Dimension::Damping, Us) => &[("lbf s/in", 0.0)],
        (Dimension::MassFlow, Metric) => &[("g/h", 0.0), ("g/s", 1e-5), ("kg/s", 1.0)],
        (Dimension::MassFlow, Us) => &[("oz/h", 0.0), ("oz/s", 1e-5), ("lb/s", 1.0)],
        (Dimension::HeatTransferCoefficient, Metric) => &[("W/(m2 K)", 0.0)],
        (Dimension::HeatTransferCoefficient, Us) => &[("BTU/(h ft2 degF)", 0.0)],
        (Dimension::SpecificHeat, Metric) => &[("J/(kg K)", 0.0)],
        (Dimension::SpecificHeat, Us) => &[("BTU/(lb degF)", 0.0)],
        (Dimension::Conductivity, Metric) => &[("W/(m K)", 0.0)],
        (Dimension::Conductivity, Us) => &[("BTU/(h ft degF)", 0.0)],
        (Dimension::Density, Metric) => &[("kg/m3", 0.0)],
        (Dimension::Density, Us) => &[("lb/ft3", 0.0)],
        (Dimension::Power, _) => &[("W", 0.0)],
        (Dimension::Irradiance, _) => &[("W/m2", 0.0)],
        (Dimension::Voltage, _) => &[("V", 0.0)],
        (Dimension::FlowCoefficientKv, _) => &[("m3/h", 0.0)],
        (Dimension::SharePerKelvin, _) => &[("%/K", 0.0)],
        (Dimension::Fraction, _) => &[("%", 0.0)],
        (Dimension::FlowCoefficientCv | Dimension::Number, _) => &[("", 0.0)],
    }
}

/// The unit for a value of that magnitude; for an axis give the largest magnitude on it.
#[must_use]
pub fn axis_unit(dimension: Dimension, magnitude: f64, system: UnitSystem) -> DisplayUnit {
    let size = magnitude.abs();
    let all = choices(dimension, system);
    // Zero, or nothing finite to judge by: the everyday unit rather than the smallest.
    let everyday = match dimension {
        Dimension::Time => "s",
        Dimension::Length if system == UnitSystem::Metric => "mm",
        Dimension::PressureDifference if system == UnitSystem::Metric => "bar",
        Dimension::MassFlow if system == UnitSystem::Metric => "g/s",
        Dimension::MassFlow => "oz/s",
        _ => all.first().map_or("", |choice| choice.0),
    };
    let symbol = if size > 0.0 && size.is_finite() {
        all.iter()
            .rev()
            .find(|(_, from)| size >= *from)
            .map_or(everyday, |choice| choice.0)
    } else {
        everyday
    };
    DisplayUnit::named(dimension, symbol)
}

/// Any SI value with its unit.
#[must_use]
pub fn format(dimension: Dimension, value: f64, system: UnitSystem) -> String {
    let unit = axis_unit(dimension, value, system);
    let shown = unit.from_si(value);
    let number = match dimension {
        Dimension::Temperature | Dimension::TemperatureDifference | Dimension::Fraction
            if (0.95..1e7).contains(&shown.abs()) || shown == 0.0 =>
        {
            tidy_zero(format!("{shown:.1}"))
        }
        Dimension::Temperature if shown.abs() < 1e7 => tidy_zero(format!("{shown:.1}")),
        _ => significant(shown),
    };
    if unit.symbol.is_empty() {
        number
    } else {
        format!("{number} {}", unit.symbol)
    }
}

/// Three significant digits, four when the first is 1, whole numbers from 1000 on.
#[must_use]
pub fn significant(value: f64) -> String {
    if !value.is_finite() {
        return if value.is_nan() {
            "undefined".to_owned()
        } else if value > 0.0 {
            "infinite".to_owned()
        } else {
            "-infinite".to_owned()
        };
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let size = value.abs();
    if !(1e-4..1e7).contains(&size) {
        return format!("{value:.2e}");
    }
    // Rounding may carry into the next power of ten, so look at the rounded number.
    let rounded: f64 = format!("{size:.2e}").parse().unwrap_or(size);
    let exponent = rounded.log10().floor() as i32;
    let leads_with_one = rounded / 10f64.powi(exponent) < 2.0;
    let digits = if leads_with_one { 4 } else { 3 };
    let decimals = usize::try_from(digits - 1 - exponent).unwrap_or(0);
    tidy_zero(format!("{value:.decimals$}"))
}

/// A number to its last digit, by a power of ten where that spares many zeros: "0.00115", "1e300".
#[must_use]
pub fn number(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || !size.is_finite() || (1e-6..1e15).contains(&size) {
        return value.to_string();
    }
    format!("{value:e}")
}

/// "-0.0" reads as a mistake.
fn tidy_zero(text: String) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// Absolute pressure [Pa]: "4.37 bara".
#[must_use]
pub fn format_pressure(pascal: f64, system: UnitSystem) -> String {
    format(Dimension::AbsolutePressure, pascal, system)
}

/// Pressure above the surrounding air [Pa]: "3.36 barg".
#[must_use]
pub fn format_gauge_pressure(pascal: f64, system: UnitSystem) -> String {
    let (symbol, scale) = match system {
        UnitSystem::Metric => ("barg", 1e5),
        UnitSystem::Us => ("psig", table::PSI),
    };
    format!("{} {symbol}", significant(pascal / scale))
}

/// Pressure difference [Pa]: "0.310 bar".
#[must_use]
pub fn format_pressure_difference(pascal: f64, system: UnitSystem) -> String {
    format(Dimension::PressureDifference, pascal, system)
}

/// Temperature [K]: "-6.0 degC".
#[must_use]
pub fn format_temperature(kelvin: f64, system: UnitSystem) -> String {
    format(Dimension::Temperature, kelvin, system)
}

/// Mass [kg]: "16.00 g".
#[must_use]
pub fn format_mass(kilogram: f64, system: UnitSystem) -> String {
    format(Dimension::Mass, kilogram, system)
}

/// Length [m]: "98.0 mm".
#[must_use]
pub fn format_length(metre: f64, system: UnitSystem) -> String {
    format(Dimension::Length, metre, system)
}

/// Area [m2]: "1.500 mm2".
#[must_use]
pub fn format_area(square_metre: f64, system: UnitSystem) -> String {
    format(Dimension::Area, square_metre, system)
}

/// Volume [m3]: "22.0 mL".
#[must_use]
pub fn format_volume(cubic_metre: f64, system: UnitSystem) -> String {
    format(Dimension::Volume, cubic_metre, system)
}

/// Time [s]: "30.0 ms".
#[must_use]
pub fn format_time(second: f64, system: UnitSystem) -> String {
    format(Dimension::Time, second, system)
}

/// Force [N]: "412 N".
#[must_use]
pub fn format_force(newton: f64, system: UnitSystem) -> String {
    format(Dimension::Force, newton, system)
}

/// Speed [m/s]: "12.30 m/s".
#[must_use]
pub fn format_speed(metre_per_second: f64, system: UnitSystem) -> String {
    format(Dimension::Speed, metre_per_second, system)
}

/// Mass flow [kg/s]: "142.0 g/s".
#[must_use]
pub fn format_mass_flow(kilogram_per_second: f64, system: UnitSystem) -> String {
    format(Dimension::MassFlow, kilogram_per_second, system)
}

/// Share of a whole [1]: "28.5 %".
#[must_use]
pub fn format_percent(share: f64) -> String {
    format(Dimension::Fraction, share, UnitSystem::Metric)
}
