//! CO2 against itself: derivatives, identities, coexistence, and every inversion run both ways.

use coldkick::thermo::coexistence::{Coexistence, melting, saturation, sublimation, triple_point};
use coldkick::thermo::flash::{at_density_energy, at_temperature_density, mixture};
use coldkick::thermo::fluids::carbon_dioxide as co2;
use coldkick::thermo::helmholtz::{ideal, residual};
use coldkick::thermo::inversion;
use coldkick::thermo::map::{FlashMap, MapRange};
use coldkick::thermo::pairs::{self, Property};
use coldkick::thermo::{FluidPoint, Phase, SolidPoint, State, ThermoError};
use num_dual::{Dual2_64, HyperDual64, second_derivative, second_partial_derivative};
use proptest::prelude::*;

#[path = "common/equation_of_state.rs"]
mod equation_of_state;
use equation_of_state::{ideal_plain, residual_plain, solid_gibbs_plain, term_sizes};

#[track_caller]
fn near(what: &str, value: f64, reference: f64, scale: f64, tolerance: f64) {
    assert!(
        (value - reference).abs() <= tolerance * scale,
        "{what}: {value} against {reference}, off by {:e} of {scale}",
        (value - reference).abs() / scale
    );
}

/// Reduced densities and inverse temperatures over the whole range, through delta = 1 and tau = 1.
fn reduced_states() -> Vec<(f64, f64)> {
    let mut states = Vec::new();
    for delta in [
        1e-8, 1e-4, 0.02, 0.3, 0.7, 0.95, 0.999, 0.999_999, 1.000_001, 1.001, 1.06, 1.4, 2.1, 2.52,
        3.4,
    ] {
        for tau in [
            0.28, 0.5, 0.8, 0.95, 0.99, 0.999, 0.999_99, 1.000_01, 1.002, 1.05, 1.2, 1.404, 1.9,
            2.5,
        ] {
            states.push((delta, tau));
        }
    }
    states
}

/// The hand-written derivatives against those of a second, plain writing of the equation in dual
/// numbers. The scale of each is the sum of the sizes of the terms, as cancellation loses digits
/// in both.
#[test]
fn hand_derivatives_of_the_residual_part() {
    for (delta, tau) in reduced_states() {
        let hand = residual(delta, tau);
        let sizes = term_sizes(delta, tau);
        let (value, d, dd) = second_derivative(|x| residual_plain(x, Dual2_64::from(tau)), delta);
        let (_, t, tt) = second_derivative(|y| residual_plain(Dual2_64::from(delta), y), tau);
        let (_, _, _, dt) = second_partial_derivative(
            |(x, y): (HyperDual64, HyperDual64)| residual_plain(x, y),
            (delta, tau),
        );
        // Second derivatives carry factors up to 28 x 27 and 2 x 325 inside their sums.
        let pairs = [
            ("value", hand.value, value, 1.0),
            ("d", hand.d, delta * d, 10.0),
            ("t", hand.t, tau * t, 10.0),
            ("dd", hand.dd, delta * delta * dd, 100.0),
            ("dt", hand.dt, delta * tau * dt, 100.0),
            ("tt", hand.tt, tau * tau * tt, 100.0),
        ];
        for (name, by_hand, dual, terms) in pairs {
            near(
                &format!("{name} at delta {delta}, tau {tau}"),
                by_hand,
                dual,
                dual.abs() + terms * sizes,
                1e-13,
            );
        }
    }
}

