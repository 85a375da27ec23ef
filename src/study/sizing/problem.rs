//! What is open, what is wanted, and who makes a candidate.

use crate::discharge::Settings;
use crate::network::criteria::Criteria;
use crate::network::spec::System;

use super::chance::ChanceSettings;
use super::climb::Climb;

/// One way to fill in everything that is open.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Candidate {
    /// Option taken for each choice.
    pub choices: Vec<usize>,
    /// Grid point taken for each continuous value.
    pub points: Vec<u32>,
}

/// Everything that may be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Space {
    /// Options of each choice.
    pub options: Vec<usize>,
    /// Grid points of each continuous value, from its least to its most.
    pub points: Vec<u32>,
}

impl Space {
    /// Every combination of the choices, in order.
    #[must_use]
    pub fn cells(&self) -> Vec<Vec<usize>> {
        let mut cells = vec![Vec::new()];
        for options in &self.options {
            cells = cells
                .into_iter()
                .flat_map(|cell: Vec<usize>| {
                    (0..*options).map(move |option| {
                        let mut longer = cell.clone();
                        longer.push(option);
                        longer
                    })
                })
                .collect();
        }
        cells
    }

    /// Number of combinations of the choices.
    #[must_use]
    pub fn cell_count(&self) -> usize {
        self.options
            .iter()
            .fold(1, |product, options| product.saturating_mul(*options))
    }

    /// The grid point at a share of each range; shares outside 0 to 1 stop at the ends.
    #[must_use]
    pub fn snap(&self, shares: &[f64]) -> Vec<u32> {
        self.points
            .iter()
            .zip(shares)
            .map(|(points, share)| {
                let last = f64::from(points.saturating_sub(1));
                (share.clamp(0.0, 1.0) * last).round() as u32
            })
            .collect()
    }
}

/// What is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aim {
    /// Least mass of everything that is bought or built.
    LeastMass,
    /// Least volume taken up.
    LeastVolume,
    /// Greatest of the smallest margins.
    MostMargin,
    /// Greatest chance at the worst temperature.
    MostChance,
}

impl Aim {
    /// Every aim with its name in the design file.
    pub const ALL: [(&'static str, Aim); 4] = [
        ("least mass", Aim::LeastMass),
        ("least volume", Aim::LeastVolume),
        ("most margin", Aim::MostMargin),
        ("most chance", Aim::MostChance),
    ];

    /// Name in the design file.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(_, aim)| *aim == self)
            .map_or("", |(name, _)| name)
    }
}

/// At which temperature a requirement is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Case {
    /// As the design is written.
    Nominal,
    /// The coldest of the range.
    Cold,
    /// The hottest of the range.
    Hot,
}

impl Case {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Case::Nominal => "nominal",
            Case::Cold => "cold",
            Case::Hot => "hot",
        }
    }
}

/// What a candidate must achieve besides the criteria of the design.
#[derive(Debug, Clone, PartialEq)]
pub struct Needs {
    /// Cases with the temperature of each [K]; `None` leaves the design as written.
    pub cases: Vec<(Case, Option<f64>)>,
    /// Least chance of success at each end of the range [1].
    pub at_least: Option<f64>,
    /// The climb to survive without separating.
    pub climb: Option<Climb>,
    /// How the chance is found.
    pub chance: ChanceSettings,
    /// How each discharge of the search is computed.
    pub settings: Settings,
    /// How the shots of those kept are computed once more before they are shown; `None` where
    /// the search is exact enough.
    pub proof: Option<Settings>,
}

impl Needs {
    /// Temperatures at which the chance is looked at: the ends of the range, or the design as
    /// written where there is none.
    #[must_use]
    pub fn chance_cases(&self) -> Vec<(Case, Option<f64>)> {
        let ends: Vec<_> = self
            .cases
            .iter()
            .filter(|(case, _)| *case != Case::Nominal)
            .copied()
            .collect();
        if ends.is_empty() {
            vec![(Case::Nominal, None)]
        } else {
            ends
        }
    }
}

/// A candidate as it can be computed.
pub trait Article: Send + Sync {
    /// The system with every uncertain value central, at a temperature [K] if one is given.
    ///
    /// # Errors
    /// Why these values make no system.
    fn central(&self, temperature: Option<f64>) -> Result<(System, Criteria), String>;

    /// The system of one trial, at a temperature [K] if one is given. Values of one name are the
    /// same draw in every candidate (common random numbers).
    ///
    /// # Errors
    /// Why these values make no system.
    fn trial(
        &self,
        temperature: Option<f64>,
        seed: u64,
        index: u64,
    ) -> Result<(System, Criteria), String>;

    /// Mass of everything that is bought or built [kg].
    fn mass(&self) -> f64;

    /// Volume it takes up [m3].
    fn volume(&self) -> f64;
}

/// Makes candidates.
pub trait Workshop: Sync {
    /// What is open.
    fn space(&self) -> &Space;

    /// One candidate.
    ///
    /// # Errors
    /// Why it cannot exist, such as a cartridge filled beyond its volume.
    fn make(&self, candidate: &Candidate) -> Result<Box<dyn Article>, String>;

    /// CO2 of all cartridges for a combination of choices [kg]; `None` if no cartridge is open.
    fn charge(&self, choices: &[usize]) -> Option<f64>;
}
