//! Where a gas chokes, from a mosaic over its state at rest.
//!
//! For a gas at rest the point of its isentrope where velocity and sound speed meet depends on
//! temperature and density alone. It is found by Newton's iteration
//! (`isentrope::sonic`) at the points of each cell first asked for and interpolated; a cell that
//! misses it by more than [`TOLERANCE`] at a test point is left to the iteration.

use std::sync::LazyLock;

use crate::flow::isentrope;
use crate::flow::stagnation::Choke;
use crate::numerics::interpolate::{Mosaic, Patch, Place};
use crate::thermo::FluidPoint;
use crate::thermo::coexistence::{auxiliary_densities, auxiliary_sublimation_pressure};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::{PropertySource, Tables};

/// Largest relative error of the throat's temperature, density, pressure and mass flux at a test
/// point of a cell.
pub const TOLERANCE: f64 = 1e-6;

/// Where a gas chokes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sonic {
    /// Temperature at the throat [K].
    pub temperature: f64,
    /// Density at the throat [kg/m3].
    pub density: f64,
    /// Pressure at the throat [Pa].
    pub pressure: f64,
    /// Mass flux [kg/(m2 s)].
    pub mass_flux: f64,
}

/// Temperatures of 124 .. 1190 K by T_c/T, densities up to saturation as a share of that: cells
/// along the line, beyond which the iteration soon finds nothing.
/// The line has a bend at the triple point: there columns meet.
const CORNER: (f64, f64) = (
    co2::CRITICAL_TEMPERATURE / co2::TRIPLE_TEMPERATURE - 23.0 * SIZE.0,
    0.0,
);
const SIZE: (f64, f64) = (0.05, 0.25);
const COUNT: (usize, usize) = (44, 4);

/// What the upper end of the table lies above the auxiliary lines, so that chords of them are not below
/// saturation.
const ABOVE: f64 = 1.01;

/// Largest density over the critical one.
const DENSEST: f64 = 0.6;

struct Table {
    mosaic: Mosaic<4>,
    /// Logarithm of the density of saturated vapour over the critical one at the edges of the
    /// columns, about: chords between them are the upper end of the table.
    saturated: Vec<f64>,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| Table {
    mosaic: Mosaic::new(CORNER, SIZE, COUNT),
    saturated: (0..=COUNT.0)
        .map(|column| saturated(CORNER.0 + SIZE.0 * column as f64).ln())
        .collect(),
});

/// Density of saturated vapour over the critical one, about, at T_c/T.
fn saturated(tau: f64) -> f64 {
    let temperature = co2::CRITICAL_TEMPERATURE / tau;
    let density = if temperature >= co2::CRITICAL_TEMPERATURE {
        return DENSEST;
    } else if temperature >= co2::TRIPLE_TEMPERATURE {
        auxiliary_densities(temperature).1
    } else {
        auxiliary_sublimation_pressure(temperature) / (co2::SPECIFIC_GAS_CONSTANT * temperature)
    };
    (ABOVE * density / co2::CRITICAL_DENSITY).min(DENSEST)
}

impl Table {
    /// Upper end of the densities over the critical one at a place in a column of cells.
    #[inline]
    fn densest(&self, column: usize, x: f64) -> f64 {
        let share = 0.5 * (x + 1.0);
        let ends = self
            .saturated
            .get(column)
            .zip(self.saturated.get(column + 1));
        ends.map_or(0.0, |(a, b)| (a + share * (b - a)).exp())
    }

    fn place(&self, tau: f64, delta: f64) -> Option<Place> {
        let column = self.mosaic.place(tau, 0.0)?;
        self.mosaic
            .place(tau, delta / self.densest(column.cell.0, column.x))
    }
}

/// Where a gas at rest at `start` chokes; `None` where the iteration finds nothing.
pub(crate) fn sonic(start: &FluidPoint) -> Option<Sonic> {
    let (tau, delta) = (
        co2::CRITICAL_TEMPERATURE / start.temperature,
        start.density / co2::CRITICAL_DENSITY,
    );
    let table = &*TABLE;
    let piece = table.place(tau, delta).and_then(|place| {
        Some((
            place,
            table.mosaic.piece(&place, || patches(table, &place))?,
        ))
    });
    match piece {
        Some((place, patches)) => {
            let ratio = patches
                .each_ref()
                .map(|patch| patch.value(place.x, place.y));
            Some(Sonic::from_ratios(start, &ratio))
        }
        None => by_iteration(&Tables, start),
    }
}

/// The same by Newton's iteration.
pub(crate) fn by_iteration(properties: &impl PropertySource, start: &FluidPoint) -> Option<Sonic> {
    let enthalpy = start.enthalpy();
    let point = isentrope::sonic(properties, start, enthalpy)?;
    let velocity = (2.0 * (enthalpy - point.enthalpy())).max(0.0).sqrt();
    Some(Sonic {
        temperature: point.temperature,
        density: point.density,
        pressure: point.pressure,
        mass_flux: point.density * velocity,
    })
}

impl Sonic {
    /// Where the flow chokes, and what passes.
    pub(crate) fn choke(&self) -> Choke {
        Choke {
            mass_flux: self.mass_flux,
            pressure: self.pressure,
        }
    }

    /// Throat over rest: temperature, density, pressure; and G over sqrt(p0 rho0).
    fn ratios(&self, start: &FluidPoint) -> [f64; 4] {
        [
            self.temperature / start.temperature,
            self.density / start.density,
            self.pressure / start.pressure,
            self.mass_flux / (start.pressure * start.density).sqrt(),
        ]
    }

    fn from_ratios(start: &FluidPoint, ratio: &[f64; 4]) -> Self {
        Self {
            temperature: ratio[0] * start.temperature,
            density: ratio[1] * start.density,
            pressure: ratio[2] * start.pressure,
            mass_flux: ratio[3] * (start.pressure * start.density).sqrt(),
        }
    }
}

fn patches(table: &Table, place: &Place) -> Option<[Patch; 4]> {
    let ratios = |x: f64, y: f64| -> Option<[f64; 4]> {
        let (tau, share) = table.mosaic.point(place, x, y);
        let delta = share * table.densest(place.cell.0, x);
        // At no density the ratios are those of the perfect gas: come close enough.
        let density = delta.max(1e-9) * co2::CRITICAL_DENSITY;
        let start = FluidPoint::new(co2::CRITICAL_TEMPERATURE / tau, density);
        let found = by_iteration(&Tables, &start)?;
        Some(found.ratios(&start))
    };
    Patch::through_each_within(&ratios, TOLERANCE)
}

/// How many cells the table answers for, of how many asked for so far.
#[must_use]
pub fn filled() -> (usize, usize) {
    TABLE.mosaic.filled()
}
