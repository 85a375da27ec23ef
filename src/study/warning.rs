//! What deserves attention although, or because, a criterion says so or not.

use crate::discharge::{Discharge, EventKind};
use crate::mechanics::NoseEvent;
use crate::network::spec::{PathRole, Role, System};

use super::criterion::{Criterion, first_command};
use super::shot::{HeldNose, first, index_at};

/// Below this factor of available force over retention a separation is called weak.
pub const COMFORTABLE_FACTOR: f64 = 1.5;
/// Margins below this share of the limit are called thin.
pub const THIN_MARGIN: f64 = 0.10;
/// Common elastomers stiffen below this temperature [K] (-40 degC).
pub const COLD_SEAL: f64 = 233.15;

/// Something to look at.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// The pins hold against all the charge can do.
    PinsHold {
        /// Available force over retention [1].
        factor: f64,
    },
    /// The pins went but the nose did not get off the coupler.
    StuckOnCoupler {
        /// Furthest travel [m].
        travel: f64,
        /// Length of the coupler [m].
        engagement: f64,
    },
    /// The nose leaves with little to spare.
    WeakForce {
        /// Available force over retention [1].
        factor: f64,
    },
    /// A criterion is met by a thin margin.
    ThinMargin {
        /// Name in sentences.
        criterion: String,
        /// Margin over limit [1].
        share: f64,
    },
    /// The nose moved before any valve was commanded.
    Premature {
        /// When the pins sheared [s].
        time: f64,
        /// When the first command comes [s].
        command: f64,
    },
    /// No valve is commanded within the run.
    CommandAfterEnd {
        /// When the first command comes [s].
        command: f64,
        /// End of the run [s].
        horizon: f64,
    },
    /// A nose that jams would let the bay rise above its rating.
    BurstsIfJammed {
        /// Highest pressure with the nose held [Pa].
        pressure: f64,
        /// Rating of the bay [Pa].
        rating: f64,
    },
    /// The nose fell back onto the coupler.
    Recontact {
        /// When [s].
        time: f64,
    },
    /// The tether runs taut and its rating is not given.
    TetherUnrated {
        /// Peak load [N].
        load: f64,
    },
    /// Dry ice forms in a vessel between two restrictions, where it can block.
    SnowInPassage {
        /// Name of the vessel.
        vessel: String,
        /// Most dry ice [kg].
        mass: f64,
    },
    /// The gas in the bay gets colder than common seals take.
    ColdSeal {
        /// Name of the vessel.
        vessel: String,
        /// Lowest temperature [K].
        temperature: f64,
    },
    /// The nose left before the valve was fully open: the valve's speed matters.
    ValveStillOpening {
        /// Name of the path.
        path: String,
        /// Share of its full area when the nose cleared [1].
        share: f64,
    },
    /// The pressure with the nose held was still rising at the end of the run.
    HorizonTooShort {
        /// End of the run [s].
        horizon: f64,
    },
    /// A vessel starts full of liquid, where its pressure climbs by bars per kelvin.
    LiquidFull {
        /// Name of the vessel.
        vessel: String,
        /// Its temperature [K].
        temperature: f64,
    },
    /// A vessel has no pressure rating.
    Unrated {
        /// Names of the vessels.
        vessels: Vec<String>,
    },
}

/// Everything worth saying about a shot.
pub(super) fn warnings(
    system: &System,
    discharge: &Discharge,
    held: Option<&HeldNose>,
    criteria: &[Criterion],
    nose_held: bool,
) -> Vec<Warning> {
    let mut found = Vec::new();
    if !nose_held {
        nose_warnings(system, discharge, held, &mut found);
    }
    for criterion in criteria {
        let share = criterion.relative_margin().unwrap_or(-1.0);
        if criterion.pass && share < THIN_MARGIN {
            found.push(Warning::ThinMargin {
                criterion: criterion.label(),
                share,
            });
        }
    }
    if held.is_some_and(|held| held.still_rising && held.factor() < f64::INFINITY) {
        found.push(Warning::HorizonTooShort {
            horizon: system.horizon,
        });
    }
    vessel_warnings(system, discharge, &mut found);
    found
}

