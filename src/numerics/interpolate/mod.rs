//! Interpolation in tables: straight lines, cubic and quintic Hermite pieces, monotone
//! slopes, curves of polynomials, and surfaces of bicubic Hermite pieces and of polynomial patches.
//!
//! The tables are checked and converted once, when made; a look-up allocates nothing, and on a
//! uniform grid it does not search. Outside the grid a look-up is an error, never an
//! extrapolation.

mod bicubic;
mod cubic;
mod curves;
mod grid;
mod linear;
mod mosaic;
mod patch;
mod quintic;

pub use bicubic::{BicubicNode, BicubicSurface, SurfacePoint};
pub use cubic::{CubicHermite, UniformCubicHermite, monotone_slopes};
pub use curves::{CurveTable, Curves};
pub use grid::UniformGrid;
pub use linear::LinearTable;
pub use mosaic::{Mosaic, Place};
pub use patch::{PATCH_POINTS, Patch, PatchPoint, TEST_POINTS, monomials, patch_points};
pub use quintic::UniformQuinticHermite;

/// Why a table could not be made or read.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum InterpolateError {
    /// Not enough points.
    #[error("{given} points given, at least {needed} needed")]
    TooFew {
        /// Points needed.
        needed: usize,
        /// Points given.
        given: usize,
    },
    /// Lists that belong together have different lengths.
    #[error("{given} values given for {expected} points")]
    Lengths {
        /// Points of the grid.
        expected: usize,
        /// Values given.
        given: usize,
    },
    /// The abscissae do not increase.
    #[error("the abscissae do not increase at point {index}: {before} then {after}")]
    NotIncreasing {
        /// Index of the later point.
        index: usize,
        /// The abscissa before it.
        before: f64,
        /// Its abscissa.
        after: f64,
    },
    /// A value is not finite.
    #[error("the value at point {index} is {value}")]
    NotFinite {
        /// Index of the point.
        index: usize,
        /// The value.
        value: f64,
    },
    /// The abscissa is outside the table.
    #[error("{x} is outside the table, which runs from {lower} to {upper}")]
    Outside {
        /// Abscissa asked for.
        x: f64,
        /// Lower end of the table.
        lower: f64,
        /// Upper end of the table.
        upper: f64,
    },
}

fn same_length(expected: usize, values: &[f64]) -> Result<(), InterpolateError> {
    if values.len() != expected {
        return Err(InterpolateError::Lengths {
            expected,
            given: values.len(),
        });
    }
    match values.iter().position(|value| !value.is_finite()) {
        Some(index) => Err(InterpolateError::NotFinite {
            index,
            value: values[index],
        }),
        None => Ok(()),
    }
}

fn increasing(x: &[f64]) -> Result<(), InterpolateError> {
    if x.len() < 2 {
        return Err(InterpolateError::TooFew {
            needed: 2,
            given: x.len(),
        });
    }
    same_length(x.len(), x)?;
    match x.windows(2).position(|pair| pair[1] <= pair[0]) {
        Some(at) => Err(InterpolateError::NotIncreasing {
            index: at + 1,
            before: x[at],
            after: x[at + 1],
        }),
        None => Ok(()),
    }
}

/// Cell of a non-uniform grid that holds `x`: x[cell] <= `x` <= x[cell + 1].
fn cell_of(grid: &[f64], x: f64) -> Result<usize, InterpolateError> {
    let (lower, upper) = match grid {
        [first, .., last] => (*first, *last),
        _ => {
            return Err(InterpolateError::TooFew {
                needed: 2,
                given: grid.len(),
            });
        }
    };
    if !(lower..=upper).contains(&x) {
        return Err(InterpolateError::Outside { x, lower, upper });
    }
    Ok(grid
        .partition_point(|&node| node <= x)
        .clamp(1, grid.len() - 1)
        - 1)
}
