//! A diagnosis as text: cause first, then the numbers, then what to do about it.

use std::fmt::Write;

use crate::study::diagnosis::{
    Candidate, Cause, Diagnosis, FittedValue, LookAlike, Measured, Observable,
};
use crate::study::{Chance, ShotStudy};
use crate::units::{
    Dimension, UnitSystem, format, format_percent, format_pressure_difference, format_time,
    significant,
};

use super::diagnosis_verdict::{strained, sure, value, verdict};
use super::odds::{chance_in_short, interval};
use super::terminal::{ASIDE, FAIL, PASS, WARNING, bullet, cautions, columns, heading};
use super::wording;

/// Everything a report of a diagnosis shows.
pub struct Report<'a> {
    /// Name of the design.
    pub design: &'a str,
    /// The answer.
    pub diagnosis: &'a Diagnosis,
    /// The traces as fitted.
    pub traces: &'a [Measured],
    /// What was understood of each trace, repairs and reduction included, in words.
    pub understood: &'a [(String, Vec<String>)],
    /// The design run with the fitted values.
    pub fitted_shot: &'a ShotStudy,
    /// The design as it is.
    pub nominal_shot: &'a ShotStudy,
    /// What it does to the chance of success, where that was computed.
    pub chance: Option<&'a ChanceChange>,
}

/// The chance of success before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct ChanceChange {
    /// Name of the design that flies.
    pub design: String,
    /// As designed.
    pub designed: Chance,
    /// Trials behind it.
    pub designed_trials: u64,
    /// With the fitted values as far as they are known, and the fault.
    pub fitted: Chance,
    /// Trials behind it.
    pub fitted_trials: u64,
}

/// "99.2 % (97 to 99.9 %) as designed -> 41 % (35 to 47 %) as fitted".
fn chance(change: &ChanceChange) -> String {
    let one = |chance: &Chance| {
        format!(
            "{} (95 % interval {})",
            chance_in_short(chance),
            interval(chance.low, chance.high)
        )
    };
    format!(
        "{} as designed -> {} as fitted: success of {}, {} and {} trials; no permission",
        one(&change.designed),
        one(&change.fitted),
        change.design,
        change.designed_trials,
        change.fitted_trials
    )
}

/// The report as text; the verdict alone with `brief`.
#[must_use]
pub fn text(report: &Report<'_>, units: UnitSystem, brief: bool) -> String {
    let diagnosis = report.diagnosis;
    let (style, word) = match diagnosis.verdict().map(|first| first.cause) {
        Some(Cause::NothingWrong) if report.fitted_shot.pass() => (PASS, "PASS"),
        // What was tested did what it should; what recorded it did not.
        Some(cause) if cause.is_sensor() && report.fitted_shot.pass() => (WARNING, "CHECK"),
        _ => (FAIL, "FAIL"),
    };
    let mut out = format!(
        "{style}{word}{style:#}  {}: {}\n",
        report.design,
        verdict(report, units)
    );
    if brief {
        return out;
    }
    causes(&mut out, diagnosis, units);
    fit(&mut out, diagnosis, units);
    heading(&mut out, "What it does to the flight");
    bullet(
        &mut out,
        "  as designed     ",
        &wording::verdict(report.nominal_shot, units),
    );
    bullet(
        &mut out,
        "  as fitted       ",
        &wording::verdict(report.fitted_shot, units),
    );
    if let Some(change) = report.chance {
        bullet(&mut out, "  chance          ", &chance(change));
    }
    heading(&mut out, "What to check on the bench");
    let explained = diagnosis.verdict().is_some();
    let strained = strained(diagnosis, units).filter(|_| explained);
    for cause in likely(diagnosis) {
        let advice = match cause {
            Cause::NothingWrong if !explained => "nearest of the causes, and not near.",
            Cause::NothingWrong if strained.is_some() => "no fault, but a value stands out.",
            _ => check(cause),
        };
        bullet(&mut out, "  - ", &format!("{}: {advice}", cause.label()));
    }
    if let Some(strained) = strained {
        bullet(
            &mut out,
            "  - ",
            &format!("{strained}: measure it by itself, or correct the design."),
        );
    }
    open_questions(&mut out, diagnosis, units);
    heading(&mut out, "What was read");
    for (name, lines) in report.understood {
        let _ = writeln!(out, "  {name}");
        for line in lines {
            bullet(&mut out, "    - ", line);
        }
    }
    heading(&mut out, "How this was found");
    for line in method(diagnosis) {
        bullet(&mut out, "  - ", &line);
    }
    cautions(&mut out);
    let _ = writeln!(
        out,
        "\n{ASIDE}{} discharges computed{ASIDE:#}",
        diagnosis.evaluations
    );
    out
}

