//! Interpolation.
