//! Nozzle flow along an isentrope p v^kappa = const.
//!
//! With kappa = cp/cv this is the perfect gas; with kappa = rho w^2 / p of the real stagnation
//! state, and the real density, it follows a real vapour's frozen isentrope closely.
//! All fluxes are written G = psi(p2/p0, kappa) sqrt(p0 rho0), so that no gas constant and no
//! temperature enter, and the perfect-gas C* is the greatest psi.

use crate::flow::error::{FlowError, within};

/// Least and greatest isentropic exponent accepted: the isothermal limit 1 lies inside, dense
/// and near-critical vapour reaches both sides of it.
pub const EXPONENT_RANGE: (f64, f64) = (0.05, 100.0);

/// Throat pressure over stagnation pressure at choking [-].
///
/// Equation: r* = (2/(kappa+1))^(kappa/(kappa-1)); exp(-1/2) at kappa = 1.
/// Source: Shapiro 1953, eq. 4.15b; kappa [-] > 0.
pub fn critical_pressure_ratio(kappa: f64) -> f64 {
    // ln((kappa+1)/2)/(kappa-1) = ln(1+e)/(2e) with e = (kappa-1)/2 has no trouble at 1.
    (-0.5 * kappa * log_one_plus_over(0.5 * (kappa - 1.0))).exp()
}

/// Throat temperature over stagnation temperature at choking for a perfect gas [-].
///
/// Equation: T*/T0 = 2/(kappa+1). Source: Shapiro 1953, eq. 4.15a.
pub fn critical_temperature_ratio(kappa: f64) -> f64 {
    2.0 / (kappa + 1.0)
}

/// Critical flow function of a perfect gas, C* = G* sqrt(R T0)/p0 = G*/sqrt(p0 rho0) [-].
///
/// Equation: C* = sqrt(kappa) (2/(kappa+1))^((kappa+1)/(2(kappa-1))).
/// Source: ISO 9300:2005, eq. 6 for the perfect gas; kappa [-] > 0.
pub fn critical_flow_function(kappa: f64) -> f64 {
    kappa.sqrt() * (-0.25 * (kappa + 1.0) * log_one_plus_over(0.5 * (kappa - 1.0))).exp()
}

/// Real-gas critical flow function in the sense of ISO 9300, C* = G* sqrt(R T0)/p0 [-].
///
/// `critical_mass_flux` G* [kg/(m2 s)], `specific_gas_constant` R [J/(kg K)], stagnation
/// temperature T0 [K] and pressure p0 [Pa]. A definition: it holds for any fluid, and R T0 is
/// deliberately not replaced by p0/rho0.
pub fn real_critical_flow_function(
    critical_mass_flux: f64,
    specific_gas_constant: f64,
    stagnation_temperature: f64,
    stagnation_pressure: f64,
) -> f64 {
    critical_mass_flux * (specific_gas_constant * stagnation_temperature).sqrt()
        / stagnation_pressure
}

/// Flux function psi = G/sqrt(p0 rho0) at a receiver pressure ratio p2/p0 [-].
///
/// Equation: psi^2 = 2 kappa/(kappa-1) (r^(2/kappa) - r^((kappa+1)/kappa)), r = max(p2/p0, r*).
/// Source: Saint-Venant & Wantzel 1839 (Shapiro 1953, eq. 4.17). The slope is continuous (zero)
/// at choking; at r = 1 it is vertical. Zero for r >= 1: the caller turns the path round.
/// Written with expm1 so that kappa = 1 is no special case.
pub fn flux_function(pressure_ratio: f64, kappa: f64) -> f64 {
    flux_and_critical_ratio(pressure_ratio, kappa).0
}

