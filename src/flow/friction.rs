//! Adiabatic flow with friction: what a tube leaves of the flux of a plain nozzle.
//!
//! The path is a smooth entrance from rest (isentropic), then a tube of constant bore with
//! friction number K = f L/D + sum of minor losses, f the Darcy factor, spread along the tube,
//! discharging into the receiver or choked at its end (Fanno flow).

use crate::flow::FlowError;
use crate::flow::error::within;
use crate::flow::perfect_gas::{flux_function, isentropic_flux_at_mach};
use crate::numerics::roots::{Tolerance, brent_between};
use crate::numerics::smooth_step;
use std::f64::consts::PI;

/// Isentropic exponents accepted [-]. Large values are dense, hardly compressible fluid.
pub const EXPONENT_RANGE: (f64, f64) = (0.05, 1.0e6);
/// Friction numbers accepted [-].
pub const FRICTION_NUMBER_RANGE: (f64, f64) = (0.0, 1.0e6);

/// Below this fractional pressure difference the multiplier is taken along a straight line to
/// its limit 1/sqrt(1 + K), where the equations lose all digits; error of order its square.
const INCOMPRESSIBLE: f64 = 1e-6;

const LAW: &str = "tube with friction";

/// Mass flux through a tube with friction over that through a plain nozzle, 0-1.
///
/// Law: Fanno flow after an isentropic entrance. Equations, with Phi(M) = f L*/D of
/// [`friction_to_choking`]: Phi(M1) - Phi(M2) = K, M1 from the flux through the entrance, M2
/// from the same flux at exit pressure p2; or M2 = 1 and the exit above p2 if that is choked.
/// Symbols: `kappa` isentropic exponent [-], `friction_number` K [-], `pressure_ratio` p2/p0 [-]
/// receiver over stagnation pressure.
/// Source: Shapiro 1953, chapter 6 (eqs. 6.21 and 6.24), exact for a perfect gas. A real vapour
/// is followed as far as p v^kappa = const follows its isentrope. Throttling keeps p v of a gas
/// but v of a liquid, so a dense fluid (kappa above 10) loses heads instead, 1/sqrt(1 + K), with
/// a smooth passage from kappa = 3. Flashing flow has no law of its own here: it takes that of
/// the vapour, an error within the uncertainty of any two-phase flux; [`crate::flow::omega`] has
/// the homogeneous answer. Limits: 1 as K goes to 0; 1/sqrt(1 + K) as p2 goes to p0.
///
/// # Errors
/// [`FlowError::OutOfRange`] outside [`EXPONENT_RANGE`], [`FRICTION_NUMBER_RANGE`] or a pressure
/// ratio of 0-1; [`FlowError::Search`] if a root is not found.
///
/// ```
/// use coldkick::flow::friction::friction_factor_on_flux;
/// // Ten diameters of tube at f = 0.02 and an elbow, air at 7 bar into the open: choked.
/// let share = friction_factor_on_flux(1.4, 0.02 * 10.0 + 0.9, 1.0 / 7.0)?;
/// assert!((share - 0.743).abs() < 0.003);
/// # Ok::<(), coldkick::flow::FlowError>(())
/// ```
pub fn friction_factor_on_flux(
    kappa: f64,
    friction_number: f64,
    pressure_ratio: f64,
) -> Result<f64, FlowError> {
    within(LAW, "pressure ratio [-]", pressure_ratio, 0.0, 1.0)?;
    if 1.0 - pressure_ratio < INCOMPRESSIBLE {
        let near = multiplier(kappa, friction_number, 1.0 - INCOMPRESSIBLE)?;
        let limit = 1.0 / (1.0 + friction_number).sqrt();
        return Ok(limit + (near - limit) * (1.0 - pressure_ratio) / INCOMPRESSIBLE);
    }
    multiplier(kappa, friction_number, pressure_ratio)
}

fn multiplier(kappa: f64, friction_number: f64, pressure_ratio: f64) -> Result<f64, FlowError> {
    let liquid = liquid_share(kappa);
    let heads = 1.0 / (1.0 + friction_number).sqrt();
    if liquid >= 1.0 {
        within(
            LAW,
            "isentropic exponent [-]",
            kappa,
            EXPONENT_RANGE.0,
            EXPONENT_RANGE.1,
        )?;
        let (least, most) = FRICTION_NUMBER_RANGE;
        within(LAW, "friction number [-]", friction_number, least, most)?;
        return Ok(heads);
    }
    let gas = gas_multiplier(kappa, friction_number, pressure_ratio)?;
    Ok(gas + liquid * (heads - gas))
}

/// How much of a liquid a fluid is, by its exponent: no gas exceeds kappa = 3 far from the
/// critical point, no liquid far from it has less than 10; smooth in ln kappa between.
fn liquid_share(kappa: f64) -> f64 {
    smooth_step((kappa / 3.0).ln() / (10.0_f64 / 3.0).ln())
}

