//! From a table to channels: which column is what, in SI, in order of time.

use super::columns::{Assignment, columns_error, headings, time_column, time_scale, vessel_names};
use super::error::TraceError;
use super::heading::{Meaning, Place, Reference, Unit};
use super::table::{self, Table};

/// Share of rows out of order that may be left out.
const MOST_OUT_OF_ORDER: f64 = 0.01;
/// Fewest values of a column that can be used.
const FEWEST: usize = 8;

/// What the reader is told beside the text.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReadOptions {
    /// The vessels that may be measured, in the order of the design.
    pub places: Vec<Place>,
    /// The vessel meant where a heading names none: the bay.
    pub usual: Option<usize>,
    /// What pressures are measured from where the heading does not say.
    pub reference: Option<Reference>,
    /// Pressure of the air around the test [Pa]; used to say what a column looks like.
    pub surroundings: f64,
    /// Columns whose meaning is told.
    pub assignments: Vec<Assignment>,
}

/// What a channel measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Pressure in a vessel [Pa].
    Pressure {
        /// Index of the vessel in the design.
        vessel: usize,
        /// Above the surrounding air instead of absolute.
        gauge: bool,
    },
    /// Travel of the nose [m].
    Travel,
    /// 1 while the wire is whole, 0 once the nose has moved.
    BreakWire,
}

/// One measured column, in SI and in order of time; missing values are left out.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Heading in the file.
    pub heading: String,
    /// What it measures.
    pub quantity: Quantity,
    /// Times [s].
    pub times: Vec<f64>,
    /// Values [SI].
    pub values: Vec<f64>,
}

/// A trace, read.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    /// Name of the file.
    pub name: String,
    /// Measured columns.
    pub columns: Vec<Column>,
    /// When a trigger column says the command came [s].
    pub trigger: Option<f64>,
    /// What was understood, in words.
    pub understood: Vec<String>,
    /// What was repaired, in words.
    pub repairs: Vec<String>,
}

