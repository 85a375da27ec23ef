//! All causes against the traces.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::discharge::run;
use crate::statistics::{Distribution, GaussianCopula, RankCorrelation};
use crate::study::StudyError;

use super::cause::{Cause, Places};
use super::evidence::{Goodness, normalised};
use super::fit::{Fit, fit, fit_from_several};
use super::interval::{REACH, fitted_values, profile_faults};
use super::measured::{Measured, Observable, Trigger};
use super::model::{Builder, Model, Problem, point_deviation};
use super::observe::{Run, Sensor};
use super::parameter::Role;
use super::{DesignInput, Diagnosis, DiagnosisSettings, Explanation, FittedChannel, separation};

/// Most combinations of discrete choices tried, the likeliest first.
const MOST_CHOICES: usize = 4;
/// Steps of a first fit and of a last one.
const FIRST_STEPS: u64 = 16;
const LAST_STEPS: u64 = 20;
/// Logarithm of the evidence behind the best beyond which a cause is not refined.
const HOPELESS: f64 = 8.0;
/// The same for a fit with enlarged noise, whose misfit is known less well.
const FAR_BEHIND: f64 = 60.0;
/// Surprise |z|^2 of a fit beyond which its design is bent rather than found.
const STRAINED: f64 = 10.0;
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
    let bay_only = traces.iter().all(|measured| {
        measured
            .channels
            .iter()
            .all(|channel| match channel.observable {
                Observable::Pressure { vessel, .. } => vessel == places.bay,
                Observable::Travel => false,
                Observable::Release => true,
            })
    });
    let model = Model {
        inputs,
        copula: &copula,
        build,
        traces,
        settings,
        starts: traces
            .iter()
            .map(|measured| start_of(measured, &nominal_run, &nominal))
            .collect(),
        range: traces
            .iter()
            .flat_map(|measured| &measured.channels)
            .filter(|channel| matches!(channel.observable, Observable::Pressure { .. }))
            .map(|channel| channel.range)
            .fold(1.0, f64::max),
        places,
        nominal,
        bay_only,
        count: AtomicU64::new(0),
        dead: OnceLock::new(),
    };
    let choices = choices(inputs, &central);
    observe(0.0);
    // The design as it is, first: its fit is where the others may start.
    let mut hypotheses: Vec<Hypothesis<'_, '_>> = Vec::new();
    for (base, weight) in &choices {
        if let Some(problem) = Problem::new(&model, Cause::NothingWrong, base, 1.0)? {
            let start = vec![0.0; problem.parameters.len()];
            let fit = fit_from_several(&problem, &start, true)
                .and_then(|near| sharpened(&problem, &near));
            hypotheses.push(Hypothesis {
                problem,
                weight: *weight,
                fit,
            });
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
                .filter(|(index, _)| weights.get(*index).is_none_or(|w| *w > most - HOPELESS))
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
                let as_is = hypotheses.get(*index);
                let fit = first_fit(&problem, as_is);
                Hypothesis {
                    problem,
                    weight: *weight,
                    fit,
                }
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
    // Causes that are far behind even with enlarged noise are left at that.
    let weights: Vec<f64> = hypotheses.iter().map(|h| h.log_weight(settings)).collect();
    let most = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    hypotheses
        .par_iter_mut()
        .zip(&weights)
        .filter(|(h, weight)| {
            h.problem.cause != Cause::NothingWrong && **weight > most - FAR_BEHIND
        })
        .for_each(|(hypothesis, _)| {
            let near = hypothesis.fit.as_ref();
            let sharp = near.and_then(|near| sharpened(&hypothesis.problem, near));
            if sharp.is_some() {
                hypothesis.fit = sharp;
            }
        });
    observe(0.75);
    refine(&mut hypotheses, 1.0, settings);
    observe(0.85);
    // How large and how independent the residuals of the best are says what noise to believe.
    let best = best_of(&hypotheses, settings).ok_or(StudyError::NoFit)?;
    let inflation = match hypotheses.get(best) {
        Some(Hypothesis {
            problem,
            fit: Some(fit),
            ..
        }) => Goodness::of(problem, fit).inflation(),
        _ => return Err(StudyError::NoFit),
    };
    if (inflation - 1.0).abs() > 0.03 {
        refine(&mut hypotheses, inflation, settings);
    }
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
    let mut values = fitted_values(problem, best_fit);
    profile_faults(problem, best_fit, &mut values);
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

/// A cause with one choice of the discrete values.
struct Hypothesis<'m, 'a> {
    problem: Problem<'m, 'a>,
    weight: f64,
    fit: Option<Fit>,
}

impl Hypothesis<'_, '_> {
    /// Logarithm of evidence times the chance beforehand.
    fn log_weight(&self, settings: &DiagnosisSettings) -> f64 {
        let Some(fit) = &self.fit else {
            return f64::NEG_INFINITY;
        };
        self.log_prior(settings) + fit.log_evidence()
    }

    /// Values with which the design of another explanation costs less here than the own fit.
    fn borrowed(&self, lender: &Problem<'_, '_>, z: &[f64]) -> Option<Vec<f64>> {
        let fit = self.fit.as_ref()?;
        if lender.cause == self.problem.cause {
            return None;
        }
        let mut moved = self.problem.transfer(lender, z);
        let own = self.problem.parameters.iter().zip(&fit.z).zip(&mut moved);
        for ((parameter, own), slot) in own {
            if matches!(parameter.role, Role::Fault(_)) {
                *slot = *own;
            }
        }
        (self.problem.cost(&moved) < fit.cost()).then_some(moved)
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

fn best_of(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> Option<usize> {
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

/// First fit of a fault: from the design's own start or, where that costs less and strains it
/// little, from the fit of the design as it is. A design bent to do without the fault is no start.
fn first_fit(problem: &Problem<'_, '_>, as_is: Option<&Hypothesis<'_, '_>>) -> Option<Fit> {
    let mut around = vec![0.0; problem.parameters.len()];
    if let Some(Hypothesis {
        problem: other,
        fit: Some(fit),
        ..
    }) = as_is
        && fit.surprise < STRAINED
    {
        let moved = problem.transfer(other, &fit.z);
        if problem.cost(&moved) < problem.cost(&around) {
            around = moved;
        }
    }
    fit_from_several(problem, &around, false)
}

/// The fit with the true noise from where one with enlarged noise ended.
fn sharpened(problem: &Problem<'_, '_>, near: &Fit) -> Option<Fit> {
    fit(problem, &near.z, Some(near.jacobian.clone()), FIRST_STEPS)
}

/// Fits the causes that are still in the running again, with the noise as it turned out, fresh
/// Jacobians and for the best a second start.
fn refine(hypotheses: &mut [Hypothesis<'_, '_>], inflation: f64, settings: &DiagnosisSettings) {
    let share = 1.0 / (inflation * inflation);
    // With more noise, differences of the misfit shrink: judge by the enlarged noise.
    let rough = |h: &Hypothesis<'_, '_>| {
        h.fit.as_ref().map_or(f64::NEG_INFINITY, |fit| {
            h.log_prior(settings) + fit.log_evidence() + 0.5 * (1.0 - share) * fit.misfit
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
            if inflation != 1.0 {
                hypothesis.problem = hypothesis.problem.with_inflation(inflation);
            }
            hypothesis.fit = if close {
                let start = lent.as_ref().unwrap_or(&old.z);
                let mut jacobian = old.jacobian.clone();
                jacobian.scale(1.0 / inflation);
                let again = fit(&hypothesis.problem, start, Some(jacobian), LAST_STEPS);
                again.map(|mut again| {
                    // The evidence needs the Jacobian at the best itself.
                    if let Ok(jacobian) = hypothesis.problem.sensitivities(&again.z) {
                        again.jacobian = jacobian;
                    }
                    again
                })
            } else {
                let mut scaled = old;
                scaled.misfit *= share;
                Some(scaled)
            };
        });
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
        let Some((best, _)) = best else { continue };
        let Some(fit) = &best.fit else { continue };
        let values = fitted_values(&best.problem, fit);
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
            let deviation: Vec<f64> = channel
                .deviations
                .iter()
                .map(|d| problem.inflation * point_deviation(channel, *d))
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
