//! Heat between a shell and what it holds, and between the shell and the air outside.
//!
//! The shell is one lumped mass; inner film (pool boiling, natural convection or a stirring jet) and
//! half the wall's conduction resistance are in series. What the gases conduct is in
//! [`transport`].

use std::sync::LazyLock;

use crate::network::contents::Contents;
use crate::network::spec::{InsideHeat, OutsideHeat, Wall};
use crate::network::transport::{self, Transport};
use crate::numerics::interpolate::CurveTable;
use crate::numerics::smooth_step;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;
use crate::thermo::{FluidPoint, Line, air};

/// Standard gravity [m/s2].
pub const GRAVITY: f64 = 9.806_65;

/// Isobaric heat capacity of air [J/(kg K)].
const AIR_CP: f64 = 1005.0;

/// Average Nusselt number of a vertical plate in natural convection.
///
/// Law: Nu = {0.825 + 0.387 Ra^(1/6) / [1 + (0.492/Pr)^(9/16)]^(8/27)}^2,
/// S. W. Churchill and H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1323, all Ra.
#[must_use]
pub fn churchill_chu_plate(rayleigh: f64, prandtl: f64) -> f64 {
    churchill_chu(PLATE.0, churchill_chu_factor(PLATE.1, prandtl), rayleigh)
}

/// Average Nusselt number of a horizontal cylinder in natural convection.
///
/// Law: Nu = {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}^2, the same authors,
/// Int. J. Heat Mass Transfer 18 (1975) 1049, Ra < 1e12.
#[must_use]
pub fn churchill_chu_cylinder(rayleigh: f64, prandtl: f64) -> f64 {
    churchill_chu(
        CYLINDER.0,
        churchill_chu_factor(CYLINDER.1, prandtl),
        rayleigh,
    )
}

/// What differs between the two laws: the root of the least Nusselt number, and what is divided by Pr.
const PLATE: (f64, f64) = (0.825, 0.492);
const CYLINDER: (f64, f64) = (0.60, 0.559);

fn churchill_chu(least: f64, factor: f64, rayleigh: f64) -> f64 {
    (least + factor * rayleigh.max(0.0).powf(1.0 / 6.0)).powi(2)
}

/// The factor of Ra^(1/6).
fn churchill_chu_factor(divided: f64, prandtl: f64) -> f64 {
    0.387 / (1.0 + (divided / prandtl).powf(9.0 / 16.0)).powf(8.0 / 27.0)
}

/// The same of the plate, from a table where it reaches.
fn plate_factor(prandtl: f64) -> f64 {
    static TABLE: LazyLock<CurveTable<1>> = LazyLock::new(|| {
        CurveTable::through(PRANDTL, |prandtl| [churchill_chu_factor(PLATE.1, prandtl)])
    });
    let known = TABLE.at(prandtl);
    known.map_or_else(|| churchill_chu_factor(PLATE.1, prandtl), |[factor]| factor)
}

/// Prandtl numbers of gases up to those near the critical point: lowest, length and number of the stretches of the table.
const PRANDTL: (f64, f64, usize) = (0.4, 0.1, 56);

/// Logarithm of the nucleate boiling heat flux [W/m2] of CO2 at a reduced pressure, a roughness [m] and a superheat of
/// one kelvin; at another it grows with that to the power of [`COOPER_POWER`].
///
/// Law: h = 55 pr^(0.12 - 0.2 log10 Rp) (-log10 pr)^-0.55 M^-0.5 q^0.67, Rp in micrometres, M in
/// g/mol, q = h dT. Source: M. G. Cooper, Adv. Heat Transfer 16 (1984) 157. Range 0.001 < pr < 0.9,
/// held at the ends.
fn cooper_log_flux(reduced_pressure: f64, roughness: f64) -> f64 {
    let log_pressure = reduced_pressure.clamp(0.001, 0.9).ln();
    let exponent = 0.12 - 0.2 * (roughness * 1e6).log10();
    let factor = 55.0 / (co2::MOLAR_MASS * 1e3).sqrt();
    COOPER_POWER
        * (factor.ln() + exponent * log_pressure
            - 0.55 * (-log_pressure * std::f64::consts::LOG10_E).ln())
}

/// Critical heat flux of pool boiling [W/m2].
///
/// Law: q = 0.131 h_fg rho_v^0.5 [sigma g (rho_l - rho_v)]^0.25, N. Zuber, AECU-4439 (1959).
/// h_fg [J/kg], densities [kg/m3], sigma [N/m], g [m/s2].
#[must_use]
pub fn zuber_critical_flux(
    latent: f64,
    liquid_density: f64,
    vapour_density: f64,
    surface_tension: f64,
    gravity: f64,
) -> f64 {
    let buoyancy = surface_tension * gravity * (liquid_density - vapour_density).max(0.0);
    0.131 * latent * vapour_density.sqrt() * buoyancy.sqrt().sqrt()
}

