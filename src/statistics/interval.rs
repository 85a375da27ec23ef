//! What k successes in n trials say about a probability, and n values about a mean.
//!
//! Independent (plain) draws: [`wilson`], [`clopper_pearson`] or [`jeffreys`]. Latin
//! hypercube and Sobol points are not independent of each other, so only the scatter
//! between independent replicates says how far off they are: [`from_replicates`].

use super::error::StatisticsError;
use super::incomplete_beta::{quantile_pair, student_quantile};
use super::running::RunningMoments;
use super::standard_normal;

/// How an interval was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum IntervalBasis {
    /// Score interval of Wilson.
    Wilson,
    /// Exact interval of Clopper and Pearson.
    Exact,
    /// Bayes interval with Jeffreys' prior.
    Jeffreys,
    /// Student t over the means of replicates.
    Replicates,
    /// Exact interval in place of a replicate one, because too few events (or too few
    /// non-events) were seen for the scatter between replicates to mean anything.
    ExactForFewEvents,
}

/// An estimate of a probability and its interval, within 0..=1.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct ProportionInterval {
    /// Successes over trials.
    pub estimate: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Confidence that the interval was made for.
    pub confidence: f64,
    /// How it was made.
    pub basis: IntervalBasis,
}

impl ProportionInterval {
    /// Distance from the estimate to the farther limit: the "plus or minus" that is safe
    /// to quote.
    pub fn half_width(&self) -> f64 {
        (self.high - self.estimate).max(self.estimate - self.low)
    }
}

/// An estimate of a mean and its interval.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct MeanInterval {
    /// Mean of the sample.
    pub estimate: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// Successes and trials of one replicate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Count {
    /// Trials that succeeded.
    pub successes: u64,
    /// Trials made.
    pub trials: u64,
}

/// Checks a confidence.
pub(super) fn check_confidence(confidence: f64) -> Result<(), StatisticsError> {
    if confidence > 0.0 && confidence < 1.0 {
        Ok(())
    } else {
        Err(StatisticsError::NotAProbability {
            what: "confidence",
            value: confidence,
        })
    }
}

fn check(successes: u64, trials: u64, confidence: f64) -> Result<(), StatisticsError> {
    check_confidence(confidence)?;
    if trials == 0 {
        return Err(StatisticsError::NoTrials);
    }
    if successes > trials {
        return Err(StatisticsError::Count { successes, trials });
    }
    Ok(())
}

/// Score interval: the p for which |k/n - p| <= z sqrt(p (1-p) / n).
///
/// Source: Wilson 1927, J. Am. Stat. Assoc. 22, 209; without continuity correction.
/// Its coverage is close to the nominal one on average but can fall a little below it.
///
/// # Errors
///
/// No trials, more successes than trials, or a confidence outside (0, 1).
pub fn wilson(
    successes: u64,
    trials: u64,
    confidence: f64,
) -> Result<ProportionInterval, StatisticsError> {
    check(successes, trials, confidence)?;
    let (k, n) = (successes as f64, trials as f64);
    let z = -standard_normal::quantile(0.5 * (1.0 - confidence));
    let square = z * z;
    let centre = (k + 0.5 * square) / (n + square);
    let half = z / (n + square) * (k * (n - k) / n + 0.25 * square).sqrt();
    Ok(ProportionInterval {
        estimate: k / n,
        // exactly 0 and 1 at the ends, where the formula leaves rounding
        low: if successes == 0 {
            0.0
        } else {
            (centre - half).max(0.0)
        },
        high: if successes == trials {
            1.0
        } else {
            (centre + half).min(1.0)
        },
        confidence,
        basis: IntervalBasis::Wilson,
    })
}

/// Exact interval: limits at which k or fewer, and k or more, have probability
/// (1 - confidence)/2. Never covers less than its confidence.
///
/// Source: Clopper & Pearson 1934, Biometrika 26, 404, in the beta form.
///
/// # Errors
///
/// As [`wilson`].
pub fn clopper_pearson(
    successes: u64,
    trials: u64,
    confidence: f64,
) -> Result<ProportionInterval, StatisticsError> {
    check(successes, trials, confidence)?;
    let (k, n) = (successes as f64, trials as f64);
    let tail = 0.5 * (1.0 - confidence);
    let low = if successes == 0 {
        0.0
    } else {
        quantile_pair(k, n - k + 1.0, tail).0
    };
    // mirrored, so that the upper tail keeps its digits
    let high = if successes == trials {
        1.0
    } else {
        quantile_pair(n - k, k + 1.0, tail).1
    };
    Ok(ProportionInterval {
        estimate: k / n,
        low,
        high,
        confidence,
        basis: IntervalBasis::Exact,
    })
}

