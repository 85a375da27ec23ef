//! What a design means, as text and as JSON.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde::Serialize;

use crate::design::Design;
use crate::design::sizing::Plan;
use crate::design::summary::{ChargeSummary, NoseSummary, Summary, friction_may_cross};
use crate::study::HeldNose;
use crate::units::{
    UnitSystem, format, format_area, format_force, format_length, format_mass, format_pressure,
    format_pressure_difference, format_temperature, format_time, format_volume,
};

use super::ReportError;
use super::terminal::{PASS, bullet, columns, heading};
use super::wording;

/// A design with what is known about it before a shot.
#[derive(Debug, Clone, Copy)]
pub struct Meaning<'a> {
    /// The design.
    pub design: &'a Design,
    /// Its numbers.
    pub summary: &'a Summary,
    /// What the bay could do with the nose held; `None` without a nose.
    pub held: Option<&'a HeldNose>,
}

/// What a design means, for people; with `brief` the first line alone.
#[must_use]
pub fn text(meaning: Meaning<'_>, units: UnitSystem, brief: bool) -> String {
    let Meaning {
        design,
        summary,
        held,
    } = meaning;
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{PASS}VALID{PASS:#}  {}: {} vessels, {} paths, {} uncertain values",
        design.name(),
        summary.vessels.len(),
        summary.paths.len(),
        design.inputs().len()
    );
    if brief {
        return out;
    }
    vessels(&mut out, summary, units);
    paths(&mut out, summary, units);
    if let (Some(nose), Some(held)) = (&summary.nose, held) {
        heading(&mut out, "Nose");
        let ambient = summary.ambient_pressure;
        columns(&mut out, &nose_rows(nose, ambient, units));
        let crossing = friction_may_cross(design).then(|| CROSSING_FRICTION.to_owned());
        for line in balance(nose, held, units).into_iter().chain(crossing) {
            bullet(&mut out, "  - ", &line);
        }
    }
    if let Some(plan) = design.plan() {
        heading(&mut out, "Left open, here as written (`size` chooses)");
        columns(&mut out, &left_open(plan, units));
    }
    heading(&mut out, "Outside");
    let pressure = format_pressure(summary.ambient_pressure, units);
    let temperature = format_temperature(summary.ambient_temperature, units);
    columns(&mut out, &[vec![pressure, temperature]]);
    if !design.inputs().is_empty() {
        heading(&mut out, "Uncertain values, here at their central value");
        columns(&mut out, &inputs(design, units));
    }
    out
}

/// What is made of draws of the two frictions that cross.
const CROSSING_FRICTION: &str = "Where trials draw `kinetic_friction` above `static_friction`, sliding holds as much as \
                                 sticking does, not more: the lower of the two counts as both.";

fn left_open(plan: &Plan, units: UnitSystem) -> Vec<Vec<String>> {
    let choices = plan.choices.iter().map(|choice| {
        let options: Vec<&str> = choice.options.iter().map(|o| o.label.as_str()).collect();
        vec![choice.name.clone(), options.join(", ")]
    });
    let values = plan.values.iter().map(|value| {
        let (least, most) = (value.shown(0, units), value.shown(value.points - 1, units));
        let step = format(value.dimension, value.step, units);
        vec![value.name.clone(), format!("{least} to {most} by {step}")]
    });
    choices.chain(values).collect()
}

fn inputs(design: &Design, units: UnitSystem) -> Vec<Vec<String>> {
    design
        .inputs()
        .iter()
        .zip(design.central())
        .map(|(input, central)| {
            let word = input.words.get(central.max(0.0).round() as usize);
            let shown = word
                .cloned()
                .unwrap_or_else(|| format(input.dimension, central, units));
            vec![input.path.clone(), shown]
        })
        .collect()
}

