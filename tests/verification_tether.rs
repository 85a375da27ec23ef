//! The load on the tether: runs by the thousand must see what a whole run sees, damped lightly or so
//! much that the greatest tension is at the instant of running taut; an early horizon must not hide it.

use coldkick::design::{Design, edit};
use coldkick::discharge::{Ending, EventKind, Extent, Outcome, Settings, run};
use coldkick::mechanics::NoseEvent;
use coldkick::mechanics::tether::damped_peak;
use coldkick::network::criteria::Criteria;
use coldkick::network::spec::System;
use coldkick::study::criterion::CriterionKind;
use coldkick::study::trial::try_system;

const TERN: &str = include_str!("../fixtures/designs/tern-primary.ron");
const NAME: &str = "tern-primary.ron";

fn tern(changes: &[(&str, &str)]) -> (System, Criteria) {
    let mut text = TERN.to_owned();
    for (path, value) in changes {
        text = edit::set(NAME, &text, path, value).expect("a change");
    }
    let design = Design::parse(NAME, &text).expect("a valid design");
    design.system(&design.central()).expect("a system")
}

fn load(outcome: &Outcome) -> f64 {
    outcome.peak_tether_load.expect("a tether that pulls").value
}

#[test]
fn runs_by_the_thousand_see_the_load_of_a_whole_run_at_every_damping() {
    for ratio in ["0.1", "0.3", "0.5", "0.8"] {
        let (system, criteria) = tern(&[
            ("nose.tether.damping_ratio", ratio),
            ("nose.tether.rating", "200 N"),
        ]);
        let whole = run(&system, &Settings::default()).expect("a whole run");
        let settings = Settings::for_many_runs();
        let short = run(&system, &settings).expect("a short run");
        assert_eq!(whole.outcome.ending, Ending::TetherTaut, "{ratio}");
        assert_eq!(short.outcome.ending, Ending::TetherTaut, "{ratio}");
        let (whole_load, short_load) = (load(&whole.outcome), load(&short.outcome));
        // The bay has no hold on the nose by then: what is left is the looser tolerance.
        assert!(
            (short_load / whole_load - 1.0).abs() < 3e-3,
            "{ratio}: {short_load} against {whole_load}"
        );
        let found = try_system(&system, &criteria, &settings).expect("a trial");
        let judged = found
            .criteria
            .iter()
            .find(|criterion| criterion.kind == CriterionKind::TetherRating)
            .expect("the rating");
        assert_eq!(judged.value, Some(short_load));
        assert!(!judged.pass, "{ratio}");
    }
}

/// A nose of a wide bore makes more room than the gas fills: the bay is below the outside when it is clear and sucks at
/// the nose until air has come in. Runs by the thousand had taken it for vented.
#[test]
fn a_bay_below_the_outside_slows_the_nose_in_every_run() {
    let mut slowed = 0;
    for bore in ["110 mm", "115 mm", "130 mm"] {
        let (system, _) = tern(&[("nose.bore", bore), ("horizon", "8 s")]);
        let whole = run(&system, &Settings::default()).expect("a whole run");
        let short = run(&system, &Settings::for_many_runs()).expect("a short run");
        let nose = whole.trajectory.nose.as_ref().expect("a nose");
        let taut = whole
            .events
            .iter()
            .find(|e| e.kind.is_nose(NoseEvent::Taut));
        let at = taut.map(|event| whole.trajectory.times.partition_point(|t| *t < event.time));
        let (exit, last) = (
            whole.outcome.exit_speed.expect("a speed"),
            nose.speed[at.expect("a tether")],
        );
        slowed += usize::from(last < 0.98 * exit);
        let (whole, short) = (load(&whole.outcome), load(&short.outcome));
        assert!(
            (short / whole - 1.0).abs() < 3e-3,
            "{bore}: {short} against {whole}"
        );
    }
    assert!(slowed > 0);
}

