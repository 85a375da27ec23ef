//! Homogeneous equilibrium flow by the omega method: two-phase flux in closed form.
//!
//! The fluid's isentrope is taken as v/v0 = omega (p0/p - 1) + 1. With omega = 1 that is an
//! isothermal gas, with 0 a liquid, above 1 a flashing mixture. A check on the full equilibrium
//! model and a two-phase law for tubes, not a replacement: near the critical point and across the
//! triple line an isentrope is no such line.

use crate::flow::FlowError;
use crate::flow::error::within;
use crate::numerics::roots::{Tolerance, brent_between, maximise};

/// Values of omega accepted [-].
pub const OMEGA_RANGE: (f64, f64) = (1.0e-3, 1.0e4);

const LAW: &str = "omega method";
const TOLERANCE: Tolerance = Tolerance {
    x_absolute: 0.0,
    x_relative: 1e-14,
    value: 0.0,
    max_iterations: 200,
};

/// omega from two points of the isentrope, the stagnation state and one at a lower pressure [-].
///
/// Equation: omega = (v/v0 - 1)/(p0/p - 1); API 520-I annex C takes p = 0.9 p0, so that
/// omega = 9 (v9/v0 - 1). Volumes [m3/kg], pressures [Pa].
///
/// # Errors
/// [`FlowError::OutOfRange`] if the second pressure is not below the first or a volume is not
/// positive.
pub fn omega_from_two_points(
    stagnation_pressure: f64,
    stagnation_volume: f64,
    pressure: f64,
    volume: f64,
) -> Result<f64, FlowError> {
    let p0 = within(
        LAW,
        "stagnation pressure [Pa]",
        stagnation_pressure,
        1e-9,
        f64::MAX,
    )?;
    let v0 = within(
        LAW,
        "stagnation volume [m3/kg]",
        stagnation_volume,
        1e-12,
        f64::MAX,
    )?;
    let p = within(
        LAW,
        "second pressure [Pa]",
        pressure,
        1e-9,
        p0 * (1.0 - 1e-9),
    )?;
    let v = within(LAW, "second volume [m3/kg]", volume, v0, f64::MAX)?;
    Ok((v / v0 - 1.0) / (p0 / p - 1.0))
}

/// Flux through a nozzle over sqrt(p0/v0) where the pressure ratio is `eta`, not limited [-].
///
/// Equation: sqrt(-2 [omega ln eta + (omega-1)(1-eta)])/[omega (1/eta - 1) + 1].
/// Source: Leung 1986, AIChE J. 32, 1743, eq. 17.
pub fn unchoked_flux(omega: f64, eta: f64) -> f64 {
    let work = -2.0 * (omega * eta.ln() + (omega - 1.0) * (1.0 - eta));
    work.max(0.0).sqrt() / (omega * (1.0 / eta - 1.0) + 1.0)
}

/// Critical pressure ratio [-]: root of
/// eta^2 + (omega^2 - 2 omega)(1-eta)^2 + 2 omega^2 ln eta + 2 omega^2 (1-eta) = 0
/// (Leung 1986, eq. 19).
///
/// # Errors
/// [`FlowError::OutOfRange`] outside [`OMEGA_RANGE`].
pub fn critical_pressure_ratio(omega: f64) -> Result<f64, FlowError> {
    within(LAW, "omega [-]", omega, OMEGA_RANGE.0, OMEGA_RANGE.1)?;
    // (1-eta) and ln eta nearly cancel near 1: ln(1-e) + e is of order e^2/2.
    let residual = |eta: f64| {
        let e = 1.0 - eta;
        eta * eta + omega * (omega - 2.0) * e * e + 2.0 * omega * omega * (ln_one_minus(e) + e)
    };
    let low = 1.0e-9;
    let ends = ((low, residual(low)), (1.0, 1.0));
    Ok(brent_between(
        |eta| Ok::<_, FlowError>(residual(eta)),
        ends.0,
        ends.1,
        &TOLERANCE,
    )?
    .x)
}

/// Critical flux over sqrt(p0/v0), eta_c/sqrt(omega) [-] (Leung 1986, eq. 20).
///
/// # Errors
/// As [`critical_pressure_ratio`].
pub fn critical_flux(omega: f64) -> Result<f64, FlowError> {
    Ok(critical_pressure_ratio(omega)? / omega.sqrt())
}

