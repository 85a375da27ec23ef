//! Which cartridge, bay, orifice and pins: a search over what a design leaves open.
//!
//! Choices (a cartridge of a list, a servo, a kind and count of pins) are enumerated as cells;
//! within a cell the continuous values, each on a grid of steps that can be bought or drilled,
//! are searched. A candidate passes the cheap stages before the dear ones: bounds without any
//! discharge, the nominal shot, cold and hot shots, the climb, the chance. What a candidate is
//! made of is the caller's affair ([`Workshop`]).

mod assess;
mod assessment;
mod cell;
mod chance;
mod climb;
mod compass;
mod explain;
mod front;
mod holding;
mod problem;
mod screen;
mod search;

pub use assess::{Assessor, Depth};
pub use assessment::{Assessment, Check, Requirement, Stage};
pub use chance::{Chance, ChanceSettings};
pub use climb::Climb;
pub use explain::{Relaxation, Shortfall};
pub use front::{Figure, non_dominated};
pub use holding::{Holding, holding};
pub use problem::{Aim, Article, Candidate, Case, Needs, Space, Workshop};
pub use screen::{bay_pressure_bound, charges as screen_charges};
pub use search::{Answer, Observer, Progress, SearchSettings, search};
