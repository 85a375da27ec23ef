//! What a report of the odds is made of, and the sentences that text and pictures share.

use crate::design::Input;
use crate::statistics::interval::IntervalBasis;
use crate::statistics::separation::{Direction, Separation, TellingValue};
use crate::statistics::{Distribution, SamplingMethod, standard_normal};
use crate::study::band::PressureBand;
use crate::study::drivers::Drivers;
use crate::study::tally::Quantity;
use crate::study::{Chance, Odds};
use crate::units::{Dimension, UnitSystem, format, significant};

/// An uncertain value as a report needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct InputName {
    /// Where it is written in the design.
    pub path: String,
    /// What it measures; `None` where the design is not at hand.
    pub dimension: Option<Dimension>,
    /// For a choice among words, the words.
    pub words: Vec<String>,
    /// What it may be; `None` where the design is not at hand.
    pub distribution: Option<Distribution>,
}

impl InputName {
    /// An input of a design.
    #[must_use]
    pub fn of(input: &Input) -> Self {
        Self {
            path: input.path.clone(),
            dimension: Some(input.dimension),
            words: input.words.clone(),
            distribution: Some(input.distribution.clone()),
        }
    }

    /// An input of which only the name is known.
    #[must_use]
    pub fn bare(path: &str) -> Self {
        Self {
            path: path.to_owned(),
            dimension: None,
            words: Vec::new(),
            distribution: None,
        }
    }

    /// How far out a value lies among those it may have, in standard deviations of a normal value
    /// as far out; 0 where that is not known.
    #[must_use]
    pub fn deviation(&self, value: f64) -> f64 {
        self.distribution
            .as_ref()
            .filter(|distribution| !distribution.is_discrete())
            .map(|distribution| standard_normal::quantile(distribution.cumulative(value)))
            .filter(|deviation| deviation.is_finite())
            .unwrap_or(0.0)
    }

    /// Whether it is a choice, among words or numbers.
    #[must_use]
    pub fn is_choice(&self) -> bool {
        !self.words.is_empty() || matches!(self.distribution, Some(Distribution::Discrete { .. }))
    }

    /// A value of it for people.
    #[must_use]
    pub fn value(&self, value: f64, units: UnitSystem) -> String {
        if !self.words.is_empty() {
            let word = self.words.get(value.max(0.0).round() as usize);
            return word.cloned().unwrap_or_else(|| significant(value));
        }
        match self.dimension {
            Some(dimension) => format(dimension, value, units),
            None => format!("{} (SI)", significant(value)),
        }
    }
}

/// Everything a report of the odds shows.
#[derive(Debug, Clone, Copy)]
pub struct OddsReport<'a> {
    /// Name of the design.
    pub name: &'a str,
    /// The answer.
    pub odds: &'a Odds,
    /// Inputs in their order.
    pub inputs: &'a [InputName],
    /// How trials were drawn.
    pub method: SamplingMethod,
    /// Independent replicates.
    pub replicates: u32,
    /// Seed.
    pub seed: u64,
    /// The command that shows one trial again, without its number.
    pub replay: &'a str,
    /// Wanted chance of success.
    pub wanted: Option<f64>,
    /// Whether some inputs are correlated.
    pub correlated: bool,
    /// Shares of the variance.
    pub drivers: Option<&'a Drivers>,
    /// Band of pressure curves.
    pub band: Option<&'a PressureBand>,
    /// Whether pins hold the nose; taken to where the design is not at hand.
    pub pinned: bool,
}

impl OddsReport<'_> {
    /// The name of a quantity in sentences; of a nose without pins no pins are spoken of.
    #[must_use]
    pub fn label(&self, quantity: Quantity) -> &'static str {
        match quantity {
            Quantity::PinsBreakTime if !self.pinned => "nose starts to move",
            other => other.label(),
        }
    }
}

/// Whether a wanted chance was shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// The whole interval lies at or above it.
    Yes,
    /// The whole interval lies below it.
    No,
    /// It lies inside the interval.
    Open,
}

impl Shown {
    /// Of a chance against the wanted one.
    #[must_use]
    pub fn of(chance: &Chance, wanted: f64) -> Self {
        if chance.low >= wanted {
            Shown::Yes
        } else if chance.high < wanted {
            Shown::No
        } else {
            Shown::Open
        }
    }
}

/// A chance with as many digits as the interval around it carries, and never so few that a chance
/// short of certainty reads as 100 % (or one above nothing as 0 %).
#[must_use]
pub fn percent(share: f64, resolution: f64) -> String {
    let shown = 100.0 * share;
    let mut decimals = if resolution > 0.0 {
        (1.0 - (100.0 * resolution).log10()).round().clamp(0.0, 8.0) as usize
    } else {
        1
    };
    let reads_certain = |decimals: usize| {
        let text = format!("{shown:.decimals$}");
        let read: f64 = text.parse().unwrap_or(shown);
        (read >= 100.0 && share < 1.0) || (read <= 0.0 && share > 0.0)
    };
    while decimals < 9 && reads_certain(decimals) {
        decimals += 1;
    }
    if share == 1.0 || share == 0.0 {
        decimals = 0;
    }
    format!("{shown:.decimals$} %")
}

