//! The probability of rare failures, as a product of probabilities that are not rare.
//!
//! Law: P(g <= 0) = P(F_1) P(F_2 | F_1) ... P(F_m | F_m-1), F_j = {g <= b_j}, with
//! thresholds b_1 > b_2 > ... > b_m = 0 chosen so that each factor is about 0.1. Levels
//! before the last are open, {g < b_j}, with b_j the response just above the samples that
//! are kept: then each factor times the rest has the right mean. With the customary
//! closed levels, {g <= b_j} and b_j one of the samples kept, every level adds a bias of
//! 1/(0.1 N) (Cerou, Del Moral, Furon & Guyader 2012, Stat. Comput. 22, 795, prop. 4),
//! here 6 % for three levels of 500.
//! Symbols: g limit state (failure where it is 0 or less), of independent standard
//! normal inputs u. Source: Au & Beck 2001, Probab. Eng. Mech. 16, 263, eqs. 5, 12, 17
//! and 27-29; chains by Papaioannou et al. 2015.
//!
//! **Interval.** The formula of Au & Beck for one run's coefficient of variation takes
//! the levels for independent and misses what the choice of thresholds and a chain that
//! never visits another failure region add, so it understates. The interval given here
//! comes from whole, independent repeats: Student t over them, on a log scale. Where a
//! few repeats happen to agree better than that formula allows, the formula counts.

use super::error::StatisticsError;
use super::incomplete_beta::student_quantile;
use super::interval::{check_confidence, clopper_pearson};
use super::running::RunningMoments;
use super::stream::hash;
use super::subset_chain::{Level, Sample, conditional, independent};
use rayon::prelude::*;

/// How a subset simulation is run.
#[derive(Debug, Clone, PartialEq)]
pub struct SubsetSettings {
    /// Samples of each level; 1000 by default.
    pub samples: usize,
    /// Conditional probability of a level, 0.05 to 0.5; 0.1 by default.
    pub level_probability: f64,
    /// Independent repeats of the whole simulation, at least 3; 8 by default.
    pub repeats: usize,
    /// Stop descending below this probability; 1e-9 by default.
    pub least_probability: f64,
    /// Confidence of the interval; 0.95 by default.
    pub confidence: f64,
    /// Seed: the same seed gives the same bits on any number of threads.
    pub seed: u64,
}

impl Default for SubsetSettings {
    fn default() -> Self {
        Self {
            samples: 1000,
            level_probability: 0.1,
            repeats: 8,
            least_probability: 1e-9,
            confidence: 0.95,
            seed: 0,
        }
    }
}

/// A point at which the limit state had no value.
#[derive(Debug, Clone, PartialEq)]
pub struct FailedEvaluation<E> {
    /// Standard normal inputs.
    pub point: Vec<f64>,
    /// The error; none if the value was not a number.
    pub error: Option<E>,
}

/// Why a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SubsetEnding {
    /// The failure domain was reached.
    Reached,
    /// The probability fell below the least one asked for: the run gives a bound.
    BelowLeast,
    /// The limit state has a plateau above zero: no lower threshold could be found.
    Stalled,
}

/// One level of a run.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SubsetLevel {
    /// Threshold of the limit state that ends the level; 0 for the last.
    pub threshold: f64,
    /// Conditional probability of going below it.
    pub probability: f64,
    /// Part of the proposals that were accepted (1 for the first level).
    pub acceptance: f64,
}

/// One of the repeats.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SubsetRun {
    /// Probability of failure, or an upper bound unless the failure domain was reached.
    pub probability: f64,
    /// Levels, from the first.
    pub levels: Vec<SubsetLevel>,
    /// Coefficient of variation by Au & Beck's eqs. 27-29: a lower bound.
    pub coefficient_of_variation: f64,
    /// Why the run ended.
    pub ending: SubsetEnding,
}

/// Estimate of a small probability.
#[derive(Debug, Clone, PartialEq)]
pub struct SubsetEstimate<E> {
    /// Mean over repeats; a run that did not reach failure counts as 0.
    pub probability: f64,
    /// Lower limit; 0 if any repeat did not reach failure.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Coefficient of variation of `probability`, from the scatter between repeats alone.
    pub coefficient_of_variation: f64,
    /// The repeats.
    pub runs: Vec<SubsetRun>,
    /// Evaluations of the limit state.
    pub evaluations: u64,
    /// Evaluations without a value. They count as failures (never as success), so that
    /// the estimate is of "fails or cannot be computed".
    pub failed_evaluations: Vec<FailedEvaluation<E>>,
    /// Part of the failing samples of the last levels that could not be evaluated.
    pub failed_share: f64,
    /// The failing samples of the last levels, nearest to the origin first: starts for the search
    /// of design points. Only points with a value count; none is there twice.
    pub failures: Vec<Vec<f64>>,
}

