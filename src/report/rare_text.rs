//! A rare failure as text and as JSON: how rare, and the likeliest combination in plain words.

use serde_json::{Map, Value, json};

use crate::statistics::subset_simulation::SubsetSettings;
use crate::study::CriterionKind;
use crate::study::rare::{Combination, RareFailure, Way};
use crate::units::{Dimension, UnitSystem, format, format_percent, significant};

use super::ReportError;
use super::odds::{InputName, Shown, percent};
use super::odds_text::CAUTION;
use super::terminal::{Detail, FAIL, HEADING, PASS, WARNING, bullet, columns, heading};

/// Share of the distance from which an input is worth naming.
const WORTH_NAMING: f64 = 0.03;
/// Chance from which percents read better than powers of ten.
const PERCENT_FROM: f64 = 0.001;
/// Chance from which plain draws tell more.
const NOT_RARE: f64 = 0.02;
/// Most inputs in the sentence, and in that of a way that is not the likeliest.
const MOST_NAMED: usize = 4;
const FEW_NAMED: usize = 2;
/// Most ways told beside the likeliest, and the share of the first-order chance from which one is worth telling.
const MOST_WAYS: usize = 4;
const WORTH_TELLING: f64 = 0.01;
/// Distance from which it is told that a nearer failure may have been missed [standard deviations].
const ROUGH: f64 = 0.02;
/// Share of the failures seen from which ways stand for all.
const NEARLY_ALL: f64 = 0.95;

/// Everything a report of a rare failure shows.
#[derive(Debug, Clone, Copy)]
pub struct RareReport<'a> {
    /// Name of the design.
    pub name: &'a str,
    /// What was found.
    pub found: &'a RareFailure,
    /// Inputs in their order.
    pub inputs: &'a [InputName],
    /// Their central values [SI].
    pub central: &'a [f64],
    /// Criteria in the order of a shot.
    pub kinds: &'a [CriterionKind],
    /// How the simulation was run.
    pub settings: &'a SubsetSettings,
    /// Wanted chance of success.
    pub wanted: Option<f64>,
}

/// Whether a wanted chance of success was shown.
#[must_use]
pub fn shown(found: &RareFailure, wanted: f64) -> Shown {
    if found.high <= 1.0 - wanted {
        Shown::Yes
    } else if found.low > 1.0 - wanted {
        Shown::No
    } else {
        Shown::Open
    }
}

/// The chance of failure in one sentence.
fn sentence(report: &RareReport<'_>) -> String {
    let found = report.found;
    // Limits are written as the estimate is.
    let alike = |limit: f64| {
        if found.probability >= PERCENT_FROM {
            percent(limit, 0.05 * limit)
        } else {
            format!("{limit:.1e}")
        }
    };
    if found.reached() {
        format!(
            "chance of failure {} (95 % interval {} to {}), one in {:.0}",
            rare(found.probability),
            alike(found.low),
            alike(found.high),
            (1.0 / found.probability).round()
        )
    } else if found.probability > 0.0 {
        format!(
            "chance of failure about {}, at most {} (95 %); not every repeat reached a failure",
            rare(found.probability),
            rare(found.high)
        )
    } else {
        format!(
            "no failure was reached: its chance is at most {} (95 %), if the way there is not \
             hidden from every repeat",
            rare(found.high)
        )
    }
}

/// A small probability.
fn rare(probability: f64) -> String {
    if probability >= PERCENT_FROM {
        percent(probability, 0.05 * probability)
    } else {
        format!("{probability:.1e}")
    }
}

/// The answer, first line first.
#[must_use]
pub fn text(report: RareReport<'_>, units: UnitSystem, detail: Detail) -> String {
    let name = report.name;
    let sentence = sentence(&report);
    let mut out = match report.wanted {
        None => {
            let shown = rare(if report.found.reached() {
                report.found.probability
            } else {
                report.found.high
            });
            format!("{HEADING}{shown}{HEADING:#}  {name}: {sentence}\n")
        }
        Some(wanted) => {
            let (style, word, what) = match shown(report.found, wanted) {
                Shown::Yes => (PASS, "PASS", "is shown"),
                Shown::No => (FAIL, "FAIL", "is not reached"),
                Shown::Open => (WARNING, "OPEN", "is neither shown nor ruled out"),
            };
            let wanted = format_percent(wanted);
            format!("{style}{word}{style:#}  {name}: success of {wanted} {what}; {sentence}\n")
        }
    };
    if detail == Detail::Verdict {
        return out;
    }
    if report.found.low > NOT_RARE {
        let much = "That is not rare: `odds` without --rare tells more, sooner.";
        bullet(&mut out, "      ", much);
    }
    if let Some(combination) = &report.found.combination {
        likeliest(&mut out, &report, combination, units);
    }
    other_ways(&mut out, &report, units);
    check(&mut out, &report);
    heading(&mut out, "How to read this");
    let found = report.found;
    bullet(
        &mut out,
        "  - ",
        &format!(
            "Subset simulation on the smallest margin: {} repeats of {} samples a level, seed {}, \
             {} trials in all; the interval is that of the scatter between repeats. Trials \
             that cannot be computed count as failures ({} of the failing samples).",
            found.runs.len(),
            report.settings.samples,
            report.settings.seed,
            found.evaluations,
            percent(found.not_computed_share, 0.005)
        ),
    );
    bullet(&mut out, "  - ", CAUTION);
    bullet(
        &mut out,
        "  - ",
        "So small a chance rests on the far tails of the spreads in the file, which nobody has \
         measured: take it as a comparison between designs.",
    );
    out
}