/// At delta = 1 exactly a dual number divides by zero: there the hand-written derivatives must be
/// the limit from both sides.
#[test]
fn critical_density_is_an_ordinary_point() {
    for tau in [0.7, 0.9, 0.99, 0.999, 1.001, 1.01, 1.1, 1.4] {
        let at = residual(1.0, tau);
        for h in [1e-9, -1e-9] {
            let beside = residual(1.0 + h, tau);
            let step = 2e-9;
            near("value", at.value, beside.value, 1.0 + at.d.abs(), step);
            near("d", at.d, beside.d, 1.0 + at.d.abs() + at.dd.abs(), step);
            near("t", at.t, beside.t, 1.0 + at.dt.abs(), step);
            // Third derivatives go with the third root of the distance.
            near("dd", at.dd, beside.dd, 1.0 + at.dd.abs(), 1e-5);
            near("dt", at.dt, beside.dt, 1.0 + at.dt.abs(), 1e-5);
            near("tt", at.tt, beside.tt, 1.0 + at.tt.abs(), 1e-5);
        }
    }
    // At the critical point itself every property but the heat capacities is finite.
    let point = FluidPoint::new(co2::CRITICAL_TEMPERATURE, co2::CRITICAL_DENSITY);
    assert!(point.pressure.is_finite() && point.internal_energy.is_finite());
    near(
        "p(Tc, rho_c)",
        point.pressure,
        7_377_298.0,
        7_377_298.0,
        1e-7,
    );
}

#[test]
fn hand_derivatives_of_the_ideal_part() {
    for tau in [0.28, 0.5, 0.9, 1.0, 1.4, 2.5] {
        let (value, first, second) = second_derivative(ideal_plain, tau);
        let hand = ideal(tau);
        near("value", hand.value, value, value.abs().max(1.0), 1e-13);
        near("first", hand.t, tau * first, (tau * first).abs(), 1e-13);
        near(
            "second",
            hand.tt,
            tau * tau * second,
            (tau * tau * second).abs(),
            1e-13,
        );
    }
}

#[test]
fn hand_derivatives_of_dry_ice() {
    for t in [120.0, 150.0, 194.7, 216.592, 250.0, 290.0] {
        for p in [1.0, 1e5, 5e6, 1e8, 5e8] {
            let hand = SolidPoint::new(t, p);
            let (g, g_t, g_tt) = second_derivative(|x| solid_gibbs_plain(x, Dual2_64::from(p)), t);
            let (_, g_p, g_pp) = second_derivative(|y| solid_gibbs_plain(Dual2_64::from(t), y), p);
            let (_, _, _, g_tp) = second_partial_derivative(
                |(x, y): (HyperDual64, HyperDual64)| solid_gibbs_plain(x, y),
                (t, p),
            );
            near("gibbs", hand.gibbs, g, 1e5, 1e-12);
            near("entropy", hand.entropy, -g_t, 1e3, 1e-12);
            near("cp", hand.cp, -t * g_tt, hand.cp, 1e-12);
            near("volume", hand.volume, g_p, hand.volume, 1e-12);
            near("dv/dT", hand.dv_dt, g_tp, hand.dv_dt, 1e-11);
            near("dv/dp", hand.dv_dp, g_pp, hand.dv_dp.abs(), 1e-11);
        }
    }
}

/// Single-phase states from dilute gas to compressed liquid.
fn fluid_states() -> Vec<FluidPoint> {
    let mut states = Vec::new();
    for t in [
        180.0, 217.0, 250.0, 290.0, 304.0, 304.5, 320.0, 450.0, 700.0, 1000.0,
    ] {
        for rho in [0.01, 1.0, 10.0, 60.0, 250.0, 467.6, 700.0, 1000.0, 1180.0] {
            if let Ok(State {
                fluid: Some(point), ..
            }) = at_temperature_density(t, rho)
            {
                states.push(point);
            }
        }
    }
    assert!(states.len() > 60);
    states
}

