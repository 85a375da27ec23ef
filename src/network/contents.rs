//! What a vessel holds: CO2 in equilibrium (or metastable) and air, from masses, energy, volume.
//!
//! CO2 is at its own density m/V with its own equilibrium; air is a perfect gas at its own partial
//! pressure in the volume that is not dry ice; both share the temperature. Liquid CO2 is taken to
//! dissolve as much air per volume as the gas holds (Ostwald coefficient 1; for nitrogen it is
//! about 1.5-4 between 270 and 250 K, from memory of vapour-liquid equilibrium data), which keeps
//! the model continuous up to a liquid-full vessel. The cross-virial coefficient is neglected:
//! with B12 near -40 cm3/mol at 270 K (from memory) that is 2 B12 n1 n2 R T / V^2, under 1 % of
//! the pressure of a 5 bar mixture.

use crate::flow::discharge_flux::GasMixture;
use crate::flow::near_critical;
use crate::flow::stagnation::{Condensate, Stagnation};
use crate::network::NetworkError;
use crate::network::spec::{Condensation, Draw};
use crate::numerics::smooth_step;
use crate::thermo::flash::{Companion, at_density_energy_with, mixture};
use crate::thermo::source::PropertySource;
use crate::thermo::{
    Coexistence, FluidPoint, HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE, Line, Phase, State, air,
};

/// Least mass of CO2 that is looked at as a fluid [kg]; less is empty space.
const NO_CO2: f64 = 1e-13;

/// Share of a vessel's volume that its vapour must have to be drawn alone; with less above the liquid it
/// takes liquid along, all the more the less there is. A guess: it joins the draw of a liquid-full vessel
/// to that of vapour. With a jump between them a warm cartridge could go neither way.
const BRIM: f64 = 1e-3;

/// Largest change of a temperature expected from the last evaluation, as a share of it.
const LONGEST_STRIDE: f64 = 0.05;

/// A Newton step, as a share of the temperature, so short that what changes along it is a straight line to
/// round-off: no further point is needed. With properties from tables, which are no better, second
/// derivatives may be off by as much.
const SHORT: f64 = 1e-8;
const SHORT_BY_TABLES: f64 = 1e-7;
/// The same of a gas, whose properties bend less than lines do.
const SHORT_OF_GAS: f64 = 1e-6;
/// The same as a share of this many times the distance to the critical temperature, where lines bend.
const TAME: f64 = 10.0;

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
        let (u, cv) = air::internal_energy_and_cv(temperature);
        (self.ratio * u, self.ratio * cv)
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
                line_newton(properties, density, energy / co2_mass, ratio, guess)
        {
            let co2 = Co2 {
                state,
                fluid: properties.vapour(&line),
                line: Some(line),
            };
            return Ok(Self::assemble(co2_mass, air_mass, volume, co2));
        }
        if let Some(gas) = gas_newton(
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
        let (air_energy, air_cv) = air::internal_energy_and_cv(t);
        let state = &co2.state;
        let dp_dt = co2
            .line
            .as_ref()
            .map_or(co2.fluid.dp_dt, |line| line.pressure_slope);
        // At constant temperature du = (p - T dp/dT) d(rho)/rho^2.
        let by_density = (state.pressure - t * dp_dt) / (state.density * state.density);
        let brought = (m - m0) * state.internal_energy
            + (a - a0) * air_energy
            + m0 * by_density * (m / v - m0 / v0);
        // Endless on the triple line, where the temperature does not change.
        let capacity = m0 * state.equilibrium_cv + a0.max(0.0) * air_cv;
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
            (_, Phase::SolidLiquidVapour) => solid_mass / 1545.0,
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

    /// What leaves by a draw; `bulk` draws the whole contents whatever the phases (a charge that
    /// was a single dense phase a moment ago).
    #[must_use]
    pub fn stream(&self, properties: &impl PropertySource, draw: Draw, bulk: bool) -> Stream {
        let Some(co2) = &self.co2 else {
            return Stream::of_gas(self, None);
        };
        let (Some(line), false) = (&co2.line, bulk) else {
            if co2.line.is_some() {
                return self.whole(properties, co2);
            }
            return Stream::of_gas(self, Some(&co2.fluid));
        };
        match draw {
            Draw::Vapour if line.line == Line::Saturation => {
                let gas_share = self.gas_share();
                if gas_share >= BRIM {
                    return Stream::of_gas(self, Some(&co2.fluid));
                }
                let x = co2.state.vapour_fraction.unwrap_or(1.0);
                let share = smooth_step(gas_share / BRIM);
                self.of_quality(properties, co2, line, x + share * (1.0 - x))
            }
            Draw::Vapour => Stream::of_gas(self, Some(&co2.fluid)),
            Draw::Liquid if self.liquid_mass > 0.0 && line.line == Line::Saturation => {
                let stagnation = Stagnation::liquid(properties, line);
                let volume = line.heavy.volume;
                let air_part = self.air_density * volume;
                let liquid = near_critical::condensate(properties, line.temperature, volume);
                Stream::new(self, stagnation, air_part / (1.0 + air_part), 0.0, liquid)
            }
            Draw::Liquid => Stream::of_gas(self, Some(&co2.fluid)),
            Draw::Mixed => self.whole(properties, co2),
        }
    }

    /// Liquid and vapour of a line with a vapour fraction of their own, and the air in both.
    fn of_quality(
        &self,
        properties: &impl PropertySource,
        co2: &Co2,
        line: &Coexistence,
        quality: f64,
    ) -> Stream {
        let liquid = line.heavy.volume;
        let density = 1.0 / (liquid + quality * (line.light.volume - liquid));
        let state = mixture(line, density);
        let stagnation = Stagnation::mixture(properties, &state, co2.fluid);
        let air_part = self.air_density / density;
        let air_fraction = air_part / (1.0 + air_part);
        Stream::new(
            self,
            stagnation,
            air_fraction,
            quality,
            stagnation.condensed(),
        )
    }

    fn whole(&self, properties: &impl PropertySource, co2: &Co2) -> Stream {
        let stagnation = Stagnation::mixture(properties, &co2.state, co2.fluid);
        let x = co2.state.vapour_fraction.unwrap_or(1.0);
        let air_fraction = self.air_mass / (self.air_mass + self.co2_mass);
        Stream::new(self, stagnation, air_fraction, x, stagnation.condensed())
    }
}

