//! Least squares inside a box and a region of trust, as a solver for argmin's executor.
//!
//! Law: least of |r(y)|^2 over a box. Each step solves (J^T J + lambda I) d = -J^T r, lambda >= 0 the
//! least with which |d| stays within the radius of trust, and values that would leave the box are
//! held at it (Levenberg 1944, Marquardt 1963; the radius after More 1978, Lect. Notes Math. 630, 105).
//! As the values are in standard deviations of what is believed of them, the radius says how far
//! a design may be bent at once. Between fresh Jacobians the secant update of Broyden (1965, Math. Comp.
//! 19, 577) spares most evaluations.

use argmin::core::{
    Error, IterState, Jacobian, KV, Operator, Problem, Solver, TerminationReason, TerminationStatus,
};

use crate::numerics::matrix::{Matrix, dot};

type FitState = IterState<Vec<f64>, (), Matrix, (), Vec<f64>, f64>;

/// First radius of trust, the largest one, and the one at which a fit gives up.
const RADIUS: (f64, f64, f64) = (1.0, 3.0, 1e-4);
/// Steps after which a Jacobian that fails is made afresh.
const STALE: u64 = 3;
/// Doublings and halvings of lambda in search of the radius.
const SEARCHES: usize = 40;

/// The solver. Its state carries the values, the residuals, the Jacobian and the cost |r|^2.
#[derive(Debug, Clone)]
pub struct TrustedLeastSquares {
    /// Least and largest of each value.
    bounds: Vec<(f64, f64)>,
    /// Improvement of the cost below which a step is the last.
    tolerance: f64,
    /// Fresh Jacobians that may still be asked for.
    allowed: u64,
    radius: f64,
    /// Steps since the Jacobian was fresh.
    age: u64,
    finished: bool,
}

impl TrustedLeastSquares {
    /// A solver within `bounds` that stops once a step promises less than `tolerance`, or when it
    /// would need more fresh Jacobians than `allowed`.
    #[must_use]
    pub fn new(bounds: Vec<(f64, f64)>, tolerance: f64, allowed: u64) -> Self {
        TrustedLeastSquares {
            bounds,
            tolerance,
            allowed,
            radius: RADIUS.0,
            age: STALE,
            finished: false,
        }
    }

    /// A fresh Jacobian, or the old one and the end of the fit where no more is allowed.
    fn refreshed<O>(
        &mut self,
        problem: &mut Problem<O>,
        z: &Vec<f64>,
        old: Matrix,
    ) -> Result<Matrix, Error>
    where
        O: Jacobian<Param = Vec<f64>, Jacobian = Matrix>,
    {
        let Some(left) = self.allowed.checked_sub(1) else {
            self.finished = true;
            return Ok(old);
        };
        self.allowed = left;
        self.age = 0;
        problem.jacobian(z)
    }
}

/// The best step inside the box and the radius, and the improvement of the cost it promises; `None`
/// where the normal equations cannot be solved.
#[must_use]
pub fn trusted_step(
    jacobian: &Matrix,
    residuals: &[f64],
    z: &[f64],
    radius: f64,
    bounds: &[(f64, f64)],
) -> Option<(Vec<f64>, f64)> {
    let gradient = jacobian.transpose_times(residuals);
    let normal = jacobian.gram();
    let mut step = boxed_step(&normal, &gradient, z, 1e-9, bounds)?;
    if dot(&step, &step) > radius * radius {
        // The length falls as lambda grows: bracket, then halve in the logarithm.
        let (mut low, mut high) = (1e-9, 1e12);
        for _ in 0..SEARCHES {
            let middle = f64::sqrt(low * high);
            step = boxed_step(&normal, &gradient, z, middle, bounds)?;
            let length = dot(&step, &step).sqrt();
            if (length - 0.95 * radius).abs() < 0.05 * radius {
                break;
            }
            if length > radius {
                low = middle;
            } else {
                high = middle;
            }
        }
    }
    let moved = jacobian.times(&step);
    let after: f64 = residuals
        .iter()
        .zip(&moved)
        .map(|(s, m)| (s + m).powi(2))
        .sum();
    Some((step, dot(residuals, residuals) - after))
}

/// The step with one lambda, values at the box and pushed outwards held there.
fn boxed_step(
    normal: &Matrix,
    gradient: &[f64],
    z: &[f64],
    lambda: f64,
    bounds: &[(f64, f64)],
) -> Option<Vec<f64>> {
    let n = z.len();
    let mut held = vec![false; n];
    loop {
        let mut reduced = normal.clone();
        let mut right: Vec<f64> = gradient.iter().map(|g| -g).collect();
        for i in 0..n {
            reduced.set(i, i, normal.at(i, i) + lambda);
        }
        for i in (0..n).filter(|i| held.get(*i) == Some(&true)) {
            for j in 0..n {
                reduced.set(i, j, 0.0);
                reduced.set(j, i, 0.0);
            }
            reduced.set(i, i, 1.0);
            if let Some(slot) = right.get_mut(i) {
                *slot = 0.0;
            }
        }
        let mut step = reduced.cholesky()?.solve(&right);
        let mut again = false;
        for (((step, z), held), (low, high)) in step.iter_mut().zip(z).zip(&mut held).zip(bounds) {
            if z + *step < *low || z + *step > *high {
                *step = (z + *step).max(*low).min(*high) - z;
                // Already at the bound and pushed outwards: not free.
                if *step == 0.0 && !*held {
                    *held = true;
                    again = true;
                }
            }
        }
        if !again {
            return Some(step);
        }
    }
}

