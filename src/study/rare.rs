//! Failures too rare for plain draws: subset simulation on the smallest margin, with the most
//! likely failing combinations as a cross-check.
//!
//! Design points are looked for criterion by criterion (`statistics/series_system.rs`), and with the values of choices
//! held: a choice is a step in its normal variate, so that the nearest point to the usual would lie on the edge
//! of the step, where every search by slopes goes to and fro. First order is then the sum over the
//! choices seen of their chance times that of failing with them.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::statistics::StatisticsError;
use crate::statistics::design_point::{DesignPoint, DesignPointSettings};
use crate::statistics::series_system::{design_points, first_order};
use crate::statistics::standard_normal;
use crate::statistics::subset_simulation::{
    SubsetEnding, SubsetRun, SubsetSettings, subset_simulation,
};

use super::inputs::Inputs;
use super::trial::{Experiment, Observer, TrialError};

/// Half the distance between the points of a central difference, in standard deviations: far
/// above what the tolerance of a careful discharge leaves undecided.
const DIFFERENCE: f64 = 0.05;
/// How well a design point is settled, in standard deviations: nobody knows a spread better.
const TOLERANCE: f64 = 2e-2;
/// Most steps of its search by slopes.
const ITERATIONS: usize = 15;
/// Most combinations of choices that are looked into, those with most failures first.
const COMBINATIONS: usize = 4;
/// Share of the failures below which a combination of choices is left out.
const FEW: f64 = 0.01;

/// A combination of inputs on the edge of failing, or beyond it.
#[derive(Debug, Clone, PartialEq)]
pub struct Combination {
    /// Independent standard normal numbers behind the values; 0 for values that are held.
    pub normals: Vec<f64>,
    /// Value of each input [SI].
    pub values: Vec<f64>,
    /// Positions of the choices: values that are what they are, neither near nor far.
    pub held: Vec<usize>,
    /// Distance from the centre in standard deviations: the smaller, the more likely.
    pub distance: f64,
    /// Smallest margin there [1].
    pub margin: f64,
    /// Position of the criterion that fails there; `None` without criteria.
    pub criterion: Option<usize>,
}

impl Combination {
    /// The combination at `normals`, and the criterion with the smallest margin unless it is known; none if it cannot
    /// be computed.
    fn new<E>(
        inputs: &Inputs,
        experiment: &E,
        mut normals: Vec<f64>,
        held: &[usize],
        criterion: Option<usize>,
    ) -> Option<Self>
    where
        E: Experiment + ?Sized,
    {
        let values = inputs.at_normal(&normals);
        let finding = experiment.run(&values).ok()?;
        let worst = finding
            .margins
            .iter()
            .enumerate()
            .filter_map(|(place, margin)| Some((place, (*margin)?)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        for input in held {
            if let Some(normal) = normals.get_mut(*input) {
                *normal = 0.0;
            }
        }
        Some(Self {
            distance: normals.iter().map(|z| z * z).sum::<f64>().sqrt(),
            normals,
            values,
            held: held.to_vec(),
            margin: finding.smallest_margin(),
            criterion: criterion.or(worst.map(|(place, _)| place)),
        })
    }

    /// Share of each input in the distance [1]; they add up to 1.
    #[must_use]
    pub fn shares(&self) -> Vec<f64> {
        let square = self.distance * self.distance;
        self.normals
            .iter()
            .map(|z| if square > 0.0 { z * z / square } else { 0.0 })
            .collect()
    }
}

/// One way to fail: a criterion, with the choices as they are.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Design point over the inputs that are not held, in their order.
    pub point: DesignPoint,
    /// Chance of the values that are held [1].
    pub chance_of_choices: f64,
    /// The combination there.
    pub combination: Combination,
}

impl Way {
    /// First-order chance of failing in this way alone [1].
    #[must_use]
    pub fn probability(&self) -> f64 {
        self.chance_of_choices * self.point.probability
    }

