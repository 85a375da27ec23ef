//! The runs made by the thousand - tables, a loose tolerance, an end at the separation - against the
//! full equations to a fine tolerance and the whole horizon: peak pressure, break time, clear time and
//! exit speed within 0.1 %, the force available with the nose held too, times within 0.1 % or 20 us.

#[path = "common/campaign.rs"]
mod campaign;
#[path = "common/random_designs.rs"]
mod random_designs;

use campaign::DESIGNS;
use coldkick::design::Design;
use coldkick::discharge::{Outcome, Settings, Watched, run};
use coldkick::network::criteria::Criteria;
use coldkick::network::spec::System;
use coldkick::statistics::{QuantileFunction, Sampler, SamplingMethod};
use coldkick::study::Campaign;
use coldkick::study::criterion::{Criterion, CriterionKind};
use coldkick::study::trial::{ENOUGH, try_system};
use random_designs::random_design;
use rayon::prelude::*;

const LARGEST: f64 = 1e-3;
const SHORT: f64 = 20e-6;

fn designs() -> Vec<(String, Design)> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/designs");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .expect("the shipped designs")
        .map(|entry| entry.expect("a file").path())
        .collect();
    files.sort();
    let name = |path: &std::path::Path| path.file_stem().unwrap().to_string_lossy().into_owned();
    files
        .iter()
        .map(|path| (name(path), Design::read(path).expect("a valid design")))
        .collect()
}

fn exact() -> Settings {
    Settings {
        relative_tolerance: 1e-7,
        exact_properties: true,
        most_steps: 200_000,
        ..Settings::default()
    }
}

/// The largest of the four relative differences, times below the short time counting as none; what
/// happens in one run and not in the other is a difference of one.
fn difference(fast: &Outcome, exact: &Outcome) -> f64 {
    let time = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) if (a - b).abs() < SHORT => 0.0,
        (Some(a), Some(b)) => (a / b - 1.0).abs(),
        (None, None) => 0.0,
        _ => 1.0,
    };
    let speed = match (fast.exit_speed, exact.exit_speed) {
        (Some(a), Some(b)) => (a / b - 1.0).abs(),
        (None, None) => 0.0,
        _ => 1.0,
    };
    let pressure = fast.peak_bay_pressure.value / exact.peak_bay_pressure.value - 1.0;
    [
        pressure.abs(),
        time(fast.pins_break_time, exact.pins_break_time),
        time(fast.clear_time, exact.clear_time),
        speed,
    ]
    .into_iter()
    .fold(0.0, f64::max)
}

/// The force available with the nose held, over retention.
fn held_factor(system: &System, settings: &Settings) -> f64 {
    let asked = Criteria {
        retention_factor: Some(1.0),
        ..Criteria::default()
    };
    let found = try_system(system, &asked, settings).expect("a trial");
    let is_factor = |criterion: &&Criterion| criterion.kind == CriterionKind::RetentionFactor;
    let factor = found.criteria.iter().find(is_factor).expect("the factor");
    factor.value.expect("a value")
}

fn compare(system: &System) -> f64 {
    let fast = run(system, &Settings::for_many_runs()).expect("a fast run");
    let free = run(system, &exact()).expect("an exact run");
    let factor =
        held_factor(system, &Settings::for_many_runs()) / held_factor(system, &exact()) - 1.0;
    difference(&fast.outcome, &free.outcome).max(factor.abs())
}

#[test]
fn shipped_designs_at_their_central_values() {
    for (name, design) in designs() {
        let (system, _) = design.system(&design.central()).expect("a system");
        let difference = compare(&system);
        println!("{name}: {difference:.1e}");
        assert!(difference < LARGEST, "{name}: {difference:e}");
    }
}

/// Draws of the designs that are not sizing problems: whatever its distributions allow, every choice of draw included.
fn drawn(each: u64) -> Vec<(String, f64)> {
    let systems: Vec<(String, System)> = designs()
        .into_iter()
        .filter(|(name, _)| !name.starts_with("sizing"))
        .flat_map(|(name, design)| {
            let quantiles: Vec<_> = design
                .inputs()
                .iter()
                .map(|input| QuantileFunction::new(&input.distribution).expect("a distribution"))
                .collect();
            let sampler = Sampler::new(SamplingMethod::Plain, 11, quantiles.len(), each, 1)
                .expect("a sampler");
            let mut systems = Vec::new();
            for trial in 0..each {
                let mut values = vec![0.0; quantiles.len()];
                sampler.uniforms(trial, &mut values).expect("a trial");
                for (value, quantile) in values.iter_mut().zip(&quantiles) {
                    *value = quantile.at(*value);
                }
                if let Ok((system, _)) = design.system(&values) {
                    systems.push((format!("{name}, trial {trial}"), system));
                }
            }
            systems
        })
        .collect();
    compared(&systems)
}

/// Designs with sizes of their own, each at values drawn from its distributions.
fn random(seeds: std::ops::Range<u64>) -> Vec<(String, f64)> {
    let system = |seed: u64| -> Option<(String, System)> {
        let design = random_design(seed);
        let campaign = Campaign::new(design.draws().ok()?, SamplingMethod::Plain, seed, 1).ok()?;
        let (system, _) = design.system(&campaign.values(0).ok()?).ok()?;
        let base = DESIGNS[seed as usize % DESIGNS.len()];
        Some((format!("like {base}, seed {seed}"), system))
    };
    let systems: Vec<_> = seeds.into_par_iter().filter_map(system).collect();
    compared(&systems)
}

