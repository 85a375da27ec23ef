//! A cause with one choice of the discrete values, and its best fit so far.

use crate::statistics::StatisticsError;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::evidence::{Goodness, UNEXPLAINED};
use super::fit::{Effort, End, Fit, fit};
use super::parameter::Role;
use super::problem::Problem;
use super::starts::{Known, Start, drawn_starts, moved_starts, ranked_starts};

/// A first look with what is known of other causes, a closer one with sensitivities of its own, and the last
/// one.
pub const FIRST: Effort = Effort {
    steps: 12,
    jacobians: 0,
    careful: false,
    wanted: f64::INFINITY,
};
pub const CLOSER: Effort = Effort {
    steps: 15,
    jacobians: 3,
    careful: false,
    wanted: f64::INFINITY,
};
pub const LAST: Effort = Effort {
    steps: 40,
    jacobians: 6,
    careful: true,
    wanted: f64::INFINITY,
};
/// Share of its cost by which a fit that does not explain the traces is another one.
pub const MUCH_LESS: f64 = 0.7;
/// Cost above the fit there is from which one that was cut short may go on.
const CUT_SHORT: f64 = 30.0;
/// Time by which a nose may be off early or late [s].
const OUT_OF_TIME: f64 = 5e-3;
/// Improvement of the cost for which another start is followed; and the same where something explains the traces: less
/// is found as well when a fit in the running goes on.
const WORTH: f64 = 0.3;
const WORTH_A_LOOK: f64 = 2.0;
/// Starts followed in one look along what a cause frees: what a linear step promises does not say which of two
/// valleys is the deeper one.
pub const OF_A_LOOK: usize = 3;
/// Cost above that of another fit from where one may still come to as little, or be in the running with a larger volume.
const WITHIN_REACH: f64 = 25.0;

/// A closer look, given up where it cannot come near the cost of an explanation: what stays as far above is not
/// in the running.
#[must_use]
pub fn closer_to(cost: f64) -> Effort {
    closer(cost + WITHIN_REACH)
}

/// A closer look, given up where it cannot come to a wanted cost.
fn closer(wanted: f64) -> Effort {
    Effort { wanted, ..CLOSER }
}

/// A cause with one choice of the discrete values.
pub struct Hypothesis<'m, 'a> {
    /// The cause and the choice.
    pub problem: Problem<'m, 'a>,
    /// Chance of the choice beforehand.
    pub weight: f64,
    /// Starts not yet followed, the best last.
    starts: Vec<Start>,
    /// The best fit so far.
    pub fit: Option<Fit>,
    /// Cost of the fit that was last tried with more noise.
    loosened: Option<f64>,
}

impl<'m, 'a> Hypothesis<'m, 'a> {
    /// Follows the best of some starts.
    pub fn new(
        problem: Problem<'m, 'a>,
        weight: f64,
        mut starts: Vec<Start>,
        effort: Effort,
    ) -> Self {
        starts.reverse();
        let mut hypothesis = Hypothesis {
            problem,
            weight,
            starts,
            fit: None,
            loosened: None,
        };
        hypothesis.follow(effort);
        hypothesis
    }

    /// Follows the next start that lies apart from the ones before, and keeps the better fit.
    pub fn follow(&mut self, effort: Effort) {
        let Some(start) = self.starts.pop() else {
            return;
        };
        self.starts.retain(|other| start.apart_from(other));
        // What a fit has learned of the sensitivities serves the next one.
        let start = match &self.fit {
            Some(fit) => Start {
                slopes: Some(fit.slopes.clone()),
                ..start
            },
            None => start.completed(&self.problem),
        };
        self.pursue(&start, effort);
    }

    /// Follows the next start if it promises to come near the fit there is.
    pub fn follow_if_near(&mut self, effort: Effort) {
        let near = self.cost() + WITHIN_REACH;
        if self.starts.last().is_some_and(|next| next.expected < near) {
            self.follow(effort);
        }
    }

    /// Fits from a start, keeps the better fit, and says what the new one costs.
    fn pursue(&mut self, start: &Start, effort: Effort) -> Option<f64> {
        let slopes = start.slopes.clone();
        let mut found = fit(&self.problem, &start.settled, slopes, effort);
        // One that was cut short not far above may yet come to less.
        if let (Some(short), Some(own)) = (&found, &self.fit)
            && short.end == End::CutShort
            && short.cost() < own.cost() + CUT_SHORT
        {
            let longer = closer(effort.wanted);
            found = short.continued(&self.problem, longer).or(found);
        }
        let cost = found.as_ref().map(Fit::cost);
        self.keep(found);
        cost
    }

