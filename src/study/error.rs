//! Why a study could not be finished.

use crate::discharge::DischargeError;

/// Why a study could not be finished; a failed criterion is an answer, not an error.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StudyError {
    /// The shot itself could not be computed.
    #[error("the discharge could not be computed")]
    Shot(#[source] Box<DischargeError>),
    /// The run with the nose held could not be computed.
    #[error("the discharge with the nose held could not be computed")]
    HeldNose(#[source] Box<DischargeError>),
    /// A run with an added leak could not be computed.
    #[error("the discharge with {area:e} m2 of added leak could not be computed")]
    AddedLeak {
        /// The added leak [m2].
        area: f64,
        /// Why.
        #[source]
        source: Box<DischargeError>,
    },
    /// A set of values makes no valid design.
    #[error("the values make no valid design: {0}")]
    Build(Box<dyn std::error::Error + Send + Sync>),
    /// A distribution or correlation cannot be used.
    #[error(transparent)]
    Statistics(#[from] crate::statistics::StatisticsError),
    /// No explanation of a trace could be computed.
    #[error(
        "the model could not be computed for any explanation of the trace; does `shot` run this \
         design?"
    )]
    NoFit,
}
