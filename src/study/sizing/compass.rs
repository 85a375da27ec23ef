//! Descent within one cell: Nelder and Mead's simplex on shares of the ranges, driven by argmin,
//! then a compass search on the grid itself.

use std::cell::RefCell;

use argmin::core::{CostFunction, Error, Executor};
use argmin::solver::neldermead::NelderMead;

use super::problem::Space;

/// Cost of a grid point; `None` when told to stop.
pub(super) type Cost<'c> = RefCell<&'c mut dyn FnMut(&[u32]) -> Option<f64>>;

/// Cost far above any other, for a search that was told to stop.
const STOPPED: f64 = 1e9;
/// Cost per share outside the box, on top of that of the nearest point inside.
const OUTSIDE: f64 = 10.0;
/// Width of the first simplex, as a share of each range.
const FIRST_WIDTH: f64 = 0.2;

struct Shares<'a, 'c> {
    space: &'a Space,
    cost: &'a Cost<'c>,
}

impl CostFunction for Shares<'_, '_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, shares: &Vec<f64>) -> Result<f64, Error> {
        let outside: f64 = shares
            .iter()
            .map(|share| (share - share.clamp(0.0, 1.0)).abs())
            .sum();
        let points = self.space.snap(shares);
        let cost = (self.cost.borrow_mut())(&points).unwrap_or(STOPPED);
        Ok(cost + OUTSIDE * outside)
    }
}

/// Shares of the ranges at a grid point.
fn shares(space: &Space, points: &[u32]) -> Vec<f64> {
    space
        .points
        .iter()
        .zip(points)
        .map(|(count, point)| f64::from(*point) / f64::from(count.saturating_sub(1).max(1)))
        .collect()
}

/// The simplex search from a grid point; every point it visits goes through `cost`.
///
/// Source: Nelder & Mead 1965, Comput. J. 7, 308, in argmin's implementation. It stops when the
/// costs at its corners agree to 1e-7 or after `iterations`.
pub(super) fn simplex(space: &Space, start: &[u32], iterations: u64, cost: &Cost<'_>) {
    let first = shares(space, start);
    let mut corners = vec![first.clone()];
    for axis in 0..first.len() {
        let mut corner = first.clone();
        if let Some(share) = corner.get_mut(axis) {
            *share += if *share > 0.5 {
                -FIRST_WIDTH
            } else {
                FIRST_WIDTH
            };
        }
        corners.push(corner);
    }
    let problem = Shares { space, cost };
    let Ok(solver) = NelderMead::new(corners).with_sd_tolerance(1e-7) else {
        return;
    };
    // The best point is kept by whoever computes the costs, so the result is not needed.
    let _ = Executor::new(problem, solver)
        .configure(|state| state.max_iters(iterations))
        .timer(false)
        .run();
}

/// The compass search from a grid point: to the best neighbour while there is a better one, with
/// steps halved down to the grid's own. Neighbours are all of the 3^n - 1 around a point for up
/// to three values, else the 2 n along the axes. Returns where it ends.
pub(super) fn compass(space: &Space, start: &[u32], cost: &Cost<'_>) -> Vec<u32> {
    let mut here = start.to_vec();
    let Some(mut best) = (cost.borrow_mut())(&here) else {
        return here;
    };
    let widest = space.points.iter().copied().max().unwrap_or(1);
    let mut step = (widest / 16).max(1).next_power_of_two();
    loop {
        let mut better = None;
        for near in neighbours(space, &here, step) {
            let Some(value) = (cost.borrow_mut())(&near) else {
                return here;
            };
            if value < best - 1e-12 {
                best = value;
                better = Some(near);
            }
        }
        match better {
            Some(near) => here = near,
            None if step == 1 => return here,
            None => step /= 2,
        }
    }
}

fn neighbours(space: &Space, here: &[u32], step: u32) -> Vec<Vec<u32>> {
    let dimensions = here.len();
    let directions: Vec<Vec<i64>> = if dimensions <= 3 {
        (0..3_usize.pow(dimensions as u32))
            .map(|code| {
                (0..dimensions)
                    .map(|axis| (code / 3_usize.pow(axis as u32) % 3) as i64 - 1)
                    .collect()
            })
            .collect()
    } else {
        (0..dimensions)
            .flat_map(|axis| {
                [-1, 1].map(|sign| {
                    (0..dimensions)
                        .map(|other| if other == axis { sign } else { 0 })
                        .collect()
                })
            })
            .collect()
    };
    directions
        .into_iter()
        .filter_map(|direction: Vec<i64>| {
            let near: Vec<u32> = here
                .iter()
                .zip(&space.points)
                .zip(&direction)
                .map(|((point, count), sign)| {
                    let last = i64::from(count.saturating_sub(1));
                    let moved = i64::from(*point) + sign * i64::from(step);
                    moved.clamp(0, last) as u32
                })
                .collect();
            (near != here).then_some(near)
        })
        .collect()
}
