//! What each cartridge can hold in the bay.

use std::fmt::Write;

use serde::Serialize;

use crate::design::sizing::{HoldingCase, HoldingRow};
use crate::report::ReportError;
use crate::report::terminal::{bullet, columns, heading};
use crate::units::{UnitSystem, format_pressure, format_temperature, significant};

/// The table as text; `outside` is the pressure of the air [Pa].
#[must_use]
pub fn text(name: &str, rows: &[HoldingRow], outside: f64, units: UnitSystem) -> String {
    let mut out = String::new();
    let enough = smallest(rows, outside);
    let first = match enough {
        Some(cartridge) => format!(
            "{name}: {cartridge} is the first cartridge of {} that holds enough at every temperature, \
             everything else as written",
            rows.len()
        ),
        None => format!(
            "{name}: no cartridge of {} holds enough at every temperature, everything else as written",
            rows.len()
        ),
    };
    let _ = writeln!(out, "{first}");
    let cases: Vec<_> = rows
        .first()
        .map(|row| row.cases.iter().map(|(case, _)| *case).collect())
        .unwrap_or_default();
    for (index, case) in cases.iter().enumerate() {
        let looked: Vec<(&str, &Result<HoldingCase, String>)> = rows
            .iter()
            .filter_map(|row| Some((row.cartridge.as_str(), &row.cases.get(index)?.1)))
            .collect();
        let temperature = looked
            .iter()
            .find_map(|(_, case)| case.as_ref().ok().and_then(|case| case.temperature));
        let title = match temperature {
            Some(kelvin) => format!("{} ({})", case.name(), format_temperature(kelvin, units)),
            None => "as written".to_owned(),
        };
        heading(&mut out, &format!("Bay pressure, {title}"));
        let head = [
            "",
            "can hold",
            "leaks allow",
            "warmed up again",
            "perfect gas",
            "to leave",
            "wanted",
            "over retention",
            "charge at first",
            "rating",
            "",
        ];
        let mut table = vec![head.map(str::to_owned).to_vec()];
        let mut refused = Vec::new();
        for (cartridge, case) in looked {
            match case {
                Ok(case) => table.push(row(cartridge, case, outside, units)),
                Err(reason) => refused.push(format!("{cartridge}: {reason}")),
            }
        }
        columns(&mut out, &table);
        for line in refused {
            bullet(&mut out, "  - ", &line);
        }
    }
    bullet(
        &mut out,
        "\n  - ",
        "\"Can hold\" is real CO2 spread through all vessels without loss and without heat from \
         walls; \"leaks allow\" is where the first flow of the full charge balances the leaks, an \
         upper bound. Only a shot tells what is reached in time.",
    );
    out
}

fn row(cartridge: &str, case: &HoldingCase, outside: f64, units: UnitSystem) -> Vec<String> {
    let pressure = |value: Option<f64>| {
        value.map_or_else(
            || "-".to_owned(),
            |value| {
                if value.is_finite() {
                    format_pressure(value, units)
                } else {
                    "any".to_owned()
                }
            },
        )
    };
    let holding = &case.holding;
    let (charge, rating) = case.charge_pressure.unzip();
    vec![
        cartridge.to_owned(),
        pressure(Some(holding.cold_pressure)),
        pressure(case.leak_balance_pressure),
        pressure(Some(holding.warm_pressure)),
        pressure(Some(holding.perfect_gas_pressure)),
        pressure(holding.needed_pressure),
        pressure(case.wanted_pressure(outside)),
        holding.cold_factor.map_or_else(
            || "-".to_owned(),
            |factor| format!("{} x", significant(factor)),
        ),
        pressure(charge),
        pressure(rating),
        if enough(case, outside) {
            "enough"
        } else {
            "too little"
        }
        .to_owned(),
    ]
}

/// Whether the pressure to expect at most reaches what is wanted, within the charge's rating.
fn enough(case: &HoldingCase, outside: f64) -> bool {
    let holds = case
        .wanted_pressure(outside)
        .is_none_or(|wanted| case.pressure() >= wanted);
    let bears = case
        .charge_pressure
        .is_none_or(|(pressure, rating)| pressure <= rating);
    holds && bears
}

/// The first cartridge of the table that is enough in every case.
fn smallest(rows: &[HoldingRow], outside: f64) -> Option<&str> {
    rows.iter()
        .find(|row| {
            row.cases
                .iter()
                .all(|(_, case)| case.as_ref().is_ok_and(|case| enough(case, outside)))
        })
        .map(|row| row.cartridge.as_str())
}

#[derive(Serialize)]
struct Line<'a> {
    cartridge: &'a str,
    case: &'static str,
    temperature_k: Option<f64>,
    cold_pressure_pa: Option<f64>,
    cold_temperature_k: Option<f64>,
    condensed_fraction: Option<f64>,
    leak_balance_pressure_pa: Option<f64>,
    warm_pressure_pa: Option<f64>,
    perfect_gas_pressure_pa: Option<f64>,
    needed_pressure_pa: Option<f64>,
    wanted_pressure_pa: Option<f64>,
    cold_factor: Option<f64>,
    charge_pressure_pa: Option<f64>,
    charge_rating_pa: Option<f64>,
    enough: bool,
    refusal: Option<&'a str>,
}

fn lines(rows: &[HoldingRow], outside: f64) -> Vec<Line<'_>> {
    rows.iter()
        .flat_map(|row| {
            row.cases.iter().map(move |(case, looked)| {
                let known = looked.as_ref().ok();
                let holding = known.map(|known| &known.holding);
                let charge = known.and_then(|known| known.charge_pressure);
                Line {
                    cartridge: &row.cartridge,
                    case: case.name(),
                    temperature_k: known.and_then(|known| known.temperature),
                    cold_pressure_pa: holding.map(|h| h.cold_pressure),
                    cold_temperature_k: holding.map(|h| h.cold_temperature),
                    condensed_fraction: holding.map(|h| h.cold_condensed),
                    leak_balance_pressure_pa: known
                        .and_then(|known| known.leak_balance_pressure)
                        .filter(|pressure| pressure.is_finite()),
                    warm_pressure_pa: holding.map(|h| h.warm_pressure),
                    perfect_gas_pressure_pa: holding.map(|h| h.perfect_gas_pressure),
                    needed_pressure_pa: holding.and_then(|h| h.needed_pressure),
                    wanted_pressure_pa: known.and_then(|known| known.wanted_pressure(outside)),
                    cold_factor: holding.and_then(|h| h.cold_factor),
                    charge_pressure_pa: charge.map(|charge| charge.0),
                    charge_rating_pa: charge.map(|charge| charge.1),
                    enough: known.is_some_and(|known| enough(known, outside)),
                    refusal: looked.as_ref().err().map(String::as_str),
                }
            })
        })
        .collect()
}

/// The table as one JSON document.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn json(name: &str, rows: &[HoldingRow], outside: f64) -> Result<String, ReportError> {
    #[derive(Serialize)]
    struct Table<'a> {
        design: &'a str,
        ambient_pressure_pa: f64,
        rows: Vec<Line<'a>>,
    }
    let table = Table {
        design: name,
        ambient_pressure_pa: outside,
        rows: lines(rows, outside),
    };
    Ok(serde_json::to_string_pretty(&table)? + "\n")
}

/// The table as comma-separated values.
///
/// # Errors
/// [`ReportError::Table`] if it cannot be written.
pub fn csv(rows: &[HoldingRow], outside: f64) -> Result<String, ReportError> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    for line in lines(rows, outside) {
        writer.serialize(line)?;
    }
    super::csv::finish(writer)
}
