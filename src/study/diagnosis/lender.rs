//! From one explanation to the others: what it found of the design may serve them better than their own fits.

use rayon::prelude::*;

use crate::study::StudyError;

use super::cause::Cause;
use super::hypothesis::{Hypothesis, closer_to};
use super::parameter::Role;
use super::problem::Problem;
use super::ranking::{
    AT_ONCE, BORROWS, best_of, easily_explained, explained, explains, in_turns, most_likely,
};
use super::starts::{Known, ranked_starts};
use super::{DiagnosisSettings, STRAINED};

/// Fall of the cost by which an explanation is another one to look from.
const MUCH_BETTER: f64 = 10.0;
/// Logarithm of the evidence behind the best within which an explanation is another one to look from.
const NEXT: f64 = 6.0;
/// Factor on its cost beyond which no start that promises so much has come near to an easy explanation.
const FAR: f64 = 10.0;
/// Cost of the design as it is above an easy explanation, at most, for others to begin from it.
const BEGUN_FROM: f64 = 100.0;
/// Share of what that costs above the explanation, at most, in what a start from it may promise.
const LEFT: f64 = 0.7;
/// Cost above that of the design as it is at which a fault is in a wrong valley.
const WRONG_VALLEY: f64 = 3.0;
/// Cost above that of a second explanation from which a fit is tried again.
const MUCH_WORSE: f64 = 30.0;

/// An explanation from which others may be looked for.
pub struct Lender<'m, 'a> {
    problem: Problem<'m, 'a>,
    known: Known,
    /// The same with what is strained as it is believed: a fault may stand for it.
    relieved: Option<Known>,
    /// Chance beforehand of its choice of the discrete values.
    weight: f64,
    /// Cost of its fit.
    pub cost: f64,
    /// Whether it is the best one.
    best: bool,
}

impl<'m, 'a> Lender<'m, 'a> {
    fn of(hypothesis: &Hypothesis<'m, 'a>, best: bool) -> Option<Self> {
        let problem = &hypothesis.problem;
        let known = hypothesis.known()?;
        Some(Lender {
            problem: problem.with_inflation(problem.inflation),
            relieved: relieved(problem, &known),
            known,
            weight: hypothesis.weight,
            cost: hypothesis.cost(),
            best,
        })
    }

