//! The vapour-pressure and sublimation lines as cubic Hermite tables, exact in value and
//! slope at every node; a node is solved from the equations when it is first asked for.
//!
//! `tests/verification_tables.rs` states and checks the error: below 1e-8 relative up to 0.1 K from
//! the critical point, 1e-6 nearer. Beyond the ends of a table the equations answer.

use std::sync::{LazyLock, OnceLock};

use crate::numerics::interpolate::{Mosaic, Patch};
use crate::thermo::coexistence::{self, Coexistence, Line, LinePhase};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::solve::increasing;
use crate::thermo::{LOWEST_TEMPERATURE, ThermoError};

/// Liquid and vapour at a temperature [K], from the table where it reaches.
///
/// # Errors
/// Outside the line.
pub fn saturation(temperature: f64) -> Result<Coexistence, ThermoError> {
    if (SATURATION_LOW..=TABLE_HIGH).contains(&temperature) {
        SATURATION.at(temperature)
    } else {
        coexistence::saturation(temperature)
    }
}

/// Dry ice and vapour at a temperature [K], from the table where it reaches.
///
/// # Errors
/// Outside the line.
pub fn sublimation(temperature: f64) -> Result<Coexistence, ThermoError> {
    if (SUBLIMATION_LOW..=co2::TRIPLE_TEMPERATURE).contains(&temperature) {
        SUBLIMATION.at(temperature)
    } else {
        coexistence::sublimation(temperature)
    }
}

const SATURATION_LOW: f64 = co2::TRIPLE_TEMPERATURE;
/// Where the table of the vapour-pressure line ends [K].
pub const TABLE_HIGH: f64 = co2::CRITICAL_TEMPERATURE - 0.01;
const SUBLIMATION_LOW: f64 = LOWEST_TEMPERATURE - 20.0;

static SATURATION: LazyLock<Table> = LazyLock::new(|| {
    // The square root of the distance to the critical point makes every property smooth.
    let coordinate = |t: f64| (co2::CRITICAL_TEMPERATURE - t).sqrt();
    Table::new(
        Line::Saturation,
        coordinate(TABLE_HIGH),
        coordinate(SATURATION_LOW),
        1200,
    )
});

static SUBLIMATION: LazyLock<Table> = LazyLock::new(|| {
    Table::new(
        Line::Sublimation,
        SUBLIMATION_LOW,
        co2::TRIPLE_TEMPERATURE,
        1000,
    )
});

/// Logarithms of pressure [Pa] along the vapour-pressure line in stretches; the second coordinate is not used.
const BOILING_CORNER: (f64, f64) = (13.16, 0.0);
const BOILING_SIZE: (f64, f64) = (0.0625, 1.0);
const BOILING_COUNT: (usize, usize) = (43, 1);

/// Largest relative error of a boiling temperature at a test point of a stretch.
pub const BOILING_TOLERANCE: f64 = 1e-9;

static BOILING: LazyLock<Mosaic<1>> =
    LazyLock::new(|| Mosaic::new(BOILING_CORNER, BOILING_SIZE, BOILING_COUNT));

/// Temperature [K] at which the table of the vapour-pressure line has a pressure [Pa]; `None` outside it and
/// in stretches where polynomials miss it by more than [`BOILING_TOLERANCE`].
#[must_use]
pub fn boiling_temperature(pressure: f64) -> Option<f64> {
    let place = BOILING.place(pressure.ln(), 0.5)?;
    let [patch] = BOILING.piece(&place, || {
        let temperature = |x: f64| Some([boiling(BOILING.point(&place, x, 0.0).0)?]);
        Patch::along_each_within(&temperature, BOILING_TOLERANCE)
    })?;
    Some(patch.along(place.x))
}

/// The same by iteration, at the logarithm of a pressure.
fn boiling(log_pressure: f64) -> Option<f64> {
    let logarithm = |t: f64| -> Result<(f64, f64), ThermoError> {
        let line = saturation(t)?;
        let slope = line.pressure_slope / line.pressure;
        Ok((line.pressure.ln() - log_pressure, slope))
    };
    let (low, high) = (SATURATION_LOW, TABLE_HIGH);
    let middle = 0.5 * (low + high);
    let found = increasing("boiling temperature", (low, high), middle, logarithm).ok()?;
    (found < high).then_some(found)
}

