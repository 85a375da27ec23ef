//! One discharge: a system integrated in time, what happened on the way and why it ended.

mod alarms;
pub mod audit;
mod coast;
mod course;
pub mod error;
mod frost;
mod looks;
pub mod outcome;
mod peak;
mod record;
pub mod run;
pub mod settings;
pub mod trajectory;

pub use error::DischargeError;
pub use outcome::{Audit, Ending, EventKind, EventRecord, Outcome, Peak, VesselOutcome};
pub use run::{HeldToo, run, run_held_too};
pub use settings::{Extent, Settings, Watched};
pub use trajectory::{NoseSeries, PathSeries, Trajectory, VesselSeries};

/// The whole answer of one run.
#[derive(Debug, Clone, PartialEq)]
pub struct Discharge {
    /// Everything against time.
    pub trajectory: Trajectory,
    /// What happened, in order of time.
    pub events: Vec<EventRecord>,
    /// The numbers behind the verdict.
    pub outcome: Outcome,
    /// How well the balances closed and what the run cost.
    pub audit: Audit,
}