    /// Cost that the others must come near: any, as long as nothing explains the traces.
    fn wanted(&self, hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> f64 {
        if explained(hypotheses, settings) {
            self.cost
        } else {
            f64::INFINITY
        }
    }

    /// Whether the other is the same explanation, and not much worse.
    fn like(&self, other: &Self) -> bool {
        self.problem.cause == other.problem.cause
            && self.problem.base == other.problem.base
            && other.cost < self.cost + MUCH_BETTER
    }

    /// Whether another with the same discrete values fits much worse.
    pub fn outdoes(&self, other: &Hypothesis<'_, '_>) -> bool {
        other.problem.base == self.problem.base && other.cost() > self.cost + MUCH_WORSE
    }
}

/// A design with its strained values as they are believed; `None` where none is strained.
fn relieved(problem: &Problem<'_, '_>, known: &Known) -> Option<Known> {
    let strained = |(k, z): (usize, &f64)| {
        let role = problem.parameters.get(k).map(|parameter| parameter.role);
        (matches!(role, Some(Role::Input { .. })) && z.abs() > STRAINED).then_some(k)
    };
    let which: Vec<usize> = known.z.iter().enumerate().filter_map(strained).collect();
    (!which.is_empty()).then(|| Known {
        z: problem.with(&which, &vec![0.0; which.len()], &known.z),
        slopes: known.slopes.clone(),
    })
}

/// Cost beyond which nothing is looked for: one where the best explanation explains the traces easily, else another.
fn limit(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
    easily: f64,
    otherwise: f64,
) -> f64 {
    if easily_explained(hypotheses, settings) {
        easily
    } else {
        otherwise
    }
}

/// The best explanation that has not been looked from yet, or is much better than it was: the best one of all or, once,
/// where that explains the traces, another in the running that does.
pub fn next_lender<'m, 'a>(
    hypotheses: &[Hypothesis<'m, 'a>],
    looked_from: &[Lender<'m, 'a>],
    settings: &DiagnosisSettings,
) -> Option<Lender<'m, 'a>> {
    let explained = explained(hypotheses, settings);
    let mut ranked: Vec<&Hypothesis<'m, 'a>> = hypotheses.iter().collect();
    let weight = |h: &Hypothesis<'_, '_>| h.log_weight(settings);
    ranked.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    let least = most_likely(hypotheses, settings) - NEXT;
    let first = looked_from.iter().all(|lender| lender.best);
    let another = |h: &Hypothesis<'_, '_>| first && explained && weight(h) > least && explains(h);
    (ranked.into_iter().enumerate())
        .filter(|(place, h)| *place == 0 || another(h))
        .filter_map(|(place, h)| Lender::of(h, place == 0))
        .find(|lender| !looked_from.iter().any(|old| lender.like(old)))
}

/// Where the traces are not those of the design as it is, faults are looked for again along what they free: as long as
/// nothing explains the traces, all from where they are fitted by now and from where the best one is; else
/// from there, as a fit may have ended far from what explains the traces as well. From the second best only what fits
/// much worse; from the design as it is that explains the traces all if a value of it is strained, with that as
/// believed.
pub fn scan_again(
    hypotheses: &mut [Hypothesis<'_, '_>],
    lender: &Lender<'_, '_>,
    settings: &DiagnosisSettings,
) {
    let explained = explained(hypotheses, settings);
    let wanted = lender.wanted(hypotheses, settings);
    let at_most = limit(hypotheses, settings, FAR * wanted, f64::INFINITY);
    let healthy = lender.problem.cause == Cause::NothingWrong;
    let all = lender.best && (!healthy || lender.relieved.is_some());
    // From the design as it is that explains the traces all have begun already.
    let known = Some(&lender.known).filter(|_| !(healthy && explained && all));
    let designs: Vec<&Known> = known.into_iter().chain(&lender.relieved).collect();
    in_turns(hypotheses, settings, AT_ONCE, |hypothesis, _| {
        let alike = hypothesis.problem.base == lender.problem.base;
        let served = !explained || all && alike || lender.outdoes(hypothesis);
        if hypothesis.problem.cause == Cause::NothingWrong || !served {
            return;
        }
        let own = !explained || hypothesis.out_of_time();
        hypothesis.scan_again(own, wanted, at_most, &lender.problem, &designs);
    });
}

/// A fault contains the design as it is: what costs more ended in a wrong valley, and is looked for from there. Says what
/// the design as it is costs; nothing is done unless that is less than `before`, and near the best.
pub fn from_as_it_is(
    hypotheses: &mut [Hypothesis<'_, '_>],
    before: f64,
    settings: &DiagnosisSettings,
) -> f64 {
    let own = hypotheses.iter();
    let own = own.filter(|h| h.problem.cause == Cause::NothingWrong);
    let least = own.min_by(|a, b| a.cost().total_cmp(&b.cost()));
    let Some(lender) = least.and_then(|least| Lender::of(least, false)) else {
        return before;
    };
    let best = best_of(hypotheses, settings).map_or(f64::INFINITY, Hypothesis::cost);
    let near = limit(hypotheses, settings, best + BEGUN_FROM, FAR * best);
    let left = best + LEFT * (lender.cost - best);
    let at_most = limit(hypotheses, settings, left, f64::INFINITY);
    if lender.cost >= before || lender.cost > near {
        return before;
    }
    hypotheses
        .par_iter_mut()
        .filter(|h| h.problem.base == lender.problem.base)
        .filter(|h| h.cost() > lender.cost + WRONG_VALLEY)
        .for_each(|h| h.scan_again(false, best, at_most, &lender.problem, &[&lender.known]));
    lender.cost
}

/// The faults that have not been tried with the discrete values of an explanation, looked for from its
/// design.
pub fn with_its_choice<'m, 'a>(
    hypotheses: &[Hypothesis<'m, 'a>],
    lender: &Lender<'m, 'a>,
    settings: &DiagnosisSettings,
) -> Result<Vec<Hypothesis<'m, 'a>>, StudyError> {
    let from = &lender.problem;
    let effort = closer_to(lender.wanted(hypotheses, settings));
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
                Hypothesis::new(problem, lender.weight, starts, effort)
            }))
        })
        .collect::<Result<Vec<_>, StudyError>>()?;
    Ok(found.into_iter().flatten().collect())
}

/// What the best explanation found of the design may serve the others better than their own.
pub fn borrow(hypotheses: &mut [Hypothesis<'_, '_>], settings: &DiagnosisSettings) {
    let most = most_likely(hypotheses, settings);
    let best = best_of(hypotheses, settings);
    let Some(lender) = best.and_then(|best| Lender::of(best, true)) else {
        return;
    };
    hypotheses
        .par_iter_mut()
        .filter(|h| h.log_weight(settings) > most - BORROWS)
        .for_each(|hypothesis| hypothesis.borrow_from(&lender.problem, &lender.known));
}
