//! Intervals of fitted values.

use super::FittedValue;
use super::fit::Fit;
use super::model::BOUND;
use super::parameter::Role;
use super::posterior::Posterior;
use super::problem::Problem;

/// Two-sided 90 % of a standard normal.
pub const REACH: f64 = 1.644_853_626_951_472_7;
/// All fitted values, with intervals from draws or else from the curvature.
#[must_use]
pub fn fitted_values(
    problem: &Problem<'_, '_>,
    fit: &Fit,
    posterior: Option<&Posterior>,
) -> Vec<FittedValue> {
    let covariance = fit.covariance();
    problem
        .parameters
        .iter()
        .enumerate()
        .map(|(k, parameter)| {
            let z = fit.z.get(k).copied().unwrap_or(0.0);
            let deviation = covariance.at(k, k).max(0.0).sqrt();
            let report = |z: f64| {
                let value = parameter.value(z.clamp(-BOUND, BOUND));
                match parameter.role {
                    Role::Fault(k) => problem.faults.get(k).map_or(value, |f| f.reported(value)),
                    _ => value,
                }
            };
            // The best value may be an end of a belief, beyond nine draws of ten.
            let drawn = posterior.and_then(|posterior| posterior.ends(k));
            let drawn = drawn.map(|(low, high)| (low.min(z), high.max(z)));
            let (low, high) = drawn.unwrap_or((z - REACH * deviation, z + REACH * deviation));
            let (a, b) = (report(low), report(high));
            let (input, trace) = match parameter.role {
                Role::Input { index, trace } => (Some(index), trace),
                Role::Start { trace } | Role::Sensor { trace, .. } => (None, Some(trace)),
                Role::Fault(_) => (None, None),
            };
            let expected = match parameter.role {
                Role::Fault(k) => problem.faults.get(k).map_or(f64::NAN, |f| f.expected),
                Role::Input { .. } => parameter.prior.central(),
                _ => parameter.value(0.0),
            };
            FittedValue {
                label: parameter.label.clone(),
                path: parameter.path.clone(),
                input,
                trace,
                dimension: parameter.dimension,
                value: report(z),
                low: a.min(b),
                high: a.max(b),
                expected,
                shift: z,
                resolved: 1.0 - deviation * deviation,
            }
        })
        .collect()
}
