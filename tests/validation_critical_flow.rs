//! Critical flow of CO2 as a real gas, and the equilibrium flux against the omega method.

mod common;

use coldkick::flow::stagnation::Stagnation;
use coldkick::flow::{FluxModel, discharge_flux, equilibrium, omega, perfect_gas};
use coldkick::thermo::FluidPoint;
use coldkick::thermo::coexistence::saturation;
use coldkick::thermo::fluids::carbon_dioxide as co2;
use coldkick::thermo::inversion::{
    at_pressure_entropy, at_pressure_quality, at_temperature_pressure,
};
use coldkick::thermo::source::Equations;
use common::{close, number, published, relative};

fn gas(temperature: f64, pressure: f64) -> Stagnation {
    let state = at_temperature_pressure(temperature, pressure).expect("a state of CO2");
    Stagnation::single(state.fluid.expect("one phase"))
}

/// Half a unit of the fifth digit printed. The gas constant is not said; this one gives every digit.
#[test]
fn critical_flow_function_of_the_real_gas() {
    for row in published("iso-9300-real-gas") {
        let (t, p) = (
            number(&row, "temperature"),
            1e5 * number(&row, "pressure_bar"),
        );
        let flux = equilibrium::critical(&Equations, &gas(t, p)).expect("a flux");
        let reference = number(&row, "critical_flow_function");
        let ours = perfect_gas::real_critical_flow_function(
            flux.mass_flux,
            8.314_462_618 / co2::MOLAR_MASS,
            t,
            p,
        );
        let difference = (ours - reference).abs();
        assert!(difference <= 0.5e-5, "{t} K, {p} Pa: {difference:e}");
    }
}

/// Where the throat stays a gas, every model of the two-phase flux is the same flux.
#[test]
fn models_differ_only_where_the_throat_condenses() {
    for (t, p, condenses) in [
        (313.15, 30e5, false),
        (293.15, 20e5, false),
        (293.15, 50e5, true),
    ] {
        let flux = |model| {
            discharge_flux::pure(&Equations, model, &gas(t, p), 1e3)
                .expect("a flux")
                .mass_flux
        };
        let spread = relative(flux(FluxModel::Frozen), flux(FluxModel::Equilibrium));
        assert_eq!(spread > 1e-9, condenses, "{t} K, {p} Pa: {spread:e}");
    }
}

/// Leung's method sees the fluid at two pressures only, p0 and 0.9 p0, and shares no code with the
/// equilibrium flux. It takes v linear in 1/p, which the real isentrope leaves by about 1 %.
#[test]
fn omega_method_near_saturation() {
    let mut cases = vec![];
    for t in [230.0, 250.0, 270.0, 280.0] {
        let line = saturation(t).expect("a line");
        cases.push((
            format!("liquid {t} K"),
            Stagnation::liquid(&Equations, &line),
        ));
        for quality in [0.05, 0.2, 0.5, 0.9] {
            let state = at_pressure_quality(line.pressure, quality).expect("a state");
            let mixture = Stagnation::mixture(
                &Equations,
                &state,
                FluidPoint::new(state.temperature, line.light.density()),
            );
            cases.push((format!("quality {quality} {t} K"), mixture));
        }
    }
    for (what, state) in cases {
        let expanded = at_pressure_entropy(0.9 * state.pressure, state.entropy).expect("a state");
        let (p0, v0) = (state.pressure, 1.0 / state.density);
        let w = omega::omega_from_two_points(p0, v0, 0.9 * p0, 1.0 / expanded.density)
            .expect("in range");
        let simple = omega::mass_flux(w, p0, v0, 0.0).expect("in range");
        let full = equilibrium::critical(&Equations, &state)
            .expect("a flux")
            .mass_flux;
        close(&what, simple, full, 0.01);
    }
}