fn causes(out: &mut String, diagnosis: &Diagnosis, units: UnitSystem) {
    heading(out, "Causes");
    let mut rows = Vec::new();
    for explanation in &diagnosis.explanations {
        let detail = explanation
            .faults
            .iter()
            .map(|fault| format!("{} {}", fault.label, value(fault, units)))
            .collect::<Vec<_>>()
            .join(", ");
        rows.push(vec![
            sure(explanation.probability),
            explanation.cause.label().to_owned(),
            if explanation.probability >= 0.005 {
                detail
            } else {
                String::new()
            },
        ]);
    }
    rows.push(vec![
        sure(diagnosis.none),
        "none of these".to_owned(),
        format!(
            "residuals this large or smooth by chance: {}",
            format_percent(diagnosis.goodness.p_value)
        ),
    ]);
    columns(out, &rows);
}

fn fit(out: &mut String, diagnosis: &Diagnosis, units: UnitSystem) {
    heading(
        out,
        "Fitted values the traces have narrowed (90 % intervals)",
    );
    let learned = |value: &&FittedValue| value.resolved > 0.2;
    let mut rows: Vec<Vec<String>> = diagnosis
        .explanations
        .first()
        .map_or(&[][..], |first| &first.faults)
        .iter()
        .chain(diagnosis.values.iter().filter(learned))
        .map(|value| row(value, units))
        .collect();
    rows.extend(
        diagnosis
            .sensors
            .iter()
            .filter(|value| value.resolved > 0.2 && !value.label.starts_with("error of the model"))
            .map(|value| row(value, units)),
    );
    if rows.is_empty() {
        rows.push(vec![
            "none: the traces say no more than the design".to_owned(),
        ]);
    }
    columns(out, &rows);
    if diagnosis.inflation > 1.2 {
        bullet(
            out,
            "  - ",
            &format!(
                "Residuals are larger than the noise, or not independent: the noise was taken {} \
                 times as large, which widens the intervals.",
                significant(diagnosis.inflation)
            ),
        );
    }
}

fn row(value: &FittedValue, units: UnitSystem) -> Vec<String> {
    let show = |x| format(value.dimension, x, units);
    let shift = if value.path.is_some() {
        format!("{:+.1} sd", value.shift)
    } else {
        String::new()
    };
    vec![
        value.label.clone(),
        show(value.value),
        format!("{} .. {}", show(value.low), show(value.high)),
        format!("expected {}", show(value.expected)),
        shift,
    ]
}

/// Causes that deserve a look: the likeliest, and others down to a tenth of it.
fn likely(diagnosis: &Diagnosis) -> Vec<Cause> {
    let most = diagnosis
        .explanations
        .first()
        .map_or(0.0, |e| e.probability);
    diagnosis
        .explanations
        .iter()
        .filter(|e| e.probability >= 0.1 * most)
        .take(4)
        .map(|e| e.cause)
        .collect()
}

fn open_questions(out: &mut String, diagnosis: &Diagnosis, units: UnitSystem) {
    if diagnosis.look_alikes.is_empty() && diagnosis.candidates.is_empty() {
        return;
    }
    heading(out, "What the traces cannot tell apart, and what would");
    if let (Some(first), Some(second)) = (
        diagnosis.explanations.first(),
        diagnosis.explanations.get(1),
    ) && second.probability >= 0.05
    {
        let pair = format!("{} or {}", first.cause.label(), second.cause.label());
        let line = match diagnosis.candidates.first() {
            Some(best) => format!(
                "{pair}: next time measure {}; {}.",
                best.what,
                separation(best, units)
            ),
            None => format!(
                "{pair}: no further channel would tell them apart; look at the parts themselves."
            ),
        };
        bullet(out, "  - ", &line);
    }
    for pair in &diagnosis.look_alikes {
        bullet(out, "  - ", &look_alike(pair, units));
    }
}

