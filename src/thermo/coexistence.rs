//! Where two phases of CO2 are in equilibrium: sublimation, vapour pressure and melting, and the
//! triple point where the three lines meet.
//!
//! Law: equal pressure and equal Gibbs energy of both phases at one temperature; the slope of the
//! line by Clapeyron, dp/dT = (s_light - s_heavy)/(v_light - v_heavy).

use std::sync::LazyLock;

use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::{FluidPoint, LOWEST_TEMPERATURE, SolidPoint, ThermoError};

/// A line of two-phase equilibrium.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    /// Solid and vapour, below the triple point.
    Sublimation,
    /// Liquid and vapour, triple to critical point.
    Saturation,
    /// Solid and liquid, from the triple point up.
    Melting,
}

/// One phase on a coexistence line; slopes are taken along the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinePhase {
    /// Specific volume [m3/kg].
    pub volume: f64,
    /// Specific internal energy [J/kg].
    pub internal_energy: f64,
    /// Specific entropy [J/(kg K)].
    pub entropy: f64,
    /// dv/dT along the line [m3/(kg K)].
    pub volume_slope: f64,
    /// du/dT along the line [J/(kg K)].
    pub internal_energy_slope: f64,
}

impl LinePhase {
    fn fluid(point: &FluidPoint, dp_dt: f64) -> Self {
        let dp_dv = -point.density * point.density * point.dp_drho;
        let volume_slope = (dp_dt - point.dp_dt) / dp_dv;
        Self {
            volume: point.volume(),
            internal_energy: point.internal_energy,
            entropy: point.entropy,
            volume_slope,
            internal_energy_slope: point.cv
                + (point.temperature * point.dp_dt - point.pressure) * volume_slope,
        }
    }

    fn solid(point: &SolidPoint, dp_dt: f64) -> Self {
        let volume_slope = point.dv_dt + point.dv_dp * dp_dt;
        Self {
            volume: point.volume,
            internal_energy: point.internal_energy(),
            entropy: point.entropy,
            volume_slope,
            internal_energy_slope: point.cp
                - point.temperature * point.dv_dt * dp_dt
                - point.pressure * volume_slope,
        }
    }

    /// Density [kg/m3].
    #[must_use]
    pub fn density(&self) -> f64 {
        1.0 / self.volume
    }

    /// Specific enthalpy [J/kg] at the pressure [Pa] of the line.
    #[must_use]
    pub fn enthalpy(&self, pressure: f64) -> f64 {
        self.internal_energy + pressure * self.volume
    }
}

/// Two phases in equilibrium.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coexistence {
    /// Which line.
    pub line: Line,
    /// Temperature [K].
    pub temperature: f64,
    /// Pressure [Pa].
    pub pressure: f64,
    /// dp/dT of the line [Pa/K].
    pub pressure_slope: f64,
    /// The phase further down the list gas, liquid, solid.
    pub heavy: LinePhase,
    /// The phase nearer to gas.
    pub light: LinePhase,
}

/// The mixture of the two phases of a line at one overall density.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lever {
    /// Mass fraction of the light phase.
    pub light_fraction: f64,
    /// Specific internal energy [J/kg].
    pub internal_energy: f64,
    /// Specific entropy [J/(kg K)].
    pub entropy: f64,
    /// du/dT at constant density, phases in equilibrium [J/(kg K)].
    pub cv: f64,
}

impl Coexistence {
    fn new(line: Line, temperature: f64, pressure: f64, heavy: Side, light: Side) -> Self {
        let slope = (light.entropy() - heavy.entropy()) / (light.volume() - heavy.volume());
        Self {
            line,
            temperature,
            pressure,
            pressure_slope: slope,
            heavy: heavy.on_line(slope),
            light: light.on_line(slope),
        }
    }

    /// The line a little further on, by its slopes: for a `step` [K] so short that they do not change.
    #[must_use]
    pub fn nearby(&self, step: f64) -> Self {
        let phase = |phase: &LinePhase| LinePhase {
            volume: phase.volume + step * phase.volume_slope,
            internal_energy: phase.internal_energy + step * phase.internal_energy_slope,
            entropy: phase.entropy + step * self.entropy_slope(phase),
            ..*phase
        };
        Self {
            temperature: self.temperature + step,
            pressure: self.pressure + step * self.pressure_slope,
            heavy: phase(&self.heavy),
            light: phase(&self.light),
            ..*self
        }
    }

    /// ds/dT of one of the two phases along the line [J/(kg K2)].
    #[must_use]
    pub fn entropy_slope(&self, phase: &LinePhase) -> f64 {
        (phase.internal_energy_slope + self.pressure * phase.volume_slope) / self.temperature
    }

