//! Quintic Hermite pieces on a uniform grid: value, slope and curvature given at every node.

use super::{InterpolateError, UniformGrid, same_length};

/// Quintic Hermite pieces on a uniform grid; continuous with first and second derivatives, error
/// of order h^6 for exact data.
#[derive(Debug, Clone, PartialEq)]
pub struct UniformQuinticHermite {
    grid: UniformGrid,
    pieces: Vec<[f64; 6]>,
}

impl UniformQuinticHermite {
    /// Through `y` with first derivatives `slopes` and second derivatives `curvatures` at the
    /// nodes of `grid`.
    ///
    /// # Errors
    /// Lists of another length than the grid, values that are not finite.
    pub fn new(
        grid: UniformGrid,
        y: &[f64],
        slopes: &[f64],
        curvatures: &[f64],
    ) -> Result<Self, InterpolateError> {
        for values in [y, slopes, curvatures] {
            same_length(grid.nodes(), values)?;
        }
        let h = grid.spacing();
        let pieces = y
            .windows(2)
            .zip(slopes.windows(2))
            .zip(curvatures.windows(2))
            .map(|((y, d), c)| {
                let rise = y[1] - y[0];
                let (d0, d1) = (d[0] * h, d[1] * h);
                let (c0, c1) = (0.5 * c[0] * h * h, 0.5 * c[1] * h * h);
                [
                    y[0],
                    d0,
                    c0,
                    10.0 * rise - 6.0 * d0 - 4.0 * d1 - 3.0 * c0 + c1,
                    -15.0 * rise + 8.0 * d0 + 7.0 * d1 + 3.0 * c0 - 2.0 * c1,
                    6.0 * rise - 3.0 * (d0 + d1) - c0 + c1,
                ]
            })
            .collect();
        Ok(Self { grid, pieces })
    }

    /// The grid.
    pub fn grid(&self) -> &UniformGrid {
        &self.grid
    }

    /// Value at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    #[inline]
    pub fn value(&self, x: f64) -> Result<f64, InterpolateError> {
        let (cell, s) = self.grid.locate(x)?;
        let c = &self.pieces[cell];
        Ok(c[0] + s * (c[1] + s * (c[2] + s * (c[3] + s * (c[4] + s * c[5])))))
    }

    /// Value and first derivative at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    #[inline]
    pub fn value_and_slope(&self, x: f64) -> Result<(f64, f64), InterpolateError> {
        let (cell, s) = self.grid.locate(x)?;
        let c = &self.pieces[cell];
        let value = c[0] + s * (c[1] + s * (c[2] + s * (c[3] + s * (c[4] + s * c[5]))));
        let slope =
            c[1] + s * (2.0 * c[2] + s * (3.0 * c[3] + s * (4.0 * c[4] + s * (5.0 * c[5]))));
        Ok((value, slope * self.grid.density()))
    }

    /// Value, first and second derivative at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    #[inline]
    pub fn value_and_derivatives(&self, x: f64) -> Result<(f64, f64, f64), InterpolateError> {
        let (cell, s) = self.grid.locate(x)?;
        let c = &self.pieces[cell];
        let (value, slope) = self.value_and_slope(x)?;
        let curvature = 2.0 * c[2] + s * (6.0 * c[3] + s * (12.0 * c[4] + s * (20.0 * c[5])));
        let density = self.grid.density();
        Ok((value, slope, curvature * density * density))
    }
}
