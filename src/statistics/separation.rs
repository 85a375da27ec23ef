//! Which input separates the trials that fail from those that pass, and in which direction.
//!
//! Law: the chance that a failing trial has the larger value of an input than a passing
//! one (ties count half) is A = U / (n_f n_p), with U the Mann-Whitney statistic; 1/2
//! says the input is blind, 1 that every failure lies above every success. Under no
//! difference U is nearly normal with variance n_f n_p/12 (N + 1 - sum(t^3 - t)/(N (N-1))),
//! t the sizes of groups of equal values. Source: Mann & Whitney 1947, Ann. Math. Stat.
//! 18, 50; Lehmann 1975, Nonparametrics, 1.2-1.4 (ties, continuity correction).
//!
//! Failures at both ends of an input leave A at 1/2, so the same test is made on the
//! distance of each value's rank from the middle (Siegel-Tukey's question, with
//! Mann-Whitney's answer).

use super::error::StatisticsError;
use super::standard_normal;
use std::cmp::Ordering;

/// Where failing trials lie relative to passing ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Failures have smaller values.
    Low,
    /// Failures have larger values.
    High,
    /// Failures lie at both ends.
    Outside,
    /// Failures lie in the middle.
    Inside,
}

/// How well one input tells failures from successes.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Separation {
    /// Position of the input among those given.
    pub input: usize,
    /// Where the failures lie.
    pub direction: Direction,
    /// Chance (1/2 to 1) that a failing trial lies further in that direction than a
    /// passing one.
    pub strength: f64,
    /// Two-sided p-value for "no difference", corrected (Bonferroni) for the two
    /// questions asked of each of the inputs. Normal approximation with continuity
    /// correction: conservative for a handful of failures.
    pub p_value: f64,
    /// Median of the input among failing trials.
    pub median_failing: f64,
    /// Median of the input among passing trials.
    pub median_passing: f64,
    /// For an input of few values, whose medians say nothing: the value that failures have in common.
    pub telling: Option<TellingValue>,
}

/// A value of an input of few values that failing trials have more often than passing ones.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct TellingValue {
    /// The value.
    pub value: f64,
    /// Share (0 to 1) of the failing trials that have it.
    pub share_failing: f64,
    /// Share (0 to 1) of the passing trials that have it.
    pub share_passing: f64,
}

/// Most different values of an input of few values.
const FEW: usize = 16;

/// Ranks the inputs by how well they separate failures from successes, best first.
///
/// `inputs` are the columns: one list of values for each input; `failed` says for each
/// trial whether it failed.
///
/// # Errors
///
/// Columns of another length than `failed`, a value that is not finite, or no failing or
/// no passing trial.
pub fn separate<C: AsRef<[f64]>>(
    inputs: &[C],
    failed: &[bool],
) -> Result<Vec<Separation>, StatisticsError> {
    let failing = failed.iter().filter(|failed| **failed).count();
    let passing = failed.len() - failing;
    for (what, count) in [("failing trials", failing), ("passing trials", passing)] {
        if count == 0 {
            return Err(StatisticsError::TooFew {
                what,
                count,
                needed: 1,
            });
        }
    }
    let questions = 2.0 * inputs.len() as f64;
    let mut found = Vec::with_capacity(inputs.len());
    for (input, column) in inputs.iter().enumerate() {
        let values = column.as_ref();
        if values.len() != failed.len() {
            let what = "values of an input and trials";
            let (left, right) = (values.len(), failed.len());
            return Err(StatisticsError::LengthMismatch { what, left, right });
        }
        if let Some((index, &value)) = values.iter().enumerate().find(|(_, v)| !v.is_finite()) {
            return Err(StatisticsError::NotFinite {
                what: "values of an input",
                index,
                value,
            });
        }
        let ranks = ranks(values);
        let location = mann_whitney(&ranks, failed);
        let middle = 0.5 * (failed.len() as f64 + 1.0);
        let distances: Vec<f64> = ranks.iter().map(|rank| (rank - middle).abs()).collect();
        let spread = mann_whitney(&self::ranks(&distances), failed);
        let (test, above, below) = if spread.p_value < location.p_value {
            (spread, Direction::Outside, Direction::Inside)
        } else {
            (location, Direction::High, Direction::Low)
        };
        let of = |wanted: bool| {
            let pairs = values.iter().zip(failed);
            median(
                pairs
                    .filter(|(_, failed)| **failed == wanted)
                    .map(|(value, _)| *value),
            )
        };
        found.push(Separation {
            input,
            direction: if test.area >= 0.5 { above } else { below },
            strength: test.area.max(1.0 - test.area),
            p_value: (test.p_value * questions).min(1.0),
            median_failing: of(true),
            median_passing: of(false),
            telling: telling(values, failed),
        });
    }
    // p-values of strong separations underflow to 0; then the strength decides
    found.sort_by(|left, right| {
        let by_p = left.p_value.total_cmp(&right.p_value);
        let by_strength = right.strength.total_cmp(&left.strength);
        by_p.then(by_strength).then(left.input.cmp(&right.input))
    });
    Ok(found)
}

