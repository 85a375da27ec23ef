//! A vessel full of liquid that begins to boil gives what it gave: no flow may jump there, or a run can
//! neither cross the boundary nor go along it.

mod common;

use coldkick::flow::FluxModel;
use coldkick::network::Network;
use coldkick::network::heat::{surface_tension, zuber_critical_flux};
use coldkick::network::spec::{Ambient, Draw, End, InsideHeat, OutsideHeat, Wall};
use coldkick::numerics::integrate::System as _;
use coldkick::thermo::coexistence::saturation;
use coldkick::thermo::fluids::carbon_dioxide as co2;
use coldkick::thermo::source::{Equations, PropertySource, Tables};
use common::systems::{cartridge, orifice, rigid};

const VOLUME: f64 = 2e-5;

/// Share of the mass by which the two vessels compared are more than full and less than full.
const EXCESS: f64 = 1e-11;

/// Rates of CO2, air and energy of a vessel at `temperature` [K] whose charge is a share `excess` more
/// than saturated liquid would need to fill it.
fn rates(
    properties: impl PropertySource + Copy,
    (temperature, air_share, receiver): (f64, f64, f64),
    draw: Draw,
    model: FluxModel,
    excess: f64,
) -> [f64; 3] {
    let line = saturation(temperature).unwrap();
    let mass = line.heavy.density() * VOLUME * (1.0 + excess);
    let mut vessel = cartridge(mass, temperature, VOLUME, draw);
    vessel.air_mass = air_share * mass;
    let mut system = rigid(
        vec![vessel],
        vec![orifice(End::Vessel(0), End::Ambient, 1e-6, model)],
        1.0,
    );
    system.ambient = Ambient::constant(receiver * line.pressure, temperature);
    let mut network = Network::new(&system, properties, false).unwrap();
    let state = network.initial_state().unwrap();
    let mut rates = vec![0.0; state.len()];
    network.rates(0.0, &state, &mut rates).unwrap();
    assert_eq!(network.is_bulk(0), excess > 0.0);
    [rates[0], rates[1], rates[2]]
}

fn nothing_jumps(properties: impl PropertySource + Copy) {
    let models = [
        FluxModel::Equilibrium,
        FluxModel::Frozen,
        FluxModel::Between(0.5),
        FluxModel::Relaxed,
        FluxModel::HenryFauske,
    ];
    for temperature in [225.0, 260.0, 288.0, 300.0, 303.2] {
        for (air_share, receiver) in [
            (0.0, 0.02),
            (0.0, 0.5),
            (0.0, 0.95),
            (0.0, 0.9995),
            (1e-5, 0.5),
            (3e-4, 0.02),
            (3e-4, 0.95),
        ] {
            for draw in [Draw::Vapour, Draw::Mixed, Draw::Liquid] {
                for model in models {
                    let at = (temperature, air_share, receiver);
                    let full = rates(properties, at, draw, model, EXCESS);
                    let boiling = rates(properties, at, draw, model, -EXCESS);
                    for (full, boiling) in full.iter().zip(&boiling) {
                        let jump = (full - boiling).abs();
                        assert!(
                            jump <= 2e-5 * full.abs(),
                            "{temperature} K, air {air_share}, receiver at {receiver}, {draw:?}, \
                             {model:?}: {full} and {boiling}"
                        );
                    }
                }
            }
        }
    }
}

/// Heat from a wall `hotter` than the contents [W], and the rate of its temperature.
fn heat(temperature: f64, hotter: f64, inside: InsideHeat, excess: f64) -> [f64; 2] {
    let mass = saturation(temperature).unwrap().heavy.density() * VOLUME * (1.0 + excess);
    let mut vessel = cartridge(mass, temperature, VOLUME, Draw::Vapour);
    vessel.wall = Some(Wall {
        heat_capacity: 20.0,
        temperature: temperature + hotter,
        conduction_resistance: 0.01,
        inner_area: 5e-3,
        outer_area: 6e-3,
        inside,
        outside: OutsideHeat::Adiabatic,
        solar: 0.0,
    });
    let system = rigid(vec![vessel], vec![], 1.0);
    let mut network = Network::new(&system, Tables, false).unwrap();
    let state = network.initial_state().unwrap();
    let mut rates = vec![0.0; state.len()];
    network.rates(0.0, &state, &mut rates).unwrap();
    let wall = network.layout().walls[0].unwrap();
    [rates[2], rates[wall]]
}

