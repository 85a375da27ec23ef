//! Failures too rare for plain draws: subset simulation on the smallest margin, with the most
//! likely failing combination as a cross-check.

use crate::statistics::StatisticsError;
use crate::statistics::design_point::{DesignPoint, DesignPointSettings, design_point};
use crate::statistics::subset_simulation::{
    SubsetEnding, SubsetRun, SubsetSettings, subset_simulation,
};

use super::inputs::Inputs;
use super::trial::{Experiment, Observer, TrialError};

/// Half the distance between the points of a central difference, in standard deviations: far
/// above what the tolerance of a careful discharge leaves undecided.
const DIFFERENCE: f64 = 0.05;
/// How well the design point is settled, in standard deviations: nobody knows a spread better.
const TOLERANCE: f64 = 1e-2;
/// Most steps of its search.
const ITERATIONS: usize = 40;

/// A combination of inputs on the edge of failing, or beyond it.
#[derive(Debug, Clone, PartialEq)]
pub struct Combination {
    /// Independent standard normal numbers behind the values.
    pub normals: Vec<f64>,
    /// Value of each input [SI].
    pub values: Vec<f64>,
    /// Distance from the centre in standard deviations: the smaller, the more likely.
    pub distance: f64,
    /// Smallest margin there [1].
    pub margin: f64,
    /// Position of the criterion with that margin; `None` without criteria.
    pub criterion: Option<usize>,
}

impl Combination {
    fn new<E>(inputs: &Inputs, experiment: &E, normals: Vec<f64>) -> Option<Self>
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
        Some(Self {
            distance: normals.iter().map(|z| z * z).sum::<f64>().sqrt(),
            normals,
            values,
            margin: finding.smallest_margin(),
            criterion: worst.map(|(place, _)| place),
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
    /// Discharges run, those of the design point included.
    pub evaluations: u64,
    /// Share of the failing samples that failed to compute.
    pub not_computed_share: f64,
    /// First-order design point, or why there is none.
    pub design_point: Result<DesignPoint, String>,
    /// The combination at the design point; failing that, the likeliest failure seen.
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
/// of the failing region, then searches the point of it nearest to the centre. The search takes
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
    let margin = |experiment: &E, normals: &[f64]| -> Result<f64, TrialError> {
        let result = experiment.run(&inputs.at_normal(normals));
        observer.tick();
        result.map(|finding| finding.smallest_margin())
    };
    let estimate = subset_simulation(|u| margin(experiment, u), inputs.len(), settings)?;
    let search = DesignPointSettings {
        difference: DIFFERENCE,
        tolerance: TOLERANCE,
        iterations: ITERATIONS,
        start: estimate.likeliest_failure.clone(),
    };
    let point = match estimate.likeliest_failure {
        None => Err("no failure was seen to start the search from".to_owned()),
        Some(_) => {
            design_point(|u| margin(careful, u), inputs.len(), &search).map_err(|e| e.to_string())
        }
    };
    let nearest = point
        .as_ref()
        .ok()
        .map(|point| point.point.clone())
        .or(estimate.likeliest_failure);
    Ok(RareFailure {
        probability: estimate.probability,
        low: estimate.low,
        high: estimate.high,
        runs: estimate.runs,
        evaluations: estimate.evaluations + point.as_ref().map_or(0, |point| point.evaluations),
        not_computed_share: estimate.failed_share,
        combination: nearest.and_then(|normals| Combination::new(inputs, careful, normals)),
        design_point: point,
    })
}
