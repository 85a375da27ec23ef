//! Vessels, paths, ambient and the nose joined into one system: its
//! specification, its rates of change and its events.
//!
//! * [`spec`]: what a system is made of; [`standing`]: what stands open to a cartridge beforehand;
//! * [`contents`]: the state of a vessel from mass, energy and volume;
//! * [`flow_path`]: the flow between two ends; [`heat`]: heat through the shells, with what
//!   gases conduct in [`transport`];
//! * [`atmosphere`]: the standard air outside; [`criteria`]: what counts as success;
//! * [`balances`]: all of it as rates of change and event functions of one state vector.

pub mod atmosphere;
pub mod balances;
mod check;
pub mod contents;
pub mod criteria;
pub mod error;
pub mod estimates;
pub mod flow_path;
pub mod heat;
pub mod layout;
mod memo;
pub mod spec;
pub mod standing;
pub mod stream;
pub mod transport;

pub use balances::{Network, NetworkEvent, Onset};
pub use error::NetworkError;
