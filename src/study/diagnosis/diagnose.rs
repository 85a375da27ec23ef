//! All causes against the traces.

use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::discharge::run;
use crate::statistics::{Distribution, GaussianCopula, RankCorrelation};
use crate::study::StudyError;

use super::cause::{Cause, Places};
use super::evidence::{Goodness, normalised};
use super::fit::{Fit, ranked_starts};
use super::hypothesis::{Hypothesis, best_of, first_designs, settle_all};
use super::interval::{REACH, fitted_values};
use super::measured::{Channel, Measured, Observable, Trigger};
use super::model::{Builder, Model, Problem};
use super::observe::{Run, Sensor};
use super::parameter::Role;
use super::posterior::Posterior;
use super::residuals::{deviations, nose_off};
use super::{DesignInput, Diagnosis, DiagnosisSettings, Explanation, FittedChannel, separation};

/// Most combinations of discrete choices tried, the likeliest first.
const MOST_CHOICES: usize = 4;
/// Logarithm of the evidence by which a choice may be behind, with nothing wrong, to be tried with
/// every fault.
const UNLIKELY_CHOICE: f64 = 8.0;
/// Probability from which on intervals are drawn.
const WORTH_DRAWS: f64 = 0.01;
/// Doubt about the clock of a trace whose command is not known, as a share of the record.
const UNKNOWN_START: f64 = 0.1;

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
    let central: Vec<f64> = inputs.iter().map(|i| i.distribution.central()).collect();
    let (nominal, _) = build(&central).map_err(StudyError::Build)?;
    let names: Vec<&str> = inputs.iter().map(|input| input.path.as_str()).collect();
    let copula = GaussianCopula::new(&names, correlations)?;
    let nominal_run = run(&nominal, &settings.run).map_err(|e| StudyError::Shot(Box::new(e)))?;
    let nominal_run = Run::new(&nominal, nominal_run);
    let places = Places::of(&nominal);
    // Where it is seen when the nose is off, the rest of other records is left alone.
    let engagement = nominal.nose.as_ref().map(|(nose, _)| nose.engagement);
    let off: Vec<Option<f64>> = traces
        .iter()
        .map(|measured| nose_off(measured, places.bay, engagement?))
        .collect();
    let until_off = traces.iter().zip(&off).all(|(measured, off)| {
        off.is_some()
            || measured
                .channels
                .iter()
                .all(|channel| match channel.observable {
                    Observable::Pressure { vessel, .. } => vessel == places.bay,
                    Observable::Travel => false,
                    Observable::Release => true,
                })
    });
    let starts: Vec<(f64, f64)> = traces
        .iter()
        .map(|measured| start_of(measured, &nominal_run, &nominal))
        .collect();
    let command = crate::study::criterion::first_command(&nominal);
    let model = Model {
        inputs,
        copula: &copula,
        build,
        traces,
        settings,
        deviations: traces
            .iter()
            .zip(&starts)
            .zip(&off)
            .map(|((measured, (start, _)), off)| {
                let end_of = |channel: &Channel| match channel.observable {
                    Observable::Pressure { vessel, .. } if vessel == places.bay => None,
                    Observable::Release => None,
                    _ => *off,
                };
                let channels = measured.channels.iter();
                channels
                    .map(|channel| {
                        let until = end_of(channel).unwrap_or(f64::INFINITY);
                        deviations(channel, start + command, until)
                    })
                    .collect()
            })
            .collect(),
        starts,
        range: traces
            .iter()
            .flat_map(|measured| &measured.channels)
            .filter(|channel| matches!(channel.observable, Observable::Pressure { .. }))
            .map(|channel| channel.range)
            .fold(1.0, f64::max),
        places,
        nominal,
        until_off,
        count: AtomicU64::new(0),
    };
    let choices = choices(inputs, &central);
    observe(0.0);
    // The design as it is, first: its fit is where the others may start.
    let mut hypotheses: Vec<Hypothesis<'_, '_>> = Vec::new();
    for (base, weight) in &choices {
        if let Some(problem) = Problem::new(&model, Cause::NothingWrong, base, 1.0)? {
            let start = vec![0.0; problem.parameters.len()];
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
    let fitted: Vec<Option<Hypothesis<'_, '_>>> = others
        .par_iter()
        .map(|(cause, base, weight, index)| {
            let problem = Problem::new(&model, *cause, base, 1.0)?;
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
    observe(0.6);
    let inflation = settle_all(&mut hypotheses, settings)?;
    observe(0.9);
    let best = best_of(&hypotheses, settings).ok_or(StudyError::NoFit)?;
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
    let explanations = explanations(&hypotheses, settings, none);
    let values = fitted_values(problem, best_fit, Posterior::of(problem, best_fit).as_ref());
    let mut explanations = explanations;
    if let Some(first) = explanations.first_mut() {
        first.faults = fault_values(problem, &values);
    }
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
        channels: channels(problem, best_fit, &nominal_run),
        events,
        input_values: problem.input_values(&best_fit.z, 0),
        fault_values: problem.fault_values(&best_fit.z),
        fitted_system,
        evaluations: model.evaluations(),
        explanations,
    })
}

/// Causes with their probabilities, the likeliest first: discrete choices summed over.
fn explanations(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
    none: f64,
) -> Vec<Explanation> {
    let logarithms: Vec<f64> = hypotheses.iter().map(|h| h.log_weight(settings)).collect();
    let weights = normalised(&logarithms);
    let mut found: Vec<Explanation> = Vec::new();
    for cause in &settings.causes {
        let own = || {
            hypotheses
                .iter()
                .zip(&weights)
                .filter(|(h, _)| h.problem.cause == *cause)
        };
        let best = own()
            .filter(|(h, _)| h.fit.is_some())
            .max_by(|a, b| a.1.total_cmp(b.1));
        let Some((best, weight)) = best else {
            continue;
        };
        let Some(fit) = &best.fit else { continue };
        // What is out of the running needs no draws.
        let drawn = (*weight > WORTH_DRAWS)
            .then(|| Posterior::of(&best.problem, fit))
            .flatten();
        let values = fitted_values(&best.problem, fit, drawn.as_ref());
        found.push(Explanation {
            cause: *cause,
            probability: (1.0 - none) * own().map(|(_, weight)| weight).sum::<f64>(),
            log_evidence: fit.log_evidence(),
            misfit: fit.misfit,
            faults: fault_values(&best.problem, &values),
        });
    }
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    found
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
    if second.probability < 0.05 {
        return Vec::new();
    }
    let run_of = |cause: Cause| {
        let best = hypotheses
            .iter()
            .filter(|h| h.problem.cause == cause && h.fit.is_some())
            .max_by(|a, b| a.log_weight(settings).total_cmp(&b.log_weight(settings)))?;
        let fit = best.fit.as_ref()?;
        Some((&best.problem, best.problem.run(&fit.z, 0).ok()?))
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

/// Clock of a trace at the start of the model, and the doubt about it [s].
fn start_of(
    measured: &Measured,
    nominal: &Run,
    system: &crate::network::spec::System,
) -> (f64, f64) {
    let command = crate::study::criterion::first_command(system);
    match measured.trigger {
        Trigger::Known { time, deviation } => (time - command, deviation),
        Trigger::Unknown => {
            let onset = measured.onset().unwrap_or(0.0);
            let expected = measured
                .channels
                .iter()
                .find(|channel| channel.onset.is_some())
                .and_then(|channel| nominal.rise_time(channel.observable, 0.05))
                .unwrap_or(command);
            let record = measured.last_time() - onset;
            (onset - expected, (UNKNOWN_START * record).max(1e-3))
        }
    }
}

/// Fitted curves with bands, and the curves of the design as it is.
fn channels(problem: &Problem<'_, '_>, fit: &Fit, nominal: &Run) -> Vec<FittedChannel> {
    let covariance = fit.covariance();
    let mut found = Vec::new();
    let mut row = 0;
    for (trace, measured) in problem.model.traces.iter().enumerate() {
        let Ok(run) = problem.run(&fit.z, trace) else {
            continue;
        };
        for (index, channel) in measured.channels.iter().enumerate() {
            let sensor = problem.sensor(&fit.z, trace, index);
            let deviation: Vec<f64> = problem
                .model
                .deviations(trace, index)
                .iter()
                .map(|deviation| problem.inflation * deviation.total)
                .collect();
            let band = deviation
                .iter()
                .enumerate()
                .map(|(point, deviation)| {
                    let slopes = fit.jacobian.row(row + point);
                    let spread = crate::numerics::matrix::dot(slopes, &covariance.times(slopes));
                    REACH * deviation * spread.max(0.0).sqrt()
                })
                .collect();
            row += channel.values.len();
            let start = problem.model.starts.get(trace).map_or(0.0, |start| start.0);
            found.push(FittedChannel {
                trace,
                channel: index,
                fitted: run.readings(channel, &sensor),
                band,
                nominal: nominal.readings(channel, &Sensor::perfect(start)),
                deviation,
            });
        }
    }
    found
}

/// Events of the fitted runs on the clocks of their traces.
fn events(
    problem: &Problem<'_, '_>,
    fit: &Fit,
    settings: &DiagnosisSettings,
) -> Vec<Vec<(f64, String)>> {
    (0..problem.model.traces.len())
        .map(|trace| {
            let start = problem.sensor(&fit.z, trace, 0).start;
            let last = problem
                .model
                .traces
                .get(trace)
                .map_or(0.0, Measured::last_time);
            let Ok((system, _)) = problem.system(&fit.z, trace) else {
                return Vec::new();
            };
            run(&system, &settings.run).map_or_else(
                |_| Vec::new(),
                |discharge| {
                    discharge
                        .events
                        .iter()
                        .map(|event| (start + event.time, event.kind.to_string()))
                        .filter(|(time, _)| *time <= last)
                        .collect()
                },
            )
        })
        .collect()
}
