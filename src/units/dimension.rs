//! What kind of quantity a field holds, and the range it may lie in.

/// Kind of quantity. The coherent SI unit of each is given in brackets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Mass [kg].
    Mass,
    /// Length [m].
    Length,
    /// Area [m2].
    Area,
    /// Volume [m3].
    Volume,
    /// Time [s].
    Time,
    /// Thermodynamic temperature [K].
    Temperature,
    /// Difference of two temperatures [K].
    TemperatureDifference,
    /// Pressure that must be written as absolute [Pa].
    AbsolutePressure,
    /// Pressure written as absolute or as gauge, either being clear [Pa].
    Pressure,
    /// Difference of two pressures [Pa].
    PressureDifference,
    /// Mechanical stress or strength of a material [Pa].
    Stress,
    /// Force [N].
    Force,
    /// Speed [m/s].
    Speed,
    /// Acceleration [m/s2].
    Acceleration,
    /// Angle [rad].
    Angle,
    /// Time a servo takes per angle turned [s/rad].
    SlewTime,
    /// Stiffness [N/m].
    Stiffness,
    /// Damping [N s/m].
    Damping,
    /// Mass flow [kg/s].
    MassFlow,
    /// Heat transfer coefficient [W/(m2 K)].
    HeatTransferCoefficient,
    /// Specific heat [J/(kg K)].
    SpecificHeat,
    /// Thermal conductivity [W/(m K)].
    Conductivity,
    /// Density [kg/m3].
    Density,
    /// Power [W].
    Power,
    /// Power per area [W/m2].
    Irradiance,
    /// Electric potential [V].
    Voltage,
    /// Valve flow coefficient Kv [m3/h of water at 1 bar], by custom not coherent.
    FlowCoefficientKv,
    /// Valve flow coefficient Cv [US gal/min of water at 1 psi], by custom not coherent.
    FlowCoefficientCv,
    /// Share of a whole, as a number or in percent [1].
    Fraction,
    /// Share lost or gained per kelvin [1/K].
    SharePerKelvin,
    /// Plain number [1].
    Number,
}

impl Dimension {
    /// Every dimension, in the order in which they are tried when none is named.
    pub const ALL: [Dimension; 31] = [
        Dimension::Mass,
        Dimension::Length,
        Dimension::Area,
        Dimension::Volume,
        Dimension::Time,
        Dimension::Temperature,
        Dimension::TemperatureDifference,
        Dimension::AbsolutePressure,
        Dimension::Pressure,
        Dimension::PressureDifference,
        Dimension::Stress,
        Dimension::Force,
        Dimension::Speed,
        Dimension::Acceleration,
        Dimension::Angle,
        Dimension::SlewTime,
        Dimension::Stiffness,
        Dimension::Damping,
        Dimension::MassFlow,
        Dimension::HeatTransferCoefficient,
        Dimension::SpecificHeat,
        Dimension::Conductivity,
        Dimension::Density,
        Dimension::Power,
        Dimension::Irradiance,
        Dimension::Voltage,
        Dimension::FlowCoefficientKv,
        Dimension::FlowCoefficientCv,
        Dimension::Fraction,
        Dimension::SharePerKelvin,
        Dimension::Number,
    ];

