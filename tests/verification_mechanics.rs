//! The nose as a mechanism: closed forms of each state and of the way between states.

use approx::assert_relative_eq;
use coldkick::mechanics::nose::{Nose, Pin, Spring, Tether};
use coldkick::mechanics::{MechanicsError, Motion, NOSE_EVENTS, NoseEvent};
use proptest::prelude::*;

const AMBIENT: f64 = 90_000.0;

/// A bare 98 mm nose on a bench: no pins, friction, spring or tether.
fn bare() -> Nose {
    Nose {
        mass: 1.5,
        body_mass: None,
        bore: 0.098,
        engagement: 0.08,
        pins: Vec::new(),
        static_friction: 0.0,
        kinetic_friction: 0.0,
        hold_down: 0.0,
        spring: None,
        tether: None,
        gap_discharge_coefficient: 0.8,
    }
}

#[derive(Debug, Clone, Copy)]
struct Mark {
    event: NoseEvent,
    time: f64,
    travel: f64,
    speed: f64,
    motion: Motion,
}

/// Integrates by RK4 with a fixed step, each event located by bisection of the step.
/// `net_pressure` gives bay pressure above ambient against time.
fn fly(nose: &Nose, net_pressure: impl Fn(f64) -> f64, step: f64, end: f64) -> Vec<Mark> {
    let bay = |t: f64| AMBIENT + net_pressure(t);
    let (mut t, mut x, mut v, mut motion) = (0.0_f64, 0.0_f64, 0.0_f64, Motion::Latched);
    let mut marks = Vec::new();
    let advance = |motion, t: f64, x: f64, v: f64, h: f64| {
        let a = |t, x, v| nose.acceleration(motion, x, v, bay(t), AMBIENT);
        let (a1, v1) = (a(t, x, v), v);
        let (v2, x2) = (v + 0.5 * h * a1, x + 0.5 * h * v1);
        let a2 = a(t + 0.5 * h, x2, v2);
        let (v3, x3) = (v + 0.5 * h * a2, x + 0.5 * h * v2);
        let a3 = a(t + 0.5 * h, x3, v3);
        let (v4, x4) = (v + h * a3, x + h * v3);
        let a4 = a(t + h, x4, v4);
        let travel = x + h / 6.0 * (v1 + 2.0 * v2 + 2.0 * v3 + v4);
        let speed = v + h / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4);
        (travel, speed)
    };
    let values = |motion, t, x, v| nose.event_values(motion, x, v, bay(t), AMBIENT);
    while t < end {
        let h = step.min(end - t);
        let before = values(motion, t, x, v);
        let fired = |h: f64| {
            let (x1, v1) = advance(motion, t, x, v, h);
            let after = values(motion, t + h, x1, v1);
            (0..NOSE_EVENTS.len()).find(|&i| before[i] < 0.0 && after[i] >= 0.0)
        };
        let Some(mut index) = fired(h) else {
            (x, v) = advance(motion, t, x, v, h);
            t += h;
            continue;
        };
        let (mut low, mut high) = (0.0, h);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            match fired(middle) {
                Some(found) => (high, index) = (middle, found),
                None => low = middle,
            }
        }
        (x, v) = advance(motion, t, x, v, high);
        t += high;
        let event = NOSE_EVENTS[index];
        let next = nose.after(motion, event, x, v, bay(t), AMBIENT);
        (motion, x, v) = (next.motion, next.travel, next.speed);
        marks.push(Mark {
            event,
            time: t,
            travel: x,
            speed: v,
            motion,
        });
    }
    marks
}

fn names(marks: &[Mark]) -> Vec<NoseEvent> {
    marks.iter().map(|mark| mark.event).collect()
}

fn mark(marks: &[Mark], event: NoseEvent) -> Mark {
    *marks
        .iter()
        .find(|mark| mark.event == event)
        .unwrap_or_else(|| panic!("no {event:?} in {marks:?}"))
}