/// Nozzle mass flux [kg/(m2 s)] from saturated or two-phase stagnation at p0 [Pa], v0 [m3/kg] into
/// a receiver at p2 [Pa], choking included.
///
/// # Errors
/// [`FlowError::OutOfRange`] for a pressure, volume or omega outside its range.
pub fn mass_flux(omega: f64, p0: f64, v0: f64, p2: f64) -> Result<f64, FlowError> {
    within(
        LAW,
        "stagnation pressure [Pa]",
        p0,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        LAW,
        "stagnation volume [m3/kg]",
        v0,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(LAW, "receiver pressure [Pa]", p2, 0.0, p0)?;
    let eta = critical_pressure_ratio(omega)?.max(p2 / p0);
    Ok(unchoked_flux(omega, eta) * (p0 / v0).sqrt())
}

/// Nozzle mass flux [kg/(m2 s)] of a subcooled liquid that flashes on the way.
///
/// `omega` is that of the saturated liquid (two points from saturation down), `saturation`
/// its vapour pressure [Pa], `density` the liquid's [kg/m3].
/// Law: with eta_s = ps/p0, high subcooling (eta_s <= 2 omega/(1 + 2 omega)) chokes at ps,
/// G = sqrt(2 rho (p0 - max(ps, p2))); low subcooling flashes before the throat,
/// G^2 = 2 p0 rho {1 - eta_s + omega eta_s ln(eta_s/eta) - (omega-1)(eta_s-eta)}
/// / [omega (eta_s/eta - 1) + 1]^2 at its greatest over eta.
/// Source: Leung & Grolmes 1988, AIChE J. 34, 524; API 520-I annex C.2.3.
///
/// # Errors
/// [`FlowError::OutOfRange`] for a number outside its range.
pub fn subcooled_mass_flux(
    omega: f64,
    p0: f64,
    density: f64,
    saturation: f64,
    p2: f64,
) -> Result<f64, FlowError> {
    within(LAW, "omega [-]", omega, OMEGA_RANGE.0, OMEGA_RANGE.1)?;
    within(
        LAW,
        "stagnation pressure [Pa]",
        p0,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        LAW,
        "liquid density [kg/m3]",
        density,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        LAW,
        "saturation pressure [Pa]",
        saturation,
        f64::MIN_POSITIVE,
        p0,
    )?;
    within(LAW, "receiver pressure [Pa]", p2, 0.0, p0)?;
    let onset = saturation / p0;
    let scale = (p0 * density).sqrt();
    let bernoulli = |eta: f64| (2.0 * (1.0 - eta)).sqrt() * scale;
    let receiver = p2 / p0;
    if receiver >= onset || onset <= 2.0 * omega / (1.0 + 2.0 * omega) {
        return Ok(bernoulli(onset.max(receiver)));
    }
    let flux = |eta: f64| {
        let work = 1.0 - onset + omega * onset * (onset / eta).ln() - (omega - 1.0) * (onset - eta);
        (2.0 * work.max(0.0)).sqrt() / (omega * (onset / eta - 1.0) + 1.0)
    };
    let low = receiver.max(1e-6 * onset);
    let top = maximise(|eta| Ok::<_, FlowError>(flux(eta)), low, onset, &MAXIMUM)?;
    Ok(top.value.max(flux(low)) * scale)
}

/// A maximum is flat: half the digits in eta are all the digits in the flux.
const MAXIMUM: Tolerance = Tolerance {
    x_absolute: 0.0,
    x_relative: 1e-9,
    value: 0.0,
    max_iterations: 200,
};

/// Flux through a tube with friction over sqrt(p0/v0) [-], homogeneous two-phase.
///
/// Law: momentum K = 2/g^2 I - 2 ln(v2/v1), I the integral of eta/[(1-omega) eta + omega] from
/// eta2 to eta1, along the omega line, after a nozzle entrance eta1 with flux g; the exit at the
/// receiver's ratio `receiver_ratio`, or where the flux is greatest, g = eta2/sqrt(omega).
/// Symbols: `friction_number` K = f L/D + minor losses [-], Darcy f.
/// Source: Leung & Grolmes 1987, AIChE J. 33, 524, horizontal pipe.
///
/// # Errors
/// [`FlowError::OutOfRange`] for a number outside its range; [`FlowError::Search`] if a root is
/// not found.
pub fn tube_flux(omega: f64, friction_number: f64, receiver_ratio: f64) -> Result<f64, FlowError> {
    within(LAW, "friction number [-]", friction_number, 0.0, 1.0e6)?;
    within(LAW, "pressure ratio [-]", receiver_ratio, 0.0, 1.0)?;
    let critical = critical_pressure_ratio(omega)?;
    if friction_number == 0.0 {
        return Ok(unchoked_flux(omega, critical.max(receiver_ratio)));
    }
    if receiver_ratio >= 1.0 {
        return Ok(0.0);
    }
    // Positive where the entrance eta1 passes more than the tube lets through.
    let excess = |eta1: f64| {
        let flux = unchoked_flux(omega, eta1);
        // A vacuum outside is never reached; the floor keeps the logarithm finite at rest.
        let exit = (flux * omega.sqrt()).max(receiver_ratio).max(1e-12);
        if exit >= eta1 {
            return flux * flux * friction_number;
        }
        let volume = |eta: f64| omega * (1.0 / eta - 1.0) + 1.0;
        flux * flux * (friction_number + 2.0 * (volume(exit) / volume(eta1)).ln())
            - 2.0 * momentum_integral(omega, exit, eta1)
    };
    let low = critical.max(receiver_ratio);
    let ends = ((low, excess(low)), (1.0, excess(1.0)));
    let eta1 = brent_between(
        |eta| Ok::<_, FlowError>(excess(eta)),
        ends.0,
        ends.1,
        &TOLERANCE,
    )?
    .x;
    Ok(unchoked_flux(omega, eta1))
}

/// Integral of eta/[(1-omega) eta + omega] from `low` to `high`.
fn momentum_integral(omega: f64, low: f64, high: f64) -> f64 {
    let e = 1.0 - omega;
    if e.abs() < 0.02 {
        // The closed form loses digits as 1/e^2; the integrand is all but straight here.
        const NODES: [(f64, f64); 3] = [
            (0.0, 0.568_888_888_888_888_9),
            (0.538_469_310_105_683_1, 0.478_628_670_499_366_47),
            (0.906_179_845_938_664, 0.236_926_885_056_189_08),
        ];
        let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
        let f = |eta: f64| eta / (e * eta + omega);
        let pair = |&(x, w): &(f64, f64)| {
            if x == 0.0 {
                w * f(middle)
            } else {
                w * (f(middle - half * x) + f(middle + half * x))
            }
        };
        return half * NODES.iter().map(pair).sum::<f64>();
    }
    let ratio = e * (high - low) / (e * low + omega);
    (high - low) / e - omega / (e * e) * ratio.ln_1p()
}

/// ln(1-e) with 1-e as the caller has it; the sum with e keeps its digits for small e.
fn ln_one_minus(e: f64) -> f64 {
    (-e).ln_1p()
}
