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

pub(super) const SATURATION_LOW: f64 = co2::TRIPLE_TEMPERATURE;
/// Where the table of the vapour-pressure line ends [K].
pub const TABLE_HIGH: f64 = co2::CRITICAL_TEMPERATURE - 0.01;
pub(super) const SUBLIMATION_LOW: f64 = LOWEST_TEMPERATURE - 20.0;

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

/// Logarithms of pressure [Pa] along each line in stretches; the second coordinate is not used.
static BOILING: LazyLock<Mosaic<1>> =
    LazyLock::new(|| Mosaic::new((13.16, 0.0), (0.0625, 1.0), (43, 1)));
static SUBLIMING: LazyLock<Option<Mosaic<1>>> = LazyLock::new(|| {
    let (size, count) = (0.25, 37_u8);
    let lowest = coexistence::triple_point().ok()?.pressure.ln() - size * f64::from(count);
    let count = usize::from(count);
    Some(Mosaic::new((lowest, 0.0), (size, 1.0), (count, 1)))
});

/// Largest relative error of the temperature at a pressure at a test point of a stretch.
pub const TEMPERATURE_TOLERANCE: f64 = 1e-9;

/// Temperature [K] at which the table of the vapour-pressure line has a pressure [Pa]; `None` outside it and
/// in stretches where polynomials miss it by more than [`TEMPERATURE_TOLERANCE`].
#[must_use]
pub fn boiling_temperature(pressure: f64) -> Option<f64> {
    let ends = (SATURATION_LOW, TABLE_HIGH);
    temperature_at(pressure, &BOILING, ends, saturation)
}

/// The same of the sublimation line, from 50 Pa on.
#[must_use]
pub fn subliming_temperature(pressure: f64) -> Option<f64> {
    let ends = (SUBLIMATION_LOW, co2::TRIPLE_TEMPERATURE);
    temperature_at(pressure, SUBLIMING.as_ref()?, ends, sublimation)
}

fn temperature_at(
    pressure: f64,
    mosaic: &Mosaic<1>,
    ends: (f64, f64),
    line: fn(f64) -> Result<Coexistence, ThermoError>,
) -> Option<f64> {
    let place = mosaic.place(pressure.ln(), 0.5)?;
    let [patch] = mosaic.piece(&place, || {
        let temperature = |x: f64| Some([searched(mosaic.point(&place, x, 0.0).0, ends, line)?]);
        Patch::along_each_within(&temperature, TEMPERATURE_TOLERANCE)
    })?;
    Some(patch.along(place.x))
}

/// The same by iteration, at the logarithm of a pressure; `None` beyond the ends.
fn searched(
    log_pressure: f64,
    (low, high): (f64, f64),
    line: fn(f64) -> Result<Coexistence, ThermoError>,
) -> Option<f64> {
    let logarithm = |t: f64| -> Result<(f64, f64), ThermoError> {
        let line = line(t)?;
        let slope = line.pressure_slope / line.pressure;
        Ok((line.pressure.ln() - log_pressure, slope))
    };
    let middle = 0.5 * (low + high);
    let found = increasing("temperature at a pressure", (low, high), middle, logarithm).ok()?;
    let missing = line(found).ok()?.pressure.ln() - log_pressure;
    (missing.abs() < 1e-10).then_some(found)
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

/// The cubics between two nodes: coefficients of each power of the share of the way, constant first.
#[derive(Debug)]
struct Piece {
    coefficients: [[f64; WIDTH]; 4],
}

impl Piece {
    fn between(left: &Node, right: &Node) -> Self {
        let rise = |k: usize| right.values[k] - left.values[k];
        Self {
            coefficients: [
                left.values,
                left.slopes,
                std::array::from_fn(|k| 3.0 * rise(k) - 2.0 * left.slopes[k] - right.slopes[k]),
                std::array::from_fn(|k| left.slopes[k] + right.slopes[k] - 2.0 * rise(k)),
            ],
        }
    }
}

struct Table {
    line: Line,
    start: f64,
    spacing: f64,
    nodes: Vec<OnceLock<Node>>,
    pieces: Vec<OnceLock<Piece>>,
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
            pieces: (0..intervals).map(|_| OnceLock::new()).collect(),
        }
    }

    /// The cubics after a node, made at the first call.
    #[inline]
    fn piece(&self, index: usize) -> Result<&Piece, ThermoError> {
        let slot = &self.pieces[index];
        match slot.get() {
            Some(piece) => Ok(piece),
            None => {
                let piece = Piece::between(self.node(index)?, self.node(index + 1)?);
                Ok(slot.get_or_init(|| piece))
            }
        }
    }

    /// A node, solved at the first call.
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
        let index = (position as usize).min(self.pieces.len() - 1);
        let x = position - index as f64;
        let [c0, c1, c2, c3] = &self.piece(index)?.coefficients;
        let dz_dt = match self.line {
            Line::Saturation => -0.5 / z,
            _ => 1.0,
        } / self.spacing;
        let mut value = [0.0; WIDTH];
        let mut slope = [0.0; WIDTH];
        for k in 0..WIDTH {
            value[k] = ((c3[k] * x + c2[k]) * x + c1[k]) * x + c0[k];
            slope[k] = ((3.0 * c3[k] * x + 2.0 * c2[k]) * x + c1[k]) * dz_dt;
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