/// Surface tension of CO2 [N/m]: 0.0799 (1 - T/Tc)^1.262 (from memory; 0.0012 at 293 K, 0.0166 at
/// the triple point).
#[must_use]
pub fn surface_tension(temperature: f64) -> f64 {
    0.0799
        * (1.0 - temperature / co2::CRITICAL_TEMPERATURE)
            .max(0.0)
            .powf(1.262)
}

/// Heat from the shell to the contents [W] at a shell temperature [K]; `stirring` [kg m/s2] is the
/// momentum flow of the jets that enter.
#[must_use]
pub fn to_contents(
    properties: &impl PropertySource,
    wall: &Wall,
    wall_temperature: f64,
    contents: &Contents,
    stirring: f64,
) -> f64 {
    let difference = wall_temperature - contents.temperature;
    let half_wall = 0.5 * wall.conduction_resistance;
    let through = |conductance: f64| difference / (1.0 / conductance.max(1e-12) + half_wall);
    let liquid = overflowing(properties, contents);
    // What the gas does to the wall, or in a vessel full to the brim the liquid.
    let convection = |law: &dyn Fn(Film) -> f64| {
        let gas = law(Film::of(contents, contents.co2.as_ref().map(|c| &c.fluid)));
        match &liquid {
            None => gas,
            Some((share, point)) => gas + share * (law(Film::of(contents, Some(point))) - gas),
        }
    };
    match wall.inside {
        InsideHeat::Coefficient(h) => through(h * wall.inner_area),
        InsideHeat::NaturalConvection { height, gravity } => {
            let h = convection(&|film| film.natural_convection(difference, height, gravity));
            through(h * wall.inner_area)
        }
        InsideHeat::StirredJet { diameter } => {
            let h = convection(&|film| film.jet_convection(stirring, diameter));
            through(h * wall.inner_area)
        }
        InsideHeat::Boiling {
            roughness,
            area_factor,
            height,
            gravity,
        } => {
            let gas = convection(&|film| film.natural_convection(difference, height, gravity));
            let boils = 1.0 - liquid.map_or(0.0, |(share, _)| share);
            let wet = boils * wet_share(contents) * area_factor;
            let dry = through(gas * wall.inner_area * (1.0 - wet));
            if wet <= 0.0 || difference <= 0.0 {
                return through(gas * wall.inner_area);
            }
            dry + boiling(
                contents,
                roughness,
                gravity,
                difference,
                half_wall,
                wet * wall.inner_area,
            )
        }
    }
}

/// Share of gas in a vessel's volume below which its wall begins to be that of a vessel full of liquid,
/// which does not boil. A guess, made for what it joins: a jump between the two would hold a run that
/// comes to it.
const FULL: f64 = 0.01;

/// How far a vessel of liquid and vapour is full of liquid, and that liquid; `None` where it is not at all.
fn overflowing(properties: &impl PropertySource, contents: &Contents) -> Option<(f64, FluidPoint)> {
    let line = contents.co2.as_ref()?.line.as_ref()?;
    let share = 1.0 - smooth_step(contents.gas_share() / FULL);
    (line.line == Line::Saturation && share > 0.0).then(|| {
        let liquid = properties.fluid(line.temperature, line.heavy.density());
        (share, liquid)
    })
}

/// Share of the wall that liquid touches: all of it as soon as liquid fills a twentieth of the
/// volume (it boils, foams and is thrown about), falling smoothly to none.
fn wet_share(contents: &Contents) -> f64 {
    let Some(c) = &contents.co2 else { return 0.0 };
    let Some(line) = &c.line else { return 0.0 };
    if line.line != Line::Saturation {
        return 0.0;
    }
    smooth_step((1.0 - contents.gas_share()) / 0.05)
}

/// Boiling in series with half the wall: the superheat the film sees is what the wall leaves of
/// the difference.
fn boiling(
    contents: &Contents,
    roughness: f64,
    gravity: f64,
    difference: f64,
    half_wall: f64,
    area: f64,
) -> f64 {
    let Some(c) = &contents.co2 else { return 0.0 };
    let Some(line) = &c.line else { return 0.0 };
    let p = line.pressure;
    let latent = line.light.enthalpy(p) - line.heavy.enthalpy(p);
    let most = zuber_critical_flux(
        latent,
        line.heavy.density(),
        line.light.density(),
        surface_tension(line.temperature),
        gravity.max(0.01 * GRAVITY),
    );
    // With superheat s nucleate boiling gives q = c s^n, and the wall leaves s = difference - q area half_wall.
    let log_c = cooper_log_flux(p / co2::CRITICAL_PRESSURE, roughness);
    let log_difference = difference.ln();
    let wall = log_c + (area * half_wall).ln() + (COOPER_POWER - 1.0) * log_difference;
    let log_film = log_difference + film_share(wall);
    // Capped, the wall takes the rest of the difference and the flux stays at the cap.
    (log_c + COOPER_POWER * log_film).exp().min(most) * area
}