#[test]
fn heat_does_not_jump_where_a_full_vessel_begins_to_boil() {
    let (height, gravity) = (0.08, 9.81);
    let laws = [
        InsideHeat::NaturalConvection { height, gravity },
        InsideHeat::StirredJet { diameter: height },
        InsideHeat::Boiling {
            roughness: 1e-6,
            area_factor: 0.6,
            height,
            gravity,
        },
    ];
    for temperature in [225.0, 260.0, 288.0, 300.0, 303.2] {
        for hotter in [-8.0, 0.5, 8.0] {
            for law in laws {
                let full = heat(temperature, hotter, law, EXCESS);
                let boiling = heat(temperature, hotter, law, -EXCESS);
                assert!(full[0] * hotter > 0.0, "{temperature} K, {law:?}: {full:?}");
                for (full, boiling) in full.iter().zip(&boiling) {
                    let jump = (full - boiling).abs();
                    assert!(
                        jump <= 1e-6 * full.abs(),
                        "{temperature} K, wall {hotter} K hotter, {law:?}: {full} and {boiling}"
                    );
                }
            }
        }
    }
}

#[test]
fn nothing_jumps_where_a_full_vessel_begins_to_boil() {
    nothing_jumps(Equations);
    nothing_jumps(Tables);
}

/// Cooper's law as printed, h = 55 pr^(0.12 - 0.2 log10 Rp) (-log10 pr)^-0.55 M^-0.5 q^0.67, holds between the flux and
/// the superheat that half the wall leaves of the difference; above Zuber's flux, that flux is all there is.
#[test]
fn boiling_behind_half_a_wall_keeps_coopers_law() {
    let (height, gravity) = (0.08, 9.81);
    let (area, half_wall) = (5e-3, 0.005);
    let (mut held, mut capped) = (0, 0);
    for temperature in [222.0, 250.0, 273.15, 290.0, 300.0_f64] {
        for hotter in [0.02, 0.3, 1.0, 4.0, 15.0, 60.0] {
            for roughness in [0.4e-6, 1e-6, 5e-6_f64] {
                let law = InsideHeat::Boiling {
                    roughness,
                    area_factor: 1.0,
                    height,
                    gravity,
                };
                let [watts, _] = heat(temperature, hotter, law, -0.5);
                let line = saturation(temperature).unwrap();
                let latent =
                    line.light.enthalpy(line.pressure) - line.heavy.enthalpy(line.pressure);
                let most = zuber_critical_flux(
                    latent,
                    line.heavy.density(),
                    line.light.density(),
                    surface_tension(temperature),
                    gravity,
                );
                let flux = watts / area;
                if (flux / most - 1.0).abs() < 1e-9 {
                    capped += 1;
                    continue;
                }
                assert!(
                    flux < most,
                    "{temperature} K, {hotter} K: {flux} above {most}"
                );
                held += 1;
                let superheat = hotter - watts * half_wall;
                let pr = (line.pressure / co2::CRITICAL_PRESSURE).clamp(0.001, 0.9);
                let microns = roughness * 1e6;
                let molar = co2::MOLAR_MASS * 1e3;
                let coefficient =
                    55.0 * pr.powf(0.12 - 0.2 * microns.log10()) * (-pr.log10()).powf(-0.55)
                        / molar.sqrt()
                        * flux.powf(0.67);
                let error = (coefficient * superheat / flux - 1.0).abs();
                assert!(
                    error < 1e-6,
                    "{temperature} K, {hotter} K, {roughness}: {error:e}, {superheat} K left"
                );
            }
        }
    }
    println!("{held} by the law, {capped} at the cap");
    assert!(held > 40 && capped > 5, "{held} and {capped}");
}
