//! The chance of success with an interval that is honest for the sampler and for trials that could
//! not be computed.

use crate::statistics::interval::{Count, IntervalBasis, clopper_pearson, from_replicates};
use crate::statistics::{ProportionInterval, SamplingMethod, StatisticsError};

/// Confidence of every interval of a study.
pub const CONFIDENCE: f64 = 0.95;

/// What the trials of one replicate came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReplicateCount {
    /// Trials that met every criterion.
    pub successes: u64,
    /// Trials whose computation failed.
    pub not_computed: u64,
    /// All trials.
    pub trials: u64,
}

/// A chance and its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// Successes over all trials: one that could not be computed is no success.
    pub estimate: f64,
    /// Lower limit, with every trial that could not be computed taken as a failure.
    pub low: f64,
    /// Upper limit, with every one of them taken as a success.
    pub high: f64,
    /// How the interval was made.
    pub basis: IntervalBasis,
}

impl Chance {
    /// Chance from the counts of independent replicates; the plain method has one.
    ///
    /// Plain draws get the exact interval of Clopper and Pearson, which never covers less than
    /// its confidence; the others the scatter of their replicates, or the exact interval where
    /// events are few ([`from_replicates`]).
    ///
    /// # Errors
    /// No trials, or a single replicate of a method whose points are not independent.
    pub fn of(method: SamplingMethod, counts: &[ReplicateCount]) -> Result<Self, StatisticsError> {
        Self::with_confidence(method, counts, CONFIDENCE)
    }

    /// [`of`](Self::of) with an interval of another confidence.
    ///
    /// # Errors
    /// As [`of`](Self::of), and a confidence outside (0, 1).
    pub fn with_confidence(
        method: SamplingMethod,
        counts: &[ReplicateCount],
        confidence: f64,
    ) -> Result<Self, StatisticsError> {
        let interval = |good: fn(&ReplicateCount) -> u64| -> Result<_, StatisticsError> {
            let used = counts.iter().filter(|count| count.trials > 0);
            if method == SamplingMethod::Plain {
                let (k, n) = used.fold((0, 0), |(k, n), c| (k + good(c), n + c.trials));
                return clopper_pearson(k, n, confidence);
            }
            let counts: Vec<Count> = used
                .map(|count| Count {
                    successes: good(count),
                    trials: count.trials,
                })
                .collect();
            from_replicates(&counts, confidence)
        };
        let least: ProportionInterval = interval(|c| c.successes)?;
        let most = interval(|c| c.successes + c.not_computed)?;
        Ok(Self {
            estimate: least.estimate,
            low: least.low,
            high: most.high.max(least.high),
            basis: least.basis,
        })
    }

    /// Distance from the estimate to the farther limit.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        (self.high - self.estimate).max(self.estimate - self.low)
    }
}

/// Fewest trials that, all successful, show a chance of at least `level`.
///
/// # Errors
/// A level outside (0, 1).
pub fn trials_to_show(level: f64) -> Result<u64, StatisticsError> {
    trials_to_show_at(level, CONFIDENCE)
}

/// [`trials_to_show`] with an interval of another confidence.
///
/// # Errors
/// A level outside (0, 1).
pub fn trials_to_show_at(level: f64, confidence: f64) -> Result<u64, StatisticsError> {
    if !(level > 0.0 && level < 1.0) {
        return Err(StatisticsError::NotAProbability {
            what: "chance to show",
            value: level,
        });
    }
    // Clopper & Pearson's lower limit for n of n is (alpha/2)^(1/n).
    let tail: f64 = 0.5 * (1.0 - confidence);
    Ok((tail.ln() / level.ln()).ceil().min(1e18) as u64)
}