impl<O> Solver<O, FitState> for TrustedLeastSquares
where
    O: Operator<Param = Vec<f64>, Output = Vec<f64>>
        + Jacobian<Param = Vec<f64>, Jacobian = Matrix>,
{
    fn name(&self) -> &str {
        "least squares with priors and a region of trust"
    }

    fn init(
        &mut self,
        problem: &mut Problem<O>,
        mut state: FitState,
    ) -> Result<(FitState, Option<KV>), Error> {
        let start = state
            .take_param()
            .ok_or_else(|| Error::msg("a start is needed"))?;
        let z: Vec<f64> = start
            .iter()
            .zip(&self.bounds)
            .map(|(z, (low, high))| z.max(*low).min(*high))
            .collect();
        let residuals = problem.apply(&z)?;
        let cost = dot(&residuals, &residuals);
        let state = match state.take_jacobian() {
            // A Jacobian from a fit nearby is good enough to begin with.
            Some(jacobian) => state.jacobian(jacobian),
            None => {
                let none = Matrix::zero(residuals.len(), z.len());
                state.jacobian(self.refreshed(problem, &z, none)?)
            }
        };
        Ok((state.param(z).residuals(residuals).cost(cost), None))
    }

    fn next_iter(
        &mut self,
        problem: &mut Problem<O>,
        mut state: FitState,
    ) -> Result<(FitState, Option<KV>), Error> {
        let missing = || Error::msg("the fit lost its state");
        let z = state.take_param().ok_or_else(missing)?;
        let residuals = state.take_residuals().ok_or_else(missing)?;
        let mut jacobian = state.take_jacobian().ok_or_else(missing)?;
        let cost = state.get_cost();
        let (step, promised) =
            trusted_step(&jacobian, &residuals, &z, self.radius, &self.bounds)
                .ok_or_else(|| Error::msg("the normal equations cannot be solved"))?;
        let length = dot(&step, &step).sqrt();
        if promised < self.tolerance || length == 0.0 {
            // A secant Jacobian may promise too little.
            if self.age == 0 {
                self.finished = true;
            } else {
                jacobian = self.refreshed(problem, &z, jacobian)?;
                self.radius = self.radius.max(RADIUS.0);
            }
            let state = state.param(z).residuals(residuals).jacobian(jacobian);
            return Ok((state.cost(cost), None));
        }
        let trial: Vec<f64> = z.iter().zip(&step).map(|(z, d)| z + d).collect();
        // Where the model cannot go, the step was too long.
        let attempt = problem.apply(&trial).ok().map(|residuals| {
            let cost = dot(&residuals, &residuals);
            (residuals, cost)
        });
        if let Some((after, _)) = &attempt {
            let moved = jacobian.times(&step);
            let surprise: Vec<f64> = after
                .iter()
                .zip(residuals.iter().zip(&moved))
                .map(|(after, (before, moved))| after - before - moved)
                .collect();
            jacobian.add_outer(1.0 / (length * length), &surprise, &step);
        }
        let gain = attempt
            .as_ref()
            .map_or(f64::NEG_INFINITY, |(_, after)| (cost - after) / promised);
        if gain > 0.75 && length > 0.8 * self.radius {
            self.radius = (2.0 * self.radius).min(RADIUS.1);
        } else if gain < 0.25 {
            self.radius = (if gain > 0.0 { 0.5 } else { 0.3 }) * length;
        }
        let state = match attempt {
            Some((after, new_cost)) if new_cost < cost => {
                let settled = cost - new_cost < self.tolerance && gain > 0.5;
                // Only a fresh Jacobian may say that there is nothing more to gain.
                if settled && self.age == 0 {
                    self.finished = true;
                } else if settled || (gain < 0.1 && self.age >= STALE) {
                    jacobian = self.refreshed(problem, &trial, jacobian)?;
                } else {
                    self.age += 1;
                }
                state.param(trial).residuals(after).cost(new_cost)
            }
            _ => {
                self.age += u64::from(self.age > 0);
                if self.age >= STALE {
                    jacobian = self.refreshed(problem, &z, jacobian)?;
                }
                state.param(z).residuals(residuals).cost(cost)
            }
        };
        if self.radius < RADIUS.2 {
            self.finished = true;
        }
        Ok((state.jacobian(jacobian), None))
    }

    fn terminate(&mut self, _state: &FitState) -> TerminationStatus {
        if self.finished {
            TerminationStatus::Terminated(TerminationReason::SolverConverged)
        } else {
            TerminationStatus::NotTerminated
        }
    }
}
