//! The isentrope of a single fluid phase: its points at a density, at a pressure, and where its
//! velocity equals its sound speed.
//!
//! Along it d(ln T)/d(ln rho) = (dp/dT)_rho/(rho cv), dh = w^2 d(ln rho).

use crate::flow::FlowError;
use crate::flow::sonic_table::{self, Sonic};
use crate::flow::stagnation::{Content, Stagnation};
use crate::numerics::roots::{self, Tolerance};
use crate::thermo::FluidPoint;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// A short step along an isentrope: predicted in temperature, then corrected once for the entropy
/// that the prediction missed.
fn near(
    properties: &impl PropertySource,
    from: &FluidPoint,
    entropy: f64,
    density: f64,
) -> FluidPoint {
    properties.fluid(temperature_near(from, entropy, density), density)
}

/// Temperature [K] of the isentrope of an entropy at a density, predicted from a point that hardly misses it.
fn temperature_near(from: &FluidPoint, entropy: f64, density: f64) -> f64 {
    let exponent = from.dp_dt / (from.density * from.cv);
    let correction = ((entropy - from.entropy) / from.cv).clamp(-0.2, 0.2);
    let log_ratio = (density / from.density).ln();
    from.temperature * (exponent * log_ratio + correction).exp()
}

/// The point of a single-phase isentrope through `from` at another density [kg/m3].
///
/// Long ways are walked in stretches of a quarter in ln(rho): inside the spinodals the equation
/// has other, meaningless points of the same entropy, which a nearby start never finds.
///
/// # Errors
/// No convergence within 40 Newton steps.
pub(crate) fn at_density(
    properties: &impl PropertySource,
    from: &FluidPoint,
    density: f64,
) -> Result<FluidPoint, FlowError> {
    let way = (density / from.density).ln();
    let stretches = (way.abs() / 0.25).ceil().max(1.0) as i32;
    let mut point = *from;
    for i in 1..=stretches {
        let next = if i == stretches {
            density
        } else {
            from.density * (way * f64::from(i) / f64::from(stretches)).exp()
        };
        point = correct(
            properties,
            near(properties, &point, from.entropy, next),
            from.entropy,
        )?;
    }
    Ok(point)
}

/// Newton in temperature at constant density: ds = cv d(ln T).
fn correct(
    properties: &impl PropertySource,
    mut point: FluidPoint,
    entropy: f64,
) -> Result<FluidPoint, FlowError> {
    let mut residual = f64::INFINITY;
    for _ in 0..40 {
        let step = ((point.entropy - entropy) / point.cv).clamp(-0.2, 0.2);
        residual = step.abs();
        if residual < 1e-14 {
            return Ok(point);
        }
        point = properties.fluid(point.temperature * (-step).exp(), point.density);
        if residual < 1e-8 {
            return Ok(point);
        }
    }
    Err(FlowError::NotConverged {
        law: "single-phase isentrope",
        iterations: 40,
        residual,
    })
}

/// Newton along the isentrope in ln(rho) and ln(T) at once, one evaluation an iteration, for a
/// function with d(function)/d(ln rho) as given. `None` if it strays or does not converge: the
/// caller falls back on a bracket.
pub(crate) fn newton(
    properties: &impl PropertySource,
    from: &FluidPoint,
    first_density: f64,
    function: impl Fn(&FluidPoint) -> (f64, f64),
    scale: f64,
) -> Option<FluidPoint> {
    let mut point = near(properties, from, from.entropy, first_density);
    let mut last: Option<(f64, f64)> = None;
    for _ in 0..16 {
        if !(point.cv > 0.0 && point.dp_drho > 0.0) {
            return None;
        }
        let (value, slope) = function(&point);
        let log_density = point.density.ln();
        // A secant slope where two points are at hand, else the analytic one.
        let slope = match last {
            Some((x, y)) if (log_density - x).abs() > 1e-12 => {
                let secant = (value - y) / (log_density - x);
                if secant * slope > 0.0 { secant } else { slope }
            }
            _ => slope,
        };
        let missing = ((point.entropy - from.entropy) / point.cv).abs();
        let step = (-value / slope).clamp(-0.3, 0.3);
        if value.abs() < 1e-11 * scale && missing < 1e-11 {
            return Some(point);
        }
        last = Some((log_density, value));
        point = near(properties, &point, from.entropy, point.density * step.exp());
    }
    None
}

