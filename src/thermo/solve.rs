//! A safeguarded Newton iteration for the inversions of this room: never leaves its bracket.

use crate::thermo::ThermoError;

/// Find the zero of an increasing function in `[low, high]` from `start`; `f` returns value and
/// slope. Newton where it helps, bisection where it does not. The result is converged to
/// round-off in x.
pub(crate) fn increasing(
    what: &'static str,
    (mut low, mut high): (f64, f64),
    start: f64,
    mut f: impl FnMut(f64) -> Result<(f64, f64), ThermoError>,
) -> Result<f64, ThermoError> {
    const ITERATIONS: usize = 200;
    let mut x = start.clamp(low, high);
    let mut last_step = high - low;
    let mut value = f64::NAN;
    for _ in 0..ITERATIONS {
        let (residual, slope) = f(x)?;
        value = residual;
        if residual == 0.0 {
            return Ok(x);
        }
        if residual < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x - residual / slope;
        let next = if newton > low && newton < high && (newton - x).abs() < 0.7 * last_step {
            newton
        } else if slope > 0.0 && (newton - x).abs() <= 4.0 * f64::EPSILON * x.abs() {
            return Ok(x);
        } else {
            0.5 * (low + high)
        };
        last_step = (next - x).abs();
        x = next;
        if last_step <= 2.0 * f64::EPSILON * x.abs() || high - low <= 2.0 * f64::EPSILON * x.abs() {
            return Ok(x);
        }
    }
    Err(ThermoError::NotConverged {
        what,
        temperature: x,
        density: f64::NAN,
        iterations: ITERATIONS,
        residual: value,
    })
}
