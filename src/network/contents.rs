//! What a vessel holds: CO2 in equilibrium (or metastable) and air, from masses, energy, volume.
//!
//! CO2 is at its own density m/V with its own equilibrium; air is a perfect gas at its own partial
//! pressure in the volume that is not dry ice; both share the temperature. Liquid CO2 is taken to
//! dissolve as much air per volume as the gas holds (Ostwald coefficient 1; for nitrogen it is
//! about 1.5-4 between 270 and 250 K, from memory of vapour-liquid equilibrium data), which keeps
//! the model continuous up to a liquid-full vessel. The cross-virial coefficient is neglected:
//! with B12 near -40 cm3/mol at 270 K (from memory) that is 2 B12 n1 n2 R T / V^2, under 1 % of
//! the pressure of a 5 bar mixture.

mod newton;

use crate::network::NetworkError;
use crate::network::spec::Condensation;
use crate::thermo::coexistence::triple_point;
use crate::thermo::flash::{Companion, at_density_energy_with};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;
use crate::thermo::{
    Coexistence, FluidPoint, HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE, Phase, State, air,
};

/// Least mass of CO2 that is looked at as a fluid [kg]; less is empty space.
const NO_CO2: f64 = 1e-13;

/// Largest change of a temperature expected from the last evaluation, as a share of it.
const LONGEST_STRIDE: f64 = 0.05;

/// The state of a vessel's contents.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contents {
    /// Temperature [K].
    pub temperature: f64,
    /// Total absolute pressure [Pa].
    pub pressure: f64,
    /// Pressure of the CO2 [Pa].
    pub co2_pressure: f64,
    /// Mass per volume of air where there is gas or liquid [kg/m3].
    pub air_density: f64,
    /// Mass of air [kg].
    pub air_mass: f64,
    /// Mass of CO2 [kg].
    pub co2_mass: f64,
    /// Dry ice [kg].
    pub solid_mass: f64,
    /// Liquid below the critical temperature, saturated or compressed [kg].
    pub liquid_mass: f64,
    /// Volume of the vessel [m3].
    pub volume: f64,
    /// The CO2 by itself; `None` where there is none.
    pub co2: Option<Co2>,
}

/// The CO2 of a vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Co2 {
    /// Equilibrium state (or metastable single phase) at m/V.
    pub state: State,
    /// The line it lies on, with two or three phases; on the triple line the vapour-pressure line.
    pub line: Option<Coexistence>,
    /// The vapour, or the single phase.
    pub fluid: FluidPoint,
}

struct Air {
    ratio: f64,
}

impl Companion for Air {
    fn energy(&self, temperature: f64) -> (f64, f64) {
        air::energy_and_capacity(self.ratio, temperature)
    }
}

