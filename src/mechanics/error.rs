//! What can be wrong with a mechanical part.

use crate::units::{UnitSystem, format_force, format_length, number};

fn metres(value: f64) -> String {
    format_length(value, UnitSystem::Metric)
}

fn newtons(value: f64) -> String {
    format_force(value, UnitSystem::Metric)
}

/// Why a mechanical quantity could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MechanicsError {
    /// A number lies outside the range in which the part or law makes sense.
    #[error("{part}: {quantity} is {}, outside {least} to {most}", number(*.value))]
    OutOfRange {
        /// The part or law that refused.
        part: &'static str,
        /// The offending number, with its unit.
        quantity: &'static str,
        /// Its value.
        value: f64,
        /// Least accepted value.
        least: f64,
        /// Greatest accepted value.
        most: f64,
    },
    /// Kinetic friction above static friction.
    #[error(
        "nose: kinetic friction {} exceeds static friction {}",
        newtons(*.kinetic),
        newtons(*.static_friction)
    )]
    FrictionReversed {
        /// Kinetic friction [N].
        kinetic: f64,
        /// Static friction [N].
        static_friction: f64,
    },
    /// The tether would run taut with the nose still on the coupler.
    #[error(
        "tether: runs taut at {}, before the coupler is out at {}",
        metres(*.length),
        metres(*.engagement)
    )]
    TetherTooShort {
        /// Travel at which it runs taut [m].
        length: f64,
        /// Travel at which the coupler is out [m].
        engagement: f64,
    },
    /// The pins would still be tearing with the coupler already out.
    #[error(
        "pin: tears over {}, more than the engagement of {}",
        metres(*.tear_length),
        metres(*.engagement)
    )]
    TearTooLong {
        /// Tear length of the pin [m].
        tear_length: f64,
        /// Travel at which the coupler is out [m].
        engagement: f64,
    },
    /// A thread that is not in the table.
    #[error("no thread named {name}; known: {known}")]
    UnknownThread {
        /// What was asked for.
        name: String,
        /// Names that exist.
        known: String,
    },
}

/// Accepts a finite value within `least..=most`, or says which number of which part is out.
pub(crate) fn within(
    part: &'static str,
    quantity: &'static str,
    value: f64,
    least: f64,
    most: f64,
) -> Result<f64, MechanicsError> {
    if value >= least && value <= most {
        Ok(value)
    } else {
        Err(MechanicsError::OutOfRange {
            part,
            quantity,
            value,
            least,
            most,
        })
    }
}
