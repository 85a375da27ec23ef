//! What can be wrong with a flow request.

use crate::numerics::roots::RootError;
use crate::thermo::ThermoError;
use crate::units::number;

/// Why a flow could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FlowError {
    /// An input lies outside the range for which the law holds.
    #[error("{law}: {quantity} is {}, outside {least} to {most}", number(*.value))]
    OutOfRange {
        /// The law that refused.
        law: &'static str,
        /// The offending input, with its unit.
        quantity: &'static str,
        /// Its value.
        value: f64,
        /// Least accepted value.
        least: f64,
        /// Most accepted value.
        most: f64,
    },
    /// A port table is unusable.
    #[error("port table: point {index} {problem}")]
    PortTable {
        /// Which point, counted from 0.
        index: usize,
        /// What is wrong with it.
        problem: &'static str,
    },
    /// A state of CO2 on the way to the throat could not be found.
    #[error("on the way to the throat: {0}")]
    State(#[from] ThermoError),
    /// A search along the isentrope failed.
    #[error("search along the isentrope: {0}")]
    Search(Box<RootError<FlowError>>),
    /// A root search did not close.
    #[error("{law}: no solution after {iterations} iterations, residual {residual:e}")]
    NotConverged {
        /// The law that failed.
        law: &'static str,
        /// Iterations done.
        iterations: u32,
        /// Residual left, in the law's own scale.
        residual: f64,
    },
}

/// Accepts a finite value within `least..=most`, or says which input of which law is out.
pub(crate) fn within(
    law: &'static str,
    quantity: &'static str,
    value: f64,
    least: f64,
    most: f64,
) -> Result<f64, FlowError> {
    if value >= least && value <= most {
        Ok(value)
    } else {
        Err(FlowError::OutOfRange {
            law,
            quantity,
            value,
            least,
            most,
        })
    }
}

impl From<RootError<FlowError>> for FlowError {
    fn from(error: RootError<FlowError>) -> Self {
        match error {
            RootError::Function { source, .. } => source,
            other => Self::Search(Box::new(other)),
        }
    }
}
