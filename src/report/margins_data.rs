//! A sweep as one JSON document and as a table of its points.

use serde_json::{Map, Value, json};

use crate::study::margins::{BAND, Edge, Stretch, Sweep, SweepPoint};

use super::ReportError;
use super::csv;
use super::margins::{MarginsReport, SweptValue, card_word};

fn edge(edge: &Edge) -> Value {
    json!({ "inside": edge.inside, "outside": edge.outside })
}

fn sweep_value(sweep: &Sweep, level: f64) -> Value {
    let stretch = |stretch: &Stretch| {
        json!({
            "from": stretch.from.map(|edge| edge.inside),
            "to": stretch.to.map(|edge| edge.inside),
        })
    };
    json!({
        "points": sweep.points.iter().map(|point| point_value(point, level)).collect::<Vec<_>>(),
        "points_between": sweep.between.iter().map(|point| point_value(point, level)).collect::<Vec<_>>(),
        "passing": sweep.passing().iter().map(stretch).collect::<Vec<_>>(),
        "reaching": sweep.reaching(level).iter().map(stretch).collect::<Vec<_>>(),
        "nominal_edges": sweep.nominal_edges.iter().map(|found| json!({
            "edge": edge(&found.edge),
            "fails": found.fails.as_ref().map(|kind| kind.name()),
        })).collect::<Vec<_>>(),
        "chance_edges": sweep.chance_edges.iter().map(|found| json!({
            "edge": edge(&found.edge),
            "chance_inside": found.confirmed.map(|chance| json!({
                "estimate": chance.estimate, "low": chance.low, "high": chance.high,
            })),
            "surely_above_to": found.sure.map(|edge| edge.inside),
            "surely_below_from": found.lost.map(|edge| edge.outside),
        })).collect::<Vec<_>>(),
        "trials": sweep.trials,
    })
}

fn point_value(point: &SweepPoint, level: f64) -> Value {
    let margins: Map<String, Value> = point
        .margins
        .iter()
        .map(|margin| {
            let band = margin
                .band
                .map(|band| json!({ "shares": BAND, "margins": band }));
            (
                margin.kind.name(),
                json!({ "nominal": margin.nominal, "band": band }),
            )
        })
        .collect();
    json!({
        "value": point.value,
        "pass": point.passes(),
        "trials": point.trials,
        "error": point.nominal.as_ref().err(),
        "chance": point.chance.map(|chance| json!({
            "estimate": chance.estimate,
            "low": chance.low,
            "high": chance.high,
        })),
        "not_computed": point.not_computed,
        "margins": margins,
        "guidance": (point.chance.is_some() || point.nominal.is_err()).then(|| card_word(point, level)),
    })
}

/// The answer as one JSON document; values swept stand in the unit asked for, margins are shares of
/// their limits.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn document(report: MarginsReport<'_>) -> Result<String, ReportError> {
    let over = |over: &SweptValue| json!({ "path": over.path, "unit": over.unit });
    let mut document = json!({
        "design": report.name,
        "over": over(report.over),
        "level": report.level,
        "most_trials": report.trials,
        "seed": report.seed,
    });
    let body = match report.second {
        None => sweep_value(report.sweep, report.level),
        Some((second, sweeps)) => json!({
            "second": over(second),
            "sweeps": sweeps.iter().map(|(value, sweep)| json!({
                "value": value,
                "sweep": sweep_value(sweep, report.level),
            })).collect::<Vec<_>>(),
        }),
    };
    if let (Some(document), Value::Object(body)) = (document.as_object_mut(), body) {
        document.extend(body);
    }
    let mut text = serde_json::to_string_pretty(&document)?;
    text.push('\n');
    Ok(text)
}

/// The points as a table: one row for each.
///
/// # Errors
/// [`ReportError::Table`] if it cannot be written.
pub fn table(report: MarginsReport<'_>) -> Result<String, ReportError> {
    let single = [(f64::NAN, report.sweep.clone())];
    let sweeps: &[(f64, Sweep)] = report.second.map_or(&single, |(_, sweeps)| sweeps);
    let kinds: Vec<String> = sweeps
        .iter()
        .flat_map(|(_, sweep)| &sweep.points)
        .find(|point| !point.margins.is_empty())
        .map(|point| point.margins.iter().map(|m| m.kind.name()).collect())
        .unwrap_or_default();
    let mut head = Vec::new();
    head.extend(report.second.map(|(second, _)| second.axis()));
    head.push(report.over.axis());
    head.extend(
        [
            "pass",
            "chance",
            "chance_low",
            "chance_high",
            "trials",
            "not_computed",
        ]
        .map(str::to_owned),
    );
    for kind in &kinds {
        for part in ["", ".p05", ".p50", ".p95"] {
            head.push(format!("margin.{kind}{part}"));
        }
    }
    let mut rows = vec![head];
    for (value, sweep) in sweeps {
        for point in &sweep.points {
            let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
            let mut row = Vec::new();
            row.extend(report.second.map(|_| value.to_string()));
            row.push(point.value.to_string());
            row.push(point.passes().to_string());
            row.push(number(point.chance.map(|c| c.estimate)));
            row.push(number(point.chance.map(|c| c.low)));
            row.push(number(point.chance.map(|c| c.high)));
            row.push(point.trials.to_string());
            row.push(point.not_computed.to_string());
            for place in 0..kinds.len() {
                let margin = point.margins.get(place);
                row.push(number(margin.and_then(|m| m.nominal)));
                for part in 0..BAND.len() {
                    let band = margin.and_then(|m| m.band);
                    row.push(number(band.and_then(|band| band.get(part).copied())));
                }
            }
            rows.push(row);
        }
    }
    Ok(csv::table(rows)?)
}
