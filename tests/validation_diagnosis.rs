//! Diagnoses held against experiments whose answer is published, and against synthetic tests with
//! known faults.

mod common;

#[path = "common/campaign.rs"]
mod campaign;
#[path = "common/experiments.rs"]
mod experiments;
#[path = "common/random_designs.rs"]
mod random_designs;
#[path = "common/tally.rs"]
mod tally;

use campaign::Faults;
use coldkick::design::{Design, edit};
use coldkick::flow::FluxModel;
use coldkick::network::criteria::Criteria;
use coldkick::network::spec::{InsideHeat, System};
use coldkick::statistics::Distribution;
use coldkick::study::diagnosis::{
    BuildError, Cause, Channel, DesignInput, Diagnosis, DiagnosisSettings, Measured, Observable,
    Trigger, diagnose,
};
use coldkick::units::Dimension;
use common::{Row, number, published};
use tally::{Share, Tally};

/// Measured pressures of the first vessel as a channel; `deviation` is how well they are read [Pa].
fn channel(rows: &[Row], column: &str, unit: f64, offset: f64, deviation: f64) -> Channel {
    let times: Vec<f64> = rows.iter().map(|row| number(row, "t_s")).collect();
    let values: Vec<f64> = rows
        .iter()
        .map(|row| number(row, column) * unit + offset)
        .collect();
    let most = values.iter().copied().fold(0.0, f64::max);
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    Channel {
        observable: Observable::Pressure {
            vessel: 0,
            gauge: false,
        },
        label: column.to_owned(),
        spans: times.iter().map(|t| (*t, *t, 1)).collect(),
        deviations: vec![deviation; values.len()],
        saturated: vec![false; values.len()],
        noise: deviation,
        samples: values.len(),
        range: most - least,
        onset: None,
        interval: (times.last().unwrap() - times[0]) / (times.len() - 1) as f64,
        times,
        values,
    }
}

fn input(path: &str, dimension: Dimension, distribution: Distribution) -> DesignInput {
    DesignInput {
        path: path.to_owned(),
        distribution,
        dimension,
        own: false,
    }
}

/// Fits the design as it is, no faults, to one measured blowdown.
fn fitted(
    inputs: &[DesignInput],
    build: &(dyn Fn(&[f64]) -> System + Sync),
    channel: Channel,
) -> Diagnosis {
    let measured = [Measured {
        name: "published".to_owned(),
        channels: vec![channel],
        trigger: Trigger::Known {
            time: 0.0,
            deviation: 0.02,
        },
    }];
    let settings = DiagnosisSettings {
        causes: vec![Cause::NothingWrong],
        ..DiagnosisSettings::default()
    };
    let build = |values: &[f64]| -> Result<(System, Criteria), BuildError> {
        Ok((build(values), Criteria::default()))
    };
    diagnose(inputs, &[], &build, &measured, &settings, &|_| {}).unwrap()
}

fn value<'a>(answer: &'a Diagnosis, path: &str) -> &'a coldkick::study::diagnosis::FittedValue {
    answer
        .values
        .iter()
        .find(|value| value.path.as_deref() == Some(path))
        .unwrap()
}

/// Thorncroft et al.: 16.18 L of air from 7.90 bar, 298 K through 2.71 mm, published coefficient
/// 0.84. Neither it nor the start nor the heat of the (unknown) wall is told to the fit.
#[test]
fn air_tank_gives_its_orifice_and_its_start() {
    let inputs = [
        input(
            "paths.hole.discharge_coefficient",
            Dimension::Fraction,
            Distribution::Uniform {
                low: 0.55,
                high: 1.0,
            },
        ),
        input(
            "vessels.tank.pressure",
            Dimension::AbsolutePressure,
            Distribution::Uniform {
                low: 7e5,
                high: 9e5,
            },
        ),
        input(
            "vessels.tank.wall.coefficient",
            Dimension::HeatTransferCoefficient,
            Distribution::Lognormal {
                median: 8.0,
                factor: 2.0,
            },
        ),
    ];
    let build = |values: &[f64]| {
        let mut system = experiments::thorncroft(true);
        system.paths[0].discharge_coefficient = values[0];
        system.vessels[0].air_mass *= values[1] / 7.9e5;
        if let Some(wall) = &mut system.vessels[0].wall {
            wall.inside = InsideHeat::Coefficient(values[2]);
        }
        system
    };
    let rows = published("thorncroft-2007");
    // Read from a figure: a hundredth of the range.
    let answer = fitted(&inputs, &build, channel(&rows, "p_bar", 1e5, 0.0, 0.03e5));
    let coefficient = value(&answer, "paths.hole.discharge_coefficient");
    let pressure = value(&answer, "vessels.tank.pressure");
    println!("Cd {coefficient:?}\np0 {pressure:?}\n{:?}", answer.goodness);
    assert!(
        coefficient.low < 0.84 && 0.84 < coefficient.high,
        "{coefficient:?}"
    );
    assert!(coefficient.high - coefficient.low < 0.2, "{coefficient:?}");
    assert!(
        pressure.low < 7.9e5 && 7.9e5 < pressure.high,
        "{pressure:?}"
    );
    assert!(pressure.high - pressure.low < 0.5e5, "{pressure:?}");
}

