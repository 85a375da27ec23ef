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

use crate::flow::hint::Hint;
use crate::flow::stagnation::{Choke, Content, Flux, Stagnation};
use crate::flow::{equilibrium, frozen, isentrope, near_critical};
use crate::numerics::interpolate::{Mosaic, Patch};
use crate::thermo::Coexistence;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::{PropertySource, Tables};

/// Largest relative error of flux and throat pressure at a test point of a stretch.
pub const TOLERANCE: f64 = 1e-6;

/// Throats nearer to the triple point than this ratio of pressures are left to the search: there
/// the flux can have two maxima.
const CLEAR_OF_TRIPLE: f64 = 1.05;

/// Temperature from which on saturated liquid that stays liquid chokes, at its spinodal, before its pressure
/// has fallen to nothing [K]. The tables have a joint there.
const LIQUID_CHOKES_FROM: f64 = 281.5882;

/// Stretches of 2 K; the second coordinate is not used.
const SIZE: (f64, f64) = (2.0, 1.0);
const COUNT: (usize, usize) = (42, 1);
const CORNER: (f64, f64) = (LIQUID_CHOKES_FROM - 31.0 * SIZE.0, 0.0);

/// Cells of 2 K by a quarter of 1 - sqrt(1 - drop), with the pressure drop as a share of that down to the
/// throat: towards a spinodal the flux is smooth in that root.
const UNCHOKED_SIZE: (f64, f64) = (2.0, 0.25);
const UNCHOKED_COUNT: (usize, usize) = (42, 4);

/// Largest relative error of the square of an unchoked flux at a test point of a cell.
const UNCHOKED_TOLERANCE: f64 = 4e-6;

/// Stretches of the square root of the distance to the critical point [K^0.5], in which all is smooth there.
static BEYOND: LazyLock<Mosaic<2>> = LazyLock::new(|| Mosaic::new((0.0, 0.0), (0.6, 1.0), (5, 1)));

/// One of the two phases: how it stands at rest on a line, and its tables.
struct Phase {
    liquid: bool,
    at_rest: fn(&Tables, &Coexistence) -> Stagnation,
    /// Critical flux and throat pressure, with the phases in equilibrium and without change of phase.
    equilibrium: Mosaic<2>,
    frozen: Mosaic<2>,
    unchoked: Mosaic<1>,
}

static VAPOUR: LazyLock<Phase> = LazyLock::new(|| Phase::new(false, Stagnation::light));
static LIQUID: LazyLock<Phase> = LazyLock::new(|| Phase::new(true, Stagnation::liquid));

impl Phase {
    fn new(liquid: bool, at_rest: fn(&Tables, &Coexistence) -> Stagnation) -> Self {
        Self {
            liquid,
            at_rest,
            equilibrium: Mosaic::new(CORNER, SIZE, COUNT),
            frozen: Mosaic::new(CORNER, SIZE, COUNT),
            unchoked: Mosaic::new(CORNER, UNCHOKED_SIZE, UNCHOKED_COUNT),
        }
    }

    /// Where the phase chokes at a temperature [K], as `search` says at the points of the stretch.
    fn choke(
        &self,
        mosaic: &Mosaic<2>,
        temperature: f64,
        search: impl Fn(&Stagnation) -> Option<Flux>,
    ) -> Option<Choke> {
        choke_along(mosaic, temperature, |t| search(&self.at(t)?))
    }

    fn frozen_at(&self, temperature: f64) -> Option<Choke> {
        if self.liquid && temperature < LIQUID_CHOKES_FROM {
            return Some(Choke::NOWHERE);
        }
        let searched = |state: &Stagnation| frozen::mass_flux(&Tables, state, 0.0).ok();
        self.choke(&self.frozen, temperature, searched)
    }

    /// At rest at a temperature [K].
    fn at(&self, temperature: f64) -> Option<Stagnation> {
        let line = Tables.saturation(temperature).ok()?;
        Some((self.at_rest)(&Tables, &line))
    }

    /// That of a state at rest; `None` if it is not saturated, or where properties do not come from tables.
    fn of<P: PropertySource>(stagnation: &Stagnation) -> Option<&'static Self> {
        let light = stagnation.density < co2::CRITICAL_DENSITY;
        let phase = if light { &VAPOUR } else { &LIQUID };
        (P::CHEAP && stagnation.saturated).then(|| &**phase)
    }
}