/// First and second law: (du/dv)_T = T dp/dT - p, (ds/dv)_T = dp/dT, (du/dT)_v = cv,
/// (ds/dT)_v = cv/T, by central differences of the properties themselves.
#[test]
fn energy_and_entropy_follow_from_pressure() {
    for point in fluid_states() {
        let (t, rho) = (point.temperature, point.density);
        let h = 1e-5;
        let derivative = |f: &dyn Fn(f64) -> f64| {
            // Fourth order, so that truncation stays near 1e-9 except beside the critical point.
            (8.0 * (f(h) - f(-h)) - (f(2.0 * h) - f(-2.0 * h))) / (12.0 * h)
        };
        let by_t = |of: fn(&FluidPoint) -> f64| {
            derivative(&|x| of(&FluidPoint::new(t * (1.0 + x), rho))) / t
        };
        let by_v = |of: fn(&FluidPoint) -> f64| {
            derivative(&|x| of(&FluidPoint::new(t, rho / (1.0 + x)))) * rho
        };
        let wild = (t - 304.1282).abs() < 1.0 && (rho - 467.6).abs() < 250.0;
        let tolerance = if wild { 1e-3 } else { 1e-6 };
        let p_scale = t * point.dp_dt + point.pressure;
        near(
            "du/dv",
            by_v(|s| s.internal_energy),
            t * point.dp_dt - point.pressure,
            p_scale.max(rho * 1e2),
            tolerance,
        );
        near(
            "ds/dv",
            by_v(|s| s.entropy),
            point.dp_dt,
            point.dp_dt,
            tolerance,
        );
        near(
            "du/dT",
            by_t(|s| s.internal_energy),
            point.cv,
            point.cv,
            tolerance,
        );
        near(
            "ds/dT",
            by_t(|s| s.entropy),
            point.cv / t,
            point.cv / t,
            tolerance,
        );
        near(
            "dp/dT",
            by_t(|s| s.pressure),
            point.dp_dt,
            point.dp_dt,
            tolerance,
        );
        near(
            "dp/dv",
            by_v(|s| s.pressure),
            -rho * rho * point.dp_drho,
            (rho * rho * point.dp_drho).abs() + rho * p_scale * 1e-3,
            tolerance,
        );
    }
}

/// w^2 = (dp/drho)_s and cp = (dh/dT)_p, by differences along the isentrope and the isobar.
#[test]
fn sound_speed_and_specific_heat_along_their_lines() {
    for (t, p) in [
        (250.0, 5e5),
        (300.0, 2e6),
        (320.0, 1.2e7),
        (240.0, 1e7),
        (500.0, 3e7),
    ] {
        let here = inversion::at_temperature_pressure(t, p).unwrap();
        let point = here.fluid.unwrap();
        let h = 1e-5 * p;
        let along = |p: f64| inversion::at_pressure_entropy(p, here.entropy).unwrap();
        let slope = 2.0 * h / (along(p + h).density - along(p - h).density);
        near(
            "w^2",
            slope,
            point.sound_speed_squared(),
            point.sound_speed_squared(),
            1e-7,
        );
        let h = 1e-5 * t;
        let isobar = |t: f64| inversion::at_temperature_pressure(t, p).unwrap().enthalpy();
        near(
            "cp",
            (isobar(t + h) - isobar(t - h)) / (2.0 * h),
            point.cp(),
            point.cp(),
            1e-7,
        );
    }
}

/// Temperatures along each line.
fn line_points() -> Vec<Coexistence> {
    let mut points = Vec::new();
    for t in [120.0, 130.0, 150.0, 194.69, 210.0, 216.592] {
        points.push(sublimation(t).unwrap());
    }
    for t in [216.592, 220.0, 250.0, 293.15, 303.0, 304.0, 304.12, 304.127] {
        points.push(saturation(t).unwrap());
    }
    for t in [216.592, 217.0, 230.0, 260.0, 290.0] {
        points.push(melting(t).unwrap());
    }
    points
}

