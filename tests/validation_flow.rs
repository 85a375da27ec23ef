//! Mass flux through a restriction against reference and measured values.

mod common;

use coldkick::flow::stagnation::{Flux, Stagnation};
use coldkick::flow::{FluxModel, discharge_flux, equilibrium, frozen, henry_fauske};
use coldkick::thermo::FluidPoint;
use coldkick::thermo::coexistence::{saturation, sublimation};
use coldkick::thermo::inversion::at_temperature_pressure;
use coldkick::thermo::source::{Equations, Tables};
use common::{Row, close, number, number_if_any, published, relative};

fn stagnation(row: &Row) -> Stagnation {
    let (t, p) = (number(row, "T0"), number(row, "p0"));
    match row["kind"].as_str() {
        "satvap" => Stagnation::light(&Equations, &saturation(t).unwrap()),
        "subvap" => Stagnation::light(&Equations, &sublimation(t).unwrap()),
        "satliq" => Stagnation::liquid(&Equations, &saturation(t).unwrap()),
        "gas" | "supercrit" => {
            Stagnation::single(at_temperature_pressure(t, p).unwrap().fluid.unwrap())
        }
        other => panic!("unknown kind {other}"),
    }
}

/// Homogeneous equilibrium, 1e-5 as asked; the throat pressure lies on a flat maximum, so it is
/// known to the square root of that at best.
#[test]
fn equilibrium_critical_flux() {
    for row in published("co2-critical-flux") {
        let state = stagnation(&row);
        let what = format!("{} {} K", row["kind"], row["T0"]);
        for flux in [
            equilibrium::critical(&Equations, &state).unwrap(),
            equilibrium::critical(&Tables, &state).unwrap(),
        ] {
            close(&what, flux.mass_flux, number(&row, "G_HEM"), 1e-5);
            close(&what, flux.throat_pressure, number(&row, "p_star"), 2e-3);
        }
    }
}

#[test]
fn frozen_critical_flux() {
    for row in published("co2-critical-flux") {
        let state = stagnation(&row);
        let what = format!("frozen {} {} K", row["kind"], row["T0"]);
        let receiver = if row["frozen_note"].contains("1 bar") {
            1e5
        } else {
            0.0
        };
        let flux = frozen::mass_flux(&Equations, &state, receiver)
            .unwrap_or_else(|e| panic!("{what}: {e}"));
        close(&what, flux.mass_flux, number(&row, "G_frozen"), 1e-5);
    }
}

/// The reference differs by up to 8e-5 from the formulas with analytic slopes of the lines; how it
/// forms ds_l/dp is not known, so 2e-4 is what can be asked.
#[test]
fn henry_fauske_flux() {
    for row in published("co2-critical-flux") {
        let Some(reference) = number_if_any(&row, "G_HenryFauske") else {
            continue;
        };
        let flux = henry_fauske::mass_flux(&Equations, &stagnation(&row), 0.0)
            .unwrap()
            .unwrap();
        close(&format!("{} K", row["T0"]), flux.mass_flux, reference, 2e-4);
    }
}

#[test]
fn bernoulli_flux() {
    for row in published("co2-critical-flux") {
        let Some(reference) = number_if_any(&row, "G_Bernoulli_1bar") else {
            continue;
        };
        close(
            &row["T0"],
            frozen::bernoulli(&stagnation(&row), 1e5),
            reference,
            1e-8,
        );
    }
}

/// Hesson & Peck 1958: every model beside the measurement. What is checked is what is claimed in
/// docs/validation.md: the ratio of model to measurement in three groups.
#[test]
fn measured_flux_of_hesson_and_peck() {
    use coldkick::thermo::inversion::{at_pressure_quality, line_at_pressure};
    let models = [
        ("equilibrium", FluxModel::Equilibrium),
        ("frozen", FluxModel::Frozen),
        ("relaxed", FluxModel::Relaxed),
        ("Henry-Fauske", FluxModel::HenryFauske),
    ];
    let mut table = vec![];
    for (name, model) in models {
        let mut groups = [(0.0, 0.0, 0.0); 4];
        for row in published("hesson-peck-1958") {
            let (p, x) = (number(&row, "p_Pa"), number(&row, "quality"));
            let measured = number(&row, "G_kg_m2s");
            let line = line_at_pressure(p).unwrap();
            let state = if x == 0.0 {
                Stagnation::liquid(&Equations, &line)
            } else {
                let state = at_pressure_quality(p, x).unwrap();
                Stagnation::mixture(
                    &Equations,
                    &state,
                    FluidPoint::new(state.temperature, line.light.density()),
                )
            };
            let flux: Flux = discharge_flux::pure(&Equations, model, &state, 101_325.0)
                .unwrap_or_else(|e| panic!("{name} at {p} Pa, x = {x}: {e}"));
            let ratio = flux.mass_flux / measured;
            let group = match (x, p) {
                (0.0, p) if p < 4.5e6 => 0,
                (0.0, _) => 1,
                (x, _) if x < 0.2 => 2,
                _ => 3,
            };
            let g = &mut groups[group];
            *g = (g.0 + ratio.ln(), g.1 + (ratio - 1.0).abs(), g.2 + 1.0);
        }
        let means: Vec<(f64, f64)> = groups
            .iter()
            .map(|g| ((g.0 / g.2).exp(), g.1 / g.2))
            .collect();
        println!("{name:14} {means:.3?}");
        table.push(means);
    }
    // The catalogue's summary of the same comparison gives equilibrium 0.53 and Henry-Fauske 0.98
    // for saturated liquid below 4.5 MPa, equilibrium 1.16 above a quality of 0.2. Its 0.91 for
    // liquid above 4.5 MPa is the lowest of four points (0.91 .. 1.06); their mean is 1.01.
    assert!(relative(table[0][0].0, 0.53) < 0.05);
    assert!(relative(table[0][1].0, 1.01) < 0.01);
    assert!(relative(table[0][3].0, 1.16) < 0.05);
    assert!(relative(table[3][0].0, 0.98) < 0.05);
}
