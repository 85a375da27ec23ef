//! A shot as text: the verdict first, then numbers, events, explanations, warnings, cautions.
//!
//! Text carries ANSI styles; whoever prints it strips them where they are not wanted.

use std::fmt::Write;

use anstyle::{AnsiColor, Style};

use crate::study::ShotStudy;
use crate::units::{
    UnitSystem, format_force, format_length, format_mass, format_speed, format_temperature,
    format_time,
};

use super::wording;

/// Style of "PASS".
pub const PASS: Style = AnsiColor::Green.on_default().bold();
/// Style of "FAIL".
pub const FAIL: Style = AnsiColor::Red.on_default().bold();
/// Style of headings.
pub const HEADING: Style = Style::new().bold();
/// Style of warnings.
pub const WARNING: Style = AnsiColor::Yellow.on_default();
/// Style of asides.
pub const ASIDE: Style = Style::new().dimmed();

const WIDTH: usize = 100;

/// How much to say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// The verdict alone.
    Verdict,
    /// Everything.
    Full,
}

/// A shot as text, the verdict in its first line.
#[must_use]
pub fn shot(name: &str, study: &ShotStudy, units: UnitSystem, detail: Detail) -> String {
    let mut out = String::new();
    let (style, word) = if study.pass() {
        (PASS, "PASS")
    } else {
        (FAIL, "FAIL")
    };
    let verdict = wording::verdict(study, units);
    push(
        &mut out,
        format_args!("{style}{word}{style:#}  {name}: {verdict}\n"),
    );
    if detail == Detail::Verdict {
        return out;
    }
    criteria(&mut out, study, units);
    numbers(&mut out, study, units);
    events(&mut out, study, units);
    vessels(&mut out, study, units);
    heading(&mut out, "What happens to the charge");
    for sentence in wording::explanations(study, units) {
        bullet(&mut out, "  - ", &sentence);
    }
    warnings(&mut out, study, units);
    cautions(&mut out);
    audit(&mut out, study);
    out
}

/// Writing to a string cannot fail.
fn push(out: &mut String, text: std::fmt::Arguments<'_>) {
    let _ = out.write_fmt(text);
}

/// A blank line and a heading.
pub fn heading(out: &mut String, text: &str) {
    push(out, format_args!("\n{HEADING}{text}{HEADING:#}\n"));
}