#[test]
fn constant_pressure_gives_v_squared_equal_2_a_l() {
    let nose = bare();
    // The step in pressure falls inside an integration step and crosses the (zero) retention.
    let marks = fly(
        &nose,
        |t| if t > 0.00105 { 50_000.0 } else { -1.0 },
        1.0e-4,
        0.05,
    );
    let acceleration = 50_000.0 * nose.area() / nose.mass;
    let clear = mark(&marks, NoseEvent::Clear);
    assert_relative_eq!(
        clear.speed,
        (2.0 * acceleration * nose.engagement).sqrt(),
        max_relative = 1.0e-9
    );
    assert_relative_eq!(
        clear.time - mark(&marks, NoseEvent::PinsShear).time,
        (2.0 * nose.engagement / acceleration).sqrt(),
        max_relative = 1.0e-9
    );
}

#[test]
fn two_free_bodies_move_as_one_of_the_reduced_mass() {
    let nose = Nose {
        body_mass: Some(4.5),
        ..bare()
    };
    assert_relative_eq!(nose.reduced_mass(), 1.5 * 4.5 / 6.0, max_relative = 1.0e-15);
    // Newton for each body, the pressure force equal and opposite on the two.
    let force = 30_000.0 * nose.area();
    let relative = force / 1.5 + force / 4.5;
    let at = |travel| nose.acceleration(Motion::Free, travel, 1.0, AMBIENT + 30_000.0, AMBIENT);
    assert_relative_eq!(at(nose.engagement), relative, max_relative = 1.0e-14);
    // A gap as wide as the bore, pi D g = pi D^2/4, leaves nothing to push on; half of it, half.
    let wide = 0.25 * nose.bore;
    assert_relative_eq!(
        at(nose.engagement + 0.5 * wide),
        0.5 * relative,
        max_relative = 1.0e-12
    );
    assert!(at(nose.engagement + wide).abs() < 1e-9 * relative);
    // Decelerations of the two bodies if let go, 12 and 5 m/s2, enter as one load on the coupler,
    // and not beyond it.
    let (nose_loss, body_loss) = (12.0, 5.0);
    let held = Nose {
        hold_down: nose.reduced_mass() * (nose_loss - body_loss),
        ..nose.clone()
    };
    let along =
        |motion| held.acceleration(motion, held.engagement, 1.0, AMBIENT + 30_000.0, AMBIENT);
    assert_relative_eq!(along(Motion::Free), relative, max_relative = 1.0e-14);
    let got = along(Motion::Sliding);
    let expected = (force / 1.5 - nose_loss) - (-force / 4.5 - body_loss);
    assert_relative_eq!(got, expected, max_relative = 1.0e-14);
    // And that load is what the joint carries while the two decelerate together.
    let common = (1.5 * nose_loss + 4.5 * body_loss) / 6.0;
    assert_relative_eq!(
        held.hold_down,
        1.5 * (nose_loss - common),
        max_relative = 1.0e-14
    );
}

#[test]
fn energy_balance_of_pins_friction_and_spring_along_the_coupler() {
    let nose = Nose {
        body_mass: Some(5.0),
        pins: vec![
            Pin {
                strength: 120.0,
                tear_length: 0.0016
            };
            3
        ],
        static_friction: 40.0,
        kinetic_friction: 25.0,
        hold_down: 15.0,
        spring: Some(Spring {
            force: 60.0,
            stroke: 0.02,
        }),
        ..bare()
    };
    assert_relative_eq!(
        nose.retention_force(),
        360.0 + 40.0 + 15.0 - 60.0,
        max_relative = 1e-14
    );
    let hold = nose.retention_pressure();
    let most = 1.2 * hold;
    // Reaches the retention at 10 ms, 20 % more at 12 ms, then stays.
    let marks = fly(&nose, |t| (hold * t / 0.01).min(most), 1.0e-5, 0.2);
    assert_eq!(
        names(&marks),
        [NoseEvent::PinsShear, NoseEvent::PinsTorn, NoseEvent::Clear]
    );
    assert_relative_eq!(marks[0].time, 0.01, max_relative = 1.0e-9);
    let clear = marks[2];
    // Work of the rising pressure lies between that of its two ends; travel by then is small.
    let resist = 25.0 + 15.0;
    let stored = 0.5 * 60.0 * 0.02 - 0.5 * 360.0 * 0.0016;
    let work = |pressure: f64| (pressure * nose.area() - resist) * nose.engagement + stored;
    let energy = 0.5 * nose.reduced_mass() * clear.speed * clear.speed;
    assert!(energy < work(most) && energy > work(most) - 0.2 * hold * nose.area() * 0.0005);
}