/// Reads a trace from the bytes of a file.
///
/// # Errors
/// A [`TraceError`] naming the file, the line and the way out.
pub fn read(
    file: &str,
    bytes: impl AsRef<[u8]>,
    options: &ReadOptions,
) -> Result<Trace, TraceError> {
    let mut table = table::read(file, bytes.as_ref())?;
    // Of ten million rows neither text nor numbers are kept longer than needed.
    drop(bytes);
    let headings = headings(file, &table, options)?;
    let time = time_column(file, &table, &headings)?;
    let mut understood = vec![table.form.clone()];
    let scale = time_scale(file, &table, &headings, time)?;
    let rows = order(file, &mut table, time, scale)?;
    describe_sampling(&rows, &table, time, &mut understood);
    let mut trace = Trace {
        name: file.to_owned(),
        columns: Vec::new(),
        trigger: None,
        understood,
        repairs: Vec::new(),
    };
    let unspecific = headings
        .iter()
        .filter(|h| h.meaning == Meaning::Pressure(None))
        .count();
    let mut ignored = Vec::new();
    for (index, heading) in headings.iter().enumerate() {
        let name = table.headings.get(index).cloned().unwrap_or_default();
        if index == time {
            continue;
        }
        let column = table.columns.get(index).map_or(&[][..], Vec::as_slice);
        let pairs = rows
            .iter()
            .filter_map(|(t, row)| Some((*t, *column.get(*row)?, *row)))
            .filter(|(_, value, _)| value.is_finite());
        match &heading.meaning {
            Meaning::Time | Meaning::Ignored => ignored.push(name),
            Meaning::Trigger => {
                let (times, values) = split(pairs, rows.len(), 1.0);
                match step(&times, &values) {
                    Some(at) if trace.trigger.is_none() => {
                        trace.trigger = Some(at);
                        trace
                            .understood
                            .push(format!("`{name}` as the command, given at {at:.4} s"));
                    }
                    _ => ignored.push(name),
                }
            }
            Meaning::Pressure(vessel) => {
                let vessel = match (vessel, options.usual) {
                    (Some(vessel), _) => *vessel,
                    (None, Some(usual)) if unspecific == 1 => usual,
                    _ => {
                        return Err(columns_error(
                            file,
                            &table,
                            format!("`{name}` does not say in which vessel it was measured"),
                            format!(
                                "tell with --column \"{name}=bay\" (vessels: {})",
                                vessel_names(options)
                            ),
                        ));
                    }
                };
                let scale = match heading.unit {
                    Some(Unit::Pressure(scale, _)) => scale,
                    _ => {
                        return Err(columns_error(
                            file,
                            &table,
                            format!("`{name}` has no unit of pressure"),
                            format!("tell with --column \"{name}=bay,kPa\""),
                        ));
                    }
                };
                let (times, values) = split(pairs.clone(), rows.len(), scale);
                let missing = rows.len() - times.len();
                enough(file, &name, times.len(), rows.len())?;
                let reference = heading.reference.or(options.reference).ok_or_else(|| {
                    TraceError::Reference {
                        file: file.to_owned(),
                        column: name.clone(),
                        hint: looks_like(&values, options.surroundings),
                    }
                })?;
                let gauge = reference == Reference::Gauge;
                if !gauge {
                    below_vacuum(file, &name, &values, pairs, &table, options.surroundings)?;
                }
                let place = options
                    .places
                    .get(vessel)
                    .map_or("?", |p| p.vessel.as_str());
                trace.understood.push(format!(
                    "`{name}` as {} pressure in {place}, {:.3} .. {:.3} bar",
                    if gauge { "gauge" } else { "absolute" },
                    least(&values) / 1e5,
                    most(&values) / 1e5
                ));
                if missing > 0 {
                    trace
                        .repairs
                        .push(format!("{missing} missing values of `{name}` left out"));
                }
                trace.columns.push(Column {
                    heading: name,
                    quantity: Quantity::Pressure { vessel, gauge },
                    times,
                    values,
                });
            }
            Meaning::Travel => {
                let scale = match heading.unit {
                    Some(Unit::Length(scale)) => scale,
                    _ => {
                        return Err(columns_error(
                            file,
                            &table,
                            format!("`{name}` has no unit of length"),
                            format!("tell with --column \"{name}=travel,mm\""),
                        ));
                    }
                };
                let (times, values) = split(pairs, rows.len(), scale);
                enough(file, &name, times.len(), rows.len())?;
                trace.understood.push(format!(
                    "`{name}` as travel of the nose, to {:.1} mm",
                    most(&values) * 1e3
                ));
                trace.columns.push(Column {
                    heading: name,
                    quantity: Quantity::Travel,
                    times,
                    values,
                });
            }
            Meaning::BreakWire => {
                let (times, values) = split(pairs, rows.len(), 1.0);
                enough(file, &name, times.len(), rows.len())?;
                let broke = step(&times, &values);
                trace.understood.push(match broke {
                    Some(at) => format!("`{name}` as a break wire, broken at {at:.4} s"),
                    None => format!("`{name}` as a break wire that stayed whole"),
                });
                let values = times
                    .iter()
                    .map(|t| f64::from(u8::from(broke.is_none_or(|at| *t < at))))
                    .collect();
                trace.columns.push(Column {
                    heading: name,
                    quantity: Quantity::BreakWire,
                    times,
                    values,
                });
            }
        }
    }
    if trace.columns.is_empty() {
        return Err(columns_error(
            file,
            &table,
            "no column is a pressure".to_owned(),
            "tell with --column \"HEADING=bay,kPa,gauge\"".to_owned(),
        ));
    }
    if !ignored.is_empty() {
        trace
            .understood
            .push(format!("not used: {}", ignored.join(", ")));
    }
    trace.repairs.append(&mut table.repairs);
    Ok(trace)
}

/// Times with the row each stands in: ascending, rows without a time or out of order left out.
fn order(
    file: &str,
    table: &mut Table,
    time: usize,
    scale: f64,
) -> Result<Vec<(f64, usize)>, TraceError> {
    let column = table.columns.get(time).map_or(&[][..], Vec::as_slice);
    let mut rows: Vec<(f64, usize)> = Vec::with_capacity(column.len());
    let mut untimed = 0;
    let mut back: Option<(usize, f64, f64)> = None;
    let (mut dropped, mut equal) = (0, 0);
    for (index, value) in column.iter().enumerate() {
        let now = value * scale;
        if !now.is_finite() {
            untimed += 1;
            continue;
        }
        match rows.last() {
            Some((before, _)) if now < *before => {
                back.get_or_insert((index, *before, now));
                dropped += 1;
            }
            Some((before, _)) if now == *before => equal += 1,
            _ => rows.push((now, index)),
        }
    }
    if let Some((index, before, after)) = back
        && dropped as f64 > MOST_OUT_OF_ORDER * column.len() as f64
    {
        return Err(TraceError::TimeRunsBack {
            file: file.to_owned(),
            line: table.lines.get(index).map_or(0, |line| *line as usize),
            before,
            after,
            times: dropped,
        });
    }
    let name = table.headings.get(time).cloned().unwrap_or_default();
    enough(file, &name, rows.len(), column.len())?;
    if let Some((index, _, _)) = back {
        let line = table.lines.get(index).copied().unwrap_or(0);
        table.repairs.push(format!(
            "{dropped} row(s) whose time runs back left out, the first at line {line}"
        ));
    }
    if equal > 0 {
        table.repairs.push(format!(
            "{equal} row(s) at the same time as the one before left out (is the time written with \
             too few digits?)"
        ));
    }
    if untimed > 0 {
        table
            .repairs
            .push(format!("{untimed} row(s) without a time left out"));
    }
    Ok(rows)
}

