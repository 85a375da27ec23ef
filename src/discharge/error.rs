//! Why a discharge could not be computed.

use crate::network::NetworkError;
use crate::numerics::integrate::{IntegrateError, SettingsError};

/// Why a discharge could not be computed; a nose that stays on is not an error.
#[derive(Debug, Clone, thiserror::Error)]
#[non_exhaustive]
pub enum DischargeError {
    /// The start is impossible.
    #[error("at the start: {source}")]
    Start {
        /// What is wrong.
        #[source]
        source: NetworkError,
    },
    /// A state left the range of the model.
    #[error("at {time} s: {source}")]
    State {
        /// When [s].
        time: f64,
        /// What is wrong.
        #[source]
        source: NetworkError,
    },
    /// The integration could not go on.
    #[error(
        "at {time:.6} s the integration stopped, {}; what is in `{vessel}` changes fastest, all of it in {turnover:.1e} s: \
         give it more volume or smaller openings, or let them open more slowly",
        reason(.error)
    )]
    Integration {
        /// When [s].
        time: f64,
        /// The vessel with the most flow for what is in it.
        vessel: String,
        /// What is in it over the flow to and from it [s].
        turnover: f64,
        /// What the integrator says.
        error: Box<IntegrateError<NetworkError>>,
    },
    /// The motion of the nose off its coupler could not be followed.
    #[error("off its coupler, the nose could not be followed: {0}")]
    Coasting(Box<IntegrateError<std::convert::Infallible>>),
    /// Two modes lead into each other with next to no time passing.
    #[error(
        "at {time} s the run stands still: two states lead into each other again and again, as when a \
         vessel full of liquid begins to boil and fills again; another `draw`, a smaller charge or \
         another temperature avoids the edge"
    )]
    Standstill {
        /// When [s].
        time: f64,
    },
    /// The settings of the integration make no sense.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// Mass or energy went missing.
    #[error(
        "the balances do not close: mass {mass:e}, energy {energy:e} of what moved (at most 1e-8 is \
         allowed); this run cannot be trusted: please report the design"
    )]
    Imbalance {
        /// Relative mass imbalance.
        mass: f64,
        /// Relative energy imbalance.
        energy: f64,
    },
}

/// Why an integration could not go on, without its state: its numbers have no names.
fn reason(error: &IntegrateError<NetworkError>) -> String {
    match error {
        IntegrateError::TooManySteps { attempts, .. } => {
            format!("{attempts} steps were not enough")
        }
        IntegrateError::StepTooSmall { step, .. } => format!("as a step of {step:e} s is too long"),
        IntegrateError::NotFinite { .. } => "as a rate is no number".to_owned(),
        other => other.to_string(),
    }
}
