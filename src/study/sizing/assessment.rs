//! What is known about one candidate: its checks, how far it came, how good it is.

use crate::study::criterion::{CriterionKind, Sense};
use crate::units::Dimension;

use super::chance::Chance;
use super::problem::{Aim, Candidate, Case, Needs};

/// What a candidate must meet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Requirement {
    /// It can be built and computed at all.
    Possible,
    /// A criterion of the design.
    Criterion(CriterionKind),
    /// The pins hold on the climb.
    EarlySeparation,
    /// The chance of success.
    Chance,
}

impl Requirement {
    /// Name in data files.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Requirement::Possible => "possible".to_owned(),
            Requirement::Criterion(kind) => kind.name(),
            Requirement::EarlySeparation => "early_separation".to_owned(),
            Requirement::Chance => "chance".to_owned(),
        }
    }

    /// Name in sentences.
    #[must_use]
    pub fn label(&self) -> String {
        match self {
            Requirement::Possible => "a possible system".to_owned(),
            Requirement::Criterion(kind) => kind.label(),
            Requirement::EarlySeparation => "pins over their load on the climb".to_owned(),
            Requirement::Chance => "chance of success".to_owned(),
        }
    }
}

/// One requirement at one temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// What is judged.
    pub requirement: Requirement,
    /// At which temperature.
    pub case: Case,
    /// Value reached [SI]; `None` if it never came about.
    pub value: Option<f64>,
    /// Whether the value is a bound found without a discharge.
    pub bound: bool,
    /// Limit [SI].
    pub limit: f64,
    /// On which side of it the value must lie.
    pub sense: Sense,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// Distance from the limit over the limit, positive on the passing side [1]; where the value
    /// never came about, how far the nose was from leaving
    /// ([`shortfall`](crate::study::trial::shortfall)).
    pub margin: f64,
}

impl Check {
    pub(super) fn new(
        requirement: Requirement,
        case: Case,
        value: f64,
        sense: Sense,
        limit: f64,
        dimension: Dimension,
    ) -> Self {
        let distance = match sense {
            Sense::AtLeast => value - limit,
            Sense::AtMost => limit - value,
        };
        Check {
            requirement,
            case,
            value: Some(value),
            bound: false,
            limit,
            sense,
            dimension,
            margin: distance / limit.abs().max(f64::MIN_POSITIVE),
        }
    }

    /// Whether it is met.
    #[must_use]
    pub fn pass(&self) -> bool {
        self.margin >= 0.0
    }
}

/// How far a candidate came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// It cannot be built or computed.
    Made,
    /// Bounds without any discharge.
    Screened,
    /// The nominal shot.
    Nominal,
    /// The cold shot.
    Cold,
    /// The hot shot.
    Hot,
    /// The climb.
    Climb,
    /// All but the chance, or nothing asked of the chance.
    Shots,
    /// The chance.
    Chance,
}

/// What is known about a candidate.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// The candidate.
    pub candidate: Candidate,
    /// Mass of everything bought or built [kg].
    pub mass: f64,
    /// Volume taken up [m3].
    pub volume: f64,
    /// Every check made, in the order of the stages.
    pub checks: Vec<Check>,
    /// Last stage looked at.
    pub stage: Stage,
    /// Chance at each end of the range, where it was looked at.
    pub chances: Vec<Chance>,
    /// Why it could not be made or computed.
    pub refusal: Option<String>,
}

impl Assessment {
    /// Smallest relative margin of the criteria and the climb [1], the chance left out.
    #[must_use]
    pub fn margin(&self) -> f64 {
        self.checks
            .iter()
            .filter(|check| check.requirement != Requirement::Chance)
            .map(|check| check.margin)
            .fold(f64::INFINITY, f64::min)
    }

    /// The check with the smallest margin.
    #[must_use]
    pub fn closest(&self) -> Option<&Check> {
        self.checks
            .iter()
            .filter(|check| check.requirement != Requirement::Chance && !check.bound)
            .min_by(|a, b| a.margin.total_cmp(&b.margin))
    }

    /// Smallest margin of a case [1]; `None` where it was not looked at.
    #[must_use]
    pub fn margin_at(&self, case: Case) -> Option<f64> {
        self.checks
            .iter()
            .filter(|check| check.case == case && !check.bound)
            .filter(|check| check.requirement != Requirement::Chance)
            .map(|check| check.margin)
            .reduce(f64::min)
    }

    /// Checks that are not met.
    pub fn failures(&self) -> impl Iterator<Item = &Check> {
        self.checks.iter().filter(|check| !check.pass())
    }

    /// Whether every check made is met.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.refusal.is_none() && self.checks.iter().all(Check::pass)
    }

    /// Whether it was looked at down to the chance, if one is asked for, and meets everything.
    #[must_use]
    pub fn meets(&self, needs: &Needs) -> bool {
        let last = if needs.at_least.is_some() {
            Stage::Chance
        } else {
            Stage::Shots
        };
        self.passes() && self.stage >= last
    }

    /// The chance at the worst temperature, where it was looked at.
    #[must_use]
    pub fn worst_chance(&self) -> Option<&Chance> {
        self.chances
            .iter()
            .min_by(|a, b| a.share().total_cmp(&b.share()))
    }

    /// How good it is in the sense of an aim: less is better.
    #[must_use]
    pub fn objective(&self, aim: Aim) -> f64 {
        match aim {
            Aim::LeastMass => self.mass,
            Aim::LeastVolume => self.volume,
            Aim::MostMargin => -self.margin(),
            Aim::MostChance => -self.worst_chance().map_or(0.0, Chance::share),
        }
    }
}
