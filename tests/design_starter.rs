//! Starter designs, the parts library and the summary of a design.

use approx::assert_relative_eq;
use coldkick::design::parts::{CARTRIDGES, Part, SERVOS, TETHERS, WALL_MATERIALS};
use coldkick::design::summary::{liquid_full_temperature, summarise};
use coldkick::design::{Design, StarterRequest, edit, starter};
use coldkick::discharge::{Settings, run};
use coldkick::network::spec::System;
use coldkick::study::sizing::screen_charges;

const TERN: &str = include_str!("../fixtures/designs/tern-primary.ron");

#[test]
fn every_starter_is_a_valid_and_sensible_design() {
    for part in CARTRIDGES {
        for bore in ["38 mm", "54 mm", "98 mm", "4 in", "160 mm"] {
            for bench in [false, true] {
                let request = StarterRequest::new(part.name, bore, bench).unwrap();
                let text = starter(&request);
                let design = match Design::parse("starter.ron", &text) {
                    Ok(design) => design,
                    Err(error) => panic!("{} {bore}: {error}\n{text}", part.name),
                };
                let (system, _) = design.system(&design.central()).unwrap();
                let summary = summarise(&system).unwrap();
                let nose = summary.nose.unwrap();
                // The pins let go well before all of the gas is in the bay.
                let margin =
                    (nose.ideal_gas_pressure - summary.ambient_pressure) / nose.retention_pressure;
                assert!(
                    (4.0..20.0).contains(&margin),
                    "{} {bore}: {margin}",
                    part.name
                );
                let balance = nose.leak_balance.unwrap();
                assert!(balance.balance_pressure > 2.0 * nose.bay_pressure_to_leave);
                assert!(text.contains("//") && text.contains(part.origin));
            }
        }
    }
}

#[test]
fn a_starter_is_asked_for_in_the_users_words() {
    let request = StarterRequest::new("16 g", "3.86 in", true).unwrap();
    assert_eq!(request.cartridge.name, "co2-16g");
    assert_relative_eq!(request.bore, 0.098_044, max_relative = 1e-9);
    for (cartridge, bore, field) in [
        ("17 g", "98 mm", "cartridge"),
        ("16 g", "98", "bore"),
        ("16 g", "3 m", "bore"),
    ] {
        let error = StarterRequest::new(cartridge, bore, false).unwrap_err();
        assert_eq!(error.field(), Some(field), "{error}");
    }
}

/// Each part serves in a design as it is written in the library.
#[test]
fn every_part_of_the_library_can_be_used_and_says_where_it_comes_from() {
    let use_part = |path: &str, name: &str| {
        let changed = edit::set("tern.ron", TERN, path, name).unwrap();
        // A heavy cartridge needs no charge of its own any more.
        let changed = changed.replacen(
            "charge: \"normal 16.0 g sd 0.25 g within 15.2 g .. 16.8 g\",",
            "",
            1,
        );
        match Design::parse(name, &changed) {
            Ok(design) => {
                let (system, _) = design.system(&design.central()).unwrap();
                assert!(system.vessels[0].co2_mass > 0.0);
            }
            Err(error) => panic!("{name}: {error}"),
        }
    };
    for part in CARTRIDGES {
        use_part("vessels.cartridge.part", part.name());
        assert!(part.origin().len() > 20);
    }
    for part in SERVOS {
        use_part("paths.valve.opening.part", part.name());
        assert!(part.origin().len() > 20);
    }
    for part in TETHERS {
        use_part("nose.tether.part", part.name());
        assert!(part.origin().len() > 20);
    }
    for part in WALL_MATERIALS {
        use_part("vessels.bay.wall.material", part.name());
        assert!(part.origin().len() > 20);
    }
}

/// Pressure at 65 degC and liquid-full temperature at the customary filling densities, computed
/// with an independent implementation of the same equation of state.
#[test]
fn fill_density_decides_hot_day_pressure_and_liquid_full_temperature() {
    for (density, hot_day_bar, liquid_full) in [
        (0.68, 193.8, 26.8),
        (0.75, 239.7, 22.1),
        (0.76, 248.3, 21.2),
    ] {
        let mass = format!("{} g", 20.0 * density);
        let text = edit::set("tern.ron", TERN, "vessels.cartridge.charge", &mass).unwrap();
        let text = edit::set("tern.ron", &text, "vessels.cartridge.volume", "20 mL").unwrap();
        let design = Design::parse("tern.ron", &text).unwrap();
        let (system, _) = design.system(&design.central()).unwrap();
        let summary = summarise(&system).unwrap();
        let charge = summary.vessels[0].charge.clone().unwrap();
        assert_relative_eq!(charge.fill_density, 1e3 * density, max_relative = 1e-12);
        assert_relative_eq!(
            charge.hot_day_pressure,
            1e5 * hot_day_bar,
            max_relative = 5e-4
        );
        let full = charge.liquid_full_temperature.unwrap() - 273.15;
        assert!((full - liquid_full).abs() < 0.06, "{density}: {full}");
        assert_eq!(
            liquid_full_temperature(1e3 * density).unwrap(),
            charge.liquid_full_temperature
        );
    }
    assert_eq!(liquid_full_temperature(300.0).unwrap(), None);
    assert_eq!(liquid_full_temperature(1190.0).unwrap(), None);
}

