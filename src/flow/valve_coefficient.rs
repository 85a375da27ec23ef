//! Control valves by flow coefficient (IEC 60534-2-1), sizing and flow, gas and liquid.
//!
//! The standard's equations are written coherently: its constants N1, N6 and N9 follow from the
//! definition of Kv (1 m3/h of water of 1000 kg/m3 at 1 bar), and the rounded N6 = 31.6 and
//! N9 = 24.6 differ from them by under 0.1 %. N2 = 0.0016 and N5 = 0.0018 (mm) are the standard's.

use crate::flow::FlowError;
use crate::flow::error::within;
use crate::flow::perfect_gas::critical_flow_function;

/// Cv (US gallons per minute at 1 psi) per Kv (m3/h at 1 bar), the standard's rounded value.
pub const CV_PER_KV: f64 = 1.156;

/// kg/s per unit of Kv and sqrt(Pa kg/m3): sqrt(1000 kg/m3 / 1 bar)/3600.
const COHERENT: f64 = 1.0 / 36_000.0;
/// Ratio of specific heats of air, the reference of xT.
const GAMMA_OF_AIR: f64 = 1.4;
const N2: f64 = 0.001_6;
const N5: f64 = 0.001_8;
const LAW: &str = "valve coefficient";

/// Which edition's expansion factor a valve between fittings gets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edition {
    /// ISA-75.01.01-2007 (IEC 60534-2-1 Mod): Y from xT of the valve alone.
    Year2007,
    /// IEC 60534-2-1:2011: Y from xTP of valve and fittings.
    Year2011,
}

/// Reducers close to a valve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fittings {
    /// Bore of the pipe upstream [m].
    pub upstream_bore: f64,
    /// Bore of the pipe downstream [m].
    pub downstream_bore: f64,
    /// Nominal bore of the valve [m].
    pub valve_bore: f64,
    /// Which edition's equations.
    pub edition: Edition,
}

impl Fittings {
    /// Sum of loss coefficients of both reducers, and that of the inlet alone with its
    /// Bernoulli term. Source: IEC 60534-2-1:2011, eqs. 16-20.
    fn losses(&self) -> (f64, f64) {
        let upstream = (self.valve_bore / self.upstream_bore).powi(2);
        let downstream = (self.valve_bore / self.downstream_bore).powi(2);
        let inlet = 0.5 * (1.0 - upstream).powi(2);
        let outlet = (1.0 - downstream).powi(2);
        let bernoulli = (1.0 - upstream * upstream, 1.0 - downstream * downstream);
        (
            inlet + outlet + bernoulli.0 - bernoulli.1,
            inlet + bernoulli.0,
        )
    }

    fn factors(&self, kv: f64, xt: f64) -> (f64, f64) {
        let (sum, inlet) = self.losses();
        let millimetres = 1.0e3 * self.valve_bore;
        let relative = (kv / (millimetres * millimetres)).powi(2);
        let piping = 1.0 / (1.0 + sum / N2 * relative).sqrt();
        (
            piping,
            xt / (piping * piping) / (1.0 + xt * inlet / N5 * relative),
        )
    }
}

/// A valve passing gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasValve {
    /// Pressure-differential ratio factor of the valve, air at choking, xT [-].
    pub xt: f64,
    /// Ratio of specific heats (or isentropic exponent) of the gas [-].
    pub gamma: f64,
    /// Reducers, if the pipe is wider than the valve.
    pub fittings: Option<Fittings>,
}

