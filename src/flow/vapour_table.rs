//! The critical flow of saturated vapour in equilibrium, from a table along the vapour-pressure line.
//!
//! What a cartridge gives off by its vapour is one family of states: the critical flux and its throat
//! pressure depend on the temperature at rest alone. They are searched for
//! (`flow::equilibrium`) at the points of each stretch first asked for, and
//! interpolated; a stretch that misses them by more than [`TOLERANCE`] is left to the search.

use std::sync::LazyLock;

use crate::flow::equilibrium;
use crate::flow::stagnation::Stagnation;
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

static MOSAIC: LazyLock<Mosaic<2>> = LazyLock::new(|| Mosaic::new(CORNER, SIZE, COUNT));

/// Critical mass flux [kg/(m2 s)] and throat pressure [Pa] of saturated vapour at rest at a
/// temperature [K]; `None` outside the table.
pub(crate) fn critical(temperature: f64) -> Option<(f64, f64)> {
    let place = MOSAIC.place(temperature, 0.5)?;
    let [flux, pressure] = MOSAIC.piece(&place, || patches(&place))?;
    Some((flux.value(place.x, 0.0), pressure.value(place.x, 0.0)))
}

fn patches(place: &Place) -> Option<[Patch; 2]> {
    let searched = |x: f64, _: f64| -> Option<[f64; 2]> {
        let (temperature, _) = MOSAIC.point(place, x, 0.0);
        let line = Tables.saturation(temperature).ok()?;
        let vapour = Stagnation::light(&Tables, &line);
        let flux = equilibrium::search(&Tables, &vapour, 0.0).ok()?;
        let clear = flux.throat_pressure > CLEAR_OF_TRIPLE * co2::TRIPLE_PRESSURE_ROUNDED;
        clear.then_some([flux.mass_flux, flux.throat_pressure])
    };
    let along = [-0.97, -0.6, 0.0, 0.6, 0.97].map(|x| (x, 0.0));
    Patch::through_each_within(&searched, &along, TOLERANCE)
}
