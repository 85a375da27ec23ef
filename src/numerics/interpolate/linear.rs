//! Straight lines between points.

use super::{InterpolateError, cell_of, increasing, same_length};

/// Straight lines between points of increasing abscissa.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearTable {
    x: Vec<f64>,
    y: Vec<f64>,
}

impl LinearTable {
    /// Through the points (x, y).
    ///
    /// # Errors
    /// Fewer than two points, lists of different lengths, abscissae that do not increase, values
    /// that are not finite.
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Result<Self, InterpolateError> {
        increasing(&x)?;
        same_length(x.len(), &y)?;
        Ok(Self { x, y })
    }

    /// Value at `x`.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    pub fn value(&self, x: f64) -> Result<f64, InterpolateError> {
        self.value_and_slope(x).map(|(value, _)| value)
    }

    /// Value and slope at `x`; at a point, the slope to its right (at the last one, to its left).
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    pub fn value_and_slope(&self, x: f64) -> Result<(f64, f64), InterpolateError> {
        let i = cell_of(&self.x, x)?;
        let width = self.x[i + 1] - self.x[i];
        let fraction = (x - self.x[i]) / width;
        let value = self.y[i] * (1.0 - fraction) + self.y[i + 1] * fraction;
        Ok((value, (self.y[i + 1] - self.y[i]) / width))
    }

    /// Value at `x`, or the value at the nearer end outside the table.
    ///
    /// # Errors
    /// [`InterpolateError::Outside`] only if `x` is not a number.
    pub fn value_or_end(&self, x: f64) -> Result<f64, InterpolateError> {
        let lower = self.x.first().copied().unwrap_or(x);
        let upper = self.x.last().copied().unwrap_or(x);
        self.value(if x < lower {
            lower
        } else if x > upper {
            upper
        } else {
            x
        })
    }
}