/// p, v, u and s of the heavy and the light phase.
const COLUMNS: usize = 7;

/// Columns and one of nothing: an even number goes through a processor in pairs.
const WIDTH: usize = COLUMNS + 1;

/// Values, and slopes times spacing, of all columns.
#[derive(Debug)]
struct Node {
    values: [f64; WIDTH],
    slopes: [f64; WIDTH],
}

struct Table {
    line: Line,
    start: f64,
    spacing: f64,
    nodes: Vec<OnceLock<Node>>,
}

impl Table {
    fn temperature(line: Line, coordinate: f64) -> f64 {
        match line {
            Line::Saturation => co2::CRITICAL_TEMPERATURE - coordinate * coordinate,
            _ => coordinate,
        }
    }

    fn new(line: Line, start: f64, end: f64, intervals: usize) -> Self {
        Self {
            line,
            start,
            spacing: (end - start) / intervals as f64,
            nodes: (0..=intervals).map(|_| OnceLock::new()).collect(),
        }
    }

    /// A node, solved at the first call.
    #[inline]
    fn node(&self, index: usize) -> Result<&Node, ThermoError> {
        let slot = &self.nodes[index];
        match slot.get() {
            Some(node) => Ok(node),
            None => {
                let node = self.solve(index)?;
                Ok(slot.get_or_init(|| node))
            }
        }
    }

    fn solve(&self, index: usize) -> Result<Node, ThermoError> {
        let z = self.start + self.spacing * index as f64;
        let t = Self::temperature(self.line, z);
        let (c, dt_dz) = match self.line {
            Line::Saturation => (coexistence::saturation(t.max(SATURATION_LOW))?, -2.0 * z),
            _ => (
                coexistence::sublimation(t.min(co2::TRIPLE_TEMPERATURE))?,
                1.0,
            ),
        };
        let (h, l) = (&c.heavy, &c.light);
        let scale = dt_dz * self.spacing;
        Ok(Node {
            values: [
                c.pressure,
                h.volume,
                l.volume,
                h.internal_energy,
                l.internal_energy,
                h.entropy,
                l.entropy,
                0.0,
            ],
            slopes: [
                c.pressure_slope,
                h.volume_slope,
                l.volume_slope,
                h.internal_energy_slope,
                l.internal_energy_slope,
                c.entropy_slope(h),
                c.entropy_slope(l),
                0.0,
            ]
            .map(|slope| slope * scale),
        })
    }

    fn at(&self, temperature: f64) -> Result<Coexistence, ThermoError> {
        let z = match self.line {
            Line::Saturation => (co2::CRITICAL_TEMPERATURE - temperature).sqrt(),
            _ => temperature,
        };
        let position = ((z - self.start) / self.spacing).max(0.0);
        let index = (position as usize).min(self.nodes.len() - 2);
        let x = position - index as f64;
        let (left, right) = (self.node(index)?, self.node(index + 1)?);
        let dz_dt = match self.line {
            Line::Saturation => -0.5 / z,
            _ => 1.0,
        } / self.spacing;
        let mut value = [0.0; WIDTH];
        let mut slope = [0.0; WIDTH];
        for k in 0..WIDTH {
            let (y0, d0) = (left.values[k], left.slopes[k]);
            let (y1, d1) = (right.values[k], right.slopes[k]);
            let rise = y1 - y0;
            let (a, b) = (d0 - rise, rise - d1);
            // y0 + x rise + x (1-x) [a (1-x) + b x]
            let mix = a + (b - a) * x;
            value[k] = y0 + x * (rise + (1.0 - x) * mix);
            slope[k] = (rise + (1.0 - 2.0 * x) * mix + x * (1.0 - x) * (b - a)) * dz_dt;
        }
        let phase = |v: usize, u: usize, s: usize| LinePhase {
            volume: value[v],
            internal_energy: value[u],
            entropy: value[s],
            volume_slope: slope[v],
            internal_energy_slope: slope[u],
        };
        Ok(Coexistence {
            line: self.line,
            temperature,
            pressure: value[0],
            pressure_slope: slope[0],
            heavy: phase(1, 3, 5),
            light: phase(2, 4, 6),
        })
    }
}
