//! The answer of a diagnosis in one line.

use std::fmt::Write;

use crate::study::diagnosis::{Cause, Diagnosis, Explanation, FittedValue};
use crate::units::{UnitSystem, format, format_percent};

use super::diagnosis::Report;
use super::wording;

/// Least probability of a rival that is worth a place in the line.
const WORTH_A_WORD: f64 = 0.01;

/// Cause, how sure, the number behind it, the margin. Of two causes that make the same hole the hole comes first: a
/// record is sure of that, and of no more.
#[must_use]
pub fn verdict(report: &Report<'_>, units: UnitSystem) -> String {
    let diagnosis = report.diagnosis;
    let shot = wording::verdict(report.fitted_shot, units);
    let Some(first) = diagnosis.verdict() else {
        let nearest = diagnosis.explanations.first().map_or(String::new(), |e| {
            format!("; nearest is {}{}", how_sure(e), numbers(e, units))
        });
        return format!(
            "none of these, {}: residuals this large or smooth come by chance in {} of tests{nearest}",
            sure(diagnosis.none),
            format_percent(diagnosis.goodness.p_value)
        );
    };
    let mut rivals = diagnosis
        .explanations
        .iter()
        .skip(1)
        .take_while(|rival| rival.probability >= WORTH_A_WORD)
        .peekable();
    let twin = rivals.next_if(|second| first.cause.twin() == Some(second.cause));
    let answer = match twin {
        Some(twin) => format!(
            "a hole in the bay, {} ({} {}, {} {}: alike in any record)",
            sure(first.probability + twin.probability),
            first.cause.label(),
            sure(first.probability),
            twin.cause.label(),
            sure(twin.probability)
        ),
        None => how_sure(first),
    };
    let rival = rivals
        .next()
        .map_or(String::new(), |rival| format!("; next {}", how_sure(rival)));
    let but = match first.cause {
        Cause::NothingWrong => strained(diagnosis, units),
        _ => None,
    };
    let but = but.map_or(String::new(), |value| format!(", but {value}"));
    // A fault of the sensor does nothing to the separation.
    let with = if first.cause.is_sensor() {
        "the sensor apart:"
    } else {
        "with it"
    };
    format!(
        "{answer}{}{but}{rival}; {with} {shot}",
        numbers(first, units)
    )
}

/// "static friction of the nose 241 N, 4.4 sd above the 41.0 N of the design", of the value of the likeliest explanation
/// that is farthest from what is believed of it, where one stands out.
pub(super) fn strained(diagnosis: &Diagnosis, units: UnitSystem) -> Option<String> {
    let strained = diagnosis.values.iter().filter(|v| v.is_strained());
    let farthest = strained.max_by(|a, b| a.shift.abs().total_cmp(&b.shift.abs()))?;
    let side = if farthest.shift > 0.0 {
        "above"
    } else {
        "below"
    };
    let show = |value| format(farthest.dimension, value, units);
    Some(format!(
        "{} {}, {:.1} sd {side} the {} of the design",
        farthest.label,
        show(farthest.value),
        farthest.shift.abs(),
        show(farthest.expected),
    ))
}

/// "seal leaking, 97 %".
fn how_sure(explanation: &Explanation) -> String {
    format!(
        "{}, {}",
        explanation.cause.label(),
        sure(explanation.probability)
    )
}

/// ": leak area 14.2 mm2 (12 .. 17 mm2), expected 1.5 mm2"; nothing where there is no fault.
fn numbers(explanation: &Explanation, units: UnitSystem) -> String {
    let mut text = String::new();
    for (index, fault) in explanation.faults.iter().enumerate() {
        let lead = if index == 0 { ": " } else { ", " };
        let _ = write!(text, "{lead}{} {}", fault.label, value(fault, units));
    }
    text
}

/// How sure, without pretending to more than a test can give.
pub(super) fn sure(probability: f64) -> String {
    if probability > 0.995 {
        "over 99 %".to_owned()
    } else if probability < 0.005 {
        "under 1 %".to_owned()
    } else {
        format!("{:.0} %", 100.0 * probability)
    }
}

/// A value with its 90 % interval and what was expected.
pub(super) fn value(value: &FittedValue, units: UnitSystem) -> String {
    let show = |x| format(value.dimension, x, units);
    format!(
        "{} ({} .. {}), expected {}",
        show(value.value),
        show(value.low),
        show(value.high),
        show(value.expected)
    )
}
