//! Causes with one choice of the discrete values each, and the search for the best fit of all of them.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::study::StudyError;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::evidence::Goodness;
use super::fit::{Effort, Fit, fit, ranked_starts};
use super::model::Model;
use super::parameter::Role;
use super::problem::Problem;

/// Steps of a first fit and of a last one.
const FIRST: Effort = Effort {
    steps: 20,
    jacobians: 5,
};
const LAST: Effort = Effort {
    steps: 40,
    jacobians: 10,
};
/// Further starts of each cause that are followed while nothing explains the traces.
const FOLLOWED: usize = 2;
/// Causes whose further starts are followed.
const SEARCHED: usize = 6;
/// Sum of the squared residuals over its expectation beyond which the traces are not explained.
const UNEXPLAINED: f64 = 1.8;
/// Factor on the noise beyond which fronts are out of place, and how often that is tried to mend.
const OUT_OF_PLACE: f64 = 1.5;
const CONTINUED: usize = 2;
/// Difference of the noise from the measured one that changes no answer.
const KNOWN_WELL: f64 = 0.03;
/// Distance between starts below which one of them is enough.
const APART: f64 = 0.8;
/// Logarithm of the evidence behind the best beyond which a cause is not refined.
const HOPELESS: f64 = 8.0;
/// Logarithm of the evidence by which a choice may be behind, with nothing wrong, to be tried with
/// every fault.
const UNLIKELY_CHOICE: f64 = 8.0;

/// A cause with one choice of the discrete values.
pub struct Hypothesis<'m, 'a> {
    /// The cause and the choice.
    pub problem: Problem<'m, 'a>,
    /// Chance of the choice beforehand.
    pub weight: f64,
    /// Starts not yet followed, the best last.
    starts: Vec<Vec<f64>>,
    /// The best fit so far.
    pub fit: Option<Fit>,
}

impl<'m, 'a> Hypothesis<'m, 'a> {
    /// Follows the best of some starts.
    pub fn new(problem: Problem<'m, 'a>, weight: f64, mut starts: Vec<Vec<f64>>) -> Self {
        starts.reverse();
        let mut hypothesis = Hypothesis {
            problem,
            weight,
            starts,
            fit: None,
        };
        hypothesis.follow(FIRST);
        hypothesis
    }

    /// Follows the next start that lies apart from the ones before, and keeps the better fit.
    fn follow(&mut self, effort: Effort) {
        let Some(start) = self.starts.pop() else {
            return;
        };
        self.starts.retain(|other| {
            let apart = other.iter().zip(&start).map(|(a, b)| (a - b).powi(2));
            apart.sum::<f64>() > APART * APART
        });
        if let Some(found) = fit(&self.problem, &start, effort)
            && self
                .fit
                .as_ref()
                .is_none_or(|old| found.cost() < old.cost())
        {
            self.fit = Some(found);
        }
    }

    /// Logarithm of evidence times the chance beforehand.
    #[must_use]
    pub fn log_weight(&self, settings: &DiagnosisSettings) -> f64 {
        let Some(fit) = &self.fit else {
            return f64::NEG_INFINITY;
        };
        self.log_prior(settings) + fit.log_evidence()
    }

    /// Values with which the design of another explanation costs less here than the own fit: with the
    /// freed value as found, or fitted alone.
    fn borrowed(&self, lender: &Problem<'_, '_>, z: &[f64]) -> Option<Vec<f64>> {
        let known = self.fit.as_ref()?;
        if lender.cause == self.problem.cause {
            return None;
        }
        let mut moved = self.problem.transfer(lender, z);
        let own = self.problem.parameters.iter().zip(&known.z).zip(&mut moved);
        for ((parameter, own), slot) in own {
            if matches!(parameter.role, Role::Fault(_)) {
                *slot = *own;
            }
        }
        let along = self.problem.fault_index().and_then(|k| {
            let start = ranked_starts(&self.problem, std::slice::from_ref(&moved));
            let mut line = self.problem.with_inflation(self.problem.inflation);
            line.outer.retain(|outer| *outer == k);
            Some(fit(&line, start.first()?, LAST)?.z)
        });
        let cost = |z: &Vec<f64>| {
            let settled = self.problem.settled(z);
            settled.map_or(f64::INFINITY, |settled| self.problem.cost_of(&settled))
        };
        along
            .into_iter()
            .chain([moved])
            .map(|z| (cost(&z), z))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|(cost, _)| *cost < known.cost())
            .map(|(_, z)| z)
    }

    fn log_prior(&self, settings: &DiagnosisSettings) -> f64 {
        let others = settings
            .causes
            .iter()
            .filter(|cause| **cause != Cause::NothingWrong)
            .count()
            .max(1) as f64;
        let prior = if self.problem.cause == Cause::NothingWrong {
            settings.nothing_wrong
        } else {
            (1.0 - settings.nothing_wrong) / others
        };
        (prior * self.weight).max(f64::MIN_POSITIVE).ln()
    }
}

