//! How margins and the chance of success move along one value of the design, and where they end.
//!
//! Every point of a sweep has the same trials (common random numbers), so that two points differ
//! by the value swept and not by luck. Ends are found by bracketing, not read off the points: those
//! of the nominal design by a root of its smallest margin, those of the chance trial by trial.
//! A point whose chance is clearly above or below the wanted one gets fewer trials
//! ([`looks()`]).

mod columns;
mod limits;
mod looks;
mod search;

use crate::statistics::SamplingMethod;

use super::chance::Chance;
use super::criterion::CriterionKind;
use super::inputs::Inputs;
use super::trial::{Experiment, Finding};

pub use looks::{Look, looks};
pub use search::sweep;

/// Percentiles of the band of each margin.
pub const BAND: [f64; 3] = [0.05, 0.5, 0.95];
/// Width to which the end of anything is narrowed, as a share of the range swept; whole numbers are narrowed to
/// neighbours.
pub const RESOLUTION: f64 = 1e-4;

/// A design at one value of the sweep.
pub struct Setup {
    /// Its uncertain values.
    pub inputs: Inputs,
    /// What comes of them, for many trials.
    pub experiment: Box<dyn Experiment>,
    /// The same for the central values, as carefully as a shot.
    pub nominal: Box<dyn Experiment>,
}

/// A family of designs that differ by one number.
pub trait Family: Sync {
    /// The design at one value of the number.
    ///
    /// # Errors
    /// In words, why there is no valid design there.
    fn at(&self, value: f64) -> Result<Setup, String>;
}

impl<F> Family for F
where
    F: Fn(f64) -> Result<Setup, String> + Sync,
{
    fn at(&self, value: f64) -> Result<Setup, String> {
        self(value)
    }
}

/// How a sweep is made.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepSettings {
    /// Values at which margins and the chance are found, in any order.
    pub values: Vec<f64>,
    /// Whether only whole numbers make a design: ends are then looked for among them.
    pub whole: bool,
    /// Most trials at each value.
    pub trials: u64,
    /// How they are drawn.
    pub method: SamplingMethod,
    /// Seed of the trials.
    pub seed: u64,
    /// Wanted chance of success, if any.
    pub level: Option<f64>,
    /// Whether every trial is run on both sides of the limits of the chance, and points are made of what is computed
    /// there ([`Sweep::between`]).
    pub at_limits: bool,
    /// A value to look at besides, such as the one the design has.
    pub usual: Option<f64>,
}

/// One criterion at one point.
#[derive(Debug, Clone, PartialEq)]
pub struct MarginPoint {
    /// What is judged.
    pub kind: CriterionKind,
    /// Margin over the limit with central values [1].
    pub nominal: Option<f64>,
    /// Percentiles [`BAND`] of the margin over the trials [1].
    pub band: Option<[f64; 3]>,
}

/// What was found at one value.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepPoint {
    /// The value swept, in its own unit.
    pub value: f64,
    /// With central values: the result, or why there is none.
    pub nominal: Result<Finding, String>,
    /// Chance of success; `None` where the design is not valid, or only central values were computed.
    pub chance: Option<Chance>,
    /// Trials behind it.
    pub trials: u64,
    /// Trials that could not be computed.
    pub not_computed: u64,
    /// Margins of each criterion.
    pub margins: Vec<MarginPoint>,
}

impl SweepPoint {
    /// Whether every criterion is met with central values.
    #[must_use]
    pub fn passes(&self) -> bool {
        passes(&self.nominal)
    }

    /// The criterion with the smallest margin with central values, and that margin [1].
    #[must_use]
    pub fn closest(&self) -> Option<(&CriterionKind, f64)> {
        self.margins
            .iter()
            .filter_map(|margin| Some((&margin.kind, margin.nominal?)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }
}

/// Whether there is a result and it meets every criterion.
fn passes(nominal: &Result<Finding, String>) -> bool {
    matches!(nominal, Ok(finding) if finding.first_failed().is_none())
}

/// Where something that holds ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// Last value, coming from inside, at which it was seen to hold.
    pub inside: f64,
    /// First value beyond at which it was seen not to.
    pub outside: f64,
}

impl Edge {
    /// Whether it holds at values below the edge.
    #[must_use]
    pub fn holds_below(&self) -> bool {
        self.inside < self.outside
    }
}

/// An end of the region where the nominal design passes.
#[derive(Debug, Clone, PartialEq)]
pub struct NominalEdge {
    /// Where.
    pub edge: Edge,
    /// The criterion that fails beyond it; `None` where there is no result beyond.
    pub fails: Option<CriterionKind>,
}

/// An end of the region where the chance is at least the wanted one.
#[derive(Debug, Clone, PartialEq)]
pub struct ChanceEdge {
    /// Where the estimate crosses.
    pub edge: Edge,
    /// The chance at the inner side of it with every trial run there.
    pub confirmed: Option<Chance>,
    /// Where the lower limit of the interval does: surely good up to here. `None` if that is
    /// nowhere between the points on either side.
    pub sure: Option<Edge>,
    /// Where the upper limit does: surely bad from here.
    pub lost: Option<Edge>,
}

/// A sweep along one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// Points at the values asked for, ascending.
    pub points: Vec<SweepPoint>,
    /// Points computed besides, ascending: on both sides of the limits of the chance, on the way to those of the
    /// nominal design (with central values alone) and at the value looked at besides.
    pub between: Vec<SweepPoint>,
    /// Ends of the regions where the nominal design passes, ascending.
    pub nominal_edges: Vec<NominalEdge>,
    /// Ends of the regions where the chance is at least the wanted level, ascending.
    pub chance_edges: Vec<ChanceEdge>,
    /// Trials run.
    pub trials: u64,
}

/// A stretch of the values swept on which something holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Where it begins: an edge, or `None` where it holds at the first value swept.
    pub from: Option<Edge>,
    /// Where it ends: an edge, or `None` where it holds at the last value swept.
    pub to: Option<Edge>,
}

impl Sweep {
    /// Every point computed, ascending.
    #[must_use]
    pub fn computed(&self) -> Vec<&SweepPoint> {
        let mut all: Vec<&SweepPoint> = self.points.iter().chain(&self.between).collect();
        all.sort_by(|a, b| a.value.total_cmp(&b.value));
        all
    }

    /// Stretches on which the nominal design passes, ascending.
    #[must_use]
    pub fn passing(&self) -> Vec<Stretch> {
        let starts = self.points.first().is_some_and(SweepPoint::passes);
        stretches(starts, self.nominal_edges.iter().map(|found| found.edge))
    }

    /// Stretches on which the estimated chance is at least a level, ascending; the edges are those
    /// found for the level the sweep was made for.
    #[must_use]
    pub fn reaching(&self, level: f64) -> Vec<Stretch> {
        let first = self.points.first().and_then(|point| point.chance);
        let starts = first.is_some_and(|chance| chance.estimate >= level);
        stretches(starts, self.chance_edges.iter().map(|found| found.edge))
    }
}

fn stretches(starts_inside: bool, edges: impl Iterator<Item = Edge>) -> Vec<Stretch> {
    let mut found = Vec::new();
    let mut open = starts_inside.then_some(None);
    for edge in edges {
        if edge.holds_below() {
            if let Some(from) = open.take() {
                let to = Some(edge);
                found.push(Stretch { from, to });
            }
        } else {
            open = Some(Some(edge));
        }
    }
    if let Some(from) = open {
        found.push(Stretch { from, to: None });
    }
    found
}
