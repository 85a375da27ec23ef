//! Intervals of fitted values: from the curvature at the best, or along the profile of the cost
//! where the curvature would mislead.

use rayon::prelude::*;

use super::FittedValue;
use super::fit::{Fit, fit};
use super::model::{BOUND, Problem};
use super::parameter::Role;

/// Two-sided 90 % of a standard normal.
pub const REACH: f64 = 1.644_853_626_951_472_7;
/// Rise of the cost at the ends of the interval: square of the reach.
const RISE: f64 = REACH * REACH;
/// Steps of a fit with one value held.
const PROFILE_STEPS: u64 = 10;
/// Relative error of the rise beyond which the curvature misleads.
const MISLEADING: f64 = 0.3;

/// All fitted values with intervals from the curvature.
#[must_use]
pub fn fitted_values(problem: &Problem<'_, '_>, fit: &Fit) -> Vec<FittedValue> {
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
            let (a, b) = (report(z - REACH * deviation), report(z + REACH * deviation));
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
                profiled: false,
            }
        })
        .collect()
}

/// Replaces the interval of each value freed by the cause by the profile of the cost where the
/// cost at the ends is not what the curvature promises.
pub fn profile_faults(problem: &Problem<'_, '_>, best: &Fit, values: &mut [FittedValue]) {
    let covariance = best.covariance();
    let ends: Vec<(usize, Option<(f64, f64)>)> = problem
        .parameters
        .par_iter()
        .enumerate()
        .filter(|(_, parameter)| matches!(parameter.role, Role::Fault(_)))
        .map(|(k, _)| {
            let z = best.z.get(k).copied().unwrap_or(0.0);
            let deviation = covariance.at(k, k).max(0.0).sqrt();
            (k, profiled_ends(problem, best, k, z, deviation))
        })
        .collect();
    for (k, ends) in ends {
        let (Some((low, high)), Some(value)) = (ends, values.get_mut(k)) else {
            continue;
        };
        let Some(parameter) = problem.parameters.get(k) else {
            continue;
        };
        let report = |z: f64| match (parameter.role, parameter.value(z)) {
            (Role::Fault(f), x) => problem.faults.get(f).map_or(x, |f| f.reported(x)),
            (_, x) => x,
        };
        let (a, b) = (report(low), report(high));
        value.low = a.min(b);
        value.high = a.max(b);
        value.profiled = true;
    }
}

/// Ends of the profile interval; `None` where the curvature serves.
fn profiled_ends(
    problem: &Problem<'_, '_>,
    best: &Fit,
    k: usize,
    z: f64,
    deviation: f64,
) -> Option<(f64, f64)> {
    let rise = |at: f64| profile_rise(problem, best, k, at);
    let (low, high) = (z - REACH * deviation, z + REACH * deviation);
    let (low_rise, high_rise) = rayon::join(|| rise(low), || rise(high));
    let fine = |rise: f64| (rise - RISE).abs() <= MISLEADING * RISE;
    if fine(low_rise) && fine(high_rise) {
        return None;
    }
    let (low, high) = rayon::join(
        || end(&rise, z, low, low_rise),
        || end(&rise, z, high, high_rise),
    );
    Some((low, high))
}

/// Where the profile rises by the wanted amount on the side of a first guess; the guess itself where
/// the fits along the profile do not settle.
fn end(rise: &impl Fn(f64) -> f64, z: f64, guess: f64, guess_rise: f64) -> f64 {
    let mut at = guess;
    let mut here = guess_rise;
    // The rise is nearly a parabola: rescale the distance by the root of what is missing.
    for _ in 0..4 {
        if !here.is_finite() || (here - RISE).abs() <= 0.15 * RISE {
            break;
        }
        let factor = (RISE / here.max(0.05 * RISE)).sqrt().clamp(0.4, 2.5);
        let next = (z + (at - z) * factor).clamp(-BOUND, BOUND);
        if (next - at).abs() < 1e-3 {
            break;
        }
        at = next;
        here = rise(at);
    }
    let settled = (here - RISE).abs() <= MISLEADING * RISE;
    let at_bound = at.abs() >= BOUND && here < RISE;
    if settled || at_bound { at } else { guess }
}

/// Rise of the cost with one variate held, all others fitted again from where the curvature expects
/// them.
fn profile_rise(problem: &Problem<'_, '_>, best: &Fit, k: usize, at: f64) -> f64 {
    let covariance = best.covariance();
    let own = covariance.at(k, k).max(1e-12);
    let moved = at - best.z.get(k).copied().unwrap_or(0.0);
    let start: Vec<f64> = best
        .z
        .iter()
        .enumerate()
        .map(|(j, z)| {
            if j == k {
                0.0
            } else {
                z + covariance.at(j, k) / own * moved
            }
        })
        .collect();
    let held = problem.with_held(k, at);
    fit(&held, &start, None, PROFILE_STEPS)
        .map_or(f64::INFINITY, |fit| fit.cost() + at * at - best.cost())
}
