//! A bicubic Hermite surface on a uniform rectangular grid.

use super::{InterpolateError, UniformGrid, same_length};

/// What is given at a node of the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BicubicNode {
    /// Value f.
    pub value: f64,
    /// df/dx.
    pub dx: f64,
    /// df/dy.
    pub dy: f64,
    /// d2f/dx dy.
    pub dxdy: f64,
}

/// Value and gradient of the surface at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfacePoint {
    /// Value f.
    pub value: f64,
    /// df/dx.
    pub dx: f64,
    /// df/dy.
    pub dy: f64,
}

/// Bicubic Hermite patches: continuous with their gradient, error of order h^4 for exact data.
#[derive(Debug, Clone, PartialEq)]
pub struct BicubicSurface {
    x: UniformGrid,
    y: UniformGrid,
    /// Value, dx, dy, dxdy times the spacings, node by node; y varies fastest.
    nodes: Vec<[f64; 4]>,
}

/// The four cubic Hermite basis functions (value at 0, at 1, slope at 0, at 1) and their slopes.
#[inline]
fn basis(s: f64) -> ([f64; 4], [f64; 4]) {
    let r = 1.0 - s;
    (
        [
            r * r * (1.0 + 2.0 * s),
            s * s * (3.0 - 2.0 * s),
            s * r * r,
            -s * s * r,
        ],
        [
            -6.0 * s * r,
            6.0 * s * r,
            r * (1.0 - 3.0 * s),
            s * (3.0 * s - 2.0),
        ],
    )
}

impl BicubicSurface {
    /// Through `nodes`, node (i, j) of the grids `x` and `y` at index i * `y.nodes()` + j.
    ///
    /// # Errors
    /// Another number of nodes than the grids have, values that are not finite.
    pub fn new(
        x: UniformGrid,
        y: UniformGrid,
        nodes: &[BicubicNode],
    ) -> Result<Self, InterpolateError> {
        let (hx, hy) = (x.spacing(), y.spacing());
        let nodes: Vec<[f64; 4]> = nodes
            .iter()
            .map(|node| [node.value, node.dx * hx, node.dy * hy, node.dxdy * hx * hy])
            .collect();
        let expected = x.nodes() * y.nodes();
        if nodes.len() != expected {
            return Err(InterpolateError::Lengths {
                expected,
                given: nodes.len(),
            });
        }
        for (index, node) in nodes.iter().enumerate() {
            same_length(4, node).map_err(|error| match error {
                InterpolateError::NotFinite { value, .. } => {
                    InterpolateError::NotFinite { index, value }
                }
                other => other,
            })?;
        }
        Ok(Self { x, y, nodes })
    }

    /// Grid of x.
    pub fn grid_x(&self) -> &UniformGrid {
        &self.x
    }

    /// Grid of y.
    pub fn grid_y(&self) -> &UniformGrid {
        &self.y
    }

    /// Value and gradient at (x, y).
    ///
    /// # Errors
    /// [`InterpolateError::Outside`].
    #[inline]
    pub fn point(&self, x: f64, y: f64) -> Result<SurfacePoint, InterpolateError> {
        let (i, s) = self.x.locate(x)?;
        let (j, t) = self.y.locate(y)?;
        let (bx, slopes_x) = basis(s);
        let (by, slopes_y) = basis(t);
        let row = self.y.nodes();
        let first = i * row + j;
        let mut point = SurfacePoint {
            value: 0.0,
            dx: 0.0,
            dy: 0.0,
        };
        for a in 0..2 {
            for b in 0..2 {
                let [f, fx, fy, fxy] = self.nodes[first + a * row + b];
                // Along y first: the value and the x slope at (node a, t).
                let value = f * by[b] + fy * by[2 + b];
                let across = fx * by[b] + fxy * by[2 + b];
                point.value += value * bx[a] + across * bx[2 + a];
                point.dx += value * slopes_x[a] + across * slopes_x[2 + a];
                let value = f * slopes_y[b] + fy * slopes_y[2 + b];
                let across = fx * slopes_y[b] + fxy * slopes_y[2 + b];
                point.dy += value * bx[a] + across * bx[2 + a];
            }
        }
        point.dx *= self.x.density();
        point.dy *= self.y.density();
        Ok(point)
    }
}
