//! The search: cells by their lightest possible member, the best of each proven and explained.

use rayon::prelude::*;

use super::assess::{Assessor, Depth};
use super::assessment::{Assessment, Requirement, Stage};
use super::cell::{Cell, Goal, violation};
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