/// Equal pressure and Gibbs energy of both phases.
#[test]
fn coexisting_phases_are_in_equilibrium() {
    for line in line_points() {
        let (h, l) = (&line.heavy, &line.light);
        let gibbs = |phase: &coldkick::thermo::LinePhase| {
            phase.enthalpy(line.pressure) - line.temperature * phase.entropy
        };
        near(
            &format!("{:?} at {} K: g", line.line, line.temperature),
            gibbs(h),
            gibbs(l),
            1e5,
            1e-12,
        );
        // The pressure of a fluid phase by its own density; a liquid is so stiff that one unit of
        // round-off in density is 1e-10 of the triple pressure.
        let stiff = |rho: f64| {
            let point = FluidPoint::new(line.temperature, rho);
            (
                point.pressure,
                4.0 * f64::EPSILON * rho * point.dp_drho + 1e-12 * line.pressure,
            )
        };
        let (p, scale) = stiff(l.density());
        near("p of the light phase", p, line.pressure, scale, 1.0);
        if line.line == coldkick::thermo::Line::Saturation {
            let (p, scale) = stiff(h.density());
            near("p of the liquid", p, line.pressure, scale, 4.0);
        } else {
            let solid = SolidPoint::new(line.temperature, line.pressure);
            near("v of dry ice", solid.volume, h.volume, h.volume, 1e-14);
        }
    }
}

type LineAt = fn(f64) -> Result<Coexistence, ThermoError>;

/// The slope by Clapeyron, and the slopes of volume and energy along the line, against differences
/// of the line itself.
#[test]
fn slopes_along_the_lines() {
    let lines: [(LineAt, &[f64]); 3] = [
        (sublimation, &[125.0, 150.0, 194.69, 215.0]),
        (saturation, &[218.0, 250.0, 293.15, 303.0]),
        (melting, &[217.0, 230.0, 260.0, 285.0]),
    ];
    for (line, temperatures) in lines {
        for t in temperatures {
            let h = 1e-3;
            let (below, at, above) = (
                line(t - h).unwrap(),
                line(*t).unwrap(),
                line(t + h).unwrap(),
            );
            let slope = |f: &dyn Fn(&Coexistence) -> f64| (f(&above) - f(&below)) / (2.0 * h);
            let check = |what: &str, numerical: f64, analytic: f64, scale: f64| {
                near(
                    &format!("{what} at {t} K"),
                    numerical,
                    analytic,
                    scale,
                    2e-6,
                );
            };
            check(
                "dp/dT",
                slope(&|c| c.pressure),
                at.pressure_slope,
                at.pressure_slope,
            );
            check(
                "dv/dT heavy",
                slope(&|c| c.heavy.volume),
                at.heavy.volume_slope,
                at.heavy.volume_slope.abs(),
            );
            check(
                "dv/dT light",
                slope(&|c| c.light.volume),
                at.light.volume_slope,
                at.light.volume_slope.abs(),
            );
            check(
                "du/dT heavy",
                slope(&|c| c.heavy.internal_energy),
                at.heavy.internal_energy_slope,
                1e3,
            );
            check(
                "du/dT light",
                slope(&|c| c.light.internal_energy),
                at.light.internal_energy_slope,
                1e3,
            );
        }
    }
}

/// du/dT at constant volume with the phases in equilibrium, against differences of the mixture.
#[test]
fn lever_rule_specific_heat() {
    for (t, rho) in [
        (150.0, 1.0),
        (200.0, 30.0),
        (220.0, 100.0),
        (250.0, 600.0),
        (295.0, 300.0),
        (218.0, 1200.0),
    ] {
        let at = |t: f64| at_temperature_density(t, rho).unwrap();
        let h = 1e-3;
        let numerical = (at(t + h).internal_energy - at(t - h).internal_energy) / (2.0 * h);
        let here = at(t);
        assert!(here.fluid.is_none(), "a mixture");
        near(
            "cv",
            numerical,
            here.equilibrium_cv,
            here.equilibrium_cv,
            1e-6,
        );
    }
}

