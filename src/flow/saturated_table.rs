//! The flow of saturated vapour and of saturated liquid from tables along the vapour-pressure line: critical,
//! in equilibrium and frozen, and frozen on the way there.
//!
//! What a cartridge gives off by its vapour, or by its liquid, is one family of states: the critical flux
//! and its throat pressure depend on the temperature at rest alone. They are searched for
//! (`flow::equilibrium`, `flow::frozen`) at the points of each stretch first asked for, and
//! interpolated; a stretch that misses them by more than [`TOLERANCE`] is left to the search. Into a receiver
//! at more than the throat's pressure the square of the frozen flux is nearly straight in the
//! pressure drop; what it is over a straight line is tabulated over both.

use std::sync::LazyLock;

use crate::flow::stagnation::{Choke, Content, Stagnation};
use crate::flow::{equilibrium, frozen, isentrope};
use crate::numerics::interpolate::{Mosaic, Patch, Place, TEST_POINTS};
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

/// Cells of 4 K by half of the pressure drop down to the throat.
const UNCHOKED_SIZE: (f64, f64) = (4.0, 0.5);
const UNCHOKED_COUNT: (usize, usize) = (21, 2);

/// One of the two phases: how it stands at rest on a line, and its tables.
struct Phase {
    at_rest: fn(&Tables, &Coexistence) -> Stagnation,
    critical: Mosaic<4>,
    unchoked: Mosaic<1>,
}

static VAPOUR: LazyLock<Phase> = LazyLock::new(|| Phase::new(Stagnation::light));
static LIQUID: LazyLock<Phase> = LazyLock::new(|| Phase::new(Stagnation::liquid));

impl Phase {
    fn new(at_rest: fn(&Tables, &Coexistence) -> Stagnation) -> Self {
        Self {
            at_rest,
            critical: Mosaic::new(CORNER, SIZE, COUNT),
            unchoked: Mosaic::new(CORNER, UNCHOKED_SIZE, UNCHOKED_COUNT),
        }
    }

    /// That of a state at rest; `None` if it is not saturated, or where properties do not come from tables.
    fn of<P: PropertySource>(stagnation: &Stagnation) -> Option<&'static Self> {
        let light = stagnation.density < co2::CRITICAL_DENSITY;
        let phase = if light { &VAPOUR } else { &LIQUID };
        (P::CHEAP && stagnation.saturated).then(|| &**phase)
    }
}

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
    let phase = Phase::of::<P>(stagnation)?;
    let place = phase.critical.place(stagnation.temperature, 0.5)?;
    let at = phase.critical.piece(&place, || patches(phase, &place))?;
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

/// Frozen mass flux [kg/(m2 s)] of a state at rest that chokes as given, into a receiver at more than the
/// throat's pressure [Pa]; `None` as for [`of`].
pub(crate) fn frozen_unchoked<P: PropertySource>(
    _: &P,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    choke: &Choke,
) -> Option<f64> {
    let phase = Phase::of::<P>(stagnation)?;
    let mosaic = &phase.unchoked;
    let p0 = stagnation.pressure;
    let drop = (p0 - receiver_pressure) / (p0 - choke.pressure);
    let place = mosaic.place(stagnation.temperature, drop)?;
    let over_straight = |x: f64, y: f64| -> Option<[f64; 1]> {
        let (temperature, drop) = mosaic.point(&place, x, y);
        let line = Tables.saturation(temperature).ok()?;
        let state = (phase.at_rest)(&Tables, &line);
        let critical = frozen::mass_flux(&Tables, &state, 0.0).ok()?;
        let throat = state.pressure - critical.throat_pressure;
        let square = if drop < SMALLEST_DROP {
            2.0 * state.density * throat
        } else {
            let receiver = state.pressure - drop * throat;
            let Content::Single(start) = &state.content else {
                return None;
            };
            let point = isentrope::at_pressure(&Tables, start, receiver).ok()?;
            let fall = state.enthalpy - point.enthalpy();
            2.0 * point.density * point.density * fall / drop
        };
        Some([square / (critical.mass_flux * critical.mass_flux)])
    };
    let [patch] = mosaic.piece(&place, || {
        Patch::through_each_within(&over_straight, &TEST_POINTS, TOLERANCE)
    })?;
    Some(choke.mass_flux * (drop * patch.value(place.x, place.y)).sqrt())
}

/// Share of the pressure drop to the throat below which the flux is Bernoulli's.
const SMALLEST_DROP: f64 = 1e-9;

fn patches(phase: &Phase, place: &Place) -> Option<[Patch; 4]> {
    let searched = |x: f64| -> Option<[f64; 4]> {
        let (temperature, _) = phase.critical.point(place, x, 0.0);
        let line = Tables.saturation(temperature).ok()?;
        let state = (phase.at_rest)(&Tables, &line);
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
