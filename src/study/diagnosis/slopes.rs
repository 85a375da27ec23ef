//! Sensitivities with clocks and sensors following, and a problem as argmin asks for it.

use argmin::core::{Error as ArgminError, Jacobian, Operator};

use crate::numerics::matrix::Matrix;

use super::least_squares::Coordinates;
use super::model::BOUND;
use super::problem::Problem;
use super::settle::Settled;

/// Step of the rate of a coordinate over its variate, and the least rate counted.
const RATE: (f64, f64) = (1e-3, 1e-4);
impl Problem<'_, '_> {
    /// Residuals extended by the variates of clocks and sensors.
    pub fn extended(&self, settled: &Settled) -> Vec<f64> {
        let mut extended = settled.residuals.clone();
        extended.extend(self.pick(&self.inner, &settled.z));
        extended
    }

    /// Rates of the coordinates of the values of the rocket over their variates.
    pub fn rates(&self, z: &[f64]) -> Vec<f64> {
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
            let follows = factor.solve(&settled.slopes.transpose_times(own));
            let taken = settled.slopes.times(&follows);
            let left = own.iter().zip(&taken).map(|(own, taken)| own - taken);
            projected.set_column(column, left.chain(follows.iter().map(|follows| -follows)));
        }
        Some(projected)
    }

    /// Sensitivities to the values of the rocket with clocks and sensors held, from the projected ones.
    pub fn unprojected(&self, settled: &Settled, projected: &Matrix) -> Matrix {
        let rows = settled.residuals.len();
        let mut slopes = Matrix::zero(rows, self.outer.len());
        for place in 0..self.outer.len() {
            let follows: Vec<f64> = (0..self.inner.len())
                .map(|i| -projected.at(rows + i, place))
                .collect();
            let taken = settled.slopes.times(&follows);
            let entries = projected.column(place).iter().zip(&taken);
            slopes.set_column(place, entries.map(|(own, taken)| own + taken));
        }
        slopes
    }

    /// Sensitivities of the residuals to the variates of all values, in their order.
    pub fn all_slopes(&self, settled: &Settled, slopes: &Matrix) -> Matrix {
        let rows = settled.residuals.len();
        let mut all = Matrix::zero(rows, self.parameters.len());
        let rates = self.rates(&settled.z);
        for ((place, k), rate) in self.outer.iter().enumerate().zip(&rates) {
            all.set_column(*k, slopes.column(place).iter().map(|slope| rate * slope));
        }
        for (place, k) in self.inner.iter().enumerate() {
            all.set_column(*k, settled.slopes.column(place));
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
    /// Whether sensitivities are made from both sides where that is needed.
    pub careful: bool,
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
        let slopes = self.problem.outer_slopes(&settled, self.careful);
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
