//! Whole discharges held against a second program: another language, other libraries, other methods, the
//! same theory (`fixtures/published/second-program`).

mod common;

#[path = "common/command.rs"]
mod command;

use coldkick::design::Design;
use coldkick::discharge::{Discharge, EventKind, Settings, run};
use command::coldkick;
use common::{Row, close, number, number_if_any, published};
use serde_json::Value;

const SET: &str = "fixtures/published/second-program";

fn answers() -> Vec<Row> {
    let mut reader = csv::Reader::from_path(format!("{SET}/answers.csv")).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

fn discharge(case: &str, settings: &Settings) -> Discharge {
    let path = format!("{SET}/cases/{case}.ron");
    let text = std::fs::read_to_string(&path).unwrap();
    let design = Design::parse(&path, &text).unwrap();
    let (system, _) = design.system(&design.central()).unwrap();
    run(&system, settings).unwrap()
}

/// A course between its samples: the cubic through four of them, never across an event, where a time stands twice.
fn at(times: &[f64], values: &[f64], t: f64) -> f64 {
    let right = times.partition_point(|time| *time < t).max(1);
    let (mut first, mut last) = (right - 1, right.min(times.len() - 1));
    if first > 0 && times[first - 1] < times[first] {
        first -= 1;
    }
    if last + 1 < times.len() && times[last] < times[last + 1] {
        last += 1;
    }
    let mut sum = 0.0;
    for i in first..=last {
        let mut weight = 1.0;
        for j in (first..=last).filter(|j| *j != i) {
            weight *= (t - times[j]) / (times[i] - times[j]);
        }
        sum += weight * values[i];
    }
    sum
}

/// Largest difference seen so far.
struct Worst(f64, f64);

impl Worst {
    fn see(&mut self, difference: f64, t: f64) {
        if difference.abs() > self.0 {
            *self = Worst(difference.abs(), t);
        }
    }
}

/// Where the two programs are known to differ, and by how much: see `SOURCE.toml`. `brim` is the law of the liquid that
/// goes along with vapour from a cartridge that has just begun to boil.
fn compare(case: &str, brim: f64) {
    let found = discharge(case, &Settings::default());
    let answer = answers().into_iter().find(|row| row["case"] == case);
    let answer = answer.unwrap();
    let times = 5e-5 + brim;
    let outcome = &found.outcome;
    for (what, value, column) in [
        ("break", outcome.pins_break_time, "break_s"),
        ("clear", outcome.clear_time, "clear_s"),
        ("exit speed", outcome.exit_speed, "exit_m_s"),
    ] {
        let reference = number_if_any(&answer, column);
        assert_eq!(value.is_some(), reference.is_some(), "{case}: {what}");
        if let (Some(value), Some(reference)) = (value, reference) {
            println!("{case} {what}: {:.1e}", value / reference - 1.0);
            close(&format!("{case}: {what}"), value, reference, times);
        }
    }
    let event = |wanted: fn(&EventKind) -> bool| {
        let found = found.events.iter().find(|event| wanted(&event.kind));
        found.map(|event| event.time)
    };
    for (what, time, column) in [
        (
            "starts to boil",
            event(|kind| matches!(kind, EventKind::TwoPhase { vessel } if vessel == "cartridge")),
            "boils_s",
        ),
        (
            "liquid gone",
            event(|kind| matches!(kind, EventKind::LiquidGone { .. })),
            "dry_s",
        ),
    ] {
        if let Some(reference) = number_if_any(&answer, column) {
            println!("{case} {what}: {:.1e}", time.unwrap() / reference - 1.0);
            close(&format!("{case}: {what}"), time.unwrap(), reference, 1e-4);
        }
    }

    let clear = number_if_any(&answer, "clear_s");
    let course = &found.trajectory;
    let vessel = |name: &str| course.vessels.iter().find(|vessel| vessel.name == name);
    let (cartridge, bay) = (vessel("cartridge").unwrap(), vessel("bay").unwrap());
    // Before and after the nose is clear. After it the bay stands within a thousandth of the pressure
    // outside, where the laws differ, and a run goes on at a tolerance of 1e-5 of the charge.
    let mut worst = Vec::new();
    for row in published("second-program")
        .iter()
        .filter(|row| row["case"] == case)
    {
        let t = number(row, "t_s");
        let late = clear.is_some_and(|clear| t > clear);
        let allowed = if late { 1.5e-3 } else { 1e-4 + brim };
        // A bay that is open from the start is within a hundredth of the pressure outside throughout.
        let open = if clear.is_none() { 5.0 } else { 2.0 };
        let mut series = vec![
            (
                "cartridge pressure",
                &cartridge.pressure,
                "cartridge_p_Pa",
                1.0,
            ),
            (
                "cartridge temperature",
                &cartridge.temperature,
                "cartridge_T_K",
                1.0,
            ),
            (
                "cartridge charge",
                &cartridge.co2_mass,
                "cartridge_co2_kg",
                1.0,
            ),
            ("bay pressure", &bay.pressure, "bay_p_Pa", open),
            ("bay temperature", &bay.temperature, "bay_T_K", open),
        ];
        // A small vessel between two others, in balance with them as long as the valve is shut.
        if let Some(manifold) = vessel("manifold") {
            series.push((
                "manifold pressure",
                &manifold.pressure,
                "manifold_p_Pa",
                3.0,
            ));
        }
        for (place, (what, values, column, factor)) in series.into_iter().enumerate() {
            let reference = number(row, column);
            let difference = at(&course.times, values, t) / reference - 1.0;
            if worst.len() <= place {
                worst.push((what, Worst(0.0, 0.0), Worst(0.0, 0.0)));
            }
            let (_, early, after) = &mut worst[place];
            if late { after } else { early }.see(difference, t);
            assert!(
                difference.abs() <= allowed * factor,
                "{case}: {what} at {t} s: {difference:.2e} beside {reference}"
            );
        }
        // Dry ice as a share of the charge.
        let charge = 0.016;
        for (what, values, column) in [
            (
                "ice in the cartridge",
                &cartridge.solid_mass,
                "cartridge_ice_kg",
            ),
            ("snow in the bay", &bay.solid_mass, "bay_ice_kg"),
        ] {
            let difference = (at(&course.times, values, t) - number(row, column)) / charge;
            assert!(
                difference.abs() < 1e-5 + brim + if late { 5e-5 } else { 0.0 },
                "{case}: {what} at {t} s: {difference:.2e}"
            );
        }
        if let (Some(nose), Some(travel)) = (&course.nose, number_if_any(row, "travel_m")) {
            let difference = at(&course.times, &nose.travel, t) - travel;
            // The times of breaking, carried on by the speed.
            let most = 1e-9 + 2.0 * times * t * number(row, "speed_m_s").abs() + 1e-4 * travel;
            assert!(
                difference.abs() <= most,
                "{case}: travel at {t} s: {difference:.2e} m"
            );
        }
    }
    for (what, early, after) in worst {
        println!(
            "{case} {what}: {:.1e} at {:.3} s, after clear {:.1e} at {:.3} s",
            early.0, early.1, after.0, after.1
        );
    }
    if let Some(reference) = number_if_any(&answer, "held_p_Pa") {
        let held = discharge(case, &Settings::default().with_nose_held());
        let pressure = held.outcome.peak_bay_pressure.value;
        println!("{case} held: {:.1e}", pressure / reference - 1.0);
        close(&format!("{case}: held"), pressure, reference, 1e-4);
    }
}

#[test]
fn vapour_through_a_ramp_in_flight() {
    compare("vapour", 0.0);
}

#[test]
fn manifold_and_servo_ball_valve() {
    compare("manifold", 0.0);
}

#[test]
fn liquid_with_snow_in_the_bay() {
    compare("liquid", 0.0);
}

/// The second program puts a straight line where the theory says "some liquid too".
#[test]
fn full_of_liquid_at_30_degrees() {
    compare("dense", 3e-4);
}

#[test]
fn shells_that_give_heat() {
    compare("walls", 0.0);
}

#[test]
fn down_to_dry_ice() {
    compare("triple", 0.0);
}

/// Causes, and what each is worth, of tests that the second program made.
fn truths() -> Vec<Row> {
    let mut reader = csv::Reader::from_path(format!("{SET}/traces/truth.csv")).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

/// Diagnoses one of the records; says whether the 90 % interval holds the truth.
fn found(cause: &str) -> Option<bool> {
    let truth = truths().into_iter().find(|row| row["cause"] == cause);
    let truth = number_if_any(&truth.unwrap(), "value_si");
    let (design, record) = (
        format!("{SET}/traces/tested.ron"),
        format!("{SET}/traces/{cause}.csv"),
    );
    let done = coldkick(&[
        "diagnose", &design, &record, "--trials", "0", "--format", "json",
    ]);
    assert!(done.code < 2, "{}", done.err);
    let json: Value = serde_json::from_str(&done.out).unwrap();
    let first = &json["causes"][0];
    assert_eq!(first["cause"], cause, "{}", done.out);
    let truth = truth?;
    let value = |name: &str| first["values"][0][name].as_f64().unwrap();
    let (low, best, high) = (value("low"), value("value"), value("high"));
    println!("{cause}: {best:.4e} ({low:.4e} .. {high:.4e}), truth {truth:.4e}");
    // Half as far again, 2.5 standard deviations, is not missed by chance in ten records.
    let (middle, half) = ((low + high) / 2.0, (high - low) / 2.0);
    assert!((truth - middle).abs() <= 1.5 * half, "{cause}: {truth}");
    Some((low..=high).contains(&truth))
}

/// Ten faults and none, one record each: the true cause comes first in all.
/// Eight of the ten 90 % intervals hold the truth (nine are to be expected); the other two miss it by 0.1 and 0.7 %.
#[test]
fn faults_in_records_of_the_second_program_are_named() {
    let held = truths()
        .iter()
        .filter_map(|row| found(&row["cause"]))
        .collect::<Vec<_>>();
    assert_eq!(held.len(), 10);
    let inside = held.iter().filter(|held| **held).count();
    // Seven or more have a chance of 99 % where the intervals are honest.
    assert!(inside >= 7, "{inside} of {}", held.len());
}
