//! Levenberg-Marquardt with unit normal priors inside a box, as a solver for argmin's executor.
//!
//! Law: least of |s(z)|^2 + |z|^2 over -B <= z <= B. Each step solves
//! (J^T J + I + lambda D) d = -(J^T s + z), D the diagonal of J^T J + I, with values that would
//! leave the box held at it (Levenberg 1944, Marquardt 1963; damping by the gain ratio after
//! Nielsen 1999, IMM-REP-1999-05). Between fresh Jacobians the secant update of Broyden (1965,
//! Math. Comp. 19, 577) spares most evaluations.

use argmin::core::{
    Error, IterState, Jacobian, KV, Operator, Problem, Solver, TerminationReason, TerminationStatus,
};

use crate::numerics::matrix::{Matrix, dot};

type FitState = IterState<Vec<f64>, (), Matrix, (), Vec<f64>, f64>;

/// The solver. Its state carries the values, the residuals without the priors, the Jacobian and
/// the cost |s|^2 + |z|^2.
#[derive(Debug, Clone)]
pub struct LevenbergMarquardt {
    /// Half width of the box in standard deviations.
    bound: f64,
    /// Improvement of the cost below which a step is the last.
    tolerance: f64,
    damping: f64,
    growth: f64,
    fresh: bool,
    finished: bool,
}

impl LevenbergMarquardt {
    /// A solver for |z| <= `bound` that stops once a step promises less than `tolerance`.
    #[must_use]
    pub fn new(bound: f64, tolerance: f64) -> Self {
        LevenbergMarquardt {
            bound,
            tolerance,
            damping: 1e-2,
            growth: 2.0,
            fresh: false,
            finished: false,
        }
    }

    /// The step, and the improvement of the cost it promises.
    fn step(&self, jacobian: &Matrix, residuals: &[f64], z: &[f64]) -> Option<(Vec<f64>, f64)> {
        let n = z.len();
        let mut gradient = jacobian.transpose_times(residuals);
        for (slope, value) in gradient.iter_mut().zip(z) {
            *slope += value;
        }
        let mut normal = jacobian.gram();
        for i in 0..n {
            let diagonal = normal.at(i, i) + 1.0;
            normal.set(i, i, diagonal * (1.0 + self.damping));
        }
        let mut held = vec![false; n];
        loop {
            let mut reduced = normal.clone();
            let mut right: Vec<f64> = gradient.iter().map(|g| -g).collect();
            for i in (0..n).filter(|i| held[*i]) {
                for j in 0..n {
                    reduced.set(i, j, 0.0);
                    reduced.set(j, i, 0.0);
                }
                reduced.set(i, i, 1.0);
                right[i] = 0.0;
            }
            let mut step = reduced.cholesky()?.solve(&right);
            let mut again = false;
            for i in 0..n {
                let target = z[i] + step[i];
                if target.abs() > self.bound {
                    step[i] = target.clamp(-self.bound, self.bound) - z[i];
                    // Already at the bound and pushed outwards: not free.
                    if step[i] == 0.0 && !held[i] {
                        held[i] = true;
                        again = true;
                    }
                }
            }
            if !again {
                let moved = jacobian.times(&step);
                let after: f64 = residuals
                    .iter()
                    .zip(&moved)
                    .map(|(s, m)| (s + m).powi(2))
                    .sum();
                let prior: f64 = z.iter().zip(&step).map(|(z, d)| (z + d).powi(2)).sum();
                let promised = dot(residuals, residuals) + dot(z, z) - after - prior;
                return Some((step, promised));
            }
        }
    }

    fn soften(&mut self) {
        self.damping *= self.growth;
        self.growth *= 2.0;
    }
}

impl<O> Solver<O, FitState> for LevenbergMarquardt
where
    O: Operator<Param = Vec<f64>, Output = Vec<f64>>
        + Jacobian<Param = Vec<f64>, Jacobian = Matrix>,
{
    fn name(&self) -> &str {
        "Levenberg-Marquardt with priors"
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
            .map(|z| z.clamp(-self.bound, self.bound))
            .collect();
        let residuals = problem.apply(&z)?;
        let cost = dot(&residuals, &residuals) + dot(&z, &z);
        let state = match state.take_jacobian() {
            // A Jacobian from a fit nearby is good enough to begin with.
            Some(jacobian) => state.jacobian(jacobian),
            None => {
                self.fresh = true;
                state.jacobian(problem.jacobian(&z)?)
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
        let promise = self.step(&jacobian, &residuals, &z);
        let (step, promised) = match promise {
            Some(found) => found,
            None => {
                self.soften();
                return Ok((
                    state
                        .param(z)
                        .residuals(residuals)
                        .jacobian(jacobian)
                        .cost(cost),
                    None,
                ));
            }
        };
        if promised < self.tolerance {
            // A secant Jacobian may promise too little.
            if self.fresh || promised < 0.0 {
                self.finished = true;
            } else {
                jacobian = problem.jacobian(&z)?;
                self.fresh = true;
            }
            return Ok((
                state
                    .param(z)
                    .residuals(residuals)
                    .jacobian(jacobian)
                    .cost(cost),
                None,
            ));
        }
        let trial: Vec<f64> = z.iter().zip(&step).map(|(z, d)| z + d).collect();
        // Where the model cannot go, the step was too long.
        let attempt = problem.apply(&trial).ok().map(|residuals| {
            let cost = dot(&residuals, &residuals) + dot(&trial, &trial);
            (residuals, cost)
        });
        let length = dot(&step, &step);
        if let Some((after, _)) = &attempt
            && length > 0.0
        {
            let moved = jacobian.times(&step);
            let surprise: Vec<f64> = after
                .iter()
                .zip(residuals.iter().zip(&moved))
                .map(|(after, (before, moved))| after - before - moved)
                .collect();
            jacobian.add_outer(1.0 / length, &surprise, &step);
        }
        let state = match attempt {
            Some((after, new_cost)) if new_cost < cost => {
                let gain = (cost - new_cost) / promised;
                self.damping *= (1.0 - (2.0 * gain - 1.0).powi(3)).clamp(1.0 / 5.0, 2.0);
                self.growth = 2.0;
                let settled = cost - new_cost < 0.5 * self.tolerance;
                // Only a fresh Jacobian may say that there is nothing more to gain.
                if settled && self.fresh {
                    self.finished = true;
                } else if settled || gain < 0.35 {
                    jacobian = problem.jacobian(&trial)?;
                    self.fresh = true;
                } else {
                    self.fresh = false;
                }
                state.param(trial).residuals(after).cost(new_cost)
            }
            _ => {
                if self.fresh || self.damping > 1e6 {
                    self.soften();
                    if self.damping > 1e8 {
                        self.finished = true;
                    }
                } else {
                    jacobian = problem.jacobian(&z)?;
                    self.fresh = true;
                }
                if self.fresh && self.damping < 1e-2 {
                    self.damping = 1e-2;
                }
                state.param(z).residuals(residuals).cost(cost)
            }
        };
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