/// Zimmerman et al.: CO2 tanks emptied at the bottom; published coefficient, temperature and mass.
/// The flow model between equilibrium and frozen is left open, as the model itself is not known to
/// better. Seven of nine published values lie in their 90 % intervals. Outside: the coefficient of
/// tank B (0.79, published 0.65) and the temperature of tank C (1.7 K low): no blend of the two models
/// is the flow of flashing liquid through those holes (docs/validation.md), and they take it up.
#[test]
fn carbon_dioxide_tanks_give_their_orifice_and_their_start() {
    for tank in experiments::Tank::all() {
        let inputs = [
            input(
                "paths.hole.discharge_coefficient",
                Dimension::Fraction,
                Distribution::Uniform {
                    low: 0.5,
                    high: 0.95,
                },
            ),
            input(
                "paths.hole.flow_blend",
                Dimension::Fraction,
                Distribution::Uniform {
                    low: 0.0,
                    high: 1.0,
                },
            ),
            input(
                "vessels.tank.temperature",
                Dimension::Temperature,
                Distribution::Normal {
                    mean: tank.temperature - 2.0,
                    standard_deviation: 3.0,
                },
            ),
            input(
                "vessels.tank.charge",
                Dimension::Mass,
                Distribution::Normal {
                    mean: 0.97 * tank.mass,
                    standard_deviation: 0.04 * tank.mass,
                },
            ),
        ];
        let build = |values: &[f64]| {
            let mut system = tank.system(FluxModel::Between(values[1]), true);
            system.paths[0].discharge_coefficient = values[0];
            system.vessels[0].temperature = values[2];
            system.vessels[0].co2_mass = values[3];
            if let Some(wall) = &mut system.vessels[0].wall {
                wall.temperature = values[2];
            }
            system
        };
        let rows = tank.measured();
        let answer = fitted(
            &inputs,
            &build,
            channel(&rows, "p_MPa", 1e6, tank.offset, 0.5e5),
        );
        let names = [
            ("paths.hole.discharge_coefficient", tank.coefficient),
            ("vessels.tank.temperature", tank.temperature),
            ("vessels.tank.charge", tank.mass),
        ];
        println!(
            "tank {}: {:?} inflation {:.2}",
            tank.name, answer.goodness, answer.inflation
        );
        for (path, _) in &names {
            let v = value(&answer, path);
            println!("   {path} {:.4} [{:.4} {:.4}]", v.value, v.low, v.high);
        }
        println!("   blend {:?}", value(&answer, "paths.hole.flow_blend"));
        for (path, truth) in names {
            let found = value(&answer, path);
            let inside = found.low < truth && truth < found.high;
            let missed = match tank.name {
                "B" => path.ends_with("coefficient"),
                "C" => path.ends_with("temperature"),
                _ => false,
            };
            assert_eq!(
                inside, !missed,
                "tank {}: {path} {truth} in {} .. {}",
                tank.name, found.low, found.high
            );
            assert!((found.value / truth - 1.0).abs() < 0.25, "{found:?}");
        }
    }
}

/// Every cause that has a place on the bench rocket, with the bay, the cartridge and the travel recorded: small
/// enough to run always. The true cause comes first but for one, and is never below a wrong claim.
#[test]
fn faults_are_told_apart() {
    let design = campaign::shipped("dunlin-bench.ron");
    let settings = DiagnosisSettings::default();
    let channels = campaign::all_channels(&design);
    let mut tally = Tally::default();
    for (seed, cause) in (1..).zip(Cause::ALL) {
        let which = Faults::ThatShow;
        let Some(case) = campaign::case(&design, cause, &channels, &settings, seed, which) else {
            continue;
        };
        let answer = campaign::answer(&design, std::slice::from_ref(&case.measured), &settings);
        println!("{}", tally.enter(&case, &answer, 0.0));
        let total: f64 = answer.explanations.iter().map(|e| e.probability).sum();
        assert!(
            (total + answer.none - 1.0).abs() < 1e-9,
            "{total} {}",
            answer.none
        );
    }
    println!("{}", tally.summary());
    let Share(right, tests) = tally.right;
    assert!(tests >= 11 && right + 1 >= tests, "{}", tally.right);
    assert_eq!(tally.sure.0, tally.sure.1, "{}", tally.sure);
}

