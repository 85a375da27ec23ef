//! The critical flow of saturated vapour, in equilibrium and frozen, from a table along the
//! vapour-pressure line.
//!
//! What a cartridge gives off by its vapour is one family of states: the critical flux and its throat
//! pressure depend on the temperature at rest alone. They are searched for
//! (`flow::equilibrium`, `flow::frozen`) at the points of each stretch first asked for, and
//! interpolated; a stretch that misses them by more than [`TOLERANCE`] is left to the search.

use std::sync::LazyLock;

use crate::flow::stagnation::{Choke, Stagnation};
use crate::flow::{equilibrium, frozen};
use crate::numerics::interpolate::{Mosaic, Patch, Place};
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

static MOSAIC: LazyLock<Mosaic<4>> = LazyLock::new(|| Mosaic::new(CORNER, SIZE, COUNT));

/// How saturated vapour chokes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Critical {
    /// With the phases in equilibrium.
    pub equilibrium: Choke,
    /// Without condensation.
    pub frozen: Choke,
}

/// How a state at rest chokes if it is saturated vapour; `None` if not, or outside the table.
pub(crate) fn of(stagnation: &Stagnation) -> Option<Critical> {
    let vapour = stagnation.saturated && stagnation.density < co2::CRITICAL_DENSITY;
    vapour.then(|| critical(stagnation.temperature)).flatten()
}

/// How saturated vapour at rest at a temperature [K] chokes; `None` outside the table.
pub(crate) fn critical(temperature: f64) -> Option<Critical> {
    let place = MOSAIC.place(temperature, 0.5)?;
    let at = MOSAIC.piece(&place, || patches(&place))?;
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

fn patches(place: &Place) -> Option<[Patch; 4]> {
    let searched = |x: f64| -> Option<[f64; 4]> {
        let (temperature, _) = MOSAIC.point(place, x, 0.0);
        let line = Tables.saturation(temperature).ok()?;
        let vapour = Stagnation::light(&Tables, &line);
        let flux = equilibrium::search(&Tables, &vapour, 0.0).ok()?;
        let frozen = frozen::mass_flux(&Tables, &vapour, 0.0).ok()?;
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
