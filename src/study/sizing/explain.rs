//! Why not: the next smaller cartridge, and the least relaxation that opens a solution.

use super::assess::{Assessor, Depth};
use super::assessment::{Assessment, Check, Requirement};
use super::cell::{Cell, Goal, violation};
use super::problem::{Aim, Needs, Space};
use super::search::SearchSettings;

/// The best attempt with the next smaller cartridge.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortfall {
    /// CO2 of its cartridges [kg].
    pub charge: f64,
    /// The attempt that comes closest, judged at every stage but the chance.
    pub attempt: Assessment,
    /// Whether it passes after all, and is only worse by the aim.
    pub passes: bool,
}

/// One requirement and how far it must give way.
#[derive(Debug, Clone, PartialEq)]
pub struct Relaxation {
    /// The requirement where it is violated most.
    pub check: Check,
    /// The candidate that meets all others.
    pub candidate: Assessment,
}

/// Most cells looked into for each requirement that might give way.
const MOST_CELLS: usize = 12;
/// Most trials when the chance itself must give way.
const MOST_TRIALS: u64 = 200;

/// Looks into the combinations with the largest total charge below that of the answer.
pub(super) fn next_smaller(
    assessor: &Assessor<'_>,
    space: &Space,
    settings: &SearchSettings,
    answer: &Assessment,
) -> Option<Shortfall> {
    let charge = |choices: &[usize]| assessor.workshop().charge(choices);
    let chosen = charge(&answer.candidate.choices)?;
    let cells = space.cells();
    let next = cells
        .iter()
        .filter_map(|choices| charge(choices))
        .filter(|charge| *charge < 0.999 * chosen)
        .fold(0.0, f64::max);
    if next <= 0.0 {
        return None;
    }
    let goal = Goal::Aim(Aim::MostMargin);
    let mut closest: Option<(f64, Shortfall)> = None;
    for choices in cells
        .iter()
        .filter(|choices| {
            charge(choices).is_some_and(|charge| charge > 0.999 * next && charge < 1.001 * next)
        })
        .take(MOST_CELLS)
    {
        let result = Cell::new(assessor, space, &goal, choices).search(settings);
        let passes = result.best.is_some();
        let Some(found) = result.best.or(result.nearest) else {
            continue;
        };
        let attempt = if passes {
            found
        } else {
            assessor.assess(&found.candidate, Depth::AllShots)?
        };
        let rank = if passes {
            -1.0
        } else {
            violation(&attempt, |_| true)
        };
        if closest.as_ref().is_none_or(|(least, _)| rank < *least) {
            closest = Some((
                rank,
                Shortfall {
                    charge: next,
                    attempt,
                    passes,
                },
            ));
        }
    }
    closest.map(|(_, shortfall)| shortfall)
}

/// For each requirement that fails somewhere near a solution: the least it must give way when all
/// others stand. Least first; empty when no single one is enough.
pub(super) fn relaxations(
    assessor: &Assessor<'_>,
    space: &Space,
    settings: &SearchSettings,
) -> Vec<Relaxation> {
    let mut near: Vec<(f64, Assessment)> = assessor
        .all()
        .into_iter()
        .filter(|found| found.refusal.is_none())
        .map(|found| (violation(&found, |_| true), found))
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut cells: Vec<Vec<usize>> = Vec::new();
    let mut requirements: Vec<Requirement> = Vec::new();
    for (_, found) in &near {
        if cells.len() < MOST_CELLS && !cells.contains(&found.candidate.choices) {
            cells.push(found.candidate.choices.clone());
        }
    }
    // The same candidate may fail several; look at each nearest one in full.
    for choices in &cells {
        let first = near.iter().find(|(_, f)| f.candidate.choices == *choices);
        let Some(whole) =
            first.and_then(|(_, found)| assessor.assess(&found.candidate, Depth::AllShots))
        else {
            continue;
        };
        for check in whole.failures() {
            if !requirements.contains(&check.requirement) {
                requirements.push(check.requirement.clone());
            }
        }
    }
    if assessor.needs().at_least.is_some() {
        requirements.push(Requirement::Chance);
    }
    let mut found: Vec<Relaxation> = requirements
        .into_iter()
        .filter_map(|requirement| match requirement {
            Requirement::Chance => least_chance(assessor, space, settings, &cells),
            other => least_violation(assessor, space, settings, &cells, &other),
        })
        .collect();
    found.sort_by(|a, b| b.check.margin.total_cmp(&a.check.margin));
    found
}

fn least_violation(
    assessor: &Assessor<'_>,
    space: &Space,
    settings: &SearchSettings,
    cells: &[Vec<usize>],
    requirement: &Requirement,
) -> Option<Relaxation> {
    let goal = Goal::Without(requirement.clone());
    cells
        .iter()
        .filter_map(|choices| {
            Cell::new(assessor, space, &goal, choices)
                .search(settings)
                .best
        })
        .filter_map(|candidate| {
            let check = candidate
                .failures()
                .filter(|check| check.requirement == *requirement && !check.bound)
                .min_by(|a, b| a.margin.total_cmp(&b.margin))?
                .clone();
            // A speed of a nose that stays is no relaxation of a speed.
            check.value?;
            Some(Relaxation { check, candidate })
        })
        .max_by(|a, b| a.check.margin.total_cmp(&b.check.margin))
}

/// The greatest chance among candidates that meet everything else.
fn least_chance(
    assessor: &Assessor<'_>,
    space: &Space,
    settings: &SearchSettings,
    cells: &[Vec<usize>],
) -> Option<Relaxation> {
    let wanted = assessor.needs().at_least?;
    let mut needs: Needs = assessor.needs().clone();
    needs.at_least = None;
    needs.chance.trials = needs.chance.trials.min(MOST_TRIALS);
    let stop = || assessor.stopped();
    let free = Assessor::new(assessor.workshop(), &needs, &stop);
    let goal = Goal::Aim(Aim::MostChance);
    let best = cells
        .iter()
        .filter_map(|choices| {
            Cell::new(&free, space, &goal, choices)
                .search(settings)
                .best
        })
        .min_by(|a, b| {
            a.objective(Aim::MostChance)
                .total_cmp(&b.objective(Aim::MostChance))
        })?;
    let worst = best.worst_chance()?.clone();
    let check = Check {
        requirement: Requirement::Chance,
        case: worst.case,
        value: Some(worst.share()),
        bound: false,
        limit: wanted,
        sense: crate::study::Sense::AtLeast,
        dimension: crate::units::Dimension::Fraction,
        margin: worst.share() / wanted - 1.0,
    };
    Some(Relaxation {
        check,
        candidate: best,
    })
}
