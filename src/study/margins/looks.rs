//! How many trials a point of a sweep needs: looks at the running chance, each with an interval so
//! wide that all of them together hold at the stated confidence.

use crate::statistics::{SamplingMethod, StatisticsError};
use crate::study::chance::{CONFIDENCE, trials_to_show_at};

/// Trials before the first look.
const FIRST: u64 = 64;
/// Share of error spent on all early looks, which show what is far from the wanted chance.
const EARLY: f64 = 0.005;
/// Share of error spent on the look at which trials without a failure show the wanted chance.
const SHOW: f64 = 0.02;

/// A look at the running chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// After how many trials.
    pub trials: u64,
    /// Confidence of the interval that is then made.
    pub confidence: f64,
}

/// When to look, and with which confidence, for at most `trials` trials against a wanted level.
///
/// Whatever look ends a point, its interval covers the true chance with at least
/// [`CONFIDENCE`]: the shares of error of all looks add up to what that leaves (Bonferroni). Only
/// plain draws can be looked at early; points of the other samplers belong together.
///
/// # Errors
/// A level outside (0, 1).
pub fn looks(
    trials: u64,
    level: Option<f64>,
    method: SamplingMethod,
) -> Result<Vec<Look>, StatisticsError> {
    let all = |confidence| Look { trials, confidence };
    let Some(level) = level.filter(|_| method == SamplingMethod::Plain) else {
        return Ok(vec![all(CONFIDENCE)]);
    };
    let show = trials_to_show_at(level, 1.0 - SHOW)?.max(FIRST);
    let has_show = show < trials;
    let early: Vec<u64> = (0..u64::BITS)
        .map_while(|doubling| FIRST.checked_shl(doubling).filter(|n| *n < trials))
        .filter(|n| *n != show)
        .collect();
    let mut left = 1.0 - CONFIDENCE;
    let mut looks = Vec::with_capacity(early.len() + 2);
    let each = EARLY / early.len().max(1) as f64;
    for trials in early {
        left -= each;
        let confidence = 1.0 - each;
        looks.push(Look { trials, confidence });
    }
    if has_show {
        left -= SHOW;
        looks.push(Look {
            trials: show,
            confidence: 1.0 - SHOW,
        });
    }
    looks.push(all(1.0 - left));
    looks.sort_by_key(|look| look.trials);
    Ok(looks)
}
