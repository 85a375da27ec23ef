//! Gas through nozzles and tubes, and valves opening: identities, limits and closed forms.

use approx::assert_relative_eq;
use coldkick::flow::discharge_flux::{GasMixture, mixture};
use coldkick::flow::friction::{
    darcy_friction_factor, friction_factor_on_flux, friction_to_choking, pressure_over_sonic,
    tube_flow,
};
use coldkick::flow::omega;
use coldkick::flow::opening::{Opening, PortLaw, circle_overlap, servo_slew};
use coldkick::flow::perfect_gas::{
    critical_flow_function, critical_pressure_ratio, flux_function, isentropic_flux_at_mach,
    mass_flux, unchoked_flux_function,
};
use coldkick::flow::stagnation::Condensate;
use proptest::prelude::*;

#[test]
fn the_isothermal_limit_is_no_special_case() {
    let limit = (-0.5_f64).exp();
    assert_relative_eq!(critical_pressure_ratio(1.0), limit, max_relative = 1e-14);
    assert_relative_eq!(critical_flow_function(1.0), limit, max_relative = 1e-14);
    // psi^2 = -2 r^2 ln r for p v = const.
    let r = 0.8_f64;
    let exact = r * (-2.0 * r.ln()).sqrt();
    assert_relative_eq!(flux_function(r, 1.0), exact, max_relative = 1e-14);
    for step in [1e-13, 1e-9, 1e-6] {
        for kappa in [1.0 - step, 1.0 + step] {
            assert_relative_eq!(flux_function(r, kappa), exact, max_relative = 2.0 * step);
        }
    }
}

#[test]
fn small_pressure_differences_flow_as_bernoulli_says() {
    for kappa in [0.8, 1.0, 1.289, 1.4, 5.0] {
        for difference in [1e-3, 1e-6, 1e-9] {
            let bernoulli = (2.0_f64 * difference).sqrt();
            let psi = flux_function(1.0 - difference, kappa);
            // First compressible correction is 3/(4 kappa) of the difference.
            assert_relative_eq!(
                psi,
                bernoulli,
                max_relative = difference / kappa + 2e-7 * 1e-1
            );
        }
    }
    assert_eq!(flux_function(1.0, 1.4), 0.0);
    assert_eq!(flux_function(1.2, 1.4), 0.0);
    assert!(mass_flux(1e5, 1.2, 1e5, f64::NAN).is_err());
    assert!(mass_flux(0.0, 1.2, 1e5, 1.4).is_err());
    assert!(mass_flux(1e5, 1.2, -1.0, 1.4).is_err());
}

