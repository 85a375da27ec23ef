//! Questions asked of a design: does one shot pass, and why.

pub mod criterion;
pub mod error;
pub mod inputs;
pub mod leak;
pub mod shot;
pub mod trial;
pub mod warning;

pub use criterion::{Criterion, CriterionKind, Sense};
pub use error::StudyError;
pub use inputs::Inputs;
pub use leak::TolerableLeak;
pub use shot::{HeldNose, Residue, ShotStudy};
pub use trial::{
    Campaign, DischargeExperiment, Experiment, Finding, Observer, Trial, TrialError, TrialVerdict,
    run_trials,
};
pub use warning::Warning;
