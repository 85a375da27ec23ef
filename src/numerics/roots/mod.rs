//! Roots and maxima inside a bracket: Newton with a safeguard, Brent's root
//! finder, Brent's maximiser.
//!
//! The function is a closure that may fail with the caller's error `E`; a closure that
//! cannot fail returns `Ok::<_, std::convert::Infallible>(value)`.

mod brent;
mod maximum;
mod newton;

use std::fmt::Display;

pub use brent::{brent, brent_between};
pub use maximum::maximise;
pub use newton::newton;

/// When to stop looking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Absolute tolerance on the abscissa.
    pub x_absolute: f64,
    /// Tolerance on the abscissa relative to its size (four units of round-off are always
    /// granted on top).
    pub x_relative: f64,
    /// A value of the function at most this large counts as zero.
    pub value: f64,
    /// Most iterations (one evaluation each).
    pub max_iterations: usize,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self {
            x_absolute: 0.0,
            x_relative: 1e-12,
            value: 0.0,
            max_iterations: 100,
        }
    }
}

impl Tolerance {
    fn at(&self, x: f64) -> f64 {
        self.x_absolute + (self.x_relative + 4.0 * f64::EPSILON) * x.abs()
    }
}

/// Where the function ends up at the ends of the bracket, for [`newton`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// Not known: evaluate both ends first (two evaluations) and demand a sign change.
    Evaluate,
    /// Known to be negative at the lower end and positive at the upper end.
    Rising,
    /// Known to be positive at the lower end and negative at the upper end.
    Falling,
}

/// A root and the bracket it was found in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Root {
    /// The root.
    pub x: f64,
    /// Value of the function at the last evaluated abscissa, which is within tolerance of `x`.
    pub residual: f64,
    /// Lower end of the final bracket.
    pub lower: f64,
    /// Upper end of the final bracket.
    pub upper: f64,
    /// Evaluations spent.
    pub iterations: usize,
}

/// A maximum and the bracket it was found in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Maximum {
    /// Where the function is largest.
    pub x: f64,
    /// The largest value seen.
    pub value: f64,
    /// Lower end of the final bracket.
    pub lower: f64,
    /// Upper end of the final bracket.
    pub upper: f64,
    /// Evaluations spent.
    pub iterations: usize,
}

/// Why no root or maximum was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RootError<E> {
    /// The bracket is empty or not finite.
    #[error("[{lower}, {upper}] is no bracket")]
    Bracket {
        /// Lower end given.
        lower: f64,
        /// Upper end given.
        upper: f64,
    },
    /// The function has the same sign at both ends.
    #[error(
        "no sign change in [{lower}, {upper}]: the function is {value_lower} and {value_upper} there \
         ({iterations} evaluations)"
    )]
    NoSignChange {
        /// Lower end of the bracket.
        lower: f64,
        /// Upper end of the bracket.
        upper: f64,
        /// Value at (or next to) the lower end.
        value_lower: f64,
        /// Value at (or next to) the upper end.
        value_upper: f64,
        /// Evaluations spent.
        iterations: usize,
    },
    /// The iterations ran out.
    #[error(
        "not converged in {iterations} evaluations: the bracket is still [{lower}, {upper}], \
         the residual {residual}"
    )]
    Iterations {
        /// Lower end of the last bracket.
        lower: f64,
        /// Upper end of the last bracket.
        upper: f64,
        /// Evaluations spent.
        iterations: usize,
        /// Last value of the function.
        residual: f64,
    },
    /// The function returned a value that is not a number.
    #[error("the function is not a number at {at} (bracket [{lower}, {upper}])")]
    NotANumber {
        /// Abscissa of the bad value.
        at: f64,
        /// Lower end of the bracket at that moment.
        lower: f64,
        /// Upper end of the bracket at that moment.
        upper: f64,
    },
    /// The function failed.
    #[error("the function failed at {at} (bracket [{lower}, {upper}])")]
    Function {
        /// What the function said.
        source: E,
        /// Abscissa at which it failed.
        at: f64,
        /// Lower end of the bracket at that moment.
        lower: f64,
        /// Upper end of the bracket at that moment.
        upper: f64,
    },
}

impl<E: Display> RootError<E> {
    /// The failure of the function itself, if that was the reason.
    pub fn function_failure(&self) -> Option<&E> {
        match self {
            Self::Function { source, .. } => Some(source),
            _ => None,
        }
    }
}

fn checked<E>(
    result: Result<f64, E>,
    at: f64,
    lower: f64,
    upper: f64,
) -> Result<f64, RootError<E>> {
    match result {
        Ok(value) if value.is_nan() => Err(RootError::NotANumber { at, lower, upper }),
        Ok(value) => Ok(value),
        Err(source) => Err(RootError::Function {
            source,
            at,
            lower,
            upper,
        }),
    }
}

fn bracket<E>(lower: f64, upper: f64) -> Result<(), RootError<E>> {
    if lower.is_finite() && upper.is_finite() && lower <= upper {
        Ok(())
    } else {
        Err(RootError::Bracket { lower, upper })
    }
}