    /// Share the phases by the lever rule at an overall specific volume [m3/kg].
    #[must_use]
    pub fn lever(&self, volume: f64) -> Lever {
        let (h, l) = (&self.heavy, &self.light);
        let width = l.volume - h.volume;
        let x = (volume - h.volume) / width;
        let x_slope = -((1.0 - x) * h.volume_slope + x * l.volume_slope) / width;
        let latent = l.internal_energy - h.internal_energy;
        Lever {
            light_fraction: x,
            internal_energy: h.internal_energy + x * latent,
            entropy: h.entropy + x * (l.entropy - h.entropy),
            cv: (1.0 - x) * h.internal_energy_slope
                + x * l.internal_energy_slope
                + x_slope * latent,
        }
    }
}

enum Side {
    Fluid(FluidPoint),
    Solid(SolidPoint),
}

impl Side {
    fn entropy(&self) -> f64 {
        match self {
            Self::Fluid(p) => p.entropy,
            Self::Solid(p) => p.entropy,
        }
    }
    fn volume(&self) -> f64 {
        match self {
            Self::Fluid(p) => p.volume(),
            Self::Solid(p) => p.volume,
        }
    }
    fn on_line(&self, slope: f64) -> LinePhase {
        match self {
            Self::Fluid(p) => LinePhase::fluid(p, slope),
            Self::Solid(p) => LinePhase::solid(p, slope),
        }
    }
}

/// Highest temperature at which the two-phase equations are solved as they stand [K]; from here
/// to the critical point the densities follow the square-root law that an analytic equation has
/// there, and the pressure its tangent (relative error below 1e-7).
const NEAR_CRITICAL: f64 = co2::CRITICAL_TEMPERATURE - 2e-4;

/// Auxiliary densities of saturated (liquid, vapour) [kg/m3], accurate to about 0.3 %.
#[must_use]
pub fn auxiliary_densities(temperature: f64) -> (f64, f64) {
    let theta = 1.0 - temperature / co2::CRITICAL_TEMPERATURE;
    let sum = |terms: &[(f64, f64)]| -> f64 { terms.iter().map(|(a, e)| a * theta.powf(*e)).sum() };
    (
        co2::CRITICAL_DENSITY * sum(&co2::AUXILIARY_LIQUID).exp(),
        co2::CRITICAL_DENSITY * sum(&co2::AUXILIARY_VAPOUR).exp(),
    )
}

/// Auxiliary vapour pressure [Pa] of Span & Wagner 1996, eq. 3.13; a starting value only.
#[must_use]
pub fn auxiliary_saturation_pressure(temperature: f64) -> f64 {
    let theta = 1.0 - temperature / co2::CRITICAL_TEMPERATURE;
    let sum: f64 = co2::AUXILIARY_SATURATION
        .iter()
        .map(|(a, e)| a * theta.powf(*e))
        .sum();
    co2::CRITICAL_PRESSURE * (co2::CRITICAL_TEMPERATURE / temperature * sum).exp()
}

/// Auxiliary sublimation pressure [Pa] of Span & Wagner 1996, eq. 3.12; a starting value only.
#[must_use]
pub fn auxiliary_sublimation_pressure(temperature: f64) -> f64 {
    let theta = 1.0 - temperature / co2::TRIPLE_TEMPERATURE;
    let sum: f64 = co2::AUXILIARY_SUBLIMATION
        .iter()
        .map(|(a, e)| a * theta.powf(*e))
        .sum();
    co2::TRIPLE_PRESSURE_ROUNDED * (co2::TRIPLE_TEMPERATURE / temperature * sum).exp()
}

/// Auxiliary melting pressure [Pa] of Span & Wagner 1996, eq. 3.10; a starting value only.
#[must_use]
pub fn auxiliary_melting_pressure(temperature: f64) -> f64 {
    let x = temperature / co2::TRIPLE_TEMPERATURE - 1.0;
    let (a, b) = co2::AUXILIARY_MELTING;
    co2::TRIPLE_PRESSURE_ROUNDED * (1.0 + a * x + b * x * x)
}