fn likeliest(
    out: &mut String,
    report: &RareReport<'_>,
    combination: &Combination,
    units: UnitSystem,
) {
    heading(out, "The likeliest way to fail");
    bullet(
        out,
        "  ",
        &plain_words(report, combination, units, MOST_NAMED),
    );
    let shares = combination.shares();
    let mut order: Vec<usize> = (0..shares.len()).collect();
    let share = |input: usize| shares.get(input).copied().unwrap_or(0.0);
    order.sort_by(|a, b| share(*b).total_cmp(&share(*a)));
    let mut rows = vec![
        ["", "there", "usual", "sd off", "share"]
            .map(str::to_owned)
            .to_vec(),
    ];
    for input in order.into_iter().filter(|i| share(*i) >= 0.01) {
        let (Some(name), Some(value), Some(central), Some(normal)) = (
            report.inputs.get(input),
            combination.values.get(input),
            report.central.get(input),
            combination.normals.get(input),
        ) else {
            continue;
        };
        rows.push(vec![
            name.path.clone(),
            name.value(*value, units),
            name.value(*central, units),
            format!("{normal:+.1}"),
            format!("{:.0} %", 100.0 * share(input)),
        ]);
    }
    columns(out, &rows);
}

/// "exit speed too low, with shared.soak 4.0 K colder than usual, ...": at most `most` inputs, beside the choices.
#[must_use]
pub fn plain_words(
    report: &RareReport<'_>,
    combination: &Combination,
    units: UnitSystem,
    most: usize,
) -> String {
    let fails = combination
        .criterion
        .and_then(|criterion| report.kinds.get(criterion))
        .map_or_else(|| "it fails".to_owned(), CriterionKind::failure);
    let shares = combination.shares();
    let words = |place: usize| {
        let (value, central) = (combination.values.get(place)?, report.central.get(place)?);
        Some(deviation(
            report.inputs.get(place)?,
            *value,
            *central,
            units,
        ))
    };
    let mut named: Vec<(f64, usize)> = shares
        .iter()
        .enumerate()
        .filter(|(_, share)| **share >= WORTH_NAMING)
        .map(|(place, share)| (*share, place))
        .collect();
    named.sort_by(|a, b| b.0.total_cmp(&a.0));
    named.truncate(most);
    let choices = combination.held.iter().copied();
    let what: Vec<String> = named
        .into_iter()
        .map(|(_, place)| place)
        .chain(choices)
        .filter_map(words)
        .collect();
    if what.is_empty() {
        return format!("{fails}, next to the usual values");
    }
    format!(
        "{fails}, with {} ({} standard deviations from the usual in all)",
        what.join(", "),
        significant(combination.distance)
    )
}

/// The ways to fail that are not the likeliest, each with its first-order chance.
fn other_ways(out: &mut String, report: &RareReport<'_>, units: UnitSystem) {
    let Ok(found) = &report.found.ways else {
        return;
    };
    let worth = |way: &&Way| way.probability() >= WORTH_TELLING * found.probability;
    let others: Vec<&Way> = found.ways.iter().skip(1).filter(worth).collect();
    if others.is_empty() {
        return;
    }
    heading(out, "Other ways to fail, by first order");
    for way in others.into_iter().take(MOST_WAYS) {
        let words = plain_words(report, &way.combination, units, FEW_NAMED);
        bullet(
            out,
            "  - ",
            &format!("{}: {words}", rare(way.probability())),
        );
    }
}