fn gas_multiplier(kappa: f64, friction_number: f64, pressure_ratio: f64) -> Result<f64, FlowError> {
    let flow = tube_flow(kappa, friction_number, pressure_ratio)?;
    Ok((flow.flux / flux_function(pressure_ratio, kappa)).min(1.0))
}

/// State of a tube flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubeFlow {
    /// Mach number behind the entrance [-].
    pub inlet_mach: f64,
    /// Mass flux over sqrt(p0 rho0) [-].
    pub flux: f64,
    /// Whether the exit is sonic.
    pub choked: bool,
    /// Exit pressure over stagnation pressure [-]: the receiver's, or above it when choked.
    pub exit_pressure_ratio: f64,
}

/// Flow through a tube with friction; symbols and law as in [`friction_factor_on_flux`].
///
/// # Errors
/// As [`friction_factor_on_flux`].
pub fn tube_flow(
    kappa: f64,
    friction_number: f64,
    pressure_ratio: f64,
) -> Result<TubeFlow, FlowError> {
    within(
        LAW,
        "isentropic exponent [-]",
        kappa,
        EXPONENT_RANGE.0,
        EXPONENT_RANGE.1,
    )?;
    let (least, most) = FRICTION_NUMBER_RANGE;
    within(LAW, "friction number [-]", friction_number, least, most)?;
    within(LAW, "pressure ratio [-]", pressure_ratio, 0.0, 1.0)?;
    let e = 0.5 * (kappa - 1.0);
    let critical = mach_squared_at_inlet_of_choked_tube(kappa, friction_number)?;
    let flux = isentropic_flux_at_mach(critical.sqrt(), kappa);
    // Continuity from inlet flux to a sonic exit at the same stagnation temperature.
    let choked_exit = flux / (kappa * (1.0 + e)).sqrt();
    if pressure_ratio <= choked_exit {
        return Ok(TubeFlow {
            inlet_mach: critical.sqrt(),
            flux,
            choked: true,
            exit_pressure_ratio: choked_exit,
        });
    }
    // m1 kappa (Phi(M1) - Phi(M2) - K), nearly straight in m1 = M1^2; 1 - r^2 at m1 = 0.
    let mismatch = |m1: f64| {
        let flux = isentropic_flux_at_mach(m1.sqrt(), kappa);
        let s = flux * flux / (kappa * pressure_ratio * pressure_ratio);
        let m2 = (2.0 * s / (1.0 + (1.0 + 4.0 * e * s).max(0.0).sqrt())).min(1.0);
        let inlet = scaled_friction_to_choking(m1, kappa);
        let exit = m1 / m2 * scaled_friction_to_choking(m2, kappa);
        inlet - exit - m1 * kappa * friction_number
    };
    let at_zero = (1.0 - pressure_ratio) * (1.0 + pressure_ratio);
    let upper = critical;
    let at_upper = mismatch(upper);
    let m1 = if at_upper >= 0.0 {
        upper
    } else {
        let ends = ((0.0, at_zero), (upper, at_upper));
        brent_between(
            |m1| Ok::<_, FlowError>(mismatch(m1)),
            ends.0,
            ends.1,
            &TOLERANCE,
        )?
        .x
    };
    Ok(TubeFlow {
        inlet_mach: m1.sqrt(),
        flux: isentropic_flux_at_mach(m1.sqrt(), kappa),
        choked: false,
        exit_pressure_ratio: pressure_ratio,
    })
}

const TOLERANCE: Tolerance = Tolerance {
    x_absolute: 0.0,
    x_relative: 1e-14,
    value: 0.0,
    max_iterations: 100,
};

fn mach_squared_at_inlet_of_choked_tube(kappa: f64, number: f64) -> Result<f64, FlowError> {
    if number == 0.0 {
        return Ok(1.0);
    }
    let mismatch = |m: f64| scaled_friction_to_choking(m, kappa) - m * kappa * number;
    let ends = ((0.0, 1.0), (1.0, -kappa * number));
    Ok(brent_between(
        |m| Ok::<_, FlowError>(mismatch(m)),
        ends.0,
        ends.1,
        &TOLERANCE,
    )?
    .x)
}

/// M^2 kappa f L*/D with m = M^2: 1 at m = 0, 0 at m = 1.
fn scaled_friction_to_choking(m: f64, kappa: f64) -> f64 {
    if m <= 0.0 {
        return 1.0;
    }
    let sonic_share = (1.0 - m) / (1.0 + 0.5 * (kappa - 1.0) * m);
    // ln((k+1) m/(2+(k-1) m)) = ln(1 - (1-m)/(1 + (k-1)/2 m)), accurate near m = 1.
    (1.0 - m) + 0.5 * (kappa + 1.0) * m * (-sonic_share).ln_1p()
}