impl Contents {
    /// From mass of CO2 and air [kg], energy [J], volume [m3], and a temperature to start from [K].
    ///
    /// A mass below zero, which an integration leaves behind within its tolerance, counts as none:
    /// nothing of it can be drawn, so it cannot grow.
    ///
    /// # Errors
    /// A state outside the model: empty, negative, too cold or too hot, too dense.
    pub fn new(
        properties: &impl PropertySource,
        condensation: Condensation,
        (co2_mass, air_mass): (f64, f64),
        energy: f64,
        volume: f64,
        guess: f64,
    ) -> Result<Self, NetworkError> {
        let finite = co2_mass.is_finite() && air_mass.is_finite() && energy.is_finite();
        if !finite || volume <= 0.0 {
            return Err(NetworkError::Impossible {
                co2_mass,
                air_mass,
                energy,
                volume,
            });
        }
        let air_mass = air_mass.max(0.0);
        if co2_mass <= NO_CO2 {
            return Self::only_air(air_mass, energy, volume, guess);
        }
        let density = co2_mass / volume;
        let ratio = air_mass / co2_mass;
        if condensation == Condensation::Equilibrium
            && let Some((state, line)) =
                newton::along_line(properties, density, energy / co2_mass, ratio, guess)
        {
            let co2 = Co2 {
                state,
                fluid: properties.vapour(&line),
                line: Some(line),
            };
            return Ok(Self::assemble(co2_mass, air_mass, volume, co2));
        }
        if let Some(gas) = newton::of_gas(
            properties,
            condensation,
            density,
            energy / co2_mass,
            ratio,
            guess,
        ) {
            let state = State::single(gas, Phase::Gas);
            return Ok(Self::assemble(
                co2_mass,
                air_mass,
                volume,
                Co2 {
                    state,
                    line: None,
                    fluid: gas,
                },
            ));
        }
        if condensation == Condensation::Metastable {
            return Err(NetworkError::Metastable {
                density,
                energy: energy / co2_mass,
            });
        }
        let state = at_density_energy_with(
            properties,
            density,
            energy / co2_mass,
            &Air { ratio },
            Some(guess),
        )?;
        let co2 = match state.fluid {
            Some(fluid) => Co2 {
                state,
                line: None,
                fluid,
            },
            None => {
                let line = match state.phase {
                    Phase::SolidVapour => properties.sublimation(state.temperature)?,
                    Phase::LiquidVapour | Phase::SolidLiquidVapour => {
                        properties.saturation(state.temperature)?
                    }
                    _ => {
                        return Err(NetworkError::Frozen {
                            temperature: state.temperature,
                            pressure: state.pressure,
                        });
                    }
                };
                let fluid = properties.vapour(&line);
                Co2 {
                    state,
                    line: Some(line),
                    fluid,
                }
            }
        };
        Ok(Self::assemble(co2_mass, air_mass, volume, co2))
    }

    /// Temperature [K] to first order once CO2 [kg], air [kg], energy [J] and volume [m3] are no longer
    /// `before`, with which these contents were made, but `after`; where a search for it best begins.
    #[must_use]
    pub fn temperature_after(&self, before: &[f64; 4], after: &[f64; 4]) -> f64 {
        let t = self.temperature;
        let Some(co2) = &self.co2 else { return t };
        let ([m0, a0, u0, v0], [m, a, u, v]) = (before, after);
        let (air_brought, _) = air::energy_and_capacity(a - a0, t);
        let (_, air_capacity) = air::energy_and_capacity(a0.max(0.0), t);
        let state = &co2.state;
        let dp_dt = co2
            .line
            .as_ref()
            .map_or(co2.fluid.dp_dt, |line| line.pressure_slope);
        // At constant temperature du = (p - T dp/dT) d(rho)/rho^2.
        let by_density = (state.pressure - t * dp_dt) / (state.density * state.density);
        let brought =
            (m - m0) * state.internal_energy + air_brought + m0 * by_density * (m / v - m0 / v0);
        // Endless on the triple line, where the temperature does not change.
        let capacity = m0 * state.equilibrium_cv + air_capacity;
        let rise = (u - u0 - brought) / capacity;
        let found = t + rise.clamp(-LONGEST_STRIDE * t, LONGEST_STRIDE * t);
        if rise.is_finite() { found } else { t }
    }

    fn only_air(air_mass: f64, energy: f64, volume: f64, guess: f64) -> Result<Self, NetworkError> {
        if air_mass <= 0.0 {
            // A vacuum: any temperature will do.
            return Ok(Self::without_co2(guess, 0.0, volume));
        }
        let mut t = guess;
        for _ in 0..50 {
            let (u, cv) = air::internal_energy_and_cv(t);
            let step = (energy / air_mass - u) / cv;
            t = (t + step).clamp(20.0, 5000.0);
            if step.abs() < 1e-12 * t {
                break;
            }
        }
        if !(LOWEST_TEMPERATURE..=HIGHEST_TEMPERATURE).contains(&t) {
            return Err(NetworkError::Temperature { temperature: t });
        }
        Ok(Self::without_co2(t, air_mass, volume))
    }

    fn without_co2(temperature: f64, air_mass: f64, volume: f64) -> Self {
        let air_density = air_mass / volume;
        Self {
            temperature,
            pressure: air_density * air::GAS_CONSTANT * temperature,
            co2_pressure: 0.0,
            air_density,
            air_mass,
            co2_mass: 0.0,
            solid_mass: 0.0,
            liquid_mass: 0.0,
            volume,
            co2: None,
        }
    }