#[test]
fn tearing_pins_follow_one_line_beyond_their_end() {
    let pin = |tear_length| Pin {
        strength: 100.0,
        tear_length,
    };
    let nose = Nose {
        pins: vec![pin(0.001), pin(0.002)],
        ..bare()
    };
    let pull = |x: f64| {
        let along = |motion| nose.acceleration(motion, x, 1.0, AMBIENT + 50_000.0, AMBIENT);
        (along(Motion::Sliding) - along(Motion::Tearing)) * nose.reduced_mass()
    };
    // Inside: what the pins carry. Beyond: the line of the longer pin, below zero, without a bend.
    for x in [0.0, 0.0004, 0.0012, 0.0019] {
        assert_relative_eq!(pull(x), nose.pin_residual_force(x), max_relative = 1e-9);
    }
    assert_relative_eq!(pull(0.0021), -pull(0.0019), max_relative = 1e-9);
    assert_eq!(nose.pin_residual_force(0.0021), 0.0);
    // A nose halted among torn pins moves on by sliding, one among tearing pins by tearing.
    for (x, motion) in [(0.0005, Motion::Tearing), (0.003, Motion::Sliding)] {
        let push = AMBIENT + 10.0 * nose.retention_pressure();
        let after = nose.after(Motion::Stuck, NoseEvent::BreakAway, x, 0.0, push, AMBIENT);
        assert_eq!(after.motion, motion);
    }
}

#[test]
fn a_short_push_leaves_the_nose_stuck_where_friction_has_used_its_energy() {
    let nose = Nose {
        static_friction: 60.0,
        kinetic_friction: 40.0,
        ..bare()
    };
    let area = nose.area();
    // A half sine of 150 N over 10 ms: above 60 N from t1, impulse and travel in closed form.
    let omega = std::f64::consts::PI / 0.01;
    let push = move |t: f64| {
        if t < 0.01 {
            150.0 * (omega * t).sin() / area
        } else {
            0.0
        }
    };
    let marks = fly(&nose, push, 2.0e-6, 0.1);
    assert_eq!(names(&marks), [NoseEvent::PinsShear, NoseEvent::Stop]);
    let t1 = (60.0_f64 / 150.0).asin() / omega;
    assert_relative_eq!(marks[0].time, t1, max_relative = 1.0e-9);
    let duration = 0.01 - t1;
    let cosine = (omega * t1).cos();
    let speed = (150.0 / omega * (cosine + 1.0) - 40.0 * duration) / nose.mass;
    let travel = (150.0 / omega * (cosine * duration + (omega * t1).sin() / omega)
        - 0.5 * 40.0 * duration * duration)
        / nose.mass;
    let stop = travel + 0.5 * nose.mass * speed * speed / 40.0;
    assert_relative_eq!(marks[1].travel, stop, max_relative = 1.0e-8);
    assert_eq!((marks[1].motion, marks[1].speed), (Motion::Stuck, 0.0));
}

#[test]
fn stick_slip_waits_for_static_friction_before_moving_on() {
    let nose = Nose {
        static_friction: 60.0,
        kinetic_friction: 40.0,
        ..bare()
    };
    let area = nose.area();
    // 100 N for about 10 ms, nothing, then a slow rise of 1 N/ms.
    let push = move |t: f64| {
        let force = match t {
            t if t <= 0.001 => 0.0,
            t if t <= 0.011 => 100.0,
            t if t <= 0.05 => 0.0,
            t => 1000.0 * (t - 0.05),
        };
        force / area
    };
    let marks = fly(&nose, push, 1.0e-5, 0.4);
    assert_eq!(
        names(&marks),
        [
            NoseEvent::PinsShear,
            NoseEvent::Stop,
            NoseEvent::BreakAway,
            NoseEvent::Clear
        ]
    );
    let away = marks[2];
    assert_relative_eq!(away.time, 0.05 + 0.060, max_relative = 1.0e-8);
    assert_eq!(away.travel, marks[1].travel);
    // From there mu x'' = 20 N + 1000 N/s t'.
    let (rest, t) = (nose.engagement - away.travel, marks[3].time - away.time);
    let travelled = (20.0 * t * t / 2.0 + 1000.0 * t.powi(3) / 6.0) / nose.mass;
    assert_relative_eq!(travelled, rest, max_relative = 1.0e-8);
}

