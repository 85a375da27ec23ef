//! Cartridges that start above the critical temperature and come to two phases near the critical point: what
//! flows changes there without a jump, so a discharge takes about as many evaluations as a cool one.

use coldkick::design::{Design, edit};
use coldkick::discharge::{Settings, run};
use coldkick::flow::discharge_flux::{pure, pure_from};
use coldkick::flow::hint::Hint;
use coldkick::flow::stagnation::Stagnation;
use coldkick::flow::{FluxModel, equilibrium};
use coldkick::network::spec::System;
use coldkick::thermo::flash::mixture;
use coldkick::thermo::source::{Equations, PropertySource, Tables};
use rayon::prelude::*;

/// Most evaluations of a hot discharge; a cool one of the same design takes some 500.
const MOST_EVALUATIONS: u64 = 2_000;

/// A shipped design at its central values, but for its temperature [K] and charge [g].
fn hot(name: &str, soak: &str, temperature: f64, charge: f64) -> System {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/designs");
    let design = Design::read(&folder.join(name)).expect("a shipped design");
    let mut text = design.text().to_owned();
    for (path, value) in [
        (soak, format!("{:.3} degC", temperature - 273.15)),
        ("vessels.cartridge.charge", format!("{charge:.3} g")),
    ] {
        text = edit::set("hot.ron", &text, path, &value).expect("a place in the design");
    }
    let design = Design::parse("hot.ron", &text).expect("a valid design");
    design.system(&design.central()).expect("a system").0
}

/// Charges [g] from well below to well above the critical density, temperatures from the critical one to
/// 316 K. Where the flux has a jump near the critical point, the manifold cannot settle on either side of
/// it: one run of these took 46 000 evaluations and six never ended.
#[test]
fn hot_discharges_take_no_more_evaluations_than_cool_ones() {
    let designs = [
        ("tern-primary.ron", "shared.soak", 16.0),
        ("dunlin-bench.ron", "shared.workshop", 8.0),
    ];
    let mut cases = Vec::new();
    for (name, soak, full) in designs {
        for share in [0.6, 0.7, 0.75, 0.8, 0.9, 1.0] {
            for step in 0..7 {
                cases.push((name, soak, share * full, 304.0 + 2.0 * f64::from(step)));
            }
        }
    }
    let mut counts: Vec<_> = cases
        .par_iter()
        .map(|&(name, soak, charge, temperature)| {
            let system = hot(name, soak, temperature, charge);
            let discharge = run(&system, &Settings::for_many_runs());
            let label = format!("{name}, {charge:.1} g at {temperature} K");
            let discharge = discharge.unwrap_or_else(|error| panic!("{label}: {error}"));
            (discharge.audit.evaluations, label)
        })
        .collect();
    counts.sort();
    let (most, label) = counts.last().expect("some runs");
    println!(
        "median {}, most {most}: {label}",
        counts[counts.len() / 2].0
    );
    assert!(*most < MOST_EVALUATIONS, "{most} evaluations: {label}");
}

/// No change of a flux from one state looked at to the next is larger than a share of it.
fn assert_smooth(fluxes: &[(f64, f64)], largest: f64, what: &str) {
    for pair in fluxes.windows(2) {
        let [(_, before), (at, after)] = pair else {
            continue;
        };
        let change = (after / before - 1.0).abs();
        assert!(change < largest, "{what}, at {at}: {before} and {after}");
    }
}

/// The isentrope of saturated liquid passes over its spinodal from 303.4 K on: what chokes there below,
/// at half the flux, must not jump, and frozen flow is the most there is.
#[test]
fn frozen_flux_of_saturated_liquid_does_not_jump_near_the_critical_point() {
    fn fluxes(properties: &impl PropertySource) {
        let found: Vec<_> = (0..=140)
            .map(|i| {
                let temperature = 297.0 + 0.05 * f64::from(i);
                let line = properties.saturation(temperature).expect("the line");
                let liquid = Stagnation::liquid(properties, &line);
                let flux = pure(properties, FluxModel::Frozen, &liquid, 1e5).expect("a flux");
                let least = equilibrium::mass_flux(properties, &liquid, 1e5).expect("a flux");
                assert!(flux.mass_flux > least.mass_flux, "{temperature}");
                (temperature, flux.mass_flux)
            })
            .collect();
        assert_smooth(&found, 0.01, "saturated liquid [K]");
    }
    fluxes(&Equations);
    fluxes(&Tables);
}

