//! Verification of the integrator: observed order, stiff reference problems, switching, linear
//! invariants, invalid trial states.

use coldkick::numerics::integrate::{
    Direction, IntegrateError, Integrator, Method, Settings, SettingsError, Stop, System,
};
use std::convert::Infallible;

/// A system given by a closure, without events.
struct Rates<F>(F);

impl<F: FnMut(f64, &[f64], &mut [f64])> System for Rates<F> {
    type Error = Infallible;
    fn rates(&mut self, time: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        (self.0)(time, state, rates);
        Ok(())
    }
}

fn tight(method: Method, relative: f64, absolute: f64) -> Settings {
    Settings {
        relative,
        absolute: vec![absolute],
        method,
        ..Settings::default()
    }
}

/// Steps of exactly `step`, whatever the error.
fn fixed(method: Method, step: f64) -> Settings {
    Settings {
        relative: 1e12,
        absolute: vec![1e-9],
        max_step: step,
        first_step: Some(step),
        method,
        ..Settings::default()
    }
}

/// y0 = exp(sin t), y1 = 1 / (1 + t) and y2 = y0 y1: non-linear, coupled, time explicit.
fn nonlinear(time: f64, state: &[f64], rates: &mut [f64]) {
    rates[0] = state[0] * time.cos();
    rates[1] = -state[1] * state[1];
    rates[2] = state[2] * time.cos() - state[1] * state[2];
}

fn nonlinear_solution(time: f64) -> [f64; 3] {
    let (a, b) = (time.sin().exp(), 1.0 / (1.0 + time));
    [a, b, a * b]
}

fn distance(a: &[f64], b: &[f64]) -> f64 {
    a.iter()
        .zip(b)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f64::max)
}

/// Largest error at the ends of the steps, and within a first step.
fn end_and_dense_error(method: Method, step: f64) -> (f64, f64) {
    let mut integrator = Integrator::new(3, 0, fixed(method, step)).unwrap();
    integrator.start(0.0, &nonlinear_solution(0.0));
    let mut end: f64 = 0.0;
    integrator
        .advance(&mut Rates(nonlinear), 4.0, &mut |_, view| {
            end = end.max(distance(view.state_new, &nonlinear_solution(view.time_new)));
        })
        .unwrap();
    assert_eq!(integrator.statistics().rejected, 0);
    // The dense output of a single step from the exact solution.
    let mut dense: f64 = 0.0;
    for start in [0.0, 0.4, 1.1, 1.7] {
        integrator.start(start, &nonlinear_solution(start));
        integrator
            .advance(&mut Rates(nonlinear), start + step, &mut |_, view| {
                let mut state = [0.0; 3];
                for k in 1..8 {
                    let time = start + step * f64::from(k) / 8.0;
                    view.interpolate(time, &mut state);
                    dense = dense.max(distance(&state, &nonlinear_solution(time)));
                }
            })
            .unwrap();
    }
    (end, dense)
}

/// Global error h^5 and local dense error h^5 for the explicit pair; h^4 and h^4 for the Rosenbrock
/// pair (order 4, dense output of order 3).
#[test]
fn observed_orders() {
    for (method, order, dense_order) in [(Method::Explicit, 5.0, 5.0), (Method::Stiff, 4.0, 4.0)] {
        let coarse = end_and_dense_error(method, 0.025);
        let fine = end_and_dense_error(method, 0.0125);
        let end = (coarse.0 / fine.0).log2();
        let dense = (coarse.1 / fine.1).log2();
        println!("{method:?}: end {coarse:?} {fine:?}, orders {end:.3} {dense:.3}");
        // The leading error of the explicit pair is so small that the next one still shows: the
        // order at the end of the run is bounded below only.
        assert!(end > order - 0.3, "{method:?}: order {end} at the end");
        assert!(
            (dense - dense_order).abs() < 0.3,
            "{method:?}: order {dense} of the dense output"
        );
    }
}

/// The dense output joins up with both ends of every step.
#[test]
fn dense_output_is_continuous() {
    for method in [Method::Explicit, Method::Stiff] {
        let mut integrator = Integrator::new(3, 0, tight(method, 1e-4, 1e-6)).unwrap();
        integrator.start(0.0, &nonlinear_solution(0.0));
        let mut worst: f64 = 0.0;
        integrator
            .advance(&mut Rates(nonlinear), 3.0, &mut |_, view| {
                let mut state = [0.0; 3];
                view.interpolate(view.time_old, &mut state);
                worst = worst.max(distance(&state, view.state_old));
                let nearly = view.time_new - 1e-12 * (view.time_new - view.time_old);
                view.interpolate(nearly, &mut state);
                worst = worst.max(distance(&state, view.state_new));
            })
            .unwrap();
        assert!(worst < 1e-11, "{method:?}: gap {worst}");
    }
}

