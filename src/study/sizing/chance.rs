//! The chance of success of one candidate at one temperature, given up early when hopeless.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::interval::{clopper_pearson, wilson};

use super::problem::Case;

/// How the chance is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChanceSettings {
    /// Trials at each temperature.
    pub trials: u64,
    /// Seed; the same trials for every candidate.
    pub seed: u64,
    /// Confidence of the interval.
    pub confidence: f64,
}

impl ChanceSettings {
    /// Trials that can show a chance at 95 % confidence with one failure among them, at least 200.
    ///
    /// Law: Wilson's lower end for n - 1 of n exceeds p from about n = 6/(1 - p).
    #[must_use]
    pub fn for_chance(at_least: Option<f64>, seed: u64) -> Self {
        let trials = at_least.map_or(200.0, |wanted| (6.0 / (1.0 - wanted)).ceil().max(200.0));
        ChanceSettings {
            trials: trials as u64,
            seed,
            confidence: 0.95,
        }
    }
}

/// Successes among trials.
#[derive(Debug, Clone, PartialEq)]
pub struct Chance {
    /// At which temperature.
    pub case: Case,
    /// Trials that met every criterion.
    pub successes: u64,
    /// Trials made.
    pub trials: u64,
    /// Of these, trials that could not be computed; they are not successes.
    pub not_computed: u64,
    /// Lower end of Wilson's interval at the confidence asked for.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// Whether it was given up because it could no longer reach the chance wanted.
    pub stopped_early: bool,
    /// What failed first, and how often.
    pub failures: BTreeMap<String, u64>,
}

impl Chance {
    /// Share of successes [1].
    #[must_use]
    pub fn share(&self) -> f64 {
        self.successes as f64 / self.trials.max(1) as f64
    }
}

/// Confidence with which a candidate is called hopeless: one chance in a thousand of being wrong
/// at each look.
const HOPELESS: f64 = 0.998;
/// First look; each later one is twice as far.
const FIRST_LOOK: u64 = 16;

/// Outcome of a trial: `None` for a success, or what failed first.
type Verdict = Result<Option<String>, String>;

/// Runs the trials of one candidate.
///
/// Trials go in doubling blocks. After each, the candidate is given up if even the upper end of
/// the exact interval (Clopper & Pearson 1934, at 99.8 %) lies below the chance wanted, or if the
/// failures already seen rule out that all trials together could show it.
/// `None` when told to stop.
pub(super) fn chance(
    case: Case,
    draw: &(dyn Fn(u64) -> Result<(System, Criteria), String> + Sync),
    verdict: &(dyn Fn(&System, &Criteria) -> Verdict + Sync),
    settings: &ChanceSettings,
    wanted: Option<f64>,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Chance> {
    let mut found = Chance {
        case,
        successes: 0,
        trials: 0,
        not_computed: 0,
        low: 0.0,
        high: 1.0,
        stopped_early: false,
        failures: BTreeMap::new(),
    };
    let mut look = FIRST_LOOK;
    while found.trials < settings.trials {
        let end = look.min(settings.trials);
        let block: Vec<Option<Verdict>> = (found.trials..end)
            .into_par_iter()
            .map(|index| {
                if stop() {
                    return None;
                }
                Some(draw(index).and_then(|(system, criteria)| verdict(&system, &criteria)))
            })
            .collect();
        for outcome in block {
            found.trials += 1;
            match outcome? {
                Ok(None) => found.successes += 1,
                Ok(Some(name)) => *found.failures.entry(name).or_default() += 1,
                Err(_) => {
                    found.not_computed += 1;
                    *found.failures.entry("not computed".to_owned()).or_default() += 1;
                }
            }
        }
        if let Some(wanted) = wanted
            && found.trials < settings.trials
            && hopeless(&found, wanted, settings)
        {
            found.stopped_early = true;
            break;
        }
        look *= 2;
    }
    if let Ok(interval) = wilson(found.successes, found.trials, settings.confidence) {
        found.low = interval.low;
        found.high = interval.high;
    }
    Some(found)
}

/// Whether the chance wanted is out of reach.
fn hopeless(found: &Chance, wanted: f64, settings: &ChanceSettings) -> bool {
    let seen = clopper_pearson(found.successes, found.trials, HOPELESS)
        .is_ok_and(|interval| interval.high < wanted);
    let failed = found.trials - found.successes;
    let best = settings.trials.saturating_sub(failed);
    let shown = wilson(best, settings.trials, settings.confidence)
        .is_ok_and(|interval| interval.low >= wanted);
    seen || !shown
}
