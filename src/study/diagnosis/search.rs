//! The search for the best fits of all causes, with every choice of the discrete values worth trying.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::study::StudyError;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::evidence::Goodness;
use super::fit::{fit, ranked_starts};
use super::hypothesis::{FIRST, Hypothesis, LAST, best_of};
use super::model::Model;
use super::problem::Problem;

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
const KNOWN_WELL: f64 = 0.15;
/// Logarithm of the evidence behind the best beyond which a cause is not refined.
const HOPELESS: f64 = 8.0;
/// The same for a second start.
const IN_THE_RUNNING: f64 = 15.0;
/// The same for a fit that was cut short.
const FAR_BEHIND: f64 = 40.0;
/// Logarithm of the evidence by which a choice may be behind, with nothing wrong, to be tried with
/// every fault.
const UNLIKELY_CHOICE: f64 = 8.0;
/// Likely causes that are tried with every choice where the design as it is explains nothing.
const WITH_EVERY_CHOICE: usize = 4;

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
    let explained = best_of(&hypotheses, settings)
        .and_then(|best| hypotheses.get(best))
        .is_some_and(explains);
    let weights: Vec<f64> = hypotheses.iter().map(|h| h.log_weight(settings)).collect();
    let most = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    observe(0.1);
    // A choice far behind with nothing wrong is not tried with every fault; where the design as it is
    // explains nothing, that says nothing, and every fault begins with the likeliest choice.
    let worth = |index: usize| {
        if explained {
            weights
                .get(index)
                .is_none_or(|w| *w > most - UNLIKELY_CHOICE)
        } else {
            index == 0
        }
    };
    let pairs = |causes: &[Cause], chosen: &dyn Fn(usize) -> bool| -> Vec<(Cause, usize)> {
        let each = |cause: &Cause| {
            let places = (0..choices.len()).filter(|index| chosen(*index));
            places.map(|index| (*cause, index)).collect::<Vec<_>>()
        };
        causes.iter().flat_map(each).collect()
    };
    let faults: Vec<Cause> = (settings.causes.iter().copied())
        .filter(|cause| *cause != Cause::NothingWrong)
        .collect();
    let done = AtomicUsize::new(0);
    let total = (faults.len() * choices.len()).max(1) as f64;
    let fitted = |pairs: &[(Cause, usize)], known: &[Hypothesis<'m, 'a>]| {
        pairs
            .par_iter()
            .map(|(cause, index)| {
                let Some((base, weight)) = choices.get(*index) else {
                    return Ok(None);
                };
                let hypothesis = Problem::new(model, *cause, base, 1.0)?.map(|problem| {
                    // The design as it is with this choice, and the same fault with another.
                    let lenders = known.iter().filter(|h| {
                        h.problem.cause == *cause
                            || h.problem.cause == Cause::NothingWrong && h.problem.base == *base
                    });
                    let designs = first_designs(&problem, lenders);
                    let starts = ranked_starts(&problem, &designs);
                    Hypothesis::new(problem, *weight, starts)
                });
                let count = done.fetch_add(1, Ordering::Relaxed) + 1;
                observe(0.1 + 0.5 * count as f64 / total);
                Ok(hypothesis)
            })
            .collect::<Result<Vec<_>, StudyError>>()
    };
    let first = fitted(&pairs(&faults, &worth), &hypotheses)?;
    hypotheses.extend(first.into_iter().flatten());
    if !explained && choices.len() > 1 {
        let mut likely: Vec<(Cause, f64)> = hypotheses
            .iter()
            .map(|h| (h.problem.cause, h.log_weight(settings)))
            .filter(|(cause, _)| *cause != Cause::NothingWrong)
            .collect();
        likely.sort_by(|a, b| b.1.total_cmp(&a.1));
        let few: Vec<Cause> = (likely.iter().map(|(cause, _)| *cause))
            .take(WITH_EVERY_CHOICE)
            .collect();
        let further = fitted(&pairs(&few, &|index| index > 0), &hypotheses)?;
        hypotheses.extend(further.into_iter().flatten());
    }
    if !settings.causes.contains(&Cause::NothingWrong) {
        hypotheses.retain(|h| h.problem.cause != Cause::NothingWrong);
    }
    Ok(hypotheses)
}

/// Whether the residuals of a fit are about as large as the noise.
fn explains(hypothesis: &Hypothesis<'_, '_>) -> bool {
    hypothesis.fit.as_ref().is_some_and(|fit| {
        let goodness = Goodness::of(&hypothesis.problem, fit);
        goodness.chi_square < UNEXPLAINED * goodness.degrees
    })
}

/// Designs from which the fit of a fault begins: the stated one and those of fits that are known.
fn first_designs<'h, 'm: 'h, 'a: 'm>(
    problem: &Problem<'_, '_>,
    known: impl Iterator<Item = &'h Hypothesis<'m, 'a>>,
) -> Vec<Vec<f64>> {
    let mut designs = vec![problem.expected()];
    for hypothesis in known {
        if let Some(fit) = &hypothesis.fit {
            designs.push(problem.transfer(&hypothesis.problem, &fit.z));
        }
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
    look_again(hypotheses, settings);
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
    } else {
        // The best values hardly move with the noise.
        for hypothesis in hypotheses.iter_mut() {
            let share = (hypothesis.problem.inflation / inflation).powi(2);
            hypothesis.problem = hypothesis.problem.with_inflation(inflation);
            hypothesis.fit = hypothesis.fit.take().map(|fit| fit.with_noise(share));
        }
    }
    Ok(inflation)
}

/// As long as the best explanation does not explain the traces, the search may have ended too early:
/// further starts of the best few.
fn search_on(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    for _ in 0..FOLLOWED {
        let best = best_of(hypotheses, settings).and_then(|best| hypotheses.get(best));
        if best.is_none_or(explains) {
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

/// A second start of all that are in the running: a fit from the design as it is fitted without a fault may
/// end elsewhere than one from the design as it is expected.
fn look_again(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let weights = hypotheses.iter().map(|h| h.log_weight(settings));
    let most = weights.fold(f64::NEG_INFINITY, f64::max);
    hypotheses
        .par_iter_mut()
        .filter(|h| h.problem.cause != Cause::NothingWrong)
        .filter(|h| h.log_weight(settings) > most - IN_THE_RUNNING)
        .for_each(|hypothesis| {
            hypothesis.follow(FIRST);
            hypothesis.go_on();
        });
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
            .par_iter()
            .map(|h| {
                let near = rough(h) > most - FAR_BEHIND;
                near.then(|| h.borrowed(lender, &lender_fit.z)).flatten()
            })
            .collect(),
        _ => vec![None; hypotheses.len()],
    };
    hypotheses
        .par_iter_mut()
        .zip(lent)
        .for_each(|(hypothesis, lent)| {
            let cut_short = hypothesis.fit.as_ref().is_some_and(|fit| !fit.converged);
            let margin = if cut_short { FAR_BEHIND } else { HOPELESS };
            let close = lent.is_some() || rough(hypothesis) > most - margin;
            let Some(old) = hypothesis.fit.take() else {
                return;
            };
            let share = share(hypothesis);
            hypothesis.problem = hypothesis.problem.with_inflation(inflation);
            let again = close.then(|| {
                let start = lent.as_ref().unwrap_or(&old.z);
                let found = fit(&hypothesis.problem, start, LAST)?;
                Some(if found.converged {
                    found
                } else {
                    found.freshened(&hypothesis.problem)
                })
            });
            hypothesis.fit = again.flatten().or_else(|| Some(old.with_noise(share)));
        });
}
