//! What the traces cannot tell apart, and which further measurement would.

use rayon::prelude::*;

use crate::numerics::matrix::{Matrix, dot};

use super::fit::Fit;
use super::measured::Observable;
use super::observe::{Run, Sensor};
use super::parameter::Role;
use super::problem::Problem;

/// Cosine of the angle between two effects above which they look the same.
const ALIKE: f64 = 0.95;
/// Effect of a value within its prior, in standard deviations of all data, below which it does
/// not matter what it looks like.
const MATTERS: f64 = 1.5;
/// Noise assumed of a further sensor, as a share of the range it would see.
const FURTHER_NOISE: f64 = 0.01;
/// Points at which a further sensor is looked at.
const FURTHER_POINTS: usize = 60;

/// Two values whose effects on the traces are nearly the same.
#[derive(Debug, Clone, PartialEq)]
pub struct LookAlike {
    /// One of them.
    pub first: String,
    /// The other.
    pub second: String,
    /// Whether more of the one looks like more of the other (or like less of it).
    pub same_way: bool,
    /// Cosine of the angle between the effects, sensor errors allowed for [1].
    pub cosine: f64,
    /// The further measurement that would separate them best, if one would.
    pub separated_by: Option<Candidate>,
}

/// A further measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What: "pressure in cartridge", "travel of the nose".
    pub what: String,
    /// What it measures.
    pub observable: Observable,
    /// Root-mean-square difference it would show, in standard deviations of its noise [1].
    pub separation: f64,
    /// Largest difference it would show [SI].
    pub difference: f64,
    /// When, after the command [s].
    pub time: f64,
}

/// Quantities that could be measured besides those that were.
fn further(problem: &Problem<'_, '_>) -> Vec<(String, Observable)> {
    let measured: Vec<Observable> = problem
        .model
        .traces
        .iter()
        .flat_map(|trace| trace.channels.iter().map(|channel| channel.observable))
        .collect();
    let nominal = &problem.model.nominal;
    let mut found: Vec<(String, Observable)> = nominal
        .vessels
        .iter()
        .enumerate()
        .filter(|(index, _)| {
            !measured
                .iter()
                .any(|m| matches!(m, Observable::Pressure { vessel, .. } if vessel == index))
        })
        .map(|(vessel, spec)| {
            let observable = Observable::Pressure {
                vessel,
                gauge: false,
            };
            (format!("the pressure in {}", spec.name), observable)
        })
        .collect();
    if nominal.nose.is_some()
        && !measured
            .iter()
            .any(|m| matches!(m, Observable::Travel | Observable::Release))
    {
        found.push(("the travel of the nose".to_owned(), Observable::Travel));
    }
    found
}

fn grid(problem: &Problem<'_, '_>) -> Vec<f64> {
    let start = problem.model.starts.first().map_or(0.0, |start| start.0);
    let last = problem.model.traces.first().map_or(1.0, |m| m.last_time()) - start;
    // Denser at the beginning, where most happens.
    (1..=FURTHER_POINTS)
        .map(|i| last * (i as f64 / FURTHER_POINTS as f64).powi(2))
        .collect()
}

fn range(values: &[f64]) -> f64 {
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(*v), high.max(*v))
        });
    (high - low).max(f64::MIN_POSITIVE)
}

fn noise_of(observable: Observable, values: &[f64]) -> f64 {
    let least = match observable {
        Observable::Pressure { .. } => 500.0,
        _ => 1e-3,
    };
    (FURTHER_NOISE * range(values)).max(least)
}

/// Measurements that would tell two fitted explanations apart, best first.
#[must_use]
pub fn candidates(problem: &Problem<'_, '_>, first: &Run, second: &Run) -> Vec<Candidate> {
    let times = grid(problem);
    let sensor = Sensor::perfect(0.0);
    let mut found: Vec<Candidate> = further(problem)
        .into_iter()
        .map(|(what, observable)| {
            let a = first.observe(observable, &times, &sensor);
            let b = second.observe(observable, &times, &sensor);
            compare(what, observable, &times, &a, &b)
        })
        .filter(|candidate| candidate.separation > 1.0)
        .collect();
    found.sort_by(|a, b| b.separation.total_cmp(&a.separation));
    found
}

fn compare(what: String, observable: Observable, times: &[f64], a: &[f64], b: &[f64]) -> Candidate {
    let noise = noise_of(observable, a);
    let mut largest = (0.0_f64, 0.0);
    let mut sum = 0.0;
    for ((a, b), time) in a.iter().zip(b).zip(times) {
        let difference = b - a;
        sum += difference * difference;
        if difference.abs() > largest.0.abs() {
            largest = (difference, *time);
        }
    }
    Candidate {
        what,
        observable,
        separation: (sum / times.len().max(1) as f64).sqrt() / noise,
        difference: largest.0,
        time: largest.1,
    }
}

