//! Whole discharges against conservation, closed forms and reference paths.

mod common;

use coldkick::discharge::{EventKind, Settings, run};
use coldkick::flow::FluxModel;
use coldkick::network::spec::{Ambient, Draw, End, System};
use coldkick::thermo::{air, coexistence};
use common::systems::{air_vessel, cartridge, orifice, rigid};
use common::{close, number, published};

fn pair(draw: Draw, model: FluxModel) -> System {
    rigid(
        vec![
            cartridge(16e-3, 293.15, 21e-6, draw),
            air_vessel("bay", 101_325.0, 293.15, 1e-3),
        ],
        vec![orifice(End::Vessel(0), End::Vessel(1), 1e-6, model)],
        8.0,
    )
}

/// Cartridge and air-filled bay as two vessels: the end states given with the model.
#[test]
fn where_the_ice_is_depends_on_the_draw() {
    for (draw, pressure) in [
        (Draw::Vapour, 5.18e5),
        (Draw::Liquid, 5.05e5),
        (Draw::Mixed, 5.05e5),
    ] {
        let discharge = run(&pair(draw, FluxModel::Equilibrium), &Settings::default()).unwrap();
        let [c, b] = &discharge.outcome.vessels[..] else {
            panic!("two vessels")
        };
        close("bay pressure", b.final_pressure, pressure, 2e-3);
        let snow = b.final_solid / 16e-3;
        if draw == Draw::Vapour {
            let t = *discharge.trajectory.vessels[1].temperature.last().unwrap();
            assert!((t - 274.0).abs() < 1.0, "bay at {t} K");
            assert!(
                (c.final_co2 - 7.6e-3).abs() < 0.1e-3,
                "{} left",
                c.final_co2
            );
            assert!(
                (c.final_solid - 1.5e-3).abs() < 0.1e-3,
                "{} ice",
                c.final_solid
            );
            assert!(snow < 1e-9);
        } else {
            assert!((snow - 0.26).abs() < 0.01, "snow {snow}");
        }
        assert!(discharge.audit.mass_closure < 1e-8 && discharge.audit.energy_closure < 1e-8);
    }
}

/// Dry ice is told of when the carbon dioxide of the bay, by what air leaves of the pressure, comes down to the
/// sublimation line: before, it is a gas off the line, after, it lies on it. A run with a tenth of the tolerance
/// tells the same time.
#[test]
fn dry_ice_is_told_of_where_the_sublimation_line_is_met() {
    let system = pair(Draw::Liquid, FluxModel::Equilibrium);
    let onset = |settings: &Settings| {
        let discharge = run(&system, settings).unwrap();
        let wanted = EventKind::DryIce {
            vessel: "bay".to_owned(),
        };
        let mut events = discharge.events.iter();
        let time = events.find(|event| event.kind == wanted).unwrap().time;
        assert!(discharge.events.is_sorted_by_key(|event| event.time));
        (time, discharge.trajectory)
    };
    let (time, trajectory) = onset(&Settings::default());
    let bay = &trajectory.vessels[1];
    let saturation = |k: usize| {
        let air = bay.air_mass[k] * air::GAS_CONSTANT * bay.temperature[k] / 1e-3;
        let line = coexistence::sublimation(bay.temperature[k]).unwrap();
        (bay.pressure[k] - air) / line.pressure
    };
    let after = trajectory.times.iter().position(|t| *t > time).unwrap();
    assert!(saturation(after - 1) < 0.999, "{}", saturation(after - 1));
    for k in after..after + 20 {
        assert!(bay.solid_mass[k] > 0.0, "none at {k}");
        // The ice takes some of the room of the air.
        assert!((saturation(k) - 1.0).abs() < 1e-3, "{}", saturation(k));
    }
    let tight = Settings {
        relative_tolerance: 3e-8,
        ..Settings::default()
    };
    let (again, _) = onset(&tight);
    assert!((time - again).abs() < 2e-5, "{time} and {again} s");
}

/// Vapour withdrawn from an adiabatic cartridge into a vacuum, by both flux models: mass and state
/// at the reference times, 1e-5 as asked.
#[test]
fn vapour_draw_path() {
    for (model, column) in [
        (FluxModel::Equilibrium, "t_HEM_ms_per_mm2"),
        (FluxModel::Frozen, "t_frozen_ms_per_mm2"),
    ] {
        for row in published("co2-vapour-draw-path") {
            let time = number(&row, column) * 1e-3;
            if time == 0.0 {
                continue;
            }
            let mut system = rigid(
                vec![cartridge(16e-3, 293.15, 21e-6, Draw::Vapour)],
                vec![orifice(End::Vessel(0), End::Ambient, 1e-6, model)],
                time,
            );
            system.ambient = Ambient::constant(10.0, 293.15);
            // Tight: the kink where the triple line begins costs 1e-5 of the mass at the default.
            let settings = Settings {
                relative_tolerance: 1e-8,
                ..Settings::default()
            };
            let discharge = run(&system, &settings).unwrap();
            let what = format!("{model:?} after {} of the charge", row["frac_withdrawn"]);
            let end = &discharge.outcome.vessels[0];
            let temperature = discharge.trajectory.vessels[0].temperature.last().unwrap();
            close(&what, end.final_co2, number(&row, "m_g") * 1e-3, 1e-5);
            close(&what, *temperature, number(&row, "T_K"), 1e-5);
            close(&what, end.final_pressure, number(&row, "p_Pa"), 1e-4);
            let solid = (end.final_solid - number(&row, "m_s_g") * 1e-3).abs();
            assert!(solid < 1e-5 * 16e-3, "{what}: dry ice off by {solid} kg");
        }
    }
}
