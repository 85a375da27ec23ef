//! One combination of choices: space-filling points, simplex and compass from the best of them.

use std::cell::RefCell;

use rayon::prelude::*;

use crate::statistics::draw::derived_seed;
use crate::statistics::{Sampler, SamplingMethod};

use super::assess::{Assessor, Depth};
use super::assessment::{Assessment, Requirement, Stage};
use super::compass::{compass, simplex};
use super::front::{Figure, Span};
use super::problem::{Aim, Candidate, Space};
use super::search::SearchSettings;

/// What makes one candidate better than another within a cell.
#[derive(Debug, Clone)]
pub(super) enum Goal {
    /// One aim.
    Aim(Aim),
    /// Two aims, the weight of the first.
    Blend((Aim, Aim), Span, f64),
    /// All requirements but one, and that one as nearly as possible.
    Without(Requirement),
}

impl Goal {
    /// Cost of a candidate that passes the shots, less being better; ties go to the margin.
    pub fn cost(&self, found: &Assessment) -> f64 {
        let value = match self {
            Goal::Aim(aim) => found.objective(*aim),
            Goal::Blend(aims, span, weight) => span.distance(Figure::of(found, *aims), *weight),
            Goal::Without(requirement) => violation(found, |r| r == requirement),
        };
        let margin = found.margin();
        let tie = margin / (1.0 + margin.abs());
        value / (1.0 + value.abs()) - 1e-6 * tie
    }

    fn needs_chance(&self) -> bool {
        match self {
            Goal::Aim(aim) => *aim == Aim::MostChance,
            Goal::Blend(aims, _, _) => aims.0 == Aim::MostChance || aims.1 == Aim::MostChance,
            Goal::Without(_) => false,
        }
    }
}

/// Greatest violation among the requirements that `of` names [1]; 0 where all are met.
pub(super) fn violation(found: &Assessment, of: impl Fn(&Requirement) -> bool) -> f64 {
    if found.refusal.is_some() {
        return 1e3;
    }
    found
        .checks
        .iter()
        .filter(|check| of(&check.requirement))
        .map(|check| (-check.margin).max(0.0))
        .fold(0.0, f64::max)
}

/// Best and nearest of one cell.
#[derive(Debug, Clone, Default)]
pub(super) struct CellResult {
    /// The best that meets everything the goal asks.
    pub best: Option<Assessment>,
    /// Where there is none, the one that comes closest.
    pub nearest: Option<Assessment>,
}

/// One combination of choices being searched.
pub(super) struct Cell<'a> {
    pub assessor: &'a Assessor<'a>,
    pub space: &'a Space,
    pub goal: &'a Goal,
    pub choices: &'a [usize],
    best: Option<(f64, Assessment)>,
    nearest: Option<(f64, Assessment)>,
}

impl<'a> Cell<'a> {
    pub fn new(
        assessor: &'a Assessor<'a>,
        space: &'a Space,
        goal: &'a Goal,
        choices: &'a [usize],
    ) -> Self {
        Cell {
            assessor,
            space,
            goal,
            choices,
            best: None,
            nearest: None,
        }
    }

    fn candidate(&self, points: &[u32]) -> Candidate {
        Candidate {
            choices: self.choices.to_vec(),
            points: points.to_vec(),
        }
    }

    fn depth(&self) -> Depth {
        match self.goal {
            Goal::Without(_) => Depth::AllShots,
            _ => Depth::Shots,
        }
    }

    /// Cost of a grid point; below 1 where everything asked is met. The chance, the dearest stage,
    /// is looked at only where the candidate would be the best of its cell.
    fn cost(&mut self, points: &[u32]) -> Option<f64> {
        let candidate = self.candidate(points);
        let mut found = self.assessor.assess(&candidate, self.depth())?;
        if let Goal::Without(requirement) = self.goal {
            let others = violation(&found, |r| r != requirement);
            if others > 0.0 {
                return Some(self.fails(2.0 + others / (1.0 + others), found));
            }
            return Some(self.meets(self.goal.cost(&found), found));
        }
        if !found.passes() {
            let left = Stage::Chance as i32 - found.stage as i32;
            let excess = violation(&found, |_| true);
            return Some(self.fails(2.0 + f64::from(left) + excess / (1.0 + excess), found));
        }
        let wanted = self.assessor.needs().at_least.is_some();
        let provisional = self.goal.cost(&found);
        let promising = self
            .best
            .as_ref()
            .is_none_or(|(best, _)| provisional < *best);
        if self.goal.needs_chance() || (wanted && promising) {
            found = self.assessor.assess(&candidate, Depth::Chance)?;
            if !found.passes() {
                let excess = violation(&found, |_| true);
                return Some(self.fails(1.0 + excess / (1.0 + excess), found));
            }
        }
        let cost = self.goal.cost(&found);
        if promising || self.goal.needs_chance() {
            return Some(self.meets(cost, found));
        }
        Some(cost)
    }