fn describe_sampling(
    rows: &[(f64, usize)],
    table: &Table,
    time: usize,
    understood: &mut Vec<String>,
) {
    let mut gaps: Vec<f64> = rows.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    let (Some((first, _)), Some((last, _))) = (rows.first(), rows.last()) else {
        return;
    };
    let longest = most(&gaps);
    let middle = gaps.len() / 2;
    let typical = match gaps.get(middle) {
        Some(_) => *gaps.select_nth_unstable_by(middle, f64::total_cmp).1,
        None => 0.0,
    };
    let name = table.headings.get(time).map_or("", String::as_str);
    let gap = if longest > 5.0 * typical {
        format!(", longest gap {:.1} ms", longest * 1e3)
    } else {
        String::new()
    };
    understood.push(format!(
        "`{name}` as time, {first:.4} .. {last:.4} s, about {} Hz{gap}",
        rate(1.0 / typical.max(1e-12))
    ));
}

fn rate(hertz: f64) -> String {
    if hertz >= 1000.0 {
        format!("{:.0}", (hertz / 10.0).round() * 10.0)
    } else {
        format!("{hertz:.0}")
    }
}

/// Times and values of a column, values times a factor.
fn split(
    pairs: impl Iterator<Item = (f64, f64, usize)>,
    most: usize,
    scale: f64,
) -> (Vec<f64>, Vec<f64>) {
    let (mut times, mut values) = (Vec::with_capacity(most), Vec::with_capacity(most));
    for (time, value, _) in pairs {
        times.push(time);
        values.push(value * scale);
    }
    (times, values)
}

/// When a column with two levels goes from the one it starts at to the other for good [s].
fn step(times: &[f64], values: &[f64]) -> Option<f64> {
    let (low, high) = (least(values), most(values));
    if high <= low {
        return None;
    }
    let middle = 0.5 * (low + high);
    let start = values.first()? > &middle;
    let index = values
        .windows(3)
        .position(|three| three.iter().all(|v| (*v > middle) != start))?;
    times.get(index).copied()
}

fn enough(file: &str, name: &str, values: usize, rows: usize) -> Result<(), TraceError> {
    if values >= FEWEST {
        return Ok(());
    }
    Err(TraceError::TooFew {
        file: file.to_owned(),
        column: name.to_owned(),
        values,
        rows,
    })
}

/// A hint whether values start at the pressure of the air or at zero.
fn looks_like(values: &[f64], surroundings: f64) -> String {
    let first: Vec<f64> = values.iter().take(20).copied().collect();
    let start = first.iter().sum::<f64>() / first.len().max(1) as f64;
    let near = |level: f64| (start - level).abs() < 0.1 * surroundings;
    if near(0.0) {
        format!(
            " (it starts at {:.2} kPa, as a gauge pressure would)",
            start / 1e3
        )
    } else if near(surroundings) {
        format!(
            " (it starts at {:.1} kPa, as an absolute pressure would)",
            start / 1e3
        )
    } else {
        String::new()
    }
}

/// An absolute pressure well below zero is a gauge pressure, or a sensor that is off.
fn below_vacuum(
    file: &str,
    name: &str,
    values: &[f64],
    mut pairs: impl Iterator<Item = (f64, f64, usize)>,
    table: &Table,
    surroundings: f64,
) -> Result<(), TraceError> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    // Spikes do not count: 5 % of the values must be below.
    let low = sorted.get(sorted.len() / 20).copied().unwrap_or(0.0);
    if low >= -0.02 * surroundings {
        return Ok(());
    }
    let unscaled = pairs.position(|(_, value, _)| value < 0.0);
    let line = unscaled
        .and_then(|index| table.lines.get(index))
        .map_or(0, |line| *line as usize);
    Err(TraceError::BelowVacuum {
        file: file.to_owned(),
        line,
        column: name.to_owned(),
        value: low,
        remedy: "is it gauge (--gauge)?".to_owned(),
    })
}

fn least(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::INFINITY, f64::min)
}

fn most(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}
