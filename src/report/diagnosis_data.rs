//! A diagnosis as one JSON document and as a table, in SI.

use serde::Serialize;

use crate::study::Chance;
use crate::study::diagnosis::FittedValue;

use super::ReportError;
use super::diagnosis::Report;

#[derive(Serialize)]
struct Value<'a> {
    label: &'a str,
    path: Option<&'a str>,
    trace: Option<usize>,
    value: f64,
    low: f64,
    high: f64,
    expected: f64,
    shift_sd: f64,
    resolved: f64,
}

impl<'a> From<&'a FittedValue> for Value<'a> {
    fn from(value: &'a FittedValue) -> Self {
        Value {
            label: &value.label,
            path: value.path.as_deref(),
            trace: value.trace,
            value: value.value,
            low: value.low,
            high: value.high,
            expected: value.expected,
            shift_sd: value.shift,
            resolved: value.resolved,
        }
    }
}

#[derive(Serialize)]
struct CauseEntry<'a> {
    cause: &'static str,
    probability: f64,
    log_evidence: f64,
    misfit: f64,
    values: Vec<Value<'a>>,
}

#[derive(Serialize)]
struct Document<'a> {
    design: &'a str,
    verdict: &'static str,
    probability: f64,
    causes: Vec<CauseEntry<'a>>,
    none_of_these: f64,
    residuals: Residuals,
    noise_inflation: f64,
    values: Vec<Value<'a>>,
    sensors: Vec<Value<'a>>,
    look_alikes: Vec<LookAlikeEntry<'a>>,
    next_measurements: Vec<Next<'a>>,
    events: Vec<Vec<Event<'a>>>,
    fitted_pass: bool,
    designed_pass: bool,
    chance: Option<ChanceOfSuccess<'a>>,
    understood: Vec<Understood<'a>>,
    series: Vec<Series<'a>>,
    evaluations: u64,
}

#[derive(Serialize)]
struct Residuals {
    chi_square: f64,
    degrees: f64,
    correlation: f64,
    spikes: usize,
    p_value: f64,
}

#[derive(Serialize)]
struct LookAlikeEntry<'a> {
    first: &'a str,
    second: &'a str,
    same_way: bool,
    cosine: f64,
    separated_by: Option<&'a str>,
}

#[derive(Serialize)]
struct Next<'a> {
    measure: &'a str,
    separation: f64,
    difference: f64,
    time_s: f64,
}

#[derive(Serialize)]
struct Event<'a> {
    name: &'a str,
    time_s: f64,
}

#[derive(Serialize)]
struct ChanceOfSuccess<'a> {
    design: &'a str,
    designed: ChanceValue,
    fitted: ChanceValue,
}

#[derive(Serialize)]
struct ChanceValue {
    estimate: f64,
    low: f64,
    high: f64,
    trials: u64,
}

impl ChanceValue {
    fn of(chance: &Chance, trials: u64) -> Self {
        ChanceValue {
            estimate: chance.estimate,
            low: chance.low,
            high: chance.high,
            trials,
        }
    }
}

#[derive(Serialize)]
struct Understood<'a> {
    file: &'a str,
    notes: &'a [String],
}

#[derive(Serialize)]
struct Series<'a> {
    trace: &'a str,
    channel: &'a str,
    time_s: &'a [f64],
    measured: &'a [f64],
    saturated: &'a [bool],
    fitted: &'a [f64],
    band: &'a [f64],
    nominal: &'a [f64],
    deviation: &'a [f64],
}

