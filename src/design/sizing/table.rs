//! Each cartridge at a glance: what it can hold in the bay, without a search.

use crate::design::Design;
use crate::design::build::names_in_order;
use crate::design::edit;
use crate::design::error::{DesignError, Problem};
use crate::design::schema::{SizeSection, Text};
use crate::design::summary::summarise;
use crate::network::spec::System;
use crate::study::sizing::{Case, Holding, holding, screen_charges};

use super::cartridges;
use super::options::ChoiceOption;
use super::plan::Plan;

/// One cartridge.
#[derive(Debug, Clone, PartialEq)]
pub struct HoldingRow {
    /// Its name.
    pub cartridge: String,
    /// What it comes to in each case, or why it cannot be used.
    pub cases: Vec<(Case, Result<HoldingCase, String>)>,
}

/// One cartridge at one temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct HoldingCase {
    /// Temperature of the case [K]; `None` as the design is written.
    pub temperature: Option<f64>,
    /// The charge spread through every vessel.
    pub holding: Holding,
    /// Pressure at which the first flow of the full charge balances the leaks [Pa], at most that of the charge, which
    /// the bay cannot exceed; infinite without leaks, `None` where nothing feeds the bay.
    pub leak_balance_pressure: Option<f64>,
    /// Pressure of the charge at the start and its rating [Pa], where it has one.
    pub charge_pressure: Option<(f64, f64)>,
    /// Least factor over retention the design asks for [1].
    pub wanted_factor: Option<f64>,
}

impl HoldingCase {
    /// The bay pressure to expect at most [Pa]: what the charge can hold right after, or what the
    /// leaks allow if that is less.
    #[must_use]
    pub fn pressure(&self) -> f64 {
        let leaks = self.leak_balance_pressure.unwrap_or(f64::INFINITY);
        self.holding.cold_pressure.min(leaks)
    }

    /// Bay pressure at which the wanted factor over retention is reached [Pa]; `None` without a
    /// nose. `outside` is the pressure of the air [Pa].
    #[must_use]
    pub fn wanted_pressure(&self, outside: f64) -> Option<f64> {
        let needed = self.holding.needed_pressure?;
        Some(outside + (needed - outside) * self.wanted_factor.unwrap_or(1.0))
    }
}

/// Puts every cartridge left open, or every one of the library where none is, into the design and
/// says what it can hold. Everything else stays as written.
///
/// # Errors
/// A design without exactly one cartridge to replace.
pub fn holding_table(design: &Design) -> Result<Vec<HoldingRow>, DesignError> {
    let cartridges = options_of(design)?;
    let name = design.file();
    let base = edit::remove(name, design.text(), "size")?;
    let cases = design
        .plan()
        .map_or_else(|| vec![(Case::Nominal, None)], Plan::cases);
    let mut rows = Vec::with_capacity(cartridges.len());
    for option in cartridges {
        let made = option
            .edits
            .iter()
            .try_fold(base.clone(), |text, edit| edit.apply(name, &text))
            .and_then(|text| Design::parse(name, &text));
        let cases = cases
            .iter()
            .map(|(case, temperature)| {
                let looked_at = match &made {
                    Ok(made) => look(made, design.plan(), *temperature),
                    Err(error) => Err(error.to_string()),
                };
                (*case, looked_at)
            })
            .collect();
        rows.push(HoldingRow {
            cartridge: option.label,
            cases,
        });
    }
    Ok(rows)
}

fn look(
    design: &Design,
    plan: Option<&Plan>,
    temperature: Option<f64>,
) -> Result<HoldingCase, String> {
    let mut at = design.clone();
    if let (Some(kelvin), Some(range)) = (temperature, plan.and_then(|plan| plan.range.as_ref())) {
        let text = format!("{:.6} degC", kelvin - 273.15);
        at = edit::set(design.file(), design.text(), &range.path, &text)
            .and_then(|text| Design::parse(design.file(), &text))
            .map_err(|error| error.to_string())?;
    }
    let (system, criteria) = at
        .system(&at.central())
        .map_err(|error| error.to_string())?;
    let leak_balance_pressure = summarise(&system)
        .map_err(|problem| problem.to_string())?
        .nose
        .and_then(|nose| nose.leak_balance)
        .map(|balance| balance.balance_pressure);
    let holding = holding(&system).map_err(|error| error.to_string())?;
    let leak_balance_pressure = leak_balance_pressure.map(|balance| match holding.first_pressure {
        Some(first) if balance.is_finite() => balance.min(first),
        _ => balance,
    });
    Ok(HoldingCase {
        temperature,
        holding,
        leak_balance_pressure,
        charge_pressure: charge(&system)?,
        wanted_factor: criteria.retention_factor,
    })
}

/// The charge nearest to its rating.
fn charge(system: &System) -> Result<Option<(f64, f64)>, String> {
    Ok(screen_charges(system)?
        .into_iter()
        .map(|(_, pressure, rating)| (pressure, rating))
        .max_by(|a, b| (a.0 / a.1).total_cmp(&(b.0 / b.1))))
}

/// The cartridges left open, or all of the library for the only cartridge there is.
fn options_of(design: &Design) -> Result<Vec<ChoiceOption>, DesignError> {
    let open = design.plan().and_then(|plan| {
        let mut choices = plan.choices.iter();
        choices.find(|choice| choice.options.iter().any(|option| option.charge.is_some()))
    });
    if let Some(choice) = open {
        return Ok(choice.options.clone());
    }
    let document = &design.document;
    let vessels = &design.sections.vessels;
    let mut cartridges = names_in_order(document, "vessels", vessels);
    cartridges.retain(|name| {
        vessels
            .get(name)
            .is_some_and(|vessel| vessel.kind.0.trim() == "cartridge")
    });
    let [only] = cartridges.as_slice() else {
        return Err(document.error_at(
            "vessels",
            Problem::Conflict {
                message: format!("the design has {} cartridges", cartridges.len()),
                help: "say which one is open: `size: (free: [cartridge(vessel: \"NAME\")])`"
                    .to_owned(),
            },
        ));
    };
    let none = SizeSection::default();
    let size = design.sections.size.as_ref().unwrap_or(&none);
    let vessel = Text(only.clone());
    let at = "size.free";
    let choices = cartridges::cartridge(document, &design.sections, size, at, &vessel, None, None)?;
    Ok(choices
        .into_iter()
        .next()
        .map(|choice| choice.options)
        .unwrap_or_default())
}