/// The value whose share among failing trials exceeds that among passing ones by most; `None` if there are more than
/// [`FEW`] different ones.
fn telling(values: &[f64], failed: &[bool]) -> Option<TellingValue> {
    let mut counts: Vec<(f64, [f64; 2])> = Vec::new();
    let mut totals = [0.0; 2];
    for (value, failed) in values.iter().zip(failed) {
        let group = usize::from(!failed);
        totals[group] += 1.0;
        let place = match counts.iter().position(|(known, _)| known == value) {
            Some(place) => place,
            None if counts.len() == FEW => return None,
            None => {
                counts.push((*value, [0.0; 2]));
                counts.len() - 1
            }
        };
        counts[place].1[group] += 1.0;
    }
    let shares = counts.into_iter().map(|(value, count)| TellingValue {
        value,
        share_failing: count[0] / totals[0],
        share_passing: count[1] / totals[1],
    });
    let excess = |found: &TellingValue| found.share_failing - found.share_passing;
    shares.max_by(|a, b| excess(a).total_cmp(&excess(b)))
}

/// Result of a Mann-Whitney test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannWhitney {
    /// U / (n_f n_p): chance that a marked value exceeds an unmarked one.
    pub area: f64,
    /// Two-sided p-value of the normal approximation.
    pub p_value: f64,
}

/// Mann-Whitney test of marked against unmarked `values` (both lists as long as each
/// other; NaN results if one group is empty).
pub fn mann_whitney(values: &[f64], marked: &[bool]) -> MannWhitney {
    let ranks = ranks(values);
    let count = ranks.len() as f64;
    let (mut sum, mut inside) = (0.0, 0.0);
    for (rank, marked) in ranks.iter().zip(marked) {
        if *marked {
            sum += rank;
            inside += 1.0;
        }
    }
    let outside = count - inside;
    let u = sum - 0.5 * inside * (inside + 1.0);
    let mut sorted = ranks.clone();
    sorted.sort_by(f64::total_cmp);
    let ties: f64 = sorted
        .chunk_by(|left, right| left == right)
        .map(|group| (group.len() as f64).powi(3) - group.len() as f64)
        .sum();
    let spread = count + 1.0 - ties / (count * (count - 1.0));
    let deviation = (inside * outside / 12.0 * spread).sqrt();
    let excess = ((u - 0.5 * inside * outside).abs() - 0.5).max(0.0);
    let p_value = if deviation > 0.0 {
        2.0 * standard_normal::exceedance(excess / deviation)
    } else {
        1.0
    };
    MannWhitney {
        area: u / (inside * outside),
        p_value: p_value.min(1.0),
    }
}

/// Ranks from 1; equal values share the mean of theirs.
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<(f64, usize)> = values
        .iter()
        .enumerate()
        .map(|(index, value)| (*value, index))
        .collect();
    order.sort_by(|left, right| left.0.total_cmp(&right.0));
    let mut ranks = vec![0.0; values.len()];
    let mut start = 0;
    for group in order.chunk_by(|l, r| l.0.partial_cmp(&r.0) == Some(Ordering::Equal)) {
        let shared = start as f64 + 0.5 * (group.len() as f64 + 1.0);
        for (_, index) in group {
            if let Some(rank) = ranks.get_mut(*index) {
                *rank = shared;
            }
        }
        start += group.len();
    }
    ranks
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut list: Vec<f64> = values.collect();
    list.sort_by(f64::total_cmp);
    super::percentile::of_sorted(&list, 0.5)
}
