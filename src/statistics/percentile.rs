//! Percentiles of a sample, with limits that assume nothing about its distribution.

use super::error::StatisticsError;
use super::incomplete_beta::binomial_cumulative;
use super::interval::check_confidence;

/// A percentile and its limits.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct PercentileInterval {
    /// Interpolated percentile of the sample.
    pub estimate: f64,
    /// Lower limit; none when the sample is too small to give one.
    pub low: Option<f64>,
    /// Upper limit; none when the sample is too small to give one.
    pub high: Option<f64>,
}

/// Sorts a copy of some values.
///
/// # Errors
///
/// [`StatisticsError::NotFinite`] for the first value that is not a finite number, or
/// [`StatisticsError::TooFew`] for an empty list.
pub fn sorted(values: &[f64]) -> Result<Vec<f64>, StatisticsError> {
    let what = "values of a percentile";
    if let Some((index, &value)) = values.iter().enumerate().find(|(_, v)| !v.is_finite()) {
        return Err(StatisticsError::NotFinite { what, index, value });
    }
    if values.is_empty() {
        return Err(StatisticsError::TooFew {
            what,
            count: 0,
            needed: 1,
        });
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    Ok(sorted)
}

/// The value a fraction `p` of the way through `sorted`, interpolated linearly between
/// order statistics at h = (n-1) p (Hyndman & Fan 1996, Am. Stat. 50, 361, type 7, the
/// default of most packages). NaN for an empty list; `p` is limited to 0..=1.
pub fn of_sorted(sorted: &[f64], p: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else {
        return f64::NAN;
    };
    let position = p.clamp(0.0, 1.0) * last as f64;
    let index = position.floor() as usize;
    let low = sorted.get(index).copied().unwrap_or(f64::NAN);
    let high = sorted.get(index + 1).copied().unwrap_or(low);
    low + (position - position.floor()) * (high - low)
}

/// Percentile `p` with the order statistics that bracket it.
///
/// The number of values below the true percentile is binomial(n, p), so the limits are
/// the order statistics X_(l), X_(u) with P(B < l) and P(B >= u) each at most
/// (1 - confidence)/2 (David & Nagaraja 2003, Order Statistics, 7.1). Holds for
/// independent draws; for Latin hypercube and Sobol points it is, as a rule, too wide.
///
/// # Errors
///
/// An empty list, or `p` or `confidence` outside (0, 1).
pub fn with_limits(
    sorted: &[f64],
    p: f64,
    confidence: f64,
) -> Result<PercentileInterval, StatisticsError> {
    check_confidence(confidence)?;
    if !(p > 0.0 && p < 1.0) {
        return Err(StatisticsError::NotAProbability {
            what: "percentile",
            value: p,
        });
    }
    if sorted.is_empty() {
        let what = "values of a percentile";
        return Err(StatisticsError::TooFew {
            what,
            count: 0,
            needed: 1,
        });
    }
    let n = sorted.len() as u64;
    let tail = 0.5 * (1.0 - confidence);
    // number of counts b = 0, 1, ... with P(B <= b) below a level
    let counts = |level: f64| {
        let (mut low, mut high) = (0, n + 1);
        while low < high {
            let middle = low + (high - low) / 2;
            if binomial_cumulative(middle, n, p) < level {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        low
    };
    // l: P(B <= l-1) <= tail. u: P(B <= u-1) >= 1 - tail. Both counted from 1.
    let lower = counts(tail.next_up());
    let upper = counts(1.0 - tail) + 1;
    Ok(PercentileInterval {
        estimate: of_sorted(sorted, p),
        low: lower
            .checked_sub(1)
            .and_then(|index| sorted.get(index as usize).copied()),
        high: sorted.get(upper as usize - 1).copied(),
    })
}
