//! Where a fit may begin.

use rayon::prelude::*;

use crate::numerics::matrix::Matrix;
use crate::statistics::stream::{Purpose, Stream};

use super::least_squares::trusted_step;
use super::model::BOUND;
use super::parameter::Role;
use super::problem::Problem;
use super::settle::Settled;

/// Starts of a freed value, as variates of its prior.
const REACHES: [f64; 5] = [-2.0, -1.0, 0.0, 1.0, 2.0];
/// Those added where all of these are early, or all late.
const FURTHER: [f64; 2] = [-3.0, 3.0];
/// Starts added between others so that something comes in time, and how close they may lie.
const SHOTS: usize = 5;
const CLOSE: f64 = 0.02;
/// Time within which something comes in time [s].
const IN_TIME: f64 = 1e-3;
/// Directions searched where no value is freed, and how far.
const DIRECTIONS: usize = 3;
const ALONG: [f64; 2] = [-1.5, 1.5];
/// Designs drawn to begin again from.
const DRAWN: usize = 16;
/// How far each value is moved to begin again.
const MOVED: [f64; 4] = [-1.5, -0.7, 0.7, 1.5];
/// Distance between starts below which one of them is enough.
const APART: f64 = 0.8;
/// How far the design may be bent in judging a start.
const BENT: f64 = 2.0;

/// A design from which a fit may begin, with what is known of the sensitivities to its values there.
#[derive(Debug, Clone)]
pub struct Known {
    /// Variates of all values of the problem.
    pub z: Vec<f64>,
    /// Sensitivities to the values of the rocket, zeros for a freed one.
    pub slopes: Option<Matrix>,
}

/// A start with clocks and sensors settled.
#[derive(Debug, Clone)]
pub struct Start {
    /// Cost that may be expected once the design has been bent a little.
    pub expected: f64,
    /// Where it is.
    pub settled: Settled,
    /// What is known of the sensitivities there.
    pub slopes: Option<Matrix>,
}

impl Start {
    /// With the values `z`; `None` where the model cannot go.
    #[must_use]
    pub fn at(problem: &Problem<'_, '_>, known: &Known, z: &[f64]) -> Option<Self> {
        let settled = problem.settled_afresh(z, &REACHES).ok()?;
        let cost = problem.cost_of(&settled);
        let gained = known.slopes.as_ref().and_then(|slopes| {
            let jacobian = problem.projected(&settled, slopes)?;
            let (residuals, at) = (
                problem.extended(&settled),
                problem.pick(&problem.outer, &settled.z),
            );
            let gradient = jacobian.transpose_times(&residuals);
            Some(trusted_step(jacobian.gram(), gradient, &at, BENT, problem)?.promised)
        });
        cost.is_finite().then_some(Start {
            expected: cost - gained.unwrap_or(0.0).max(0.0),
            settled,
            slopes: known.slopes.clone(),
        })
    }

    /// Whether another start lies so far away that it may lead elsewhere.
    #[must_use]
    pub fn apart_from(&self, other: &Start) -> bool {
        let pairs = self.settled.z.iter().zip(&other.settled.z);
        pairs.map(|(a, b)| (a - b).powi(2)).sum::<f64>() > APART * APART
    }

    /// The same with the sensitivities made that only this cause can tell.
    #[must_use]
    pub fn completed(mut self, problem: &Problem<'_, '_>) -> Self {
        if let Some(slopes) = &mut self.slopes {
            let own = problem.taken_over(&self.settled.z);
            problem.column_slopes(&self.settled, &own, slopes);
        }
        self
    }
}

/// Starts along one freed value, and between those of which one peaks early and the next one late
/// another that should peak in time: a front out of place does not say which way to go.
fn along(problem: &Problem<'_, '_>, k: usize, known: &Known) -> Vec<Start> {
    let at = |reach: f64| Start::at(problem, known, &problem.with(&[k], &[reach], &known.z));
    let given = known.z.get(k).filter(|z| !REACHES.contains(z));
    let reaches: Vec<f64> = REACHES.into_iter().chain(given.copied()).collect();
    let all = |reaches: &[f64]| -> Vec<Start> {
        reaches.par_iter().filter_map(|reach| at(*reach)).collect()
    };
    let mut found = all(&reaches);
    let mut further = Some(FURTHER);
    for _ in 0..SHOTS {
        let place = |start: &Start| start.settled.z.get(k).copied().unwrap_or(0.0);
        found.sort_by(|a, b| place(a).total_cmp(&place(b)));
        let late = |start: &Start| problem.late(&start.settled);
        if found
            .iter()
            .filter_map(late)
            .any(|late| late.abs() < IN_TIME)
        {
            break;
        }
        let crossing = found.windows(2).find_map(|pair| {
            let [a, b] = pair else { return None };
            let (early, late) = (late(a)?, late(b)?);
            let (from, to) = (place(a), place(b));
            let apart = early * late < 0.0 && to - from > CLOSE;
            let share = early / (early - late);
            // Where one of them has no time, in the middle.
            let finite = early.is_finite() && late.is_finite();
            let share = if finite { share.clamp(0.1, 0.9) } else { 0.5 };
            apart.then_some(from + (to - from) * share)
        });
        if let Some(start) = crossing.and_then(at) {
            found.push(start);
        } else if let Some(reaches) = further.take() {
            found.extend(all(&reaches));
        } else {
            break;
        }
    }
    found
}

