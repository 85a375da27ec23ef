//! The units of each dimension.

use super::Dimension;

/// What a pressure is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PressureReference {
    /// Vacuum.
    Absolute,
    /// The surrounding air.
    Gauge,
    /// Not said, or not a pressure.
    Unstated,
}

/// One unit: SI value = number * scale + offset, or scale / number when `inverse`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Unit {
    pub symbol: &'static str,
    pub scale: f64,
    pub offset: f64,
    pub inverse: bool,
    pub reference: PressureReference,
}

const fn unit(symbol: &'static str, scale: f64) -> Unit {
    Unit {
        symbol,
        scale,
        offset: 0.0,
        inverse: false,
        reference: PressureReference::Unstated,
    }
}

const fn absolute(symbol: &'static str, scale: f64) -> Unit {
    Unit {
        reference: PressureReference::Absolute,
        ..unit(symbol, scale)
    }
}

const fn gauge(symbol: &'static str, scale: f64) -> Unit {
    Unit {
        reference: PressureReference::Gauge,
        ..unit(symbol, scale)
    }
}

/// Pound, avoirdupois, international 1959 [kg].
const POUND: f64 = 0.453_592_37;
/// Standard acceleration of free fall, CGPM 1901 [m/s2].
pub(super) const STANDARD_GRAVITY: f64 = 9.806_65;
/// Inch, international 1959 [m].
const INCH: f64 = 0.025_4;
const FOOT: f64 = 12.0 * INCH;
const POUND_FORCE: f64 = POUND * STANDARD_GRAVITY;
/// Pound-force per square inch [Pa].
pub(super) const PSI: f64 = POUND_FORCE / (INCH * INCH);
/// Conventional inch of mercury at 0 degC [Pa].
const INCH_OF_MERCURY: f64 = 3_386.389;
/// British thermal unit, international table [J].
const BTU: f64 = 1_055.055_852_62;
const FAHRENHEIT: f64 = 5.0 / 9.0;
const DEGREE: f64 = std::f64::consts::PI / 180.0;

