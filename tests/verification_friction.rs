//! Flow with friction against the momentum equation integrated along the tube.

mod common;

use coldkick::flow::friction::friction_factor_on_flux;
use coldkick::flow::perfect_gas::flux_function;
use common::close;

/// dK = 2 (1 - M^2)/(kappa M^3 (1 + (kappa-1)/2 M^2)) dM (Shapiro 1953, chapter 6), by Simpson's
/// rule: the integral shares no formula with the code.
fn friction_number_by_quadrature(kappa: f64, from: f64, to: f64) -> f64 {
    let steps = 20_000;
    let h = (to - from) / f64::from(steps);
    let slope =
        |m: f64| 2.0 * (1.0 - m * m) / (kappa * m.powi(3) * (1.0 + 0.5 * (kappa - 1.0) * m * m));
    (0..steps)
        .map(|i| {
            let m = from + h * f64::from(i);
            h / 6.0 * (slope(m) + 4.0 * slope(m + 0.5 * h) + slope(m + h))
        })
        .sum()
}

/// A tube by its inlet and exit Mach numbers: K by quadrature, p2/p0 and G/sqrt(p0 rho0) by
/// continuity at constant stagnation temperature.
fn tube(kappa: f64, inlet: f64, exit: f64) -> (f64, f64, f64) {
    let warmth = |m: f64| 1.0 + 0.5 * (kappa - 1.0) * m * m;
    let friction = friction_number_by_quadrature(kappa, inlet, exit);
    let flux = kappa.sqrt() * inlet * warmth(inlet).powf(-0.5 * (kappa + 1.0) / (kappa - 1.0));
    let ratio = flux / (kappa.sqrt() * exit * warmth(exit).sqrt());
    (friction, ratio, flux)
}

#[test]
fn friction_agrees_with_the_momentum_equation_along_the_tube() {
    for kappa in [0.6, 1.1, 1.289, 1.4, 1.667, 2.5] {
        for (inlet, exit) in [
            (0.05, 0.06),
            (0.2, 0.9),
            (0.3, 0.35),
            (0.4, 0.999),
            (0.7, 0.8),
        ] {
            let (friction, ratio, flux) = tube(kappa, inlet, exit);
            let share = friction_factor_on_flux(kappa, friction, ratio).expect("in range");
            let what = format!("kappa {kappa}, M {inlet} to {exit}");
            close(&what, share * flux_function(ratio, kappa), flux, 1e-9);
        }
    }
}

#[test]
fn a_choked_tube_no_longer_sees_the_receiver_and_chokes_without_a_jump() {
    for kappa in [1.1, 1.289, 1.4] {
        for inlet in [0.1, 0.3, 0.6] {
            let (friction, choked_ratio, flux) = tube(kappa, inlet, 1.0);
            for (share_of_choked, tolerance) in [(0.0, 1e-9), (0.5, 1e-9), (1.000_01, 2e-9)] {
                let ratio = share_of_choked * choked_ratio;
                let share = friction_factor_on_flux(kappa, friction, ratio).expect("in range");
                close(
                    "choked",
                    share * flux_function(ratio, kappa),
                    flux,
                    tolerance,
                );
            }
        }
    }
}

/// From vapour near its critical point to liquid, K 1e-6 to 1e6.
#[test]
fn more_friction_and_more_back_pressure_pass_less() {
    for kappa in [
        0.05, 0.5, 0.999_999, 1.0, 1.000_001, 1.4, 5.0, 16.0, 240.0, 1e6,
    ] {
        let mut flux_at_less_friction = vec![f64::INFINITY; 101];
        for step in 0..=60 {
            let friction = 10_f64.powf(-6.0 + 0.2 * f64::from(step));
            let mut flux_at_less_pressure = f64::INFINITY;
            for (i, before) in flux_at_less_friction.iter_mut().enumerate() {
                let ratio = 0.0099 * i as f64;
                let at = format!("kappa {kappa}, K {friction}, p2/p0 {ratio}");
                let share = friction_factor_on_flux(kappa, friction.min(1e6), ratio)
                    .unwrap_or_else(|e| panic!("{at}: {e}"));
                assert!(share > 0.0 && share <= 1.0, "{at}: {share}");
                let flux = share * flux_function(ratio, kappa);
                let slack = 1.0 + 1e-10;
                assert!(flux <= *before * slack, "{at}: rises with friction");
                assert!(
                    flux <= flux_at_less_pressure * slack,
                    "{at}: rises with back pressure"
                );
                *before = flux;
                flux_at_less_pressure = flux;
            }
        }
    }
}
