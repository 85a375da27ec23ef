//! One cause fitted to the traces, and what the fit is worth.

use argmin::core::{Executor, State};
use rayon::prelude::*;

use crate::numerics::matrix::{Matrix, dot};

use super::least_squares::LevenbergMarquardt;
use super::model::{BOUND, Objective, Problem};

/// Improvement of the cost below which a fit has settled: it moves no probability.
const TOLERANCE: f64 = 0.05;

/// Starts of a freed value, as variates of its prior.
const STARTS: [f64; 5] = [-1.8, -0.9, 0.0, 0.9, 1.8];
/// Starts that are followed to their end in a thorough search.
const FOLLOWED: usize = 5;
/// Directions searched where no value is freed.
const DIRECTIONS: usize = 3;

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
    /// Steps taken.
    pub iterations: u64,
}

impl Fit {
    /// Cost |s|^2 + |z|^2.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.misfit + self.surprise
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

/// Fits from a start, with a Jacobian from nearby if there is one. `None` where the model cannot be
/// evaluated at the start.
#[must_use]
pub fn fit(
    problem: &Problem<'_, '_>,
    start: &[f64],
    jacobian: Option<Matrix>,
    iterations: u64,
) -> Option<Fit> {
    let solver = LevenbergMarquardt::new(BOUND, TOLERANCE);
    let result = Executor::new(Objective(problem), solver)
        .configure(|state| {
            let state = state.param(start.to_vec()).max_iters(iterations);
            match jacobian {
                Some(jacobian) => state.jacobian(jacobian),
                None => state,
            }
        })
        .run()
        .ok()?;
    let mut state = result.state;
    let z = state.take_param()?;
    let residuals = state.take_residuals()?;
    Some(Fit {
        misfit: dot(&residuals, &residuals),
        surprise: dot(&z, &z),
        jacobian: state.take_jacobian()?,
        iterations: state.get_iter(),
        z,
    })
}

/// Noise of a first fit over the true one: fronts that are still out of place attract each other
/// from further away.
const BLUR: f64 = 5.0;
/// Steps of that first fit.
const BLURRED_STEPS: u64 = 8;

/// A fit with enlarged noise, expressed in the true noise.
fn blurred(problem: &Problem<'_, '_>, start: &[f64]) -> Option<Fit> {
    let wide = problem.with_inflation(BLUR * problem.inflation);
    let mut near = fit(&wide, start, None, BLURRED_STEPS)?;
    near.misfit *= BLUR * BLUR;
    near.jacobian.scale(BLUR);
    Some(near)
}

/// Fits from several starts: along the freed value, or without one along the directions the data
/// see best. The starts are ranked by their cost, the best one is followed (with `thorough`, the
/// best few) with enlarged noise, and the best end is kept: a start for [`fit`].
#[must_use]
pub fn fit_from_several(problem: &Problem<'_, '_>, around: &[f64], thorough: bool) -> Option<Fit> {
    let directions = match problem.fault_index() {
        Some(k) => vec![
            (0..around.len())
                .map(|i| f64::from(u8::from(i == k)))
                .collect(),
        ],
        None => best_seen(problem, around)?,
    };
    let mut starts: Vec<(f64, Vec<f64>)> = directions
        .par_iter()
        .flat_map(|direction: &Vec<f64>| {
            STARTS.into_par_iter().map(move |reach| {
                around
                    .iter()
                    .zip(direction)
                    .map(|(z, d)| (1.0 - d.abs()) * z + reach * d)
                    .collect::<Vec<f64>>()
            })
        })
        .map(|start| (problem.cost(&start), start))
        .filter(|(cost, _)| cost.is_finite())
        .collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0));
    starts.truncate(if thorough { FOLLOWED } else { 1 });
    starts
        .par_iter()
        .filter_map(|(_, start)| blurred(problem, start))
        .min_by(|a, b| a.cost().total_cmp(&b.cost()))
}

/// Unit directions of the variates that move the residuals most.
fn best_seen(problem: &Problem<'_, '_>, at: &[f64]) -> Option<Vec<Vec<f64>>> {
    let (_, vectors) = problem.sensitivities(at).ok()?.gram().symmetric_eigen();
    let last = at.len().saturating_sub(DIRECTIONS);
    Some((last..at.len()).map(|k| vectors.column(k)).collect())
}
