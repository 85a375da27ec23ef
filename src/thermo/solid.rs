//! Dry ice: the Gibbs energy of solid CO2 (Jaeger & Span 2012, eq. 8) and its derivatives.
//!
//! Valid 80-300 K up to 500 MPa according to the paper.

use crate::thermo::fluids::carbon_dioxide as co2;

/// A state of solid CO2 at a temperature and a pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolidPoint {
    /// Temperature [K].
    pub temperature: f64,
    /// Pressure [Pa].
    pub pressure: f64,
    /// Specific Gibbs energy [J/kg].
    pub gibbs: f64,
    /// Specific volume [m3/kg].
    pub volume: f64,
    /// Specific entropy [J/(kg K)].
    pub entropy: f64,
    /// Isobaric specific heat [J/(kg K)].
    pub cp: f64,
    /// (dv/dT) at constant pressure [m3/(kg K)].
    pub dv_dt: f64,
    /// (dv/dp) at constant temperature [m3/(kg Pa)], negative.
    pub dv_dp: f64,
}

impl SolidPoint {
    /// Evaluate the equation at `temperature` [K] and `pressure` [Pa].
    #[must_use]
    pub fn new(temperature: f64, pressure: f64) -> Self {
        let t = temperature / co2::SOLID_TEMPERATURE;
        let pi = pressure / co2::SOLID_PRESSURE;
        let g = &co2::SOLID_G;
        let x = t - 1.0;
        // Vibration terms a {ln[(t^2+b^2)/(1+b^2)] - (2t/b)[atan(t/b) - atan(1/b)]}: the first
        // derivative collapses to -(2a/b)[atan(t/b) - atan(1/b)].
        let mut value = g[0] + x * (g[1] + x * g[2]);
        let mut first = g[1] + 2.0 * x * g[2];
        let mut second = 2.0 * g[2];
        for (a, b) in [(g[3], g[4]), (g[5], g[6])] {
            let q = t * t + b * b;
            let angle = (t / b).atan() - (1.0 / b).atan();
            value += a * ((q / (1.0 + b * b)).ln() - 2.0 * t / b * angle);
            first -= 2.0 * a / b * angle;
            second -= 2.0 * a / q;
        }
        let (f, f_t, f_tt) = expansion(t);
        let growth = f.exp();
        let growth_t = growth * f_t;
        let growth_tt = growth * (f_tt + f_t * f_t);
        let [k0, k1, k2] = co2::SOLID_K;
        let k = (k0 * t + k1) * t + k2;
        let k_t = 2.0 * k0 * t + k1;
        let k_tt = 2.0 * k0;
        let power = (pi + g[10]).powf(6.0 / 7.0);
        let stiff = power - (1.0 + g[10]).powf(6.0 / 7.0);
        let stiff_p = 6.0 / 7.0 * power / (pi + g[10]);
        let stiff_pp = -stiff_p / (7.0 * (pi + g[10]));
        value += g[7] * (pi - 1.0) * (growth + k * g[8]) + g[9] * k * stiff;
        first += g[7] * (pi - 1.0) * (growth_t + k_t * g[8]) + g[9] * k_t * stiff;
        second += g[7] * (pi - 1.0) * (growth_tt + k_tt * g[8]) + g[9] * k_tt * stiff;
        let by_p = g[7] * (growth + k * g[8]) + g[9] * k * stiff_p;
        let by_pt = g[7] * (growth_t + k_t * g[8]) + g[9] * k_t * stiff_p;
        let by_pp = g[9] * k * stiff_pp;

        let r = co2::SOLID_GAS_CONSTANT / co2::MOLAR_MASS;
        let scale = r * co2::SOLID_TEMPERATURE;
        Self {
            temperature,
            pressure,
            gibbs: scale * value,
            volume: scale / co2::SOLID_PRESSURE * by_p,
            entropy: -r * first,
            cp: -r * t * second,
            dv_dt: r / co2::SOLID_PRESSURE * by_pt,
            dv_dp: scale / (co2::SOLID_PRESSURE * co2::SOLID_PRESSURE) * by_pp,
        }
    }

    /// Density [kg/m3].
    #[must_use]
    pub fn density(&self) -> f64 {
        1.0 / self.volume
    }

    /// Specific enthalpy [J/kg].
    #[must_use]
    pub fn enthalpy(&self) -> f64 {
        self.gibbs + self.temperature * self.entropy
    }

    /// Specific internal energy [J/kg].
    #[must_use]
    pub fn internal_energy(&self) -> f64 {
        self.enthalpy() - self.pressure * self.volume
    }

    /// Isochoric specific heat cp - T alpha^2 v / kappa [J/(kg K)].
    #[must_use]
    pub fn cv(&self) -> f64 {
        self.cp + self.temperature * self.dv_dt * self.dv_dt / self.dv_dp
    }
}

/// f(t) of the expansivity term with its first and second derivatives.
fn expansion(t: f64) -> (f64, f64, f64) {
    let a = &co2::SOLID_GA;
    let mut f = a[0] * (t * t - 1.0);
    let mut f_t = 2.0 * a[0] * t;
    let mut f_tt = 2.0 * a[0];
    for (coefficient, sign) in [(a[1], -1.0), (a[4], 1.0)] {
        let q = t * t + sign * a[2] * t + a[3];
        let q_t = 2.0 * t + sign * a[2];
        f += coefficient * (q / (1.0 + sign * a[2] + a[3])).ln();
        f_t += coefficient * q_t / q;
        f_tt += coefficient * (2.0 / q - q_t * q_t / (q * q));
    }
    for (coefficient, sign) in [(a[5], -1.0), (a[8], 1.0)] {
        let z = (t + sign * a[6]) / a[7];
        let z1 = (1.0 + sign * a[6]) / a[7];
        let w = 1.0 + z * z;
        f += coefficient * (z.atan() - z1.atan());
        f_t += coefficient / (a[7] * w);
        f_tt -= coefficient * 2.0 * z / (a[7] * a[7] * w * w);
    }
    (f, f_t, f_tt)
}
