//! The nose: pins, seal friction, engagement, and the tether.

pub mod nose;

pub use nose::Nose;