impl<E> SubsetEstimate<E> {
    /// The failing sample nearest to the origin, the likeliest of those seen.
    #[must_use]
    pub fn likeliest_failure(&self) -> Option<&[f64]> {
        self.failures.first().map(Vec::as_slice)
    }
}

/// One run and what is gathered from it.
struct Run<E> {
    summary: SubsetRun,
    evaluations: u64,
    failed: Vec<FailedEvaluation<E>>,
    failing: usize,
    failing_without_value: usize,
    first_level: (u64, u64),
    failures: Vec<Vec<f64>>,
}

/// Estimates P(g <= 0) for `dimensions` independent standard normal inputs.
///
/// `limit_state` may fail: see [`SubsetEstimate::failed_evaluations`]. Costs about
/// repeats x samples x (1 + 0.9 log10(1/P)) evaluations.
///
/// # Errors
///
/// Settings out of range, or no dimensions.
pub fn subset_simulation<G, E>(
    limit_state: G,
    dimensions: usize,
    settings: &SubsetSettings,
) -> Result<SubsetEstimate<E>, StatisticsError>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
    E: Send,
{
    check(dimensions, settings)?;
    let runs: Vec<Run<E>> = (0..settings.repeats)
        .into_par_iter()
        .map(|repeat| run(&limit_state, dimensions, settings, repeat as u64))
        .collect();
    combine(runs, settings)
}

fn check(dimensions: usize, settings: &SubsetSettings) -> Result<(), StatisticsError> {
    check_confidence(settings.confidence)?;
    let setting = |parameter, value: f64, good: bool, rule| {
        if good {
            Ok(())
        } else {
            Err(StatisticsError::Setting {
                parameter,
                value,
                rule,
            })
        }
    };
    let p = settings.level_probability;
    setting("inputs", dimensions as f64, dimensions > 0, "at least 1")?;
    setting(
        "samples a level",
        settings.samples as f64,
        settings.samples >= 100,
        "at least 100",
    )?;
    setting(
        "level probability",
        p,
        (0.05..=0.5).contains(&p),
        "between 0.05 and 0.5",
    )?;
    setting(
        "repeats",
        settings.repeats as f64,
        settings.repeats >= 3,
        "at least 3",
    )?;
    let least = settings.least_probability;
    setting(
        "least probability",
        least,
        (1e-15..0.1).contains(&least),
        "between 1e-15 and 0.1",
    )
}

fn run<G, E>(limit_state: &G, dimensions: usize, settings: &SubsetSettings, repeat: u64) -> Run<E>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
    E: Send,
{
    let samples = settings.samples;
    let wanted = (settings.level_probability * samples as f64)
        .round()
        .max(1.0) as usize;
    let key = |level: usize| hash(settings.seed, &[repeat, level as u64]);
    let mut level = independent(limit_state, dimensions, samples, key(0));
    let mut result = Run {
        summary: SubsetRun {
            probability: 1.0,
            levels: Vec::new(),
            coefficient_of_variation: 0.0,
            ending: SubsetEnding::Reached,
        },
        evaluations: 0,
        failed: Vec::new(),
        failing: 0,
        failing_without_value: 0,
        first_level: (0, samples as u64),
        failures: Vec::new(),
    };
    let mut variation = 0.0;
    let mut spread = 0.6;
    loop {
        result.evaluations += level.evaluations;
        result.failed.append(&mut level.failed);
        let mut responses: Vec<f64> = level
            .chains
            .iter()
            .flatten()
            .map(|sample| sample.response)
            .collect();
        responses.sort_by(f64::total_cmp);
        let failing = responses.partition_point(|g| *g <= 0.0);
        if result.summary.levels.is_empty() {
            result.first_level.0 = failing as u64;
        }
        let reached = failing >= wanted;
        let (threshold, below) = if reached {
            (0.0, failing)
        } else {
            open_threshold(&responses, wanted)
        };
        let probability = below as f64 / samples as f64;
        variation += level_variation(
            &level,
            |g| g < threshold || (reached && g <= 0.0),
            probability,
        );
        let acceptance = level.acceptance;
        let stalled = below == samples && !reached;
        if !stalled {
            result.summary.levels.push(SubsetLevel {
                threshold,
                probability,
                acceptance,
            });
            result.summary.probability *= probability;
        }
        if reached || stalled || result.summary.probability < settings.least_probability {
            result.failing = failing;
            for sample in level.chains.into_iter().flatten() {
                if sample.response == f64::NEG_INFINITY {
                    result.failing_without_value += 1;
                } else if sample.response <= 0.0 {
                    result.failures.push(sample.point);
                }
            }
            result.summary.coefficient_of_variation = variation.sqrt();
            result.summary.ending = if reached {
                SubsetEnding::Reached
            } else if stalled {
                SubsetEnding::Stalled
            } else {
                SubsetEnding::BelowLeast
            };
            return result;
        }
        let seeds: Vec<Sample> = level
            .chains
            .into_iter()
            .flatten()
            .filter(|s| s.response < threshold)
            .collect();
        let next_key = key(result.summary.levels.len());
        level = conditional(
            limit_state,
            seeds,
            threshold,
            samples,
            &mut spread,
            next_key,
        );
    }
}