    /// Reliability index of that chance [standard deviations].
    #[must_use]
    pub fn reliability_index(&self) -> f64 {
        -standard_normal::quantile(self.probability())
    }
}

/// The ways to fail that failures led to.
#[derive(Debug, Clone, PartialEq)]
pub struct Ways {
    /// Likeliest first; at least one.
    pub ways: Vec<Way>,
    /// First-order chance of failing in any of them [1].
    pub probability: f64,
    /// Share of the failures seen that have choices for which there is a way here [1].
    pub looked_into: f64,
}

/// What is known of a rare failure.
#[derive(Debug, Clone, PartialEq)]
pub struct RareFailure {
    /// Probability that a criterion fails or the computation does.
    pub probability: f64,
    /// Lower limit at 95 %.
    pub low: f64,
    /// Upper limit at 95 %.
    pub high: f64,
    /// The repeats behind it.
    pub runs: Vec<SubsetRun>,
    /// Discharges run, those of the design points included.
    pub evaluations: u64,
    /// Share of the failing samples that failed to compute.
    pub not_computed_share: f64,
    /// First-order design points, or why there are none.
    pub ways: Result<Ways, String>,
    /// The combination at the likeliest of them; failing that, the likeliest failure seen.
    pub combination: Option<Combination>,
}

impl RareFailure {
    /// Whether every repeat reached the failures: if not, the upper limit is all there is.
    #[must_use]
    pub fn reached(&self) -> bool {
        self.runs
            .iter()
            .all(|run| run.ending == SubsetEnding::Reached)
    }
}

/// Estimates the probability of failure down to `settings.least_probability`, whatever the shape
/// of the failing region, then searches the points of it nearest to the centre. The search takes
/// differences, so it runs `careful`: the same experiment with less noise.
///
/// # Errors
/// Settings out of range, or no inputs.
pub fn rare_failure<E, O>(
    inputs: &Inputs,
    experiment: &E,
    careful: &E,
    settings: &SubsetSettings,
    observer: &O,
) -> Result<RareFailure, StatisticsError>
where
    E: Experiment + ?Sized,
    O: Observer + ?Sized,
{
    let margin = |normals: &[f64]| -> Result<f64, TrialError> {
        let result = experiment.run(&inputs.at_normal(normals));
        observer.tick();
        result.map(|finding| finding.smallest_margin())
    };
    let estimate = subset_simulation(margin, inputs.len(), settings)?;
    let searched = AtomicU64::new(0);
    let margins = |normals: &[f64]| -> Result<Vec<Option<f64>>, TrialError> {
        let result = careful.run(&inputs.at_normal(normals));
        searched.fetch_add(1, Ordering::Relaxed);
        observer.tick();
        result.map(|finding| finding.margins)
    };
    let ways = ways(inputs, careful, margins, &estimate.failures);
    let combination = match &ways {
        Ok(ways) => ways.ways.first().map(|way| way.combination.clone()),
        Err(_) => estimate.likeliest_failure().and_then(|normals| {
            Combination::new(inputs, careful, normals.to_vec(), &inputs.jumping(), None)
        }),
    };
    Ok(RareFailure {
        probability: estimate.probability,
        low: estimate.low,
        high: estimate.high,
        runs: estimate.runs,
        evaluations: estimate.evaluations + searched.into_inner(),
        not_computed_share: estimate.failed_share,
        ways,
        combination,
    })
}

/// Failures with the same values of the inputs `held`: the most frequent combinations, the most frequent first.
fn combinations<'f>(
    inputs: &Inputs,
    held: &[usize],
    failures: &'f [Vec<f64>],
) -> Vec<Vec<&'f Vec<f64>>> {
    let mut groups: BTreeMap<Vec<u64>, Vec<&Vec<f64>>> = BTreeMap::new();
    for failure in failures {
        let values = inputs.at_normal(failure);
        let choices = pick(&values, held).iter().map(|v| v.to_bits()).collect();
        groups.entry(choices).or_default().push(failure);
    }
    let mut groups: Vec<Vec<&Vec<f64>>> = groups.into_values().collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.len()));
    groups.truncate(COMBINATIONS);
    groups.retain(|group| group.len() as f64 >= FEW * failures.len() as f64);
    groups
}

/// The ways to fail that `failures` lead to, nearest first, each combination of choices by itself.
fn ways<E, G>(
    inputs: &Inputs,
    careful: &E,
    margins: G,
    failures: &[Vec<f64>],
) -> Result<Ways, String>
where
    E: Experiment + ?Sized,
    G: Fn(&[f64]) -> Result<Vec<Option<f64>>, TrialError> + Sync,
{
    let held = inputs.jumping();
    let free: Vec<usize> = (0..inputs.len())
        .filter(|input| !held.contains(input))
        .collect();
    if free.is_empty() {
        return Err("every uncertain value is a choice".to_owned());
    }
    let settings = DesignPointSettings {
        difference: DIFFERENCE,
        tolerance: TOLERANCE,
        iterations: ITERATIONS,
        start: None,
    };
    let mut all = Ways {
        ways: Vec::new(),
        probability: 0.0,
        looked_into: 0.0,
    };
    let mut reason = "no failure was seen to start the search from".to_owned();
    for group in combinations(inputs, &held, failures) {
        let Some(pattern) = group.first() else {
            continue;
        };
        let whole = |part: &[f64]| {
            let mut normals = (*pattern).clone();
            for (input, value) in free.iter().zip(part) {
                if let Some(slot) = normals.get_mut(*input) {
                    *slot = *value;
                }
            }
            normals
        };
        let mut starts: Vec<Vec<f64>> = group.iter().map(|u| pick(u, &free)).collect();
        let square = |u: &[f64]| u.iter().map(|u| u * u).sum::<f64>();
        starts.sort_by(|a, b| square(a).total_cmp(&square(b)));
        let points = match design_points(|part: &[f64]| margins(&whole(part)), &starts, &settings) {
            Ok(points) => points,
            Err(error) => {
                reason = error;
                continue;
            }
        };
        let values = inputs.at_normal(pattern);
        let chance = |input: &usize| {
            let distribution = inputs.distributions().get(*input)?;
            Some(distribution.density(*values.get(*input)?))
        };
        let chance_of_choices: f64 = held.iter().filter_map(chance).product();
        all.looked_into += group.len() as f64 / failures.len() as f64;
        all.probability += chance_of_choices * first_order(&points);
        all.ways.extend(points.into_iter().filter_map(|found| {
            let normals = whole(&found.point.point);
            let margin = Some(found.margin);
            Some(Way {
                combination: Combination::new(inputs, careful, normals, &held, margin)?,
                point: found.point,
                chance_of_choices,
            })
        }));
    }
    all.ways
        .sort_by(|a, b| b.probability().total_cmp(&a.probability()));
    if all.ways.is_empty() {
        Err(reason)
    } else {
        Ok(all)
    }
}

fn pick(from: &[f64], places: &[usize]) -> Vec<f64> {
    places
        .iter()
        .filter_map(|place| from.get(*place).copied())
        .collect()
}
