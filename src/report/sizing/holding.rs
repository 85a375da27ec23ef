//! What each cartridge can hold in the bay.

use std::fmt::Write;

use serde::Serialize;

use super::signed;
use crate::design::sizing::{HoldingCase, HoldingRow};
use crate::report::ReportError;
use crate::report::terminal::{bullet, columns, heading};
use crate::units::{UnitSystem, format_pressure, format_temperature, significant};

/// The table as text; `outside` is the pressure of the air [Pa].
#[must_use]
pub fn text(name: &str, rows: &[HoldingRow], outside: f64, units: UnitSystem) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{name}: {}", first_line(rows, outside, units));
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
    out.push('\n');
    bullet(
        &mut out,
        "  - ",
        "\"Can hold\" is real CO2 spread through all vessels without loss and without heat from \
         walls; \"leaks allow\" is where the first flow of the full charge balances the leaks, an \
         upper bound, and never more than the charge starts at. Only a shot tells what is reached in time.",
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

/// What the table comes to: the first cartridge that is enough in every case, or the one that comes closest, with its
/// worst case.
fn first_line(rows: &[HoldingRow], outside: f64, units: UnitSystem) -> String {
    let is_enough = |row: &&HoldingRow| {
        let mut cases = row.cases.iter();
        cases.all(|(_, case)| case.as_ref().is_ok_and(|case| enough(case, outside)))
    };
    let (count, rest) = (rows.len(), "everything else as written");
    if let Some(row) = rows.iter().find(is_enough) {
        let worst = worst(row, outside).map_or(String::new(), |worst| {
            format!(": {}", worst.in_words(outside, units))
        });
        return format!(
            "{} is the first cartridge of {count} that holds enough at every temperature{worst}, {rest}",
            row.cartridge
        );
    }
    let closest = rows
        .iter()
        .filter_map(|row| Some((row, worst(row, outside)?)))
        .max_by(|(_, a), (_, b)| a.margin.total_cmp(&b.margin));
    let closest = closest.map_or(String::new(), |(row, worst)| {
        format!(
            "; closest: {}, {}",
            row.cartridge,
            worst.in_words(outside, units)
        )
    });
    format!(
        "no cartridge of {count} holds enough at every temperature within its rating, {rest}{closest}"
    )
}

/// The case of a cartridge with the least margin.
struct Worst<'a> {
    name: &'static str,
    case: &'a HoldingCase,
    /// Of the force of the pressure over what is wanted, or of a charge above its rating [1].
    margin: f64,
    /// Whether it is the rating that is missed most.
    rating: bool,
}

impl Worst<'_> {
    fn in_words(&self, outside: f64, units: UnitSystem) -> String {
        let when = match self.case.temperature {
            Some(kelvin) => format!("{} ({})", self.name, format_temperature(kelvin, units)),
            None => "as written".to_owned(),
        };
        let pressure = |value: f64| format_pressure(value, units);
        let (has, limit) = match self.case.charge_pressure {
            Some((first, rating)) if self.rating => (
                format!("its charge starts at {}", pressure(first)),
                format!("at most {}", pressure(rating)),
            ),
            _ => (
                format!("bay {}", pressure(self.case.pressure())),
                self.case
                    .wanted_pressure(outside)
                    .map_or(String::new(), |wanted| {
                        format!("at least {}", pressure(wanted))
                    }),
            ),
        };
        format!("{has} {when}, {limit}, margin {}", signed(self.margin))
    }
}

/// The least margin of a cartridge; `None` where it cannot be told in some case, or nothing is wanted.
fn worst(row: &HoldingRow, outside: f64) -> Option<Worst<'_>> {
    let mut found: Option<Worst<'_>> = None;
    for (case, looked) in &row.cases {
        let looked = looked.as_ref().ok()?;
        let force = looked.wanted_pressure(outside).map(|wanted| {
            (
                (looked.pressure() - outside) / (wanted - outside) - 1.0,
                false,
            )
        });
        let rating = looked
            .charge_pressure
            .map(|(first, rating)| (1.0 - first / rating, true))
            .filter(|(margin, _)| *margin < 0.0);
        for (margin, rating) in force.into_iter().chain(rating) {
            if found.as_ref().is_none_or(|found| margin < found.margin) {
                let name = case.name();
                found = Some(Worst {
                    name,
                    case: looked,
                    margin,
                    rating,
                });
            }
        }
    }
    found
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