#[test]
fn a_nose_pulled_back_slides_to_its_seat_and_no_further() {
    let nose = Nose {
        static_friction: 10.0,
        kinetic_friction: 8.0,
        hold_down: 50.0,
        pins: vec![Pin {
            strength: 30.0,
            tear_length: 0.001,
        }],
        ..bare()
    };
    let area = nose.area();
    let push = move |t: f64| {
        if t > 0.001 && t < 0.012 {
            200.0 / area
        } else {
            0.0
        }
    };
    let marks = fly(&nose, push, 1.0e-5, 0.5);
    assert_eq!(
        names(&marks),
        [
            NoseEvent::PinsShear,
            NoseEvent::PinsTorn,
            NoseEvent::Stop,
            NoseEvent::Seat
        ]
    );
    let stop = marks[2];
    assert_eq!(stop.motion, Motion::Returning);
    let seat = marks[3];
    assert_eq!(
        (seat.motion, seat.travel, seat.speed),
        (Motion::Stuck, 0.0, 0.0)
    );
    let back = (50.0 - 8.0) / nose.mass;
    assert_relative_eq!(
        seat.time - stop.time,
        (2.0 * stop.travel / back).sqrt(),
        max_relative = 1.0e-8
    );
    // Seated, it does not slide back however hard it is held.
    let values = nose.event_values(Motion::Stuck, 0.0, 0.0, AMBIENT - 50_000.0, AMBIENT);
    assert!(values.iter().all(|&value| value < 0.0));
}

#[test]
fn a_nose_thrown_up_on_a_bench_falls_back_after_2_v_over_g() {
    let nose = Nose {
        hold_down: 1.5 * 9.80665,
        ..bare()
    };
    let area = nose.area();
    let push = move |t: f64| {
        if t > 0.001 && t < 0.02 {
            300.0 / area
        } else {
            0.0
        }
    };
    let marks = fly(&nose, push, 1.0e-5, 2.0);
    let clear = mark(&marks, NoseEvent::Clear);
    let fallen = mark(&marks, NoseEvent::Recontact);
    assert!(
        clear.time > 0.02,
        "the push is over before the coupler is out"
    );
    assert_relative_eq!(
        fallen.time - clear.time,
        2.0 * clear.speed / 9.80665,
        max_relative = 1.0e-8
    );
    assert_relative_eq!(fallen.speed, -clear.speed, max_relative = 1.0e-8);
}

/// Pushed hard until clear, then coasting onto a tether.
fn tethered(damping: f64) -> (Nose, Vec<Mark>) {
    let tether = Tether {
        length: 3.0,
        stiffness: 5000.0,
        damping,
        rating: Some(900.0),
    };
    let nose = Nose {
        mass: 1.0,
        body_mass: Some(8.0),
        tether: Some(tether),
        ..bare()
    };
    let area = nose.area();
    // The slightest suction first: with nothing that retains it, zero would be a start.
    let push = move |t: f64| match t {
        t if t <= 0.001 => -1.0,
        t if t < 0.01 => 1000.0 / area,
        _ => 0.0,
    };
    let marks = fly(&nose, push, 2.0e-5, 1.0);
    (nose, marks)
}

