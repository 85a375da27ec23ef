//! Where the (density, energy) inversion holds: every state of a grid is turned into its density
//! and energy and back, and the temperature that returns is held against the one that went in.

use rayon::prelude::*;

use crate::thermo::coexistence::triple_point;
use crate::thermo::flash::{at_density_energy, at_temperature_density, triple_edges};
use crate::thermo::{Phase, State, ThermoError};

/// What became of one point of the map.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// The state came back.
    Returned {
        /// Phases of the state.
        phase: Phase,
        /// |T - T'|/T.
        error: f64,
    },
    /// The temperature and density name no state of the model; nothing to invert.
    NoState(ThermoError),
    /// The state exists and its density and energy were refused.
    Refused {
        /// Phases of the state.
        phase: Phase,
        /// Why.
        reason: ThermoError,
    },
}

/// One point of the map.
#[derive(Debug, Clone, PartialEq)]
pub struct MapPoint {
    /// Temperature [K].
    pub temperature: f64,
    /// Density [kg/m3].
    pub density: f64,
    /// What the inversion did with it.
    pub outcome: Outcome,
}

/// The points of a grid, temperature outermost, and those on the triple line, where the energy at
/// each density is varied instead of the temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct FlashMap {
    /// Temperatures of the grid [K].
    pub temperatures: Vec<f64>,
    /// Densities of the grid [kg/m3].
    pub densities: Vec<f64>,
    /// One point per temperature and density.
    pub grid: Vec<MapPoint>,
    /// Points on the triple line.
    pub triple_line: Vec<MapPoint>,
}

/// Range of the map: temperatures [K], spaced evenly, and densities [kg/m3], spaced evenly in their
/// logarithm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MapRange {
    /// Lowest and highest temperature [K].
    pub temperature: (f64, f64),
    /// Lowest and highest density [kg/m3].
    pub density: (f64, f64),
    /// Points along each axis.
    pub points: u32,
}

impl Default for MapRange {
    fn default() -> Self {
        Self {
            temperature: (150.0, 700.0),
            density: (0.05, 1200.0),
            points: 400,
        }
    }
}

/// Energies tried per density on the triple line.
const TRIPLE_ENERGIES: u32 = 25;

impl FlashMap {
    /// Compute the map on all processors.
    ///
    /// # Errors
    /// Only if the triple point itself fails, which the tests exclude.
    pub fn compute(range: &MapRange) -> Result<Self, ThermoError> {
        let last = f64::from(range.points.max(2) - 1);
        let share = |i: u32| f64::from(i) / last;
        let (t_low, t_high) = range.temperature;
        let (rho_low, rho_high) = range.density;
        let counts = 0..range.points.max(2);
        let temperatures: Vec<f64> = counts
            .clone()
            .map(|i| t_low + (t_high - t_low) * share(i))
            .collect();
        let densities: Vec<f64> = counts
            .map(|i| rho_low * (rho_high / rho_low).powf(share(i)))
            .collect();
        let grid = temperatures
            .par_iter()
            .flat_map_iter(|t| densities.iter().map(|rho| grid_point(*t, *rho)))
            .collect();
        let triple = triple_point()?;
        let crossed: Vec<f64> = densities
            .iter()
            .copied()
            .filter(|rho| *rho > triple.vapour.density() && *rho < triple.solid.density())
            .collect();
        let triple_line = crossed
            .par_iter()
            .flat_map_iter(|rho| {
                let (lower, upper) = triple_edges(triple, *rho);
                (0..TRIPLE_ENERGIES).map(move |i| {
                    let share = (f64::from(i) + 0.5) / f64::from(TRIPLE_ENERGIES);
                    let energy = lower + (upper - lower) * share;
                    MapPoint {
                        temperature: triple.temperature,
                        density: *rho,
                        outcome: outcome(
                            triple.temperature,
                            Phase::SolidLiquidVapour,
                            at_density_energy(*rho, energy),
                        ),
                    }
                })
            })
            .collect();
        Ok(Self {
            temperatures,
            densities,
            grid,
            triple_line,
        })
    }

    /// All points.
    pub fn points(&self) -> impl Iterator<Item = &MapPoint> {
        self.grid.iter().chain(&self.triple_line)
    }

    /// Points that name no state.
    pub fn without_state(&self) -> impl Iterator<Item = &MapPoint> {
        self.points()
            .filter(|point| matches!(point.outcome, Outcome::NoState(_)))
    }

    /// States that were refused, or came back further away than `tolerance` (relative).
    pub fn failures(&self, tolerance: f64) -> impl Iterator<Item = &MapPoint> {
        self.points().filter(move |point| match &point.outcome {
            Outcome::Returned { error, .. } => error.is_nan() || *error > tolerance,
            Outcome::NoState(_) => false,
            Outcome::Refused { .. } => true,
        })
    }

    /// Number of states of a region and the largest error among those returned.
    #[must_use]
    pub fn region(&self, wanted: Phase) -> (usize, f64) {
        self.points()
            .filter_map(|point| match &point.outcome {
                Outcome::Returned { phase, error } => Some((*phase, *error)),
                Outcome::Refused { phase, .. } => Some((*phase, 0.0)),
                Outcome::NoState(_) => None,
            })
            .filter(|(phase, _)| *phase == wanted)
            .fold((0, 0.0), |(count, worst), (_, error)| {
                (count + 1, f64::max(worst, error))
            })
    }
}

fn grid_point(temperature: f64, density: f64) -> MapPoint {
    let outcome = match at_temperature_density(temperature, density) {
        Ok(state) => outcome(
            temperature,
            state.phase,
            at_density_energy(density, state.internal_energy),
        ),
        Err(error) => Outcome::NoState(error),
    };
    MapPoint {
        temperature,
        density,
        outcome,
    }
}

fn outcome(temperature: f64, phase: Phase, back: Result<State, ThermoError>) -> Outcome {
    match back {
        Ok(state) => Outcome::Returned {
            phase,
            error: ((state.temperature - temperature) / temperature).abs(),
        },
        Err(reason) => Outcome::Refused { phase, reason },
    }
}
