//! Cited coefficient sets.

pub mod carbon_dioxide;