/// The error at the end follows the tolerance.
#[test]
fn error_is_proportional_to_tolerance() {
    for method in [Method::Explicit, Method::Stiff] {
        let error = |relative: f64| {
            let mut integrator = Integrator::new(3, 0, tight(method, relative, relative)).unwrap();
            integrator.start(0.0, &nonlinear_solution(0.0));
            integrator
                .advance(&mut Rates(nonlinear), 10.0, &mut |_, _| {})
                .unwrap();
            assert_eq!(integrator.time(), 10.0);
            distance(integrator.state(), &nonlinear_solution(10.0))
        };
        for relative in [1e-4, 1e-6, 1e-8] {
            let error = error(relative);
            assert!(error < 20.0 * relative, "{method:?}: {error} at {relative}");
        }
    }
}

fn robertson(_: f64, y: &[f64], rates: &mut [f64]) {
    let (slow, fast, back) = (0.04 * y[0], 3e7 * y[1] * y[1], 1e4 * y[1] * y[2]);
    rates[0] = back - slow;
    rates[1] = slow - back - fast;
    rates[2] = fast;
}

/// Robertson's kinetics at t = 40 and at t = 1e11. References: Hairer & Wanner, Solving Ordinary
/// Differential Equations II, and the Bari test set for initial value problem solvers (Mazzia &
/// Magherini 2008, problem ROBER, reference solution at 1e11), from memory; at 40 the CVODE
/// example cvRoberts of SUNDIALS, whose printed solution is 0.71583, 9.1855e-6, 0.28416.
#[test]
fn robertson_kinetics() {
    for method in [Method::Stiff, Method::Automatic] {
        let settings = Settings {
            relative: 1e-8,
            absolute: vec![1e-10, 1e-14, 1e-10],
            method,
            ..Settings::default()
        };
        let mut integrator = Integrator::new(3, 0, settings).unwrap();
        integrator.start(0.0, &[1.0, 0.0, 0.0]);
        let mut system = Rates(robertson);
        integrator
            .advance(&mut system, 40.0, &mut |_, _| {})
            .unwrap();
        let y = integrator.state();
        assert!((y[0] - 0.71583).abs() < 1e-5, "{y:?}");
        assert!((y[1] - 9.1855e-6).abs() < 1e-9, "{y:?}");
        assert!((y[2] - 0.28416).abs() < 1e-5, "{y:?}");
        integrator
            .advance(&mut system, 1e11, &mut |_, _| {})
            .unwrap();
        let y = integrator.state();
        let reference = [0.208_334_014_970_122_56e-7, 0.833_336_077_033_479_1e-13];
        println!("{method:?}: {y:?} {:?}", integrator.statistics());
        assert!((y[0] / reference[0] - 1.0).abs() < 1e-3, "{y:?}");
        assert!((y[1] / reference[1] - 1.0).abs() < 1e-3, "{y:?}");
        assert!((y[2] - 1.0).abs() < 1e-7, "{y:?}");
        assert!(
            integrator.statistics().steps < 3000,
            "{:?}",
            integrator.statistics()
        );
    }
}

/// Van der Pol's oscillator in the time of the slow scale, epsilon = 1e-6 (mu = 1000): at t = 2 the
/// Bari test set (problem VDPOL, from memory, also Hairer & Wanner II, section IV.10) gives
/// y = 1.706167732170469, y' = -0.8928097010248125.
#[test]
fn van_der_pol() {
    let mut system = Rates(|_: f64, y: &[f64], rates: &mut [f64]| {
        rates[0] = y[1];
        rates[1] = ((1.0 - y[0] * y[0]) * y[1] - y[0]) / 1e-6;
    });
    for method in [Method::Stiff, Method::Automatic] {
        let mut integrator = Integrator::new(2, 0, tight(method, 1e-8, 1e-8)).unwrap();
        integrator.start(0.0, &[2.0, 0.0]);
        integrator
            .advance(&mut system, 2.0, &mut |_, _| {})
            .unwrap();
        let (y, work) = (integrator.state(), integrator.statistics());
        println!("{method:?}: {y:?} {work:?}");
        assert!((y[0] - 1.706_167_732_170_469).abs() < 1e-8, "{y:?}");
        assert!((y[1] + 0.892_809_701_024_812_5).abs() < 1e-7, "{y:?}");
        assert!(work.steps < 7000, "{work:?}");
        if method == Method::Automatic {
            assert!(work.switches >= 1 && work.stiff_steps > 0);
            assert!(
                work.stiff_steps < work.steps,
                "the transient is not stiff: {work:?}"
            );
        }
    }
}