    fn assemble(co2_mass: f64, air_mass: f64, volume: f64, co2: Co2) -> Self {
        let state = &co2.state;
        let solid_mass = state.solid_fraction * co2_mass;
        let liquid_mass = state.liquid_fraction.unwrap_or(0.0) * co2_mass;
        let ice = match (&co2.line, state.phase) {
            (Some(line), Phase::SolidVapour) => solid_mass * line.heavy.volume,
            (_, Phase::SolidLiquidVapour) => {
                solid_mass * triple_point().map_or(0.0, |triple| triple.solid.volume)
            }
            _ => 0.0,
        };
        let air_density = air_mass / (volume - ice).max(1e-3 * volume);
        Self {
            temperature: state.temperature,
            pressure: state.pressure + air_density * air::GAS_CONSTANT * state.temperature,
            co2_pressure: state.pressure,
            air_density,
            air_mass,
            co2_mass,
            solid_mass,
            liquid_mass,
            volume,
            co2: Some(co2),
        }
    }

    /// Share of the volume not taken by the liquid of liquid and vapour.
    #[must_use]
    pub fn gas_share(&self) -> f64 {
        let line = self.co2.as_ref().and_then(|c| c.line.as_ref());
        line.map_or(1.0, |line| {
            1.0 - self.liquid_mass * line.heavy.volume / self.volume
        })
    }

    /// The air outside as contents of an endless vessel.
    #[must_use]
    pub fn ambient_air(pressure: f64, temperature: f64) -> Self {
        Self {
            temperature,
            pressure,
            co2_pressure: 0.0,
            air_density: pressure / (air::GAS_CONSTANT * temperature),
            air_mass: f64::INFINITY,
            co2_mass: 0.0,
            solid_mass: 0.0,
            liquid_mass: 0.0,
            volume: f64::INFINITY,
            co2: None,
        }
    }

    /// Empty space.
    pub(super) const fn nothing() -> Self {
        Self {
            temperature: 0.0,
            pressure: 0.0,
            co2_pressure: 0.0,
            air_density: 0.0,
            air_mass: 0.0,
            co2_mass: 0.0,
            solid_mass: 0.0,
            liquid_mass: 0.0,
            volume: 0.0,
            co2: None,
        }
    }

    /// Whether the CO2 is one dense phase: what leaves is the bulk fluid.
    #[must_use]
    pub fn is_dense_single_phase(&self) -> bool {
        self.co2
            .as_ref()
            .is_some_and(|c| c.line.is_none() && c.state.density > co2::CRITICAL_DENSITY)
    }

    /// Whether there is nothing near one dense phase: a vapour fraction of at least `far`, or a density below the
    /// critical one by that share.
    #[must_use]
    pub fn is_far_from_one_dense_phase(&self, far: f64) -> bool {
        self.co2.as_ref().is_none_or(|c| match c.line {
            Some(_) => c.state.vapour_fraction.is_some_and(|x| x > far),
            None => c.state.density < (1.0 - far) * co2::CRITICAL_DENSITY,
        })
    }

    /// Positive while the CO2 is one phase denser than saturated, negative with vapour beside it;
    /// continuous through zero.
    pub fn single_phase_margin(
        &self,
        properties: &impl PropertySource,
    ) -> Result<f64, NetworkError> {
        let Some(c) = &self.co2 else { return Ok(-1.0) };
        if c.line.is_some() {
            return Ok(-c.state.vapour_fraction.unwrap_or(1.0));
        }
        if c.state.density < co2::CRITICAL_DENSITY {
            return Ok(-1.0);
        }
        let limit = if c.state.temperature < co2::CRITICAL_TEMPERATURE {
            properties
                .saturation(c.state.temperature.max(co2::TRIPLE_TEMPERATURE))?
                .pressure
        } else {
            co2::CRITICAL_PRESSURE
        };
        Ok((c.state.pressure / limit - 1.0).max(1e-300))
    }
}