const MASS: &[Unit] = &[
    unit("g", 1e-3),
    unit("kg", 1.0),
    unit("mg", 1e-6),
    unit("oz", POUND / 16.0),
    unit("lb", POUND),
    unit("lbm", POUND),
];
const LENGTH: &[Unit] = &[
    unit("mm", 1e-3),
    unit("cm", 1e-2),
    unit("m", 1.0),
    unit("km", 1e3),
    unit("um", 1e-6),
    unit("in", INCH),
    unit("ft", FOOT),
    unit("thou", 1e-3 * INCH),
    unit("mi", 5280.0 * FOOT),
];
const AREA: &[Unit] = &[
    unit("mm2", 1e-6),
    unit("cm2", 1e-4),
    unit("m2", 1.0),
    unit("um2", 1e-12),
    unit("in2", INCH * INCH),
    unit("ft2", FOOT * FOOT),
];
const VOLUME: &[Unit] = &[
    unit("mL", 1e-6),
    unit("ml", 1e-6),
    unit("L", 1e-3),
    unit("l", 1e-3),
    unit("cm3", 1e-6),
    unit("cc", 1e-6),
    unit("mm3", 1e-9),
    unit("dm3", 1e-3),
    unit("m3", 1.0),
    unit("in3", INCH * INCH * INCH),
    unit("ft3", FOOT * FOOT * FOOT),
    unit("fl oz", 29.573_529_562_5e-6),
];
const TIME: &[Unit] = &[
    unit("ms", 1e-3),
    unit("s", 1.0),
    unit("us", 1e-6),
    unit("min", 60.0),
    unit("h", 3600.0),
    unit("sec", 1.0),
    unit("hours", 3600.0),
];
const TEMPERATURE: &[Unit] = &[
    Unit {
        offset: 273.15,
        ..unit("degC", 1.0)
    },
    unit("K", 1.0),
    Unit {
        offset: 459.67 * FAHRENHEIT,
        ..unit("degF", FAHRENHEIT)
    },
    unit("degR", FAHRENHEIT),
];
const TEMPERATURE_DIFFERENCE: &[Unit] = &[
    unit("K", 1.0),
    unit("degC", 1.0),
    unit("degF", FAHRENHEIT),
    unit("degR", FAHRENHEIT),
];
const PRESSURE: &[Unit] = &[
    absolute("bara", 1e5),
    gauge("barg", 1e5),
    absolute("psia", PSI),
    gauge("psig", PSI),
    absolute("kPa abs", 1e3),
    gauge("kPa gauge", 1e3),
    absolute("kPaa", 1e3),
    gauge("kPag", 1e3),
    absolute("MPa abs", 1e6),
    gauge("MPa gauge", 1e6),
    absolute("MPaa", 1e6),
    gauge("MPag", 1e6),
    absolute("bar abs", 1e5),
    gauge("bar gauge", 1e5),
    absolute("psi abs", PSI),
    gauge("psi gauge", PSI),
    absolute("Pa abs", 1.0),
    gauge("Pa gauge", 1.0),
    absolute("hPa abs", 1e2),
    gauge("hPa gauge", 1e2),
    absolute("mbar abs", 1e2),
    gauge("mbar gauge", 1e2),
    absolute("inHg abs", INCH_OF_MERCURY),
    absolute("atm", 101_325.0),
];
const PRESSURE_DIFFERENCE: &[Unit] = &[
    unit("bar", 1e5),
    unit("kPa", 1e3),
    unit("psi", PSI),
    unit("Pa", 1.0),
    unit("MPa", 1e6),
    unit("mbar", 1e2),
    unit("hPa", 1e2),
    unit("inHg", INCH_OF_MERCURY),
];
const STRESS: &[Unit] = &[
    unit("MPa", 1e6),
    unit("Pa", 1.0),
    unit("kPa", 1e3),
    unit("GPa", 1e9),
    unit("N/mm2", 1e6),
    unit("psi", PSI),
    unit("ksi", 1e3 * PSI),
];
const FORCE: &[Unit] = &[
    unit("N", 1.0),
    unit("kN", 1e3),
    unit("mN", 1e-3),
    unit("lbf", POUND_FORCE),
    unit("ozf", POUND_FORCE / 16.0),
    unit("kgf", STANDARD_GRAVITY),
];
const SPEED: &[Unit] = &[
    unit("m/s", 1.0),
    unit("ft/s", FOOT),
    unit("km/h", 1.0 / 3.6),
    unit("mph", 5280.0 * FOOT / 3600.0),
    unit("mm/s", 1e-3),
    unit("in/s", INCH),
];
const ACCELERATION: &[Unit] = &[
    unit("m/s2", 1.0),
    unit("ft/s2", FOOT),
    unit("gn", STANDARD_GRAVITY),
];
const ANGLE: &[Unit] = &[
    unit("deg", DEGREE),
    unit("rad", 1.0),
    unit("turn", 360.0 * DEGREE),
];
const SLEW_TIME: &[Unit] = &[
    unit("s/60deg", 1.0 / (60.0 * DEGREE)),
    unit("ms/60deg", 1e-3 / (60.0 * DEGREE)),
    unit("sec/60deg", 1.0 / (60.0 * DEGREE)),
    unit("s/90deg", 1.0 / (90.0 * DEGREE)),
    unit("s/deg", 1.0 / DEGREE),
    unit("s/rad", 1.0),
    Unit {
        inverse: true,
        ..unit("deg/s", 1.0 / DEGREE)
    },
    Unit {
        inverse: true,
        ..unit("rad/s", 1.0)
    },
];
const STIFFNESS: &[Unit] = &[
    unit("N/m", 1.0),
    unit("kN/m", 1e3),
    unit("N/mm", 1e3),
    unit("lbf/in", POUND_FORCE / INCH),
    unit("lbf/ft", POUND_FORCE / FOOT),
];
const DAMPING: &[Unit] = &[
    unit("N s/m", 1.0),
    unit("kN s/m", 1e3),
    unit("lbf s/in", POUND_FORCE / INCH),
    unit("lbf s/ft", POUND_FORCE / FOOT),
];
const MASS_FLOW: &[Unit] = &[
    unit("g/s", 1e-3),
    unit("kg/s", 1.0),
    unit("g/min", 1e-3 / 60.0),
    unit("g/h", 1e-3 / 3600.0),
    unit("kg/h", 1.0 / 3600.0),
    unit("mg/h", 1e-6 / 3600.0),
    unit("g/day", 1e-3 / 86400.0),
    unit("oz/h", POUND / 16.0 / 3600.0),
    unit("oz/s", POUND / 16.0),
    unit("lb/s", POUND),
    unit("lb/h", POUND / 3600.0),
];
const HEAT_TRANSFER_COEFFICIENT: &[Unit] = &[
    unit("W/(m2 K)", 1.0),
    unit("W/m2/K", 1.0),
    unit("W/m2K", 1.0),
    unit("kW/(m2 K)", 1e3),
    unit(
        "BTU/(h ft2 degF)",
        BTU / (3600.0 * FOOT * FOOT * FAHRENHEIT),
    ),
];
const SPECIFIC_HEAT: &[Unit] = &[
    unit("J/(kg K)", 1.0),
    unit("kJ/(kg K)", 1e3),
    unit("J/(g K)", 1e3),
    unit("J/kg/K", 1.0),
    unit("kJ/kg/K", 1e3),
    unit("BTU/(lb degF)", BTU / (POUND * FAHRENHEIT)),
];
const CONDUCTIVITY: &[Unit] = &[
    unit("W/(m K)", 1.0),
    unit("W/m/K", 1.0),
    unit("W/mK", 1.0),
    unit("BTU/(h ft degF)", BTU / (3600.0 * FOOT * FAHRENHEIT)),
];
const DENSITY: &[Unit] = &[
    unit("kg/m3", 1.0),
    unit("kg/L", 1e3),
    unit("g/L", 1.0),
    unit("g/cm3", 1e3),
    unit("g/mL", 1e3),
    unit("lb/ft3", POUND / (FOOT * FOOT * FOOT)),
    unit("lb/in3", POUND / (INCH * INCH * INCH)),
];
const POWER: &[Unit] = &[unit("W", 1.0), unit("mW", 1e-3), unit("kW", 1e3)];
const IRRADIANCE: &[Unit] = &[unit("W/m2", 1.0), unit("kW/m2", 1e3)];
const VOLTAGE: &[Unit] = &[unit("V", 1.0), unit("mV", 1e-3)];
const KV: &[Unit] = &[unit("m3/h", 1.0), unit("L/min", 0.06)];
const CV: &[Unit] = &[unit("gal/min", 1.0), unit("gpm", 1.0)];
const FRACTION: &[Unit] = &[unit("%", 1e-2), unit("percent", 1e-2), unit("pct", 1e-2)];
const SHARE_PER_KELVIN: &[Unit] = &[unit("%/K", 1e-2), unit("1/K", 1.0)];
const NUMBER: &[Unit] = &[];