    /// The same cause with another choice of the discrete values, from where this one ended.
    ///
    /// # Errors
    /// A distribution that is not valid.
    pub fn with_choice(
        &self,
        base: &[f64],
        weight: f64,
        effort: Effort,
    ) -> Result<Option<Self>, StatisticsError> {
        let (model, cause) = (self.problem.model, self.problem.cause);
        let problem = Problem::new(model, cause, base, self.problem.inflation)?;
        Ok(problem.zip(self.known()).map(|(problem, known)| {
            let start = Start::at(&problem, &known, &known.z);
            let found = start.and_then(|start| fit(&problem, &start.settled, start.slopes, effort));
            Hypothesis {
                problem,
                weight,
                starts: Vec::new(),
                fit: found,
                loosened: None,
            }
        }))
    }

    fn keep(&mut self, found: Option<Fit>) {
        let better = |found: &Fit| {
            let known = self.fit.as_ref();
            known.is_none_or(|old| found.cost() < old.cost())
        };
        if let Some(found) = found.filter(better) {
            self.fit = Some(found);
        }
    }

    /// Goes on with a fit that has not come to its end.
    pub fn go_on(&mut self, effort: Effort, least: End) {
        let Some(old) = self.fit.take_if(|fit| fit.end < least) else {
            return;
        };
        let found = old.continued(&self.problem, effort);
        self.fit = found.or(Some(old));
    }

    /// Goes on as if the noise were as large as the residuals, and from there with the noise as it is: what holds a
    /// fit in a wrong valley is weak then, and the design moves back to what is expected of it, as long as it
    /// may come near the `wanted` cost. Once for each fit.
    pub fn loosen(&mut self, wanted: f64) {
        let Some((old, goodness)) = self.fit.as_ref().zip(self.goodness()) else {
            return;
        };
        let share = goodness.size();
        if share < UNEXPLAINED || self.loosened == Some(old.cost()) {
            return;
        }
        let inflation = self.problem.inflation * share.sqrt();
        let loose = self.problem.with_inflation(inflation);
        let loosened = old.clone().with_noise(1.0 / share);
        let found = loosened.continued(&loose, CLOSER).and_then(|moved| {
            let settled = self.problem.settled_afresh(&moved.z, &[]).ok()?;
            let slopes = moved.with_noise(share).slopes;
            fit(&self.problem, &settled, Some(slopes), closer_to(wanted))
        });
        self.keep(found);
        self.loosened = self.fit.as_ref().map(Fit::cost);
    }

    /// Begins again with what the fit freed, from designs drawn between it and the expected one: the best of many, at
    /// `most` so many, that promise less than a `share` of the cost, as long as they may come near the `wanted` one.
    pub fn shake(&mut self, most: usize, share: f64, wanted: f64) {
        let Some(known) = self.known() else { return };
        let cost = self.cost();
        let mut starts = drawn_starts(&self.problem, &known);
        starts.retain(|start| start.expected < share * cost);
        for start in starts.iter().take(most) {
            self.pursue(start, closer_to(wanted));
        }
    }

    /// Begins again with one value moved at a time: the best few that promise less, as long as they may come near the
    /// `wanted` cost.
    pub fn step_aside(&mut self, wanted: f64) {
        let Some(known) = self.known() else { return };
        let mut starts = moved_starts(&self.problem, &known);
        starts.retain(|start| start.expected < self.cost() - WORTH);
        for start in starts.iter().take(OF_A_LOOK) {
            self.pursue(start, closer_to(wanted));
        }
    }

    /// Fits to the end, with care.
    pub fn finish(&mut self) {
        let Some(old) = self.fit.take() else { return };
        let found = (old.continued(&self.problem, LAST)).map(|found| match found.end {
            End::Converged => found,
            _ => found.freshened(&self.problem),
        });
        self.fit = found.or(Some(old));
    }

    /// Values and sensitivities of the fit.
    #[must_use]
    pub fn known(&self) -> Option<Known> {
        let fit = self.fit.as_ref()?;
        Some(Known {
            z: fit.z.clone(),
            slopes: Some(fit.slopes.clone()),
        })
    }