/// [`flux_function`] and, beside it, [`critical_pressure_ratio`], which share their logarithm.
#[inline]
pub(crate) fn flux_and_critical_ratio(pressure_ratio: f64, kappa: f64) -> (f64, f64) {
    let logarithm = log_one_plus_over(0.5 * (kappa - 1.0));
    let critical = (-0.5 * kappa * logarithm).exp();
    let flux = if pressure_ratio >= 1.0 {
        0.0
    } else if pressure_ratio <= critical {
        kappa.sqrt() * (-0.25 * (kappa + 1.0) * logarithm).exp()
    } else {
        unchoked_flux_function(pressure_ratio, kappa)
    };
    (flux, critical)
}

/// The flux function without the choking limit: flux through the section where the pressure
/// ratio is `pressure_ratio`, 0-1, whether sub- or supersonic there.
pub fn unchoked_flux_function(pressure_ratio: f64, kappa: f64) -> f64 {
    if pressure_ratio <= 0.0 {
        return 0.0;
    }
    let log_ratio = pressure_ratio.ln();
    let work = -2.0 * log_ratio * exp_minus_one_over((kappa - 1.0) / kappa * log_ratio);
    (log_ratio / kappa).exp() * work.max(0.0).sqrt()
}

/// Mass flux over sqrt(p0 rho0) of isentropic flow from rest at a Mach number M [-].
///
/// Equation: sqrt(kappa) M [1 + (kappa-1)/2 M^2]^(-(kappa+1)/(2(kappa-1))).
/// Source: Shapiro 1953, eq. 4.17; greatest, and equal to C*, at M = 1.
pub fn isentropic_flux_at_mach(mach: f64, kappa: f64) -> f64 {
    let m = mach * mach;
    let e = 0.5 * (kappa - 1.0);
    kappa.sqrt() * mach * (-0.25 * (kappa + 1.0) * m * log_one_plus_over(e * m)).exp()
}

/// Mass flux through a frictionless nozzle [kg/(m2 s)].
///
/// `stagnation_pressure` p0 [Pa], `stagnation_density` rho0 [kg/m3], `receiver_pressure` p2 [Pa],
/// `kappa` isentropic exponent [-]. G = psi(p2/p0, kappa) sqrt(p0 rho0).
///
/// # Errors
/// [`FlowError::OutOfRange`] if a pressure or density is negative, p0 is zero or the exponent is
/// outside [`EXPONENT_RANGE`].
///
/// ```
/// use coldkick::flow::perfect_gas::mass_flux;
/// // Air at 7 bar and 300 K into the open: choked.
/// let density = 7.0e5 / (287.05 * 300.0);
/// let flux = mass_flux(7.0e5, density, 1.0e5, 1.4)?;
/// assert!((flux - 1633.3).abs() < 0.1);
/// # Ok::<(), coldkick::flow::FlowError>(())
/// ```
pub fn mass_flux(
    stagnation_pressure: f64,
    stagnation_density: f64,
    receiver_pressure: f64,
    kappa: f64,
) -> Result<f64, FlowError> {
    const LAW: &str = "perfect-gas nozzle";
    within(
        LAW,
        "stagnation pressure [Pa]",
        stagnation_pressure,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        LAW,
        "stagnation density [kg/m3]",
        stagnation_density,
        0.0,
        f64::MAX,
    )?;
    within(
        LAW,
        "receiver pressure [Pa]",
        receiver_pressure,
        0.0,
        f64::MAX,
    )?;
    within(
        LAW,
        "isentropic exponent [-]",
        kappa,
        EXPONENT_RANGE.0,
        EXPONENT_RANGE.1,
    )?;
    let psi = flux_function(receiver_pressure / stagnation_pressure, kappa);
    Ok(psi * (stagnation_pressure * stagnation_density).sqrt())
}

/// ln(1+e)/e, 1 at e = 0.
fn log_one_plus_over(e: f64) -> f64 {
    if e.abs() < 1.0e-12 {
        1.0 - 0.5 * e
    } else {
        e.ln_1p() / e
    }
}

/// (exp(y)-1)/y, 1 at y = 0.
pub(crate) fn exp_minus_one_over(y: f64) -> f64 {
    if y.abs() < 1.0e-12 {
        1.0 + 0.5 * y
    } else {
        y.exp_m1() / y
    }
}