/// The share of the temperature below which a Newton step is the last.
fn short<P: PropertySource>(_: &P) -> f64 {
    if P::CHEAP { SHORT_BY_TABLES } else { SHORT }
}

fn short_of_gas<P: PropertySource>(_: &P) -> f64 {
    if P::CHEAP { SHORT_OF_GAS } else { SHORT }
}

/// Share by which a density may lie outside a line's two on the way to the temperature. Whether contents
/// are in two phases is decided there, so that it does not depend on where the search began: a vessel
/// that fills up would be in two phases or one as its last evaluation was.
const NEAR: f64 = 0.02;

/// Newton along the vapour-pressure or the sublimation line, for contents that were in two phases at
/// the temperature to start from; `None` if they are not, or if the triple point comes between.
fn line_newton(
    properties: &impl PropertySource,
    density: f64,
    energy: f64,
    ratio: f64,
    guess: f64,
) -> Option<(State, Coexistence)> {
    use crate::thermo::fluids::carbon_dioxide as co2;
    let above = guess > co2::TRIPLE_TEMPERATURE;
    let mut t = guess;
    for _ in 0..10 {
        let on_line = if above {
            t > co2::TRIPLE_TEMPERATURE && t < co2::CRITICAL_TEMPERATURE - 0.1
        } else {
            t < co2::TRIPLE_TEMPERATURE && t > LOWEST_TEMPERATURE
        };
        if !on_line {
            return None;
        }
        let line = if above {
            properties.saturation(t)
        } else {
            properties.sublimation(t)
        }
        .ok()?;
        let (light, heavy) = (line.light.density(), line.heavy.density());
        if density <= (1.0 - NEAR) * light || density >= (1.0 + NEAR) * heavy {
            return None;
        }
        let lever = line.lever(1.0 / density);
        let (u, cv) = air::internal_energy_and_cv(t);
        let step = (energy - lever.internal_energy - ratio * u) / (lever.cv + ratio * cv);
        if step.abs() < short(properties) * t.min(TAME * (co2::CRITICAL_TEMPERATURE - t)) {
            let line = line.nearby(step);
            let (light, heavy) = (line.light.density(), line.heavy.density());
            let two_phase = density > light && density < heavy;
            return two_phase.then(|| (mixture(&line, density), line));
        }
        t += step;
    }
    None
}

/// Newton for a single gas phase, the common case of a bay; `None` if it is not one.
fn gas_newton(
    properties: &impl PropertySource,
    condensation: Condensation,
    density: f64,
    energy: f64,
    ratio: f64,
    guess: f64,
) -> Option<FluidPoint> {
    let metastable = condensation == Condensation::Metastable;
    if density > 300.0 {
        return None;
    }
    let mut t = guess;
    for _ in 0..12 {
        if !(LOWEST_TEMPERATURE..=HIGHEST_TEMPERATURE).contains(&t) {
            return None;
        }
        let point = properties.fluid(t, density);
        let (u, cv) = air::internal_energy_and_cv(t);
        let slope = point.cv + ratio * cv;
        if slope <= 0.0 {
            return None;
        }
        let step = (energy - point.internal_energy - ratio * u) / slope;
        if step.abs() < short_of_gas(properties) * t {
            let found = point.nearby(step);
            let gas = metastable || is_gas(properties, found.temperature, density);
            return gas.then_some(found);
        }
        t += step;
    }
    None
}

fn is_gas(properties: &impl PropertySource, temperature: f64, density: f64) -> bool {
    use crate::thermo::fluids::carbon_dioxide as co2;
    if properties
        .surely_gas_below(temperature)
        .is_some_and(|limit| density < limit)
    {
        return true;
    }
    let line = if temperature < co2::TRIPLE_TEMPERATURE {
        properties.sublimation(temperature)
    } else if temperature < co2::CRITICAL_TEMPERATURE {
        properties.saturation(temperature)
    } else {
        return true;
    };
    line.is_ok_and(|line| density < line.light.density())
}