    /// Name with its article, for sentences: "a mass".
    #[must_use]
    pub fn describe(self) -> &'static str {
        match self {
            Dimension::Mass => "a mass",
            Dimension::Length => "a length",
            Dimension::Area => "an area",
            Dimension::Volume => "a volume",
            Dimension::Time => "a time",
            Dimension::Temperature => "a temperature",
            Dimension::TemperatureDifference => "a temperature difference",
            Dimension::AbsolutePressure => "an absolute pressure",
            Dimension::Pressure => "a pressure, absolute or gauge",
            Dimension::PressureDifference => "a pressure difference",
            Dimension::Stress => "a stress",
            Dimension::Force => "a force",
            Dimension::Speed => "a speed",
            Dimension::Acceleration => "an acceleration",
            Dimension::Angle => "an angle",
            Dimension::SlewTime => "a slew time per angle",
            Dimension::Stiffness => "a stiffness",
            Dimension::Damping => "a damping",
            Dimension::MassFlow => "a mass flow",
            Dimension::HeatTransferCoefficient => "a heat transfer coefficient",
            Dimension::SpecificHeat => "a specific heat",
            Dimension::Conductivity => "a thermal conductivity",
            Dimension::Density => "a density",
            Dimension::Power => "a power",
            Dimension::Irradiance => "a power per area",
            Dimension::Voltage => "a voltage",
            Dimension::FlowCoefficientKv => "a flow coefficient Kv",
            Dimension::FlowCoefficientCv => "a flow coefficient Cv",
            Dimension::Fraction => "a fraction",
            Dimension::SharePerKelvin => "a share per kelvin",
            Dimension::Number => "a plain number",
        }
    }

    /// A well-written value.
    #[must_use]
    pub fn example(self) -> &'static str {
        match self {
            Dimension::Mass => "16 g",
            Dimension::Length => "2.4 mm",
            Dimension::Area => "1.5 mm2",
            Dimension::Volume => "22 mL",
            Dimension::Time => "30 ms",
            Dimension::Temperature => "-6 degC",
            Dimension::TemperatureDifference => "5 K",
            Dimension::AbsolutePressure => "58 bara",
            Dimension::Pressure => "5 psig",
            Dimension::PressureDifference => "0.3 bar",
            Dimension::Stress => "66 MPa",
            Dimension::Force => "150 N",
            Dimension::Speed => "12 m/s",
            Dimension::Acceleration => "9.81 m/s2",
            Dimension::Angle => "90 deg",
            Dimension::SlewTime => "0.17 s/60deg",
            Dimension::Stiffness => "5 kN/m",
            Dimension::Damping => "20 N s/m",
            Dimension::MassFlow => "0.2 g/h",
            Dimension::HeatTransferCoefficient => "50 W/(m2 K)",
            Dimension::SpecificHeat => "470 J/(kg K)",
            Dimension::Conductivity => "50 W/(m K)",
            Dimension::Density => "0.75 kg/L",
            Dimension::Power => "2 W",
            Dimension::Irradiance => "800 W/m2",
            Dimension::Voltage => "6 V",
            Dimension::FlowCoefficientKv => "0.25 m3/h",
            Dimension::FlowCoefficientCv => "0.3",
            Dimension::Fraction => "65 %",
            Dimension::SharePerKelvin => "0.5 %/K",
            Dimension::Number => "1.5",
        }
    }

    /// What a spread of this quantity is measured in: a difference for temperatures and
    /// pressures, the same dimension for everything else.
    #[must_use]
    pub fn difference(self) -> Dimension {
        match self {
            Dimension::Temperature => Dimension::TemperatureDifference,
            Dimension::AbsolutePressure | Dimension::Pressure => Dimension::PressureDifference,
            other => other,
        }
    }

    /// Whether a bare number, without a unit, is a complete value.
    #[must_use]
    pub fn allows_bare_number(self) -> bool {
        matches!(
            self,
            Dimension::Fraction
                | Dimension::Number
                | Dimension::FlowCoefficientCv
                | Dimension::FlowCoefficientKv
        )
    }

    /// Whether zero is a physical origin, so that ratios of values make sense as written.
    #[must_use]
    pub fn has_natural_zero(self) -> bool {
        !matches!(self, Dimension::Temperature | Dimension::Pressure)
    }
}

/// Range a value may lie in, in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lowest value.
    pub least: f64,
    /// Whether the lowest value itself is allowed.
    pub least_allowed: bool,
    /// Highest value, itself allowed.
    pub most: f64,
}

impl Limits {
    /// Any finite value.
    pub const ANY: Limits = Limits {
        least: f64::NEG_INFINITY,
        least_allowed: true,
        most: f64::INFINITY,
    };
    /// Above zero.
    pub const POSITIVE: Limits = Limits {
        least: 0.0,
        least_allowed: false,
        most: f64::INFINITY,
    };
    /// Zero or above.
    pub const NOT_NEGATIVE: Limits = Limits {
        least: 0.0,
        least_allowed: true,
        most: f64::INFINITY,
    };
    /// Zero to one.
    pub const UNIT_INTERVAL: Limits = Limits {
        least: 0.0,
        least_allowed: true,
        most: 1.0,
    };
    /// Above zero, up to one.
    pub const POSITIVE_SHARE: Limits = Limits {
        least: 0.0,
        least_allowed: false,
        most: 1.0,
    };

    /// Both ends allowed.
    #[must_use]
    pub const fn between(least: f64, most: f64) -> Limits {
        Limits {
            least,
            least_allowed: true,
            most,
        }
    }

    /// Whether a finite value lies inside.
    #[must_use]
    pub fn contain(&self, value: f64) -> bool {
        value.is_finite()
            && (value > self.least || (self.least_allowed && value == self.least))
            && value <= self.most
    }

    /// The range in words, for a given kind of quantity.
    #[must_use]
    pub fn describe(&self, dimension: Dimension) -> String {
        self.describe_like(dimension, "")
    }

    /// The same in the unit of what is written, where that is another than a metric one.
    #[must_use]
    pub fn describe_like(&self, dimension: Dimension, text: &str) -> String {
        let written = super::DisplayUnit::written(dimension, text);
        let written = written.filter(|unit| !unit.is_everyday(dimension));
        let show = |value: f64| match &written {
            _ if value == 0.0 && dimension.has_natural_zero() => "zero".to_owned(),
            Some(unit) => format!(
                "{} {}",
                super::significant(unit.from_si(value)),
                unit.symbol
            ),
            None => super::format(dimension, value, super::UnitSystem::Metric),
        };
        let (least, most) = (self.least, self.most);
        match (least.is_finite(), self.least_allowed, most.is_finite()) {
            (true, true, true) => format!("from {} to {}", show(least), show(most)),
            (true, false, true) => format!("above {} and at most {}", show(least), show(most)),
            (true, true, false) => format!("{} or more", show(least)),
            (true, false, false) => format!("more than {}", show(least)),
            (false, _, true) => format!("at most {}", show(most)),
            (false, _, false) => "finite".to_owned(),
        }
    }
}