/// A manifold that stands open to a pierced cartridge starts at the pressure of the charge, in the summary
/// as in the shot, and is held against its rating there.
#[test]
fn the_summary_shows_a_manifold_at_the_pressure_it_starts_with() {
    let of = |text: &str| {
        let design = Design::parse("tern.ron", text).unwrap();
        let (system, _) = design.system(&design.central()).unwrap();
        (summarise(&system).unwrap(), system)
    };
    let (summary, system) = of(TERN);
    let started = run(
        &system,
        &Settings {
            exact_properties: true,
            ..Settings::default()
        },
    )
    .unwrap();
    for (vessel, series) in summary.vessels.iter().zip(&started.trajectory.vessels) {
        assert_relative_eq!(vessel.pressure, series.pressure[0], max_relative = 1e-9);
    }
    // Saturated at 5 degC; the charge is still shown as it was weighed.
    assert_relative_eq!(summary.vessels[1].pressure, 39.7e5, max_relative = 1e-3);
    assert_relative_eq!(summary.vessels[0].charge.as_ref().unwrap().mass, 0.016);
    assert!(summary.vessels[1].charge.is_none());
    let screened = |system: &System| {
        let charges = screen_charges(system).unwrap();
        charges.into_iter().find(|(name, ..)| name == "manifold")
    };
    let (_, pressure, rating) = screened(&system).unwrap();
    assert_relative_eq!(pressure, summary.vessels[1].pressure, max_relative = 1e-4);
    assert!(pressure < rating);
    // One with a pressure of its own starts with air at it.
    let own = edit::set("tern.ron", TERN, "vessels.manifold.pressure", "0.81 bara").unwrap();
    let (summary, system) = of(&own);
    assert_relative_eq!(summary.vessels[1].pressure, 0.81e5, max_relative = 1e-12);
    assert!(screened(&system).is_none());
    let weak = edit::set("tern.ron", TERN, "vessels.manifold.rating", "30 barg").unwrap();
    let (summary, system) = of(&weak);
    let (manifold, rating) = (&summary.vessels[1], 30e5 + summary.ambient_pressure);
    assert_relative_eq!(manifold.pressure_rating.unwrap(), rating);
    assert!(manifold.pressure > rating);
    let (_, pressure, rating) = screened(&system).unwrap();
    assert!(pressure > rating);
}

#[test]
fn the_summary_follows_from_the_design_by_hand() {
    let design = Design::parse("tern.ron", TERN).unwrap();
    let (system, _) = design.system(&design.central()).unwrap();
    let summary = summarise(&system).unwrap();
    let nose = summary.nose.unwrap();
    assert_relative_eq!(nose.area, 7.542_963_96e-3, max_relative = 1e-8);
    assert_relative_eq!(
        nose.retention_force,
        3.0 * 125.0 + 45.0 + 5.0,
        max_relative = 1e-12
    );
    assert_relative_eq!(nose.retention_pressure, nose.retention_force / nose.area);
    // Leak of 1.2 mm2 and vent of 1.2 mm diameter, both at 0.65.
    assert_relative_eq!(
        nose.leak_area,
        0.65 * (1.2e-6 + 1.130_973_355e-6),
        max_relative = 1e-9
    );
    // At the largest tolerable leak, the balance pressure is the one that moves the nose.
    let balance = nose.leak_balance.unwrap();
    assert_relative_eq!(
        balance.balance_pressure * nose.leak_area,
        nose.bay_pressure_to_leave * balance.largest_leak_area,
        max_relative = 1e-12
    );
    // The neck, 2.1 mm at 0.725, passes the charge; saturated vapour at 5 degC and 39.7 bar has a
    // flux of roughly 10 000 to 18 000 kg/(m2 s).

    assert!((0.02..0.05).contains(&balance.supply), "{}", balance.supply);
    // (0.016 kg of CO2 and the air) R T / V at the temperature of the vessels, as a shot says it.
    let volume = 1.15e-3 + 1.5e-6 + 21.5e-6;
    let air = (1.15e-3 + 1.5e-6) * summary.ambient_pressure / (287.05 * 278.15);
    let expected = (0.016 * 188.924 + air * 287.05) * 278.15 / volume;
    assert_relative_eq!(nose.ideal_gas_pressure, expected, max_relative = 1e-5);
}