/// Pairs of values of the design or the fault that the traces cannot tell apart: the nearly null
/// directions of the Fisher matrix, errors of sensors allowed for within their priors.
#[must_use]
pub fn look_alikes(problem: &Problem<'_, '_>, fit: &Fit) -> Vec<LookAlike> {
    let physical: Vec<usize> = (0..problem.parameters.len())
        .filter(|k| {
            problem
                .parameters
                .get(*k)
                .is_some_and(|p| matches!(p.role, Role::Input { .. } | Role::Fault(_)))
        })
        .collect();
    let sensor: Vec<usize> = (0..problem.parameters.len())
        .filter(|k| !physical.contains(k))
        .collect();
    let Some(fisher) = marginal(&fit.jacobian.gram(), &physical, &sensor) else {
        return Vec::new();
    };
    let mut pairs = Vec::new();
    for i in 0..physical.len() {
        for j in i + 1..physical.len() {
            let (own, other) = (
                fisher.at(i, i).max(0.0).sqrt(),
                fisher.at(j, j).max(0.0).sqrt(),
            );
            if own < MATTERS || other < MATTERS {
                continue;
            }
            let cosine = fisher.at(i, j) / (own * other);
            if cosine.abs() > ALIKE {
                pairs.push((i, j, cosine, own.min(other)));
            }
        }
    }
    pairs.sort_by(|a, b| b.3.total_cmp(&a.3));
    pairs.truncate(3);
    if pairs.is_empty() {
        return Vec::new();
    }
    let involved: Vec<usize> = pairs.iter().flat_map(|(i, j, _, _)| [*i, *j]).collect();
    let effects = further_effects(problem, fit, &physical, &involved);
    pairs
        .into_iter()
        .filter_map(|(i, j, cosine, _)| {
            let label = |k: usize| {
                let k = physical.get(k)?;
                Some(problem.parameters.get(*k)?.label.clone())
            };
            Some(LookAlike {
                first: label(i)?,
                second: label(j)?,
                same_way: cosine > 0.0,
                cosine,
                separated_by: separator(&fisher, i, j, &effects),
            })
        })
        .collect()
}

/// Fisher matrix of some values with others (with unit normal priors) integrated out.
fn marginal(gram: &Matrix, kept: &[usize], out: &[usize]) -> Option<Matrix> {
    let mut inner = Matrix::zero(out.len(), out.len());
    for (a, i) in out.iter().enumerate() {
        for (b, j) in out.iter().enumerate() {
            inner.set(a, b, gram.at(*i, *j) + f64::from(u8::from(a == b)));
        }
    }
    let factor = inner.cholesky()?;
    let cross: Vec<Vec<f64>> = kept
        .iter()
        .map(|k| out.iter().map(|o| gram.at(*k, *o)).collect())
        .collect();
    let solved: Vec<Vec<f64>> = cross.iter().map(|c| factor.solve(c)).collect();
    let mut fisher = Matrix::zero(kept.len(), kept.len());
    for (a, i) in kept.iter().enumerate() {
        for (b, j) in kept.iter().enumerate() {
            let (left, right) = (cross.get(a)?, solved.get(b)?);
            fisher.set(a, b, gram.at(*i, *j) - dot(left, right));
        }
    }
    Some(fisher)
}

/// Effects of values on quantities that were not measured, in standard deviations of their noise.
struct FurtherEffects {
    what: String,
    observable: Observable,
    /// By place among the physical values; empty where not computed.
    columns: Vec<Vec<f64>>,
    noise: f64,
    times: Vec<f64>,
}

fn further_effects(
    problem: &Problem<'_, '_>,
    fit: &Fit,
    physical: &[usize],
    involved: &[usize],
) -> Vec<FurtherEffects> {
    const STEP: f64 = 0.1;
    let times = grid(problem);
    let sensor = Sensor::perfect(0.0);
    let Ok(base) = problem.whole_run(&fit.z, 0) else {
        return Vec::new();
    };
    let runs: Vec<Option<Run>> = physical
        .par_iter()
        .enumerate()
        .map(|(place, k)| {
            if !involved.contains(&place) {
                return None;
            }
            let mut z = fit.z.clone();
            *z.get_mut(*k)? += STEP;
            problem.whole_run(&z, 0).ok()
        })
        .collect();
    further(problem)
        .into_iter()
        .map(|(what, observable)| {
            let at = base.observe(observable, &times, &sensor);
            let noise = noise_of(observable, &at);
            let columns = runs
                .iter()
                .map(|run| {
                    run.as_ref().map_or_else(Vec::new, |run| {
                        run.observe(observable, &times, &sensor)
                            .iter()
                            .zip(&at)
                            .map(|(moved, at)| (moved - at) / (STEP * noise))
                            .collect()
                    })
                })
                .collect();
            FurtherEffects {
                what,
                observable,
                columns,
                noise,
                times: times.clone(),
            }
        })
        .collect()
}

/// The measurement that raises the smaller eigenvalue of the pair's Fisher matrix most, if it
/// makes the two clearly different.
fn separator(fisher: &Matrix, i: usize, j: usize, effects: &[FurtherEffects]) -> Option<Candidate> {
    let smaller = |a: f64, b: f64, c: f64| {
        let (mean, half) = (0.5 * (a + c), 0.5 * (a - c));
        mean - half.hypot(b)
    };
    let (a, b, c) = (fisher.at(i, i), fisher.at(i, j), fisher.at(j, j));
    let before = smaller(a, b, c).max(0.0);
    effects
        .iter()
        .filter_map(|further| {
            let (x, y) = (further.columns.get(i)?, further.columns.get(j)?);
            let (a2, b2, c2) = (a + dot(x, x), b + dot(x, y), c + dot(y, y));
            let after = smaller(a2, b2, c2);
            let clear =
                (b2 / (a2 * c2).sqrt()).abs() < ALIKE - 0.05 && after > 4.0 * before.max(0.25);
            let gap: Vec<f64> = x.iter().zip(y).map(|(x, y)| x - b.signum() * y).collect();
            let (index, largest) = gap
                .iter()
                .enumerate()
                .max_by(|p, q| p.1.abs().total_cmp(&q.1.abs()))?;
            clear.then(|| Candidate {
                what: further.what.clone(),
                observable: further.observable,
                separation: (after - before).sqrt(),
                difference: largest * further.noise,
                time: further.times.get(index).copied().unwrap_or(0.0),
            })
        })
        .max_by(|a, b| a.separation.total_cmp(&b.separation))
}
