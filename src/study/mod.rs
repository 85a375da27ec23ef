//! Questions asked of a design: does one shot pass, and why.

pub mod criterion;
pub mod error;
pub mod leak;
pub mod shot;
pub mod warning;

pub use criterion::{Criterion, CriterionKind, Sense};
pub use error::StudyError;
pub use leak::TolerableLeak;
pub use shot::{HeldNose, Residue, ShotStudy};
pub use warning::Warning;
