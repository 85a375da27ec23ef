//! Air as a perfect gas with temperature-dependent specific heat.
//!
//! Law: R = 287.05 J/(kg K); cv(T) = R (5/2 + vibration of N2 and O2 as harmonic oscillators,
//! theta = 3390 K and 2270 K, mole fractions 0.7808 and 0.2095; argon 3/2). Textbook statistical
//! mechanics; characteristic temperatures from memory of standard tables. Gives cp = 1005 J/(kg K)
//! at 300 K. Energy is zero at 0 K for the translational and rotational part.

use std::sync::LazyLock;

use crate::numerics::interpolate::CurveTable;

/// Specific gas constant of air [J/(kg K)].
pub const GAS_CONSTANT: f64 = 287.05;

const NITROGEN: (f64, f64) = (0.7808, 3390.0);
const OXYGEN: (f64, f64) = (0.2095, 2270.0);
const RIGID: f64 = 2.5 - 0.0097; // argon and traces have no rotation

/// Temperatures of 60 .. 1212 K in stretches of 8 K (coldest [K], length [K], number), over each of which what gases
/// do by themselves is a polynomial of degree seven, to round-off (`tests/verification_tables.rs`).
pub(crate) const STRETCHES: (f64, f64, usize) = (60.0, 8.0, 144);

static TABLE: LazyLock<CurveTable<2>> =
    LazyLock::new(|| CurveTable::through(STRETCHES, |temperature| solved(temperature).into()));

/// Specific internal energy [J/kg] and isochoric specific heat [J/(kg K)] at a temperature [K].
#[must_use]
pub fn internal_energy_and_cv(temperature: f64) -> (f64, f64) {
    TABLE
        .at(temperature)
        .map_or_else(|| solved(temperature), Into::into)
}

/// Internal energy [J] and isochoric heat capacity [J/K] of an amount of air [kg], or both per kilogram of something
/// else of a share of air; of none nothing is looked up.
#[inline]
#[must_use]
pub fn energy_and_capacity(amount: f64, temperature: f64) -> (f64, f64) {
    if amount == 0.0 {
        return (0.0, 0.0);
    }
    let (energy, cv) = internal_energy_and_cv(temperature);
    (amount * energy, amount * cv)
}

/// Specific internal energy and heat capacity by the law itself.
#[must_use]
pub fn solved(temperature: f64) -> (f64, f64) {
    let mut energy = RIGID * temperature;
    let mut heat = RIGID;
    for (fraction, theta) in [NITROGEN, OXYGEN] {
        let x = theta / temperature;
        let decay = (-x).exp();
        energy += fraction * theta * decay / (1.0 - decay);
        heat += fraction * x * x * decay / ((1.0 - decay) * (1.0 - decay));
    }
    (GAS_CONSTANT * energy, GAS_CONSTANT * heat)
}

/// Specific enthalpy [J/kg] and isochoric specific heat [J/(kg K)] at a temperature [K].
#[must_use]
pub fn enthalpy_and_cv(temperature: f64) -> (f64, f64) {
    let (energy, cv) = internal_energy_and_cv(temperature);
    (energy + GAS_CONSTANT * temperature, cv)
}

/// Specific enthalpy [J/kg] at a temperature [K].
#[must_use]
pub fn enthalpy(temperature: f64) -> f64 {
    enthalpy_and_cv(temperature).0
}

/// Specific entropy [J/(kg K)] at temperature [K] and density [kg/m3], up to a constant.
#[must_use]
pub fn entropy(temperature: f64, density: f64) -> f64 {
    let mut s = RIGID * temperature.ln();
    for (fraction, theta) in [NITROGEN, OXYGEN] {
        let x = theta / temperature;
        let decay = (-x).exp();
        s += fraction * (x * decay / (1.0 - decay) - (-decay).ln_1p());
    }
    GAS_CONSTANT * (s - density.ln())
}
