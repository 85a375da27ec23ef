//! Random designs for campaigns: the shipped ones with their sizes drawn anew.
#![allow(dead_code)] // each test binary uses its own part

use coldkick::design::{Design, edit};
use coldkick::discharge::{Settings, run};
use coldkick::statistics::stream::{Purpose, Stream};

use super::campaign::{DESIGNS, shipped};

/// Most designs drawn for one that separates.
const ATTEMPTS: u64 = 50;

/// A design drawn by a seed: bore, paths and the kinds of parts of a shipped one; cartridge, volumes,
/// openings, temperature, pins, friction, mass and engagement its own. As expected it separates.
pub fn random_design(seed: u64) -> Design {
    let base = DESIGNS[seed as usize % DESIGNS.len()];
    (0..ATTEMPTS)
        .find_map(|attempt| {
            let mut stream = Stream::new(seed, Purpose::Other, 100 + attempt);
            let mut text = shipped(base).text().to_owned();
            for (path, value) in changes(base, &mut stream) {
                text = edit::set("random.ron", &text, path, &value).unwrap();
            }
            let design = Design::parse("random.ron", &text).ok()?;
            let (system, _) = design.system(&design.central()).ok()?;
            let discharge = run(&system, &Settings::for_many_runs()).ok()?;
            discharge.outcome.clear_time.map(|_| design)
        })
        .unwrap()
}

fn changes(base: &str, stream: &mut Stream) -> Vec<(&'static str, String)> {
    let mut between = |low: f64, high: f64| low + (high - low) * stream.uniform();
    let near = |value: f64, share: f64, unit: &str| {
        format!("normal {value:.4} {unit} sd {:.4} {unit}", share * value)
    };
    let around = |value: f64, unit: &str| {
        let (low, high) = (0.8 * value, 1.2 * value);
        format!("triangle {low:.3} {unit} .. {value:.3} {unit} .. {high:.3} {unit}")
    };
    let friction = |value: f64| format!("lognormal {value:.1} N factor 1.4");
    match base {
        "dunlin-bench.ron" => {
            let bay = 0.42 * between(0.7, 1.5);
            let rub = 22.0 * between(0.6, 1.6);
            vec![
                ("vessels.bay.volume", near(bay, 0.04, "L")),
                ("paths.seal-leak.decay.volume", format!("{bay:.4} L")),
                (
                    "vessels.cartridge.part",
                    if between(0.0, 1.0) < 0.6 {
                        "co2-8g"
                    } else {
                        "co2-12g"
                    }
                    .to_owned(),
                ),
                (
                    "shared.workshop",
                    format!("normal {:.1} degC sd 2 degC", between(2.0, 30.0)),
                ),
                (
                    "paths.struck-neck.area",
                    around(1.6 * between(0.7, 1.4), "mm2"),
                ),
                ("nose.mass", format!("{:.3} kg", between(0.15, 0.5))),
                ("nose.engagement", format!("{:.1} mm", between(40.0, 80.0))),
                ("nose.static_friction", friction(rub)),
                ("nose.kinetic_friction", friction(0.65 * rub)),
            ]
        }
        "tern-primary.ron" => {
            let (part, charge) = [("co2-12g", 12.0), ("co2-16g", 16.0), ("co2-25g", 25.0)]
                [(3.0 * between(0.0, 0.999)) as usize];
            let rub = 45.0 * between(0.6, 1.6);
            vec![
                ("vessels.cartridge.part", part.to_owned()),
                ("vessels.cartridge.charge", near(charge, 0.015, "g")),
                (
                    "vessels.bay.volume",
                    near(1.15 * between(0.7, 1.5), 0.04, "L"),
                ),
                (
                    "shared.soak",
                    format!("normal {:.1} degC sd 5 degC", between(-8.0, 20.0)),
                ),
                (
                    "paths.pierced-neck.diameter",
                    around(2.1 * between(0.8, 1.2), "mm"),
                ),
                (
                    "paths.valve.diameter",
                    format!("{:.2} mm", between(2.4, 3.8)),
                ),
                ("nose.mass", near(between(0.6, 1.4), 0.01, "kg")),
                ("nose.engagement", format!("{:.1} mm", between(70.0, 130.0))),
                (
                    "nose.pins.0.strength",
                    near(125.0 * between(0.7, 1.4), 0.08, "N"),
                ),
                ("nose.static_friction", friction(rub)),
                ("nose.kinetic_friction", friction(0.65 * rub)),
            ]
        }
        _ => {
            let rub = 110.0 * between(0.6, 1.6);
            vec![
                (
                    "vessels.bay.volume",
                    near(4.2 * between(0.7, 1.4), 0.04, "L"),
                ),
                (
                    "vessels.reservoir.volume",
                    format!("{:.3} L", between(0.18, 0.35)),
                ),
                (
                    "shared.soak",
                    format!("normal {:.1} degC sd 6 degC", between(-12.0, 15.0)),
                ),
                (
                    "paths.pierced-neck.diameter",
                    around(2.4 * between(0.85, 1.2), "mm"),
                ),
                (
                    "paths.primary.diameter",
                    format!("{:.2} mm", between(4.5, 7.5)),
                ),
                ("nose.mass", near(between(1.8, 3.4), 0.01, "kg")),
                (
                    "nose.engagement",
                    format!("{:.1} mm", between(110.0, 190.0)),
                ),
                (
                    "nose.pins.0.strength",
                    near(215.0 * between(0.7, 1.4), 0.08, "N"),
                ),
                ("nose.static_friction", friction(rub)),
                ("nose.kinetic_friction", friction(0.65 * rub)),
            ]
        }
    }
}
