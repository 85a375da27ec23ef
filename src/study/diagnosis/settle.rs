//! Clocks and sensors fitted to a finished discharge, so that the fit of the rocket moves only what
//! needs a discharge.
//!
//! Law: variable projection (Golub & Pereyra 1973, SIAM J. Numer. Anal. 10, 413). The least cost over
//! the values q of clocks and sensors, which act after a discharge, is a function of the values p of
//! the rocket alone; with the residuals extended by the priors of q, r = (s, q), its Jacobian is
//! P [J_p; 0], P the projector across the columns of [J_q; I] (Kaufman 1975, BIT 15, 49).

use std::sync::Arc;

use argmin::core::{Error as ArgminError, Jacobian, Operator};
use rayon::prelude::*;

use crate::numerics::matrix::{Matrix, dot};

use super::least_squares::trusted_step;
use super::model::BOUND;
use super::observe::Run;
use super::parameter::{Parameter, Role};
use super::problem::{EvaluationError, Problem};

/// First step of the finite differences, and its limits, in standard deviations of the prior.
const STEP: (f64, f64, f64) = (0.05, 0.002, 0.2);
/// Change of all residuals together that a step should make: well above the roughness of an
/// integration, within the width of a front that moves [1].
const CHANGE: f64 = 2.0;
/// Sensitivity of all residuals together below which an old one is good enough: such a value stays
/// near its prior [1].
const NEGLIGIBLE: f64 = 0.3;
/// Step of the finite differences of clocks and sensors, in standard deviations of the prior.
const INNER_STEP: f64 = 0.05;
/// Radius of trust of clocks and sensors.
const INNER_RADIUS: f64 = 4.0;
/// Least rate of a scaled coordinate over its variate.
const LEAST_RATE: f64 = 1e-4;
/// Most steps to settle clocks and sensors.
const INNER_STEPS: usize = 20;
/// Improvement of the cost that is worth a further step.
const INNER_TOLERANCE: f64 = 0.02;
/// Evaluations kept.
const KEPT: usize = 3;

/// Clocks and sensors at their best for given values of the rocket.
#[derive(Debug, Clone)]
pub struct Settled {
    /// Variates of all values of the problem.
    pub z: Vec<f64>,
    /// Robust residuals.
    pub residuals: Vec<f64>,
    /// Sensitivities of the residuals to clocks and sensors.
    pub slopes: Matrix,
    runs: Arc<Vec<Run>>,
}

/// What a problem remembers: the last evaluations, where clocks and sensors settled best and the
/// steps of the finite differences that served.
#[derive(Debug, Default)]
pub struct Memory {
    latest: Vec<Settled>,
    best: Option<(f64, Vec<f64>)>,
    steps: Vec<f64>,
    slopes: Option<Matrix>,
}

impl Problem<'_, '_> {
    /// Some of all values.
    pub fn pick(&self, which: &[usize], z: &[f64]) -> Vec<f64> {
        which
            .iter()
            .map(|k| z.get(*k).copied().unwrap_or(0.0))
            .collect()
    }

    /// All values with some replaced.
    pub fn with(&self, which: &[usize], values: &[f64], z: &[f64]) -> Vec<f64> {
        let mut z = z.to_vec();
        for (k, value) in which.iter().zip(values) {
            if let Some(slot) = z.get_mut(*k) {
                *slot = *value;
            }
        }
        z
    }