/// What a path draws from a vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stream {
    /// The CO2 of the stream; `None` for air alone.
    pub stagnation: Option<Stagnation>,
    /// Mass fraction of air.
    pub air_fraction: f64,
    /// Specific enthalpy of the stream [J/kg].
    pub enthalpy: f64,
    /// Stagnation pressure [Pa].
    pub pressure: f64,
    /// Share of air in the pressure.
    pub air_pressure_share: f64,
    /// The stream as a gas with condensed dust.
    pub gas: GasMixture,
    /// Density of the stream [kg/m3].
    pub density: f64,
}

impl Stream {
    /// Gas (or a single phase) with the air that shares its volume.
    fn of_gas(contents: &Contents, fluid: Option<&FluidPoint>) -> Self {
        let air_density = contents.air_density;
        match fluid {
            Some(point) => {
                let air_fraction = air_density / (air_density + point.density);
                let mut stagnation = Stagnation::single(*point);
                stagnation.pressure = contents.co2_pressure;
                stagnation.saturated = contents.co2.is_some_and(|c| c.line.is_some());
                Self::new(contents, stagnation, air_fraction, 1.0, Condensate::NONE)
            }
            None => {
                let t = contents.temperature;
                let (air_enthalpy, air_cv) = air::enthalpy_and_cv(t);
                Self {
                    stagnation: None,
                    air_fraction: 1.0,
                    enthalpy: air_enthalpy,
                    pressure: contents.pressure,
                    air_pressure_share: 1.0,
                    gas: GasMixture {
                        pressure: contents.pressure,
                        gas_density: air_density,
                        exponent: exponent(None, air_density, t, air_cv),
                        gas_fraction: 1.0,
                        condensed: Condensate::NONE,
                    },
                    density: air_density,
                }
            }
        }
    }

    /// A stream of CO2 with air: `quality` is the vapour fraction of its CO2.
    fn new(
        contents: &Contents,
        stagnation: Stagnation,
        air_fraction: f64,
        quality: f64,
        condensed: Condensate,
    ) -> Self {
        let air_density = contents.air_density;
        let t = contents.temperature;
        let co2_enthalpy = stagnation.enthalpy;
        let (air_enthalpy, air_cv) = air::enthalpy_and_cv(t);
        let enthalpy = (1.0 - air_fraction) * co2_enthalpy + air_fraction * air_enthalpy;
        let fluid = contents.co2.as_ref().map(|c| &c.fluid);
        let gas_density = fluid.map_or(0.0, |p| p.density) + air_density;
        // The air dissolved in liquid goes with the liquid.
        let gas_part = fluid.map_or(1.0, |p| quality * gas_density / p.density);
        let gas = GasMixture {
            pressure: contents.pressure,
            gas_density,
            exponent: exponent(fluid, air_density, t, air_cv),
            gas_fraction: ((1.0 - air_fraction) * gas_part).min(1.0),
            condensed,
        };
        let density = stagnation.density / (1.0 - air_fraction);
        Self {
            stagnation: Some(stagnation),
            air_fraction,
            enthalpy,
            pressure: contents.pressure,
            air_pressure_share: 1.0 - contents.co2_pressure / contents.pressure,
            gas,
            density,
        }
    }
}

/// Isentropic exponent rho w^2/p at frozen composition of CO2, if any, with air of a density [kg/m3] and specific
/// heat [J/(kg K)].
fn exponent(fluid: Option<&FluidPoint>, air_density: f64, temperature: f64, air_cv: f64) -> f64 {
    let Some(point) = fluid else {
        return 1.0 + air::GAS_CONSTANT / air_cv;
    };
    let air_dp_dt = air_density * air::GAS_CONSTANT;
    let density = point.density + air_density;
    let y = point.density / density;
    let dp_drho = y * point.dp_drho + (1.0 - y) * air::GAS_CONSTANT * temperature;
    let dp_dt = point.dp_dt + air_dp_dt;
    let cv = y * point.cv + (1.0 - y) * air_cv;
    let w2 = dp_drho + temperature * dp_dt * dp_dt / (density * density * cv);
    density * w2 / (point.pressure + air_dp_dt * temperature)
}

impl Contents {
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
        use crate::thermo::fluids::carbon_dioxide as co2;
        self.co2
            .as_ref()
            .is_some_and(|c| c.line.is_none() && c.state.density > co2::CRITICAL_DENSITY)
    }

    /// Whether there is nothing near one dense phase: a vapour fraction of at least `far`, or a density below the
    /// critical one by that share.
    #[must_use]
    pub fn is_far_from_one_dense_phase(&self, far: f64) -> bool {
        use crate::thermo::fluids::carbon_dioxide as co2;
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
        use crate::thermo::fluids::carbon_dioxide as co2;
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