    /// Cost of the fit; infinite without one.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.fit.as_ref().map_or(f64::INFINITY, Fit::cost)
    }

    /// Whether the fit ended as it could not come near a better one.
    #[must_use]
    pub fn is_out_of_reach(&self) -> bool {
        let fit = self.fit.as_ref();
        fit.is_some_and(|fit| fit.end == End::OutOfReach)
    }

    /// How the residuals of the fit look.
    #[must_use]
    pub fn goodness(&self) -> Option<Goodness> {
        let fit = self.fit.as_ref()?;
        let goodness = || Goodness::of(&self.problem, fit);
        Some(*fit.goodness.get_or_init(goodness))
    }

    /// Logarithm of evidence times the chance beforehand.
    #[must_use]
    pub fn log_weight(&self, settings: &DiagnosisSettings) -> f64 {
        let Some(fit) = &self.fit else {
            return f64::NEG_INFINITY;
        };
        self.log_prior(settings) + fit.log_evidence()
    }

    /// Whether the nose is not off when it should be.
    #[must_use]
    pub fn out_of_time(&self) -> bool {
        let fit = self.fit.as_ref();
        let settled = fit.and_then(|fit| self.problem.settled(&fit.z).ok());
        let late = settled.and_then(|settled| self.problem.late(&settled));
        late.is_some_and(|late| late.abs() > OUT_OF_TIME)
    }

    /// Looks along the freed value again from designs of another explanation, and where `own` from where the fit ended.
    /// Follows the best start if it promises to cost less than the fit and no more than `at_most`, and a few further ones
    /// that promise to come near the `wanted` cost. A nose that stays on explains most of a record in which it leaves
    /// late, and from there a fit does not see the other side of the cliff; nor does a design far from the right one.
    pub fn scan_again(
        &mut self,
        own: bool,
        wanted: f64,
        at_most: f64,
        lender: &Problem<'_, '_>,
        others: &[&Known],
    ) {
        if self.fit.is_none() {
            return;
        }
        let another = lender.cause != self.problem.cause;
        let others = others.iter().filter(|_| another);
        let others = others.map(|known| self.problem.transfer(lender, known));
        let own = self.known().filter(|_| own);
        let designs: Vec<Known> = own.into_iter().chain(others).collect();
        let mut starts = ranked_starts(&self.problem, &designs);
        starts.sort_by(|a, b| b.expected.total_cmp(&a.expected));
        let worth = if wanted.is_finite() {
            WORTH_A_LOOK
        } else {
            WORTH
        };
        for look in 0..OF_A_LOOK {
            let Some(start) = starts.pop() else { return };
            let reach = if look == 0 {
                at_most
            } else {
                wanted + WITHIN_REACH
            };
            if start.expected > reach.min(self.cost() - worth) {
                return;
            }
            starts.retain(|other| start.apart_from(other));
            // Two ways to the same place: the others would lead there too.
            let before = self.cost();
            let found = self.pursue(&start.completed(&self.problem), closer_to(wanted));
            if found.is_some_and(|found| (found - before).abs() < WORTH) {
                return;
            }
        }
    }

    /// Follows the design of another explanation where, with the freed value as found here, it promises
    /// to cost less than the own fit.
    pub fn borrow_from(&mut self, lender: &Problem<'_, '_>, known: &Known) {
        let Some(own) = self
            .fit
            .as_ref()
            .filter(|_| lender.cause != self.problem.cause)
        else {
            return;
        };
        let mut moved = self.problem.transfer(lender, known);
        let pairs = self.problem.parameters.iter().zip(&own.z);
        for ((parameter, own), slot) in pairs.zip(&mut moved.z) {
            if matches!(parameter.role, Role::Fault(_)) {
                *slot = *own;
            }
        }
        moved.slopes = Some(own.slopes.clone());
        let start = Start::at(&self.problem, &moved, &moved.z);
        if let Some(start) = start.filter(|start| start.expected < own.cost() - WORTH) {
            self.keep(fit(&self.problem, &start.settled, start.slopes, CLOSER));
        }
    }

    /// Logarithm of the chance beforehand.
    #[must_use]
    pub fn log_prior(&self, settings: &DiagnosisSettings) -> f64 {
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