#[test]
fn an_undamped_tether_peaks_at_v_sqrt_k_mu_and_gives_the_speed_back() {
    let (nose, marks) = tethered(0.0);
    let reduced = 8.0 / 9.0_f64;
    let taut = mark(&marks, NoseEvent::Taut);
    let peak = mark(&marks, NoseEvent::TetherPeak);
    let slack = mark(&marks, NoseEvent::Slack);
    assert_relative_eq!(
        nose.tether_tension(peak.travel, peak.speed),
        taut.speed * (5000.0 * reduced).sqrt(),
        max_relative = 1.0e-8
    );
    let quarter = 0.5 * std::f64::consts::PI * (reduced / 5000.0_f64).sqrt();
    assert_relative_eq!(peak.time - taut.time, quarter, max_relative = 1.0e-8);
    assert_relative_eq!(slack.time - taut.time, 2.0 * quarter, max_relative = 1.0e-8);
    assert_relative_eq!(slack.speed, -taut.speed, max_relative = 1.0e-8);
    assert_eq!(slack.motion, Motion::Free);
}

#[test]
fn a_damped_tether_peaks_and_slackens_where_the_damped_oscillator_says() {
    let (nose, marks) = tethered(30.0);
    let reduced = nose.reduced_mass();
    let natural = (5000.0 / reduced).sqrt();
    let zeta = 30.0 / (2.0 * (5000.0 * reduced).sqrt());
    let root = (1.0 - zeta * zeta).sqrt();
    let damped = natural * root;
    let taut = mark(&marks, NoseEvent::Taut);
    let peak = mark(&marks, NoseEvent::TetherPeak);
    let slack = mark(&marks, NoseEvent::Slack);
    let stretch = |t: f64| taut.speed / damped * (-zeta * natural * t).exp() * (damped * t).sin();
    let speed = |t: f64| {
        taut.speed
            * (-zeta * natural * t).exp()
            * ((damped * t).cos() - zeta / root * (damped * t).sin())
    };
    // Tension = v0 mu w/sqrt(1-z^2) exp(-z w t) sin(wd t + b) with sin b = 2 z sqrt(1-z^2).
    let phase = (2.0 * zeta * root).asin();
    let zero = (std::f64::consts::PI - phase) / damped;
    let top = (root.atan2(zeta) - phase) / damped;
    assert_relative_eq!(slack.time - taut.time, zero, max_relative = 1.0e-7);
    assert_relative_eq!(peak.time - taut.time, top, max_relative = 1.0e-7);
    assert_relative_eq!(
        nose.tether_tension(peak.travel, peak.speed),
        5000.0 * stretch(top) + 30.0 * speed(top),
        max_relative = 1.0e-8
    );
    assert_relative_eq!(slack.speed, speed(zero), max_relative = 1.0e-8);
}

#[test]
fn the_gap_opens_as_a_ring_until_it_is_the_bore() {
    let nose = bare();
    assert_eq!(nose.gap_area(0.0), 0.0);
    assert_eq!(nose.gap_area(nose.engagement), 0.0);
    let ring = std::f64::consts::PI * 0.098 * 0.001;
    assert_relative_eq!(nose.gap_area(0.081), ring, max_relative = 1.0e-12);
    // A ring of height D/4 has the area of the bore.
    let quarter = nose.engagement + 0.098 / 4.0;
    assert_relative_eq!(nose.gap_area(quarter), nose.area(), max_relative = 1.0e-12);
    assert_eq!(nose.gap_area(5.0), nose.area());
    assert_relative_eq!(
        nose.swept_volume(0.08),
        nose.area() * 0.08,
        max_relative = 1.0e-15
    );
}

#[test]
fn unequal_pins_fail_one_after_another() {
    let with = |strengths: &[f64]| Nose {
        pins: strengths
            .iter()
            .map(|&strength| Pin {
                strength,
                tear_length: 0.001,
            })
            .collect(),
        ..bare()
    };
    assert_eq!(with(&[100.0, 100.0, 100.0]).pin_strength(), 300.0);
    // The weak one goes at 3 x 60, then two hold 2 x 100.
    let mixed = with(&[100.0, 60.0, 110.0]);
    assert_eq!(mixed.pin_strength(), 200.0);
    assert_eq!(mixed.ductile_pin_strength(), 270.0);
    let sequence: Vec<_> = mixed
        .pin_failures()
        .iter()
        .map(|f| (f.pin, f.load))
        .collect();
    assert_eq!(sequence, [(1, 180.0), (0, 200.0), (2, 200.0)]);
    // Nearly equal pins unzip at the weakest.
    assert_relative_eq!(with(&[95.0, 100.0, 102.0]).pin_strength(), 285.0);
    assert_eq!(with(&[]).pin_strength(), 0.0);
}

