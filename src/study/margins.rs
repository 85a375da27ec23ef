//! How margins and the chance of success move along one value of the design, and where they end.
//!
//! Every point of a sweep has the same trials (common random numbers), so that two points differ
//! by the value swept and not by luck. Ends are found by bracketing, not read off the points.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use crate::statistics::{SamplingMethod, StatisticsError, percentile};

use super::chance::Chance;
use super::criterion::CriterionKind;
use super::inputs::Inputs;
use super::tally::{Record, Tally};
use super::trial::{Campaign, Experiment, Finding, Observer, run_trials};

/// Percentiles of the band of each margin.
pub const BAND: [f64; 3] = [0.05, 0.5, 0.95];
/// Halvings of the bracket around the last value that passes.
const NOMINAL_HALVINGS: usize = 16;
/// Halvings of the bracket around the value where the chance falls under the wanted level.
const CHANCE_HALVINGS: usize = 9;

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
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepSettings {
    /// First value.
    pub low: f64,
    /// Last value.
    pub high: f64,
    /// Points, at least 2.
    pub points: usize,
    /// Trials at each point.
    pub trials: u64,
    /// How they are drawn.
    pub method: SamplingMethod,
    /// Seed of the trials.
    pub seed: u64,
    /// Wanted chance of success, if any.
    pub level: Option<f64>,
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
    /// Chance of success; `None` where the design is not valid.
    pub chance: Option<Chance>,
    /// Trials that could not be computed.
    pub not_computed: u64,
    /// Margins of each criterion.
    pub margins: Vec<MarginPoint>,
}

impl SweepPoint {
    /// Whether every criterion is met with central values.
    #[must_use]
    pub fn passes(&self) -> bool {
        matches!(&self.nominal, Ok(finding) if finding.first_failed().is_none())
    }
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
    /// Where the lower limit of the interval does: surely good up to here. `None` if that is
    /// nowhere between the points on either side.
    pub sure: Option<Edge>,
    /// Where the upper limit does: surely bad from here.
    pub lost: Option<Edge>,
}

/// A sweep along one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// Points in ascending order.
    pub points: Vec<SweepPoint>,
    /// Ends of the regions where the nominal design passes, ascending.
    pub nominal_edges: Vec<NominalEdge>,
    /// Ends of the regions where the chance is at least the wanted level, ascending.
    pub chance_edges: Vec<ChanceEdge>,
    /// Discharges spent, about: trials and nominal runs.
    pub runs: u64,
}

/// Sweeps a family along its number.
///
/// # Errors
/// Trials that the sampler does not serve.
pub fn sweep<F, O>(
    family: &F,
    settings: &SweepSettings,
    observer: &O,
) -> Result<Sweep, StatisticsError>
where
    F: Family + ?Sized,
    O: Observer + ?Sized,
{
    let mut searcher = Searcher {
        family,
        settings,
        observer,
        chances: BTreeMap::new(),
        runs: 0,
    };
    let steps = settings.points.max(2) - 1;
    let mut points = Vec::with_capacity(steps + 1);
    for step in 0..=steps {
        let share = step as f64 / steps as f64;
        // Ends exactly as written.
        let value = settings.low * (1.0 - share) + settings.high * share;
        points.push(searcher.point(value)?);
    }
    points.sort_by(|a, b| a.value.total_cmp(&b.value));
    let mut nominal_edges = Vec::new();
    let mut chance_edges = Vec::new();
    for pair in points.windows(2) {
        let [left, right] = pair else { continue };
        if left.passes() != right.passes() {
            nominal_edges.push(searcher.nominal_edge(left, right));
        }
        if let Some(level) = settings.level {
            let holds = |point: &SweepPoint| point.chance.is_some_and(|c| c.estimate >= level);
            if holds(left) != holds(right) {
                chance_edges.push(searcher.chance_edge(&points, left, right, level)?);
            }
        }
    }
    Ok(Sweep {
        points,
        nominal_edges,
        chance_edges,
        runs: searcher.runs,
    })
}

struct Searcher<'a, F: ?Sized, O: ?Sized> {
    family: &'a F,
    settings: &'a SweepSettings,
    observer: &'a O,
    /// Chances known already, by the bits of the value.
    chances: BTreeMap<u64, Option<Chance>>,
    runs: u64,
}