/// A fast mode that is stiff only in the middle of the run: the method goes over and comes back,
/// and pays for it.
#[test]
fn switches_there_and_back() {
    let rate = |time: f64| if time > 1.0 && time < 3.0 { 1e5 } else { 2.0 };
    let mut system = Rates(|time: f64, y: &[f64], rates: &mut [f64]| {
        rates[0] = -rate(time) * (y[0] - time.cos()) - time.sin();
        rates[1] = y[0];
    });
    let mut run = |method| {
        let settings = Settings {
            max_steps: 10_000_000,
            ..tight(method, 1e-6, 1e-8)
        };
        let mut integrator = Integrator::new(2, 0, settings).unwrap();
        integrator.start(0.0, &[1.0, 0.0]);
        let mut seen = Vec::new();
        for end in [1.0, 3.0, 20.0] {
            integrator
                .advance(&mut system, end, &mut |_, _| {})
                .unwrap();
            seen.push(integrator.is_stiff());
        }
        assert!((integrator.state()[0] - 20.0_f64.cos()).abs() < 1e-5);
        assert!((integrator.state()[1] - 20.0_f64.sin()).abs() < 1e-5);
        (seen, *integrator.statistics())
    };
    let (seen, work) = run(Method::Automatic);
    println!("{seen:?} {work:?}");
    assert_eq!(seen, [false, true, false]);
    assert_eq!(work.switches, 2);
    let (_, forced) = run(Method::Explicit);
    assert_eq!((forced.switches, forced.stiff_steps), (0, 0));
    assert!(
        forced.evaluations > 50 * work.evaluations,
        "{forced:?} against {work:?}"
    );
}

/// A smooth problem never leaves the explicit method, and the work does not creep up.
#[test]
fn smooth_problem_stays_explicit() {
    let mut integrator = Integrator::new(8, 0, tight(Method::Automatic, 1e-6, 1e-9)).unwrap();
    integrator.start(0.0, &[1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0]);
    let mut system = Rates(|_: f64, y: &[f64], rates: &mut [f64]| {
        for i in 0..4 {
            let omega = 1.0 + 0.25 * i as f64;
            rates[2 * i] = omega * y[2 * i + 1];
            rates[2 * i + 1] = -omega * y[2 * i];
        }
    });
    integrator
        .advance(&mut system, 6.0, &mut |_, _| {})
        .unwrap();
    let work = integrator.statistics();
    println!("{work:?}");
    assert_eq!((work.switches, work.jacobians), (0, 0));
    assert!(work.evaluations < 320, "{work:?}");
    for i in 0..4 {
        let omega = 1.0 + 0.25 * i as f64;
        assert!((integrator.state()[2 * i] - (omega * 6.0).cos()).abs() < 2e-5);
    }
}

