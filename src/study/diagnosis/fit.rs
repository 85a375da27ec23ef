//! One cause fitted to the traces, and what the fit is worth.

use std::sync::OnceLock;

use argmin::core::{Executor, State, TerminationReason};

use crate::numerics::matrix::{Matrix, dot};

use super::evidence::Goodness;
use super::least_squares::{NOTHING_PROMISED, OUT_OF_REACH, TrustedLeastSquares};
use super::problem::Problem;
use super::settle::Settled;
use super::slopes::Objective;

/// Improvement of the cost below which a fit has settled: it moves no probability.
const TOLERANCE: f64 = 0.05;

/// How long a fit may go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Steps.
    pub steps: u64,
    /// Fresh Jacobians.
    pub jacobians: u64,
    /// Whether they are made from both sides where one does not show what was expected.
    pub careful: bool,
    /// Cost that must be in reach for it to go on.
    pub wanted: f64,
}

/// How a fit ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// Where a fresh Jacobian says that what it was wanted for is out of reach.
    OutOfReach,
    /// With steps left to take, or with one that did not go as promised.
    CutShort,
    /// Where a Jacobian that served well so far promises no more.
    NothingPromised,
    /// Where a fresh Jacobian promises no more.
    Converged,
}

/// The best values found.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Variates of all values of the problem.
    pub z: Vec<f64>,
    /// |s|^2, robust.
    pub misfit: f64,
    /// |z|^2.
    pub surprise: f64,
    /// Sensitivities to the variates of all values at (or, for a secant Jacobian, near) the best ones.
    pub jacobian: Matrix,
    /// Sensitivities to the coordinates of the values of the rocket.
    pub slopes: Matrix,
    /// How it ended.
    pub end: End,
    /// How its residuals look, once that was asked for.
    pub goodness: OnceLock<Goodness>,
    /// Its evidence, once that was asked for.
    evidence: OnceLock<f64>,
}

impl Fit {
    /// Cost |s|^2 + |z|^2.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.misfit + self.surprise
    }

    /// A fit of a problem that begins where this one ended, with its sensitivities.
    #[must_use]
    pub fn continued(&self, problem: &Problem<'_, '_>, effort: Effort) -> Option<Fit> {
        let settled = problem.settled(&self.z).ok()?;
        fit(problem, &settled, Some(self.slopes.clone()), effort)
    }

    /// The same values with other noise: `share` is the factor on squared residuals.
    #[must_use]
    pub fn with_noise(mut self, share: f64) -> Self {
        self.misfit *= share;
        self.jacobian.scale(share.sqrt());
        self.slopes.scale(share.sqrt());
        self.goodness = OnceLock::new();
        self.evidence = OnceLock::new();
        self
    }

    /// The same values with sensitivities made afresh, as the evidence needs them; secant updates may be
    /// far off in directions not taken.
    #[must_use]
    pub fn freshened(mut self, problem: &Problem<'_, '_>) -> Self {
        if let Ok(settled) = problem.settled(&self.z) {
            problem.begin_at(&settled, Some(self.slopes));
            self.slopes = problem.outer_slopes(&settled, true);
            self.jacobian = problem.all_slopes(&settled, &self.slopes);
            self.evidence = OnceLock::new();
        }
        self
    }

    /// J^T J + I, the precision of the variates after the traces.
    #[must_use]
    pub fn precision(&self) -> Matrix {
        let mut precision = self.jacobian.gram();
        for i in 0..precision.rows() {
            precision.set(i, i, precision.at(i, i) + 1.0);
        }
        precision
    }

    /// Covariance of the variates after the traces; the prior where it cannot be inverted.
    #[must_use]
    pub fn covariance(&self) -> Matrix {
        match self.precision().cholesky() {
            Some(factor) => factor.inverse(),
            None => {
                let n = self.z.len();
                let mut unit = Matrix::zero(n, n);
                for i in 0..n {
                    unit.set(i, i, 1.0);
                }
                unit
            }
        }
    }

    /// Natural logarithm of the evidence by Laplace's approximation, up to the constant all causes
    /// share: ln Z = -|s|^2/2 - |z|^2/2 - ln det(J^T J + I)/2 (MacKay 2003, Information Theory,
    /// Inference and Learning Algorithms, ch. 27 and 28; the priors are unit normals).
    #[must_use]
    pub fn log_evidence(&self) -> f64 {
        *self.evidence.get_or_init(|| {
            let factor = self.precision().cholesky();
            let volume = factor.map_or(0.0, |factor| factor.log_determinant());
            -0.5 * (self.cost() + volume)
        })
    }

    /// Number of values the traces have settled: trace of J^T J (J^T J + I)^-1.
    #[must_use]
    pub fn settled(&self) -> f64 {
        let covariance = self.covariance();
        (0..self.z.len()).map(|i| 1.0 - covariance.at(i, i)).sum()
    }
}

/// Fits from a start, with what is known of the sensitivities to the values of the rocket there. `None`
/// where the model cannot be evaluated.
#[must_use]
pub fn fit(
    problem: &Problem<'_, '_>,
    start: &Settled,
    known: Option<Matrix>,
    effort: Effort,
) -> Option<Fit> {
    let projected = known.as_ref().and_then(|k| problem.projected(start, k));
    problem.begin_at(start, known);
    let objective = Objective {
        problem,
        base: start.z.clone(),
        careful: effort.careful,
    };
    let solver = TrustedLeastSquares::new(problem, TOLERANCE, effort.jacobians)
        .knowing(projected)
        .wanting(effort.wanted);
    let begin = problem.pick(&problem.outer, &start.z);
    let result = Executor::new(objective, solver)
        .configure(|state| state.param(begin).max_iters(effort.steps))
        .run()
        .ok()?;
    let mut state = result.state;
    let end = match state.get_termination_reason() {
        Some(TerminationReason::SolverConverged) => End::Converged,
        Some(TerminationReason::SolverExit(why)) if why == NOTHING_PROMISED => End::NothingPromised,
        Some(TerminationReason::SolverExit(why)) if why == OUT_OF_REACH => End::OutOfReach,
        _ => End::CutShort,
    };
    let outer = state.take_param()?;
    let projected = state.take_jacobian()?;
    let settled = problem
        .settled(&problem.with(&problem.outer, &outer, &start.z))
        .ok()?;
    let misfit = dot(&settled.residuals, &settled.residuals);
    let slopes = problem.unprojected(&settled, &projected);
    Some(Fit {
        misfit,
        surprise: problem.cost_of(&settled) - misfit,
        jacobian: problem.all_slopes(&settled, &slopes),
        slopes,
        end,
        z: settled.z,
        goodness: OnceLock::new(),
        evidence: OnceLock::new(),
    })
}