/// Tests of the campaign on which searches ended in a wrong valley. That followed one start of each cause they said "none
/// of these": a cold cartridge seen by the bay alone, where a neck not fully pierced comes near it, and a
/// sensor off its zero, where only another choice of the discrete values explains the record. Without a start with one
/// value moved the third, a neck, is a valve not fully open at 98 %.
#[test]
fn a_search_leaves_a_wrong_valley() {
    let settings = DiagnosisSettings::default();
    for (seed, cause, all) in [
        (1043, Cause::CartridgeCold, false),
        (1258, Cause::SensorOffset, true),
        (7330, Cause::NeckPartlyPierced, false),
    ] {
        let design = random_designs::random_design(seed);
        let channels = campaign::channels(&design, all);
        let case = campaign::case(&design, cause, &channels, &settings, seed, Faults::ThatShow);
        let measured = case.unwrap().measured;
        let answer = campaign::answer(&design, &[measured], &settings);
        assert_eq!(answer.explanations[0].cause, cause, "{seed}");
        assert!(answer.none < 0.1, "{seed}: {}", answer.none);
    }
}

/// A seal and a port that leak alike are the same hole: of a leak that both may have, neither is
/// claimed beyond 80 %, and the report knows of no channel that would help. The pins are made to hold,
/// so that the fall of the pressure shows the leak.
#[test]
fn what_cannot_be_told_apart_is_not_claimed() {
    let shipped = campaign::shipped("dunlin-bench.ron");
    let pins = "[(strength: \"900 N\", tear_length: \"0.5 mm\")]";
    let text = edit::set("held.ron", shipped.text(), "nose.pins", pins).unwrap();
    let design = Design::parse("held.ron", &text).unwrap();
    let settings = DiagnosisSettings {
        causes: vec![Cause::NothingWrong, Cause::SealLeak, Cause::VentOpen],
        ..DiagnosisSettings::default()
    };
    let channels = [campaign::bay(&design)];
    let leak = 5e-6;
    let case =
        campaign::with_fault(&design, Cause::SealLeak, &[leak], &channels, &settings, 3).unwrap();
    let answer = campaign::answer(&design, &[case.measured], &settings);
    println!("{:#?}", answer.explanations);
    for explanation in &answer.explanations {
        let label = explanation.cause.label();
        println!(
            "{label} {:.3} {:?}",
            explanation.probability, explanation.faults
        );
        let allowed = match explanation.cause {
            Cause::NothingWrong => 0.0..0.05,
            _ => 0.2..0.8,
        };
        assert!(
            allowed.contains(&explanation.probability),
            "{label} {}",
            explanation.probability
        );
    }
    assert!(answer.candidates.is_empty(), "{:?}", answer.candidates);
}

/// The whole campaign:
/// `cargo test --release --test validation_diagnosis -- --ignored --nocapture campaign`.
/// Each test has a random design of its own; `DESIGN` chooses a shipped one instead. `CASES` and
/// `FIRST` choose a part of it, `CHANNELS=all` adds the pressure of the cartridge and the travel of the
/// nose to that of the bay. `ALL=1` takes every fault that is drawn, also those within the spreads of the
/// design.
#[test]
#[ignore = "long: hundreds of diagnoses"]
fn campaign_of_faults() {
    let given = |name: &str, otherwise: u64| {
        let text = std::env::var(name).ok();
        text.and_then(|text| text.parse().ok()).unwrap_or(otherwise)
    };
    let (cases, first_case) = (given("CASES", 400), given("FIRST", 0));
    let all = std::env::var("CHANNELS").is_ok_and(|channels| channels == "all");
    let which = match given("ALL", 0) {
        0 => Faults::ThatShow,
        _ => Faults::Any,
    };
    let settings = DiagnosisSettings::default();
    let name = std::env::var("DESIGN").ok();
    let mut tally = Tally::default();
    for index in first_case..first_case + cases {
        let cause = Cause::ALL[index as usize % Cause::ALL.len()];
        let design = match &name {
            Some(name) => campaign::shipped(name),
            None => random_designs::random_design(index),
        };
        let channels = campaign::channels(&design, all);
        let Some(case) = campaign::case(&design, cause, &channels, &settings, index, which) else {
            println!(
                "{index:4} --  {}: no place, or none that shows",
                cause.label()
            );
            continue;
        };
        let start = std::time::Instant::now();
        let answer = campaign::answer(&design, std::slice::from_ref(&case.measured), &settings);
        let seconds = start.elapsed().as_secs_f64();
        println!("{index:4} {}", tally.enter(&case, &answer, seconds));
    }
    println!("{}", tally.summary());
}