/// The point of the isentrope of an entropy [J/(kg K)], near one that hardly misses it, where a function of the state
/// that falls with density is zero, by secants from its slope over ln(rho); and the slope there. `None` if they do not
/// lead there at once.
pub(crate) fn zero_near(
    properties: &impl PropertySource,
    entropy: f64,
    first: FluidPoint,
    mut slope: f64,
    function: impl Fn(&FluidPoint) -> f64,
) -> Option<(FluidPoint, f64)> {
    const STEPS: usize = 6;
    const FAR: f64 = 0.05;
    const APART: f64 = 1e-6;
    // A flux is flat at its maximum.
    const SHARP: f64 = 1e-7;
    let mut point = correct(properties, first, entropy).ok()?;
    let mut last: Option<(f64, f64)> = None;
    for _ in 0..STEPS {
        let (value, log_density) = (function(&point), point.density.ln());
        if let Some((x, y)) = last
            && (log_density - x).abs() > APART
        {
            slope = (value - y) / (log_density - x);
        }
        let step = -value / slope;
        if !(point.cv > 0.0 && slope > 0.0 && step.abs() < FAR) {
            return None;
        }
        if step.abs() < SHARP {
            return Some((point, slope));
        }
        last = Some((log_density, value));
        let next = near(properties, &point, entropy, point.density * step.exp());
        point = correct(properties, next, entropy).ok()?;
    }
    None
}

/// Whether something holds on the way along an isentrope from one of its points to another, looked at every so often
/// in ln(rho).
pub(crate) fn holds_between(
    properties: &impl PropertySource,
    from: &FluidPoint,
    to: &FluidPoint,
    stride: f64,
    condition: impl Fn(&FluidPoint) -> bool,
) -> bool {
    let way = (to.density / from.density).ln();
    let parts = (way.abs() / stride).ceil().max(1.0) as i32;
    let mut point = *from;
    (1..parts).all(|part| {
        let density = from.density * (way * f64::from(part) / f64::from(parts)).exp();
        point = near(properties, &point, from.entropy, density);
        condition(&point)
    })
}

/// The point of an isentrope between two of its points, on either side of which a function of the state has two
/// signs, where it is zero; sought from `from`.
///
/// # Errors
/// One sign at both, or an isentrope that is lost.
pub(crate) fn zero_between(
    properties: &impl PropertySource,
    from: &FluidPoint,
    to: &FluidPoint,
    function: &dyn Fn(&FluidPoint) -> f64,
) -> Result<FluidPoint, FlowError> {
    const SEARCH: Tolerance = Tolerance {
        x_absolute: 0.0,
        x_relative: 1e-13,
        value: 0.0,
        max_iterations: 100,
    };
    let ends = [from, to].map(|point| (point.density, function(point)));
    let [low, high] = if from.density < to.density {
        ends
    } else {
        [ends[1], ends[0]]
    };
    let root = roots::brent_between(
        |rho: f64| Ok::<_, FlowError>(function(&at_density(properties, from, rho)?)),
        low,
        high,
        &SEARCH,
    )?;
    at_density(properties, from, root.x)
}

/// The point of a single-phase isentrope at a pressure [Pa] below the start.
///
/// # Errors
/// No such point before the adiabatic spinodal.
pub(crate) fn at_pressure<P: PropertySource>(
    properties: &P,
    start: &FluidPoint,
    pressure: f64,
) -> Result<FluidPoint, FlowError> {
    let kappa = start.isentropic_exponent();
    if kappa > 0.0 && kappa < 4.0 && start.sound_speed_squared() > 0.0 {
        let guess = start.density * (pressure / start.pressure).powf(1.0 / kappa);
        if P::CHEAP
            && let Some(point) = at_pressure_by_slopes(properties, start, pressure, guess)
        {
            return Ok(point);
        }
        let found = newton(
            properties,
            start,
            guess,
            |p| {
                let kappa = p.isentropic_exponent();
                ((p.pressure.max(1e-300) / pressure).ln(), kappa)
            },
            1.0,
        );
        if let Some(point) = found {
            return Ok(point);
        }
    }
    at_pressure_bracketed(properties, start, pressure)
}