/// Starts of a fit: the best of each given design, the best of them first, then all others. Each design
/// is tried with several values of what the cause frees, or without a freed value along the directions
/// the traces see best.
#[must_use]
pub fn ranked_starts(problem: &Problem<'_, '_>, designs: &[Known]) -> Vec<Start> {
    let mut best: Vec<Start> = Vec::new();
    let mut others: Vec<Start> = Vec::new();
    for design in designs {
        let mut starts: Vec<Start> = match problem.fault_index() {
            Some(k) if problem.outer.contains(&k) => along(problem, k, design),
            Some(_) => Start::at(problem, design, &design.z).into_iter().collect(),
            None => without_fault(problem, design),
        };
        starts.sort_by(|a, b| a.expected.total_cmp(&b.expected));
        let mut starts = starts.into_iter();
        best.extend(starts.next());
        others.extend(starts);
    }
    for starts in [&mut best, &mut others] {
        starts.sort_by(|a, b| a.expected.total_cmp(&b.expected));
    }
    best.into_iter().chain(others).collect()
}

/// The design, and along the directions that move the residuals most, clocks and sensors following.
fn without_fault(problem: &Problem<'_, '_>, design: &Known) -> Vec<Start> {
    let Ok(settled) = problem.settled_afresh(&design.z, &[]) else {
        return Vec::new();
    };
    problem.begin_at(&settled, design.slopes.clone());
    let known = Known {
        z: design.z.clone(),
        slopes: Some(problem.outer_slopes(&settled, false)),
    };
    let slopes = known.slopes.as_ref();
    let projected = slopes.and_then(|slopes| problem.projected(&settled, slopes));
    let mut places = vec![known.z.clone()];
    let found = projected.and_then(|projected| projected.gram().symmetric_eigen());
    if let Some((_, vectors)) = found {
        let count = problem.outer.len();
        for k in count.saturating_sub(DIRECTIONS)..count {
            let direction = vectors.column(k);
            for reach in ALONG {
                let here = problem.pick(&problem.outer, &known.z);
                let pairs = here.iter().zip(direction);
                let there: Vec<f64> = pairs.map(|(z, d)| z + reach * d).collect();
                places.push(problem.with(&problem.outer, &there, &known.z));
            }
        }
    }
    starts_at(problem, &known, &places)
}

/// Starts from a design with one of its values moved at a time, the best first: where events of a run come to another
/// number or order, a fit does not see past the next of them.
#[must_use]
pub fn moved_starts(problem: &Problem<'_, '_>, design: &Known) -> Vec<Start> {
    let moved = |k: &usize| {
        let here = design.z.get(*k).copied().unwrap_or(0.0);
        MOVED.map(|by| problem.with(&[*k], &[(here + by).clamp(-BOUND, BOUND)], &design.z))
    };
    let places: Vec<Vec<f64>> = problem.outer.iter().flat_map(moved).collect();
    ranked(starts_at(problem, design, &places))
}

/// Starts from designs drawn between one and the expected one, with what it frees as it is, the best first.
#[must_use]
pub fn drawn_starts(problem: &Problem<'_, '_>, design: &Known) -> Vec<Start> {
    let mut stream = Stream::new(DRAWN as u64, Purpose::Other, problem.cause as u64);
    let mut drawn = || -> Vec<f64> {
        let mut normal = vec![0.0; problem.outer.len()];
        stream.fill_normal(&mut normal);
        let here = problem.pick(&problem.outer, &design.z);
        let values = (problem.outer.iter().zip(here).zip(normal)).map(|((k, z), normal)| {
            if problem.fault_index() == Some(*k) {
                z
            } else {
                (0.5 * z + normal).clamp(-BOUND, BOUND)
            }
        });
        problem.with(&problem.outer, &values.collect::<Vec<_>>(), &design.z)
    };
    let places: Vec<Vec<f64>> = (0..DRAWN).map(|_| drawn()).collect();
    ranked(starts_at(problem, design, &places))
}

fn ranked(mut starts: Vec<Start>) -> Vec<Start> {
    starts.sort_by(|a, b| a.expected.total_cmp(&b.expected));
    starts
}

fn starts_at(problem: &Problem<'_, '_>, known: &Known, places: &[Vec<f64>]) -> Vec<Start> {
    let found = places.par_iter().map(|z| Start::at(problem, known, z));
    found.collect::<Vec<_>>().into_iter().flatten().collect()
}

impl Problem<'_, '_> {
    /// Values and sensitivities known of another problem of the same model, where both have them; what a
    /// twin frees is as large here as there.
    #[must_use]
    pub fn transfer(&self, other: &Problem<'_, '_>, known: &Known) -> Known {
        let twins = self.cause.twin() == Some(other.cause);
        let own = |parameter: &super::parameter::Parameter| {
            let same = other
                .parameters
                .iter()
                .zip(&known.z)
                .find(|(candidate, _)| candidate.role == parameter.role);
            match (same, parameter.role) {
                (Some((there, z)), Role::Fault(_)) if twins => {
                    parameter.variate(there.value(*z)).clamp(-BOUND, BOUND)
                }
                (Some((_, z)), role) if !matches!(role, Role::Fault(_)) => *z,
                _ => 0.0,
            }
        };
        let slopes = known.slopes.as_ref();
        Known {
            z: self.parameters.iter().map(own).collect(),
            slopes: slopes.map(|slopes| self.transferred_slopes(other, slopes)),
        }
    }
}
