//! One cause fitted to the traces, and what the fit is worth.

use argmin::core::{Executor, State, TerminationReason};

use crate::numerics::matrix::{Matrix, dot};

use super::least_squares::TrustedLeastSquares;
use super::problem::Problem;
use super::slopes::Objective;

/// Improvement of the cost below which a fit has settled: it moves no probability.
const TOLERANCE: f64 = 0.05;

/// Starts of a freed value, as variates of its prior.
const STARTS: [f64; 5] = [-2.0, -1.0, 0.0, 1.0, 2.0];
/// Starts added between others so that the peak comes in time, and how close they may lie.
const SHOTS: usize = 3;
const CLOSE: f64 = 0.02;
/// Directions searched where no value is freed.
const DIRECTIONS: usize = 3;

/// How long a fit may go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Steps.
    pub steps: u64,
    /// Fresh Jacobians.
    pub jacobians: u64,
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
    /// Sensitivities at (or, for a secant Jacobian, near) the best values.
    pub jacobian: Matrix,
    /// Whether it ended where there was no more to gain.
    pub converged: bool,
}

impl Fit {
    /// Cost |s|^2 + |z|^2.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.misfit + self.surprise
    }

    /// The same values with other noise: `share` is the factor on squared residuals.
    #[must_use]
    pub fn with_noise(mut self, share: f64) -> Self {
        self.misfit *= share;
        self.jacobian.scale(share.sqrt());
        self
    }

    /// The same values with sensitivities made afresh, as the evidence needs them; secant updates may be
    /// far off in directions not taken.
    #[must_use]
    pub fn freshened(mut self, problem: &Problem<'_, '_>) -> Self {
        if let Ok(settled) = problem.settled(&self.z) {
            let slopes = problem.outer_slopes(&settled);
            if let Some(projected) = problem.projected(&settled, &slopes) {
                self.jacobian = problem.all_slopes(&settled, &projected);
            }
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
        let volume = self
            .precision()
            .cholesky()
            .map_or(0.0, |factor| factor.log_determinant());
        -0.5 * (self.cost() + volume)
    }

    /// Number of values the traces have settled: trace of J^T J (J^T J + I)^-1.
    #[must_use]
    pub fn settled(&self) -> f64 {
        let covariance = self.covariance();
        (0..self.z.len()).map(|i| 1.0 - covariance.at(i, i)).sum()
    }
}

/// Fits from a start. `None` where the model cannot be evaluated there.
#[must_use]
pub fn fit(problem: &Problem<'_, '_>, start: &[f64], effort: Effort) -> Option<Fit> {
    problem.begin_at(start);
    let objective = Objective {
        problem,
        base: start.to_vec(),
    };
    let solver = TrustedLeastSquares::new(problem, TOLERANCE, effort.jacobians);
    let begin = problem.pick(&problem.outer, start);
    let result = Executor::new(objective, solver)
        .configure(|state| state.param(begin).max_iters(effort.steps))
        .run()
        .ok()?;
    let mut state = result.state;
    let ended = state.get_termination_reason();
    let converged = ended == Some(&TerminationReason::SolverConverged);
    let outer = state.take_param()?;
    let projected = state.take_jacobian()?;
    let settled = problem
        .settled(&problem.with(&problem.outer, &outer, start))
        .ok()?;
    let misfit = dot(&settled.residuals, &settled.residuals);
    Some(Fit {
        misfit,
        surprise: problem.cost_of(&settled) - misfit,
        jacobian: problem.all_slopes(&settled, &projected),
        converged,
        z: settled.z,
    })
}

/// A start with clocks and sensors settled.
struct Start {
    cost: f64,
    z: Vec<f64>,
    /// How much later than measured the readings peak [s].
    late: Option<f64>,
}

impl Start {
    fn at(problem: &Problem<'_, '_>, z: &[f64]) -> Option<Self> {
        problem.begin_at(z);
        let settled = problem.settled_from_several(z, &STARTS).ok()?;
        Some(Start {
            cost: problem.cost_of(&settled),
            late: problem.peak_late(&settled),
            z: settled.z,
        })
    }
}

/// Starts along one freed value, and between those of which one peaks early and the next one late
/// another that should peak in time: a front out of place does not say which way to go.
fn along(problem: &Problem<'_, '_>, k: usize, design: &[f64]) -> Vec<Start> {
    let at = |reach: f64| Start::at(problem, &problem.with(&[k], &[reach], design));
    let mut found: Vec<Start> = STARTS.iter().filter_map(|reach| at(*reach)).collect();
    for _ in 0..SHOTS {
        found.sort_by(|a, b| {
            let of = |start: &Start| start.z.get(k).copied().unwrap_or(0.0);
            of(a).total_cmp(&of(b))
        });
        let crossing = found.windows(2).find_map(|pair| {
            let [a, b] = pair else { return None };
            let (early, late) = (a.late?, b.late?);
            let (from, to) = (a.z.get(k)?, b.z.get(k)?);
            let apart = early * late < 0.0 && to - from > CLOSE;
            apart.then(|| from + (to - from) * (early / (early - late)).clamp(0.1, 0.9))
        });
        let Some(start) = crossing.and_then(at) else {
            break;
        };
        found.push(start);
    }
    found
}

/// Starts of a fit: the best of each given design, the best of them first, then all others. Each design
/// is tried with several values of what the cause frees, or without a freed value along the directions
/// the traces see best.
#[must_use]
pub fn ranked_starts(problem: &Problem<'_, '_>, designs: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let mut best: Vec<Start> = Vec::new();
    let mut others: Vec<Start> = Vec::new();
    for design in designs {
        let mut starts: Vec<Start> = match problem.fault_index() {
            Some(k) if problem.outer.contains(&k) => along(problem, k, design),
            Some(_) => Start::at(problem, design).into_iter().collect(),
            None => {
                let mut found: Vec<Start> = Start::at(problem, design).into_iter().collect();
                for direction in best_seen(problem, design).unwrap_or_default() {
                    let reaches = STARTS.iter().filter(|reach| **reach != 0.0);
                    found.extend(reaches.filter_map(|reach| {
                        let pairs = design.iter().zip(&direction);
                        let start: Vec<f64> = pairs.map(|(z, d)| z + reach * d).collect();
                        Start::at(problem, &start)
                    }));
                }
                found
            }
        };
        starts.retain(|start| start.cost.is_finite());
        starts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        let mut starts = starts.into_iter();
        best.extend(starts.next());
        others.extend(starts);
    }
    for starts in [&mut best, &mut others] {
        starts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    }
    let all = best.into_iter().chain(others);
    all.map(|start| start.z).collect()
}

/// Unit directions of the values of the rocket that move the residuals most, clocks and sensors
/// following.
fn best_seen(problem: &Problem<'_, '_>, at: &[f64]) -> Option<Vec<Vec<f64>>> {
    let settled = problem.settled(at).ok()?;
    let slopes = problem.outer_slopes(&settled);
    let projected = problem.projected(&settled, &slopes)?;
    let (_, vectors) = projected.gram().symmetric_eigen();
    let count = problem.outer.len();
    let none = vec![0.0; at.len()];
    Some(
        (count.saturating_sub(DIRECTIONS)..count)
            .map(|k| problem.with(&problem.outer, &vectors.column(k), &none))
            .collect(),
    )
}