/// The report as one JSON document in SI.
///
/// # Errors
/// [`ReportError`] if it cannot be written.
pub fn json(report: &Report<'_>) -> Result<String, ReportError> {
    let diagnosis = report.diagnosis;
    let first = diagnosis.verdict();
    let document = Document {
        design: report.design,
        verdict: first.map_or("none_of_these", |e| e.cause.name()),
        probability: first.map_or(diagnosis.none, |e| e.probability),
        causes: diagnosis
            .explanations
            .iter()
            .map(|e| CauseEntry {
                cause: e.cause.name(),
                probability: e.probability,
                log_evidence: e.log_evidence,
                misfit: e.misfit,
                values: e.faults.iter().map(Value::from).collect(),
            })
            .collect(),
        none_of_these: diagnosis.none,
        residuals: Residuals {
            chi_square: diagnosis.goodness.chi_square,
            degrees: diagnosis.goodness.degrees,
            correlation: diagnosis.goodness.correlation,
            spikes: diagnosis.goodness.spikes,
            p_value: diagnosis.goodness.p_value,
        },
        noise_inflation: diagnosis.inflation,
        values: diagnosis.values.iter().map(Value::from).collect(),
        sensors: diagnosis.sensors.iter().map(Value::from).collect(),
        look_alikes: diagnosis
            .look_alikes
            .iter()
            .map(|pair| LookAlikeEntry {
                first: &pair.first,
                second: &pair.second,
                same_way: pair.same_way,
                cosine: pair.cosine,
                separated_by: pair.separated_by.as_ref().map(|c| c.what.as_str()),
            })
            .collect(),
        next_measurements: diagnosis
            .candidates
            .iter()
            .map(|c| Next {
                measure: &c.what,
                separation: c.separation,
                difference: c.difference,
                time_s: c.time,
            })
            .collect(),
        events: diagnosis
            .events
            .iter()
            .map(|events| {
                events
                    .iter()
                    .map(|(time_s, name)| Event {
                        name,
                        time_s: *time_s,
                    })
                    .collect()
            })
            .collect(),
        fitted_pass: report.fitted_shot.pass(),
        designed_pass: report.nominal_shot.pass(),
        chance: report.chance.map(|change| ChanceOfSuccess {
            design: &change.design,
            designed: ChanceValue::of(&change.designed, change.designed_trials),
            fitted: ChanceValue::of(&change.fitted, change.fitted_trials),
        }),
        understood: report
            .understood
            .iter()
            .map(|(file, notes)| Understood { file, notes })
            .collect(),
        series: series(report),
        evaluations: diagnosis.evaluations,
    };
    let mut text = serde_json::to_string_pretty(&document)?;
    text.push('\n');
    Ok(text)
}

fn series<'a>(report: &'a Report<'_>) -> Vec<Series<'a>> {
    report
        .diagnosis
        .channels
        .iter()
        .filter_map(|fitted| {
            let trace = report.traces.get(fitted.trace)?;
            let channel = trace.channels.get(fitted.channel)?;
            Some(Series {
                trace: &trace.name,
                channel: &channel.label,
                time_s: &channel.times,
                measured: &channel.values,
                saturated: &channel.saturated,
                fitted: &fitted.fitted,
                band: &fitted.band,
                nominal: &fitted.nominal,
                deviation: &fitted.deviation,
            })
        })
        .collect()
}

/// The fitted curves as a table in SI.
///
/// # Errors
/// [`ReportError::Table`] if it cannot be written.
pub fn csv(report: &Report<'_>) -> Result<String, ReportError> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "trace",
        "channel",
        "time_s",
        "measured",
        "deviation",
        "fitted",
        "band",
        "nominal",
    ])?;
    for series in series(report) {
        for index in 0..series.time_s.len() {
            // Where nothing was fitted there is no deviation that counts, and no band.
            let number = |column: &[f64]| {
                let finite = column.get(index).filter(|value| value.is_finite());
                finite.map_or(String::new(), f64::to_string)
            };
            writer.write_record([
                series.trace.to_owned(),
                series.channel.to_owned(),
                number(series.time_s),
                number(series.measured),
                number(series.deviation),
                number(series.fitted),
                number(series.band),
                number(series.nominal),
            ])?;
        }
    }
    writer.flush().map_err(::csv::Error::from)?;
    let bytes = writer
        .into_inner()
        .map_err(|error| ::csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
