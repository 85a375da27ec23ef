//! The search for the best fits of all causes, with every choice of the discrete values worth trying.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::study::StudyError;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::fit::{End, Fit};
use super::hypothesis::{CLOSER, FIRST, Hypothesis, closer_to};
use super::model::Model;
use super::problem::Problem;
use super::ranking::{
    BORROWS, best_of, explained, explains, most_likely, place_of_best, weight_of,
};
use super::refine::{closer, refine};
use super::starts::{Known, ranked_starts};

/// Logarithm of the evidence by which a choice may be behind, with nothing wrong, to be tried with
/// every fault.
const UNLIKELY_CHOICE: f64 = 8.0;
/// Likely causes that are tried with every choice, at least, as long as nothing explains the traces.
const WITH_EVERY_CHOICE: usize = 4;

/// Every cause, and those in the running with every choice of the discrete values worth trying, each fitted as
/// well as its chances deserve, with the noise as the residuals of the best show it; and the factor by which that is
/// larger than measured [1].
///
/// # Errors
/// A distribution that is not valid; where nothing can be fitted.
pub fn search<'m, 'a>(
    model: &'m Model<'a>,
    choices: &[(Vec<f64>, f64)],
    observe: &(dyn Fn(f64) + Sync),
) -> Result<(Vec<Hypothesis<'m, 'a>>, f64), StudyError> {
    let settings = model.settings;
    observe(0.0);
    // The design as it is, first: its fit is where the others may start.
    let (healthy, stated) = as_it_is(model, choices)?;
    let best = place_of_best(&healthy, settings);
    let explained = explained(&healthy, settings);
    observe(0.1);
    // Where the design as it is explains nothing, its fits say nothing about the choices either.
    let leading = best.filter(|_| explained).unwrap_or(0);
    let weights: Vec<f64> = healthy.iter().map(|h| h.log_weight(settings)).collect();
    let leads = weights.get(leading).copied().unwrap_or(0.0);
    let worth = |(index, _): &(usize, &(Vec<f64>, f64))| {
        let weight = weights.get(*index).copied().unwrap_or(f64::NEG_INFINITY);
        *index != leading && (!explained || weight > leads - UNLIKELY_CHOICE)
    };
    let further: Vec<&(Vec<f64>, f64)> = (choices.iter().enumerate())
        .filter(worth)
        .map(|(_, choice)| choice)
        .collect();
    let mut hypotheses = Vec::new();
    if let (Some(choice), Some(lender)) = (choices.get(leading), healthy.get(leading)) {
        // Nor do they say where a fault should begin: the design is bent out of shape.
        let design = lender.known().filter(|_| explained).or(stated);
        hypotheses = first_fits(lender, choice, design.as_ref(), explained, observe)?;
    }
    observe(0.5);
    closer(&mut hypotheses, settings);
    let others = other_choices(&hypotheses, &further, settings)?;
    hypotheses.extend(others);
    if settings.causes.contains(&Cause::NothingWrong) {
        hypotheses.splice(0..0, healthy);
    }
    observe(0.6);
    let inflation = refine(model, &mut hypotheses)?;
    observe(0.9);
    Ok((hypotheses, inflation))
}

/// A first fit of every fault with one choice of the discrete values, from a design known of the `lender`, the
/// design as it is.
fn first_fits<'m, 'a>(
    lender: &Hypothesis<'m, 'a>,
    (base, weight): &(Vec<f64>, f64),
    design: Option<&Known>,
    explained: bool,
    observe: &(dyn Fn(f64) + Sync),
) -> Result<Vec<Hypothesis<'m, 'a>>, StudyError> {
    let model = lender.problem.model;
    let faults: Vec<Cause> = (model.settings.causes.iter().copied())
        .filter(|cause| *cause != Cause::NothingWrong)
        .collect();
    let done = AtomicUsize::new(0);
    let found = faults
        .par_iter()
        .map(|cause| {
            let hypothesis = Problem::new(model, *cause, base, 1.0)?.map(|problem| {
                if explained && let Ok(mut memory) = problem.memory.lock() {
                    // What does nothing to the traces there does nothing to the same traces here.
                    memory.explored = lender.fit.as_ref().map(Fit::cost);
                }
                let own = design.map(|known| problem.transfer(&lender.problem, known));
                let starts = ranked_starts(&problem, own.as_slice());
                Hypothesis::new(problem, *weight, starts, FIRST)
            });
            let count = done.fetch_add(1, Ordering::Relaxed) + 1;
            observe(0.1 + 0.4 * count as f64 / faults.len() as f64);
            Ok(hypothesis)
        })
        .collect::<Result<Vec<_>, StudyError>>()?;
    Ok(found.into_iter().flatten().collect())
}

/// The likeliest faults with other choices of the discrete values.
fn other_choices<'m, 'a>(
    hypotheses: &[Hypothesis<'m, 'a>],
    choices: &[&(Vec<f64>, f64)],
    settings: &DiagnosisSettings,
) -> Result<Vec<Hypothesis<'m, 'a>>, StudyError> {
    let behind = most_likely(hypotheses, settings) - BORROWS;
    let explaining = best_of(hypotheses, settings).filter(|best| explains(best));
    let (least, effort) = match explaining {
        Some(best) => (behind, closer_to(best.cost())),
        None => {
            let likely = weight_of(hypotheses, settings, WITH_EVERY_CHOICE);
            (behind.min(likely), CLOSER)
        }
    };
    let found = hypotheses
        .par_iter()
        .filter(|h| h.log_weight(settings) >= least)
        .flat_map_iter(|h| choices.iter().map(move |(base, weight)| (h, base, *weight)))
        .map(|(h, base, weight)| Ok(h.with_choice(base, weight, effort)?))
        .collect::<Result<Vec<_>, StudyError>>()?;
    Ok(found.into_iter().flatten().collect())
}

/// Nothing wrong, fitted with every choice, and what is known of the stated design with the first.
fn as_it_is<'m, 'a>(
    model: &'m Model<'a>,
    choices: &[(Vec<f64>, f64)],
) -> Result<(Vec<Hypothesis<'m, 'a>>, Option<Known>), StudyError> {
    let settings = model.settings;
    let mut healthy: Vec<Hypothesis<'m, 'a>> = Vec::new();
    let mut stated = None;
    for (base, weight) in choices {
        let found = match healthy.first() {
            Some(first) => {
                let mut other = first.with_choice(base, *weight, FIRST)?;
                let least = first.log_weight(settings) - BORROWS;
                let near = |other: &&mut Hypothesis<'_, '_>| other.log_weight(settings) > least;
                if explains(first)
                    && let Some(other) = other.as_mut().filter(near)
                {
                    other.go_on(closer_to(first.cost()), End::Converged);
                }
                other
            }
            None => Problem::new(model, Cause::NothingWrong, base, 1.0)?.map(|problem| {
                let mut known = Known {
                    z: problem.expected(),
                    slopes: None,
                };
                let starts = ranked_starts(&problem, std::slice::from_ref(&known));
                known.slopes = starts.iter().find_map(|start| start.slopes.clone());
                stated = Some(known);
                Hypothesis::new(problem, *weight, starts, CLOSER)
            }),
        };
        healthy.extend(found);
    }
    Ok((healthy, stated))
}