/// Masses moving between four vessels by rates of order 1e5 and 1: the sum is a linear invariant of
/// the system, and must stay one under both methods, in the dense output too.
/// Energies ride along with flows times a state function, as in vessel balances.
#[test]
fn linear_invariants_hold() {
    let exchange = |time: f64, y: &[f64], rates: &mut [f64]| {
        rates.fill(0.0);
        for (a, b, strength) in [(0, 1, 30.0), (1, 2, 2.0e4), (2, 3, 1.0), (3, 0, 5.0)] {
            let drive = y[a] - y[b] + 1e-4 * (3.0 * time).sin();
            let flow = strength * drive / (1.0 + 100.0 * drive.abs()).sqrt();
            let donor = if flow > 0.0 { a } else { b };
            let enthalpy = y[4 + donor] / y[donor] * 1.3;
            rates[a] -= flow;
            rates[b] += flow;
            rates[4 + a] -= flow * enthalpy;
            rates[4 + b] += flow * enthalpy;
        }
    };
    let start = [0.016, 0.002, 0.0011, 0.0005, 5e3, 7e2, 3e2, 1.5e2];
    for method in [Method::Explicit, Method::Stiff, Method::Automatic] {
        let mut absolute = vec![1e-9; 4];
        absolute.extend([1e-3; 4]);
        let settings = Settings {
            relative: 1e-6,
            absolute,
            method,
            max_steps: 1_000_000,
            ..Settings::default()
        };
        let mut integrator = Integrator::new(8, 0, settings).unwrap();
        integrator.start(0.0, &start);
        let (mass, energy) = (
            start[..4].iter().sum::<f64>(),
            start[4..].iter().sum::<f64>(),
        );
        let (mut mass_drift, mut energy_drift) = (0.0_f64, 0.0_f64);
        integrator
            .advance(&mut Rates(exchange), 2.0, &mut |_, view| {
                let mut middle = [0.0; 8];
                view.interpolate(0.5 * (view.time_old + view.time_new), &mut middle);
                for state in [view.state_new, &middle] {
                    mass_drift =
                        mass_drift.max((state[..4].iter().sum::<f64>() / mass - 1.0).abs());
                    energy_drift =
                        energy_drift.max((state[4..].iter().sum::<f64>() / energy - 1.0).abs());
                }
            })
            .unwrap();
        println!(
            "{method:?}: mass {mass_drift:.2e} energy {energy_drift:.2e} {:?}",
            integrator.statistics()
        );
        // Explicit: sums of exactly opposite flows, so round-off alone. Rosenbrock: the columns of
        // the differenced Jacobian sum to zero only up to round-off over the increment, 1e-16 /
        // 1.5e-8, of which a step feels the share by which the state changes.
        let allowed = if method == Method::Explicit {
            1e-13
        } else {
            5e-11
        };
        assert!(
            mass_drift < allowed,
            "{method:?}: mass drifts by {mass_drift}"
        );
        assert!(
            energy_drift < allowed,
            "{method:?}: energy drifts by {energy_drift}"
        );
    }
}

#[derive(Debug, thiserror::Error, PartialEq)]
#[error("negative energy {0}")]
struct Negative(f64);

/// A vessel emptying at a rate that stays constant: the error estimate is zero and the step grows
/// until a trial state is negative, which the system refuses.
struct Emptying {
    stop: bool,
}