proptest! {
    /// The flux is greatest, with no slope, at the critical ratio, and equals the flux at M = 1.
    #[test]
    fn flux_is_stationary_at_choking(kappa in 0.3..20.0f64) {
        let r = critical_pressure_ratio(kappa);
        let top = critical_flow_function(kappa);
        assert_relative_eq!(unchoked_flux_function(r, kappa), top, max_relative = 1e-12);
        assert_relative_eq!(isentropic_flux_at_mach(1.0, kappa), top, max_relative = 1e-12);
        for shift in [-1e-3, 1e-3] {
            let near = unchoked_flux_function(r * (1.0 + shift), kappa);
            prop_assert!(near < top && near > top * (1.0 - 1e-4));
        }
    }

    /// The multiplier of a tube lies in (0, 1], falls with friction and is continuous in p2.
    #[test]
    fn tube_multiplier_is_a_share(
        kappa in 0.6..6.0f64, number in 0.001..300.0f64, ratio in 0.0..1.0f64,
    ) {
        let share = friction_factor_on_flux(kappa, number, ratio).expect("in range");
        prop_assert!(share > 0.0 && share <= 1.0);
        let more = friction_factor_on_flux(kappa, 1.1 * number, ratio).expect("in range");
        prop_assert!(more < share);
        let step = 1e-7;
        if ratio + step < 1.0 {
            let next = friction_factor_on_flux(kappa, number, ratio + step).expect("in range");
            prop_assert!((next - share).abs() < 3e-4 * share, "{share} {next}");
        }
    }

    /// Momentum over the whole tube, integrated step by step, reproduces the friction number:
    /// K = -2/G^2 integral dp/v - 2 ln(v2/v1) along the adiabatic line.
    #[test]
    fn tube_flow_obeys_the_momentum_balance(
        kappa in 1.05..1.8f64, number in 0.1..50.0f64, ratio in 0.05..0.95f64,
    ) {
        let flow = tube_flow(kappa, number, ratio).expect("in range");
        // Scaled: p0 = 1, v0 = 1, R T0 = 1.
        let gain = (kappa - 1.0) / (2.0 * kappa);
        let g2 = flow.flux * flow.flux;
        // Energy: p v = 1 - gain G^2 v^2.
        let pressure = |v: f64| 1.0 / v - gain * g2 * v;
        let m = flow.inlet_mach.powi(2);
        let v1 = (1.0 + 0.5 * (kappa - 1.0) * m).powf(1.0 / (kappa - 1.0));
        let p2 = flow.exit_pressure_ratio;
        // G^2 gain v^2 + p2 v - 1 = 0.
        let v2 = 2.0 / (p2 + (p2 * p2 + 4.0 * gain * g2).sqrt());
        assert_relative_eq!(pressure(v2), p2, max_relative = 1e-10);
        // dp/v = (dp/dv) dv/v with dp/dv = -1/v^2 - gain G^2; Simpson in ln v.
        let n = 2000;
        let h = (v2 / v1).ln() / n as f64;
        let f = |i: usize| {
            let v = v1 * (h * i as f64).exp();
            -1.0 / (v * v) - gain * g2
        };
        let inner: f64 = (1..n).map(|i| f(i) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
        let integral = h / 3.0 * (f(0) + inner + f(n));
        let k = -2.0 / g2 * integral - 2.0 * (v2 / v1).ln();
        prop_assert!((k - number).abs() < 1e-7 * (1.0 + number), "{k} against {number}");
    }

    /// Colebrook's equation is satisfied to rounding.
    #[test]
    fn friction_factor_satisfies_colebrook(
        log_re in 3.7..8.9f64, log_e in -6.0..-1.4f64,
    ) {
        let (re, e) = (10f64.powf(log_re), 10f64.powf(log_e));
        let x = 1.0 / darcy_friction_factor(re, e).expect("in range").sqrt();
        let right = -2.0 * (e / 3.7 + 2.51 * x / re).log10();
        prop_assert!((x - right).abs() < 1e-11 * x);
    }
}

#[test]
fn a_tube_without_friction_is_a_nozzle_and_with_small_difference_loses_heads() {
    for kappa in [0.9, 1.0, 1.289, 3.0] {
        for ratio in [0.0, 0.3, 0.6, 0.9, 0.999_999_9, 1.0] {
            let share = friction_factor_on_flux(kappa, 0.0, ratio).expect("in range");
            assert_relative_eq!(share, 1.0, max_relative = 1e-8);
        }
        for number in [0.1, 1.0, 10.0, 1000.0] {
            let share = friction_factor_on_flux(kappa, number, 1.0 - 1e-8).expect("in range");
            assert_relative_eq!(share, 1.0 / (1.0f64 + number).sqrt(), max_relative = 1e-7);
        }
    }
    // A dense, hardly compressible fluid loses heads at any difference.
    for ratio in [0.0, 0.5, 1.0] {
        let share = friction_factor_on_flux(20.0, 3.0, ratio).expect("in range");
        assert_relative_eq!(share, 0.5, max_relative = 1e-14);
    }
    assert!(friction_factor_on_flux(20.0, -3.0, 0.5).is_err());
    assert!(friction_factor_on_flux(1.4, -1.0, 0.5).is_err());
    assert!(friction_factor_on_flux(1.4, 1.0, 1.5).is_err());
    assert!(friction_factor_on_flux(f64::NAN, 1.0, 0.5).is_err());
}

#[test]
fn choked_tube_ends_sonic() {
    for (kappa, number) in [(1.1, 0.2), (1.289, 3.0), (1.4, 40.0)] {
        let flow = tube_flow(kappa, number, 0.0).expect("in range");
        assert!(flow.choked);
        assert_relative_eq!(
            friction_to_choking(flow.inlet_mach, kappa),
            number,
            max_relative = 1e-11
        );
        let inlet =
            (1.0 + 0.5 * (kappa - 1.0) * flow.inlet_mach.powi(2)).powf(-kappa / (kappa - 1.0));
        assert_relative_eq!(
            flow.exit_pressure_ratio,
            inlet / pressure_over_sonic(flow.inlet_mach, kappa),
            max_relative = 1e-11
        );
        // The flux flattens out at choking: just above the choked exit it is still the same.
        let near = tube_flow(kappa, number, flow.exit_pressure_ratio * 1.0001).expect("in range");
        assert!(!near.choked);
        assert_relative_eq!(near.flux, flow.flux, max_relative = 1e-7);
    }
}

#[test]
fn openings_start_shut_and_end_at_their_final_fraction() {
    let servo = |port| Opening::Servo {
        lag: 0.02,
        slew_rate: 6.0,
        travel: 1.4,
        port,
    };
    let table = vec![(0.2, 0.0), (0.5, 0.3), (0.5, 0.4), (1.1, 0.9)];
    let laws = [
        Opening::Instant,
        Opening::Ramp {
            lag: 0.01,
            duration: 0.05,
        },
        servo(PortLaw::Ball { full_angle: 1.2 }),
        servo(PortLaw::Ball { full_angle: 2.0 }),
        servo(PortLaw::Linear { full_angle: 1.2 }),
        servo(PortLaw::Table(table)),
    ];
    for law in &laws {
        law.validate().expect("usable");
        assert_eq!(law.fraction(-1e-9), 0.0);
        assert_eq!(law.fraction(f64::NAN), 0.0);
        let end = law.time_fully_open();
        assert_relative_eq!(
            law.fraction(end + 1e-12),
            law.final_fraction(),
            max_relative = 1e-9
        );
        assert_eq!(law.fraction(end + 10.0), law.final_fraction());
        let kinks = law.kinks();
        assert!(kinks.windows(2).all(|pair| pair[0] < pair[1]));
        // Between kinks the fraction is smooth: one small step in time, one small step in area.
        for i in 1..2000 {
            let t = 0.3 * f64::from(i) / 2000.0;
            if kinks.iter().all(|kink| (kink - t).abs() > 2e-6) {
                let slope = (law.fraction(t + 1e-6) - law.fraction(t)) / 1e-6;
                let back = (law.fraction(t) - law.fraction(t - 1e-6)) / 1e-6;
                assert!(
                    (slope - back).abs() < 0.5,
                    "{law:?} bends at {t}: {back} {slope}"
                );
                assert!(slope >= 0.0);
            }
        }
    }
}

#[test]
fn ball_port_is_the_overlap_of_two_circles() {
    // Against counting points of a fine grid in both circles.
    for u in [0.1, 0.35, 0.6, 0.9] {
        let n = 1500;
        let mut both = 0_u32;
        let mut one = 0_u32;
        for i in 0..n {
            for j in 0..n {
                let x = (f64::from(i) + 0.5) / f64::from(n) - 0.5;
                let y = (f64::from(j) + 0.5) / f64::from(n) - 0.5;
                if x * x + y * y < 0.25 {
                    one += 1;
                    both += u32::from((x - u).powi(2) + y * y < 0.25);
                }
            }
        }
        let counted = f64::from(both) / f64::from(one);
        assert!((circle_overlap(u) - counted).abs() < 3e-4, "{u}: {counted}");
    }
    // Lap comes first when the travel exceeds the turn from touch to full overlap.
    let port = PortLaw::Ball { full_angle: 1.2 };
    assert_eq!(port.fraction(0.3, 1.5), 0.0);
    assert_relative_eq!(
        port.fraction(0.9, 1.5),
        circle_overlap(0.5),
        max_relative = 1e-12
    );
    assert_eq!(port.fraction(1.5, 1.5), 1.0);
    // And a short travel ends partly covered.
    assert_relative_eq!(
        port.fraction(0.6, 0.6),
        circle_overlap(0.5),
        max_relative = 1e-12
    );
}

#[test]
fn unusable_openings_are_refused() {
    let bad = [
        Opening::Ramp {
            lag: -0.1,
            duration: 0.1,
        },
        Opening::Ramp {
            lag: 0.1,
            duration: f64::NAN,
        },
        Opening::Servo {
            lag: 0.0,
            slew_rate: 0.0,
            travel: 1.0,
            port: PortLaw::Linear { full_angle: 1.0 },
        },
        Opening::Servo {
            lag: 0.0,
            slew_rate: 1.0,
            travel: 1.0,
            port: PortLaw::Table(vec![]),
        },
        Opening::Servo {
            lag: 0.0,
            slew_rate: 1.0,
            travel: 1.0,
            port: PortLaw::Table(vec![(0.5, 0.1), (0.2, 0.3)]),
        },
        Opening::Servo {
            lag: 0.0,
            slew_rate: 1.0,
            travel: 1.0,
            port: PortLaw::Table(vec![(0.5, 1.1)]),
        },
    ];
    for law in &bad {
        assert!(law.validate().is_err(), "{law:?}");
    }
}

#[test]
fn servo_slews_with_voltage_and_loses_speed_in_the_cold() {
    let rated = servo_slew(0.12, 4.8, 4.8, 293.15, 0.005).expect("rated");
    assert_relative_eq!(
        rated,
        std::f64::consts::FRAC_PI_3 / 0.12,
        max_relative = 1e-14
    );
    let cold = servo_slew(0.12, 4.8, 4.8, 253.15, 0.005).expect("cold");
    assert_relative_eq!(cold, 0.8 * rated, max_relative = 1e-12);
    let hot = servo_slew(0.12, 4.8, 4.8, 330.0, 0.005).expect("hot");
    assert_eq!(hot, rated);
    assert!(servo_slew(0.12, 4.8, 12.0, 293.15, 0.005).is_err());
    assert!(
        servo_slew(0.12, 4.8, 4.8, 223.15, 0.02).is_err(),
        "no speed left"
    );
}

proptest! {
    /// The omega tube: a share of the nozzle's flux, and for omega = 1, an isothermal gas, the
    /// closed form K = (eta1^2 - eta2^2)/g^2 - 2 ln(eta1/eta2).
    #[test]
    fn omega_tube_of_an_isothermal_gas(number in 0.01..100.0f64, ratio in 0.0..0.99f64) {
        let flux = omega::tube_flux(1.0, number, ratio).expect("in range");
        // Entrance from g^2 = -2 eta1^2 ln eta1, on the subsonic side.
        let (mut low, mut high) = ((-0.5_f64).exp(), 1.0);
        for _ in 0..200 {
            let middle: f64 = 0.5 * (low + high);
            let passed = middle * (-2.0 * middle.ln()).sqrt();
            if passed > flux { low = middle } else { high = middle }
        }
        let (eta1, eta2) = (low, flux.max(ratio));
        let k = (eta1 * eta1 - eta2 * eta2) / (flux * flux) - 2.0 * (eta1 / eta2).ln();
        prop_assert!((k - number).abs() < 1e-8 * (1.0 + number), "{k} {number}");
    }

    /// The omega tube is continuous in omega where its closed form changes over, falls with
    /// friction and never passes more than the nozzle.
    #[test]
    fn omega_tube_is_a_share(
        log_omega in -1.0..2.0f64, number in 0.01..100.0f64, ratio in 0.0..0.99f64,
    ) {
        let w = 10f64.powf(log_omega);
        let tube = omega::tube_flux(w, number, ratio).expect("in range");
        let nozzle = omega::tube_flux(w, 0.0, ratio).expect("in range");
        prop_assert!(tube > 0.0 && tube <= nozzle);
        let more = omega::tube_flux(w, 1.1 * number, ratio).expect("in range");
        prop_assert!(more < tube);
        let below = omega::tube_flux(0.98 - 1e-9, number, ratio).expect("in range");
        let above = omega::tube_flux(0.98 + 1e-9, number, ratio).expect("in range");
        prop_assert!((below - above).abs() < 1e-8 * above);
    }

    /// Subcooled flow joins saturated flow at no subcooling and Bernoulli at high subcooling.
    #[test]
    fn subcooled_omega_joins_its_neighbours(w in 2.0..30.0f64, back in 0.0..0.3f64) {
        let (p0, density) = (5e6, 900.0);
        let saturated = omega::mass_flux(w, p0, 1.0 / density, back * p0).expect("in range");
        let limit = omega::subcooled_mass_flux(w, p0, density, p0, back * p0).expect("in range");
        prop_assert!((limit / saturated - 1.0).abs() < 1e-7, "{limit} {saturated}");
        let onset = 2.0 * w / (1.0 + 2.0 * w) * p0;
        let below =
            omega::subcooled_mass_flux(w, p0, density, onset * (1.0 - 1e-9), 0.0).expect("ok");
        let above =
            omega::subcooled_mass_flux(w, p0, density, onset * (1.0 + 1e-9), 0.0).expect("ok");
        prop_assert!((below / above - 1.0).abs() < 1e-6, "{below} {above}");
    }
}

/// Gas with condensate that yields to pressure or does not, against the largest flux among a million pressures with the
/// work done summed over them.
#[test]
fn a_mixture_chokes_where_its_flux_is_largest() {
    let (p0, gas_density) = (6.5e6, 190.0);
    for (x, kappa) in [(0.05, 1.1), (0.4, 1.3), (0.9, 0.96)] {
        for exponent in [0.9, 3.0, f64::INFINITY] {
            for receiver in [0.02, 0.7, 0.93] {
                let gas = GasMixture {
                    pressure: p0,
                    gas_density,
                    exponent: kappa,
                    gas_fraction: x,
                    condensed: Condensate {
                        volume: 1.0 / 700.0,
                        exponent,
                    },
                };
                let volume = |r: f64| {
                    let gas = x / gas_density * r.powf(-1.0 / kappa);
                    gas + (1.0 - x) / 700.0 * r.powf(-1.0 / exponent)
                };
                // Midpoints of steps down from rest.
                let (mut work, mut largest) = (0.0, 0.0_f64);
                let steps = 1_000_000;
                let step = (1.0 - receiver) / f64::from(steps);
                for i in 0..steps {
                    let r = 1.0 - step * f64::from(i);
                    work += volume(r - 0.5 * step) * step * p0;
                    largest = largest.max((2.0 * work).sqrt() / volume(r - step));
                }
                let found = mixture(&gas, receiver * p0).mass_flux;
                assert_relative_eq!(found, largest, max_relative = 1e-8);
            }
        }
    }
}
