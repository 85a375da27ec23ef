//! A grid of equal cells.

use super::InterpolateError;

/// Equally spaced nodes from `lower` to `upper`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UniformGrid {
    lower: f64,
    upper: f64,
    cells: usize,
    /// Cells per unit of the abscissa.
    density: f64,
}

impl UniformGrid {
    /// `nodes` nodes, the first at `lower`, the last at `upper`.
    ///
    /// # Errors
    /// Fewer than two nodes, or ends that are not finite and increasing.
    pub fn new(lower: f64, upper: f64, nodes: usize) -> Result<Self, InterpolateError> {
        if nodes < 2 {
            return Err(InterpolateError::TooFew {
                needed: 2,
                given: nodes,
            });
        }
        super::increasing(&[lower, upper])?;
        let cells = nodes - 1;
        Ok(Self {
            lower,
            upper,
            cells,
            density: cells as f64 / (upper - lower),
        })
    }

    /// Number of nodes.
    pub fn nodes(&self) -> usize {
        self.cells + 1
    }

    /// First node.
    pub fn lower(&self) -> f64 {
        self.lower
    }

    /// Last node.
    pub fn upper(&self) -> f64 {
        self.upper
    }

    /// Distance between neighbours.
    pub fn spacing(&self) -> f64 {
        (self.upper - self.lower) / self.cells as f64
    }

    /// Abscissa of node `index`.
    pub fn node(&self, index: usize) -> f64 {
        if index == self.cells {
            self.upper
        } else {
            self.lower + (self.upper - self.lower) * (index as f64 / self.cells as f64)
        }
    }

    /// Cells per unit of the abscissa: the inverse of the spacing.
    pub(super) fn density(&self) -> f64 {
        self.density
    }

    /// Cell that holds `x` and the fraction of it before `x`.
    #[inline]
    pub(super) fn locate(&self, x: f64) -> Result<(usize, f64), InterpolateError> {
        if x >= self.lower && x <= self.upper {
            let position = (x - self.lower) * self.density;
            let cell = (position as usize).min(self.cells - 1);
            Ok((cell, position - cell as f64))
        } else {
            Err(InterpolateError::Outside {
                x,
                lower: self.lower,
                upper: self.upper,
            })
        }
    }
}
