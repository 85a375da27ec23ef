//! The odds as text: the chance first, then what fails, how results spread, what drives them.

use std::cell::Cell;
use std::fmt::Write;

use crate::statistics::percentile::PercentileInterval;
use crate::statistics::sensitivity::{IndexInterval, Sensitivities, Sensitivity};
use crate::study::odds::PERCENTILES;
use crate::study::trial::ENOUGH;
use crate::study::{CriterionKind, Record, TrialVerdict};
use crate::units::{UnitSystem, format, format_percent};

use super::odds::{
    OddsReport, Shown, basis, chance_in_short, chance_sentence, interval, leading_failure,
    separation,
};
use super::shares::{Share, more_rows};
use super::terminal::{ASIDE, Detail, FAIL, HEADING, PASS, WARNING, bullet, columns, heading};

/// Most inputs, separations and failed computations that text shows; data files have all.
const MOST_DRIVERS: usize = 8;
const MOST_SEPARATIONS: usize = 3;
const MOST_ERRORS: usize = 3;
/// Most values of one trial; a shot of it shows all.
const MOST_VALUES: usize = 5;

/// What every report of a chance says.
pub const CAUTION: &str = "A chance of the design as described, with the spreads as described: what \
     the file leaves out it does not know. It is no permission; ground tests, local rules, range \
     safety and licensed practice decide.";

/// The odds as text, the answer in its first line.
#[must_use]
pub fn odds(report: OddsReport<'_>, units: UnitSystem, detail: Detail) -> String {
    let mut out = first_line(&report);
    if detail == Detail::Verdict {
        return out;
    }
    failures(&mut out, &report);
    quantities(&mut out, &report, units);
    drivers(&mut out, &report);
    modes(&mut out, &report, units);
    worst(&mut out, &report, units);
    errors(&mut out, &report, units);
    heading(&mut out, "How to read this");
    let odds = report.odds;
    let how = basis(&odds.chance, report.method, report.replicates);
    bullet(&mut out, "  - ", &format!("Seed {}, {how}.", report.seed));
    bullet(&mut out, "  - ", CAUTION);
    out
}

fn first_line(report: &OddsReport<'_>) -> String {
    let odds = report.odds;
    let name = report.name;
    let mut sentence = chance_sentence(odds);
    if let Some(leading) = leading_failure(odds) {
        sentence += &format!("; mostly {leading}");
    }
    let Some(wanted) = report.wanted else {
        let shown = chance_in_short(&odds.chance);
        return format!("{HEADING}{shown}{HEADING:#}  {name}: {sentence}\n");
    };
    let (style, word, what) = match Shown::of(&odds.chance, wanted) {
        Shown::Yes => (PASS, "PASS", "is shown"),
        Shown::No => (FAIL, "FAIL", "is not reached"),
        Shown::Open => (WARNING, "OPEN", "is not shown by so few trials"),
    };
    let wanted = format_percent(wanted);
    format!("{style}{word}{style:#}  {name}: at least {wanted} {what}; {sentence}\n")
}

fn row(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|cell| (*cell).to_owned()).collect()
}

fn failures(out: &mut String, report: &OddsReport<'_>) {
    heading(out, "What fails");
    let mut rows = vec![row(&[
        "",
        "first",
        "95 % interval",
        "at all",
        "margin 5 %",
        "median",
    ])];
    for failure in &report.odds.failures {
        let margin = |p: f64| {
            let place = PERCENTILES.iter().position(|other| *other == p);
            failure
                .margins
                .as_ref()
                .zip(place)
                .and_then(|(margins, place)| margins.get(place))
                .map_or("-".to_owned(), |margin| {
                    margin_of(&failure.kind, margin.estimate)
                })
        };
        let first = failure.first_chance;
        rows.push(vec![
            failure.kind.failure(),
            failure.first.to_string(),
            interval(first.low, first.high),
            failure.any.to_string(),
            margin(0.05),
            margin(0.5),
        ]);
    }
    columns(out, &rows);
}

/// A margin over a limit; that of the force over retention is followed only so far.
fn margin_of(kind: &CriterionKind, margin: f64) -> String {
    margin_followed(margin, *kind == CriterionKind::RetentionFactor)
}

