//! The two equations written a second time, term by term as printed, for any kind of number: dual
//! numbers then give the derivatives without a pencil.

use coldkick::thermo::fluids::carbon_dioxide as co2;
use num_dual::DualNum;

/// Residual reduced Helmholtz energy (Span & Wagner 1996, eq. 6.5).
pub fn residual_plain<D: DualNum<Primitive = f64> + Copy>(delta: D, tau: D) -> D {
    let quarter = |t4: u8| tau.powf(f64::from(t4) / 4.0);
    let mut sum = D::from(0.0);
    for term in &co2::POWER_TERMS {
        let value = delta.powi(i32::from(term.d)) * quarter(term.t4) * term.n;
        sum += if term.l == 0 {
            value
        } else {
            value * (-delta.powi(i32::from(term.l))).exp()
        };
    }
    for term in &co2::GAUSSIAN_TERMS {
        let width = (delta - 1.0).powi(2) * term.eta + (tau - term.gamma).powi(2) * term.beta;
        sum += delta.powi(i32::from(term.d)) * quarter(term.t4) * (-width).exp() * term.n;
    }
    for term in &co2::NON_ANALYTIC_TERMS {
        let x2 = (delta - 1.0).powi(2);
        let theta = -tau + 1.0 + x2.powf(0.5 / co2::NON_ANALYTIC_BETA) * co2::NON_ANALYTIC_A;
        let distance = theta.powi(2) + x2.powf(term.a) * term.b_capital;
        let psi = (-x2 * term.c - (tau - 1.0).powi(2) * co2::NON_ANALYTIC_D).exp();
        sum += distance.powf(term.b) * delta * psi * term.n;
    }
    sum
}

/// Sum of the sizes of the power and Gaussian terms: how much cancels in the residual part.
pub fn term_sizes(delta: f64, tau: f64) -> f64 {
    let quarter = |t4: u8| tau.powf(f64::from(t4) / 4.0);
    let powers = co2::POWER_TERMS.iter().map(|term| {
        let decay = if term.l == 0 {
            1.0
        } else {
            (-delta.powi(i32::from(term.l))).exp()
        };
        (term.n * delta.powi(i32::from(term.d)) * quarter(term.t4) * decay).abs()
    });
    let gaussians = co2::GAUSSIAN_TERMS.iter().map(|term| {
        let width = term.eta * (delta - 1.0).powi(2) + term.beta * (tau - term.gamma).powi(2);
        (term.n * delta.powi(i32::from(term.d)) * quarter(term.t4) * (-width).exp()).abs()
    });
    powers.chain(gaussians).sum()
}

/// Ideal part without ln(delta) (Span & Wagner 1996, eq. 6.3).
pub fn ideal_plain<D: DualNum<Primitive = f64> + Copy>(tau: D) -> D {
    let (constant, slope) = co2::IDEAL_LEAD;
    let mut sum = tau * slope + constant + tau.ln() * co2::IDEAL_LOG;
    for (a, theta) in co2::IDEAL_PLANCK_EINSTEIN {
        sum += (-(-tau * theta).exp() + 1.0).ln() * a;
    }
    sum
}

/// Gibbs energy of dry ice [J/kg] at temperature [K] and pressure [Pa] (Jaeger & Span 2012, eq. 8).
pub fn solid_gibbs_plain<D: DualNum<Primitive = f64> + Copy>(temperature: D, pressure: D) -> D {
    let (t, pi) = (
        temperature / co2::SOLID_TEMPERATURE,
        pressure / co2::SOLID_PRESSURE,
    );
    let g = &co2::SOLID_G;
    let a = &co2::SOLID_GA;
    let k = t * t * co2::SOLID_K[0] + t * co2::SOLID_K[1] + co2::SOLID_K[2];
    let mut sum = (t - 1.0) * g[1] + g[0] + (t - 1.0).powi(2) * g[2];
    for (size, b) in [(g[3], g[4]), (g[5], g[6])] {
        let logarithm = ((t * t + b * b) / (1.0 + b * b)).ln();
        let angle = (t / b).atan() - (1.0 / b).atan();
        sum += (logarithm - t * 2.0 / b * angle) * size;
    }
    let quadratic = |sign: f64| (t * t + t * sign * a[2] + a[3]) / (1.0 + sign * a[2] + a[3]);
    let angle = |sign: f64| ((t + sign * a[6]) / a[7]).atan() - ((1.0 + sign * a[6]) / a[7]).atan();
    let f = (t * t - 1.0) * a[0]
        + quadratic(-1.0).ln() * a[1]
        + quadratic(1.0).ln() * a[4]
        + angle(-1.0) * a[5]
        + angle(1.0) * a[8];
    sum += (pi - 1.0) * (f.exp() + k * g[8]) * g[7];
    sum += k * ((pi + g[10]).powf(6.0 / 7.0) - (1.0 + g[10]).powf(6.0 / 7.0)) * g[9];
    sum * (co2::SOLID_GAS_CONSTANT / co2::MOLAR_MASS * co2::SOLID_TEMPERATURE)
}