/// The three lines meet in one point, and properties at fixed density pass through its temperature
/// without a jump except that of the phase change.
#[test]
fn lines_meet_at_the_triple_point() {
    let triple = triple_point().unwrap();
    near(
        "triple pressure",
        triple.pressure,
        517_964.343,
        517_964.343,
        1e-9,
    );
    for line in [&triple.sublimation, &triple.saturation, &triple.melting] {
        near("p", line.pressure, triple.pressure, triple.pressure, 1e-9);
    }
    near(
        "liquid",
        triple.melting.light.density(),
        triple.liquid.density(),
        1178.0,
        1e-12,
    );
    near(
        "vapour",
        triple.sublimation.light.density(),
        triple.vapour.density(),
        13.76,
        1e-11,
    );
    near(
        "solid",
        triple.melting.heavy.density(),
        triple.solid.density(),
        1545.0,
        1e-12,
    );
    let fusion = (triple.liquid.enthalpy(triple.pressure) - triple.solid.enthalpy(triple.pressure))
        * co2::MOLAR_MASS;
    near("enthalpy of fusion", fusion, 8875.0, 8875.0, 1e-6);
    for rho in [14.0, 100.0, 900.0, 1178.0, 1180.0, 1400.0] {
        let below = at_temperature_density(triple.temperature - 1e-9, rho).unwrap();
        let above = at_temperature_density(triple.temperature + 1e-9, rho).unwrap();
        near(
            "p across the triple line",
            below.pressure,
            above.pressure,
            triple.pressure,
            1e-6,
        );
        let middle =
            at_density_energy(rho, 0.5 * (below.internal_energy + above.internal_energy)).unwrap();
        assert_eq!(middle.phase, Phase::SolidLiquidVapour);
        assert_eq!(middle.temperature, triple.temperature);
    }
}

/// From the edge of solid+vapour to the edge of liquid+vapour the fractions go from one to the
/// other, and mass, volume and energy add up.
#[test]
fn fractions_on_the_triple_line() {
    let triple = triple_point().unwrap();
    for rho in [14.0, 50.0, 400.0, 1000.0, 1178.0, 1300.0, 1500.0] {
        let lower = mixture(&triple.sublimation, rho);
        let upper = if rho < triple.liquid.density() {
            mixture(&triple.saturation, rho)
        } else {
            mixture(&triple.melting, rho)
        };
        for i in 0..=20 {
            let share = f64::from(i) / 20.0;
            let u = lower.internal_energy + share * (upper.internal_energy - lower.internal_energy);
            let state = at_density_energy(rho, u).unwrap();
            let (s, l, v) = (
                state.solid_fraction,
                state.liquid_fraction.unwrap(),
                state.vapour_fraction.unwrap(),
            );
            near("mass", s + l + v, 1.0, 1.0, 1e-14);
            let volume =
                s * triple.solid.volume + l * triple.liquid.volume + v * triple.vapour.volume;
            near("volume", volume * rho, 1.0, 1.0, 1e-10);
            let energy = s * triple.solid.internal_energy
                + l * triple.liquid.internal_energy
                + v * triple.vapour.internal_energy;
            near("energy", energy, u, 1e5, 1e-10);
            near(
                "solid",
                s,
                lower.solid_fraction + share * (upper.solid_fraction - lower.solid_fraction),
                1.0,
                1e-9,
            );
            near(
                "temperature",
                state.temperature,
                triple.temperature,
                triple.temperature,
                1e-12,
            );
        }
    }
}

/// Saturation holds up to the critical temperature: densities close in from both sides, pressure
/// rises.
#[test]
fn saturation_beside_the_critical_point() {
    let mut last: Option<Coexistence> = None;
    for distance in [1.0, 0.1, 1e-2, 1e-3, 3e-4, 2e-4, 1e-4, 1e-5, 1e-6, 1e-9] {
        let line = saturation(co2::CRITICAL_TEMPERATURE - distance).unwrap();
        assert!(line.heavy.density() > co2::CRITICAL_DENSITY);
        assert!(line.light.density() < co2::CRITICAL_DENSITY);
        if let Some(last) = last {
            assert!(line.pressure > last.pressure);
            assert!(
                line.heavy.density() < last.heavy.density(),
                "at {distance} K"
            );
            assert!(
                line.light.density() > last.light.density(),
                "at {distance} K"
            );
        }
        last = Some(line);
    }
    // At any distance, however the round-off falls.
    for i in 0..4000 {
        let distance = 10f64.powf(-9.0 * f64::from(i) / 4000.0);
        let line = saturation(co2::CRITICAL_TEMPERATURE - distance);
        assert!(line.is_ok(), "{distance} K below: {line:?}");
    }
    assert!(saturation(co2::CRITICAL_TEMPERATURE).is_ok());
    assert!(saturation(co2::CRITICAL_TEMPERATURE + 1e-6).is_err());
}