/// Friction number of the tube that takes a Mach number to 1, f L*/D [-], f the Darcy factor.
///
/// Equation: (1 - M^2)/(kappa M^2) + (kappa+1)/(2 kappa) ln[(kappa+1) M^2/(2 + (kappa-1) M^2)].
/// Source: Shapiro 1953, eq. 6.21 (there 4 f L/D with the Fanning factor). `mach` M > 0 [-].
pub fn friction_to_choking(mach: f64, kappa: f64) -> f64 {
    let m = mach * mach;
    if m <= 1.0 {
        return scaled_friction_to_choking(m, kappa) / (kappa * m);
    }
    let ratio = (kappa + 1.0) * m / (2.0 + (kappa - 1.0) * m);
    (1.0 - m) / (kappa * m) + (kappa + 1.0) / (2.0 * kappa) * ratio.ln()
}

/// Pressure over the pressure where the same Fanno flow is sonic, p/p* [-].
///
/// Equation: (1/M) sqrt[(kappa+1)/(2 + (kappa-1) M^2)]. Source: Shapiro 1953, eq. 6.24.
pub fn pressure_over_sonic(mach: f64, kappa: f64) -> f64 {
    temperature_over_sonic(mach, kappa).sqrt() / mach
}

/// Temperature over that where the same Fanno flow is sonic, T/T* [-].
///
/// Equation: (kappa+1)/(2 + (kappa-1) M^2). Source: Shapiro 1953, eq. 6.23.
pub fn temperature_over_sonic(mach: f64, kappa: f64) -> f64 {
    (kappa + 1.0) / (2.0 + (kappa - 1.0) * mach * mach)
}

/// Friction number of a tube with minor losses, K = f L/D + sum of loss coefficients [-].
pub fn friction_number(darcy_factor: f64, length: f64, bore: f64, minor_losses: f64) -> f64 {
    darcy_factor * length / bore + minor_losses
}

/// Reynolds number of a mass flow in a round bore, 4 mdot/(pi D mu) [-]; mass flow [kg/s], bore
/// [m], dynamic viscosity [Pa s].
pub fn reynolds_number(mass_flow: f64, bore: f64, viscosity: f64) -> f64 {
    4.0 * mass_flow / (PI * bore * viscosity)
}

/// Reynolds number up to which pipe flow is laminar.
const LAMINAR: f64 = 2_100.0;
/// Reynolds number from which pipe flow is turbulent.
const TURBULENT: f64 = 4_000.0;

/// Darcy friction factor of a round pipe [-].
///
/// Equations: 64/Re (Hagen-Poiseuille) up to Re = 2100; from 4000 on Colebrook 1939, J. Inst.
/// Civ. Eng. 11, 133: 1/sqrt f = -2 log10(e/3.7 + 2.51/(Re sqrt f)); between, where no law holds,
/// a straight line in ln Re keeps it continuous. Symbols: `reynolds` Re [-] 1 to 1e9,
/// `relative_roughness` e = roughness/bore [-] 0 to 0.05.
///
/// # Errors
/// [`FlowError::OutOfRange`] outside those ranges.
pub fn darcy_friction_factor(reynolds: f64, relative_roughness: f64) -> Result<f64, FlowError> {
    const LAW: &str = "pipe friction factor";
    within(LAW, "Reynolds number [-]", reynolds, 1.0, 1.0e9)?;
    within(LAW, "relative roughness [-]", relative_roughness, 0.0, 0.05)?;
    if reynolds <= LAMINAR {
        return Ok(64.0 / reynolds);
    }
    if reynolds >= TURBULENT {
        return Ok(colebrook(reynolds, relative_roughness));
    }
    let share = (reynolds / LAMINAR).ln() / (TURBULENT / LAMINAR).ln();
    let turbulent = colebrook(TURBULENT, relative_roughness);
    Ok(64.0 / LAMINAR + share * (turbulent - 64.0 / LAMINAR))
}

/// Colebrook's equation by Newton's method in 1/sqrt f from Haaland's explicit start (1983, J.
/// Fluids Eng. 105, 89), 2 % off at most; four steps reach rounding.
fn colebrook(reynolds: f64, roughness: f64) -> f64 {
    let (a, b) = (roughness / 3.7, 2.51 / reynolds);
    let mut x = -1.8 * (a.powf(1.11) + 6.9 / reynolds).log10();
    for _ in 0..4 {
        let argument = a + b * x;
        let residual = x + 2.0 * argument.log10();
        let slope = 1.0 + 2.0 * b / (argument * std::f64::consts::LN_10);
        x -= residual / slope;
    }
    1.0 / (x * x)
}
