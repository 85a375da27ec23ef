//! From first fits to the best ones: the search goes on while nothing explains the traces, and what is in the running
//! is fitted with all care.

use std::sync::atomic::Ordering;

use rayon::prelude::*;

use crate::study::StudyError;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::fit::{Effort, End};
use super::hypothesis::{CLOSER, FIRST, Hypothesis, MUCH_LESS, OF_A_LOOK};
use super::lender::{Lender, borrow, from_as_it_is, next_lender, scan_again, with_its_choice};
use super::model::Model;
use super::ranking::{
    AT_ONCE, BORROWS, IN_THE_RUNNING, TOGETHER, best_of, easily_explained, explained, explains,
    in_turns, most_likely, place_of_best, weight_of,
};

/// Factor on the cost of an explanation within which another cause may only have ended in a wrong valley.
const NOT_MUCH_MORE: f64 = 5.0;
/// Further starts of each cause that are followed while nothing explains the traces.
const FOLLOWED: usize = 6;
/// Explanations, one after another the best, from which the other causes are looked for.
const LOOKED_FROM: usize = 7;
/// Discharges for each trace after which nothing further is looked for.
const MOST_DISCHARGES: u64 = 12_000;
/// Multiple of the logarithm of the best one's evidence by which what is behind does not come near it in a few steps.
const OUTDONE: f64 = 30.0;
/// Factor on the noise beyond which fronts are out of place, and how often that is tried to mend.
const OUT_OF_PLACE: f64 = 1.5;
const CONTINUED: usize = 2;
/// Difference of the noise from the measured one that changes no answer.
const KNOWN_WELL: f64 = 0.15;
/// Logarithm of the evidence behind the best beyond which a cause is not looked at with all care.
const HOPELESS: f64 = 7.0;
/// The same where its own fit promised no more.
const BEHIND: f64 = 5.0;

/// Searches on, fits all that are in the running with the noise as the residuals of the best show it,
/// and says by which factor it is larger than measured [1].
///
/// # Errors
/// Where nothing can be fitted.
pub fn refine<'m, 'a>(
    model: &'m Model<'a>,
    hypotheses: &mut Vec<Hypothesis<'m, 'a>>,
) -> Result<f64, StudyError> {
    let settings = model.settings;
    let mut looked_from = Vec::new();
    let mut shaken = false;
    let mut as_it_is = f64::INFINITY;
    let patience = MOST_DISCHARGES * model.traces.len() as u64;
    for _ in 0..LOOKED_FROM {
        if model.count.load(Ordering::Relaxed) > patience {
            break;
        }
        let Some(lender) = next_lender(hypotheses, &looked_from, settings) else {
            break;
        };
        let others = with_its_choice(hypotheses, &lender, settings)?;
        hypotheses.extend(others);
        scan_again(hypotheses, &lender, settings);
        // The cheapest way first; from what is much better than before the cheapest way again.
        for further in [step_aside, shake, loosen, search_on] {
            let best = best_of(hypotheses, settings);
            let better = best.is_some_and(|best| best.cost() < MUCH_LESS * lender.cost);
            if better || explained(hypotheses, settings) {
                break;
            }
            further(hypotheses, settings);
        }
        if explained(hypotheses, settings) {
            loosen(hypotheses, settings);
            as_it_is = from_as_it_is(hypotheses, as_it_is, settings);
            if !easily_explained(hypotheses, settings) && !std::mem::replace(&mut shaken, true) {
                shake_rivals(hypotheses, &lender);
            }
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

/// First fits that were cut short go on with sensitivities of their own, unless they are so close to the best that they
/// will be looked at with all care, or are far behind and have nothing to gain.
pub fn closer(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let easily = easily_explained(hypotheses, settings);
    in_turns(hypotheses, settings, AT_ONCE, |hypothesis, most| {
        let behind = most - hypothesis.log_weight(settings);
        let nothing_to_gain = easily || hypothesis.is_out_of_reach() || behind > -OUTDONE * most;
        let far = behind > BORROWS && nothing_to_gain;
        if behind != 0.0 && behind <= HOPELESS || far {
            return;
        }
        let effort = Effort {
            wanted: hypothesis.cost() - 2.0 * (behind - HOPELESS),
            ..CLOSER
        };
        hypothesis.go_on(effort, End::NothingPromised);
    });
}

/// As long as the best explanation does not explain the traces, the search may have ended too early:
/// further starts of every cause, the likeliest first.
fn search_on(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    for _ in 0..FOLLOWED {
        if explained(hypotheses, settings) {
            return;
        }
        in_turns(hypotheses, settings, TOGETHER, |hypothesis, _| {
            hypothesis.go_on(CLOSER, End::NothingPromised);
            hypothesis.follow(CLOSER);
        });
    }
}

/// Fits that do not explain the traces are tried with more noise; where another does, only the design as it is, which
/// may lie behind every fault.
fn loosen(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let explaining = best_of(hypotheses, settings).filter(|best| explains(best));
    let explaining = explaining.map(|best| (best.problem.base.clone(), best.cost()));
    in_turns(hypotheses, settings, TOGETHER, |hypothesis, _| {
        let wanted = match &explaining {
            Some((base, cost)) => {
                let behind = hypothesis.problem.cause == Cause::NothingWrong;
                (behind && hypothesis.problem.base == *base).then_some(*cost)
            }
            None => Some(f64::INFINITY),
        };
        if let Some(wanted) = wanted {
            hypothesis.loosen(wanted);
        }
    });
}

/// The likeliest begins again with one of its values moved at a time.
fn step_aside(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let best = place_of_best(hypotheses, settings);
    if let Some(best) = best.and_then(|place| hypotheses.get_mut(place)) {
        best.step_aside(f64::INFINITY);
    }
}

/// The likeliest few begin again from designs drawn around them.
fn shake(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let least = weight_of(hypotheses, settings, TOGETHER);
    hypotheses
        .par_iter_mut()
        .filter(|h| h.log_weight(settings) >= least)
        .for_each(|hypothesis| hypothesis.shake(OF_A_LOOK, f64::INFINITY, f64::INFINITY));
}

/// What fits much worse than one that explains the traces begins again from where it promises much less.
fn shake_rivals(hypotheses: &mut [Hypothesis<'_, '_>], lender: &Lender<'_, '_>) {
    hypotheses
        .par_iter_mut()
        .filter(|h| lender.outdoes(h))
        .for_each(|hypothesis| {
            hypothesis.shake(1, MUCH_LESS, lender.cost);
            if hypothesis.cost() < NOT_MUCH_MORE * lender.cost {
                hypothesis.step_aside(lender.cost);
            }
        });
}

/// A second start of all that are in the running, where it promises as little: a fit that begins further along what a
/// fault frees may end elsewhere.
fn look_again(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let most = most_likely(hypotheses, settings);
    hypotheses
        .par_iter_mut()
        .filter(|h| h.problem.cause != Cause::NothingWrong)
        .filter(|h| h.log_weight(settings) > most - IN_THE_RUNNING)
        .for_each(|hypothesis| hypothesis.follow_if_near(FIRST));
    closer(hypotheses, settings);
}

/// Factor on the noise that the residuals of the best explanation ask for.
fn inflation_of(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
) -> Result<f64, StudyError> {
    let goodness = best_of(hypotheses, settings).and_then(Hypothesis::goodness);
    Ok(goodness.ok_or(StudyError::NoFit)?.inflation())
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
        let short = (hypothesis.fit.as_ref()).is_none_or(|fit| fit.end < End::NothingPromised);
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