impl GasValve {
    /// Mass flow [kg/s] through a valve of coefficient `kv`.
    ///
    /// Law: W = (Kv/36000) Fp Y sqrt(x p1 rho1), x = (p1 - p2)/p1 up to Fg xTP, Fg = gamma/1.4,
    /// Y = 1 - x/(3 Fg xTP), at least 2/3. Symbols: p1, p2 absolute pressures [Pa], rho1 real
    /// density upstream [kg/m3], Fp piping factor, xTP of valve and fittings [-].
    /// Source: IEC 60534-2-1:2011, eqs. 6-9, 15, 21.
    ///
    /// # Errors
    /// [`FlowError::OutOfRange`] for a coefficient, xT (0-1), gamma (1.08-1.65, the standard's
    /// range of Fg), density or pressure outside its range.
    pub fn mass_flow(&self, kv: f64, p1: f64, rho1: f64, p2: f64) -> Result<f64, FlowError> {
        self.check(p1, rho1, p2)?;
        within(LAW, "Kv [m3/h]", kv, 0.0, f64::MAX)?;
        Ok(COHERENT * kv * self.flow_factor(kv, (p1 - p2) / p1) * (p1 * rho1).sqrt())
    }

    /// Kv [m3/h] that passes a mass flow [kg/s]; with fittings, the fixed point of the
    /// equations, found by damped iteration.
    ///
    /// # Errors
    /// As [`GasValve::mass_flow`]; [`FlowError::NotConverged`] if the fittings alone pass less.
    pub fn size(&self, mass_flow: f64, p1: f64, rho1: f64, p2: f64) -> Result<f64, FlowError> {
        self.check(p1, rho1, p2)?;
        within(LAW, "mass flow [kg/s]", mass_flow, 0.0, f64::MAX)?;
        let x = (p1 - p2) / p1;
        let wanted = mass_flow / (COHERENT * (p1 * rho1).sqrt());
        let bare = wanted / self.flow_factor(0.0, x);
        let mut kv = bare;
        for _ in 0..200 {
            let next = wanted / self.flow_factor(kv, x);
            if (next - kv).abs() <= 1e-13 * kv {
                return Ok(next);
            }
            kv = 0.5 * (kv + next);
            if !kv.is_finite() || kv > 1e3 * bare {
                break;
            }
        }
        let residual = kv * self.flow_factor(kv, x) / wanted - 1.0;
        Err(FlowError::NotConverged {
            law: LAW,
            iterations: 200,
            residual,
        })
    }

    /// Whether the flow is choked at these pressures [Pa] for a coefficient.
    pub fn is_choked(&self, kv: f64, p1: f64, p2: f64) -> bool {
        (p1 - p2) / p1 >= self.gamma / GAMMA_OF_AIR * self.piping(kv).1
    }

    /// Fp and xTP [-] at a coefficient: 1 and xT without fittings.
    pub fn piping(&self, kv: f64) -> (f64, f64) {
        self.fittings
            .map_or((1.0, self.xt), |fittings| fittings.factors(kv, self.xt))
    }

    /// Fp Y sqrt(x) with x limited to choking.
    fn flow_factor(&self, kv: f64, x: f64) -> f64 {
        let (piping, xtp) = self.piping(kv);
        let heat = self.gamma / GAMMA_OF_AIR;
        let expansion_xt = match self.fittings.map(|fittings| fittings.edition) {
            Some(Edition::Year2007) => self.xt,
            _ => xtp,
        };
        let x = x.min(heat * xtp);
        let expansion = (1.0 - x / (3.0 * heat * expansion_xt)).max(2.0 / 3.0);
        piping * expansion * x.sqrt()
    }

    fn check(&self, p1: f64, rho1: f64, p2: f64) -> Result<(), FlowError> {
        within(LAW, "xT [-]", self.xt, 1e-3, 1.0)?;
        within(LAW, "gamma [-]", self.gamma, 1.08, 1.65)?;
        within(LAW, "inlet pressure [Pa]", p1, f64::MIN_POSITIVE, f64::MAX)?;
        within(
            LAW,
            "inlet density [kg/m3]",
            rho1,
            f64::MIN_POSITIVE,
            f64::MAX,
        )?;
        within(LAW, "outlet pressure [Pa]", p2, 0.0, p1)?;
        if let Some(fittings) = &self.fittings {
            let bore = within(LAW, "valve bore [m]", fittings.valve_bore, 1e-6, 10.0)?;
            within(LAW, "upstream bore [m]", fittings.upstream_bore, bore, 10.0)?;
            within(
                LAW,
                "downstream bore [m]",
                fittings.downstream_bore,
                bore,
                10.0,
            )?;
        }
        Ok(())
    }
}

