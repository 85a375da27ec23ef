//! Sensitivities to the values that need a discharge, and a problem as argmin asks for it.

use argmin::core::{Error as ArgminError, Jacobian, Operator};
use rayon::prelude::*;

use crate::numerics::matrix::{Matrix, dot};

use super::least_squares::Coordinates;
use super::model::BOUND;
use super::parameter::Role;
use super::problem::Problem;
use super::settle::Settled;

/// Change of all residuals together that a finite difference should make: well above the roughness of
/// an integration (0.01), within the width of a front that moves [1].
const CHANGE: f64 = 0.7;
/// Steps in deviations of what is believed: the first, the longest, the longest of a variate.
const FIRST: f64 = 0.03;
const LONGEST: f64 = 0.3;
/// The shortest: below it roughness passes for slope, and steps that follow from such a slope get shorter still.
const SHORTEST: f64 = 2e-3;
const FARTHEST: f64 = 0.4;
/// Effect of a direction on all residuals together below which an old one is good enough [1].
const NEGLIGIBLE: f64 = 0.3;
/// Step of the rate of a coordinate over its variate, and the least rate counted.
const RATE: (f64, f64) = (1e-3, 1e-4);

impl Problem<'_, '_> {
    /// Sensitivities of the residuals to the coordinates of the values that need a discharge, with clocks
    /// and sensors as they are: by one-sided differences, or where old ones are known by central ones along
    /// their principal directions.
    ///
    /// Several values move the same front: each column is large, a mixture of them that leaves the front in
    /// place does little, and from columns good to a percent nothing would be known of it.
    pub fn outer_slopes(&self, settled: &Settled) -> Matrix {
        let old = self.memory.lock().ok().and_then(|mut m| m.slopes.take());
        let both = old.is_some();
        let n = self.outer.len();
        let rates = self.rates(&settled.z);
        let mut slopes = old
            .clone()
            .unwrap_or_else(|| Matrix::zero(settled.residuals.len(), n));
        let directions: Vec<(Vec<f64>, f64)> = match old {
            Some(old) => {
                let (values, vectors) = old.gram().symmetric_eigen();
                let of = |(k, value): (usize, &f64)| (vectors.column(k), value.max(0.0).sqrt());
                values.iter().enumerate().map(of).collect()
            }
            None => (0..n)
                .map(|k| {
                    let unit = (0..n).map(|i| f64::from(u8::from(i == k))).collect();
                    (unit, CHANGE / FIRST)
                })
                .collect(),
        };
        let seen: Vec<(Vec<f64>, f64)> = directions
            .into_iter()
            .filter(|(_, effect)| *effect > NEGLIGIBLE)
            .collect();
        let found: Vec<Option<(Vec<f64>, Vec<f64>)>> = seen
            .par_iter()
            .map(|(direction, effect)| {
                let size = (CHANGE / effect).clamp(SHORTEST, LONGEST);
                let step = |size: f64| self.difference(settled, direction, &rates, size);
                match (step(size), both.then(|| step(-size)).flatten()) {
                    (Some((up, to)), Some((down, from))) => {
                        let less =
                            |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a - b).collect();
                        Some((less(&up, &down), less(&to, &from)))
                    }
                    (Some(one), None) | (None, Some(one)) => Some(one),
                    (None, None) => step(-size),
                }
            })
            .collect();
        for ((direction, _), found) in seen.iter().zip(&found) {
            let Some((change, moved)) = found else {
                continue;
            };
            let length = dot(moved, direction);
            if length == 0.0 {
                continue;
            }
            let expected = slopes.times(moved);
            let pairs = change.iter().zip(&expected);
            let surprise: Vec<f64> = pairs.map(|(change, expected)| change - expected).collect();
            slopes.add_outer(1.0 / length, &surprise, direction);
        }
        if let Ok(mut memory) = self.memory.lock() {
            memory.slopes = Some(slopes.clone());
        }
        slopes
    }

    /// Change of the residuals with a step along a direction of the coordinates, and the step really
    /// made; another where it changes much more or less than it should.
    fn difference(
        &self,
        settled: &Settled,
        direction: &[f64],
        rates: &[f64],
        mut size: f64,
    ) -> Option<(Vec<f64>, Vec<f64>)> {
        for attempt in 0.. {
            let mut moved = settled.z.clone();
            let mut step = Vec::with_capacity(direction.len());
            for ((k, share), rate) in self.outer.iter().zip(direction).zip(rates) {
                let (parameter, z) = (self.parameters.get(*k)?, moved.get_mut(*k)?);
                let before = parameter.scaled(*z);
                *z += (size * share / rate).clamp(-FARTHEST, FARTHEST);
                step.push(parameter.scaled(*z) - before);
            }
            let change = self.change(settled, &moved)?;
            let made = dot(&change, &change).sqrt();
            let wanted = (size.abs() * CHANGE / made.max(1e-9)).clamp(SHORTEST, LONGEST);
            let fits = (1.0 / 3.0..=3.0).contains(&(wanted / size.abs()));
            if fits || attempt == 2 {
                return Some((change, step));
            }
            size = wanted.copysign(size);
        }
        None
    }

    /// Change of the residuals from where clocks and sensors settled to other values.
    fn change(&self, settled: &Settled, moved: &[f64]) -> Option<Vec<f64>> {
        let mut after = Vec::with_capacity(settled.residuals.len());
        for (trace, run) in settled.runs.iter().enumerate() {
            let moves = self.outer.iter().any(|k| {
                let own = match self.parameters.get(*k).map(|parameter| parameter.role) {
                    Some(Role::Input { trace: own, .. }) => own,
                    _ => None,
                };
                own.is_none_or(|own| own == trace) && settled.z.get(*k) != moved.get(*k)
            });
            if moves {
                let run = self.run(moved, trace).ok()?;
                after.extend(self.robust_residuals(&run, moved, trace));
            } else {
                after.extend(self.robust_residuals(run, moved, trace));
            }
        }
        let pairs = after.iter().zip(&settled.residuals);
        Some(pairs.map(|(after, before)| after - before).collect())
    }

    /// Residuals extended by the variates of clocks and sensors.
    fn extended(&self, settled: &Settled) -> Vec<f64> {
        let mut extended = settled.residuals.clone();
        extended.extend(self.pick(&self.inner, &settled.z));
        extended
    }

    /// Rates of the coordinates of the values of the rocket over their variates.
    fn rates(&self, z: &[f64]) -> Vec<f64> {
        self.outer
            .iter()
            .zip(self.pick(&self.outer, z))
            .filter_map(|(k, z)| {
                let parameter = self.parameters.get(*k)?;
                let rise = parameter.scaled(z + RATE.0) - parameter.scaled(z - RATE.0);
                Some((0.5 * rise / RATE.0).max(RATE.1))
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
        let mut projected = Matrix::zero(rows + inner, self.outer.len());
        for column in 0..self.outer.len() {
            let own = slopes.column(column);
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

/// A problem as argmin asks for it: variates of the values that need a discharge against the extended
/// residuals, their slopes over the coordinates.
pub struct Objective<'p, 'm, 'a> {
    /// The problem.
    pub problem: &'p Problem<'m, 'a>,
    /// Values of all.
    pub base: Vec<f64>,
}

impl Objective<'_, '_, '_> {
    fn at(&self, outer: &[f64]) -> Result<Settled, ArgminError> {
        let z = self.problem.with(&self.problem.outer, outer, &self.base);
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

impl Coordinates for Problem<'_, '_> {
    fn coordinate(&self, value: usize, variate: f64) -> f64 {
        let parameter = self.outer.get(value).and_then(|k| self.parameters.get(*k));
        parameter.map_or(variate, |parameter| parameter.scaled(variate))
    }

    fn reach(&self) -> f64 {
        BOUND
    }
}
