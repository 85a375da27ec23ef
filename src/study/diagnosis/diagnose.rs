//! All causes against the traces.

use rayon::prelude::*;

use crate::statistics::{Distribution, RankCorrelation};
use crate::study::StudyError;

use super::cause::Cause;
use super::curves::{channels, events};
use super::evidence::{Goodness, normalised};
use super::hypothesis::Hypothesis;
use super::interval::fitted_values;
use super::measured::Measured;
use super::model::{Builder, Model};
use super::parameter::Role;
use super::posterior::Posterior;
use super::problem::Problem;
use super::ranking::place_of_best;
use super::search::search;
use super::{DesignInput, Diagnosis, DiagnosisSettings, Explanation, FittedValue, separation};

/// Most combinations of discrete choices tried, the likeliest first.
const MOST_CHOICES: usize = 4;
/// Most by which one of two causes that do the same is likelier than the other, and how much worse that may explain
/// the traces (sum of squared residuals).
const TWINS: f64 = 4.0;
const ALIKE: f64 = 4.0;
/// Probability from which on intervals are drawn.
const WORTH_DRAWS: f64 = 0.01;

/// Weighs every cause against the traces.
///
/// `build` turns one value for each of `inputs` into a system; `observe` is told what is being done
/// and the share done so far.
///
/// # Errors
/// A [`StudyError`] when the design as it is cannot be computed, or no cause can be fitted.
pub fn diagnose(
    inputs: &[DesignInput],
    correlations: &[RankCorrelation],
    build: &Builder<'_>,
    traces: &[Measured],
    settings: &DiagnosisSettings,
    observe: &(dyn Fn(f64) + Sync),
) -> Result<Diagnosis, StudyError> {
    let model = Model::new(inputs, correlations, build, traces, settings)?;
    let choices = choices(inputs, &model.central);
    let (hypotheses, inflation) = search(&model, &choices, observe)?;
    let best = place_of_best(&hypotheses, settings).ok_or(StudyError::NoFit)?;
    let (problem, best_fit) = match hypotheses.get(best) {
        Some(Hypothesis {
            problem,
            fit: Some(fit),
            ..
        }) => (problem, fit),
        _ => return Err(StudyError::NoFit),
    };
    let goodness = Goodness::of(&problem.with_inflation(1.0), best_fit);
    let none = goodness.none(settings.none_of_these);
    let (explanations, values) = explanations(&hypotheses, settings, none, best);
    let candidates = open_question(&hypotheses, &explanations, settings);
    let look_alikes = separation::look_alikes(problem, best_fit);
    let (sensors, mut physical): (Vec<_>, Vec<_>) = values
        .into_iter()
        .zip(&problem.parameters)
        .filter(|(_, parameter)| !matches!(parameter.role, Role::Fault(_)))
        .partition(|(_, p)| matches!(p.role, Role::Start { .. } | Role::Sensor { .. }));
    physical.sort_by(|a, b| b.0.resolved.total_cmp(&a.0.resolved));
    let (fitted_system, _) = problem
        .system(&best_fit.z, 0)
        .map_err(|error| StudyError::Build(Box::new(error)))?;
    let events = events(problem, best_fit, settings);
    observe(1.0);
    Ok(Diagnosis {
        none,
        goodness,
        inflation,
        values: physical.into_iter().map(|(value, _)| value).collect(),
        sensors: sensors.into_iter().map(|(value, _)| value).collect(),
        look_alikes,
        candidates,
        channels: channels(problem, best_fit),
        events,
        input_values: problem.input_values(&best_fit.z, 0),
        fault_values: problem.fault_values(&best_fit.z),
        fitted_system,
        evaluations: model.evaluations(),
        explanations,
    })
}