/// Rows in aligned columns, two spaces in.
pub fn columns(out: &mut String, rows: &[Vec<String>]) {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..count)
        .map(|column| {
            rows.iter()
                .filter_map(|row| row.get(column))
                .map(|cell| cell.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    for row in rows {
        let mut line = String::from("  ");
        for (cell, width) in row.iter().zip(&widths) {
            push(&mut line, format_args!("{cell:<width$}  "));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
}

/// A paragraph with a hanging indent.
pub fn bullet(out: &mut String, lead: &str, text: &str) {
    let mut column = lead.chars().count();
    let indent = " ".repeat(column);
    let mut line = lead.to_owned();
    let mut fresh = true;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if !fresh && column + 1 + length > WIDTH {
            push(out, format_args!("{line}\n"));
            line.clone_from(&indent);
            column = indent.len();
            fresh = true;
        }
        if !fresh {
            line.push(' ');
            column += 1;
        }
        line.push_str(word);
        column += length;
        fresh = false;
    }
    push(out, format_args!("{line}\n"));
}

fn row(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|cell| (*cell).to_owned()).collect()
}

fn criteria(out: &mut String, study: &ShotStudy, units: UnitSystem) {
    if study.criteria.is_empty() {
        return;
    }
    heading(out, "Criteria");
    let mut rows = vec![row(&["", "", "value", "limit", "margin"])];
    for criterion in &study.criteria {
        rows.push(vec![
            if criterion.pass { "pass" } else { "FAIL" }.to_owned(),
            criterion.label(),
            wording::value(criterion, units),
            wording::requirement(criterion, units),
            wording::margin(criterion, units),
        ]);
    }
    columns(out, &rows);
}

fn numbers(out: &mut String, study: &ShotStudy, units: UnitSystem) {
    let outcome = &study.discharge.outcome;
    heading(out, "Numbers");
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut add = |name: &str, value: String, when: Option<f64>| {
        let when = when.map_or(String::new(), |time| {
            format!("at {}", format_time(time, units))
        });
        rows.push(vec![name.to_owned(), value, when]);
    };
    let bay = outcome.peak_bay_pressure;
    add(
        "peak bay pressure",
        wording::both_pressures(bay.value, study.ambient_pressure, units),
        Some(bay.time),
    );
    if let Some(held) = &study.held {
        let opening = outcome.peak_opening_force;
        add(
            "peak opening force",
            format!(
                "{}{}",
                format_force(opening.value, units),
                wording::with_the_spring(held, units)
            ),
            Some(opening.time),
        );
        add(
            "force that holds the nose",
            format!(
                "{}{}",
                format_force(held.retention_force, units),
                wording::less_the_spring(held, units)
            ),
            None,
        );
        add(
            "  as pressure above ambient",
            crate::units::format_gauge_pressure(held.retention_pressure, units),
            None,
        );
        add(
            "force available, nose held",
            format!(
                "{} ({} retention)",
                format_force(held.peak_force.value, units),
                wording::times(held.factor())
            ),
            Some(held.peak_force.time),
        );
        let never = || "never".to_owned();
        if !study.nose_held {
            add(
                if wording::pinned(study) {
                    "pins break"
                } else {
                    "nose starts to move"
                },
                outcome
                    .pins_break_time
                    .map_or_else(never, |t| format_time(t, units)),
                None,
            );
            add(
                "nose clear",
                outcome
                    .clear_time
                    .map_or_else(never, |t| format_time(t, units)),
                None,
            );
            add(
                "exit speed",
                outcome
                    .exit_speed
                    .map_or_else(never, |v| format_speed(v, units)),
                None,
            );
            add(
                "furthest travel",
                format_length(outcome.furthest_travel, units),
                None,
            );
        }
        if let Some(peak) = outcome.peak_tether_load {
            add(
                "peak tether load",
                format_force(peak.value, units),
                Some(peak.time),
            );
        }
    }
    columns(out, &rows);
}

fn events(out: &mut String, study: &ShotStudy, units: UnitSystem) {
    if study.discharge.events.is_empty() {
        return;
    }
    heading(out, "Events");
    const MOST: usize = 24;
    let events = &study.discharge.events;
    let mut rows: Vec<Vec<String>> = events
        .iter()
        .take(MOST)
        .map(|event| {
            vec![
                format_time(event.time, units),
                wording::event(&event.kind, study),
            ]
        })
        .collect();
    if events.len() > MOST {
        rows.push(vec![
            String::new(),
            format!("and {} more (all in --format json)", events.len() - MOST),
        ]);
    }
    columns(out, &rows);
}

fn vessels(out: &mut String, study: &ShotStudy, units: UnitSystem) {
    heading(out, "Vessels");
    let mut rows = vec![row(&[
        "",
        "peak",
        "at",
        "coldest",
        "CO2 first",
        "CO2 last",
        "dry ice",
        "liquid",
    ])];
    for vessel in &study.discharge.outcome.vessels {
        let mass = |mass: f64| {
            if mass > 1e-7 {
                format_mass(mass, units)
            } else {
                "-".to_owned()
            }
        };
        rows.push(vec![
            vessel.name.clone(),
            crate::units::format_pressure(vessel.peak_pressure.value, units),
            format_time(vessel.peak_pressure.time, units),
            format_temperature(vessel.coldest.value, units),
            mass(vessel.initial_co2),
            mass(vessel.final_co2),
            mass(vessel.final_solid),
            mass(vessel.final_liquid),
        ]);
    }
    columns(out, &rows);
}

fn warnings(out: &mut String, study: &ShotStudy, units: UnitSystem) {
    if study.warnings.is_empty() {
        return;
    }
    heading(out, "Warnings");
    for warning in &study.warnings {
        let (text, remedy) = wording::warning(warning, study, units);
        let mut line = String::new();
        bullet(&mut line, "  ! ", &format!("{text} Remedy: {remedy}."));
        push(out, format_args!("{WARNING}{line}{WARNING:#}"));
    }
}

/// What every report says about handling the thing.
pub fn cautions(out: &mut String) {
    heading(out, "Cautions");
    for caution in wording::CAUTIONS {
        bullet(out, "  - ", caution);
    }
}

fn audit(out: &mut String, study: &ShotStudy) {
    let audit = &study.discharge.audit;
    push(
        out,
        format_args!(
            "\n{ASIDE}mass closed to {:.0e}, energy to {:.0e} of what moved; {} steps, {} \
             rejected, {} evaluations{ASIDE:#}\n",
            audit.mass_closure,
            audit.energy_closure,
            audit.steps,
            audit.rejected_steps,
            audit.evaluations
        ),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paragraphs_hang_and_stay_within_the_width() {
        let mut out = String::new();
        bullet(&mut out, "  - ", &"word ".repeat(60));
        assert!(out.lines().all(|line| line.len() <= WIDTH));
        assert!(out.lines().skip(1).all(|line| line.starts_with("    word")));
        assert!(out.lines().count() > 2);
    }
}
