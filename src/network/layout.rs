//! Where everything lies in the state vector.

use crate::network::spec::System;

/// Positions in the state vector: per vessel CO2 [kg], air [kg], energy [J] and, with a shell, its
/// temperature [K]; then travel [m] and speed [m/s] of the nose; then what has left the system:
/// CO2 [kg], air [kg], enthalpy [J], work done by the bay [J]; and heat received from outside [J].
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// First entry of each vessel.
    pub vessels: Vec<usize>,
    /// Shell temperature of each vessel.
    pub walls: Vec<Option<usize>>,
    /// Travel of the nose; speed follows.
    pub nose: Option<usize>,
    /// First of the five accounts.
    pub accounts: usize,
    /// Length of the state vector.
    pub dimension: usize,
}

/// Accounts: CO2 out, air out, enthalpy out, work out, heat in.
pub const ACCOUNTS: usize = 5;

impl Layout {
    /// The layout of a system.
    #[must_use]
    pub fn new(system: &System) -> Self {
        let mut next = 0;
        let mut vessels = Vec::with_capacity(system.vessels.len());
        let mut walls = Vec::with_capacity(system.vessels.len());
        for vessel in &system.vessels {
            vessels.push(next);
            next += 3;
            walls.push(vessel.wall.as_ref().map(|_| next));
            next += usize::from(vessel.wall.is_some());
        }
        let nose = system.nose.as_ref().map(|_| next);
        next += 2 * usize::from(nose.is_some());
        Self {
            vessels,
            walls,
            nose,
            accounts: next,
            dimension: next + ACCOUNTS,
        }
    }
}
