//! Why an integration gave up.

/// Why an integration gave up; every variant says where.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum IntegrateError<E> {
    /// The start state has the wrong length, or no start was given.
    #[error("the integrator is made for {expected} components, the start state has {given}")]
    Dimension {
        /// Components the integrator was made for.
        expected: usize,
        /// Components of the start state.
        given: usize,
    },
    /// The end is before the present time, or one of them is not a number.
    #[error("cannot advance from t = {time} s to {end} s")]
    Backward {
        /// Present time.
        time: f64,
        /// End asked for.
        end: f64,
    },
    /// The system failed at an accepted state, or at trial states down to the smallest step.
    #[error("the system failed at t = {time} s with a step of {step} s, state {state:?}")]
    System {
        /// What it said.
        source: E,
        /// Time of the last accepted state.
        time: f64,
        /// Step attempted (zero: the accepted state itself failed).
        step: f64,
        /// Last accepted state.
        state: Vec<f64>,
    },
    /// A rate or an event value was not finite at an accepted state, or at trial states down to
    /// the smallest step.
    #[error(
        "a rate or event is not finite at t = {time} s with a step of {step} s, state {state:?}"
    )]
    NotFinite {
        /// Time of the last accepted state.
        time: f64,
        /// Step attempted (zero: the accepted state itself failed).
        step: f64,
        /// Last accepted state.
        state: Vec<f64>,
    },
    /// The error test fails even at the smallest step.
    #[error(
        "the smallest step {step} s at t = {time} s still has {error} times the error allowed, \
         state {state:?}"
    )]
    StepTooSmall {
        /// Time of the last accepted state.
        time: f64,
        /// Step attempted.
        step: f64,
        /// Its error in units of the tolerance.
        error: f64,
        /// Last accepted state.
        state: Vec<f64>,
    },
    /// The attempts allowed in one advance are spent.
    #[error("{attempts} steps attempted and only at t = {time} s of {end} s, state {state:?}")]
    TooManySteps {
        /// Time of the last accepted state.
        time: f64,
        /// End asked for.
        end: f64,
        /// Steps attempted.
        attempts: usize,
        /// Last accepted state.
        state: Vec<f64>,
    },
}