/// Liquid and vapour in equilibrium at a temperature [K] between triple and critical point.
///
/// # Errors
/// Temperature outside the line, or an iteration that does not converge.
pub fn saturation(temperature: f64) -> Result<Coexistence, ThermoError> {
    let (low, high) = (co2::TRIPLE_TEMPERATURE - 5.0, co2::CRITICAL_TEMPERATURE);
    if !(low..=high).contains(&temperature) {
        return Err(ThermoError::OutOfRange {
            property: "saturation temperature",
            unit: "K",
            value: temperature,
            low: co2::TRIPLE_TEMPERATURE,
            high,
        });
    }
    if temperature <= NEAR_CRITICAL {
        return saturation_solved(temperature);
    }
    let base = saturation_solved(NEAR_CRITICAL)?;
    let closeness = ((high - temperature) / (high - NEAR_CRITICAL))
        .max(1e-10)
        .sqrt();
    let point = |phase: &LinePhase| {
        let density = co2::CRITICAL_DENSITY + (phase.density() - co2::CRITICAL_DENSITY) * closeness;
        FluidPoint::new(temperature, density)
    };
    let (liquid, vapour) = (point(&base.heavy), point(&base.light));
    let pressure = base.pressure + base.pressure_slope * (temperature - NEAR_CRITICAL);
    let mut line = Coexistence::new(
        Line::Saturation,
        temperature,
        pressure,
        Side::Fluid(liquid),
        Side::Fluid(vapour),
    );
    line.pressure_slope = base.pressure_slope;
    Ok(line)
}

/// Newton in both densities for equal pressure and equal Gibbs energy, from the auxiliary lines.
fn saturation_solved(temperature: f64) -> Result<Coexistence, ThermoError> {
    const ITERATIONS: usize = 60;
    let near = co2::CRITICAL_TEMPERATURE - temperature;
    // Round-off in pressure moves the densities by ever more as the isotherm flattens.
    let noise = 1e-11_f64.max(1e-11 / near);
    let (mut rho_l, mut rho_v) = auxiliary_densities(temperature);
    let mut residual = f64::INFINITY;
    for _ in 0..ITERATIONS {
        let l = FluidPoint::new(temperature, rho_l);
        let v = FluidPoint::new(temperature, rho_v);
        // F1 = p_l - p_v, F2 = g_l - g_v with dg = v dp at constant T.
        let f1 = l.pressure - v.pressure;
        let f2 = l.gibbs() - v.gibbs();
        let (a, b) = (l.dp_drho, -v.dp_drho);
        let (c, d) = (l.dp_drho / rho_l, -v.dp_drho / rho_v);
        let determinant = a * d - b * c;
        let step_l = (f1 * d - b * f2) / determinant;
        let step_v = (a * f2 - c * f1) / determinant;
        // Stay on the outer branches: no more than halfway to the critical density at once.
        let limit_l = 0.5 * (rho_l - co2::CRITICAL_DENSITY);
        let limit_v = 0.5 * (co2::CRITICAL_DENSITY - rho_v).min(rho_v);
        let damping = 1f64.min(limit_l / step_l.abs()).min(limit_v / step_v.abs());
        rho_l -= damping * step_l;
        rho_v -= damping * step_v;
        let now = (step_l / rho_l).abs().max((step_v / rho_v).abs());
        if now < 1e-15 || (now < noise && now >= 0.3 * residual) {
            residual = now;
            break;
        }
        residual = now;
    }
    if residual.is_nan() || residual >= noise.max(1e-10 / near) {
        return Err(ThermoError::NotConverged {
            what: "vapour-pressure line",
            temperature,
            density: rho_v,
            iterations: ITERATIONS,
            residual,
        });
    }
    let liquid = FluidPoint::new(temperature, rho_l);
    let vapour = FluidPoint::new(temperature, rho_v);
    Ok(Coexistence::new(
        Line::Saturation,
        temperature,
        vapour.pressure,
        Side::Fluid(liquid),
        Side::Fluid(vapour),
    ))
}

/// Dry ice and vapour in equilibrium at a temperature [K] up to the triple point.
///
/// # Errors
/// Temperature outside the line, or an iteration that does not converge.
pub fn sublimation(temperature: f64) -> Result<Coexistence, ThermoError> {
    if !(LOWEST_TEMPERATURE - 30.0..=co2::TRIPLE_TEMPERATURE + 1.0).contains(&temperature) {
        return Err(ThermoError::OutOfRange {
            property: "sublimation temperature",
            unit: "K",
            value: temperature,
            low: LOWEST_TEMPERATURE,
            high: co2::TRIPLE_TEMPERATURE,
        });
    }
    const ITERATIONS: usize = 60;
    let mut pressure = if temperature <= co2::TRIPLE_TEMPERATURE {
        auxiliary_sublimation_pressure(temperature)
    } else {
        co2::TRIPLE_PRESSURE_ROUNDED
    };
    let mut rho = pressure / (co2::SPECIFIC_GAS_CONSTANT * temperature);
    let mut residual = f64::INFINITY;
    for _ in 0..ITERATIONS {
        let vapour = FluidPoint::new(temperature, rho);
        let solid = SolidPoint::new(temperature, vapour.pressure);
        // d(g_v - g_s)/d(ln rho) = (v_v - v_s) rho dp/drho.
        let slope = (1.0 / rho - solid.volume) * rho * vapour.dp_drho;
        let step = (vapour.gibbs() - solid.gibbs) / slope;
        rho *= (-step.clamp(-0.3, 0.3)).exp();
        pressure = vapour.pressure;
        if step.abs() < 1e-15 || (step.abs() < 1e-12 && step.abs() >= 0.3 * residual) {
            residual = step.abs();
            break;
        }
        residual = step.abs();
    }
    if residual.is_nan() || residual >= 1e-11 {
        return Err(ThermoError::NotConverged {
            what: "sublimation line",
            temperature,
            density: rho,
            iterations: ITERATIONS,
            residual,
        });
    }
    let vapour = FluidPoint::new(temperature, rho);
    if vapour.pressure.is_finite() {
        pressure = vapour.pressure;
    }
    let solid = SolidPoint::new(temperature, pressure);
    Ok(Coexistence::new(
        Line::Sublimation,
        temperature,
        pressure,
        Side::Solid(solid),
        Side::Fluid(vapour),
    ))
}