fn vessels(out: &mut String, summary: &Summary, units: UnitSystem) {
    heading(out, "Vessels");
    let head = [
        "",
        "volume",
        "CO2",
        "fill",
        "starts at",
        "",
        "phase",
        "liquid-full from",
        "at 65 degC",
        "rating",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for vessel in &summary.vessels {
        let charge = |show: &dyn Fn(&ChargeSummary) -> String| {
            vessel.charge.as_ref().map_or_else(|| "-".to_owned(), show)
        };
        rows.push(vec![
            vessel.name.clone(),
            format_volume(vessel.volume, units),
            charge(&|charge| format_mass(charge.mass, units)),
            charge(&|charge| wording::density(charge.fill_density, units)),
            format_temperature(vessel.temperature, units),
            format_pressure(vessel.pressure, units),
            charge(&|charge| charge.phase.to_owned()),
            charge(&|charge| {
                charge.liquid_full_temperature.map_or_else(
                    || "never".to_owned(),
                    |full| format_temperature(full, units),
                )
            }),
            charge(&|charge| format_pressure(charge.hot_day_pressure, units)),
            vessel.pressure_rating.map_or_else(
                || "not given".to_owned(),
                |rating| {
                    let exceeded = if vessel.pressure > rating {
                        ", exceeded"
                    } else {
                        ""
                    };
                    format!("{}{exceeded}", format_pressure(rating, units))
                },
            ),
        ]);
    }
    columns(out, &rows);
}

fn paths(out: &mut String, summary: &Summary, units: UnitSystem) {
    heading(out, "Paths");
    let rows: Vec<Vec<String>> = summary
        .paths
        .iter()
        .map(|path| {
            let opening = if path.opening_time > 0.0 && path.opening_time.is_finite() {
                let time = format_time(path.opening_time, units);
                format!("fully open {time} after its command")
            } else {
                String::new()
            };
            let area = format_area(path.effective_area, units);
            vec![path.name.clone(), format!("{area} effective"), opening]
        })
        .collect();
    columns(out, &rows);
}

fn nose_rows(nose: &NoseSummary, ambient: f64, units: UnitSystem) -> Vec<Vec<String>> {
    let needed = wording::both_pressures(nose.bay_pressure_to_leave, ambient, units);
    [
        ("area", format_area(nose.area, units)),
        ("pins", format_force(nose.pin_force, units)),
        (
            "all that holds it",
            format_force(nose.retention_force, units),
        ),
        ("bay pressure needed", needed),
    ]
    .map(|(name, value)| vec![name.to_owned(), value])
    .to_vec()
}

fn balance(nose: &NoseSummary, held: &HeldNose, units: UnitSystem) -> Vec<String> {
    let mut lines = Vec::new();
    if nose.leak_area > 0.0 {
        let diameter = (4.0 * nose.leak_area / std::f64::consts::PI).sqrt();
        lines.push(format!(
            "Leaks and vents of {}: {} effective, as one perfect hole of {}.",
            nose.vessel,
            format_area(nose.leak_area, units),
            format_length(diameter, units)
        ));
    }
    let how = if held.still_rising {
        "still rises at the end of the run at"
    } else if nose.leak_area > 0.0 {
        "balances inflow and leakage at"
    } else {
        "peaks at"
    };
    let spare = held.peak_pressure.value - nose.bay_pressure_to_leave;
    let word = if spare < 0.0 { "less" } else { "more" };
    lines.push(format!(
        "With the nose held, {} {how} {}, {} {word} than needed: {} retention.",
        nose.vessel,
        format_pressure(held.peak_pressure.value, units),
        format_pressure_difference(spare.abs(), units),
        wording::times(held.factor())
    ));
    lines
}

#[derive(Serialize)]
struct Document<'a> {
    design: &'a str,
    valid: bool,
    ambient_pressure_pa: f64,
    ambient_temperature_k: f64,
    vessels: BTreeMap<&'a str, Vessel>,
    paths: BTreeMap<&'a str, Path>,
    nose: Option<Nose>,
    inputs: Vec<Input<'a>>,
}

#[derive(Serialize)]
struct Vessel {
    volume_m3: f64,
    temperature_k: f64,
    pressure_pa: f64,
    co2_mass_kg: f64,
    fill_density_kg_m3: Option<f64>,
    phase: Option<&'static str>,
    liquid_fraction: Option<f64>,
    liquid_full_temperature_k: Option<f64>,
    pressure_at_65_degc_pa: Option<f64>,
    pressure_rating_pa: Option<f64>,
}

#[derive(Serialize)]
struct Path {
    effective_area_m2: f64,
    opening_time_s: Option<f64>,
}

#[derive(Serialize)]
struct Nose {
    area_m2: f64,
    pin_force_n: f64,
    retention_force_n: f64,
    retention_pressure_pa: f64,
    bay_pressure_needed_pa: f64,
    effective_leak_area_m2: f64,
    held_opening_force_n: f64,
    leak_balance_pressure_pa: f64,
    still_rising: bool,
    retention_factor: Option<f64>,
    perfect_gas_pressure_pa: f64,
}

#[derive(Serialize)]
struct Input<'a> {
    path: &'a str,
    central: f64,
}

/// What a design means, in SI, as one JSON document.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn json(meaning: Meaning<'_>) -> Result<String, ReportError> {
    let Meaning {
        design,
        summary,
        held,
    } = meaning;
    let central = design.central();
    let document = Document {
        design: design.name(),
        valid: true,
        ambient_pressure_pa: summary.ambient_pressure,
        ambient_temperature_k: summary.ambient_temperature,
        vessels: summary
            .vessels
            .iter()
            .map(|vessel| {
                let charge = vessel.charge.as_ref();
                let numbers = Vessel {
                    volume_m3: vessel.volume,
                    temperature_k: vessel.temperature,
                    pressure_pa: vessel.pressure,
                    co2_mass_kg: charge.map_or(0.0, |charge| charge.mass),
                    fill_density_kg_m3: charge.map(|charge| charge.fill_density),
                    phase: charge.map(|charge| charge.phase),
                    liquid_fraction: charge.and_then(|charge| charge.liquid_fraction),
                    liquid_full_temperature_k: charge
                        .and_then(|charge| charge.liquid_full_temperature),
                    pressure_at_65_degc_pa: charge.map(|charge| charge.hot_day_pressure),
                    pressure_rating_pa: vessel.pressure_rating,
                };
                (vessel.name.as_str(), numbers)
            })
            .collect(),
        paths: summary
            .paths
            .iter()
            .map(|path| {
                let numbers = Path {
                    effective_area_m2: path.effective_area,
                    opening_time_s: Some(path.opening_time).filter(|time| time.is_finite()),
                };
                (path.name.as_str(), numbers)
            })
            .collect(),
        nose: summary.nose.as_ref().zip(held).map(|(nose, held)| Nose {
            area_m2: nose.area,
            pin_force_n: nose.pin_force,
            retention_force_n: nose.retention_force,
            retention_pressure_pa: nose.retention_pressure,
            bay_pressure_needed_pa: nose.bay_pressure_to_leave,
            effective_leak_area_m2: nose.leak_area,
            held_opening_force_n: held.peak_force.value,
            leak_balance_pressure_pa: held.peak_pressure.value,
            still_rising: held.still_rising,
            retention_factor: Some(held.factor()).filter(|factor| factor.is_finite()),
            perfect_gas_pressure_pa: nose.ideal_gas_pressure,
        }),
        inputs: design
            .inputs()
            .iter()
            .zip(&central)
            .map(|(input, central)| Input {
                path: &input.path,
                central: *central,
            })
            .collect(),
    };
    Ok(serde_json::to_string_pretty(&document)? + "\n")
}