    fn runs(&self, z: &[f64]) -> Result<Arc<Vec<Run>>, EvaluationError> {
        let runs = (0..self.model.traces.len())
            .map(|trace| self.run(z, trace))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Arc::new(runs))
    }

    /// The cost |s|^2 + |z|^2 of what has settled; a held value does not count.
    pub fn cost_of(&self, settled: &Settled) -> f64 {
        let free = |which: &[usize]| {
            let z = self.pick(which, &settled.z);
            dot(&z, &z)
        };
        dot(&settled.residuals, &settled.residuals) + free(&self.outer) + free(&self.inner)
    }

    /// Where clocks and sensors begin to settle from now on. What was negligible elsewhere may not be
    /// here.
    pub fn begin_at(&self, z: &[f64]) {
        if let Ok(mut memory) = self.memory.lock() {
            memory.slopes = None;
            memory.best = Some((f64::INFINITY, self.pick(&self.inner, z)));
        }
    }

    /// Clocks and sensors at their best for the values of the rocket in `z`.
    ///
    /// # Errors
    /// Where the model cannot go.
    pub fn settled(&self, z: &[f64]) -> Result<Settled, EvaluationError> {
        let outer = self.pick(&self.outer, z);
        let mut start = self.effective(z);
        if let Ok(memory) = self.memory.lock() {
            let known = memory
                .latest
                .iter()
                .find(|settled| self.pick(&self.outer, &settled.z) == outer);
            if let Some(known) = known {
                return Ok(known.clone());
            }
            if let Some((_, inner)) = &memory.best {
                start = self.with(&self.inner, inner, &start);
            }
        }
        let settled = self.settle(self.runs(&start)?, start);
        let cost = self.cost_of(&settled);
        if let Ok(mut memory) = self.memory.lock() {
            if memory.best.as_ref().is_none_or(|(best, _)| cost < *best) {
                memory.best = Some((cost, self.pick(&self.inner, &settled.z)));
            }
            if memory.latest.len() >= KEPT {
                memory.latest.remove(0);
            }
            memory.latest.push(settled.clone());
        }
        Ok(settled)
    }

    /// Clocks and sensors from several starts of the first value the cause frees, if it is one of
    /// them; the best.
    pub fn settled_from_several(
        &self,
        z: &[f64],
        starts: &[f64],
    ) -> Result<Settled, EvaluationError> {
        let Some(k) = self.fault_index().filter(|k| self.inner.contains(k)) else {
            return self.settled(z);
        };
        let runs = self.runs(z)?;
        let mut best: Option<(f64, Settled)> = None;
        for start in starts {
            let from = self.with(&[k], &[*start], z);
            let settled = self.settle(Arc::clone(&runs), from);
            let cost = self.cost_of(&settled);
            if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                best = Some((cost, settled));
            }
        }
        match best {
            Some((_, settled)) => Ok(settled),
            None => self.settled(z),
        }
    }

    /// How much later the expected readings of the first channel peak than the measured ones do [s].
    pub fn peak_late(&self, settled: &Settled) -> Option<f64> {
        let channel = self.model.traces.first()?.channels.first()?;
        let expected = self.readings(settled.runs.first()?, &settled.z, 0);
        let peak = |values: &[f64]| {
            let pairs = values.iter().zip(&channel.times);
            let most = pairs.max_by(|a, b| a.0.total_cmp(b.0));
            most.map(|(_, time)| *time)
        };
        Some(peak(expected.get(..channel.values.len())?)? - peak(&channel.values)?)
    }

    fn settle(&self, runs: Arc<Vec<Run>>, mut z: Vec<f64>) -> Settled {
        let mut residuals = self.residuals_of(&runs, &z);
        let mut slopes = self.inner_slopes(&runs, &z, &residuals);
        let mut radius = INNER_RADIUS;
        let bounds = vec![(-BOUND, BOUND); self.inner.len()];
        for _ in 0..INNER_STEPS {
            let q = self.pick(&self.inner, &z);
            let extended: Vec<f64> = residuals.iter().chain(&q).copied().collect();
            let with_priors = slopes.over_unit();
            let Some((step, promised)) = trusted_step(&with_priors, &extended, &q, radius, &bounds)
            else {
                break;
            };
            if promised < INNER_TOLERANCE {
                break;
            }
            let moved: Vec<f64> = q.iter().zip(&step).map(|(q, d)| q + d).collect();
            let trial = self.with(&self.inner, &moved, &z);
            let after = self.residuals_of(&runs, &trial);
            let gained = dot(&residuals, &residuals) + dot(&q, &q)
                - dot(&after, &after)
                - dot(&moved, &moved);
            if gained > 0.0 {
                z = trial;
                residuals = after;
                slopes = self.inner_slopes(&runs, &z, &residuals);
                radius = (2.0 * radius).min(INNER_RADIUS);
            } else {
                radius = 0.3 * dot(&step, &step).sqrt();
            }
        }
        Settled {
            z,
            residuals,
            slopes,
            runs,
        }
    }

    fn inner_slopes(&self, runs: &[Run], z: &[f64], at: &[f64]) -> Matrix {
        let mut slopes = Matrix::zero(at.len(), self.inner.len());
        for (column, k) in self.inner.iter().enumerate() {
            let here = z.get(*k).copied().unwrap_or(0.0);
            let step = if here > 0.0 { -INNER_STEP } else { INNER_STEP };
            let moved = self.with(&[*k], &[here + step], z);
            let own = self.parameters.get(*k).and_then(|p| match p.role {
                Role::Start { trace } | Role::Sensor { trace, .. } => Some(trace),
                _ => None,
            });
            let mut row = 0;
            for (trace, run) in runs.iter().enumerate() {
                if own.is_some_and(|own| own != trace) {
                    row += self.model.traces.get(trace).map_or(0, |m| m.size());
                    continue;
                }
                for after in self.robust_residuals(run, &moved, trace) {
                    let before = at.get(row).copied().unwrap_or(after);
                    slopes.set(row, column, (after - before) / step);
                    row += 1;
                }
            }
        }
        slopes
    }

    /// Sensitivities of the residuals to the values that need a discharge, by one-sided differences
    /// with clocks and sensors as they are.
    pub fn outer_slopes(&self, settled: &Settled) -> Matrix {
        let (known, old) = match self.memory.lock() {
            Ok(memory) => (memory.steps.clone(), memory.slopes.clone()),
            Err(_) => (Vec::new(), None),
        };
        let found: Vec<(Vec<f64>, f64)> = self
            .outer
            .par_iter()
            .enumerate()
            .map(|(place, k)| {
                let size = known.get(place).copied().unwrap_or(STEP.0);
                if let Some(old) = &old {
                    let column = old.column(place);
                    if dot(&column, &column) < NEGLIGIBLE * NEGLIGIBLE {
                        return (column, size);
                    }
                }
                self.fitting_column(settled, *k, size)
            })
            .collect();
        let (columns, steps): (Vec<Vec<f64>>, Vec<f64>) = found.into_iter().unzip();
        let mut slopes = Matrix::zero(settled.residuals.len(), self.outer.len());
        for (place, column) in columns.iter().enumerate() {
            for (row, slope) in column.iter().enumerate() {
                slopes.set(row, place, *slope);
            }
        }
        if let Ok(mut memory) = self.memory.lock() {
            memory.steps = steps;
            memory.slopes = Some(slopes.clone());
        }
        slopes
    }

    /// One column with a step that fits, and the step for next time.
    fn fitting_column(&self, settled: &Settled, k: usize, mut size: f64) -> (Vec<f64>, f64) {
        let towards_middle = if settled.z.get(k).is_some_and(|z| *z > 0.0) {
            -1.0
        } else {
            1.0
        };
        for attempt in 0.. {
            let Some(column) = self
                .column(settled, k, towards_middle * size)
                .or_else(|| self.column(settled, k, -towards_middle * size))
            else {
                break;
            };
            let slope = dot(&column, &column).sqrt();
            let fitting = (CHANGE / slope.max(1e-9)).clamp(STEP.1, STEP.2);
            if slope * size <= 4.0 * CHANGE || attempt == 2 || size <= STEP.1 {
                return (column, fitting);
            }
            size = fitting;
        }
        (Vec::new(), size)
    }

    fn column(&self, settled: &Settled, k: usize, step: f64) -> Option<Vec<f64>> {
        let mut moved = settled.z.clone();
        *moved.get_mut(k)? += step;
        let own = match self.parameters.get(k)?.role {
            Role::Input { trace, .. } => trace,
            _ => None,
        };
        let mut after = Vec::with_capacity(settled.residuals.len());
        for (trace, run) in settled.runs.iter().enumerate() {
            if own.is_some_and(|own| own != trace) {
                after.extend(self.robust_residuals(run, &moved, trace));
            } else {
                let run = self.run(&moved, trace).ok()?;
                after.extend(self.robust_residuals(&run, &moved, trace));
            }
        }
        Some(
            after
                .iter()
                .zip(&settled.residuals)
                .map(|(after, before)| (after - before) / step)
                .collect(),
        )
    }

    /// Residuals extended by the variates of clocks and sensors and those of the rocket.
    fn extended(&self, settled: &Settled) -> Vec<f64> {
        let mut extended = settled.residuals.clone();
        extended.extend(self.pick(&self.inner, &settled.z));
        extended.extend(self.pick(&self.outer, &settled.z));
        extended
    }

    /// Scaled coordinates of the values of the rocket.
    pub fn scaled(&self, z: &[f64]) -> Vec<f64> {
        self.of_outer(z, |parameter, z| parameter.scaled(z))
    }

    /// Their variates again.
    pub fn unscaled(&self, y: &[f64]) -> Vec<f64> {
        self.outer
            .iter()
            .zip(y)
            .filter_map(|(k, y)| Some(self.parameters.get(*k)?.unscaled(*y)))
            .map(|z| z.clamp(-BOUND, BOUND))
            .collect()
    }

    /// Rates of the scaled coordinates over the variates, towards the middle.
    fn rates(&self, z: &[f64]) -> Vec<f64> {
        self.of_outer(z, |parameter, z| {
            let step = if z > 0.0 { -STEP.0 } else { STEP.0 };
            let rate = (parameter.scaled(z + step) - parameter.scaled(z)) / step;
            rate.max(LEAST_RATE)
        })
    }

    fn of_outer(&self, z: &[f64], what: impl Fn(&Parameter, f64) -> f64) -> Vec<f64> {
        self.outer
            .iter()
            .zip(self.pick(&self.outer, z))
            .filter_map(|(k, z)| Some(what(self.parameters.get(*k)?, z)))
            .collect()
    }

    /// Limits of the scaled coordinates.
    pub fn bounds(&self) -> Vec<(f64, f64)> {
        self.outer
            .iter()
            .filter_map(|k| {
                let parameter = self.parameters.get(*k)?;
                Some((parameter.scaled(-BOUND), parameter.scaled(BOUND)))
            })
            .collect()
    }

    /// Slopes of the extended residuals over scaled coordinates, clocks and sensors following.
    pub fn projected(&self, settled: &Settled, slopes: &Matrix) -> Option<Matrix> {
        let (rows, inner) = (settled.residuals.len(), self.inner.len());
        let mut normal = settled.slopes.gram();
        for i in 0..inner {
            normal.set(i, i, normal.at(i, i) + 1.0);
        }
        let factor = normal.cholesky()?;
        let rates = self.rates(&settled.z);
        let mut projected = Matrix::zero(rows + inner + self.outer.len(), self.outer.len());
        for (column, rate) in rates.iter().enumerate() {
            let own: Vec<f64> = slopes.column(column).iter().map(|s| s / rate).collect();
            projected.set(rows + inner + column, column, 1.0 / rate);
            let follows = factor.solve(&settled.slopes.transpose_times(&own));
            let taken = settled.slopes.times(&follows);
            for (row, (own, taken)) in own.iter().zip(&taken).enumerate() {
                projected.set(row, column, own - taken);
            }
            for (row, follows) in follows.iter().enumerate() {
                projected.set(rows + row, column, -follows);
            }
        }
        Some(projected)
    }

    /// Sensitivities of the residuals to all values, in their order, from the projected ones.
    pub fn all_slopes(&self, settled: &Settled, projected: &Matrix) -> Matrix {
        let rows = settled.residuals.len();
        let mut all = Matrix::zero(rows, self.parameters.len());
        let rates = self.rates(&settled.z);
        for ((place, k), rate) in self.outer.iter().enumerate().zip(&rates) {
            let follows: Vec<f64> = (0..self.inner.len())
                .map(|i| -projected.at(rows + i, place))
                .collect();
            for (row, taken) in settled.slopes.times(&follows).iter().enumerate() {
                all.set(row, *k, rate * (projected.at(row, place) + taken));
            }
        }
        for (place, k) in self.inner.iter().enumerate() {
            for row in 0..rows {
                all.set(row, *k, settled.slopes.at(row, place));
            }
        }
        all
    }
}

