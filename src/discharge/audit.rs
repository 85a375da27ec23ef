//! How well the balances closed.

use crate::discharge::Audit;
use crate::network::layout::{ACCOUNTS, Layout};
use crate::network::spec::System;
use crate::numerics::integrate::Statistics;

/// Largest imbalance of mass or energy, relative to what moved, that a run may have.
pub const LARGEST_IMBALANCE: f64 = 1e-8;

/// Imbalance between two states, relative to the mass that `moved` [kg].
pub(super) fn audit(
    system: &System,
    layout: &Layout,
    start: &[f64],
    end: &[f64],
    moved: f64,
    statistics: &Statistics,
) -> Audit {
    let out = &end[layout.accounts..layout.accounts + ACCOUNTS];
    let sum = |state: &[f64], offset: usize| -> f64 {
        layout.vessels.iter().map(|at| state[at + offset]).sum()
    };
    let walls = |state: &[f64]| -> f64 {
        layout
            .walls
            .iter()
            .zip(&system.vessels)
            .filter_map(|(slot, v)| Some(v.wall.as_ref()?.heat_capacity * state[(*slot)?]))
            .sum()
    };
    let total: f64 = sum(start, 0) + sum(start, 1);
    let moved = moved.max(1e-3 * total).max(f64::MIN_POSITIVE);
    let mass = [0, 1]
        .iter()
        .map(|k| (sum(end, *k) + out[*k] - sum(start, *k)).abs())
        .fold(0.0, f64::max);
    let energy = sum(end, 2) + walls(end) + out[2] + out[3] - out[4] - sum(start, 2) - walls(start);
    Audit {
        mass_closure: mass / moved,
        // Specific energies are of the order of 2e5 J/kg above the solid's zero.
        energy_closure: energy.abs() / (moved * 2e5),
        steps: statistics.steps,
        stiff_steps: statistics.stiff_steps,
        rejected_steps: statistics.rejected,
        evaluations: statistics.evaluations,
    }
}