/// Power of the superheat in Cooper's law, 1/0.33.
const COOPER_POWER: f64 = 1.0 / 0.33;

/// Logarithm of the share y of a temperature difference that a boiling film has beside a wall: y + e^wall y^n = 1,
/// n = 1/0.33. From a table where it reaches; beyond its ends one of the two is all there is.
fn film_share(wall: f64) -> f64 {
    static TABLE: LazyLock<CurveTable<1>> =
        LazyLock::new(|| CurveTable::through(FILM_STRETCHES, |wall| [film_share_solved(wall)]));
    TABLE
        .at(wall)
        .map_or_else(|| film_share_solved(wall), |[share]| share)
}

/// Lowest logarithm, length and number of the stretches of the table.
const FILM_STRETCHES: (f64, f64, usize) = (-24.0, 0.75, 64);

/// The same by Newton on the logarithm of both sides in ln y, where the left one is nearly straight on either
/// side of a bend.
fn film_share_solved(wall: f64) -> f64 {
    if wall == f64::NEG_INFINITY {
        return 0.0;
    }
    let mut x = (-wall / COOPER_POWER).min(0.0);
    for _ in 0..30 {
        let (alone, boiled) = (x.exp(), (wall + COOPER_POWER * x).exp());
        let sum = alone + boiled;
        let step = -sum.ln() * sum / (alone + COOPER_POWER * boiled);
        x += step;
        if step.abs() <= 1e-15 {
            break;
        }
    }
    x
}

/// The fluid at a wall, with the transport properties of gas.
#[derive(Debug, Clone, Copy)]
struct Film {
    /// Density [kg/m3].
    density: f64,
    /// Isobaric heat capacity [J/(kg K)].
    cp: f64,
    /// Viscosity [Pa s].
    viscosity: f64,
    /// Conductivity [W/(m K)].
    conductivity: f64,
    /// Volume expansivity [1/K].
    expansion: f64,
}

impl Film {
    /// CO2 as `fluid` and the air of a vessel, weighted by mass. Heat capacity of the CO2 is kept within 600 and
    /// 20 000 J/(kg K) and its expansivity below 0.1 1/K, which bounds both near the critical point; its
    /// expansivity is no less than the 1/T of a perfect gas in gas, and than none in a denser fluid.
    fn of(contents: &Contents, fluid: Option<&FluidPoint>) -> Self {
        let t = contents.temperature;
        let air = contents.air_density;
        let (co2, still) = transport::both(t);
        let Some(fluid) = fluid else {
            return Self {
                density: air.max(1e-9),
                cp: AIR_CP,
                viscosity: still.viscosity,
                conductivity: still.conductivity,
                expansion: 1.0 / t,
            };
        };
        let density = fluid.density + air;
        let y = fluid.density / density;
        let cp = fluid.cp().clamp(600.0, 2e4);
        let is_gas = fluid.density < co2::CRITICAL_DENSITY;
        let least = if is_gas { 1.0 / t } else { 0.0 };
        let expansion = (fluid.dp_dt / (fluid.density * fluid.dp_drho)).clamp(least, 0.1);
        let mix = |a: f64, b: f64| y * a + (1.0 - y) * b;
        Self {
            density,
            cp: mix(cp, AIR_CP),
            viscosity: mix(co2.viscosity, still.viscosity),
            conductivity: mix(co2.conductivity, still.conductivity),
            expansion: mix(expansion, 1.0 / t),
        }
    }

    fn prandtl(&self) -> f64 {
        self.cp * self.viscosity / self.conductivity
    }

    /// Natural convection at a wall of a `height` [m], `difference` [K] warmer or colder [W/(m2 K)]; without buoyancy
    /// conduction remains, Nu = 0.825^2 = 0.68 (the plate's limit).
    fn natural_convection(&self, difference: f64, height: f64, gravity: f64) -> f64 {
        let buoyancy = gravity * self.expansion * difference.abs();
        let rayleigh = buoyancy * height.powi(3) * self.density * self.density * self.cp
            / (self.viscosity * self.conductivity);
        let factor = plate_factor(self.prandtl());
        churchill_chu(PLATE.0, factor, rayleigh) * self.conductivity / height
    }

