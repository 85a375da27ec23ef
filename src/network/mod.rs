//! Vessels, paths, ambient and the nose joined into one system: its
//! specification, its rates of change and its events.

pub mod spec;