/// A state of every region, with the names of what makes it.
fn states_of_all_regions() -> Vec<State> {
    let mut states = Vec::new();
    let mut add = |t: f64, rho: f64, phase: Phase| {
        let state = at_temperature_density(t, rho).unwrap();
        assert_eq!(state.phase, phase, "{t} K, {rho} kg/m3");
        states.push(state);
    };
    for (t, rho) in [
        (130.0, 1e-5),
        (180.0, 0.5),
        (217.0, 10.0),
        (250.0, 40.0),
        (300.0, 200.0),
        (310.0, 100.0),
        (600.0, 20.0),
    ] {
        add(t, rho, Phase::Gas);
    }
    for (t, rho) in [
        (217.0, 1177.5),
        (250.0, 1100.0),
        (290.0, 850.0),
        (303.0, 700.0),
    ] {
        add(t, rho, Phase::Liquid);
    }
    for (t, rho) in [
        (310.0, 600.0),
        (338.15, 760.0),
        (500.0, 400.0),
        (700.0, 900.0),
    ] {
        add(t, rho, Phase::Supercritical);
    }
    for (t, rho) in [
        (217.0, 100.0),
        (240.0, 900.0),
        (293.15, 300.0),
        (303.9, 460.0),
    ] {
        add(t, rho, Phase::LiquidVapour);
    }
    for (t, rho) in [(130.0, 0.1), (194.0, 50.0), (215.0, 1300.0)] {
        add(t, rho, Phase::SolidVapour);
    }
    for (t, rho) in [
        (218.0, 1200.0),
        (219.5, 1198.0),
        (216.8, 1179.9),
        (230.0, 1400.0),
        (260.0, 1450.0),
    ] {
        add(t, rho, Phase::SolidLiquid);
    }
    for (t, rho) in [(150.0, 1640.0), (216.0, 1560.0), (250.0, 1600.0)] {
        add(t, rho, Phase::Solid);
    }
    states
}

#[track_caller]
fn same(what: &str, state: &State, back: &State, tolerance: f64) {
    let text = format!("{what}: {state:?} against {back:?}");
    assert_eq!(state.phase, back.phase, "{text}");
    for (a, b) in [
        (state.temperature, back.temperature),
        (state.pressure, back.pressure),
        (state.density, back.density),
    ] {
        assert!((a / b - 1.0).abs() <= tolerance, "{text}");
    }
    assert!(
        (state.enthalpy() - back.enthalpy()).abs() <= tolerance * 1e5,
        "{text}"
    );
    assert!(
        (state.entropy - back.entropy).abs() <= tolerance * 1e3,
        "{text}"
    );
}

