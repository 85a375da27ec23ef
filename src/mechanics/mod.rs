//! The nose: pins, seal friction, engagement, and the tether.

pub mod error;
pub mod motion;
pub mod nose;
pub mod seal;
pub mod shear_pin;
pub mod tether;

pub use error::MechanicsError;
pub use motion::{Motion, NOSE_EVENTS, NoseEvent, Transition};
pub use nose::Nose;