/// A margin over a limit that may be `cut` at what the force over retention is followed to.
fn margin_followed(margin: f64, cut: bool) -> String {
    let followed = ENOUGH - 1.0;
    if cut && margin > followed - 1e-3 {
        format!("over {:+.0} %", 100.0 * followed)
    } else {
        format!("{:+.1} %", 100.0 * margin)
    }
}

fn quantities(out: &mut String, report: &OddsReport<'_>, units: UnitSystem) {
    if report.odds.quantities.is_empty() {
        return;
    }
    heading(out, "How results spread");
    let mut head = vec![String::new()];
    head.extend(PERCENTILES.iter().map(|p| format!("{:.0} %", 100.0 * p)));
    head.push("in trials".to_owned());
    let mut rows = vec![head];
    for summary in &report.odds.quantities {
        let dimension = summary.quantity.dimension();
        let mut row = vec![report.label(summary.quantity).to_owned()];
        row.extend(
            summary
                .percentiles
                .iter()
                .map(|p: &PercentileInterval| format(dimension, p.estimate, units)),
        );
        row.push(summary.count.to_string());
        rows.push(row);
    }
    columns(out, &rows);
}

fn drivers(out: &mut String, report: &OddsReport<'_>) {
    let Some(drivers) = report.drivers else {
        return;
    };
    heading(out, "What drives it (shares of the variance)");
    let lost = Cell::new(false);
    let of =
        |found: Option<&Sensitivities>, input: usize, part: fn(&Sensitivity) -> &IndexInterval| {
            let found = found.filter(|found| found.variance > 0.0);
            let share = found.and_then(|found| Some(Share::of(part(found.inputs.get(input)?))));
            lost.set(lost.get() || share.is_some_and(|share| share.estimate.is_none()));
            share.map_or("-".to_owned(), |share| share.with_interval())
        };
    let total =
        |found: Option<&Sensitivities>, input: usize| of(found, input, |found| &found.total);
    let mut rows = vec![
        row(&["", "smallest margin", "", "exit speed", "success"]),
        row(&["", "alone", "in all", "in all", "in all"]),
    ];
    let order = ranked(drivers.leading().1);
    for input in order.into_iter().take(MOST_DRIVERS) {
        let name = report.inputs.get(input).map_or("", |input| &input.path);
        rows.push(vec![
            name.to_owned(),
            of(Some(&drivers.smallest_margin), input, |found| &found.first),
            total(Some(&drivers.smallest_margin), input),
            total(drivers.exit_speed.as_ref(), input),
            total(Some(&drivers.success), input),
        ]);
    }
    columns(out, &rows);
    let mut note = format!(
        "Sobol indices with 95 % bootstrap intervals from {} trials of their own ({} rows of inputs \
         + 2)",
        drivers.evaluations, drivers.smallest_margin.rows
    );
    if lost.get() {
        note += "; where the interval stands alone the estimate is lost in its noise";
    }
    if let Some(more) = more_rows(drivers.leading().1) {
        note += &format!(
            "; so few rows hardly tell one input from another: try --drivers {more} (four times the \
             rows halve an interval)"
        );
    }
    if drivers.not_computed > 0 {
        note += &format!(
            "; {} rows were left out because a trial in them could not be computed",
            drivers.smallest_margin.rows_left_out
        );
    }
    if report.correlated {
        note += "; where values are correlated, shares are those of the independent draws";
    }
    if drivers.success.variance <= 0.0 {
        note += "; every one of them ended alike, so success has no drivers here";
    }
    if drivers.smallest_margin.variance <= 0.0 {
        note += "; so has the smallest margin, which is as large as is followed in all (--exact \
                 follows it to its peak)";
    }
    let mut text = String::new();
    bullet(&mut text, "  ", &format!("{note}."));
    let _ = write!(out, "{ASIDE}{text}{ASIDE:#}");
}

/// Inputs by their total index, the largest first.
pub(super) fn ranked(found: &Sensitivities) -> Vec<usize> {
    let mut order: Vec<(usize, f64)> = found
        .inputs
        .iter()
        .map(|input| input.total.estimate)
        .enumerate()
        .collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1));
    order.into_iter().map(|(input, _)| input).collect()
}

