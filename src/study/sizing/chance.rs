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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::spec::Ambient;
    use crate::statistics::stream::{hash, open_unit};

    fn nothing() -> (System, Criteria) {
        let system = System {
            vessels: Vec::new(),
            paths: Vec::new(),
            ambient: Ambient::constant(1e5, 290.0),
            nose: None,
            horizon: 1.0,
        };
        (system, Criteria::default())
    }

    /// A candidate whose trial fails with a probability; the system carries the draw.
    fn flips(probability: f64, seed: u64, trials: u64, wanted: Option<f64>) -> Chance {
        let draw = |index: u64| {
            let (mut system, criteria) = nothing();
            system.horizon = open_unit(hash(seed, &[index]));
            Ok((system, criteria))
        };
        let verdict = |system: &System, _: &Criteria| {
            Ok((system.horizon > probability).then(|| "late".to_owned()))
        };
        let settings = ChanceSettings {
            trials,
            seed,
            confidence: 0.95,
        };
        chance(Case::Cold, &draw, &verdict, &settings, wanted, &|| false).expect("not stopped")
    }

    #[test]
    fn a_hopeless_candidate_costs_few_trials() {
        let spent: u64 = (0..200)
            .map(|seed| flips(0.5, seed, 600, Some(0.99)).trials)
            .sum();
        assert!(spent < 200 * 20, "{spent} trials for 200 candidates");
    }

    /// Two rules stop early. One is exact; the other is wrong with a stated chance, which shows
    /// as candidates that would have been shown good and were given up.
    #[test]
    fn a_good_candidate_is_hardly_ever_given_up() {
        let (mut good, mut lost) = (0, 0);
        for seed in 0..400 {
            let whole = flips(0.95, seed, 400, None);
            if whole.low >= 0.9 {
                good += 1;
                lost += u32::from(flips(0.95, seed, 400, Some(0.9)).stopped_early);
            }
        }
        assert!(good > 300, "{good} of 400 are shown good");
        // Six looks at one in a thousand each.
        assert!(
            f64::from(lost) <= 0.012 * f64::from(good),
            "{lost} of {good} given up"
        );
    }

    #[test]
    fn trials_are_enough_to_show_what_is_asked() {
        for wanted in [0.5, 0.9, 0.99, 0.999] {
            let settings = ChanceSettings::for_chance(Some(wanted), 1);
            let one_failure = wilson(settings.trials - 1, settings.trials, settings.confidence)
                .expect("an interval");
            assert!(one_failure.low >= wanted, "{wanted}: {}", one_failure.low);
        }
    }

    #[test]
    fn what_cannot_be_computed_is_no_success() {
        let settings = ChanceSettings {
            trials: 40,
            seed: 1,
            confidence: 0.95,
        };
        let draw = |index: u64| match index % 4 {
            0 => Err("a cartridge filled beyond its volume".to_owned()),
            _ => Ok(nothing()),
        };
        let found = chance(Case::Hot, &draw, &|_, _| Ok(None), &settings, None, &|| {
            false
        })
        .expect("not stopped");
        assert_eq!(
            (found.trials, found.successes, found.not_computed),
            (40, 30, 10)
        );
        assert!(
            chance(Case::Hot, &draw, &|_, _| Ok(None), &settings, None, &|| {
                true
            })
            .is_none()
        );
    }
}
