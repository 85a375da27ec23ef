//! A cause put into a system.

use crate::network::spec::{Path, System};
use crate::study::leak::{HOLE_DISCHARGE_COEFFICIENT, hole};

use super::cause::Cause;
use super::changed_opening::{opening_after, opening_over, stopped_short};
use super::places::Places;

impl Cause {
    /// Changes a system as this cause does: what it frees takes the place of what the system says,
    /// `values` being those reported [SI]. Sensor causes change nothing in it.
    pub fn apply(self, system: &mut System, places: &Places, values: &[f64]) {
        let Some(value) = values.first().copied() else {
            return;
        };
        match self {
            Cause::NothingWrong | Cause::SensorOffset | Cause::SensorLag => {}
            Cause::ValveSlow => with_path(system, places.valve, |path| {
                path.opening = opening_over(&path.opening, value);
            }),
            Cause::ValveLate => with_path(system, places.valve, |path| {
                path.opening = opening_after(&path.opening, value);
            }),
            Cause::ValvePartlyOpen => with_path(system, places.valve, |path| {
                let full = path.opening.final_fraction();
                let (opening, area) = stopped_short(&path.opening, value / full);
                path.opening = opening;
                path.area *= area;
            }),
            Cause::SealLeak => {
                let own = system.effective_leak_area(places.bay) / HOLE_DISCHARGE_COEFFICIENT;
                system.paths.push(found(places.bay, value - own));
            }
            Cause::VentOpen => system.paths.push(found(places.bay, value)),
            Cause::CartridgeLight => {
                if let Some(vessel) = places.cartridge.and_then(|v| system.vessels.get_mut(v)) {
                    vessel.co2_mass = value;
                }
            }
            Cause::CartridgeCold => {
                if let Some(vessel) = places.cartridge.and_then(|v| system.vessels.get_mut(v)) {
                    if let Some(wall) = &mut vessel.wall {
                        wall.temperature += value - vessel.temperature;
                    }
                    vessel.temperature = value;
                }
            }
            Cause::NeckPartlyPierced => with_path(system, places.neck, |path| path.area = value),
            Cause::PinsEarly | Cause::PinsStrong => {
                if let Some((nose, _)) = &mut system.nose {
                    let own = nose.pin_strength();
                    for pin in &mut nose.pins {
                        pin.strength *= value / own;
                    }
                }
            }
            Cause::NoseJammed => {
                if let Some((nose, _)) = &mut system.nose {
                    let further = (value - nose.static_friction).max(0.0);
                    nose.static_friction += further;
                    nose.kinetic_friction += further;
                }
            }
        }
    }
}

/// A hole out of a vessel, of no area where it would be negative.
fn found(vessel: usize, area: f64) -> Path {
    hole("found-leak", vessel, area.max(0.0))
}

fn with_path(system: &mut System, index: Option<usize>, change: impl FnOnce(&mut Path)) {
    if let Some(path) = index.and_then(|index| system.paths.get_mut(index)) {
        change(path);
    }
}
