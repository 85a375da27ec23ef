//! Functions of one coordinate that are known together: polynomials of degree seven over one interval,
//! through their values at the points of a [`Patch`](super::Patch).

use super::patch::{PATCH_POINTS, monomials, patch_points};

/// `K` functions over one interval, whose coordinate runs from -1 to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Curves<const K: usize> {
    /// Coefficients of each power, constant first.
    coefficients: [[f64; K]; PATCH_POINTS],
}

impl<const K: usize> Curves<K> {
    /// Through the values of `functions` at the points.
    #[must_use]
    pub fn through(functions: impl FnMut(f64) -> [f64; K]) -> Self {
        let values = patch_points().map(functions);
        let columns: [_; K] = std::array::from_fn(|k| monomials(&values.map(|all| all[k])));
        Self {
            coefficients: std::array::from_fn(|power| columns.map(|column| column[power])),
        }
    }

    /// Values at x.
    #[inline]
    #[must_use]
    pub fn at(&self, x: f64) -> [f64; K] {
        let mut sums = [0.0; K];
        for coefficients in self.coefficients.iter().rev() {
            for (sum, coefficient) in sums.iter_mut().zip(coefficients) {
                *sum = *sum * x + coefficient;
            }
        }
        sums
    }
}
