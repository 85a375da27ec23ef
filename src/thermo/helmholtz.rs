//! The reduced Helmholtz energy of the fluid and every property derived from it.
//!
//! Law: a(T, rho)/(R T) = alpha0(delta, tau) + alphar(delta, tau), delta = rho/rho_c,
//! tau = T_c/T (Span & Wagner 1996, eq. 6.1); properties by table 3 of the paper.

use crate::thermo::fluids::carbon_dioxide as co2;

/// The residual reduced Helmholtz energy and its derivatives, each already multiplied by the
/// powers of delta and tau it is differentiated by (so all are dimensionless and finite at
/// zero density).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Reduced {
    /// alphar.
    pub value: f64,
    /// delta d(alphar)/d(delta).
    pub d: f64,
    /// tau d(alphar)/d(tau).
    pub t: f64,
    /// delta^2 d2(alphar)/d(delta)2.
    pub dd: f64,
    /// delta tau d2(alphar)/d(delta)d(tau).
    pub dt: f64,
    /// tau^2 d2(alphar)/d(tau)2.
    pub tt: f64,
}

/// Residual part: 34 power, 5 Gaussian and 3 non-analytic terms.
#[must_use]
pub fn residual(delta: f64, tau: f64) -> Reduced {
    terms::<true>(delta, tau)
}

/// The value of [`residual`] alone, for a third of the cost.
#[must_use]
pub fn residual_value(delta: f64, tau: f64) -> f64 {
    terms::<false>(delta, tau).value
}

/// The sum of all terms; the derivatives only if asked for.
fn terms<const DERIVATIVES: bool>(delta: f64, tau: f64) -> Reduced {
    // Integer powers of delta up to 10 and quarter powers of tau up to 28 by repeated products.
    let mut delta_power = [1.0; 11];
    for i in 1..11 {
        delta_power[i] = delta_power[i - 1] * delta;
    }
    let mut decay = [1.0; 7];
    for (l, factor) in decay.iter_mut().enumerate().skip(1) {
        *factor = (-delta_power[l]).exp();
    }
    let tau_power = TauPowers::new(tau);
    let mut sum = Reduced::default();
    for term in &co2::POWER_TERMS {
        let l = term.l as usize;
        let value = term.n * delta_power[term.d as usize] * tau_power.get(term.t4) * decay[l];
        sum.value += value;
        if !DERIVATIVES {
            continue;
        }
        let (d, t) = (f64::from(term.d), f64::from(term.t4) * 0.25);
        let (lead, curvature) = if l == 0 {
            (d, d * (d - 1.0))
        } else {
            let lf = l as f64;
            let x = lf * delta_power[l];
            (d - x, (d - x) * (d - 1.0 - x) - lf * x)
        };
        sum.d += value * lead;
        sum.dd += value * curvature;
        sum.t += value * t;
        sum.tt += value * t * (t - 1.0);
        sum.dt += value * lead * t;
    }
    gaussian::<DERIVATIVES>(delta, tau, &delta_power, &tau_power, &mut sum);
    non_analytic::<DERIVATIVES>(delta, tau, &mut sum);
    sum
}

/// Powers of tau in quarter steps that the terms use.
struct TauPowers {
    whole: [f64; 29],
    half: f64,
    three_quarters: f64,
}

impl TauPowers {
    fn new(tau: f64) -> Self {
        let mut whole = [1.0; 29];
        for i in 1..29 {
            whole[i] = whole[i - 1] * tau;
        }
        let half = tau.sqrt();
        Self {
            whole,
            half,
            three_quarters: half * half.sqrt(),
        }
    }

    fn get(&self, quarters: u8) -> f64 {
        let whole = self.whole[(quarters / 4) as usize];
        match quarters % 4 {
            0 => whole,
            2 => whole * self.half,
            3 => whole * self.three_quarters,
            _ => whole * self.half.sqrt(),
        }
    }
}

fn gaussian<const DERIVATIVES: bool>(
    delta: f64,
    tau: f64,
    delta_power: &[f64; 11],
    tau_power: &TauPowers,
    sum: &mut Reduced,
) {
    let distance = delta - 1.0;
    for term in &co2::GAUSSIAN_TERMS {
        let offset = tau - term.gamma;
        let exponent = -term.eta * distance * distance - term.beta * offset * offset;
        if exponent < -90.0 {
            continue;
        }
        let value = term.n * delta_power[term.d as usize] * tau_power.get(term.t4) * exponent.exp();
        sum.value += value;
        if !DERIVATIVES {
            continue;
        }
        let (d, t) = (f64::from(term.d), f64::from(term.t4) * 0.25);
        let lead_d = d - 2.0 * term.eta * delta * distance;
        let lead_t = t - 2.0 * term.beta * tau * offset;
        sum.d += value * lead_d;
        sum.t += value * lead_t;
        sum.dd += value * (lead_d * lead_d - d - 2.0 * term.eta * delta * delta);
        sum.tt += value * (lead_t * lead_t - t - 2.0 * term.beta * tau * tau);
        sum.dt += value * lead_d * lead_t;
    }
}

