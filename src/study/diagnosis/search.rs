//! The search for the best fits of all causes, with every choice of the discrete values worth trying.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::study::StudyError;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::evidence::Goodness;
use super::fit::{Effort, End, Fit};
use super::hypothesis::{CLOSER, FIRST, Hypothesis, MUCH_LESS, UNEXPLAINED, best_of};
use super::model::Model;
use super::problem::Problem;
use super::starts::{Known, ranked_starts};

/// Further starts of each cause that are followed while nothing explains the traces.
const FOLLOWED: usize = 6;
/// Explanations, one after another the best, from which the other causes are looked for.
const LOOKED_FROM: usize = 7;
/// Fall of the cost by which an explanation is another one to look from.
const MUCH_BETTER: f64 = 10.0;
/// Cost above that of a second explanation from which a fit is tried again.
const MUCH_WORSE: f64 = 30.0;
/// Explanations that are worked on at a time while nothing explains the traces.
const TOGETHER: usize = 4;
/// Chance of such residuals under the right explanation below which one is looked for elsewhere.
const UNLIKELY: f64 = 1e-3;
/// Factor on the noise beyond which fronts are out of place, and how often that is tried to mend.
const OUT_OF_PLACE: f64 = 1.5;
const CONTINUED: usize = 2;
/// Difference of the noise from the measured one that changes no answer.
const KNOWN_WELL: f64 = 0.15;
/// Logarithm of the evidence behind the best beyond which a cause is not looked at with all care.
const HOPELESS: f64 = 8.0;
/// The same where its own fit promised no more.
const BEHIND: f64 = 6.0;
/// The same for a second start.
const IN_THE_RUNNING: f64 = 12.0;
/// The same for a fit that was cut short: how far down it goes is then not known.
const FAR_BEHIND: f64 = 1000.0;
/// The same for a look at the design of the best.
const BORROWS: f64 = 40.0;
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
    let best = best_of(&healthy, settings);
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
        let known = lender.known().filter(|_| explained).into_iter();
        let designs: Vec<Known> = known.chain(stated).collect();
        hypotheses = first_fits(lender, choice, &designs, explained, observe)?;
    }
    observe(0.5);
    closer(&mut hypotheses, settings);
    let others = other_choices(&hypotheses, &further, settings)?;
    hypotheses.extend(others);
    if settings.causes.contains(&Cause::NothingWrong) {
        hypotheses.splice(0..0, healthy);
    }
    observe(0.6);
    let inflation = settle_all(&mut hypotheses, settings)?;
    observe(0.9);
    Ok((hypotheses, inflation))
}

/// A first fit of every fault with one choice of the discrete values, from designs known of the `lender`, the
/// design as it is.
fn first_fits<'m, 'a>(
    lender: &Hypothesis<'m, 'a>,
    (base, weight): &(Vec<f64>, f64),
    designs: &[Known],
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
                let own = designs
                    .iter()
                    .map(|known| problem.transfer(&lender.problem, known));
                let starts = ranked_starts(&problem, &own.collect::<Vec<_>>());
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
    let least = if explained(hypotheses, settings) {
        behind
    } else {
        behind.min(weight_of(hypotheses, settings, WITH_EVERY_CHOICE))
    };
    let found = hypotheses
        .par_iter()
        .filter(|h| h.log_weight(settings) >= least)
        .flat_map_iter(|h| choices.iter().map(move |(base, weight)| (h, base, *weight)))
        .map(|(h, base, weight)| Ok(h.with_choice(base, weight, CLOSER)?))
        .collect::<Result<Vec<_>, StudyError>>()?;
    Ok(found.into_iter().flatten().collect())
}

/// Nothing wrong, fitted with every choice, and what is known of the stated design with the first.
fn as_it_is<'m, 'a>(
    model: &'m Model<'a>,
    choices: &[(Vec<f64>, f64)],
) -> Result<(Vec<Hypothesis<'m, 'a>>, Vec<Known>), StudyError> {
    let mut healthy: Vec<Hypothesis<'m, 'a>> = Vec::new();
    let mut stated = Vec::new();
    for (base, weight) in choices {
        let found = match healthy.first() {
            Some(first) => first.with_choice(base, *weight, CLOSER)?,
            None => Problem::new(model, Cause::NothingWrong, base, 1.0)?.map(|problem| {
                let mut known = Known {
                    z: problem.expected(),
                    slopes: None,
                };
                let starts = ranked_starts(&problem, std::slice::from_ref(&known));
                known.slopes = starts.iter().find_map(|start| start.slopes.clone());
                stated.push(known);
                Hypothesis::new(problem, *weight, starts, CLOSER)
            }),
        };
        healthy.extend(found);
    }
    Ok((healthy, stated))
}

