//! Verification of the events of the integrator: location against closed forms, directions,
//! double crossings within a step, events together, and no second firing.

use coldkick::numerics::integrate::{Direction, Integrator, Method, Settings, Stop, System};
use proptest::prelude::*;
use std::convert::Infallible;

/// A ball on a floor, thrown up or dropped.
struct Ball {
    direction: Direction,
}

impl System for Ball {
    type Error = Infallible;
    fn rates(&mut self, _: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        rates[0] = state[1];
        rates[1] = -9.81;
        Ok(())
    }
    fn events(&mut self, _: f64, state: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
        values[0] = state[0];
        Ok(())
    }
    fn event_direction(&self, _: usize) -> Direction {
        self.direction
    }
}

/// Drop from 1 m with restitution 0.8: impact k is at t0 (1 + 2 sum_{j=1..k} 0.8^j),
/// t0 = sqrt(2 / 9.81).
#[test]
fn bouncing_ball() {
    for method in [Method::Explicit, Method::Stiff] {
        let settings = Settings {
            method,
            ..Settings::default()
        };
        let mut integrator = Integrator::new(2, 1, settings).unwrap();
        let mut ball = Ball {
            direction: Direction::Falling,
        };
        integrator.start(0.0, &[1.0, 0.0]);
        let first = (2.0_f64 / 9.81).sqrt();
        let (mut expected, mut flight) = (first, first);
        for bounce in 0..25 {
            let stop = integrator
                .advance(&mut ball, 100.0, &mut |_, _| {})
                .unwrap();
            assert_eq!(stop, Stop::Event { index: 0 }, "bounce {bounce}");
            let time = integrator.time();
            assert!(
                (time - expected).abs() < 1e-9,
                "{method:?} {bounce}: {time} not {expected}"
            );
            assert!(integrator.state()[0] <= 0.0 && integrator.state()[0] > -1e-13);
            integrator.state_mut()[1] *= -0.8;
            integrator.restart();
            flight *= 0.8;
            expected += 2.0 * flight;
        }
        assert_eq!(integrator.statistics().events, 25);
    }
}

/// One event after the other is delivered when the caller simply goes on, whatever the start.
#[test]
fn directions_are_kept() {
    let crossings = |direction| {
        let mut integrator = Integrator::new(2, 1, Settings::default()).unwrap();
        let mut ball = Ball { direction };
        integrator.start(0.0, &[-1.0, 9.81]);
        let mut times = Vec::new();
        while let Stop::Event { .. } = integrator.advance(&mut ball, 3.0, &mut |_, _| {}).unwrap() {
            times.push(integrator.time());
        }
        assert_eq!(integrator.time(), 3.0);
        times
    };
    // -1 + 9.81 t - 9.81 t^2 / 2 = 0 at 1 -+ sqrt(1 - 2 / 9.81).
    let root = (1.0 - 2.0 / 9.81_f64).sqrt();
    let (up, down) = (1.0 - root, 1.0 + root);
    for (direction, expected) in [
        (Direction::Rising, vec![up]),
        (Direction::Falling, vec![down]),
        (Direction::Either, vec![up, down]),
        (Direction::Off, vec![]),
    ] {
        let times = crossings(direction);
        assert_eq!(times.len(), expected.len(), "{direction:?}: {times:?}");
        for (time, expected) in times.iter().zip(expected) {
            assert!(
                (time - expected).abs() < 1e-12,
                "{direction:?}: {time} not {expected}"
            );
        }
    }
}

/// Event functions of time alone over constant rates, so that steps are as long as allowed.
struct Clock<F> {
    functions: F,
    directions: Vec<Direction>,
}

impl<F: FnMut(f64, &mut [f64])> System for Clock<F> {
    type Error = Infallible;
    fn rates(&mut self, _: f64, _: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        rates[0] = 1.0;
        Ok(())
    }
    fn events(&mut self, time: f64, _: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
        (self.functions)(time, values);
        Ok(())
    }
    fn event_direction(&self, index: usize) -> Direction {
        self.directions[index]
    }
}

fn clock(events: usize) -> Integrator {
    let settings = Settings {
        first_step: Some(1.0),
        ..Settings::default()
    };
    let mut integrator = Integrator::new(1, events, settings).unwrap();
    integrator.start(0.0, &[0.0]);
    integrator
}

