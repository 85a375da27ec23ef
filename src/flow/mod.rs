//! Mass flux through restrictions: equilibrium, frozen and relaxed models, gas
//! mixtures, friction in tubes, valve openings and flow coefficients.

mod critical_boundary;
pub mod discharge_flux;
pub mod equilibrium;
pub mod error;
pub mod friction;
pub mod frozen;
mod gas_alone;
pub mod henry_fauske;
pub mod hint;
pub(crate) mod isentrope;
pub(crate) mod near_critical;
pub mod omega;
pub mod opening;
mod over_ice;
pub mod perfect_gas;
mod phase_boundary;
pub mod saturated_table;
pub mod sonic_table;
pub mod stagnation;
mod throat;
pub mod valve_coefficient;

pub use error::FlowError;

/// How the two-phase fluid behaves between the stagnation state and the throat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FluxModel {
    /// Homogeneous equilibrium: phases change at once (least flow).
    Equilibrium,
    /// Frozen: no phase change on the way to the throat (most flow).
    Frozen,
    /// Dyer et al. 2007 weighting for liquid, half way between equilibrium
    /// and frozen for vapour.
    Relaxed,
    /// Henry & Fauske 1971 for liquid and two-phase; frozen for vapour.
    HenryFauske,
    /// Linear blend of mass flux: 0 is equilibrium, 1 is frozen.
    Between(f64),
}
