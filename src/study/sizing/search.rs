//! The search: cells by their lightest possible member, space-filling points in each, simplex and
//! compass from the best of them.

use rayon::prelude::*;

use crate::statistics::draw::derived_seed;
use crate::statistics::{Sampler, SamplingMethod};

use super::assess::{Assessment, Assessor, Depth, Requirement, Stage};
use super::compass::{compass, simplex};
use super::explain::{Relaxation, Shortfall, next_smaller, relaxations};
use super::front::{Figure, Span, non_dominated};
use super::problem::{Aim, Candidate, Needs, Space, Workshop};

/// How hard to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SearchSettings {
    /// Seed of the first points.
    pub seed: u64,
    /// Candidates to keep, each the best of its combination of choices.
    pub keep: usize,
    /// Whether to look into the chance of those kept even if none is asked for.
    pub with_chance: bool,
    /// First points per continuous value.
    pub samples_per_value: usize,
    /// Of these, how many are followed down.
    pub descents: usize,
}

impl Default for SearchSettings {
    fn default() -> Self {
        SearchSettings {
            seed: 1,
            keep: 5,
            with_chance: true,
            samples_per_value: 9,
            descents: 3,
        }
    }
}

/// Where a search stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// Combinations of choices searched.
    pub cells_done: usize,
    /// Combinations in all.
    pub cells: usize,
    /// Candidates looked at.
    pub candidates: usize,
    /// Discharges computed.
    pub discharges: u64,
    /// Best objective so far, in the sense of the first aim.
    pub best: Option<f64>,
}

/// Who watches a search.
pub trait Observer: Sync {
    /// Called between combinations.
    fn progress(&self, progress: &Progress);
    /// Whether to stop with what there is.
    fn stop(&self) -> bool;
}