/// Every inversion returns the state it was read from, in every region where its pair names one.
#[test]
fn inversions_return_their_states() {
    for state in states_of_all_regions() {
        let (t, p, rho, u, h, s) = (
            state.temperature,
            state.pressure,
            state.density,
            state.internal_energy,
            state.enthalpy(),
            state.entropy,
        );
        let mixture = matches!(
            state.phase,
            Phase::LiquidVapour | Phase::SolidVapour | Phase::SolidLiquid
        );
        same(
            "(rho, u)",
            &state,
            &at_density_energy(rho, u).unwrap(),
            1e-9,
        );
        same(
            "(rho, h)",
            &state,
            &pairs::at_density_enthalpy(rho, h).unwrap(),
            1e-8,
        );
        if p > inversion::LOWEST_PRESSURE {
            same(
                "(p, h)",
                &state,
                &inversion::at_pressure_enthalpy(p, h).unwrap(),
                1e-8,
            );
            same(
                "(p, s)",
                &state,
                &inversion::at_pressure_entropy(p, s).unwrap(),
                1e-8,
            );
            same(
                "(p, u)",
                &state,
                &inversion::at_pressure_energy(p, u).unwrap(),
                1e-8,
            );
            same(
                "(p, rho)",
                &state,
                &inversion::at_pressure_density(p, rho).unwrap(),
                1e-8,
            );
        }
        if !mixture {
            same(
                "(T, p)",
                &state,
                &inversion::at_temperature_pressure(t, p).unwrap(),
                1e-8,
            );
        }
        if !matches!(state.phase, Phase::Solid | Phase::SolidLiquid) {
            same(
                "(T, s)",
                &state,
                &inversion::at_temperature_entropy(t, s).unwrap(),
                1e-8,
            );
            same(
                "(T, u)",
                &state,
                &inversion::at_temperature_energy(t, u).unwrap(),
                1e-8,
            );
        }
        if matches!(state.phase, Phase::LiquidVapour | Phase::SolidVapour) {
            let x = state.vapour_fraction.unwrap();
            same(
                "(p, q)",
                &state,
                &inversion::at_pressure_quality(p, x).unwrap(),
                1e-8,
            );
            same(
                "(T, q)",
                &state,
                &inversion::at_temperature_quality(t, x).unwrap(),
                1e-8,
            );
        }
    }
}

/// The general form: for any pair the state itself is among the answers, as the one state, a
/// denser one beside it, or one of those an error names.
#[test]
fn any_two_properties_lead_back() {
    use Property::{Density, Enthalpy, InternalEnergy, Pressure, Quality, Temperature};
    let mut unique = 0;
    for state in states_of_all_regions() {
        let all = [
            (Temperature, Some(state.temperature)),
            (Pressure, Some(state.pressure)),
            (Density, Some(state.density)),
            (InternalEnergy, Some(state.internal_energy)),
            (Enthalpy, Some(state.enthalpy())),
            (
                Quality,
                state.vapour_fraction.filter(|x| *x > 0.0 && *x < 1.0),
            ),
        ];
        for (i, (a, x)) in all.iter().enumerate() {
            for (b, y) in &all[i + 1..] {
                let (Some(x), Some(y)) = (x, y) else { continue };
                let is_it = |found: &State| {
                    (found.temperature / state.temperature - 1.0).abs() < 1e-7
                        && (found.density / state.density - 1.0).abs() < 1e-6
                };
                match pairs::state((*b, *y), (*a, *x)) {
                    Ok(named) => {
                        assert!(
                            is_it(&named.state) || named.denser.iter().any(is_it),
                            "{a:?} {x}, {b:?} {y}: {named:?} against {state:?}"
                        );
                        unique += 1;
                    }
                    Err(ThermoError::Ambiguous { reason, .. }) => {
                        let on_line = reason.contains("two phases coexist");
                        let named = reason.contains(&format!("{:.4} K", state.temperature));
                        assert!(
                            on_line || named,
                            "{a:?} {x}, {b:?} {y}: {reason}; {state:?}"
                        );
                    }
                    Err(error) => panic!("{a:?} {x}, {b:?} {y}: {error} for {state:?}"),
                }
            }
        }
    }
    assert!(unique > 250, "{unique} pairs named one state");
}

/// Nothing between the spinodals is ever returned as one phase: a state with a single fluid phase
/// is mechanically and thermally stable and lies outside the coexistence densities.
#[test]
fn no_unstable_or_metastable_state_is_returned() {
    for i in 0..200 {
        let t = 200.0 + 0.52 * f64::from(i);
        for j in 0..200 {
            let rho = 0.5 * (2400.0_f64).powf(f64::from(j) / 199.0);
            let Ok(state) = at_temperature_density(t, rho) else {
                continue;
            };
            let Some(point) = state.fluid else { continue };
            assert!(point.dp_drho > 0.0 && point.cv > 0.0, "{t} K, {rho} kg/m3");
            let inside = |line: Result<Coexistence, ThermoError>| {
                line.is_ok_and(|line| rho > line.light.density() && rho < line.heavy.density())
            };
            if t < co2::TRIPLE_TEMPERATURE {
                assert!(!inside(sublimation(t)), "{t} K, {rho} kg/m3");
            } else if t < co2::CRITICAL_TEMPERATURE {
                assert!(!inside(saturation(t)), "{t} K, {rho} kg/m3");
            }
            if (co2::TRIPLE_TEMPERATURE..300.0).contains(&t) {
                assert!(!inside(melting(t)), "{t} K, {rho} kg/m3");
            }
        }
    }
}

