//! One discharge, or one with the force there would have been had the nose stayed.

use crate::discharge::course::Course;
use crate::discharge::settings::{Extent, Settings};
use crate::discharge::{Discharge, DischargeError};
use crate::network::spec::System;
use crate::thermo::source::{Equations, PropertySource, Tables};

/// Integrate a system from its start as far as the settings say.
///
/// # Errors
/// A specification that contradicts itself, a state outside the model (with vessel and time), or
/// balances that do not close.
pub fn run(system: &System, settings: &Settings) -> Result<Discharge, DischargeError> {
    if settings.exact_properties {
        run_with(system, settings, Equations)
    } else {
        run_with(system, settings, Tables)
    }
}

fn run_with<L: PropertySource + Copy>(
    system: &System,
    settings: &Settings,
    properties: L,
) -> Result<Discharge, DischargeError> {
    let mut course = Course::new(system, settings, properties)?;
    course.run(|_| Ok(()))?;
    course.finish()
}

/// A discharge, and the same with the nose held from where it first would have moved.
#[derive(Debug)]
pub struct HeldToo {
    /// The discharge as it is.
    pub discharge: Discharge,
    /// With the nose held; `None` where the nose never moved, so
    /// that the discharge is that run.
    pub held: Option<Result<Discharge, DischargeError>>,
}

/// Both runs of a system, for many: to the separation, the one with the nose held branching off where
/// the nose first moves, so that what they share is computed once.
///
/// # Errors
/// As [`run`], of the discharge itself.
pub fn run_held_too(system: &System, settings: &Settings) -> Result<HeldToo, DischargeError> {
    if settings.exact_properties {
        held_too_with(system, settings, Equations)
    } else {
        held_too_with(system, settings, Tables)
    }
}

fn held_too_with<L: PropertySource + Copy>(
    system: &System,
    settings: &Settings,
    properties: L,
) -> Result<HeldToo, DischargeError> {
    let settings = Settings {
        extent: Extent::Separation,
        ..*settings
    };
    let mut course = Course::new(system, &settings, properties)?;
    let mut branch = None;
    if course.is_at_rest() {
        course.run(|before| {
            branch = Some(before.held()?);
            Ok(())
        })?;
    } else {
        branch = Some(Course::new(system, &settings.with_nose_held(), properties)?);
        course.run(|_| Ok(()))?;
    }
    let to_its_end = |mut held: Course<'_, L>| {
        held.run(|_| Ok(()))?;
        held.finish()
    };
    Ok(HeldToo {
        discharge: course.finish()?,
        held: branch.map(to_its_end),
    })
}
