//! Functions of one coordinate that are known together: polynomials of degree seven over one interval,
//! through their values at the points of a [`Patch`](super::Patch), or over many.

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
        // Pairs, pairs of pairs, and the whole: what waits for nothing goes on side by side.
        let (x2, c) = (x * x, &self.coefficients);
        let x4 = x2 * x2;
        std::array::from_fn(|k| {
            let pair = |power: usize| c[power][k] + c[power + 1][k] * x;
            (pair(0) + pair(2) * x2) + (pair(4) + pair(6) * x2) * x4
        })
    }
}

/// `K` functions of one coordinate over equal stretches, each with polynomials of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveTable<const K: usize> {
    low: f64,
    stretch: f64,
    pieces: Vec<Curves<K>>,
}

impl<const K: usize> CurveTable<K> {
    /// Through `functions` over `count` stretches of length `stretch` from `low` on.
    #[must_use]
    pub fn through(
        (low, stretch, count): (f64, f64, usize),
        functions: impl Fn(f64) -> [f64; K],
    ) -> Self {
        let piece = |cell: usize| {
            let middle = low + stretch * (cell as f64 + 0.5);
            Curves::through(|x| functions(middle + 0.5 * stretch * x))
        };
        Self {
            low,
            stretch,
            pieces: (0..count).map(piece).collect(),
        }
    }

    /// Values at a coordinate; `None` outside the table.
    #[inline]
    #[must_use]
    pub fn at(&self, coordinate: f64) -> Option<[f64; K]> {
        let position = (coordinate - self.low) / self.stretch;
        // As an index a negative number, or none, would be the first stretch.
        let cell = position as usize;
        let piece = self.pieces.get(cell).filter(|_| position >= 0.0)?;
        Some(piece.at(2.0 * (position - cell as f64) - 1.0))
    }
}