/// The response above which samples are given up, and how many lie strictly below it:
/// `wanted`, unless responses tie. Where a plateau leaves too few below it to go on from,
/// it is kept whole.
fn open_threshold(responses: &[f64], wanted: usize) -> (f64, usize) {
    let least = (wanted / 10).max(5);
    let threshold = responses.get(wanted).copied().unwrap_or(f64::INFINITY);
    let count = |threshold: f64| responses.partition_point(|g| *g < threshold);
    let below = count(threshold);
    if below >= least {
        return (threshold, below);
    }
    let above = threshold.next_up();
    (above, count(above))
}

fn radius(point: &[f64]) -> f64 {
    point.iter().map(|u| u * u).sum()
}

/// Squared coefficient of variation of a level's probability p: (1-p)/(pN) (1 + gamma),
/// gamma = 2 sum_k (1 - k Nc/N) R(k)/R(0) over the lags k of the chains (eqs. 27-29).
fn level_variation<E>(level: &Level<E>, inside: impl Fn(f64) -> bool, p: f64) -> f64 {
    let count: usize = level.chains.iter().map(Vec::len).sum();
    let total = count as f64;
    let longest = level.chains.iter().map(Vec::len).max().unwrap_or(1);
    let mut gamma = 0.0;
    for lag in 1..longest {
        let (mut both, mut pairs) = (0usize, 0usize);
        for chain in &level.chains {
            for (early, late) in chain.iter().zip(chain.iter().skip(lag)) {
                pairs += 1;
                both += usize::from(inside(early.response) && inside(late.response));
            }
        }
        if pairs > 0 && p < 1.0 {
            let correlation = (both as f64 / pairs as f64 - p * p) / (p * (1.0 - p));
            gamma += 2.0 * pairs as f64 / total * correlation;
        }
    }
    (1.0 - p) / (p * total) * (1.0 + gamma).max(0.0)
}

/// Puts the repeats together, in their order.
fn combine<E>(
    runs: Vec<Run<E>>,
    settings: &SubsetSettings,
) -> Result<SubsetEstimate<E>, StatisticsError> {
    let reached = |run: &Run<E>| run.summary.ending == SubsetEnding::Reached;
    let estimates: RunningMoments = runs
        .iter()
        .map(|run| {
            if reached(run) {
                run.summary.probability
            } else {
                0.0
            }
        })
        .collect();
    let bounds: RunningMoments = runs.iter().map(|run| run.summary.probability).collect();
    let repeats = runs.len() as f64;
    let variation = |moments: &RunningMoments| {
        if moments.mean() > 0.0 {
            moments.standard_deviation() / (moments.mean() * repeats.sqrt())
        } else {
            0.0
        }
    };
    let within = runs
        .iter()
        .map(|run| run.summary.coefficient_of_variation.powi(2))
        .sum::<f64>();
    let within = (within / repeats).sqrt() / repeats.sqrt();
    let t = student_quantile(repeats - 1.0, 0.5 * (1.0 + settings.confidence));
    let factor = (t * variation(&bounds).max(within)).exp();
    let probability = estimates.mean();
    let (low, high) = if runs
        .iter()
        .all(|run| reached(run) && run.summary.levels.len() == 1)
    {
        // Not rare: one level of independent samples, so the count says it all, and says
        // it also when all repeats agree.
        let failing = runs.iter().map(|run| run.first_level.0).sum();
        let trials = runs.iter().map(|run| run.first_level.1).sum();
        let exact = clopper_pearson(failing, trials, settings.confidence)?;
        (exact.low, exact.high)
    } else {
        let low = if runs.iter().all(reached) {
            probability / factor
        } else {
            0.0
        };
        (low, (bounds.mean() * factor).min(1.0))
    };
    let failing: usize = runs.iter().map(|run| run.failing).sum();
    let without: usize = runs.iter().map(|run| run.failing_without_value).sum();
    let mut estimate = SubsetEstimate {
        probability,
        low,
        high,
        coefficient_of_variation: variation(&estimates),
        runs: Vec::with_capacity(runs.len()),
        evaluations: runs.iter().map(|run| run.evaluations).sum(),
        failed_evaluations: Vec::new(),
        failed_share: without as f64 / failing.max(1) as f64,
        failures: Vec::new(),
    };
    for run in runs {
        estimate.runs.push(run.summary);
        estimate.failed_evaluations.extend(run.failed);
        estimate.failures.extend(run.failures);
    }
    estimate
        .failures
        .sort_by(|a, b| radius(a).total_cmp(&radius(b)));
    // A chain that stays where it is has the same point many times.
    estimate.failures.dedup();
    Ok(estimate)
}