/// Whether the residuals of a fit are about as large as the noise, and look like it.
fn explains(hypothesis: &Hypothesis<'_, '_>) -> bool {
    hypothesis.fit.as_ref().is_some_and(|fit| {
        let goodness = Goodness::of(&hypothesis.problem, fit);
        goodness.size() < UNEXPLAINED && goodness.p_value > UNLIKELY
    })
}

/// Searches on, fits all that are in the running with the noise as the residuals of the best show it,
/// and says by which factor it is larger than measured [1].
///
/// # Errors
/// Where nothing can be fitted.
fn settle_all(
    hypotheses: &mut Vec<Hypothesis<'_, '_>>,
    settings: &DiagnosisSettings,
) -> Result<f64, StudyError> {
    let mut looked_from = Vec::new();
    for _ in 0..LOOKED_FROM {
        let Some(lender) = next_lender(hypotheses, &looked_from, settings) else {
            break;
        };
        let others = with_its_choice(hypotheses, &lender, settings)?;
        hypotheses.extend(others);
        scan_again(hypotheses, &lender, settings);
        let still = |hypotheses: &[Hypothesis<'_, '_>]| {
            let best = best_of(hypotheses, settings).and_then(|best| hypotheses.get(best));
            let cost = best.and_then(|best| best.fit.as_ref()).map(Fit::cost);
            !explained(hypotheses, settings) && cost > Some(MUCH_LESS * lender.cost)
        };
        // The cheapest way first; from what is much better than before the cheapest way again.
        if still(hypotheses) {
            shake(hypotheses, settings);
        }
        if still(hypotheses) {
            loosen(hypotheses, settings);
        }
        if still(hypotheses) {
            search_on(hypotheses, settings);
        }
        if explained(hypotheses, settings) {
            loosen(hypotheses, settings);
        }
        looked_from.push(lender);
    }
    look_again(hypotheses, settings);
    borrow(hypotheses, settings);
    careful(hypotheses, 1.0, settings);
    // Noise much larger than measured: fronts out of place, which find each other with that noise.
    let mut inflation = inflation_of(hypotheses, settings)?;
    for _ in 0..CONTINUED {
        if inflation < OUT_OF_PLACE {
            break;
        }
        careful(hypotheses, inflation, settings);
        careful(hypotheses, 1.0, settings);
        inflation = inflation_of(hypotheses, settings)?;
    }
    if (inflation - 1.0).abs() > KNOWN_WELL {
        careful(hypotheses, inflation, settings);
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

/// Whether the best explanation explains the traces.
fn explained(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> bool {
    let best = best_of(hypotheses, settings).and_then(|best| hypotheses.get(best));
    best.is_some_and(explains)
}

fn most_likely(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> f64 {
    let weights = hypotheses.iter().map(|h| h.log_weight(settings));
    weights.fold(f64::NEG_INFINITY, f64::max)
}

/// First fits that were cut short go on with sensitivities of their own, unless they are far behind one that explains
/// the traces, or so close to the best that they will be looked at with all care.
fn closer(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let most = most_likely(hypotheses, settings);
    let explained = explained(hypotheses, settings);
    in_turns(hypotheses, settings, |hypothesis| {
        let behind = most - hypothesis.log_weight(settings);
        if behind != 0.0 && (behind <= HOPELESS || explained && behind > FAR_BEHIND) {
            return;
        }
        let cost = hypothesis.fit.as_ref().map_or(f64::INFINITY, Fit::cost);
        let effort = Effort {
            wanted: cost - 2.0 * (behind - HOPELESS),
            ..CLOSER
        };
        hypothesis.go_on(effort, End::NothingPromised);
    });
}

/// Acts on the likeliest, and as long as nothing explains the traces on the ones after them; where something does
/// from the beginning, on all.
fn in_turns<'m, 'a>(
    hypotheses: &mut [Hypothesis<'m, 'a>],
    settings: &DiagnosisSettings,
    act: impl Fn(&mut Hypothesis<'m, 'a>) + Sync,
) {
    let explained = explained(hypotheses, settings);
    let weighed = hypotheses.iter_mut();
    let mut queue: Vec<_> = weighed.map(|h| (h.log_weight(settings), h)).collect();
    queue.sort_by(|a, b| b.0.total_cmp(&a.0));
    let together = if explained { queue.len() } else { TOGETHER };
    for group in queue.chunks_mut(together.max(1)) {
        group
            .par_iter_mut()
            .for_each(|(_, hypothesis)| act(hypothesis));
        if !explained && group.iter().any(|(_, hypothesis)| explains(hypothesis)) {
            return;
        }
    }
}

/// Logarithm of the evidence of the last of so many likeliest causes, times its chance beforehand, each with the
/// discrete values that serve it best.
fn weight_of(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings, place: usize) -> f64 {
    let of = |cause: &Cause| {
        let own = hypotheses.iter().filter(|h| h.problem.cause == *cause);
        own.map(|h| h.log_weight(settings)).max_by(f64::total_cmp)
    };
    let mut weights: Vec<f64> = Cause::ALL.iter().filter_map(of).collect();
    weights.sort_by(|a, b| b.total_cmp(a));
    let found = weights.get(place - 1).or(weights.last());
    found.copied().unwrap_or(f64::NEG_INFINITY)
}

/// As long as the best explanation does not explain the traces, the search may have ended too early:
/// further starts of the best few.
fn search_on(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    for _ in 0..FOLLOWED {
        if explained(hypotheses, settings) {
            return;
        }
        in_turns(hypotheses, settings, |hypothesis| {
            hypothesis.go_on(CLOSER, End::NothingPromised);
            hypothesis.follow(CLOSER);
        });
    }
}

/// An explanation from which others may be looked for.
struct Lender<'m, 'a> {
    problem: Problem<'m, 'a>,
    known: Known,
    weight: f64,
    cost: f64,
    /// Whether it is the best one.
    best: bool,
}

impl<'m, 'a> Lender<'m, 'a> {
    fn of(hypothesis: &Hypothesis<'m, 'a>, best: bool) -> Option<Self> {
        let problem = &hypothesis.problem;
        Some(Lender {
            problem: problem.with_inflation(problem.inflation),
            known: hypothesis.known()?,
            weight: hypothesis.weight,
            cost: hypothesis.fit.as_ref()?.cost(),
            best,
        })
    }

    /// Whether the other is the same explanation, and not much worse.
    fn like(&self, other: &Self) -> bool {
        self.problem.cause == other.problem.cause
            && self.problem.base == other.problem.base
            && other.cost < self.cost + MUCH_BETTER
    }
}

/// The best explanation that has not been looked from yet, or is much better than it was: the best one of all or,
/// where that explains the traces, another in the running that does.
fn next_lender<'m, 'a>(
    hypotheses: &[Hypothesis<'m, 'a>],
    looked_from: &[Lender<'m, 'a>],
    settings: &DiagnosisSettings,
) -> Option<Lender<'m, 'a>> {
    let explained = explained(hypotheses, settings);
    let mut ranked: Vec<&Hypothesis<'m, 'a>> = hypotheses.iter().collect();
    let weight = |h: &Hypothesis<'_, '_>| h.log_weight(settings);
    ranked.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    let least = most_likely(hypotheses, settings) - IN_THE_RUNNING;
    let another = |h: &Hypothesis<'_, '_>| explained && weight(h) > least && explains(h);
    (ranked.into_iter().enumerate())
        .filter(|(place, h)| *place == 0 || another(h))
        .filter_map(|(place, h)| Lender::of(h, place == 0))
        .find(|lender| !looked_from.iter().any(|old| lender.like(old)))
}

/// Where the traces are not those of the design as it is, faults are looked for again along what they free: as long as
/// nothing explains the traces, all from where they are fitted by now and from where the best one is; else
/// from there, as a fit may have ended far from what explains the traces as well. From the second best only what fits
/// much worse.
fn scan_again(
    hypotheses: &mut [Hypothesis<'_, '_>],
    lender: &Lender<'_, '_>,
    settings: &DiagnosisSettings,
) {
    let explained = explained(hypotheses, settings);
    let wanted = if explained {
        lender.cost
    } else {
        f64::INFINITY
    };
    let worse = |h: &Hypothesis<'_, '_>| {
        let cost = h.fit.as_ref().map_or(f64::INFINITY, Fit::cost);
        cost > lender.cost + MUCH_WORSE
    };
    let all = lender.best && lender.problem.cause != Cause::NothingWrong;
    in_turns(hypotheses, settings, |hypothesis| {
        let alike = hypothesis.problem.base == lender.problem.base;
        if hypothesis.problem.cause == Cause::NothingWrong
            || explained && !(alike && (all || worse(hypothesis)))
        {
            return;
        }
        let own = !explained || hypothesis.out_of_time();
        hypothesis.scan_again(own, wanted, &lender.problem, &lender.known);
    });
}

/// Fits that do not explain the traces are tried with more noise; where another does, only the design as it is, which
/// may lie behind every fault.
fn loosen(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let explained = explained(hypotheses, settings);
    in_turns(hypotheses, settings, |hypothesis| {
        if !explained || hypothesis.problem.cause == Cause::NothingWrong {
            hypothesis.loosen();
        }
    });
}

/// The likeliest few begin again from designs drawn around them.
fn shake(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let least = weight_of(hypotheses, settings, TOGETHER);
    hypotheses
        .par_iter_mut()
        .filter(|h| h.log_weight(settings) >= least)
        .for_each(Hypothesis::shake);
}

/// The faults that have not been tried with the discrete values of an explanation, looked for from its
/// design.
fn with_its_choice<'m, 'a>(
    hypotheses: &[Hypothesis<'m, 'a>],
    lender: &Lender<'m, 'a>,
    settings: &DiagnosisSettings,
) -> Result<Vec<Hypothesis<'m, 'a>>, StudyError> {
    let from = &lender.problem;
    let tried = |cause: Cause| {
        let mut alike = hypotheses.iter().filter(|h| h.problem.cause == cause);
        alike.any(|h| h.problem.base == from.base)
    };
    let found = settings
        .causes
        .par_iter()
        .filter(|cause| **cause != Cause::NothingWrong && !tried(**cause))
        .map(|cause| {
            let problem = Problem::new(from.model, *cause, &from.base, from.inflation)?;
            Ok(problem.map(|problem| {
                let known = problem.transfer(from, &lender.known);
                let starts = ranked_starts(&problem, &[known]);
                Hypothesis::new(problem, lender.weight, starts, CLOSER)
            }))
        })
        .collect::<Result<Vec<_>, StudyError>>()?;
    Ok(found.into_iter().flatten().collect())
}

/// A second start of all that are in the running: a fit from the design as it is fitted without a fault may
/// end elsewhere than one from the design as it is expected.
fn look_again(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let most = most_likely(hypotheses, settings);
    hypotheses
        .par_iter_mut()
        .filter(|h| h.problem.cause != Cause::NothingWrong)
        .filter(|h| h.log_weight(settings) > most - IN_THE_RUNNING)
        .for_each(|hypothesis| hypothesis.follow(FIRST));
    closer(hypotheses, settings);
}

/// What the best explanation found of the design may serve the others better than their own.
fn borrow(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let most = most_likely(hypotheses, settings);
    let best = best_of(hypotheses, settings).and_then(|best| hypotheses.get(best));
    let Some(lender) = best.and_then(|best| Lender::of(best, true)) else {
        return;
    };
    hypotheses
        .par_iter_mut()
        .filter(|h| h.log_weight(settings) > most - BORROWS)
        .for_each(|hypothesis| hypothesis.borrow_from(&lender.problem, &lender.known));
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

/// Fits the causes that are still in the running to their end, with the noise as it turned out and
/// sensitivities made with care, as the evidence needs them; the others only take the noise over.
fn careful(hypotheses: &mut [Hypothesis<'_, '_>], inflation: f64, settings: &DiagnosisSettings) {
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
    hypotheses.par_iter_mut().for_each(|hypothesis| {
        let short = (hypothesis.fit.as_ref()).is_none_or(|fit| fit.end == End::CutShort);
        let margin = if short { HOPELESS } else { BEHIND };
        let close = rough(hypothesis) > most - margin;
        let share = share(hypothesis);
        let Some(old) = hypothesis.fit.take() else {
            return;
        };
        if share != 1.0 {
            hypothesis.problem = hypothesis.problem.with_inflation(inflation);
        }
        hypothesis.fit = Some(old.with_noise(share));
        if close {
            hypothesis.finish();
        }
    });
}
