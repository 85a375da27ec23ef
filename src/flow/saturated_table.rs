//! The critical flow of saturated vapour and of saturated liquid, in equilibrium and frozen, from tables
//! along the vapour-pressure line.
//!
//! What a cartridge gives off by its vapour, or by its liquid, is one family of states: the critical flux
//! and its throat pressure depend on the temperature at rest alone. They are searched for
//! (`flow::equilibrium`, `flow::frozen`) at the points of each stretch first asked for, and
//! interpolated; a stretch that misses them by more than [`TOLERANCE`] is left to the search.

use std::sync::LazyLock;

use crate::flow::stagnation::{Choke, Stagnation};
use crate::flow::{equilibrium, frozen};
use crate::numerics::interpolate::{Mosaic, Patch, Place};
use crate::thermo::Coexistence;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::{PropertySource, Tables};

/// Largest relative error of flux and throat pressure at a test point of a stretch.
pub const TOLERANCE: f64 = 1e-6;

/// Throats nearer to the triple point than this ratio of pressures are left to the search: there
/// the flux can have two maxima.
const CLEAR_OF_TRIPLE: f64 = 1.05;

/// Stretches of 2 K from 220 K up; the second coordinate is not used.
const CORNER: (f64, f64) = (220.0, 0.0);
const SIZE: (f64, f64) = (2.0, 1.0);
const COUNT: (usize, usize) = (42, 1);

static VAPOUR: LazyLock<Mosaic<4>> = LazyLock::new(|| Mosaic::new(CORNER, SIZE, COUNT));
static LIQUID: LazyLock<Mosaic<4>> = LazyLock::new(|| Mosaic::new(CORNER, SIZE, COUNT));

/// How a saturated phase chokes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Critical {
    /// With the phases in equilibrium.
    pub equilibrium: Choke,
    /// Without change of phase.
    pub frozen: Choke,
}

/// How a state at rest chokes if it is a saturated phase; `None` if not, outside the tables, or where
/// properties do not come from tables.
pub(crate) fn of<P: PropertySource>(_: &P, stagnation: &Stagnation) -> Option<Critical> {
    if !P::CHEAP || !stagnation.saturated {
        return None;
    }
    let light = stagnation.density < co2::CRITICAL_DENSITY;
    let (mosaic, at_rest): (&Mosaic<4>, AtRest) = if light {
        (&VAPOUR, Stagnation::light)
    } else {
        (&LIQUID, Stagnation::liquid)
    };
    let place = mosaic.place(stagnation.temperature, 0.5)?;
    let at = mosaic.piece(&place, || patches(mosaic, &place, at_rest))?;
    let [mass_flux, pressure, frozen_flux, frozen_pressure] =
        at.each_ref().map(|patch| patch.along(place.x));
    Some(Critical {
        equilibrium: Choke {
            mass_flux,
            pressure,
        },
        frozen: Choke {
            mass_flux: frozen_flux,
            pressure: frozen_pressure,
        },
    })
}

/// A saturated phase of a line at rest.
type AtRest = fn(&Tables, &Coexistence) -> Stagnation;

fn patches(mosaic: &Mosaic<4>, place: &Place, at_rest: AtRest) -> Option<[Patch; 4]> {
    let searched = |x: f64| -> Option<[f64; 4]> {
        let (temperature, _) = mosaic.point(place, x, 0.0);
        let line = Tables.saturation(temperature).ok()?;
        let state = at_rest(&Tables, &line);
        let flux = equilibrium::search(&Tables, &state, 0.0).ok()?;
        let frozen = frozen::mass_flux(&Tables, &state, 0.0).ok()?;
        let clear = flux.throat_pressure > CLEAR_OF_TRIPLE * co2::TRIPLE_PRESSURE_ROUNDED;
        clear.then_some([
            flux.mass_flux,
            flux.throat_pressure,
            frozen.mass_flux,
            frozen.throat_pressure,
        ])
    };
    Patch::along_each_within(&searched, &[-0.97, -0.6, 0.0, 0.6, 0.97], TOLERANCE)
}