fn separation(candidate: &Candidate, units: UnitSystem) -> String {
    let difference = match candidate.observable {
        Observable::Pressure { .. } => {
            format_pressure_difference(candidate.difference.abs(), units)
        }
        _ => format(Dimension::Length, candidate.difference.abs(), units),
    };
    format!(
        "there the two differ by up to {difference} (at {})",
        format_time(candidate.time, units)
    )
}

/// "a larger area of pierced-neck and a larger discharge coefficient of pierced-neck look the same
/// here; the pressure in manifold would separate them".
#[must_use]
pub fn look_alike(pair: &LookAlike, units: UnitSystem) -> String {
    let other = if pair.same_way { "larger" } else { "smaller" };
    let remedy = match &pair.separated_by {
        Some(candidate) => format!(
            "{} would separate them ({} for one standard deviation)",
            candidate.what,
            match candidate.observable {
                Observable::Pressure { .. } =>
                    format_pressure_difference(candidate.difference.abs(), units),
                _ => format(Dimension::Length, candidate.difference.abs(), units),
            }
        ),
        None => "no further channel would separate them: measure one of them by itself".to_owned(),
    };
    format!(
        "a larger {} and a {other} {} look the same here; {remedy}",
        pair.first, pair.second
    )
}

fn method(diagnosis: &Diagnosis) -> Vec<String> {
    vec![
        "Each cause is the design with its uncertain values at their stated distributions, errors of \
         the sensor (zero, scale, drift, lag, clock), an error of the model of 1 % of the rise, and \
         the values the cause frees; robust least squares with these priors."
            .to_owned(),
        format!(
            "Probabilities by Laplace's approximation of the evidence; beforehand nothing wrong 15 %, \
             the other causes alike, one cause at a time. None of these by the residuals: chi-square \
             {} for {} degrees of freedom, neighbours correlated {:.2}, {} spike(s) left out.",
            significant(diagnosis.goodness.chi_square),
            significant(diagnosis.goodness.degrees),
            diagnosis.goodness.correlation,
            diagnosis.goodness.spikes
        ),
        "A cause not listed, or two at once, can look like one that is.".to_owned(),
        "Held against tests with known faults this put the true cause first in 86 of 91, and longer \
         searches in 102 of 107 and 388 of 401 (docs/validation.md): a list of what to look at, not a finding."
            .to_owned(),
    ]
}

/// What to look at for a cause.
#[must_use]
pub fn check(cause: Cause) -> &'static str {
    match cause {
        Cause::NothingWrong => "nothing stands out; repeat the test before relying on one.",
        Cause::ValveSlow => {
            "time the valve dry, on the flight battery under load and cold; feel for stiff grease, ice, \
             a bent linkage."
        }
        Cause::ValveLate => {
            "record the command and the first movement together; look for delays in the firmware, a \
             sagging supply, slack in the linkage."
        }
        Cause::ValvePartlyOpen => {
            "look through the bore at the end of travel; check the end points, the horn, a slipping \
             spline."
        }
        Cause::SealLeak => {
            "close the bay, pump it up to half the working pressure and time the fall; soap the joint, \
             the wire pass-throughs and the screws."
        }
        Cause::VentOpen => {
            "look for a port, plug or sensor hole left open; put it on the checklist."
        }
        Cause::CartridgeLight => {
            "weigh the spent cartridge and one of the same batch before use; compare with the stamped \
             weight."
        }
        Cause::CartridgeCold => {
            "measure the cartridge's temperature at the moment of the test; let it soak for an hour; \
             a cartridge just vented into is cold."
        }
        Cause::NeckPartlyPierced => {
            "pass pin gauges through the spent neck; check the pin for wear, its travel and its spring."
        }
        Cause::PinsEarly => {
            "look for cracked, notched or missing pins, the wrong thread or a soaked batch; shear three \
             of the batch on a scale."
        }
        Cause::PinsStrong => {
            "check size, material and number of the pins; shear three of the batch, cold, on a scale."
        }
        Cause::NoseJammed => {
            "pull the nose off without pins with a spring balance; look for burrs, swelling, tape, \
             paint, a tight shoulder."
        }
        Cause::SensorOffset => {
            "read the sensor open to the air and at one known pressure before and after the next test."
        }
        Cause::SensorLag => {
            "shorten and clear the line to the sensor; check the filter of the logger; knock test."
        }
    }
}
