//! Cost of one evaluation, one line and one inversion.

use coldkick::network::contents::Contents;
use coldkick::network::spec::Condensation;
use coldkick::thermo::air;
use coldkick::thermo::coexistence::{saturation, triple_point};
use coldkick::thermo::flash::{at_density_energy, at_temperature_density};
use coldkick::thermo::source::{PropertySource, Tables};
use coldkick::thermo::{FluidPoint, inversion};
use divan::{Bencher, black_box};

fn main() {
    divan::main();
}

#[divan::bench]
fn fluid_point() -> FluidPoint {
    FluidPoint::new(black_box(300.0), black_box(120.0))
}

#[divan::bench]
fn saturation_line() -> f64 {
    saturation(black_box(280.0)).expect("on the line").pressure
}

#[divan::bench(args = ["gas", "liquid+vapour", "solid+vapour", "triple line"])]
fn state_of_density_and_energy(bencher: Bencher, region: &str) {
    let (density, energy) = match region {
        "triple line" => {
            let triple = triple_point().expect("the triple point");
            let edge = triple.sublimation.lever(1.0 / 100.0).internal_energy;
            (100.0, edge + 1e4)
        }
        other => {
            let (temperature, density) = match other {
                "gas" => (290.0, 20.0),
                "liquid+vapour" => (280.0, 500.0),
                _ => (200.0, 30.0),
            };
            let state = at_temperature_density(temperature, density).expect("a state");
            (density, state.internal_energy)
        }
    };
    bencher.bench(|| at_density_energy(black_box(density), black_box(energy)));
}

#[divan::bench]
fn state_of_pressure_and_enthalpy() -> f64 {
    inversion::at_pressure_enthalpy(black_box(2e6), black_box(300e3))
        .expect("a state")
        .temperature
}

#[divan::bench]
fn fluid_point_by_table() -> FluidPoint {
    Tables.fluid(black_box(300.0), black_box(120.0))
}

#[divan::bench]
fn saturation_line_by_table() -> f64 {
    let line = Tables.saturation(black_box(280.0));
    line.expect("on the line").pressure
}

/// The flash of a discharge: what a vessel of one litre holds, by tables, from a temperature 0.1 % off as the last
/// evaluation leaves it.
#[divan::bench(args = ["gas", "gas and air", "liquid+vapour", "solid+vapour"])]
fn contents_by_table(bencher: Bencher, region: &str) {
    let (temperature, density, air_mass) = match region {
        "gas" => (290.0, 20.0, 0.0),
        "gas and air" => (280.0, 2.0, 1.2e-3),
        "liquid+vapour" => (280.0, 500.0, 0.0),
        _ => (200.0, 30.0, 0.0),
    };
    let state = at_temperature_density(temperature, density).expect("a state");
    let volume = 1e-3;
    let co2_mass = density * volume;
    let energy =
        co2_mass * state.internal_energy + air_mass * air::internal_energy_and_cv(temperature).0;
    bencher.bench(|| {
        let masses = (black_box(co2_mass), black_box(air_mass));
        let how = Condensation::Equilibrium;
        Contents::new(&Tables, how, masses, energy, volume, 1.001 * temperature)
    });
}