/// The units of a dimension; the first ones are the ones to suggest.
pub(super) fn units_of(dimension: Dimension) -> &'static [Unit] {
    match dimension {
        Dimension::Mass => MASS,
        Dimension::Length => LENGTH,
        Dimension::Area => AREA,
        Dimension::Volume => VOLUME,
        Dimension::Time => TIME,
        Dimension::Temperature => TEMPERATURE,
        Dimension::TemperatureDifference => TEMPERATURE_DIFFERENCE,
        Dimension::AbsolutePressure | Dimension::Pressure => PRESSURE,
        Dimension::PressureDifference => PRESSURE_DIFFERENCE,
        Dimension::Stress => STRESS,
        Dimension::Force => FORCE,
        Dimension::Speed => SPEED,
        Dimension::Acceleration => ACCELERATION,
        Dimension::Angle => ANGLE,
        Dimension::SlewTime => SLEW_TIME,
        Dimension::Stiffness => STIFFNESS,
        Dimension::Damping => DAMPING,
        Dimension::MassFlow => MASS_FLOW,
        Dimension::HeatTransferCoefficient => HEAT_TRANSFER_COEFFICIENT,
        Dimension::SpecificHeat => SPECIFIC_HEAT,
        Dimension::Conductivity => CONDUCTIVITY,
        Dimension::Density => DENSITY,
        Dimension::Power => POWER,
        Dimension::Irradiance => IRRADIANCE,
        Dimension::Voltage => VOLTAGE,
        Dimension::FlowCoefficientKv => KV,
        Dimension::FlowCoefficientCv => CV,
        Dimension::Fraction => FRACTION,
        Dimension::SharePerKelvin => SHARE_PER_KELVIN,
        Dimension::Number => NUMBER,
    }
}

/// A unit as compared: no spaces, dots or carets, typographic signs in ASCII.
pub(super) fn normalise(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            ' ' | '\t' | '\u{a0}' | '\u{202f}' | '*' | '\u{b7}' | '\u{22c5}' | '^' => {}
            '\u{b2}' => plain.push('2'),
            '\u{b3}' => plain.push('3'),
            '\u{b5}' | '\u{3bc}' => plain.push('u'),
            '\u{b0}' => plain.push_str("deg"),
            other => plain.push(other),
        }
    }
    plain
}

/// Finds a unit of a dimension by its written form.
pub(super) fn find(dimension: Dimension, written: &str) -> Option<&'static Unit> {
    let wanted = normalise(written);
    units_of(dimension)
        .iter()
        .find(|unit| normalise(unit.symbol) == wanted)
}
