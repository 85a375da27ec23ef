//! Numerical methods that know no physics: roots and maxima in a bracket,
//! interpolation, small dense linear systems, and integration of ordinary
//! differential equations with events.
//!
//! Every function that calls back into the caller takes a closure (or a trait)
//! that may fail with the caller's own error, and every error of this room
//! says where the method stood when it gave up.

pub mod integrate;
pub mod interpolate;
pub mod linear;
pub mod matrix;
pub mod roots;
pub mod smooth_step;

pub use smooth_step::smooth_step;