/// Where flow chokes at a coordinate of stretches, as `search` says at their points.
fn choke_along(
    mosaic: &Mosaic<2>,
    coordinate: f64,
    search: impl Fn(f64) -> Option<Flux>,
) -> Option<Choke> {
    let place = mosaic.place(coordinate, 0.5)?;
    let patches = mosaic.piece(&place, || {
        let searched = |x: f64| -> Option<[f64; 2]> {
            let flux = search(mosaic.point(&place, x, 0.0).0)?;
            Some([flux.mass_flux, flux.throat_pressure])
        };
        Patch::along_each_within(&searched, TOLERANCE)
    })?;
    let [mass_flux, pressure] = patches.each_ref().map(|patch| patch.along(place.x));
    Some(Choke {
        mass_flux,
        pressure,
    })
}

/// Where a state at rest chokes with its phases in equilibrium if it is a saturated phase; `None` if not,
/// outside the table, or where properties do not come from tables.
pub(crate) fn equilibrium<P: PropertySource>(_: &P, stagnation: &Stagnation) -> Option<Choke> {
    let phase = Phase::of::<P>(stagnation)?;
    let searched = |state: &Stagnation| {
        let flux = equilibrium::search(&Tables, state, 0.0).ok()?;
        let clear = flux.throat_pressure > CLEAR_OF_TRIPLE * co2::TRIPLE_PRESSURE_ROUNDED;
        clear.then_some(flux)
    };
    phase.choke(&phase.equilibrium, stagnation.temperature, searched)
}

/// The same without change of phase.
pub(crate) fn frozen<P: PropertySource>(_: &P, stagnation: &Stagnation) -> Option<Choke> {
    Phase::of::<P>(stagnation)?.frozen_at(stagnation.temperature)
}

/// Where saturated liquid near the critical point chokes beyond the spinodal; `None` as for [`frozen`].
pub(crate) fn beyond<P: PropertySource>(_: &P, stagnation: &Stagnation) -> Option<Choke> {
    if !Phase::of::<P>(stagnation)?.liquid {
        return None;
    }
    let root = (co2::CRITICAL_TEMPERATURE - stagnation.temperature)
        .max(0.0)
        .sqrt();
    choke_along(&BEYOND, root, |root| {
        let state = LIQUID.at(co2::CRITICAL_TEMPERATURE - root * root)?;
        let Content::Single(start) = &state.content else {
            return None;
        };
        near_critical::beyond(&Tables, start, 0.0, &Hint::default()).ok()?
    })
}

/// Frozen mass flux [kg/(m2 s)] of a state at rest that chokes as given, into a receiver at more than the
/// throat's pressure [Pa]; `None` as for [`frozen`].
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
    let root = 1.0 - (1.0 - drop).max(0.0).sqrt();
    let place = mosaic.place(stagnation.temperature, root)?;
    let [patch] = mosaic.piece(&place, || {
        let over_straight = |x: f64, y: f64| {
            let (temperature, root) = mosaic.point(&place, x, y);
            Some([over_straight(phase, temperature, root * (2.0 - root))?])
        };
        Patch::through_each_within(&over_straight, UNCHOKED_TOLERANCE)
    })?;
    let straight = frozen::bernoulli(stagnation, receiver_pressure);
    Some(straight * patch.value(place.x, place.y).sqrt())
}

/// Square of the frozen flux of a phase at rest at a temperature [K] over that of a fluid that does not yield
/// to pressure, at a share of the pressure drop down to the throat.
fn over_straight(phase: &Phase, temperature: f64, drop: f64) -> Option<f64> {
    if drop < SMALLEST_DROP {
        return Some(1.0);
    }
    let state = phase.at(temperature)?;
    let whole = state.pressure - phase.frozen_at(temperature)?.pressure;
    let Content::Single(start) = &state.content else {
        return None;
    };
    let receiver = (state.pressure - drop * whole).max(frozen::LOWEST_PRESSURE);
    let point = isentrope::at_pressure(&Tables, start, receiver).ok()?;
    let fall = state.enthalpy - point.enthalpy();
    Some(point.density * point.density * fall / (state.density * drop * whole))
}

/// Share of the pressure drop to the throat below which the flux is Bernoulli's.
const SMALLEST_DROP: f64 = 1e-9;

/// How many pieces the tables answer for, of how many asked for so far.
#[must_use]
pub fn filled() -> (usize, usize) {
    let of = |phase: &Phase| {
        let [a, b, c] = [
            phase.equilibrium.filled(),
            phase.frozen.filled(),
            phase.unchoked.filled(),
        ];
        (a.0 + b.0 + c.0, a.1 + b.1 + c.1)
    };
    let (vapour, liquid, beyond) = (of(&VAPOUR), of(&LIQUID), BEYOND.filled());
    (
        vapour.0 + liquid.0 + beyond.0,
        vapour.1 + liquid.1 + beyond.1,
    )
}