/// "97.7 to 99.2 %".
#[must_use]
pub fn interval(low: f64, high: f64) -> String {
    let resolution = 0.5 * (high - low);
    let text = percent(low, resolution);
    let low = text.trim_end_matches(" %");
    format!("{low} to {}", percent(high, resolution))
}

/// The chance in one sentence that nobody reads as certainty.
#[must_use]
pub fn chance_sentence(odds: &Odds) -> String {
    let counts = odds.counts;
    let chance = &odds.chance;
    let limits = interval(chance.low, chance.high);
    if odds.failed() == 0 && counts.not_computed == 0 {
        return format!(
            "no failure in {} trials, so the chance of success is {} or more (95 % interval \
             {limits}); that it cannot fail is not shown",
            counts.trials,
            percent(chance.low, 1.0 - chance.low)
        );
    }
    if counts.successes == 0 && counts.not_computed == 0 {
        return format!(
            "no success in {} trials, so the chance of success is {} or less (95 % interval \
             {limits})",
            counts.trials,
            percent(chance.high, chance.high)
        );
    }
    let mut text = format!(
        "{} of {} trials succeed: chance {} (95 % interval {limits})",
        counts.successes,
        counts.trials,
        percent(chance.estimate, chance.half_width())
    );
    if counts.not_computed > 0 {
        text += &format!(
            "; {} could not be computed and count as no success below, as success above",
            counts.not_computed
        );
    }
    text
}

/// A chance in a few characters: the bound alone where every trial ended alike, since "100 %" of some
/// trials would read as certainty.
#[must_use]
pub fn chance_in_short(chance: &Chance) -> String {
    if chance.estimate >= 1.0 {
        format!(">= {}", percent(chance.low, 1.0 - chance.low))
    } else if chance.estimate <= 0.0 {
        format!("<= {}", percent(chance.high, chance.high))
    } else {
        percent(chance.estimate, chance.half_width())
    }
}

/// How the interval was made.
#[must_use]
pub fn basis(chance: &Chance, method: SamplingMethod, replicates: u32) -> String {
    let points = match method {
        SamplingMethod::Plain => "independent draws".to_owned(),
        SamplingMethod::LatinHypercube => {
            format!("Latin hypercube draws in {replicates} independent replicates")
        }
        SamplingMethod::Sobol => {
            format!("scrambled Sobol draws in {replicates} independent replicates")
        }
    };
    let how = match chance.basis {
        IntervalBasis::Replicates => "interval from the scatter between them (Student t)",
        IntervalBasis::ExactForFewEvents => {
            "too few failures for the scatter between them to say anything: exact binomial interval"
        }
        IntervalBasis::Exact => "exact binomial interval (Clopper-Pearson)",
        IntervalBasis::Wilson => "score interval (Wilson)",
        IntervalBasis::Jeffreys => "Bayes interval (Jeffreys)",
    };
    format!("{points}; {how}")
}

/// The value of a choice that failures have in common; `None` for an input that is no choice.
#[must_use]
pub fn telling_choice(found: &Separation, input: &InputName) -> Option<TellingValue> {
    found.telling.filter(|_| input.is_choice())
}

/// What one input has to do with a kind of failure: "shared.soak low: ...", or of a choice "mixed in 80 % of failures, ...".
#[must_use]
pub fn separation(found: &Separation, input: &InputName, units: UnitSystem) -> String {
    if let Some(telling) = telling_choice(found, input) {
        return format!(
            "{}: {} in {} of failures, {} of successes (told apart {} of the time)",
            input.path,
            input.value(telling.value, units),
            percent(telling.share_failing, 0.05),
            percent(telling.share_passing, 0.05),
            percent(found.strength, 0.05)
        );
    }
    let direction = match found.direction {
        Direction::Low => "low",
        Direction::High => "high",
        Direction::Outside => "far from the middle",
        Direction::Inside => "near the middle",
    };
    format!(
        "{} {direction}: median {} in failures, {} in successes (told apart {} of the time)",
        input.path,
        input.value(found.median_failing, units),
        input.value(found.median_passing, units),
        percent(found.strength, 0.05)
    )
}

/// First criterion in words with its count: "exit speed too low (9 trials)".
#[must_use]
pub fn leading_failure(odds: &Odds) -> Option<String> {
    odds.failures
        .iter()
        .filter(|failure| failure.first > 0)
        .max_by_key(|failure| failure.first)
        .map(|failure| format!("{} ({})", failure.kind.failure(), failure.first))
}