fn nose_warnings(
    system: &System,
    discharge: &Discharge,
    held: Option<&HeldNose>,
    found: &mut Vec<Warning>,
) {
    let (Some((nose, bay)), Some(held)) = (&system.nose, held) else {
        return;
    };
    let outcome = &discharge.outcome;
    let factor = held.factor();
    let command = first_command(system);
    match (outcome.pins_break_time, outcome.clear_time) {
        (None, _) if command >= system.horizon => found.push(Warning::CommandAfterEnd {
            command,
            horizon: system.horizon,
        }),
        (None, _) => found.push(Warning::PinsHold { factor }),
        (Some(_), None) => found.push(Warning::StuckOnCoupler {
            travel: outcome.furthest_travel,
            engagement: nose.engagement,
        }),
        (Some(_), Some(_)) if factor < COMFORTABLE_FACTOR => {
            found.push(Warning::WeakForce { factor });
        }
        _ => {}
    }
    if let Some(time) = outcome.pins_break_time
        && time < command
    {
        found.push(Warning::Premature { time, command });
    }
    let rating = system.vessels.get(*bay).and_then(|bay| bay.pressure_rating);
    let pressure = held.peak_pressure.value;
    if let Some(rating) = rating.filter(|rating| pressure > *rating) {
        found.push(Warning::BurstsIfJammed { pressure, rating });
    }
    if let Some(time) = first(discharge, NoseEvent::Recontact) {
        found.push(Warning::Recontact { time });
    }
    if let Some(peak) = outcome.peak_tether_load
        && nose
            .tether
            .as_ref()
            .is_some_and(|tether| tether.rating.is_none())
    {
        found.push(Warning::TetherUnrated { load: peak.value });
    }
    if let Some(clear) = outcome.clear_time {
        let at = index_at(&discharge.trajectory.times, clear);
        for (path, series) in system.paths.iter().zip(&discharge.trajectory.paths) {
            let commanded = discharge.events.iter().any(|event| {
                event.time <= clear
                    && matches!(&event.kind, EventKind::Commanded { path: name } if *name == path.name)
            });
            let full = path.area * path.opening.final_fraction();
            let share = series.open_area.get(at).copied().unwrap_or(full) / full;
            if path.role == PathRole::Valve && commanded && share < 0.98 {
                found.push(Warning::ValveStillOpening {
                    path: path.name.clone(),
                    share,
                });
            }
        }
    }
}

fn vessel_warnings(system: &System, discharge: &Discharge, found: &mut Vec<Warning>) {
    let bay = system.nose.as_ref().map(|(_, bay)| *bay);
    let charge: f64 = system.vessels.iter().map(|vessel| vessel.co2_mass).sum();
    for (index, (vessel, outcome)) in system
        .vessels
        .iter()
        .zip(&discharge.outcome.vessels)
        .enumerate()
    {
        let passage = vessel.role == Role::Manifold || vessel.role == Role::Reservoir;
        if passage && outcome.most_solid > 1e-3 * charge {
            found.push(Warning::SnowInPassage {
                vessel: vessel.name.clone(),
                mass: outcome.most_solid,
            });
        }
        if bay == Some(index) && outcome.coldest.value < COLD_SEAL {
            found.push(Warning::ColdSeal {
                vessel: vessel.name.clone(),
                temperature: outcome.coldest.value,
            });
        }
        let liquid = discharge
            .trajectory
            .vessels
            .get(index)
            .and_then(|series| series.liquid_mass.first())
            .copied()
            .unwrap_or(0.0);
        if vessel.role == Role::Cartridge && liquid > 0.999 * vessel.co2_mass {
            found.push(Warning::LiquidFull {
                vessel: vessel.name.clone(),
                temperature: vessel.temperature,
            });
        }
    }
    let unrated: Vec<String> = system
        .vessels
        .iter()
        .filter(|vessel| vessel.pressure_rating.is_none())
        .map(|vessel| vessel.name.clone())
        .collect();
    if !unrated.is_empty() {
        found.push(Warning::Unrated { vessels: unrated });
    }
}
