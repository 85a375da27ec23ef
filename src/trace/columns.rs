//! What each column of a trace is: by its heading, or as told.

use super::error::TraceError;
use super::heading::{Heading, Meaning, Reference, Unit, understand, unit};
use super::read::ReadOptions;
use super::table::Table;

/// A column whose meaning is told: `p1=bay,kPa,gauge`.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    heading: String,
    meaning: String,
    unit: Option<Unit>,
    reference: Option<Reference>,
    written: String,
}

impl std::str::FromStr for Assignment {
    type Err = TraceError;

    fn from_str(text: &str) -> Result<Self, TraceError> {
        let refuse = |problem: String| TraceError::Assignment {
            text: text.to_owned(),
            problem,
        };
        let (heading, rest) = text
            .rsplit_once('=')
            .ok_or_else(|| refuse("no `=`".to_owned()))?;
        let mut parts = rest.split(',').map(str::trim);
        let meaning = parts.next().unwrap_or_default().to_owned();
        if heading.trim().is_empty() || meaning.is_empty() {
            return Err(refuse("a heading or a meaning is missing".to_owned()));
        }
        let (mut found, mut reference) = (None, None);
        for part in parts {
            match part.to_lowercase().as_str() {
                "gauge" => reference = Some(Reference::Gauge),
                "absolute" | "abs" => reference = Some(Reference::Absolute),
                _ => match unit(part) {
                    Some(unit) => {
                        if let Unit::Pressure(_, Some(stated)) = unit {
                            reference = Some(stated);
                        }
                        found = Some(unit);
                    }
                    None => return Err(refuse(format!("`{part}` is not a unit I know"))),
                },
            }
        }
        Ok(Assignment {
            heading: heading.trim().to_owned(),
            meaning,
            unit: found,
            reference,
            written: text.to_owned(),
        })
    }
}

/// What each column is: as told, or by its heading.
pub(super) fn headings(
    file: &str,
    table: &Table,
    options: &ReadOptions,
) -> Result<Vec<Heading>, TraceError> {
    let mut found: Vec<Heading> = table
        .headings
        .iter()
        .map(|heading| understand(heading, &options.places))
        .collect();
    if !table.named && options.assignments.is_empty() {
        return Err(columns_error(
            file,
            table,
            "there are no headings".to_owned(),
            "tell with --column \"1=time,ms\" --column \"2=bay,kPa,gauge\"".to_owned(),
        ));
    }
    for told in &options.assignments {
        let refuse = |problem: String| TraceError::Assignment {
            text: told.written.clone(),
            problem,
        };
        let by_name = |heading: &String| heading.trim().eq_ignore_ascii_case(&told.heading);
        let index = table
            .headings
            .iter()
            .position(by_name)
            .or_else(|| told.heading.parse::<usize>().ok()?.checked_sub(1))
            .filter(|index| *index < table.headings.len())
            .ok_or_else(|| {
                refuse(format!(
                    "{file} has no column `{}`, only {}",
                    told.heading,
                    list(&table.headings)
                ))
            })?;
        let meaning = match told.meaning.to_lowercase().as_str() {
            "time" | "t" => Meaning::Time,
            "travel" => Meaning::Travel,
            "wire" | "break-wire" | "breakwire" => Meaning::BreakWire,
            "trigger" | "command" => Meaning::Trigger,
            "ignore" | "none" => Meaning::Ignored,
            vessel => {
                let place = options
                    .places
                    .iter()
                    .position(|place| place.vessel.eq_ignore_ascii_case(vessel))
                    .ok_or_else(|| {
                        refuse(format!(
                            "`{vessel}` is neither time, travel, wire, trigger, ignore nor a vessel \
                             ({})",
                            vessel_names(options)
                        ))
                    })?;
                Meaning::Pressure(Some(place))
            }
        };
        // Only one column can be the time that was told.
        if meaning == Meaning::Time {
            for other in &mut found {
                if other.meaning == Meaning::Time {
                    other.meaning = Meaning::Ignored;
                }
            }
        }
        if let Some(slot) = found.get_mut(index) {
            slot.meaning = meaning;
            slot.unit = told.unit.or(slot.unit);
            slot.reference = told.reference.or(slot.reference);
        }
    }
    Ok(found)
}

pub(super) fn time_column(
    file: &str,
    table: &Table,
    headings: &[Heading],
) -> Result<usize, TraceError> {
    let mut times = headings
        .iter()
        .enumerate()
        .filter(|(_, heading)| heading.meaning == Meaning::Time)
        .map(|(index, _)| index);
    match (times.next(), times.next()) {
        (Some(index), _) => Ok(index),
        (None, _) => Err(columns_error(
            file,
            table,
            "no column is a time".to_owned(),
            "tell with --column \"HEADING=time,ms\"".to_owned(),
        )),
    }
}

pub(super) fn time_scale(
    file: &str,
    table: &Table,
    headings: &[Heading],
    time: usize,
) -> Result<f64, TraceError> {
    match headings.get(time).and_then(|heading| heading.unit) {
        Some(Unit::Time(scale)) => Ok(scale),
        _ => {
            let name = table.headings.get(time).map_or("", String::as_str);
            Err(columns_error(
                file,
                table,
                format!("`{name}` has no unit of time"),
                format!("tell with --column \"{name}=time,ms\""),
            ))
        }
    }
}

fn list(headings: &[String]) -> String {
    headings
        .iter()
        .map(|heading| format!("`{heading}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

pub(super) fn vessel_names(options: &ReadOptions) -> String {
    options
        .places
        .iter()
        .map(|place| place.vessel.as_str())
        .collect::<Vec<_>>()
        .join(", ")
}

pub(super) fn columns_error(
    file: &str,
    table: &Table,
    problem: String,
    remedy: String,
) -> TraceError {
    TraceError::Columns {
        file: file.to_owned(),
        problem,
        columns: list(&table.headings),
        remedy,
    }
}