/// From where the bay has vented there is nothing but the tether between nose and body, and the nose keeps
/// its last speed up to it: the load is that of the closed form.
#[test]
fn the_load_of_a_coasting_nose_is_that_of_the_closed_form() {
    let settings = Settings {
        extent: Extent::Separation,
        ..Settings::default()
    };
    for ratio in [0.1, 0.3, 0.5, 0.8] {
        let (system, _) = tern(&[("nose.tether.damping_ratio", &ratio.to_string())]);
        let found = run(&system, &settings).expect("a run");
        let (nose, _) = system.nose.as_ref().expect("a nose");
        let tether = nose.tether.as_ref().expect("a tether");
        let course = found.trajectory.nose.as_ref().expect("a nose");
        let (travel, speed) = (
            course.travel.last().expect("a sample"),
            course.speed.last().expect("a sample"),
        );
        assert!(*travel < tether.length);
        let mass = nose.reduced_mass();
        let expected = damped_peak(*speed, tether.stiffness, mass, tether.damping).expect("a peak");
        let load = load(&found.outcome);
        assert!(
            (load / expected - 1.0).abs() < 1e-6,
            "{ratio}: {load} against {expected}"
        );
    }
}

#[test]
fn a_horizon_before_the_tether_is_taut_does_not_hide_its_load() {
    for extent in [Extent::Horizon, Extent::Separation] {
        for loose_end in [false, true] {
            let settings = Settings {
                extent,
                loose_end,
                ..Settings::default()
            };
            let (system, _) = tern(&[]);
            let whole = run(&system, &settings).expect("a run");
            let (system, _) = tern(&[("horizon", "0.8 s")]);
            let early = run(&system, &settings).expect("a run");
            let taut = |kind: &EventKind| kind.is_nose(NoseEvent::Taut);
            assert!(whole.events.iter().any(|event| taut(&event.kind)));
            assert!(!early.events.iter().any(|event| taut(&event.kind)));
            assert_eq!(early.outcome.ending, Ending::Horizon);
            assert!(early.outcome.furthest_travel < whole.outcome.furthest_travel);
            let (early, whole) = (load(&early.outcome), load(&whole.outcome));
            assert!(
                (early / whole - 1.0).abs() < 1e-3,
                "{extent:?}: {early} against {whole}"
            );
        }
    }
}

/// Gravity at the pad takes a slow nose back before its tether is taut.
#[test]
fn a_nose_that_falls_back_after_the_horizon_has_pulled_on_nothing() {
    let (mut system, criteria) = tern(&[
        ("nose.tether.rating", "200 N"),
        ("nose.tether.length", "20 m"),
        ("horizon", "0.8 s"),
    ]);
    if let Some((nose, _)) = &mut system.nose {
        nose.body_mass = None;
        nose.hold_down = 9.81 * nose.mass;
    }
    let found = try_system(&system, &criteria, &Settings::for_many_runs()).expect("a trial");
    let judged = found
        .criteria
        .iter()
        .find(|criterion| criterion.kind == CriterionKind::TetherRating)
        .expect("the rating");
    assert!(found.clear_time.is_some());
    assert_eq!(judged.value, Some(0.0));
    assert!(judged.pass);
}

/// A nose that hangs from a much damped tether neither slackens it nor pulls a second time.
#[test]
fn a_nose_that_hangs_from_its_tether_is_followed_no_longer_than_it_takes_to_settle() {
    for horizon in ["0.8 s", "2 s", "60 s"] {
        let (mut system, _) = tern(&[("nose.tether.damping_ratio", "1"), ("horizon", horizon)]);
        if let Some((nose, _)) = &mut system.nose {
            nose.body_mass = None;
            nose.hold_down = -9.81 * nose.mass;
        }
        let short = run(&system, &Settings::for_many_runs()).expect("a short run");
        let long = run(&system, &Settings::default()).expect("a whole run");
        let (short, long) = (load(&short.outcome), load(&long.outcome));
        assert!(
            (short / long - 1.0).abs() < 3e-3,
            "{horizon}: {short} against {long}"
        );
    }
}