    /// A stirred vessel, common practice without a source: the jets' momentum keeps up a velocity
    /// u = sqrt(F/(rho D^2)), and the wall sees Nu = 0.68 + 0.037 Re^0.8 Pr^(1/3): a turbulent plate on top of
    /// what a plate has without flow (0.825^2, the limit of natural convection).
    fn jet_convection(&self, stirring: f64, diameter: f64) -> f64 {
        let velocity = (stirring.max(0.0) / (self.density * diameter * diameter)).sqrt();
        let reynolds = self.density * velocity * diameter / self.viscosity;
        let nusselt = 0.68 + 0.037 * reynolds.powf(0.8) * self.prandtl().cbrt();
        nusselt * self.conductivity / diameter
    }
}

/// Still air outside at the temperature of its film [K]: Rayleigh number over temperature difference [K],
/// cube of the height [m] and square of the pressure [Pa], conductivity [W/(m K)], and the factor in the law
/// of the plate.
fn still_air(film: f64) -> [f64; 3] {
    static TABLE: LazyLock<CurveTable<3>> =
        LazyLock::new(|| CurveTable::through(air::STRETCHES, still_air_by_law));
    TABLE.at(film).unwrap_or_else(|| still_air_by_law(film))
}

fn still_air_by_law(film: f64) -> [f64; 3] {
    let Transport {
        viscosity,
        conductivity,
    } = transport::air(film);
    let gas_constant = air::GAS_CONSTANT;
    let buoyancy =
        GRAVITY * AIR_CP / (gas_constant.powi(2) * film.powi(3) * viscosity * conductivity);
    [
        buoyancy,
        conductivity,
        churchill_chu_factor(PLATE.1, AIR_CP * viscosity / conductivity),
    ]
}

/// Heat from the surroundings to the shell [W].
#[must_use]
pub fn from_outside(wall: &Wall, wall_temperature: f64, ambient: f64, pressure: f64) -> f64 {
    let difference = ambient - wall_temperature;
    let coefficient = match wall.outside {
        OutsideHeat::Adiabatic => return wall.solar,
        OutsideHeat::Coefficient(h) => h,
        OutsideHeat::NaturalConvection { height } => {
            let [buoyancy, conductivity, factor] = still_air(0.5 * (ambient + wall_temperature));
            let rayleigh = buoyancy * difference.abs() * height.powi(3) * pressure * pressure;
            churchill_chu(PLATE.0, factor, rayleigh) * conductivity / height
        }
    };
    let conductance = coefficient * wall.outer_area;
    wall.solar + difference / (1.0 / conductance.max(1e-12) + 0.5 * wall.conduction_resistance)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::spec::Condensation;
    use crate::thermo::source::Tables;

    /// Cold liquid expands by less than a perfect gas would, and gas by no less.
    #[test]
    fn a_liquid_at_a_wall_expands_as_a_liquid() {
        let (temperature, air_mass) = (230.0, 1e-9);
        let energy = air_mass * air::internal_energy_and_cv(temperature).0;
        let contents = Contents::new(
            &Tables,
            Condensation::Equilibrium,
            (0.0, air_mass),
            energy,
            1e-3,
            temperature,
        )
        .expect("a state");
        let film = |density| {
            let fluid = FluidPoint::new(temperature, density);
            let own = fluid.dp_dt / (fluid.density * fluid.dp_drho);
            (Film::of(&contents, Some(&fluid)).expansion, own)
        };
        let (liquid, own) = film(1150.0);
        assert!(own > 0.0 && own < 0.9 / temperature, "{own}");
        assert!((liquid / own - 1.0).abs() < 1e-6, "{liquid} {own}");
        let (gas, own) = film(1.0);
        assert!(
            (gas / own - 1.0).abs() < 1e-6 && gas > 1.0 / temperature,
            "{gas} {own}"
        );
    }

    #[test]
    fn the_factor_of_the_plate_by_table_is_that_of_the_law() {
        let (low, stretch, count) = PRANDTL;
        let most = low + stretch * count as f64;
        for k in 0..1000 {
            let prandtl = low + (most - low) * f64::from(k) / 1000.0;
            let law = churchill_chu_factor(PLATE.1, prandtl);
            let error = (plate_factor(prandtl) / law - 1.0).abs();
            assert!(error < 1e-10, "Pr {prandtl}: {error:e}");
        }
        for beyond in [0.1, 40.0] {
            assert_eq!(plate_factor(beyond), churchill_chu_factor(PLATE.1, beyond));
        }
    }
}