/// Causes with their probabilities, the likeliest first: discrete choices summed over; and all values of the `best` one.
fn explanations(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
    none: f64,
    best: usize,
) -> (Vec<Explanation>, Vec<FittedValue>) {
    let logarithms: Vec<f64> = hypotheses.iter().map(|h| h.log_weight(settings)).collect();
    let weights = normalised(&logarithms);
    let explanation = |cause: &Cause| {
        let own = || {
            let of = |k: &usize| hypotheses.get(*k).map(|h| h.problem.cause) == Some(*cause);
            let own = (0..hypotheses.len()).filter(of);
            own.filter_map(|k| Some((k, hypotheses.get(k)?, *weights.get(k)?)))
        };
        let fitted = own().filter(|(_, h, _)| h.fit.is_some());
        let (place, likeliest, weight) = fitted.max_by(|a, b| a.2.total_cmp(&b.2))?;
        let fit = likeliest.fit.as_ref()?;
        // What is out of the running needs no draws.
        let drawn = (weight > WORTH_DRAWS || place == best)
            .then(|| Posterior::of(&likeliest.problem, fit))
            .flatten();
        let values = fitted_values(&likeliest.problem, fit, drawn.as_ref());
        let explanation = Explanation {
            cause: *cause,
            probability: (1.0 - none) * own().map(|(_, _, weight)| weight).sum::<f64>(),
            log_evidence: fit.log_evidence(),
            misfit: fit.misfit,
            surprise: fit.surprise,
            faults: fault_values(&likeliest.problem, &values),
        };
        Some((place, explanation, values))
    };
    let found: Vec<_> = settings.causes.par_iter().filter_map(explanation).collect();
    let mut values = Vec::new();
    let mut explanations = Vec::new();
    for (place, explanation, own) in found {
        if place == best {
            values = own;
        }
        explanations.push(explanation);
    }
    share_among_twins(&mut explanations);
    explanations.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    (explanations, values)
}

/// Of two causes that do the same to the rocket, what is believed of their sizes alone makes neither more than
/// [`TWINS`] times as likely as the other, as long as both explain the traces alike.
fn share_among_twins(explanations: &mut [Explanation]) {
    let of = |cause: Cause, among: &[Explanation]| among.iter().position(|e| e.cause == cause);
    for first in 0..explanations.len() {
        let pair = explanations.get(first).and_then(|one| {
            let second = of(one.cause.twin()?, explanations)?;
            let other = explanations.get(second)?;
            let alike = other.misfit - one.misfit < ALIKE;
            let together = one.probability + other.probability;
            let less = together / (1.0 + TWINS);
            (alike && other.probability < less).then_some((second, together - less, less))
        });
        if let Some((second, more, less)) = pair {
            for (index, probability) in [(first, more), (second, less)] {
                if let Some(explanation) = explanations.get_mut(index) {
                    explanation.probability = probability;
                }
            }
        }
    }
}

fn fault_values(
    problem: &Problem<'_, '_>,
    values: &[super::FittedValue],
) -> Vec<super::FittedValue> {
    values
        .iter()
        .zip(&problem.parameters)
        .filter(|(_, parameter)| matches!(parameter.role, Role::Fault(_)))
        .map(|(value, _)| value.clone())
        .collect()
}

/// Measurements that would settle what is open between the two likeliest causes.
fn open_question(
    hypotheses: &[Hypothesis<'_, '_>],
    explanations: &[Explanation],
    settings: &DiagnosisSettings,
) -> Vec<separation::Candidate> {
    let (Some(first), Some(second)) = (explanations.first(), explanations.get(1)) else {
        return Vec::new();
    };
    // What does the same to the rocket differs in no channel: if the fits do, then by where the design was bent.
    if second.probability < 0.05 || first.cause.twin() == Some(second.cause) {
        return Vec::new();
    }
    let run_of = |cause: Cause| {
        let best = hypotheses
            .iter()
            .filter(|h| h.problem.cause == cause && h.fit.is_some())
            .max_by(|a, b| a.log_weight(settings).total_cmp(&b.log_weight(settings)))?;
        let fit = best.fit.as_ref()?;
        Some((&best.problem, best.problem.whole_run(&fit.z, 0).ok()?))
    };
    match (run_of(first.cause), run_of(second.cause)) {
        (Some((problem, a)), Some((_, b))) => separation::candidates(problem, &a, &b),
        _ => Vec::new(),
    }
}

/// Combinations of the discrete values with their weights: all products, the likeliest few.
fn choices(inputs: &[DesignInput], central: &[f64]) -> Vec<(Vec<f64>, f64)> {
    let mut found = vec![(central.to_vec(), 1.0)];
    for (index, input) in inputs.iter().enumerate() {
        let Distribution::Discrete { values, weights } = &input.distribution else {
            continue;
        };
        let total: f64 = weights.iter().sum();
        found = found
            .iter()
            .flat_map(|(base, weight)| {
                values.iter().zip(weights).map(move |(value, share)| {
                    let mut base = base.clone();
                    if let Some(slot) = base.get_mut(index) {
                        *slot = *value;
                    }
                    (base, weight * share / total)
                })
            })
            .filter(|(_, weight)| *weight > 0.0)
            .collect();
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found.truncate(MOST_CHOICES);
    }
    let total: f64 = found.iter().map(|(_, weight)| weight).sum();
    for (_, weight) in &mut found {
        *weight /= total;
    }
    found
}