/// The likeliest one that has a fit.
#[must_use]
pub fn best_of(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> Option<usize> {
    hypotheses
        .iter()
        .enumerate()
        .filter(|(_, h)| h.fit.is_some())
        .max_by(|a, b| {
            a.1.log_weight(settings)
                .total_cmp(&b.1.log_weight(settings))
        })
        .map(|(index, _)| index)
}

/// A first fit of every cause with every choice of the discrete values worth trying.
///
/// # Errors
/// A distribution that is not valid.
pub fn first_fits<'m, 'a>(
    model: &'m Model<'a>,
    choices: &[(Vec<f64>, f64)],
    observe: &(dyn Fn(f64) + Sync),
) -> Result<Vec<Hypothesis<'m, 'a>>, StudyError> {
    let settings = model.settings;
    observe(0.0);
    // The design as it is, first: its fit is where the others may start.
    let mut hypotheses: Vec<Hypothesis<'m, 'a>> = Vec::new();
    for (base, weight) in choices {
        if let Some(problem) = Problem::new(model, Cause::NothingWrong, base, 1.0)? {
            let start = problem.expected();
            let starts = ranked_starts(&problem, &[start]);
            hypotheses.push(Hypothesis::new(problem, *weight, starts));
        }
    }
    // A choice far behind with nothing wrong is not tried with every fault.
    let weights: Vec<f64> = hypotheses.iter().map(|h| h.log_weight(settings)).collect();
    let most = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    observe(0.1);
    let others: Vec<(Cause, &Vec<f64>, f64, usize)> = settings
        .causes
        .iter()
        .filter(|cause| **cause != Cause::NothingWrong)
        .flat_map(|cause| {
            choices
                .iter()
                .enumerate()
                .filter(|(index, _)| {
                    weights
                        .get(*index)
                        .is_none_or(|w| *w > most - UNLIKELY_CHOICE)
                })
                .map(move |(index, (base, weight))| (*cause, base, *weight, index))
        })
        .collect();
    let total = others.len().max(1) as f64;
    let done = AtomicUsize::new(0);
    let fitted: Vec<Option<Hypothesis<'m, 'a>>> = others
        .par_iter()
        .map(|(cause, base, weight, index)| {
            let problem = Problem::new(model, *cause, base, 1.0)?;
            let hypothesis = problem.map(|problem| {
                let designs = first_designs(&problem, hypotheses.get(*index));
                let starts = ranked_starts(&problem, &designs);
                Hypothesis::new(problem, *weight, starts)
            });
            let count = done.fetch_add(1, Ordering::Relaxed) + 1;
            observe(0.1 + 0.5 * count as f64 / total);
            Ok(hypothesis)
        })
        .collect::<Result<_, StudyError>>()?;
    hypotheses.extend(fitted.into_iter().flatten());
    if !settings.causes.contains(&Cause::NothingWrong) {
        hypotheses.retain(|h| h.problem.cause != Cause::NothingWrong);
    }
    Ok(hypotheses)
}

/// Designs from which the fit of a fault begins: the stated one and, as far as it is known, the fit of
/// the design as it is.
#[must_use]
pub fn first_designs(
    problem: &Problem<'_, '_>,
    as_is: Option<&Hypothesis<'_, '_>>,
) -> Vec<Vec<f64>> {
    let mut designs = vec![problem.expected()];
    if let Some(Hypothesis {
        problem: other,
        fit: Some(fit),
        ..
    }) = as_is
    {
        designs.push(problem.transfer(other, &fit.z));
    }
    designs
}

/// Searches on, fits all that are in the running with the noise as the residuals of the best show it,
/// and says by which factor it is larger than measured [1].
///
/// # Errors
/// Where nothing can be fitted.
pub fn settle_all(
    hypotheses: &mut [Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
) -> Result<f64, StudyError> {
    search_on(hypotheses, settings);
    refine(hypotheses, 1.0, settings);
    // Noise much larger than measured: fronts out of place, which find each other with that noise.
    let mut inflation = inflation_of(hypotheses, settings)?;
    for _ in 0..CONTINUED {
        if inflation < OUT_OF_PLACE {
            break;
        }
        refine(hypotheses, inflation, settings);
        refine(hypotheses, 1.0, settings);
        inflation = inflation_of(hypotheses, settings)?;
    }
    if (inflation - 1.0).abs() > KNOWN_WELL {
        refine(hypotheses, inflation, settings);
    }
    Ok(inflation)
}

/// As long as the best explanation does not explain the traces, the search may have ended too early:
/// further starts of the best few.
fn search_on(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    for _ in 0..FOLLOWED {
        let Some(Hypothesis {
            problem,
            fit: Some(fit),
            ..
        }) = best_of(hypotheses, settings).and_then(|best| hypotheses.get(best))
        else {
            return;
        };
        let goodness = Goodness::of(problem, fit);
        if goodness.chi_square < UNEXPLAINED * goodness.degrees {
            return;
        }
        let mut weights: Vec<f64> = hypotheses.iter().map(|h| h.log_weight(settings)).collect();
        weights.sort_by(|a, b| b.total_cmp(a));
        let least = weights.get(SEARCHED - 1).or(weights.last()).copied();
        hypotheses
            .par_iter_mut()
            .filter(|h| least.is_none_or(|least| h.log_weight(settings) >= least))
            .for_each(|hypothesis| hypothesis.follow(LAST));
    }
}

/// Factor on the noise that the residuals of the best explanation ask for.
fn inflation_of(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
) -> Result<f64, StudyError> {
    match best_of(hypotheses, settings).and_then(|best| hypotheses.get(best)) {
        Some(Hypothesis {
            problem,
            fit: Some(fit),
            ..
        }) => Ok(Goodness::of(problem, fit).inflation()),
        _ => Err(StudyError::NoFit),
    }
}

/// Fits the causes that are still in the running again, with the noise as it turned out, fresh
/// Jacobians and for the best a second start.
fn refine(hypotheses: &mut [Hypothesis<'_, '_>], inflation: f64, settings: &DiagnosisSettings) {
    let share = |h: &Hypothesis<'_, '_>| (h.problem.inflation / inflation).powi(2);
    // With other noise the misfit shrinks or grows: judge by what it will be.
    let rough = |h: &Hypothesis<'_, '_>| {
        h.fit.as_ref().map_or(f64::NEG_INFINITY, |fit| {
            h.log_prior(settings) + fit.log_evidence() + 0.5 * (1.0 - share(h)) * fit.misfit
        })
    };
    let most = hypotheses
        .iter()
        .map(rough)
        .fold(f64::NEG_INFINITY, f64::max);
    // What the best explanation found of the design may serve the others better than their own.
    let best = best_of(hypotheses, settings).and_then(|index| hypotheses.get(index));
    let lent: Vec<Option<Vec<f64>>> = match best {
        Some(Hypothesis {
            problem: lender,
            fit: Some(lender_fit),
            ..
        }) => hypotheses
            .iter()
            .map(|h| h.borrowed(lender, &lender_fit.z))
            .collect(),
        _ => vec![None; hypotheses.len()],
    };
    hypotheses
        .par_iter_mut()
        .zip(lent)
        .for_each(|(hypothesis, lent)| {
            let close = lent.is_some() || rough(hypothesis) > most - HOPELESS;
            let Some(old) = hypothesis.fit.take() else {
                return;
            };
            let share = share(hypothesis);
            hypothesis.problem = hypothesis.problem.with_inflation(inflation);
            let again = close.then(|| {
                let start = lent.as_ref().unwrap_or(&old.z);
                let found = fit(&hypothesis.problem, start, LAST)?;
                Some(found.freshened(&hypothesis.problem))
            });
            hypothesis.fit = again.flatten().or_else(|| Some(old.with_noise(share)));
        });
}