impl<F: Family + ?Sized, O: Observer + ?Sized> Searcher<'_, F, O> {
    fn nominal(&mut self, setup: &Result<Setup, String>) -> Result<Finding, String> {
        let setup = setup.as_ref().map_err(Clone::clone)?;
        self.runs += 1;
        setup
            .nominal
            .run(&setup.inputs.central())
            .map_err(|error| error.to_string())
    }

    /// The trials at one value.
    fn tally(
        &mut self,
        setup: &Setup,
        kinds: Vec<CriterionKind>,
    ) -> Result<Tally, StatisticsError> {
        let settings = self.settings;
        let campaign = Campaign::new(
            setup.inputs.clone(),
            settings.method,
            settings.seed,
            settings.trials,
        )?;
        let mut tally = Tally::for_sampler(kinds, campaign.sampler());
        let experiment = setup.experiment.as_ref();
        run_trials(
            &campaign,
            experiment,
            0..settings.trials,
            self.observer,
            |batch| {
                batch
                    .into_iter()
                    .for_each(|trial| tally.push(Record::from(trial)));
                ControlFlow::Continue(())
            },
        )?;
        self.runs += settings.trials;
        Ok(tally)
    }

    fn point(&mut self, value: f64) -> Result<SweepPoint, StatisticsError> {
        let setup = self.family.at(value);
        let nominal = self.nominal(&setup);
        let Ok(setup) = &setup else {
            self.chances.insert(value.to_bits(), None);
            return Ok(SweepPoint {
                value,
                nominal,
                chance: None,
                not_computed: 0,
                margins: Vec::new(),
            });
        };
        let kinds = kinds(setup, &nominal);
        let tally = self.tally(setup, kinds)?;
        let chance = tally.chance()?;
        self.chances.insert(value.to_bits(), Some(chance));
        let margins = tally
            .criteria()
            .iter()
            .enumerate()
            .map(|(place, kind)| MarginPoint {
                kind: kind.clone(),
                nominal: nominal
                    .as_ref()
                    .ok()
                    .and_then(|finding| finding.margins.get(place).copied().flatten()),
                band: band(tally.margins(place)),
            })
            .collect();
        Ok(SweepPoint {
            value,
            nominal,
            chance: Some(chance),
            not_computed: tally.counts().not_computed,
            margins,
        })
    }

    fn chance(&mut self, value: f64) -> Result<Option<Chance>, StatisticsError> {
        if let Some(known) = self.chances.get(&value.to_bits()) {
            return Ok(*known);
        }
        let found = match self.family.at(value) {
            Err(_) => None,
            Ok(setup) => Some(self.tally(&setup, Vec::new())?.chance()?),
        };
        self.chances.insert(value.to_bits(), found);
        Ok(found)
    }

    fn nominal_edge(&mut self, left: &SweepPoint, right: &SweepPoint) -> NominalEdge {
        let (inside, outside) = if left.passes() {
            (left, right)
        } else {
            (right, left)
        };
        let mut edge = Edge {
            inside: inside.value,
            outside: outside.value,
        };
        let mut beyond = outside.nominal.clone();
        for _ in 0..NOMINAL_HALVINGS {
            let middle = 0.5 * (edge.inside + edge.outside);
            let nominal = {
                let setup = self.family.at(middle);
                self.nominal(&setup)
            };
            if matches!(&nominal, Ok(finding) if finding.first_failed().is_none()) {
                edge.inside = middle;
            } else {
                edge.outside = middle;
                beyond = nominal;
            }
        }
        let fails = beyond.ok().and_then(|finding| {
            let first = finding.first_failed()?;
            finding.criteria.get(first).map(|c| c.kind.clone())
        });
        NominalEdge { edge, fails }
    }

    fn chance_edge(
        &mut self,
        points: &[SweepPoint],
        left: &SweepPoint,
        right: &SweepPoint,
        level: f64,
    ) -> Result<ChanceEdge, StatisticsError> {
        let estimate = move |chance: &Chance| chance.estimate >= level;
        let left_holds = left.chance.as_ref().is_some_and(estimate);
        let (inside, outside) = if left_holds {
            (left.value, right.value)
        } else {
            (right.value, left.value)
        };
        let edge = self.bracket(inside, outside, estimate)?;
        // The limits cross further in and further out: go out point by point until they do.
        let inward: Vec<&SweepPoint> = if left_holds {
            points.iter().rev().filter(|p| p.value <= inside).collect()
        } else {
            points.iter().filter(|p| p.value >= inside).collect()
        };
        let outward: Vec<&SweepPoint> = if left_holds {
            points.iter().filter(|p| p.value >= outside).collect()
        } else {
            points.iter().rev().filter(|p| p.value <= outside).collect()
        };
        let low = move |chance: &Chance| chance.low >= level;
        let high = move |chance: &Chance| chance.high >= level;
        let first_sure = inward
            .iter()
            .find(|point| point.chance.as_ref().is_some_and(low));
        let sure = match first_sure {
            Some(point) => Some(self.bracket(point.value, edge.outside, low)?),
            None => None,
        };
        let first_lost = outward
            .iter()
            .find(|point| !point.chance.as_ref().is_some_and(high));
        let lost = match first_lost {
            Some(point) => Some(self.bracket(edge.inside, point.value, high)?),
            None => None,
        };
        Ok(ChanceEdge { edge, sure, lost })
    }

    /// Halves a bracket whose inner end holds and whose outer end does not.
    fn bracket(
        &mut self,
        inside: f64,
        outside: f64,
        holds: impl Fn(&Chance) -> bool,
    ) -> Result<Edge, StatisticsError> {
        let mut edge = Edge { inside, outside };
        for _ in 0..CHANCE_HALVINGS {
            let middle = 0.5 * (edge.inside + edge.outside);
            if self.chance(middle)?.as_ref().is_some_and(&holds) {
                edge.inside = middle;
            } else {
                edge.outside = middle;
            }
        }
        Ok(edge)
    }
}

/// Criteria of a design: from its nominal result, or from the first trial that has one.
fn kinds(setup: &Setup, nominal: &Result<Finding, String>) -> Vec<CriterionKind> {
    let of = |finding: &Finding| finding.criteria.iter().map(|c| c.kind.clone()).collect();
    match nominal {
        Ok(finding) => of(finding),
        Err(_) => setup
            .experiment
            .run(&setup.inputs.at_normal(&vec![0.0; setup.inputs.len()]))
            .map(|finding| of(&finding))
            .unwrap_or_default(),
    }
}

fn band(margins: &[f64]) -> Option<[f64; 3]> {
    let mut sorted: Vec<f64> = margins.iter().copied().filter(|m| m.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    (!sorted.is_empty()).then(|| BAND.map(|p| percentile::of_sorted(&sorted, p)))
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
