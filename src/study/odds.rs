//! The chance of a successful separation, put together from the tally of a campaign.

use crate::statistics::histogram::Histogram;
use crate::statistics::interval::clopper_pearson;
use crate::statistics::percentile::{self, PercentileInterval};
use crate::statistics::{ProportionInterval, StatisticsError};

use super::chance::{CONFIDENCE, Chance, ReplicateCount};
use super::criterion::CriterionKind;
use super::drivers::{FailureMode, failure_modes};
use super::tally::{Quantity, Record, Tally};

/// Percentiles that are given of every quantity.
pub const PERCENTILES: [f64; 5] = [0.01, 0.05, 0.5, 0.95, 0.99];
/// Most bins of a histogram.
const BINS: usize = 40;

/// How often a criterion fails.
#[derive(Debug, Clone, PartialEq)]
pub struct FailureCount {
    /// What is judged.
    pub kind: CriterionKind,
    /// Trials that failed it before any other.
    pub first: u64,
    /// Chance of that, as if draws were independent: on the wide side for the other samplers.
    pub first_chance: ProportionInterval,
    /// Trials that failed it, whatever else they failed.
    pub any: u64,
    /// Percentiles of its margin over its limit [1]; `None` where it never had a value.
    pub margins: Option<Vec<PercentileInterval>>,
}

/// The distribution of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct QuantitySummary {
    /// Which.
    pub quantity: Quantity,
    /// Trials in which it came about.
    pub count: u64,
    /// One for each of [`PERCENTILES`] [SI].
    pub percentiles: Vec<PercentileInterval>,
    /// Counts in equal bins [SI].
    pub histogram: Histogram,
}

/// The answer of a campaign.
#[derive(Debug, Clone, PartialEq)]
pub struct Odds {
    /// Trials by outcome.
    pub counts: ReplicateCount,
    /// Chance of success.
    pub chance: Chance,
    /// Every criterion in the order of a shot.
    pub failures: Vec<FailureCount>,
    /// Every quantity that came about in any trial.
    pub quantities: Vec<QuantitySummary>,
    /// What tells the failures of each kind from successes.
    pub modes: Vec<FailureMode>,
    /// The trials with the smallest margins, worst first.
    pub worst: Vec<Record>,
    /// The first trials whose computation failed.
    pub errors: Vec<Record>,
}

impl Odds {
    /// Puts the answer together.
    ///
    /// # Errors
    /// No trials.
    pub fn of(tally: &Tally) -> Result<Self, StatisticsError> {
        let counts = tally.counts();
        let chance = tally.chance()?;
        let mut failures = Vec::with_capacity(tally.criteria().len());
        let judged = tally.first_failed().iter().zip(tally.failed());
        for (place, (kind, (first, any))) in tally.criteria().iter().zip(judged).enumerate() {
            failures.push(FailureCount {
                kind: kind.clone(),
                first: *first,
                first_chance: clopper_pearson(*first, counts.trials, CONFIDENCE)?,
                any: *any,
                margins: percentiles(tally.margins(place))?,
            });
        }
        let mut quantities = Vec::new();
        for quantity in Quantity::ALL {
            let values = tally.quantity(quantity);
            if let Some(percentiles) = percentiles(values)? {
                quantities.push(QuantitySummary {
                    quantity,
                    count: values.len() as u64,
                    percentiles,
                    histogram: Histogram::of(values, BINS)?,
                });
            }
        }
        Ok(Self {
            counts,
            chance,
            failures,
            quantities,
            modes: failure_modes(tally)?,
            worst: tally.worst().to_vec(),
            errors: tally.errors().to_vec(),
        })
    }

    /// Trials that failed a criterion.
    #[must_use]
    pub fn failed(&self) -> u64 {
        self.counts.trials - self.counts.successes - self.counts.not_computed
    }
}

/// Percentiles of the finite ones of some values; `None` without any.
fn percentiles(values: &[f64]) -> Result<Option<Vec<PercentileInterval>>, StatisticsError> {
    let finite: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    if finite.is_empty() {
        return Ok(None);
    }
    let sorted = percentile::sorted(&finite)?;
    PERCENTILES
        .iter()
        .map(|p| percentile::with_limits(&sorted, *p, CONFIDENCE))
        .collect::<Result<_, _>>()
        .map(Some)
}

/// When a campaign that stops at a wanted accuracy looks at its interval: whenever the trials have
/// grown by a tenth. Looking after every trial would stop at the luckiest moment and leave the
/// interval too narrow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StopRule {
    /// Half width of the interval that is wanted [1].
    pub half_width: f64,
    next: u64,
}

impl StopRule {
    /// Stops at that half width, not before 100 trials.
    #[must_use]
    pub fn new(half_width: f64) -> Self {
        Self {
            half_width,
            next: 100,
        }
    }

    /// About how many trials in all make an interval as narrow, from what some have shown: its width falls with their
    /// root, or, while all end alike, with their number. Two digits are given.
    #[must_use]
    pub fn trials_needed(&self, chance: &Chance, trials: u64) -> u64 {
        let alike = chance.estimate <= 0.0 || chance.estimate >= 1.0;
        let excess = (chance.half_width() / self.half_width).max(1.0);
        let needed = trials as f64 * if alike { excess } else { excess.powi(2) };
        let step = 10f64.powi((needed.max(1.0).log10().floor() as i32 - 1).max(0));
        ((needed / step).ceil() * step) as u64
    }

    /// Whether to stop now.
    ///
    /// # Errors
    /// As [`Tally::chance`].
    pub fn reached(&mut self, tally: &Tally) -> Result<bool, StatisticsError> {
        let trials = tally.counts().trials;
        if trials < self.next {
            return Ok(false);
        }
        self.next = trials + trials / 10 + 1;
        Ok(tally.chance()?.half_width() <= self.half_width)
    }
}