    fn meets(&mut self, cost: f64, found: Assessment) -> f64 {
        if self.best.as_ref().is_none_or(|(best, _)| cost < *best) {
            self.best = Some((cost, found));
        }
        cost
    }

    fn fails(&mut self, cost: f64, found: Assessment) -> f64 {
        if self.nearest.as_ref().is_none_or(|(least, _)| cost < *least) {
            self.nearest = Some((cost, found));
        }
        cost
    }

    /// Searches the cell; what was found stands even when told to stop.
    pub fn search(mut self, settings: &SearchSettings) -> CellResult {
        let dimensions = self.space.points.len();
        let starts = self.starts(settings, dimensions);
        let depth = self.depth();
        // Independent of each other, so all cores; the order of the results is that of the points.
        let candidates: Vec<Candidate> = starts.iter().map(|s| self.candidate(s)).collect();
        let _: Vec<Option<Assessment>> = candidates
            .par_iter()
            .map(|candidate| self.assessor.assess(candidate, depth))
            .collect();
        let mut ranked = Vec::with_capacity(starts.len());
        for points in starts {
            match self.cost(&points) {
                Some(cost) => ranked.push((cost, points)),
                None => return self.result(),
            }
        }
        if dimensions == 0 {
            return self.result();
        }
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
        let iterations = 20 + 25 * dimensions as u64;
        let space = self.space;
        let mut cost = |points: &[u32]| self.cost(points);
        {
            let cost = RefCell::new(&mut cost as &mut dyn FnMut(&[u32]) -> Option<f64>);
            for (_, start) in ranked.iter().take(settings.descents) {
                simplex(space, start, iterations, &cost);
                compass(space, start, &cost);
            }
        }
        if let Some((_, best)) = self.best.clone().or_else(|| self.nearest.clone()) {
            let mut cost = |points: &[u32]| self.cost(points);
            let cost = RefCell::new(&mut cost as &mut dyn FnMut(&[u32]) -> Option<f64>);
            compass(space, &best.candidate.points, &cost);
        }
        self.result()
    }

    fn result(self) -> CellResult {
        CellResult {
            best: self.best.map(|(_, found)| found),
            nearest: self.nearest.map(|(_, found)| found),
        }
    }

    /// Searches the cell from one point alone, to the best of its neighbours.
    pub fn descend(mut self, start: &[u32]) -> CellResult {
        let space = self.space;
        let mut cost = |points: &[u32]| self.cost(points);
        compass(space, start, &RefCell::new(&mut cost));
        self.result()
    }

    /// Space-filling points, with the middle and the two ends of the box.
    fn starts(&self, settings: &SearchSettings, dimensions: usize) -> Vec<Vec<u32>> {
        if dimensions == 0 {
            return vec![Vec::new()];
        }
        let mut starts: Vec<Vec<u32>> = [0.5, 0.0, 1.0]
            .iter()
            .map(|share| self.space.snap(&vec![*share; dimensions]))
            .collect();
        let count = (settings.samples_per_value * dimensions) as u64;
        let part = self.choices.iter().fold(1_u64, |part, choice| {
            part.wrapping_mul(1009) + *choice as u64
        });
        let seed = derived_seed(settings.seed, part);
        let method = SamplingMethod::LatinHypercube;
        if let Ok(sampler) = Sampler::new(method, seed, dimensions, count, 1) {
            let mut shares = vec![0.0; dimensions];
            for index in 0..count {
                if sampler.uniforms(index, &mut shares).is_ok() {
                    starts.push(self.space.snap(&shares));
                }
            }
        }
        starts.sort();
        starts.dedup();
        starts
    }
}
