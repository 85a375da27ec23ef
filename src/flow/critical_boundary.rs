//! The vapour-pressure line in its last hundredth of a kelvin below the critical point, by the entropy of an
//! isentrope that meets it there.
//!
//! Isentropes of a twentieth in density on either side of the critical one meet the line there, where the equations
//! are slow to solve and their phases change with the square root of what is left to the critical point. In
//! that root entropy, volume and pressure are smooth: they are tabulated over it from the equations.

use std::sync::LazyLock;

use crate::flow::FlowError;
use crate::numerics::interpolate::{Mosaic, Patch};
use crate::thermo::ThermoError;
use crate::thermo::coexistence::{Coexistence, saturation};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::line_table::TABLE_HIGH;
use crate::thermo::source::PropertySource;

/// Two states of the vapour-pressure line next to the critical point, solved once.
pub(super) struct CriticalEnds {
    /// Where the tables end.
    pub(super) table_end: Coexistence,
    /// As near to the critical point as an isentrope is followed.
    pub(super) highest: Coexistence,
}

impl CriticalEnds {
    pub(super) fn get() -> Result<&'static Self, FlowError> {
        static ENDS: LazyLock<Result<CriticalEnds, ThermoError>> = LazyLock::new(|| {
            Ok(CriticalEnds {
                table_end: saturation(TABLE_HIGH - 1e-9)?,
                highest: saturation(co2::CRITICAL_TEMPERATURE - 1e-5)?,
            })
        });
        ENDS.as_ref().map_err(|error| error.clone().into())
    }
}

/// Largest relative error of entropy, volume and pressure at a test point of a stretch.
pub const TOLERANCE: f64 = 1e-6;

/// Stretches of the root [K^0.5], as long as the one next to the critical point, in which the line follows
/// the square root: there it has a bend.
const SIZE: (f64, f64) = (NEAREST_ROOT, 1.0);
const COUNT: (usize, usize) = (8, 1);
const NEAREST_ROOT: f64 = 0.014_142_135_623_730_95;

static HEAVY: LazyLock<Mosaic<3>> = LazyLock::new(|| Mosaic::new((0.0, 0.0), SIZE, COUNT));
static LIGHT: LazyLock<Mosaic<3>> = LazyLock::new(|| Mosaic::new((0.0, 0.0), SIZE, COUNT));

/// Entropy [J/(kg K)], volume [m3/kg] and pressure [Pa] of a saturated phase at a root.
fn phase(light: bool, root: f64) -> Option<[f64; 3]> {
    let mosaic: &Mosaic<3> = if light { &LIGHT } else { &HEAVY };
    let place = mosaic.place(root, 0.5)?;
    let patches = mosaic.piece(&place, || {
        let solved = |x: f64| {
            let root = mosaic.point(&place, x, 0.0).0;
            let line = saturation(co2::CRITICAL_TEMPERATURE - root * root).ok()?;
            let phase = if light { &line.light } else { &line.heavy };
            Some([phase.entropy, phase.volume, line.pressure])
        };
        Patch::along_each_within(&solved, TOLERANCE)
    })?;
    Some(patches.each_ref().map(|patch| patch.along(place.x)))
}

/// Pressure [Pa], temperature [K] and density [kg/m3] at which a saturated phase has an entropy [J/(kg K)]; `None`
/// where it does not above the end of the tables, or where properties do not come from tables.
pub(super) fn meeting<P: PropertySource>(
    _: &P,
    entropy: f64,
    light: bool,
) -> Option<(f64, f64, f64)> {
    if !P::CHEAP {
        return None;
    }
    let farthest = (co2::CRITICAL_TEMPERATURE - TABLE_HIGH).sqrt();
    let over = |root: f64| Some(phase(light, root)?[0] - entropy);
    // The entropy is nearly straight in the root: secants.
    let (mut older, mut root) = (0.0, farthest);
    let (mut at_older, mut at_root) = (over(older)?, over(root)?);
    for _ in 0..20 {
        let next = root - at_root * (root - older) / (at_root - at_older);
        (older, at_older) = (root, at_root);
        root = next.clamp(0.0, 1.05 * farthest);
        if (root - older).abs() <= 1e-12 {
            let [_, volume, pressure] = phase(light, root)?;
            let temperature = co2::CRITICAL_TEMPERATURE - root * root;
            return Some((pressure, temperature, 1.0 / volume));
        }
        at_root = over(root)?;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::thermo::source::{Equations, Tables};

    /// Isentropes through known states of the line meet it there; every stretch of the tables answers.
    #[test]
    fn isentropes_meet_the_line_where_the_equations_do() {
        for left in [9e-3, 5e-3, 2e-3, 7e-4, 3e-4, 1.5e-4, 3e-5] {
            let line = saturation(co2::CRITICAL_TEMPERATURE - left).expect("the line");
            for (light, phase) in [(false, &line.heavy), (true, &line.light)] {
                let found = meeting(&Tables, phase.entropy, light);
                let (pressure, temperature, density) = found.expect("a meeting");
                let volume = 1.0 / (density * phase.volume) - 1.0;
                assert!(
                    (pressure / line.pressure - 1.0).abs() < TOLERANCE,
                    "{left} K: {pressure} for {}",
                    line.pressure
                );
                assert!(
                    (temperature - line.temperature).abs() < 0.02 * left,
                    "{left} K"
                );
                assert!(volume.abs() < 1e-4, "{left} K: volume off by {volume:e}");
                assert_eq!(meeting(&Equations, phase.entropy, light), None);
            }
        }
        for mosaic in [&HEAVY, &LIGHT] {
            let (good, all) = mosaic.filled();
            assert!(good == all && all >= 6, "{good} of {all}");
        }
    }
}
