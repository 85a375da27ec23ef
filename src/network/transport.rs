//! Viscosity and conductivity of CO2 vapour and of air, for the films at a vessel's shell.
//!
//! Power laws through handbook values at 300 K (from memory): good to about 5 % between 200 and 350 K,
//! which is far better than the correlations they feed. Between 60 and 1212 K they are read from
//! polynomials of degree seven, which follow them to round-off (`tests/verification_tables.rs`).

use std::sync::LazyLock;

use crate::numerics::interpolate::CurveTable;
use crate::thermo::air::STRETCHES;

/// Transport properties of a gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transport {
    /// Viscosity [Pa s].
    pub viscosity: f64,
    /// Thermal conductivity [W/(m K)].
    pub conductivity: f64,
}

/// Values at 300 K and the powers of the temperature they go with.
struct Law {
    at_reference: Transport,
    powers: (f64, f64),
}

const REFERENCE: f64 = 300.0;

const CO2: Law = Law {
    at_reference: Transport {
        viscosity: 14.9e-6,
        conductivity: 16.6e-3,
    },
    powers: (0.93, 1.35),
};

const AIR: Law = Law {
    at_reference: Transport {
        viscosity: 18.5e-6,
        conductivity: 26.3e-3,
    },
    powers: (0.76, 0.86),
};

impl Law {
    fn at(&self, temperature: f64) -> Transport {
        let x = (temperature / REFERENCE).ln();
        Transport {
            viscosity: self.at_reference.viscosity * (self.powers.0 * x).exp(),
            conductivity: self.at_reference.conductivity * (self.powers.1 * x).exp(),
        }
    }
}

/// CO2 vapour at a temperature [K]: 14.9e-6 Pa s and 16.6e-3 W/(m K) at 300 K (from memory of handbook tables).
#[must_use]
pub fn co2(temperature: f64) -> Transport {
    CO2.at(temperature)
}

/// Air at a temperature [K]: 18.5e-6 Pa s and 26.3e-3 W/(m K) at 300 K (from memory of handbook tables).
#[must_use]
pub fn air(temperature: f64) -> Transport {
    AIR.at(temperature)
}

static TABLE: LazyLock<CurveTable<4>> = LazyLock::new(|| {
    CurveTable::through(STRETCHES, |temperature| {
        let (co2, air) = (co2(temperature), air(temperature));
        [
            co2.viscosity,
            co2.conductivity,
            air.viscosity,
            air.conductivity,
        ]
    })
});

/// CO2 vapour and air at a temperature [K], from the tables where they reach.
#[must_use]
pub fn both(temperature: f64) -> (Transport, Transport) {
    let Some([mu_co2, k_co2, mu_air, k_air]) = TABLE.at(temperature) else {
        return (co2(temperature), air(temperature));
    };
    let of = |viscosity, conductivity| Transport {
        viscosity,
        conductivity,
    };
    (of(mu_co2, k_co2), of(mu_air, k_air))
}
