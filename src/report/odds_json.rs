//! The odds as one JSON document, in SI; what did not come about is null. And as a table of
//! (section, name, statistic, value).

use serde_json::{Map, Value, json};

use crate::statistics::percentile::PercentileInterval;
use crate::statistics::sensitivity::Sensitivities;
use crate::statistics::separation::Separation;
use crate::study::band::{self, PressureBand};
use crate::study::drivers::Drivers;
use crate::study::odds::PERCENTILES;
use crate::study::{Quantity, Record, TrialVerdict};

use super::ReportError;
use super::csv;
use super::odds::{OddsReport, Shown, telling_choice};

/// The document, ending with a line break.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn document(report: OddsReport<'_>) -> Result<String, ReportError> {
    let mut text = serde_json::to_string_pretty(&value(&report))?;
    text.push('\n');
    Ok(text)
}

fn value(report: &OddsReport<'_>) -> Value {
    let odds = report.odds;
    let verdict = report
        .wanted
        .map(|wanted| match Shown::of(&odds.chance, wanted) {
            Shown::Yes => "pass",
            Shown::No => "fail",
            Shown::Open => "open",
        });
    json!({
        "design": report.name,
        "verdict": verdict,
        "wanted_chance": report.wanted,
        "trials": odds.counts.trials,
        "successes": odds.counts.successes,
        "failures": odds.failed(),
        "not_computed": odds.counts.not_computed,
        "chance": {
            "estimate": odds.chance.estimate,
            "low": odds.chance.low,
            "high": odds.chance.high,
            "confidence": crate::study::chance::CONFIDENCE,
            "basis": odds.chance.basis,
        },
        "draws": {
            "seed": report.seed,
            "sampler": report.method,
            "replicates": report.replicates,
            "correlated": report.correlated,
        },
        "criteria": odds.failures.iter().map(|failure| json!({
            "name": failure.kind.name(),
            "failed_first": failure.first,
            "failed_first_share": {
                "estimate": failure.first_chance.estimate,
                "low": failure.first_chance.low,
                "high": failure.first_chance.high,
            },
            "failed": failure.any,
            "margin": failure.margins.as_deref().map(percentiles),
        })).collect::<Vec<_>>(),
        "quantities": odds.quantities.iter().map(|summary| (
            summary.quantity.name().to_owned(),
            json!({
                "trials": summary.count,
                "percentiles": percentiles(&summary.percentiles),
                "histogram": {
                    "edges": summary.histogram.edges(),
                    "counts": summary.histogram.counts(),
                },
            }),
        )).collect::<Map<_, _>>(),
        "drivers": report.drivers.map(|drivers| self::drivers(report, drivers)),
        "failure_modes": odds.modes.iter().map(|mode| json!({
            "criterion": odds.failures.get(mode.criterion).map(|f| f.kind.name()),
            "trials": mode.trials,
            "inputs": mode
                .separations
                .iter()
                .map(|found| separation(report, found))
                .collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "worst": odds.worst.iter().map(|r| record(report, r)).collect::<Vec<_>>(),
        "not_computed_trials": odds.errors.iter().map(|r| record(report, r)).collect::<Vec<_>>(),
        "replay": report.replay,
        "pressure_band": report.band.map(pressure_band),
    })
}

/// What one input has to do with a kind of failure; of a choice the value that failures have in common with its shares
/// of both, of any other input its medians.
fn separation(report: &OddsReport<'_>, found: &Separation) -> Value {
    let input = report.inputs.get(found.input);
    let mut entry = json!({
        "input": name(report, found.input),
        "strength": found.strength,
        "p_value": found.p_value,
    });
    let telling = input.and_then(|input| Some((input, telling_choice(found, input)?)));
    let more = match telling {
        Some((input, telling)) => {
            let word = input.words.get(telling.value.max(0.0).round() as usize);
            json!({
                "choice": word.map_or_else(|| json!(telling.value), |word| json!(word)),
                "share_failing": telling.share_failing,
                "share_passing": telling.share_passing,
            })
        }
        None => json!({
            "direction": found.direction,
            "median_failing": found.median_failing,
            "median_passing": found.median_passing,
        }),
    };
    if let (Some(entry), Value::Object(more)) = (entry.as_object_mut(), more) {
        entry.extend(more);
    }
    entry
}

fn name<'a>(report: &OddsReport<'a>, input: usize) -> Option<&'a str> {
    report.inputs.get(input).map(|input| input.path.as_str())
}

fn percentiles(found: &[PercentileInterval]) -> Value {
    PERCENTILES
        .iter()
        .zip(found)
        .map(|(p, found)| {
            json!({
                "share": p,
                "estimate": found.estimate,
                "low": found.low,
                "high": found.high,
            })
        })
        .collect()
}

fn drivers(report: &OddsReport<'_>, drivers: &Drivers) -> Value {
    let of = |found: &Sensitivities| -> Value {
        found
            .inputs
            .iter()
            .enumerate()
            .map(|(input, indices)| {
                json!({
                    "input": name(report, input),
                    "first_order": indices.first,
                    "total": indices.total,
                })
            })
            .collect()
    };
    json!({
        "smallest_margin": of(&drivers.smallest_margin),
        "exit_speed": drivers.exit_speed.as_ref().map(of),
        "success": of(&drivers.success),
        "extra_discharges": drivers.evaluations,
        "not_computed": drivers.not_computed,
        "rows": drivers.smallest_margin.rows,
    })
}

fn record(report: &OddsReport<'_>, record: &Record) -> Value {
    let quantities: Map<String, Value> = Quantity::ALL
        .iter()
        .zip(record.quantities)
        .map(|(quantity, value)| (quantity.name().to_owned(), json!(value)))
        .collect();
    let values: Map<String, Value> = report
        .inputs
        .iter()
        .zip(&record.values)
        .map(|(input, value)| (input.path.clone(), json!(value)))
        .collect();
    let first = match record.verdict {
        TrialVerdict::Failure(first) => report.odds.failures.get(first).map(|f| f.kind.name()),
        _ => None,
    };
    json!({
        "trial": record.index,
        "first_failed": first,
        "smallest_margin": record.smallest_margin(),
        "quantities": quantities,
        "inputs": values,
        "error": (!record.error.is_empty()).then_some(&record.error),
    })
}

fn pressure_band(found: &PressureBand) -> Value {
    let column = |which: usize| -> Vec<f64> {
        found
            .pressures
            .iter()
            .filter_map(|row| row.get(which).copied())
            .collect()
    };
    json!({
        "trials": found.trials,
        "time_s": found.times,
        "percentiles": band::PERCENTILES,
        "low_pa": column(0),
        "median_pa": column(1),
        "high_pa": column(2),
    })
}

/// The numbers as a table.
///
/// # Errors
/// [`ReportError::Table`] if it cannot be written.
pub fn table(report: OddsReport<'_>) -> Result<String, ReportError> {
    let odds = report.odds;
    let mut rows: Vec<[String; 4]> = Vec::new();
    let mut add = |section: &str, name: &str, statistic: &str, value: f64| {
        rows.push([
            section.to_owned(),
            name.to_owned(),
            statistic.to_owned(),
            value.to_string(),
        ]);
    };
    let counts = odds.counts;
    add("chance", "success", "estimate", odds.chance.estimate);
    add("chance", "success", "low", odds.chance.low);
    add("chance", "success", "high", odds.chance.high);
    add("count", "trials", "count", counts.trials as f64);
    add("count", "successes", "count", counts.successes as f64);
    add("count", "failures", "count", odds.failed() as f64);
    add("count", "not computed", "count", counts.not_computed as f64);
    for failure in &odds.failures {
        let name = failure.kind.name();
        add("failure", &name, "first", failure.first as f64);
        add("failure", &name, "at all", failure.any as f64);
        for (p, found) in PERCENTILES.iter().zip(failure.margins.iter().flatten()) {
            add("margin", &name, &p.to_string(), found.estimate);
        }
    }
    for summary in &odds.quantities {
        for (p, found) in PERCENTILES.iter().zip(&summary.percentiles) {
            let name = summary.quantity.name();
            add("quantity", name, &p.to_string(), found.estimate);
        }
    }
    if let Some(drivers) = report.drivers {
        let mut indices = |section: &str, found: &Sensitivities| {
            for (input, indices) in report.inputs.iter().zip(&found.inputs) {
                for (order, index) in [("first", indices.first), ("total", indices.total)] {
                    add(section, &input.path, order, index.estimate);
                    add(section, &input.path, &format!("{order} low"), index.low);
                    add(section, &input.path, &format!("{order} high"), index.high);
                }
            }
        };
        indices("driver of smallest margin", &drivers.smallest_margin);
        if let Some(speed) = &drivers.exit_speed {
            indices("driver of exit speed", speed);
        }
        indices("driver of success", &drivers.success);
    }
    let head = ["section", "name", "statistic", "value"].map(str::to_owned);
    Ok(csv::table(
        std::iter::once(head).chain(rows).map(Vec::from),
    )?)
}