/// Equal-tailed Bayes interval from the prior Beta(1/2, 1/2), with the limits 0 and 1
/// for no and for all successes.
///
/// Source: Brown, Cai & DasGupta 2001, Stat. Sci. 16, 101, section 3.1.2 and 4.1.2.
///
/// # Errors
///
/// As [`wilson`].
pub fn jeffreys(
    successes: u64,
    trials: u64,
    confidence: f64,
) -> Result<ProportionInterval, StatisticsError> {
    check(successes, trials, confidence)?;
    let (k, n) = (successes as f64, trials as f64);
    let tail = 0.5 * (1.0 - confidence);
    let low = if successes == 0 {
        0.0
    } else {
        quantile_pair(k + 0.5, n - k + 0.5, tail).0
    };
    let high = if successes == trials {
        1.0
    } else {
        quantile_pair(n - k + 0.5, k + 0.5, tail).1
    };
    let basis = IntervalBasis::Jeffreys;
    Ok(ProportionInterval {
        estimate: k / n,
        low,
        high,
        confidence,
        basis,
    })
}

/// Events, and non-events, per replicate below which the scatter between replicates is
/// too coarse for a t interval.
const EVENTS_PER_REPLICATE: u64 = 3;

/// Interval from independent replicates of points that are not independent within one.
///
/// Student t over the proportions of the replicates, clipped to 0..=1 (Owen 2013, Monte
/// Carlo theory, ch. 17.7). With few events most replicates agree by accident: with 0
/// failures in each of 16 replicates the scatter is zero and the t interval would be a
/// point, which claims certainty from ignorance; and with one failure in all it would
/// still stop short of chances that are quite possible. So unless both outcomes were
/// seen three times for each replicate on average, and the replicates do differ, the
/// answer is the exact interval of all trials as if they were independent. That errs
/// on the wide side: Latin hypercube (for responses additive in the inputs) and scrambled
/// nets have no larger variance, up to a constant near 1 (Stein 1987, Technometrics 29,
/// 143; Owen 1998, ACM Trans. Model. Comput. Simul. 8, 71).
///
/// # Errors
///
/// Fewer than two replicates, one without trials or with more successes than trials, or
/// a confidence outside (0, 1).
pub fn from_replicates(
    counts: &[Count],
    confidence: f64,
) -> Result<ProportionInterval, StatisticsError> {
    if counts.len() < 2 {
        let what = "replicates for an interval";
        return Err(StatisticsError::TooFew {
            what,
            count: counts.len(),
            needed: 2,
        });
    }
    let mut moments = RunningMoments::default();
    let (mut successes, mut trials) = (0, 0);
    for count in counts {
        check(count.successes, count.trials, confidence)?;
        moments.push(count.successes as f64 / count.trials as f64);
        successes += count.successes;
        trials += count.trials;
    }
    let exact = clopper_pearson(successes, trials, confidence)?;
    let enough = EVENTS_PER_REPLICATE * counts.len() as u64;
    let spread = moments.standard_deviation();
    // proportions that agree to rounding carry no information on the error
    if successes.min(trials - successes) < enough || spread <= 1e-12 {
        return Ok(ProportionInterval {
            basis: IntervalBasis::ExactForFewEvents,
            ..exact
        });
    }
    let replicates = counts.len() as f64;
    let t = student_quantile(replicates - 1.0, 0.5 * (1.0 + confidence));
    let half = t * spread / replicates.sqrt();
    let estimate = moments.mean();
    Ok(ProportionInterval {
        estimate,
        low: (estimate - half).max(0.0),
        high: (estimate + half).min(1.0),
        confidence,
        basis: IntervalBasis::Replicates,
    })
}

/// Student t interval of a mean of independent values (or of replicate means).
///
/// Exact for normal values, and good for the mean of any once n is some tens.
///
/// # Errors
///
/// Fewer than two values, or a confidence outside (0, 1).
pub fn mean(moments: &RunningMoments, confidence: f64) -> Result<MeanInterval, StatisticsError> {
    check_confidence(confidence)?;
    let count = moments.count();
    if count < 2 {
        let what = "values for the interval of a mean";
        return Err(StatisticsError::TooFew {
            what,
            count: count as usize,
            needed: 2,
        });
    }
    let n = count as f64;
    let t = student_quantile(n - 1.0, 0.5 * (1.0 + confidence));
    let half = t * moments.standard_deviation() / n.sqrt();
    let estimate = moments.mean();
    Ok(MeanInterval {
        estimate,
        low: estimate - half,
        high: estimate + half,
    })
}