/// "shared.soak 4.0 K colder than usual (1.0 degC)".
fn deviation(input: &InputName, value: f64, central: f64, units: UnitSystem) -> String {
    let there = input.value(value, units);
    let path = &input.path;
    if !input.words.is_empty() {
        let usual = input.value(central, units);
        return if there == usual {
            format!("{path} {there} as usual")
        } else {
            format!("{path} {there} (usually {usual})")
        };
    }
    let Some(dimension) = input.dimension else {
        return format!("{path} {there}");
    };
    let more = value > central;
    let word = match dimension {
        Dimension::Temperature => ["colder", "warmer"],
        Dimension::Time | Dimension::SlewTime => ["shorter", "longer"],
        Dimension::Mass => ["lighter", "heavier"],
        Dimension::Length | Dimension::Area | Dimension::Volume => ["smaller", "larger"],
        Dimension::Force | Dimension::Stress => ["weaker", "stronger"],
        _ => ["lower", "higher"],
    };
    let word = if more { word[1] } else { word[0] };
    let size = format(dimension.difference(), (value - central).abs(), units);
    format!("{path} {size} {word} than usual ({there})")
}

fn check(out: &mut String, report: &RareReport<'_>) {
    let found = report.found;
    heading(out, "Cross-check by design points");
    let (ways, first) = match &found.ways {
        Ok(ways) => match ways.ways.first() {
            Some(first) => (ways, first),
            None => return,
        },
        Err(reason) => {
            let none = format!(
                "None: {reason}. The combination above is the likeliest failure that was seen."
            );
            return bullet(out, "  ", &none);
        }
    };
    let verdict = if ways.probability >= found.low && ways.probability <= found.high {
        "inside the interval: nearly flat edges explain it"
    } else if ways.probability < found.low {
        "below the interval: edges bend towards the usual values, or there are other ways to fail"
    } else {
        "above the interval: edges bend away from the usual values"
    };
    let index = significant(first.reliability_index());
    let all = rare(ways.probability);
    bullet(
        out,
        "  ",
        &match ways.ways.len() {
            1 => format!("Reliability index {index}: first order says {all}, {verdict}."),
            several => format!(
                "Reliability index {index} of the likeliest way, {}; first order over {several} ways says {all}, \
                 {verdict}.",
                rare(first.probability())
            ),
        },
    );
    if first.point.doubt > ROUGH {
        bullet(
            out,
            "  ",
            &format!(
                "The edge is rough there: the search ended with nothing nearer found, and slopes would have a \
                 failure up to {} standard deviations nearer.",
                significant(first.point.doubt)
            ),
        );
    }
    if ways.looked_into < NEARLY_ALL {
        bullet(
            out,
            "  ",
            &format!(
                "Choices with {} of the failures seen were not looked into: first order is too low by about as much.",
                percent(1.0 - ways.looked_into, 0.005)
            ),
        );
    }
}

/// The answer as one JSON document, in SI.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn document(report: RareReport<'_>) -> Result<String, ReportError> {
    let found = report.found;
    let verdict = report.wanted.map(|wanted| match shown(found, wanted) {
        Shown::Yes => "pass",
        Shown::No => "fail",
        Shown::Open => "open",
    });
    let values = |values: &[f64]| -> Map<String, Value> {
        report
            .inputs
            .iter()
            .zip(values)
            .map(|(input, value)| (input.path.clone(), json!(value)))
            .collect()
    };
    let way = |way: &Way| {
        let there = &way.combination;
        json!({
            "words": plain_words(&report, there, UnitSystem::Metric, MOST_NAMED),
            "criterion": there.criterion.and_then(|c| report.kinds.get(c)).map(CriterionKind::name),
            "chance_of_choices": way.chance_of_choices,
            "reliability_index": way.reliability_index(),
            "distance": there.distance,
            "doubt": way.point.doubt,
            "first_order_probability": way.probability(),
            "inputs": values(&there.values),
            "standard_deviations": values(&there.normals),
        })
    };
    let document = json!({
        "design": report.name,
        "verdict": verdict,
        "wanted_chance": report.wanted,
        "failure_probability": {
            "estimate": found.probability,
            "low": found.low,
            "high": found.high,
            "confidence": report.settings.confidence,
            "every_repeat_reached": found.reached(),
        },
        "seed": report.settings.seed,
        "samples_a_level": report.settings.samples,
        "repeats": found.runs,
        "discharges": found.evaluations,
        "not_computed_share": found.not_computed_share,
        "first_order": found.ways.as_ref().ok().map(|ways| json!({
            "probability": ways.probability,
            "share_of_failures_looked_into": ways.looked_into,
            "ways": ways.ways.iter().map(way).collect::<Vec<_>>(),
        })),
        "first_order_error": found.ways.as_ref().err(),
        "likeliest_failure": found.combination.as_ref().map(|there| json!({
            "words": plain_words(&report, there, UnitSystem::Metric, MOST_NAMED),
            "criterion": there.criterion.and_then(|c| report.kinds.get(c)).map(CriterionKind::name),
            "distance": there.distance,
            "smallest_margin": there.margin,
            "inputs": values(&there.values),
            "standard_deviations": values(&there.normals),
        })),
    });
    let mut text = serde_json::to_string_pretty(&document)?;
    text.push('\n');
    Ok(text)
}
