//! Cubic Hermite pieces: value and slope given at every node.

use super::{InterpolateError, UniformGrid, cell_of, increasing, same_length};

/// c0 + s (c1 + s (c2 + s c3)) from values and slopes times width at s = 0 and 1.
#[inline]
fn cubic(y0: f64, d0: f64, y1: f64, d1: f64) -> [f64; 4] {
    let rise = y1 - y0;
    [y0, d0, 3.0 * rise - 2.0 * d0 - d1, d0 + d1 - 2.0 * rise]
}

#[inline]
fn evaluate(c: &[f64; 4], s: f64) -> (f64, f64) {
    (
        c[0] + s * (c[1] + s * (c[2] + s * c[3])),
        c[1] + s * (2.0 * c[2] + s * 3.0 * c[3]),
    )
}

/// Cubic Hermite pieces on nodes at any increasing abscissae; continuous with its first derivative,
/// error of order h^4 for exact slopes.
#[derive(Debug, Clone, PartialEq)]
pub struct CubicHermite {
    x: Vec<f64>,
    pieces: Vec<[f64; 4]>,
}

impl CubicHermite {
    /// Through `y` with slopes dy/dx at `x`.
    ///
    /// # Errors
    /// Fewer than two nodes, lists of different lengths, abscissae that do not increase, values
    /// that are not finite.
    pub fn new(x: Vec<f64>, y: &[f64], slopes: &[f64]) -> Result<Self, InterpolateError> {
        increasing(&x)?;
        same_length(x.len(), y)?;
        same_length(x.len(), slopes)?;
        let pieces = x
            .windows(2)
            .zip(y.windows(2))
            .zip(slopes.windows(2))
            .map(|((x, y), d)| {
                let width = x[1] - x[0];
                cubic(y[0], d[0] * width, y[1], d[1] * width)
            })
            .collect();
        Ok(Self { x, pieces })
    }

    /// Through `y` at `x` with the slopes of [`monotone_slopes`].
    ///
    /// # Errors
    /// As [`CubicHermite::new`].
    pub fn monotone(x: Vec<f64>, y: &[f64]) -> Result<Self, InterpolateError> {
        let slopes = monotone_slopes(&x, y)?;
        Self::new(x, y, &slopes)
    }

    /// Value and first derivative at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    pub fn value_and_slope(&self, x: f64) -> Result<(f64, f64), InterpolateError> {
        let i = cell_of(&self.x, x)?;
        let width = self.x[i + 1] - self.x[i];
        let (value, slope) = evaluate(&self.pieces[i], (x - self.x[i]) / width);
        Ok((value, slope / width))
    }

    /// Value at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    pub fn value(&self, x: f64) -> Result<f64, InterpolateError> {
        self.value_and_slope(x).map(|(value, _)| value)
    }
}

/// Cubic Hermite pieces on a uniform grid: found without a search.
#[derive(Debug, Clone, PartialEq)]
pub struct UniformCubicHermite {
    grid: UniformGrid,
    pieces: Vec<[f64; 4]>,
}

impl UniformCubicHermite {
    /// Through `y` with slopes dy/dx at the nodes of `grid`.
    ///
    /// # Errors
    /// Lists of another length than the grid, values that are not finite.
    pub fn new(grid: UniformGrid, y: &[f64], slopes: &[f64]) -> Result<Self, InterpolateError> {
        same_length(grid.nodes(), y)?;
        same_length(grid.nodes(), slopes)?;
        let width = grid.spacing();
        let pieces = y
            .windows(2)
            .zip(slopes.windows(2))
            .map(|(y, d)| cubic(y[0], d[0] * width, y[1], d[1] * width))
            .collect();
        Ok(Self { grid, pieces })
    }

    /// The grid.
    pub fn grid(&self) -> &UniformGrid {
        &self.grid
    }

    /// Value and first derivative at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    #[inline]
    pub fn value_and_slope(&self, x: f64) -> Result<(f64, f64), InterpolateError> {
        let (cell, s) = self.grid.locate(x)?;
        let (value, slope) = evaluate(&self.pieces[cell], s);
        Ok((value, slope * self.grid.density()))
    }

    /// Value at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    #[inline]
    pub fn value(&self, x: f64) -> Result<f64, InterpolateError> {
        self.value_and_slope(x).map(|(value, _)| value)
    }
}

/// Slopes at the points (x, y) that keep cubic Hermite pieces monotone wherever the points are:
/// the weighted harmonic mean of the neighbouring secants (Fritsch & Butland, SIAM J. Sci. Stat.
/// Comput. 5 (1984) 300-304), zero at extrema, and at the ends the three-point formula limited
/// to the shape (Moler, Numerical Computing with MATLAB, 2004, section 3.6).
///
/// # Errors
/// Fewer than two points, lists of different lengths, abscissae that do not increase, values
/// that are not finite.
pub fn monotone_slopes(x: &[f64], y: &[f64]) -> Result<Vec<f64>, InterpolateError> {
    increasing(x)?;
    same_length(x.len(), y)?;
    let widths: Vec<f64> = x.windows(2).map(|x| x[1] - x[0]).collect();
    let secants: Vec<f64> = y
        .windows(2)
        .zip(&widths)
        .map(|(y, h)| (y[1] - y[0]) / h)
        .collect();
    let last = widths.len() - 1;
    if last == 0 {
        return Ok(vec![secants[0]; 2]);
    }
    let mut slopes = Vec::with_capacity(x.len());
    slopes.push(end_slope(widths[0], widths[1], secants[0], secants[1]));
    for (h, d) in widths.windows(2).zip(secants.windows(2)) {
        slopes.push(if d[0] * d[1] > 0.0 {
            let (w0, w1) = (2.0 * h[1] + h[0], h[1] + 2.0 * h[0]);
            (w0 + w1) / (w0 / d[0] + w1 / d[1])
        } else {
            0.0
        });
    }
    slopes.push(end_slope(
        widths[last],
        widths[last - 1],
        secants[last],
        secants[last - 1],
    ));
    Ok(slopes)
}

/// Slope at an end from the nearest two widths and secants, nearest first.
fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}