/// The three non-analytic terms, n Delta^b delta psi with
/// psi = exp(-C (delta-1)^2 - D (tau-1)^2), Delta = theta^2 + B ((delta-1)^2)^a and
/// theta = 1 - tau + A ((delta-1)^2)^(1/(2 beta)); derivatives by table 32 of the paper, with
/// every division by delta-1 carried out beforehand, so that delta = 1 is an ordinary point.
fn non_analytic<const DERIVATIVES: bool>(delta: f64, tau: f64, sum: &mut Reduced) {
    const INVERSE_BETA: f64 = 1.0 / co2::NON_ANALYTIC_BETA;
    let x = delta - 1.0;
    let x2 = x * x;
    let y = tau - 1.0;
    // Below 4e-18 of the other terms.
    if co2::NON_ANALYTIC_D * y * y + 10.0 * x2 > 40.0 {
        return;
    }
    // ((delta-1)^2)^(1/(2 beta) - 1) = |x|^(4/3) and its square-free companions.
    let x_curve = x2.abs().cbrt().powi(2);
    let theta = -y + co2::NON_ANALYTIC_A * x2 * x_curve;
    for term in &co2::NON_ANALYTIC_TERMS {
        let x_a2 = if term.a == 3.0 { x2 } else { x2 * x.abs() }; // (x^2)^(a-2)
        let x_a1 = x_a2 * x2;
        let distance = (theta * theta + term.b_capital * x_a1 * x2).max(1e-100);
        let power = distance.powf(term.b);
        let psi = (-term.c * x2 - co2::NON_ANALYTIC_D * y * y).exp();
        let n = term.n;
        sum.value += n * power * delta * psi;
        if !DERIVATIVES {
            continue;
        }
        let common = co2::NON_ANALYTIC_A * theta * 2.0 * INVERSE_BETA * x_curve;
        let bracket = common + 2.0 * term.b_capital * term.a * x_a1;
        let distance_d = x * bracket;
        let distance_dd = bracket
            + 4.0 * term.b_capital * term.a * (term.a - 1.0) * x_a1
            + 2.0 * (co2::NON_ANALYTIC_A * INVERSE_BETA).powi(2) * x2 * x_curve * x_curve
            + 2.0 * common * (0.5 * INVERSE_BETA - 1.0);
        let b = term.b;
        let power_1 = b * power / distance;
        let power_2 = (b - 1.0) * power_1 / distance;
        let power_d = power_1 * distance_d;
        let power_dd = power_1 * distance_dd + power_2 * distance_d * distance_d;
        let power_t = -2.0 * theta * power_1;
        let power_tt = 2.0 * power_1 + 4.0 * theta * theta * power_2;
        let power_dt = -co2::NON_ANALYTIC_A * 2.0 * INVERSE_BETA * power_1 * x * x_curve
            - 2.0 * theta * power_2 * distance_d;

        let psi_d = -2.0 * term.c * x * psi;
        let psi_dd = (2.0 * term.c * x2 - 1.0) * 2.0 * term.c * psi;
        let psi_t = -2.0 * co2::NON_ANALYTIC_D * y * psi;
        let psi_tt = (2.0 * co2::NON_ANALYTIC_D * y * y - 1.0) * 2.0 * co2::NON_ANALYTIC_D * psi;
        let psi_dt = 4.0 * term.c * co2::NON_ANALYTIC_D * x * y * psi;

        sum.d += n * delta * (power * (psi + delta * psi_d) + power_d * delta * psi);
        sum.t += n * tau * delta * (power_t * psi + power * psi_t);
        sum.dd += n
            * delta
            * delta
            * (power * (2.0 * psi_d + delta * psi_dd)
                + 2.0 * power_d * (psi + delta * psi_d)
                + power_dd * delta * psi);
        sum.tt += n * tau * tau * delta * (power_tt * psi + 2.0 * power_t * psi_t + power * psi_tt);
        sum.dt += n
            * delta
            * tau
            * (power * (psi_t + delta * psi_dt)
                + delta * power_d * psi_t
                + power_t * (psi + delta * psi_d)
                + power_dt * delta * psi);
    }
}

/// The ideal-gas part without ln(delta).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Ideal {
    /// alpha0 - ln(delta).
    pub value: f64,
    /// tau d(alpha0)/d(tau).
    pub t: f64,
    /// tau^2 d2(alpha0)/d(tau)2.
    pub tt: f64,
}

/// Ideal-gas part: translation, rotation and five Planck-Einstein vibrations.
#[must_use]
pub fn ideal(tau: f64) -> Ideal {
    let (constant, slope) = co2::IDEAL_LEAD;
    let mut value = constant + slope * tau + co2::IDEAL_LOG * tau.ln();
    let mut first = slope * tau + co2::IDEAL_LOG;
    let mut second = -co2::IDEAL_LOG;
    for (a, theta) in co2::IDEAL_PLANCK_EINSTEIN {
        let x = theta * tau;
        let growth = x.exp_m1(); // exp(x) - 1
        value += a * (growth.ln() - x);
        first += a * x / growth;
        second -= a * x * x * (growth + 1.0) / (growth * growth);
    }
    Ideal {
        value,
        t: first,
        tt: second,
    }
}

