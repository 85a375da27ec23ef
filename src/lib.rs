//! Cold-gas separation of sounding-rocket nose cones: real CO2 from a pierced
//! cartridge through a valve into the bay under the nose, until the pins shear,
//! the nose slides off and the tether runs taut.
//!
//! Bare `f64` values are coherent SI; quantities as people write them live in
//! [`units`] and [`design`] only.
#![deny(missing_docs)]
// Units stand in square brackets throughout, as in print: they are not links.
#![allow(rustdoc::broken_intra_doc_links)]
#![forbid(unsafe_code)]

pub mod cli;
pub mod design;
pub mod discharge;
pub mod flow;
pub mod mechanics;
pub mod network;
pub mod numerics;
pub mod report;
pub mod statistics;
pub mod study;
pub mod thermo;
pub mod trace;
pub mod units;