/// Dry ice and liquid in equilibrium at a temperature [K] from the triple point to 300 K.
///
/// # Errors
/// Temperature outside the line, or an iteration that does not converge.
pub fn melting(temperature: f64) -> Result<Coexistence, ThermoError> {
    let (low, high) = (co2::TRIPLE_TEMPERATURE - 1e-6, 300.0);
    if !(low..=high).contains(&temperature) {
        return Err(ThermoError::OutOfRange {
            property: "melting temperature",
            unit: "K",
            value: temperature,
            low: co2::TRIPLE_TEMPERATURE,
            high,
        });
    }
    const ITERATIONS: usize = 60;
    // The melting liquid is always denser than 1178 kg/m3: start there and climb in density.
    let target = auxiliary_melting_pressure(temperature);
    let mut rho: f64 = 1178.4626;
    for _ in 0..30 {
        let point = FluidPoint::new(temperature, rho);
        let step = (target - point.pressure) / point.dp_drho;
        rho += step.clamp(-50.0, 50.0);
        if step.abs() < 1e-3 {
            break;
        }
    }
    let mut residual = f64::INFINITY;
    for _ in 0..ITERATIONS {
        let liquid = FluidPoint::new(temperature, rho);
        let solid = SolidPoint::new(temperature, liquid.pressure);
        let slope = (liquid.volume() - solid.volume) * liquid.dp_drho;
        let step = ((liquid.gibbs() - solid.gibbs) / slope / rho).clamp(-0.02, 0.02);
        rho *= 1.0 - step;
        if step.abs() < 1e-15 || (step.abs() < 1e-12 && step.abs() >= 0.3 * residual) {
            residual = step.abs();
            break;
        }
        residual = step.abs();
    }
    if residual.is_nan() || residual >= 1e-11 {
        return Err(ThermoError::NotConverged {
            what: "melting line",
            temperature,
            density: rho,
            iterations: ITERATIONS,
            residual,
        });
    }
    let liquid = FluidPoint::new(temperature, rho);
    let solid = SolidPoint::new(temperature, liquid.pressure);
    Ok(Coexistence::new(
        Line::Melting,
        temperature,
        liquid.pressure,
        Side::Solid(solid),
        Side::Fluid(liquid),
    ))
}

/// The three phases at the triple point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TriplePoint {
    /// Temperature [K].
    pub temperature: f64,
    /// Pressure [Pa].
    pub pressure: f64,
    /// Dry ice.
    pub solid: LinePhase,
    /// Liquid.
    pub liquid: LinePhase,
    /// Vapour.
    pub vapour: LinePhase,
    /// The end of the sublimation line.
    pub sublimation: Coexistence,
    /// The end of the vapour-pressure line.
    pub saturation: Coexistence,
    /// The end of the melting line.
    pub melting: Coexistence,
}

static TRIPLE: LazyLock<Result<TriplePoint, ThermoError>> = LazyLock::new(|| {
    let t = co2::TRIPLE_TEMPERATURE;
    let saturation = saturation(t)?;
    let sublimation = sublimation(t)?;
    let melting = melting(t)?;
    Ok(TriplePoint {
        temperature: t,
        pressure: saturation.pressure,
        solid: sublimation.heavy,
        liquid: saturation.heavy,
        vapour: saturation.light,
        sublimation,
        saturation,
        melting,
    })
});

/// The triple point, computed once.
///
/// # Errors
/// Only if one of the three lines fails at 216.592 K, which the tests exclude.
pub fn triple_point() -> Result<&'static TriplePoint, ThermoError> {
    TRIPLE.as_ref().map_err(Clone::clone)
}