/// Two crossings inside one step of length 1, between the samples and around one of them, both
/// narrow: down at a, up at b.
#[test]
fn double_crossing_in_one_step() {
    for (a, b) in [
        (0.3, 0.7),
        (0.49, 0.51),
        (0.3, 0.32),
        (0.55, 0.58),
        (0.9, 0.95),
        (0.02, 0.06),
    ] {
        for (direction, expected) in [(Direction::Falling, a), (Direction::Rising, b)] {
            let mut system = Clock {
                functions: |t: f64, g: &mut [f64]| g[0] = (t - a) * (t - b),
                directions: vec![direction],
            };
            let mut integrator = clock(1);
            let stop = integrator
                .advance(&mut system, 1.0, &mut |_, _| {})
                .unwrap();
            assert_eq!(stop, Stop::Event { index: 0 }, "{a} {b} {direction:?}");
            assert!(
                (integrator.time() - expected).abs() < 1e-12,
                "{}",
                integrator.time()
            );
            assert_eq!(integrator.statistics().steps, 1);
        }
    }
}

/// The earliest of several events comes first, then the others in turn.
#[test]
fn events_come_in_order() {
    let mut system = Clock {
        functions: |t: f64, g: &mut [f64]| {
            g[0] = t - 0.60;
            g[1] = 0.58 - t;
            g[2] = t * t - 0.59 * 0.59;
        },
        directions: vec![Direction::Either; 3],
    };
    let mut integrator = clock(3);
    for (index, time) in [(1, 0.58), (2, 0.59), (0, 0.60)] {
        let stop = integrator
            .advance(&mut system, 1.0, &mut |_, _| {})
            .unwrap();
        assert_eq!(stop, Stop::Event { index });
        assert!((integrator.time() - time).abs() < 1e-14);
    }
    assert_eq!(
        integrator
            .advance(&mut system, 1.0, &mut |_, _| {})
            .unwrap(),
        Stop::End
    );
}

/// Events at the same moment are all delivered, each once, at the same time; one that the caller
/// switches off in between is not.
#[test]
fn events_together() {
    let functions = |t: f64, g: &mut [f64]| {
        g[0] = t - 0.6;
        g[1] = 3.0 * (0.6 - t);
        g[2] = (t - 0.6) * (1.0 + t);
    };
    for switch_off in [false, true] {
        let mut system = Clock {
            functions,
            directions: vec![Direction::Either; 3],
        };
        let mut integrator = clock(3);
        let mut seen = Vec::new();
        while let Stop::Event { index } = integrator
            .advance(&mut system, 1.0, &mut |_, _| {})
            .unwrap()
        {
            assert!((integrator.time() - 0.6).abs() < 1e-14);
            seen.push(index);
            if switch_off {
                system.directions[1] = Direction::Off;
            }
            integrator.restart();
        }
        seen.sort_unstable();
        assert_eq!(
            seen,
            if switch_off {
                vec![0, 2]
            } else {
                vec![0, 1, 2]
            }
        );
    }
}

/// An event exactly at the end of an advance is an event, and only once.
#[test]
fn event_at_the_end() {
    let mut system = Clock {
        functions: |t: f64, g: &mut [f64]| g[0] = 0.5 - t,
        directions: vec![Direction::Falling],
    };
    let mut integrator = clock(1);
    assert_eq!(
        integrator
            .advance(&mut system, 0.5, &mut |_, _| {})
            .unwrap(),
        Stop::Event { index: 0 }
    );
    assert_eq!(integrator.time(), 0.5);
    for end in [0.5, 1.0] {
        assert_eq!(
            integrator
                .advance(&mut system, end, &mut |_, _| {})
                .unwrap(),
            Stop::End
        );
        assert_eq!(integrator.time(), end);
    }
    assert_eq!(integrator.statistics().events, 1);
}

/// A function that is zero at the start, exactly or within round-off of its usual size, fires
/// neither on leaving zero nor at once, but does fire when it comes back.
#[test]
fn zero_at_the_start() {
    for direction in [Direction::Falling, Direction::Either] {
        let mut ball = Ball { direction };
        let mut integrator = Integrator::new(2, 1, Settings::default()).unwrap();
        integrator.start(0.0, &[0.0, 9.81]);
        let stop = integrator.advance(&mut ball, 10.0, &mut |_, _| {}).unwrap();
        assert_eq!(stop, Stop::Event { index: 0 });
        assert!((integrator.time() - 2.0).abs() < 1e-12);
        // Going on down through the floor, from a hair above it: no event any more.
        integrator.state_mut()[0] = 1e-16;
        integrator.restart();
        assert_eq!(
            integrator.advance(&mut ball, 3.0, &mut |_, _| {}).unwrap(),
            Stop::End
        );
    }
    // A function that stays zero never fires.
    let mut system = Clock {
        functions: |t: f64, g: &mut [f64]| g[0] = (t - 0.5).max(0.0),
        directions: vec![Direction::Either],
    };
    assert_eq!(
        clock(1).advance(&mut system, 1.0, &mut |_, _| {}).unwrap(),
        Stop::End
    );
}