impl System for Emptying {
    type Error = Negative;
    fn rates(&mut self, _: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Negative> {
        if state[0] < 0.0 {
            return Err(Negative(state[0]));
        }
        rates[0] = -1.0;
        Ok(())
    }
    fn events(&mut self, _: f64, state: &[f64], values: &mut [f64]) -> Result<(), Negative> {
        values[0] = state[0] - 1e-3;
        Ok(())
    }
    fn event_direction(&self, _: usize) -> Direction {
        if self.stop {
            Direction::Falling
        } else {
            Direction::Off
        }
    }
}

#[test]
fn invalid_trial_states_shrink_the_step() {
    let mut integrator = Integrator::new(1, 1, Settings::default()).unwrap();
    integrator.start(0.0, &[10.0]);
    let stop = integrator
        .advance(&mut Emptying { stop: true }, 100.0, &mut |_, _| {})
        .unwrap();
    assert_eq!(stop, Stop::Event { index: 0 });
    assert!((integrator.time() - 9.999).abs() < 1e-12);
    assert!(integrator.statistics().rejected > 0);

    // Without the event there is no way on: the error says where and why.
    integrator.start(0.0, &[10.0]);
    let error = integrator
        .advance(&mut Emptying { stop: false }, 100.0, &mut |_, _| {})
        .unwrap_err();
    let IntegrateError::System {
        source,
        time,
        step,
        state,
    } = error
    else {
        panic!("{error}");
    };
    assert!(source.0 < 0.0);
    assert!((time - 10.0).abs() < 1e-13 && step < 1e-13, "{time} {step}");
    assert_eq!(state.len(), 1);
    assert!(state[0] >= 0.0 && state[0] < 1e-13);
    assert_eq!(integrator.time(), time);
}

#[test]
fn rates_that_are_not_finite_are_refused() {
    let mut system = Rates(|_: f64, y: &[f64], rates: &mut [f64]| rates[0] = -0.5 / y[0].sqrt());
    for method in [Method::Explicit, Method::Stiff, Method::Automatic] {
        let mut integrator = Integrator::new(1, 0, tight(method, 1e-6, 1e-9)).unwrap();
        integrator.start(0.0, &[1.0]);
        // y^(3/2) = 1 - 3 t / 4 ends at t = 4/3.
        integrator
            .advance(&mut system, 1.3, &mut |_, _| {})
            .unwrap();
        let exact = (1.0 - 0.75 * 1.3_f64).powf(2.0 / 3.0);
        assert!((integrator.state()[0] - exact).abs() < 1e-4);
        let error = integrator
            .advance(&mut system, 2.0, &mut |_, _| {})
            .unwrap_err();
        match error {
            IntegrateError::NotFinite { time, .. } | IntegrateError::StepTooSmall { time, .. } => {
                assert!((time - 4.0 / 3.0).abs() < 1e-4, "{method:?}: {time}");
            }
            other => panic!("{other}"),
        }
    }
}

#[test]
fn limits_are_kept() {
    let mut system = Rates(|time: f64, _: &[f64], rates: &mut [f64]| rates[0] = time);
    let settings = Settings {
        max_step: 0.03,
        ..Settings::default()
    };
    let mut integrator = Integrator::new(1, 0, settings.clone()).unwrap();
    integrator.start(0.0, &[0.0]);
    let mut longest: f64 = 0.0;
    for end in [0.1, 0.1, 1.0] {
        let stop = integrator
            .advance(&mut system, end, &mut |_, view| {
                longest = longest.max(view.time_new - view.time_old);
            })
            .unwrap();
        assert_eq!((stop, integrator.time()), (Stop::End, end));
    }
    assert!(longest <= 0.03 + 1e-15, "{longest}");
    assert!((integrator.state()[0] - 0.5).abs() < 1e-14);

    let few = Settings {
        max_steps: 5,
        ..settings
    };
    let mut integrator = Integrator::new(1, 0, few).unwrap();
    integrator.start(0.0, &[0.0]);
    let error = integrator
        .advance(&mut system, 1.0, &mut |_, _| {})
        .unwrap_err();
    assert!(
        matches!(error, IntegrateError::TooManySteps { attempts: 5, .. }),
        "{error}"
    );
    let error = integrator
        .advance(&mut system, -1.0, &mut |_, _| {})
        .unwrap_err();
    assert!(matches!(error, IntegrateError::Backward { .. }), "{error}");
    integrator.start(0.0, &[0.0, 1.0]);
    let error = integrator
        .advance(&mut system, 1.0, &mut |_, _| {})
        .unwrap_err();
    assert!(
        matches!(
            error,
            IntegrateError::Dimension {
                expected: 1,
                given: 2
            }
        ),
        "{error}"
    );
}

#[test]
fn settings_are_checked() {
    let bad = |settings: Settings| Integrator::new(2, 0, settings).unwrap_err();
    let base = Settings::default;
    assert_eq!(
        bad(Settings {
            absolute: vec![1.0; 3],
            ..base()
        }),
        SettingsError::Tolerances {
            dimension: 2,
            given: 3
        }
    );
    assert_eq!(
        bad(Settings {
            absolute: vec![1.0, 0.0],
            ..base()
        }),
        SettingsError::Absolute {
            index: 1,
            value: 0.0
        }
    );
    for (settings, field) in [
        (
            Settings {
                relative: f64::NAN,
                ..base()
            },
            "relative",
        ),
        (
            Settings {
                max_step: 0.0,
                ..base()
            },
            "max_step",
        ),
        (
            Settings {
                stiff_error_share: 1.1,
                ..base()
            },
            "stiff_error_share",
        ),
        (
            Settings {
                min_step: -1.0,
                ..base()
            },
            "min_step",
        ),
        (
            Settings {
                first_step: Some(0.0),
                ..base()
            },
            "first_step",
        ),
        (
            Settings {
                jacobian_increment: 2.0,
                ..base()
            },
            "jacobian_increment",
        ),
        (
            Settings {
                event_samples: 17,
                ..base()
            },
            "event_samples",
        ),
    ] {
        assert!(matches!(bad(settings), SettingsError::Range { name, .. } if name == field));
    }
}

/// Nothing of an earlier run is left: the same run gives the same bits.
#[test]
fn runs_do_not_depend_on_what_was_run_before() {
    let mut integrator = Integrator::new(3, 0, tight(Method::Automatic, 1e-6, 1e-10)).unwrap();
    let mut run = |system: fn(f64, &[f64], &mut [f64]), end: f64| {
        integrator.start(0.0, &[1.0, 0.0, 0.0]);
        integrator
            .advance(&mut Rates(system), end, &mut |_, _| {})
            .unwrap();
        (integrator.state().to_vec(), *integrator.statistics())
    };
    let first = run(robertson, 1e4);
    run(nonlinear, 5.0);
    assert_eq!(run(robertson, 1e4), first);
}

#[test]
fn a_restart_takes_the_step_it_is_told_and_leaves_the_stiff_method_where_that_is_easy() {
    // Stiff from the start: lambda 1e5 over 1 s.
    let mut relaxing = Rates(|time: f64, y: &[f64], rates: &mut [f64]| {
        rates[0] = -1e5 * (y[0] - time.cos());
    });
    let settings = tight(Method::Automatic, 1e-6, 1e-8);
    let mut integrator = Integrator::new(1, 0, settings).unwrap();
    integrator.start(0.0, &[0.0]);
    let _ = integrator
        .advance(&mut relaxing, 0.5, &mut |_, _| {})
        .unwrap();
    assert!(integrator.is_stiff());
    for (told, stiff) in [(1e-2, true), (1e-7, false)] {
        let begun = integrator.time();
        integrator.restart_with(told);
        assert_eq!(integrator.is_stiff(), stiff);
        let mut first = None;
        let _ = integrator
            .advance(&mut relaxing, begun + 0.1, &mut |_, step| {
                first.get_or_insert(step.time_new - step.time_old);
            })
            .unwrap();
        let first = first.unwrap();
        assert!((first / told - 1.0).abs() < 1e-6, "{first} for {told}");
        assert!((integrator.state()[0] - integrator.time().cos()).abs() < 2e-5);
    }
    // A length that is none is estimated.
    integrator.restart_with(f64::NAN);
    let end = integrator.time() + 0.1;
    assert_eq!(
        integrator.advance(&mut relaxing, end, &mut |_, _| {}),
        Ok(Stop::End)
    );
}

/// Kinetics of Robertson with two collectors among them, which either count as influencing rates or not.
struct Collected(bool);

impl System for Collected {
    type Error = Infallible;
    fn rates(&mut self, _: f64, y: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        let (slow, back, fast) = (0.04 * y[0], 1e4 * y[2] * y[3], 3e7 * y[2] * y[2]);
        rates.copy_from_slice(&[back - slow, slow, slow - back - fast, fast, fast - back]);
        Ok(())
    }
    fn influences(&self, index: usize) -> bool {
        !self.0 || (index != 1 && index != 4)
    }
}

#[test]
fn what_influences_no_rate_is_followed_as_well_without_a_column() {
    let run = |knowing| {
        let settings = tight(Method::Stiff, 1e-7, 1e-10);
        let mut integrator = Integrator::new(5, 0, settings).unwrap();
        integrator.start(0.0, &[1.0, 0.0, 0.0, 0.0, 0.0]);
        let stop = integrator.advance(&mut Collected(knowing), 40.0, &mut |_, _| {});
        assert_eq!(stop, Ok(Stop::End));
        (
            integrator.state().to_vec(),
            integrator.statistics().evaluations,
        )
    };
    let ((known, few), (whole, many)) = (run(true), run(false));
    for (a, b) in known.iter().zip(&whole) {
        assert!((a - b).abs() < 1e-9, "{a} against {b}");
    }
    assert!(few < many, "{few} evaluations against {many}");
}

#[test]
fn a_restart_known_to_be_stiff_begins_so_unless_told_never_to() {
    for (method, stiff) in [(Method::Automatic, true), (Method::Explicit, false)] {
        let mut integrator = Integrator::new(3, 0, tight(method, 1e-6, 1e-9)).unwrap();
        integrator.start(0.0, &nonlinear_solution(0.0));
        assert!(!integrator.is_stiff());
        integrator.restart_stiff_with(1e-3);
        assert_eq!(integrator.is_stiff(), stiff);
        let stop = integrator.advance(&mut Rates(nonlinear), 1.0, &mut |_, _| {});
        assert_eq!(stop, Ok(Stop::End));
        assert!(distance(integrator.state(), &nonlinear_solution(1.0)) < 1e-5);
    }
}
