//! A shot as one JSON document, in SI; what did not happen is null.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::discharge::Discharge;
use crate::study::ShotStudy;
use crate::units::UnitSystem;

use super::{ReportError, wording};

#[derive(Serialize)]
struct Shot<'a> {
    design: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    trial: Option<&'a DrawnTrial>,
    verdict: &'static str,
    first_failed: Option<String>,
    criteria: Vec<Criterion>,
    events: Vec<Event<'a>>,
    peak_bay_pressure_pa: f64,
    peak_bay_pressure_time_s: f64,
    peak_opening_force_n: Option<f64>,
    nose_moves_time_s: Option<f64>,
    pins_break_time_s: Option<f64>,
    clear_time_s: Option<f64>,
    exit_speed_m_s: Option<f64>,
    retention_force_n: Option<f64>,
    held_opening_force_n: Option<f64>,
    held_bay_pressure_pa: Option<f64>,
    retention_factor: Option<f64>,
    peak_tether_load_n: Option<f64>,
    furthest_travel_m: Option<f64>,
    tolerable_leak_area_m2: Option<f64>,
    tolerable_leak_is_lower_bound: Option<bool>,
    perfect_gas_pressure_pa: f64,
    nose_held: bool,
    warnings: Vec<Warning>,
    series: Series<'a>,
    audit: Audit,
}

#[derive(Serialize)]
struct Criterion {
    name: String,
    value: Option<f64>,
    limit: f64,
    margin: Option<f64>,
    pass: bool,
}

#[derive(Serialize)]
struct Event<'a> {
    name: &'static str,
    subject: Option<&'a str>,
    time_s: f64,
}

#[derive(Serialize)]
struct Warning {
    text: String,
    remedy: &'static str,
}

#[derive(Serialize)]
struct Series<'a> {
    time_s: &'a [f64],
    vessels: BTreeMap<&'a str, Vessel<'a>>,
    paths: BTreeMap<&'a str, Path<'a>>,
    nose: Option<Nose<'a>>,
}

#[derive(Serialize)]
struct Vessel<'a> {
    pressure_pa: &'a [f64],
    temperature_k: &'a [f64],
    co2_mass_kg: &'a [f64],
    air_mass_kg: &'a [f64],
    solid_kg: &'a [f64],
    liquid_kg: &'a [f64],
    wall_temperature_k: Option<&'a [f64]>,
}

#[derive(Serialize)]
struct Path<'a> {
    mass_flow_kg_s: &'a [f64],
    open_area_m2: &'a [f64],
    choked: &'a [bool],
}

#[derive(Serialize)]
struct Nose<'a> {
    travel_m: &'a [f64],
    speed_m_s: &'a [f64],
    opening_force_n: &'a [f64],
    tether_tension_n: &'a [f64],
}

#[derive(Serialize)]
struct Audit {
    mass_closure: f64,
    energy_closure: f64,
    steps: u64,
    rejected_steps: u64,
    evaluations: u64,
    stiff_steps: u64,
}

/// The trial of a campaign that a shot shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DrawnTrial {
    /// Its number.
    pub trial: u64,
    /// Seed of the campaign.
    pub seed: u64,
    /// Value of each input by where it is written in the design [SI]; of a choice among words, the place of the word
    /// counted from 0.
    pub inputs: BTreeMap<String, f64>,
}

/// The document, ending with a line break.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn shot(
    name: &str,
    study: &ShotStudy,
    trial: Option<&DrawnTrial>,
) -> Result<String, ReportError> {
    let discharge = &study.discharge;
    let outcome = &discharge.outcome;
    let held = study.held.as_ref();
    let document = Shot {
        design: name,
        trial,
        verdict: if study.pass() { "pass" } else { "fail" },
        first_failed: study.first_failed().map(crate::study::Criterion::name),
        criteria: criteria(study),
        events: discharge
            .events
            .iter()
            .map(|event| Event {
                name: wording::event_name(&event.kind, study),
                subject: event.kind.subject(),
                time_s: event.time,
            })
            .collect(),
        peak_bay_pressure_pa: outcome.peak_bay_pressure.value,
        peak_bay_pressure_time_s: outcome.peak_bay_pressure.time,
        peak_opening_force_n: held.map(|_| outcome.peak_opening_force.value),
        nose_moves_time_s: outcome.pins_break_time,
        pins_break_time_s: outcome.pins_break_time.filter(|_| wording::pinned(study)),
        clear_time_s: outcome.clear_time,
        exit_speed_m_s: outcome.exit_speed,
        retention_force_n: held.map(|held| held.retention_force),
        held_opening_force_n: held.map(|held| held.peak_force.value),
        held_bay_pressure_pa: held.map(|held| held.peak_pressure.value),
        retention_factor: held
            .map(|held| held.factor())
            .filter(|factor| factor.is_finite()),
        peak_tether_load_n: outcome.peak_tether_load.map(|peak| peak.value),
        furthest_travel_m: held.map(|_| outcome.furthest_travel),
        tolerable_leak_area_m2: study.tolerable_leak.map(|leak| leak.area),
        tolerable_leak_is_lower_bound: study.tolerable_leak.map(|leak| leak.at_least),
        perfect_gas_pressure_pa: study.perfect_gas_pressure,
        nose_held: study.nose_held,
        warnings: study
            .warnings
            .iter()
            .map(|warning| {
                let (text, remedy) = wording::warning(warning, study, UnitSystem::Metric);
                Warning { text, remedy }
            })
            .collect(),
        series: series(discharge),
        audit: Audit {
            mass_closure: discharge.audit.mass_closure,
            energy_closure: discharge.audit.energy_closure,
            steps: discharge.audit.steps,
            rejected_steps: discharge.audit.rejected_steps,
            evaluations: discharge.audit.evaluations,
            stiff_steps: discharge.audit.stiff_steps,
        },
    };
    Ok(serde_json::to_string(&document)? + "\n")
}

fn criteria(study: &ShotStudy) -> Vec<Criterion> {
    study
        .criteria
        .iter()
        .map(|criterion| Criterion {
            name: criterion.name(),
            value: criterion.value.filter(|value| value.is_finite()),
            limit: criterion.limit,
            margin: criterion.margin().filter(|margin| margin.is_finite()),
            pass: criterion.pass,
        })
        .collect()
}

fn series(discharge: &Discharge) -> Series<'_> {
    let trajectory = &discharge.trajectory;
    Series {
        time_s: &trajectory.times,
        vessels: trajectory
            .vessels
            .iter()
            .map(|vessel| {
                let wall = vessel.wall_temperature.as_slice();
                let columns = Vessel {
                    pressure_pa: &vessel.pressure,
                    temperature_k: &vessel.temperature,
                    co2_mass_kg: &vessel.co2_mass,
                    air_mass_kg: &vessel.air_mass,
                    solid_kg: &vessel.solid_mass,
                    liquid_kg: &vessel.liquid_mass,
                    wall_temperature_k: (!wall.is_empty()).then_some(wall),
                };
                (vessel.name.as_str(), columns)
            })
            .collect(),
        paths: trajectory
            .paths
            .iter()
            .map(|path| {
                let columns = Path {
                    mass_flow_kg_s: &path.mass_flow,
                    open_area_m2: &path.open_area,
                    choked: &path.choked,
                };
                (path.name.as_str(), columns)
            })
            .collect(),
        nose: trajectory.nose.as_ref().map(|nose| Nose {
            travel_m: &nose.travel,
            speed_m_s: &nose.speed,
            opening_force_n: &nose.opening_force,
            tether_tension_n: &nose.tether_tension,
        }),
    }
}