/// The view of a step that ends in an event ends there too.
#[test]
fn observer_sees_the_event_state() {
    let mut ball = Ball {
        direction: Direction::Falling,
    };
    let mut integrator = Integrator::new(2, 1, Settings::default()).unwrap();
    integrator.start(0.0, &[1.0, 0.0]);
    let mut last = (0.0, [0.0; 2], [0.0; 2]);
    let mut reached = 0.0;
    integrator
        .advance(&mut ball, 10.0, &mut |_, view| {
            assert_eq!(view.time_old, reached);
            reached = view.time_new;
            let mut middle = [0.0; 2];
            let time = 0.5 * (view.time_old + view.time_new);
            view.interpolate(time, &mut middle);
            assert!((middle[0] - (1.0 - 0.5 * 9.81 * time * time)).abs() < 1e-13);
            view.interpolate(view.time_new, &mut middle);
            last = (
                view.time_new,
                [view.state_new[0], view.state_new[1]],
                middle,
            );
        })
        .unwrap();
    assert_eq!(last.0, integrator.time());
    assert_eq!(last.1.as_slice(), integrator.state());
    assert_eq!(last.1, last.2);
}

/// On a curved solution the event time is as accurate as the integration: y = cos t falls
/// through 0.3 at acos 0.3.
#[test]
fn accuracy_of_event_times_follows_the_tolerance() {
    struct Wave;
    impl System for Wave {
        type Error = Infallible;
        fn rates(&mut self, _: f64, y: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
            (rates[0], rates[1]) = (y[1], -y[0]);
            Ok(())
        }
        fn events(&mut self, _: f64, y: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
            values[0] = y[0] - 0.3;
            Ok(())
        }
    }
    for method in [Method::Explicit, Method::Stiff] {
        for tolerance in [1e-5, 1e-7, 1e-9] {
            let settings = Settings {
                relative: tolerance,
                absolute: vec![tolerance],
                method,
                ..Settings::default()
            };
            let mut integrator = Integrator::new(2, 1, settings).unwrap();
            integrator.start(0.0, &[1.0, 0.0]);
            integrator.advance(&mut Wave, 3.0, &mut |_, _| {}).unwrap();
            let error = (integrator.time() - 0.3_f64.acos()).abs();
            assert!(error < 20.0 * tolerance, "{method:?} {tolerance}: {error}");
        }
    }
}

proptest! {
    /// Every zero of several sine waves is delivered once, in order, at its time and with its
    /// direction, in steps that hold several of them.
    #[test]
    fn no_event_is_lost(
        waves in proptest::collection::vec((0.5..6.0_f64, 0.1..3.0_f64, 0..3_u8), 1..5),
        restart in any::<bool>(),
    ) {
        let end = 10.0;
        let mut expected: Vec<(f64, usize)> = Vec::new();
        let mut directions = Vec::new();
        for (index, &(omega, phase, kind)) in waves.iter().enumerate() {
            let direction = [Direction::Rising, Direction::Falling, Direction::Either][kind as usize];
            directions.push(direction);
            // Zeros where omega t + phase = k pi; rising for even k.
            for k in 1..40 {
                let time = (f64::from(k) * std::f64::consts::PI - phase) / omega;
                let counts = match direction {
                    Direction::Rising => k % 2 == 0,
                    Direction::Falling => k % 2 == 1,
                    _ => true,
                };
                if time > 0.0 && time < end && counts {
                    expected.push((time, index));
                }
            }
        }
        expected.sort_by(|a, b| a.0.total_cmp(&b.0));
        let waves = waves.clone();
        let mut system = Clock {
            functions: move |t: f64, g: &mut [f64]| {
                for (g, (omega, phase, _)) in g.iter_mut().zip(&waves) {
                    *g = (omega * t + phase).sin();
                }
            },
            directions,
        };
        let settings =
            Settings { first_step: Some(0.5), max_step: 0.5, ..Settings::default() };
        let mut integrator = Integrator::new(1, system.directions.len(), settings).unwrap();
        integrator.start(0.0, &[0.0]);
        for &(time, index) in &expected {
            let stop = integrator.advance(&mut system, end, &mut |_, _| {}).unwrap();
            prop_assert_eq!(stop, Stop::Event { index }, "at {} of {:?}", integrator.time(), expected);
            prop_assert!((integrator.time() - time).abs() < 1e-13 * 10.0, "{} {}", time, integrator.time());
            if restart {
                integrator.restart();
            }
        }
        prop_assert_eq!(integrator.advance(&mut system, end, &mut |_, _| {}).unwrap(), Stop::End);
    }
}