fn compared(systems: &[(String, System)]) -> Vec<(String, f64)> {
    systems
        .par_iter()
        .map(|(name, system)| (name.clone(), compare(system)))
        .collect()
}

fn check(mut compared: Vec<(String, f64)>, least: usize) {
    assert!(compared.len() >= least, "only {} designs", compared.len());
    compared.sort_by(|a, b| b.1.total_cmp(&a.1));
    // The worst three of each design.
    let design = |name: &str| name.split(',').next().map(str::to_owned);
    for (i, (name, difference)) in compared.iter().enumerate() {
        let worse = compared[..i].iter();
        if worse
            .filter(|(other, _)| design(other) == design(name))
            .count()
            < 3
        {
            println!("{name}: {difference:.2e}");
        }
    }
    let within = compared.iter().filter(|(_, d)| *d < LARGEST).count();
    println!("{within} of {} within 0.1 %", compared.len());
    let (name, worst) = &compared[0];
    assert!(*worst < LARGEST, "{name}: {worst:e}");
}

#[test]
fn drawn_designs() {
    check(drawn(8), 20);
}

/// Trials that are only counted stop following the force with the nose held at a multiple of what is
/// wanted: they must judge as runs that follow it to the end. What is wanted is set near the median, so that about half
/// fail it.
#[test]
fn a_force_followed_only_so_far_is_judged_alike() {
    let quick = |wanted: f64| Settings {
        enough: Some(ENOUGH * wanted),
        ..Settings::for_many_runs()
    };
    for (name, design) in designs() {
        if name.starts_with("sizing") {
            continue;
        }
        let central = design.system(&design.central()).expect("a system").0;
        let wanted = held_factor(&central, &Settings::for_many_runs());
        let campaign =
            Campaign::new(design.draws().unwrap(), SamplingMethod::Plain, 5, 40).unwrap();
        let mut failed = 0;
        for index in 0..40 {
            let (system, _) = design.system(&campaign.values(index).unwrap()).unwrap();
            for share in [1.0, 0.3] {
                let criteria = Criteria {
                    retention_factor: Some(share * wanted),
                    ..Criteria::default()
                };
                let full = try_system(&system, &criteria, &Settings::for_many_runs()).unwrap();
                let counted = try_system(&system, &criteria, &quick(share * wanted)).unwrap();
                assert_eq!(
                    full.first_failed(),
                    counted.first_failed(),
                    "{name} {index}"
                );
                let pairs = full.margins.iter().zip(&counted.margins);
                for (full, counted) in pairs.map(|(a, b)| (a.unwrap(), b.unwrap())) {
                    let followed =
                        full == counted || counted > ENOUGH - 1.0 - 1e-9 && full >= counted;
                    assert!(followed, "{name} {index}: {full} {counted}");
                }
                failed += u32::from(full.first_failed().is_some());
            }
        }
        println!("{name}: {failed} of 80 fail");
        assert!((5..75).contains(&failed), "{name}: {failed}");
    }
}

/// Five hundred of them take some four minutes.
#[test]
#[ignore = "long: cargo test --release --test verification_fast_runs -- --ignored --nocapture"]
fn five_hundred_drawn_designs() {
    check(drawn(170), 500);
}

/// With the nose held the force of this design has a flat peak late in the run, fed by dry ice: to a tolerance of 1e-5 it is off
/// by 4e-4 to one side or 7e-4 to the other, which was more than 0.1 % while runs to be held against were as loose.
#[test]
fn a_flat_peak_with_the_nose_held() {
    let (name, difference) = &random(261..262)[0];
    println!("{name}: {difference:.2e}");
    assert!(*difference < LARGEST, "{name}: {difference:e}");
}

#[test]
fn random_designs() {
    check(random(0..12), 12);
}

#[test]
#[ignore = "long: cargo test --release --test verification_fast_runs -- --ignored --nocapture"]
fn five_hundred_random_designs() {
    check(random(100..600), 490);
}

/// Where samples are kept closer than a run is looked at, they lie on the curve of one with ten times as many, each of
/// which was looked at: to 3e-4 of the rise, a tenth of what a pressure sensor shows.
#[test]
fn samples_between_looks_are_those_of_the_run() {
    for name in ["dunlin-bench", "tern-primary", "gannet-reservoir-backup"] {
        let (_, design) = designs().into_iter().find(|(n, _)| n == name).unwrap();
        let (system, _) = design.system(&design.central()).unwrap();
        let bay = |apart: (f64, f64), watched: Option<Watched>| {
            let settings = Settings {
                relative_tolerance: 3e-6,
                apart: Some(apart),
                watched,
                ..Settings::default()
            };
            let mut trajectory = run(&system, &settings).unwrap().trajectory;
            (
                trajectory.times,
                trajectory.vessels.swap_remove(system.bay()).pressure,
            )
        };
        let (times, pressures) = bay((3e-5, 5e-4), None);
        let most = pressures.iter().copied().fold(0.0, f64::max);
        let least = pressures.iter().copied().fold(most, f64::min);
        let mut worst = 0.0_f64;
        let (at, between) = bay((3e-4, 5e-3), Watched::new([system.bay()]));
        for (time, pressure) in at.iter().zip(&between) {
            let after = times
                .partition_point(|t| t < time)
                .clamp(1, times.len() - 1);
            let share = (time - times[after - 1]) / (times[after] - times[after - 1]);
            let curve = pressures[after - 1] + share * (pressures[after] - pressures[after - 1]);
            worst = worst.max((pressure - curve).abs() / (most - least));
        }
        println!("{name}: {worst:.1e} of the rise in {} samples", at.len());
        assert!(worst < 3e-4, "{name}: {worst:e}");
    }
}