/// A tenth of a kelvin and less below the critical temperature a few per cent of density make vapour of
/// all the liquid: the frozen flux of a mixture goes from that of the one to that of the other gently.
#[test]
fn frozen_flux_of_a_mixture_goes_gently_from_liquid_to_vapour_near_the_critical_point() {
    fn fluxes(properties: &impl PropertySource) {
        for temperature in [304.0, 304.05, 304.1] {
            let line = properties.saturation(temperature).expect("the line");
            let (light, heavy) = (line.light.density(), line.heavy.density());
            let mut found = Vec::new();
            let mut keep = |state: &Stagnation| {
                let flux = pure(properties, FluxModel::Frozen, state, 1e5).expect("a flux");
                found.push((state.density, flux.mass_flux));
            };
            keep(&Stagnation::liquid(properties, &line));
            for step in 1..100 {
                let density = heavy + (light - heavy) * f64::from(step) / 100.0;
                let state = mixture(&line, density);
                let vapour = properties.fluid(temperature, light);
                keep(&Stagnation::mixture(properties, &state, vapour));
            }
            keep(&Stagnation::light(properties, &line));
            assert_smooth(&found, 0.03, "density [kg/m3]");
        }
    }
    fluxes(&Equations);
    fluxes(&Tables);
}

/// From one state to the next the places where flow chokes are looked for near the last ones: the flux is the one found
/// without them, on ways through dense fluid warm and cold, thin and full, down to where it begins to boil and up again.
/// Next to the critical isentrope, where a single phase has a maximum of its own, that had stood for all: 13 000 for
/// 32 000 kg/(m2 s).
#[test]
fn flux_looked_for_near_the_last_place_is_the_one_found_afresh() {
    let mut compared = 0;
    for density in [480.0, 520.0, 580.0, 640.0, 700.0, 760.0, 840.0] {
        let boils = |t: f64| {
            let line = Tables.saturation(t).ok();
            line.is_some_and(|line| line.heavy.density() > density)
        };
        let warm = (0..500).map(|i| 318.0 - 0.05 * f64::from(i));
        let down: Vec<f64> = warm.take_while(|t| !boils(*t)).collect();
        let up = down.iter().rev().step_by(7);
        for model in [FluxModel::Equilibrium, FluxModel::Frozen] {
            for receiver in [1e5, 3e6] {
                let hint = Hint::default();
                let mut found = Vec::new();
                for temperature in down.iter().chain(up.clone()) {
                    let rest = Stagnation::single(Tables.fluid(*temperature, density));
                    let near = pure_from(&Tables, model, &rest, receiver, &hint);
                    let afresh = pure(&Tables, model, &rest, receiver);
                    let (near, afresh) = (near.expect("a flux"), afresh.expect("a flux"));
                    let apart = (near.mass_flux / afresh.mass_flux - 1.0).abs();
                    let throats = (near.throat_pressure / afresh.throat_pressure - 1.0).abs();
                    let label =
                        format!("{density} kg/m3, {temperature} K, {model:?}, {receiver} Pa");
                    assert!(
                        apart < 1e-9 && throats < 1e-5,
                        "{label}: {near:?}, {afresh:?}"
                    );
                    compared += 1;
                    found.push((*temperature, afresh.mass_flux));
                }
                assert_smooth(&found[..down.len()], 0.01, &format!("{density} kg/m3 [K]"));
            }
        }
    }
    println!("{compared} states");
}
