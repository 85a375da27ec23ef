//! A cause with one choice of the discrete values, and its best fit so far.

use super::DiagnosisSettings;
use super::cause::Cause;
use super::fit::{Effort, Fit, fit, ranked_starts};
use super::parameter::Role;
use super::problem::Problem;

/// Steps of a first fit and of a last one.
pub const FIRST: Effort = Effort {
    steps: 20,
    jacobians: 3,
};
pub const LAST: Effort = Effort {
    steps: 40,
    jacobians: 10,
};
/// Distance between starts below which one of them is enough.
const APART: f64 = 0.8;

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
    pub fn follow(&mut self, effort: Effort) {
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

    /// Goes on with a fit that was cut short.
    pub fn go_on(&mut self) {
        if let Some(old) = self.fit.take_if(|fit| !fit.converged) {
            let found = fit(&self.problem, &old.z, LAST);
            self.fit = found.or(Some(old));
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
    #[must_use]
    pub fn borrowed(&self, lender: &Problem<'_, '_>, z: &[f64]) -> Option<Vec<f64>> {
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
