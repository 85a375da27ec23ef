//! What a path draws from a vessel, and how it flows.

use crate::flow::discharge_flux::GasMixture;
use crate::flow::near_critical;
use crate::flow::stagnation::{Condensate, Stagnation};
use crate::network::contents::{Co2, Contents};
use crate::network::spec::Draw;
use crate::numerics::smooth_step;
use crate::thermo::flash::mixture;
use crate::thermo::source::PropertySource;
use crate::thermo::{Coexistence, FluidPoint, Line, air};

/// Share of a vessel's volume that its vapour must have to be drawn alone; with less above the liquid it
/// takes liquid along, all the more the less there is. A guess: it joins the draw of a liquid-full vessel
/// to that of vapour. With a jump between them a warm cartridge could go neither way.
const BRIM: f64 = 1e-3;

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
        // Without air nothing of it counts.
        let (air_enthalpy, air_cv) = if air_density > 0.0 {
            air::enthalpy_and_cv(t)
        } else {
            (0.0, 0.0)
        };
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