/// The map of the inversion, coarsely; `coldkick gas --map` does it at 400 x 400.
#[test]
fn density_and_energy_name_every_state_of_the_map() {
    let map = FlashMap::compute(&MapRange {
        points: 60,
        ..MapRange::default()
    })
    .unwrap();
    assert_eq!(map.grid.len(), 3600);
    assert_eq!(map.without_state().count(), 0);
    let failures: Vec<_> = map.failures(1e-9).collect();
    assert!(failures.is_empty(), "{failures:?}");
    for phase in [
        Phase::Gas,
        Phase::Liquid,
        Phase::Supercritical,
        Phase::LiquidVapour,
        Phase::SolidVapour,
        Phase::SolidLiquidVapour,
    ] {
        assert!(map.region(phase).0 > 0, "{phase:?} is on the map");
    }
}

/// The corner where liquid freezes under pressure just above the triple point.
#[test]
fn melting_corner_of_the_map() {
    let map = FlashMap::compute(&MapRange {
        temperature: (216.0, 221.0),
        density: (1170.0, 1200.0),
        points: 60,
    })
    .unwrap();
    assert!(map.region(Phase::SolidLiquid).0 > 100);
    let failures: Vec<_> = map.failures(1e-9).collect();
    assert!(failures.is_empty(), "{failures:?}");
}

/// Around the critical point, where the specific heat diverges.
#[test]
fn critical_corner_of_the_map() {
    let map = FlashMap::compute(&MapRange {
        temperature: (303.6, 304.6),
        density: (380.0, 560.0),
        points: 60,
    })
    .unwrap();
    let failures: Vec<_> = map.failures(1e-9).collect();
    assert!(failures.is_empty(), "{failures:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    /// (rho, u) returns T and p over the whole range of the model.
    #[test]
    fn density_and_energy_name_a_state(t in 120.0..1100.0_f64, log_rho in (1e-4_f64).ln()..(1600.0_f64).ln()) {
        let rho = log_rho.exp();
        match at_temperature_density(t, rho) {
            Ok(state) => {
                let back = at_density_energy(rho, state.internal_energy).unwrap();
                prop_assert!((back.temperature / t - 1.0).abs() < 1e-9, "{} K for {t} K", back.temperature);
                // Pressure of a mixture depends on temperature only; of a stiff liquid on round-off.
                prop_assert!((back.pressure - state.pressure).abs() <= 1e-9 * state.pressure.abs() + 1e-3);
                prop_assert_eq!(back.phase, state.phase);
            }
            Err(error) => {
                // Only beyond the pressure limits of the equations.
                prop_assert!(rho > 1100.0, "{error}");
            }
        }
    }

    /// Rubbish in, typed error out.
    #[test]
    fn no_pair_panics(rho in prop::num::f64::ANY, u in prop::num::f64::ANY, t in prop::num::f64::ANY) {
        let _ = at_density_energy(rho, u);
        let _ = at_temperature_density(t, rho);
        let _ = inversion::at_temperature_pressure(t, u);
        let _ = inversion::at_pressure_enthalpy(rho, u);
        let _ = inversion::at_pressure_density(u, rho);
        let _ = pairs::state((Property::Density, rho), (Property::Enthalpy, u));
    }
}

/// Values of both writings, before any derivative.
#[test]
fn second_writing_is_the_same_equation() {
    for (delta, tau) in reduced_states() {
        let plain: f64 = residual_plain(delta, tau);
        near(
            "value",
            residual(delta, tau).value,
            plain,
            plain.abs() + delta.min(1.0),
            1e-13,
        );
    }
}