/// The same from a density [kg/m3] nearby: of what a point misses of the entropy, and the last step to the pressure,
/// by its slopes. `None` if that does not lead there.
fn at_pressure_by_slopes(
    properties: &impl PropertySource,
    start: &FluidPoint,
    pressure: f64,
    mut density: f64,
) -> Option<FluidPoint> {
    // Squared it is round-off.
    const STRAIGHT: f64 = 1e-6;
    let entropy = start.entropy;
    let mut from = *start;
    for _ in 0..8 {
        let point = near(properties, &from, entropy, density);
        if !(point.cv > 0.0 && point.dp_drho > 0.0) {
            return None;
        }
        let missing = ((point.entropy - entropy) / point.cv).abs();
        let point = point.beside(temperature_near(&point, entropy, density), density);
        let ratio = (pressure / point.pressure.max(1e-300)).ln();
        let step = (ratio / point.isentropic_exponent()).clamp(-0.3, 0.3);
        density *= step.exp();
        if step.abs() < STRAIGHT && missing < STRAIGHT {
            return Some(point.beside(temperature_near(&point, entropy, density), density));
        }
        from = point;
    }
    None
}

fn at_pressure_bracketed(
    properties: &impl PropertySource,
    start: &FluidPoint,
    pressure: f64,
) -> Result<FluidPoint, FlowError> {
    let mut point = *start;
    let (mut low, mut high) = (0.0, start.density);
    for _ in 0..100 {
        let w2 = point.sound_speed_squared();
        if point.pressure > pressure {
            high = high.min(point.density);
        } else {
            low = f64::max(low, point.density);
        }
        // d(ln rho) = d(ln p) / kappa keeps gas steps sane; dense steps use w2 directly.
        let kappa = (point.density * w2 / point.pressure).max(0.2);
        let mut next = point.density * ((pressure / point.pressure).ln() / kappa).exp();
        if kappa > 3.0 {
            next = point.density + (pressure - point.pressure) / w2;
        }
        let step = (next / point.density - 1.0).abs();
        if step < 1e-13 {
            return Ok(point);
        }
        if !(next > low && next < high) {
            next = if low > 0.0 {
                0.5 * (low + high)
            } else {
                0.98 * high
            };
        }
        point = at_density(properties, &point, next)?;
    }
    Err(FlowError::NotConverged {
        law: "isentrope to a pressure",
        iterations: 100,
        residual: point.pressure / pressure - 1.0,
    })
}

/// Where the velocity sqrt(2 (h0 - h)) of an expansion from `start` (at enthalpy `h0` [J/kg], which
/// may exceed that of `start`) equals the sound speed, by Newton from the perfect-gas estimate.
/// `None` if it is not found that way (near a spinodal).
pub(crate) fn sonic(
    properties: &impl PropertySource,
    start: &FluidPoint,
    h0: f64,
) -> Option<FluidPoint> {
    let kappa = start.isentropic_exponent();
    if !(kappa > 0.3 && kappa < 4.0) {
        return None;
    }
    // rho*/rho0 = (2/(kappa+1))^(1/(kappa-1)), by its smooth form at kappa = 1.
    let half = 0.5 * (kappa - 1.0);
    let log = if half.abs() < 1e-6 {
        1.0
    } else {
        half.ln_1p() / half
    };
    let guess = start.density * (-0.5 * log).exp();
    let w2 = start.sound_speed_squared();
    let point = newton(
        properties,
        start,
        guess,
        |p| {
            let w2 = p.sound_speed_squared();
            let growth = w2 - 2.0 * (h0 - p.enthalpy());
            (growth, w2 * (kappa + 1.0))
        },
        w2,
    )?;
    (point.density < start.density && point.sound_speed_squared() > 0.0).then_some(point)
}

/// Where a gas at rest chokes, from the table if the properties are tabulated; `None` for dense fluids and mixtures.
pub(crate) fn sonic_of_gas<P: PropertySource>(
    properties: &P,
    stagnation: &Stagnation,
) -> Option<Sonic> {
    match &stagnation.content {
        Content::Single(start) if start.density < 0.6 * co2::CRITICAL_DENSITY => {
            if P::CHEAP {
                sonic_table::sonic(start)
            } else {
                sonic_table::by_iteration(properties, start)
            }
        }
        _ => None,
    }
}