/// A valve passing a liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LiquidValve {
    /// Liquid pressure recovery factor FL [-].
    pub recovery: f64,
    /// Vapour pressure of the liquid [Pa].
    pub vapour_pressure: f64,
    /// Critical pressure of the liquid [Pa].
    pub critical_pressure: f64,
}

impl LiquidValve {
    /// Mass flow [kg/s], turbulent, without fittings.
    ///
    /// Law: W = (Kv/36000) sqrt(dp rho), dp = p1 - p2 up to FL^2 (p1 - FF pv),
    /// FF = 0.96 - 0.28 sqrt(pv/pc). Source: IEC 60534-2-1:2011, eqs. 1-4.
    /// The standard says nothing on how a liquid charged with gas, or near its critical point,
    /// flashes: use the two-phase flux models for CO2.
    ///
    /// # Errors
    /// [`FlowError::OutOfRange`] for a number outside its range, vapour pressure above p1 included.
    pub fn mass_flow(&self, kv: f64, p1: f64, density: f64, p2: f64) -> Result<f64, FlowError> {
        within(LAW, "Kv [m3/h]", kv, 0.0, f64::MAX)?;
        within(LAW, "FL [-]", self.recovery, 1e-2, 1.0)?;
        within(LAW, "inlet pressure [Pa]", p1, f64::MIN_POSITIVE, f64::MAX)?;
        within(LAW, "density [kg/m3]", density, f64::MIN_POSITIVE, f64::MAX)?;
        within(LAW, "outlet pressure [Pa]", p2, 0.0, p1)?;
        within(LAW, "vapour pressure [Pa]", self.vapour_pressure, 0.0, p1)?;
        let critical = within(
            LAW,
            "critical pressure [Pa]",
            self.critical_pressure,
            self.vapour_pressure.max(f64::MIN_POSITIVE),
            f64::MAX,
        )?;
        let ratio = 0.96 - 0.28 * (self.vapour_pressure / critical).sqrt();
        let most = self.recovery * self.recovery * (p1 - ratio * self.vapour_pressure);
        Ok(COHERENT * kv * ((p1 - p2).min(most) * density).sqrt())
    }
}

/// Kv [m3/h] of a Cv [US gal/min at 1 psi].
pub fn kv_from_cv(cv: f64) -> f64 {
    cv / CV_PER_KV
}

/// Cv [US gal/min at 1 psi] of a Kv [m3/h].
pub fn cv_from_kv(kv: f64) -> f64 {
    kv * CV_PER_KV
}

/// Discharge coefficient times area [m2] of the nozzle that passes the same choked gas flow.
///
/// Equation: Cd A C*(gamma) = (Kv/36000) (2/3) sqrt(gamma xT/1.4), from equating the choked flow
/// of [`GasValve::mass_flow`] with Cd A C* sqrt(p1 rho1). A valve recovers pressure less than an
/// ideal nozzle chokes: with xT above about 0.55 it chokes at a lower back pressure than the
/// nozzle, and passes less than it just before choking. Range: as [`GasValve::mass_flow`].
///
/// # Errors
/// [`FlowError::OutOfRange`] for a coefficient, xT or gamma outside its range.
pub fn equivalent_area(kv: f64, xt: f64, gamma: f64) -> Result<f64, FlowError> {
    within(LAW, "Kv [m3/h]", kv, 0.0, f64::MAX)?;
    within(LAW, "xT [-]", xt, 1e-3, 1.0)?;
    within(LAW, "gamma [-]", gamma, 1.08, 1.65)?;
    let choked = COHERENT * kv * 2.0 / 3.0 * (gamma / GAMMA_OF_AIR * xt).sqrt();
    Ok(choked / critical_flow_function(gamma))
}
