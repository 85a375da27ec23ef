//! How many tests without (or with few) failures demonstrate a reliability.
//!
//! Law: a test of n tries with at most f failures allowed demonstrates reliability R at
//! confidence C when sum_{i=0..f} C(n, i) (1-R)^i R^(n-i) <= 1 - C; for f = 0 that is
//! R^n <= 1 - C, the "success run". Source: Clopper & Pearson 1934; the number is exact,
//! not the chi-square approximation. Tries must be independent and alike.

use super::error::StatisticsError;
use super::incomplete_beta::{binomial_cumulative, quantile_pair};
use super::interval::check_confidence;

/// Fewest tests that demonstrate `reliability` at `confidence` if at most `failures` fail.
///
/// # Errors
///
/// A reliability or confidence outside (0, 1).
pub fn tests_needed(
    reliability: f64,
    confidence: f64,
    failures: u64,
) -> Result<u64, StatisticsError> {
    check_confidence(confidence)?;
    if !(reliability > 0.0 && reliability < 1.0) {
        return Err(StatisticsError::NotAProbability {
            what: "reliability",
            value: reliability,
        });
    }
    let enough = |n: u64| binomial_cumulative(failures, n, 1.0 - reliability) <= 1.0 - confidence;
    let (mut low, mut high) = (failures, failures + 1);
    while !enough(high) {
        low = high;
        high = high.saturating_mul(2);
        // reliability within 1e-15 of 1: beyond any campaign
        if high >= 1 << 60 {
            return Ok(high);
        }
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}

/// Reliability demonstrated at `confidence` by `tests` of which `failures` failed: the
/// one-sided exact lower limit; 0 if all failed.
///
/// # Errors
///
/// No tests, more failures than tests, or a confidence outside (0, 1).
pub fn demonstrated_reliability(
    tests: u64,
    failures: u64,
    confidence: f64,
) -> Result<f64, StatisticsError> {
    check_confidence(confidence)?;
    if tests == 0 {
        return Err(StatisticsError::NoTrials);
    }
    if failures > tests {
        return Err(StatisticsError::Count {
            successes: failures,
            trials: tests,
        });
    }
    if failures == tests {
        return Ok(0.0);
    }
    Ok(quantile_pair(
        (tests - failures) as f64,
        failures as f64 + 1.0,
        1.0 - confidence,
    )
    .0)
}