/// A problem as argmin asks for it: scaled coordinates of the values that need a discharge against the
/// extended residuals.
pub struct Objective<'p, 'm, 'a> {
    /// The problem.
    pub problem: &'p Problem<'m, 'a>,
    /// Values of all, from which the held one is taken.
    pub base: Vec<f64>,
}

impl Objective<'_, '_, '_> {
    fn at(&self, scaled: &[f64]) -> Result<Settled, ArgminError> {
        let outer = self.problem.unscaled(scaled);
        let z = self.problem.with(&self.problem.outer, &outer, &self.base);
        Ok(self.problem.settled(&z)?)
    }
}

impl Operator for Objective<'_, '_, '_> {
    type Param = Vec<f64>;
    type Output = Vec<f64>;

    fn apply(&self, outer: &Vec<f64>) -> Result<Vec<f64>, ArgminError> {
        Ok(self.problem.extended(&self.at(outer)?))
    }
}

impl Jacobian for Objective<'_, '_, '_> {
    type Param = Vec<f64>;
    type Jacobian = Matrix;

    fn jacobian(&self, outer: &Vec<f64>) -> Result<Matrix, ArgminError> {
        let settled = self.at(outer)?;
        let slopes = self.problem.outer_slopes(&settled);
        self.problem
            .projected(&settled, &slopes)
            .ok_or_else(|| ArgminError::msg("the sensors cannot be settled"))
    }
}
