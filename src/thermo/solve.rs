//! What the inversions of this room share: their search and their range check.

use crate::numerics::roots::{self, Ends, RootError, Tolerance};
use crate::thermo::ThermoError;

/// Find the zero of an increasing function in `[low, high]` from `start`; `f` returns value and
/// slope. The result is converged to round-off in x; without a zero inside it is the end nearest
/// to one, for the caller to judge.
pub(crate) fn increasing(
    what: &'static str,
    (low, high): (f64, f64),
    start: f64,
    f: impl FnMut(f64) -> Result<(f64, f64), ThermoError>,
) -> Result<f64, ThermoError> {
    const ROUND_OFF: Tolerance = Tolerance {
        x_absolute: 0.0,
        x_relative: 0.0,
        value: 0.0,
        max_iterations: 200,
    };
    match roots::newton(f, low, high, start, Ends::Rising, &ROUND_OFF) {
        Ok(root) => Ok(root.x),
        Err(RootError::Function { source, .. }) => Err(source),
        Err(RootError::NoSignChange {
            lower,
            upper,
            value_lower,
            ..
        }) => Ok(if value_lower < 0.0 { upper } else { lower }),
        Err(RootError::Iterations {
            lower,
            iterations,
            residual,
            ..
        }) => Err(not_converged(what, lower, iterations, residual)),
        Err(RootError::NotANumber { at, .. }) => Err(not_converged(what, at, 0, f64::NAN)),
        Err(RootError::Bracket { lower, .. }) => Err(not_converged(what, lower, 0, f64::NAN)),
    }
}

fn not_converged(what: &'static str, at: f64, iterations: usize, residual: f64) -> ThermoError {
    ThermoError::NotConverged {
        what,
        temperature: at,
        density: f64::NAN,
        iterations,
        residual,
    }
}

/// Refuse a property outside its range, by name.
pub(crate) fn check_range(
    property: &'static str,
    unit: &'static str,
    value: f64,
    low: f64,
    high: f64,
) -> Result<(), ThermoError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(ThermoError::OutOfRange {
            property,
            unit,
            value,
            low,
            high,
        })
    }
}