/// A single-phase state of the fluid at a temperature and a density; also valid for metastable
/// states, and a plain evaluation of the equation inside the spinodals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FluidPoint {
    /// Temperature [K].
    pub temperature: f64,
    /// Density [kg/m3].
    pub density: f64,
    /// Pressure [Pa].
    pub pressure: f64,
    /// Specific internal energy [J/kg].
    pub internal_energy: f64,
    /// Specific entropy [J/(kg K)].
    pub entropy: f64,
    /// Isochoric specific heat [J/(kg K)].
    pub cv: f64,
    /// (dp/dT) at constant density [Pa/K].
    pub dp_dt: f64,
    /// (dp/drho) at constant temperature [Pa m3/kg].
    pub dp_drho: f64,
}

impl FluidPoint {
    /// Evaluate the equation at `temperature` [K] and `density` [kg/m3].
    #[must_use]
    pub fn new(temperature: f64, density: f64) -> Self {
        let delta = density / co2::CRITICAL_DENSITY;
        let tau = co2::CRITICAL_TEMPERATURE / temperature;
        Self::from_parts(temperature, density, &ideal(tau), &residual(delta, tau))
    }

    /// From the ideal-gas and the residual part at the same state.
    #[inline]
    pub(crate) fn from_parts(temperature: f64, density: f64, a0: &Ideal, a: &Reduced) -> Self {
        let r = co2::SPECIFIC_GAS_CONSTANT;
        let delta = density / co2::CRITICAL_DENSITY;
        let rt = r * temperature;
        Self {
            temperature,
            density,
            pressure: density * rt * (1.0 + a.d),
            internal_energy: rt * (a0.t + a.t),
            entropy: r * (a0.t + a.t - a0.value - delta.ln() - a.value),
            cv: -r * (a0.tt + a.tt),
            dp_dt: density * r * (1.0 + a.d - a.dt),
            dp_drho: rt * (1.0 + 2.0 * a.d + a.dd),
        }
    }

    /// The point a little warmer at the same density, by its slopes: for a `step` [K] so short that they do
    /// not change.
    #[must_use]
    pub fn nearby(&self, step: f64) -> Self {
        Self {
            temperature: self.temperature + step,
            pressure: self.pressure + step * self.dp_dt,
            internal_energy: self.internal_energy + step * self.cv,
            entropy: self.entropy + step * self.cv / self.temperature,
            ..*self
        }
    }

    /// The point beside it at a temperature [K] and density [kg/m3], by its slopes: so near that they do not change.
    #[must_use]
    pub fn beside(&self, temperature: f64, density: f64) -> Self {
        let (warmer, denser) = (temperature - self.temperature, density - self.density);
        let over_square = 1.0 / (self.density * self.density);
        let by_density = (self.pressure - self.temperature * self.dp_dt) * over_square;
        Self {
            temperature,
            density,
            pressure: self.pressure + warmer * self.dp_dt + denser * self.dp_drho,
            internal_energy: self.internal_energy + warmer * self.cv + denser * by_density,
            entropy: self.entropy + warmer * self.cv / self.temperature
                - denser * self.dp_dt * over_square,
            ..*self
        }
    }

    /// Specific volume [m3/kg].
    #[must_use]
    pub fn volume(&self) -> f64 {
        1.0 / self.density
    }

    /// Specific enthalpy [J/kg].
    #[must_use]
    pub fn enthalpy(&self) -> f64 {
        self.internal_energy + self.pressure / self.density
    }

    /// Specific Gibbs energy [J/kg].
    #[must_use]
    pub fn gibbs(&self) -> f64 {
        self.enthalpy() - self.temperature * self.entropy
    }

    /// Isobaric specific heat [J/(kg K)]; infinite on a spinodal.
    #[must_use]
    pub fn cp(&self) -> f64 {
        self.cv
            + self.temperature * self.dp_dt * self.dp_dt
                / (self.density * self.density * self.dp_drho)
    }

    /// Squared sound speed [m2/s2]; negative beyond the adiabatic spinodal.
    #[must_use]
    pub fn sound_speed_squared(&self) -> f64 {
        self.dp_drho
            + self.temperature * self.dp_dt * self.dp_dt / (self.density * self.density * self.cv)
    }

    /// Sound speed [m/s], `None` beyond the adiabatic spinodal.
    #[must_use]
    pub fn sound_speed(&self) -> Option<f64> {
        let squared = self.sound_speed_squared();
        (squared > 0.0).then(|| squared.sqrt())
    }

    /// Isentropic exponent rho w^2 / p.
    #[must_use]
    pub fn isentropic_exponent(&self) -> f64 {
        self.density * self.sound_speed_squared() / self.pressure
    }
}