#[test]
fn a_nose_that_nothing_retains_is_off_at_once() {
    let sprung = Nose {
        spring: Some(Spring {
            force: 20.0,
            stroke: 0.01,
        }),
        ..bare()
    };
    assert_eq!(sprung.initial_motion(AMBIENT, AMBIENT), Motion::Sliding);
    assert_eq!(
        sprung.initial_motion(AMBIENT - 5000.0, AMBIENT),
        Motion::Latched
    );
    let held = Nose {
        static_friction: 30.0,
        ..sprung
    };
    assert_eq!(held.initial_motion(AMBIENT, AMBIENT), Motion::Latched);
}

#[test]
fn an_unusable_nose_is_refused_by_name() {
    let reversed = Nose {
        kinetic_friction: 2.0,
        static_friction: 1.0,
        ..bare()
    };
    assert!(matches!(
        reversed.validate(),
        Err(MechanicsError::FrictionReversed { .. })
    ));
    let tether = Tether {
        length: 0.05,
        stiffness: 1.0e4,
        damping: 0.0,
        rating: None,
    };
    let short = Nose {
        tether: Some(tether),
        ..bare()
    };
    assert!(matches!(
        short.validate(),
        Err(MechanicsError::TetherTooShort { .. })
    ));
    let weightless = Nose {
        mass: 0.0,
        ..bare()
    };
    let text = weightless.validate().expect_err("no mass").to_string();
    assert!(text.contains("mass [kg]"), "{text}");
    let nan = Nose {
        hold_down: f64::NAN,
        ..bare()
    };
    assert!(nan.validate().is_err());
    let long = Nose {
        pins: vec![Pin {
            strength: 1.0,
            tear_length: 0.2,
        }],
        ..bare()
    };
    assert!(matches!(
        long.validate(),
        Err(MechanicsError::TearTooLong { .. })
    ));
    assert!(bare().validate().is_ok());
}

proptest! {
    /// Brittle failure lies between n times the weakest and the sum, is the load of the last
    /// failure, and does not depend on the order of the pins.
    #[test]
    fn pin_sets_are_bounded(strengths in prop::collection::vec(1.0..500.0f64, 1..8)) {
        let pins: Vec<_> =
            strengths.iter().map(|&strength| Pin { strength, tear_length: 0.001 }).collect();
        let nose = Nose { pins: pins.clone(), ..bare() };
        let reversed = Nose { pins: pins.into_iter().rev().collect(), ..bare() };
        let weakest = strengths.iter().copied().fold(f64::INFINITY, f64::min);
        let strength = nose.pin_strength();
        prop_assert!(strength >= strengths.len() as f64 * weakest);
        prop_assert!(strength <= nose.ductile_pin_strength() * (1.0 + 1e-14));
        prop_assert_eq!(strength, reversed.pin_strength());
        prop_assert_eq!(strength, nose.pin_failures().last().map_or(0.0, |last| last.load));
        assert_relative_eq!(strength, nose.pin_residual_force(0.0), max_relative = 1e-14);
    }

    /// Where friction lets go, forward or back, the motion starts that way.
    #[test]
    fn motion_starts_the_way_it_should(
        fixed in 1.0..80.0f64, share in 0.0..1.0f64, hold in -50.0..50.0f64, x in 0.001..0.07f64,
    ) {
        let nose = Nose {
            static_friction: fixed,
            kinetic_friction: share * fixed,
            hold_down: hold,
            ..bare()
        };
        let at_break = AMBIENT + (hold + fixed) / nose.area();
        let forward = nose.acceleration(Motion::Sliding, x, 0.0, at_break, AMBIENT);
        prop_assert!(forward >= -1e-8);
        let at_slide = AMBIENT + (hold - fixed) / nose.area();
        let back = nose.acceleration(Motion::Returning, x, 0.0, at_slide, AMBIENT);
        prop_assert!(back <= 1e-8);
    }
}