/// What a search found.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The best of each combination of choices, best first; for two aims, the best compromise and
    /// points spread along the front. Each meets every requirement.
    pub best: Vec<Assessment>,
    /// The trade-off, by the first aim; empty for one aim.
    pub front: Vec<Assessment>,
    /// Every candidate looked at that meets the requirements.
    pub passing: Vec<Assessment>,
    /// Why the next smaller cartridge fails.
    pub next_smaller: Option<Shortfall>,
    /// Where nothing passes: the candidate that comes closest.
    pub nearest: Option<Assessment>,
    /// Where nothing passes: single requirements whose relaxation opens a solution, least first.
    pub relaxations: Vec<Relaxation>,
    /// Combinations of choices.
    pub cells: usize,
    /// Of these, how many could not beat those kept and were left out.
    pub cells_left_out: usize,
    /// Candidates looked at.
    pub candidates: usize,
    /// Discharges computed.
    pub discharges: u64,
    /// Whether it was stopped before its end.
    pub interrupted: bool,
}

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
    fn cost(&self, found: &Assessment) -> f64 {
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
            let cost = std::cell::RefCell::new(&mut cost as &mut dyn FnMut(&[u32]) -> Option<f64>);
            for (_, start) in ranked.iter().take(settings.descents) {
                simplex(space, start, iterations, &cost);
                compass(space, start, &cost);
            }
        }
        if let Some((_, best)) = self.best.clone().or_else(|| self.nearest.clone()) {
            let mut cost = |points: &[u32]| self.cost(points);
            let cost = std::cell::RefCell::new(&mut cost as &mut dyn FnMut(&[u32]) -> Option<f64>);
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
    fn descend(mut self, start: &[u32]) -> CellResult {
        let space = self.space;
        let mut cost = |points: &[u32]| self.cost(points);
        compass(space, start, &std::cell::RefCell::new(&mut cost));
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

/// Searches everything that is open for the best by one aim, or for the trade-off between two.
#[must_use]
pub fn search(
    workshop: &dyn Workshop,
    needs: &Needs,
    aims: &[Aim],
    settings: &SearchSettings,
    observer: &dyn Observer,
) -> Answer {
    let stop = || observer.stop();
    let assessor = Assessor::new(workshop, needs, &stop);
    let run = Run {
        assessor: &assessor,
        space: workshop.space(),
        settings,
        observer,
    };
    match aims {
        [first, second, ..] => run.trade_off((*first, *second)),
        [only] => run.single(*only),
        [] => run.single(Aim::LeastMass),
    }
}

struct Run<'a> {
    assessor: &'a Assessor<'a>,
    space: &'a Space,
    settings: &'a SearchSettings,
    observer: &'a dyn Observer,
}

impl Run<'_> {
    /// Cells with the least objective any member can have, lowest first.
    fn ordered(&self, aim: Aim) -> Vec<(f64, Vec<usize>)> {
        let mut cells: Vec<(f64, Vec<usize>)> = self
            .space
            .cells()
            .into_par_iter()
            .map(|choices| (self.bound(&choices, aim), choices))
            .collect();
        cells.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        cells
    }

    /// Least mass or volume over the corners of a cell: both grow or fall along every value.
    fn bound(&self, choices: &[usize], aim: Aim) -> f64 {
        if !matches!(aim, Aim::LeastMass | Aim::LeastVolume) {
            return f64::NEG_INFINITY;
        }
        let dimensions = self.space.points.len().min(6);
        (0..1_u32 << dimensions)
            .map(|corner| {
                let points = self
                    .space
                    .points
                    .iter()
                    .enumerate()
                    .map(|(axis, count)| {
                        if axis < 6 && corner >> axis & 1 == 1 {
                            count.saturating_sub(1)
                        } else {
                            0
                        }
                    })
                    .collect();
                let candidate = Candidate {
                    choices: choices.to_vec(),
                    points,
                };
                match self.assessor.workshop().make(&candidate) {
                    Ok(article) if aim == Aim::LeastMass => article.mass(),
                    Ok(article) => article.volume(),
                    Err(_) => f64::INFINITY,
                }
            })
            .fold(f64::INFINITY, f64::min)
    }

    fn report(&self, done: usize, cells: usize, best: Option<f64>) {
        self.observer.progress(&Progress {
            cells_done: done,
            cells,
            candidates: self.assessor.candidates(),
            discharges: self.assessor.discharges(),
            best,
        });
    }

    fn single(&self, aim: Aim) -> Answer {
        let goal = Goal::Aim(aim);
        let cells = self.ordered(aim);
        let mut best: Vec<Assessment> = Vec::new();
        let mut nearest = Vec::new();
        let mut left_out = 0;
        for (done, (bound, choices)) in cells.iter().enumerate() {
            if self.assessor.stopped() {
                break;
            }
            let beaten = best
                .get(self.settings.keep.saturating_sub(1))
                .is_some_and(|last| *bound > last.objective(aim));
            if beaten {
                left_out += 1;
                continue;
            }
            let cell = Cell::new(self.assessor, self.space, &goal, choices);
            let result = cell.search(self.settings);
            best.extend(result.best);
            nearest.extend(result.nearest);
            best.sort_by(|a, b| goal.cost(a).total_cmp(&goal.cost(b)));
            let first = best.first().map(|a| a.objective(aim));
            self.report(done + 1, cells.len(), first);
        }
        best.truncate(self.settings.keep);
        let mut best = self.proven(best, Some(&goal));
        best.sort_by(|a, b| goal.cost(a).total_cmp(&goal.cost(b)));
        self.answer(best, Vec::new(), nearest, left_out)
    }

    /// Those that also pass when computed as exactly as a single shot is. Where one does not, by
    /// a hair, its neighbours on the grid may under the same `goal`.
    fn proven(&self, kept: Vec<Assessment>, goal: Option<&Goal>) -> Vec<Assessment> {
        let Some(settings) = self.assessor.needs().proof else {
            return kept;
        };
        let mut needs = self.assessor.needs().clone();
        needs.settings = settings;
        // The chance keeps what the many runs said.
        needs.at_least = None;
        let stop = || self.assessor.stopped();
        let exact = Assessor::new(self.assessor.workshop(), &needs, &stop);
        let proven = kept
            .into_iter()
            .filter_map(|found| {
                let Some(again) = exact.assess(&found.candidate, Depth::Shots) else {
                    // Stopped: what was found stands as found.
                    return Some(found);
                };
                if again.passes() {
                    return Some(Assessment {
                        checks: again
                            .checks
                            .into_iter()
                            .chain(
                                found
                                    .checks
                                    .iter()
                                    .filter(|c| c.requirement == Requirement::Chance)
                                    .cloned(),
                            )
                            .collect(),
                        ..found
                    });
                }
                let goal = goal?;
                let choices = &found.candidate.choices;
                let cell = Cell::new(&exact, self.space, goal, choices);
                let near = cell.descend(&found.candidate.points).best?;
                if self.assessor.needs().at_least.is_none() {
                    return Some(near);
                }
                let with = self.assessor.assess(&near.candidate, Depth::Chance)?;
                with.meets(self.assessor.needs()).then_some(with)
            })
            .collect();
        self.assessor.count(exact.discharges());
        proven
    }

    fn trade_off(&self, aims: (Aim, Aim)) -> Answer {
        let cells = self.ordered(aims.0);
        let passing = || {
            let mut all = self.assessor.all();
            all.retain(|a| a.meets(self.assessor.needs()));
            if aims.0 == Aim::MostChance || aims.1 == Aim::MostChance {
                all.retain(|a| !a.chances.is_empty());
            }
            all
        };
        let mut nearest = Vec::new();
        let mut pass = |goals: &[Goal], done: usize| {
            for (index, (_, choices)) in cells.iter().enumerate() {
                for goal in goals {
                    if self.assessor.stopped() {
                        return;
                    }
                    let cell = Cell::new(self.assessor, self.space, goal, choices);
                    nearest.extend(cell.search(self.settings).nearest);
                }
                self.report(done * cells.len() + index + 1, 2 * cells.len(), None);
            }
        };
        pass(&[Goal::Aim(aims.0), Goal::Aim(aims.1)], 0);
        let ends = non_dominated(&passing(), aims);
        if let Some(span) = Span::of(&ends, aims) {
            let goals = [0.25, 0.5, 0.75].map(|weight| Goal::Blend(aims, span, weight));
            pass(&goals, 1);
        }
        let front = non_dominated(&passing(), aims);
        let best = self.proven(self.spread(&front, aims), None);
        self.answer(best, front, nearest, 0)
    }

    /// The best compromise of a front, then points spread evenly along it.
    fn spread(&self, front: &[Assessment], aims: (Aim, Aim)) -> Vec<Assessment> {
        let Some(last) = front.len().checked_sub(1) else {
            return Vec::new();
        };
        let compromise = Span::of(front, aims).and_then(|span| {
            let distance = |a: &Assessment| span.distance(Figure::of(a, aims), 0.5);
            (0..=last).min_by(|a, b| {
                let of = |index: &usize| front.get(*index).map_or(f64::INFINITY, distance);
                of(a).total_cmp(&of(b))
            })
        });
        let others = self.settings.keep.saturating_sub(1);
        let mut places = vec![compromise.unwrap_or(0)];
        for other in 0..others {
            let place = other * last / others.saturating_sub(1).max(1);
            if !places.contains(&place) {
                places.push(place);
            }
        }
        let chosen = places.into_iter().filter_map(|place| front.get(place));
        chosen.cloned().collect()
    }

    fn answer(
        &self,
        mut best: Vec<Assessment>,
        front: Vec<Assessment>,
        nearest: Vec<Assessment>,
        cells_left_out: usize,
    ) -> Answer {
        if self.settings.with_chance {
            for found in &mut best {
                if let Some(with) = self.assessor.assess(&found.candidate, Depth::Chance) {
                    found.chances = with.chances;
                    found.stage = with.stage;
                }
            }
        }
        let interrupted = self.assessor.stopped();
        let next_smaller = match best.first() {
            Some(first) if !interrupted => {
                next_smaller(self.assessor, self.space, self.settings, first)
            }
            _ => None,
        };
        let nearest = if best.is_empty() {
            let depth = |a: &Assessment| (Stage::Chance as i32 - a.stage as i32) as f64;
            nearest
                .into_iter()
                .map(|a| (depth(&a) + violation(&a, |_| true).min(0.999), a))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, a)| a)
                .map(|a| {
                    self.assessor
                        .assess(&a.candidate, Depth::AllShots)
                        .unwrap_or(a)
                })
        } else {
            None
        };
        let relaxations = if best.is_empty() && !interrupted {
            relaxations(self.assessor, self.space, self.settings)
        } else {
            Vec::new()
        };
        let mut passing = self.assessor.all();
        passing.retain(|a| a.meets(self.assessor.needs()));
        Answer {
            best,
            front,
            passing,
            next_smaller,
            nearest,
            relaxations,
            cells: self.space.cell_count(),
            cells_left_out,
            candidates: self.assessor.candidates(),
            discharges: self.assessor.discharges(),
            interrupted: interrupted || self.assessor.stopped(),
        }
    }
}