fn modes(out: &mut String, report: &OddsReport<'_>, units: UnitSystem) {
    if report.odds.modes.is_empty() {
        return;
    }
    heading(out, "What failures have in common");
    for mode in &report.odds.modes {
        let name = report
            .odds
            .failures
            .get(mode.criterion)
            .map_or(String::new(), |failure| failure.kind.failure());
        bullet(out, "  - ", &format!("{name} ({} trials):", mode.trials));
        for found in mode.separations.iter().take(MOST_SEPARATIONS) {
            if let Some(input) = report.inputs.get(found.input) {
                bullet(out, "      ", &separation(found, input, units));
            }
        }
        if mode.separations.is_empty() {
            bullet(
                out,
                "      ",
                "no single input tells them apart beyond doubt",
            );
        }
    }
}

fn verdict(report: &OddsReport<'_>, record: &Record) -> String {
    match record.verdict {
        TrialVerdict::Success => "success".to_owned(),
        TrialVerdict::NotComputed => "not computed".to_owned(),
        TrialVerdict::Failure(first) => report
            .odds
            .failures
            .get(first)
            .map_or_else(|| "failure".to_owned(), |failure| failure.kind.failure()),
    }
}

fn worst(out: &mut String, report: &OddsReport<'_>, units: UnitSystem) {
    if report.odds.worst.is_empty() {
        return;
    }
    heading(out, "Worst trials");
    for record in &report.odds.worst {
        let lead = format!(
            "trial {}: {}, {}; see it with",
            record.index,
            verdict(report, record),
            smallest_margin(report, record)
        );
        bullet(out, "  - ", &lead);
        let _ = writeln!(out, "      {} --trial {}", report.replay, record.index);
        bullet(out, "      ", &values(report, record, units));
    }
}

/// "smallest margin -2.0 % (exit speed)": a trial may fail by more in a criterion than in the one that it fails first.
fn smallest_margin(report: &OddsReport<'_>, record: &Record) -> String {
    let criteria = report.odds.failures.iter().zip(&record.margins);
    let margins = criteria.filter_map(|(failure, margin)| Some((&failure.kind, (*margin)?)));
    match margins.min_by(|a, b| a.1.total_cmp(&b.1)) {
        Some((kind, margin)) => format!(
            "smallest margin {} ({})",
            margin_followed(margin, true),
            kind.label()
        ),
        None => "no margin".to_owned(),
    }
}

/// The values farthest from the usual, "vessels.cartridge.charge 15.2 g (low), ..."; all of them
/// where nothing is known of what is usual.
fn values(report: &OddsReport<'_>, record: &Record, units: UnitSystem) -> String {
    let mut pairs: Vec<(f64, String)> = report
        .inputs
        .iter()
        .zip(&record.values)
        .map(|(input, value)| {
            let deviation = input.deviation(*value);
            let side = match deviation {
                d if d < 0.0 => " (low)",
                d if d > 0.0 => " (high)",
                _ => "",
            };
            let shown = input.value(*value, units);
            (deviation.abs(), format!("{} {shown}{side}", input.path))
        })
        .collect();
    let known = report
        .inputs
        .iter()
        .any(|input| input.distribution.is_some());
    if known {
        pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
        pairs.truncate(MOST_VALUES);
    }
    let words: Vec<String> = pairs.into_iter().map(|(_, words)| words).collect();
    let lead = if known { "farthest out: " } else { "" };
    format!("{lead}{}", words.join(", "))
}

fn errors(out: &mut String, report: &OddsReport<'_>, units: UnitSystem) {
    let count = report.odds.counts.not_computed;
    if count == 0 {
        return;
    }
    heading(out, "Trials that could not be computed");
    for record in report.odds.errors.iter().take(MOST_ERRORS) {
        bullet(
            out,
            "  ! ",
            &format!("trial {}: {}", record.index, record.error),
        );
        bullet(out, "      ", &values(report, record, units));
    }
    if count > MOST_ERRORS as u64 {
        bullet(
            out,
            "    ",
            &format!(
                "and {} more (--format json lists up to a thousand, --trials-out all)",
                count - MOST_ERRORS as u64
            ),
        );
    }
}
