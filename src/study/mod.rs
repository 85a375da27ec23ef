//! Questions asked of a design: does one shot pass, and why; how often, and what drives it; how
//! far it can move before it does not.

pub mod band;
pub mod chance;
pub mod criterion;
pub mod diagnosis;
pub mod drivers;
pub mod error;
pub mod inputs;
pub mod leak;
pub mod margins;
pub mod odds;
pub mod rare;
pub mod shot;
pub mod sizing;
pub mod tally;
pub mod trial;
pub mod warning;

pub use chance::Chance;
pub use criterion::{Criterion, CriterionKind, Sense};
pub use error::StudyError;
pub use inputs::Inputs;
pub use leak::TolerableLeak;
pub use odds::Odds;
pub use shot::{HeldNose, Residue, ShotStudy};
pub use tally::{Quantity, Record, Tally};
pub use trial::{
    BuildSystem, Campaign, DischargeExperiment, Experiment, Finding, Observer, Trial, TrialError,
    TrialVerdict, run_trials,
};
pub use warning::Warning;
