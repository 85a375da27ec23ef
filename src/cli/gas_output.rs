//! A state of CO2, and the map of the inversion, as text, JSON and CSV.

use serde::Serialize;

use crate::cli::Failure;
use crate::thermo::map::{FlashMap, Outcome};
use crate::thermo::{Phase, SolidPoint, State};
use crate::units::Dimension;
use crate::units::{
    UnitSystem, format, format_percent, format_pressure, format_temperature, significant,
};

/// A state in SI; what is undefined is absent (specific heats of several phases together, the
/// sound speed of anything but one fluid phase, liquid and vapour beyond the critical point).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
struct Record {
    temperature_k: f64,
    pressure_pa: f64,
    density_kg_m3: f64,
    internal_energy_j_kg: f64,
    enthalpy_j_kg: f64,
    entropy_j_kg_k: f64,
    cp_j_kg_k: Option<f64>,
    cv_j_kg_k: Option<f64>,
    sound_speed_m_s: Option<f64>,
    phase: &'static str,
    solid_fraction: f64,
    liquid_fraction: Option<f64>,
    vapour_fraction: Option<f64>,
}

impl Record {
    fn new(state: &State) -> Self {
        let finite = |value: f64| value.is_finite().then_some(value);
        let (cp, cv, sound_speed) = match (&state.fluid, state.phase) {
            (Some(point), _) => (finite(point.cp()), finite(point.cv), point.sound_speed()),
            (None, Phase::Solid) => {
                let point = SolidPoint::new(state.temperature, state.pressure);
                (finite(point.cp), finite(point.cv()), None)
            }
            _ => (None, None, None),
        };
        Self {
            temperature_k: state.temperature,
            pressure_pa: state.pressure,
            density_kg_m3: state.density,
            internal_energy_j_kg: state.internal_energy,
            enthalpy_j_kg: state.enthalpy(),
            entropy_j_kg_k: state.entropy,
            cp_j_kg_k: cp,
            cv_j_kg_k: cv,
            sound_speed_m_s: sound_speed,
            phase: state.phase.name(),
            solid_fraction: state.solid_fraction,
            liquid_fraction: state.liquid_fraction,
            vapour_fraction: state.vapour_fraction,
        }
    }
}

/// Temperature, pressure and density in a few words.
pub(crate) fn in_short(state: &State, units: UnitSystem) -> String {
    format!(
        "{} at {}, {}, {}",
        state.phase.name(),
        format_temperature(state.temperature, units),
        format_pressure(state.pressure, units),
        format(Dimension::Density, state.density, units)
    )
}

/// A share, with enough digits that a trace does not read as nothing.
fn share(value: f64) -> String {
    if value > 0.0 && value < 9.5e-4 {
        format!("{} %", significant(100.0 * value))
    } else {
        format_percent(value)
    }
}

/// The answer in one line, then the table.
pub(crate) fn text(state: &State, units: UnitSystem) -> String {
    let record = Record::new(state);
    let mut answer = format!(
        "{} at {} and {}",
        record.phase,
        format_temperature(state.temperature, units),
        format_pressure(state.pressure, units)
    );
    let shares: Vec<String> = [
        ("dry ice", Some(record.solid_fraction)),
        ("liquid", record.liquid_fraction),
        ("vapour", record.vapour_fraction),
    ]
    .into_iter()
    .filter_map(|(name, fraction)| {
        fraction
            .filter(|x| *x > 0.0 && *x < 1.0)
            .map(|x| format!("{} {name}", share(x)))
    })
    .collect();
    if !shares.is_empty() {
        answer.push_str(": ");
        answer.push_str(&shares.join(", "));
    }
    let (size, energy, heat, speed_size, speed) = match units {
        UnitSystem::Metric => (1e3, "kJ/kg", "kJ/(kg K)", 1.0, "m/s"),
        UnitSystem::Us => (2326.0, "BTU/lb", "BTU/(lb degF)", 0.3048, "ft/s"),
    };
    let heat_size = match units {
        UnitSystem::Metric => 1e3,
        UnitSystem::Us => 4186.8,
    };
    let scaled = |value: Option<f64>, size: f64, unit: &str| match value {
        Some(value) => format!("{} {unit}", significant_5(value / size)),
        None => "-".to_owned(),
    };
    let si = |value: Option<f64>, unit: &str| match value {
        Some(value) => format!("{} {unit}", significant_9(value)),
        None => "undefined".to_owned(),
    };
    let rows = [
        (
            "temperature",
            format_temperature(record.temperature_k, units),
            si(Some(record.temperature_k), "K"),
        ),
        (
            "pressure",
            format_pressure(record.pressure_pa, units),
            si(Some(record.pressure_pa), "Pa"),
        ),
        (
            "density",
            format(Dimension::Density, record.density_kg_m3, units),
            si(Some(record.density_kg_m3), "kg/m3"),
        ),
        (
            "internal energy",
            scaled(Some(record.internal_energy_j_kg), size, energy),
            si(Some(record.internal_energy_j_kg), "J/kg"),
        ),
        (
            "enthalpy",
            scaled(Some(record.enthalpy_j_kg), size, energy),
            si(Some(record.enthalpy_j_kg), "J/kg"),
        ),
        (
            "entropy",
            scaled(Some(record.entropy_j_kg_k), heat_size, heat),
            si(Some(record.entropy_j_kg_k), "J/(kg K)"),
        ),
        (
            "cp",
            scaled(record.cp_j_kg_k, heat_size, heat),
            si(record.cp_j_kg_k, "J/(kg K)"),
        ),
        (
            "cv",
            scaled(record.cv_j_kg_k, heat_size, heat),
            si(record.cv_j_kg_k, "J/(kg K)"),
        ),
        (
            "sound speed",
            scaled(record.sound_speed_m_s, speed_size, speed),
            si(record.sound_speed_m_s, "m/s"),
        ),
    ];
    let widths = rows.iter().fold((0, 0), |(a, b), row| {
        (a.max(row.0.len()), b.max(row.1.len()))
    });
    let mut text = answer;
    text.push('\n');
    for (name, readable, exact) in rows {
        text.push_str(&format!(
            "  {name:<a$}  {readable:>b$}   {exact}\n",
            a = widths.0,
            b = widths.1
        ));
    }
    text
}

/// A number with a given count of significant digits, plain where that stays readable.
fn digits(value: f64, count: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor() as i32;
    if (-5..12).contains(&magnitude) {
        let decimals = (count - 1 - magnitude).max(0) as usize;
        format!("{value:.decimals$}")
    } else {
        format!("{value:.*e}", (count - 1).max(0) as usize)
    }
}

fn significant_5(value: f64) -> String {
    digits(value, 5)
}

fn significant_9(value: f64) -> String {
    digits(value, 9)
}

/// One JSON object in SI units; null where undefined.
pub(crate) fn json(state: &State) -> Result<String, Failure> {
    to_json(&Record::new(state))
}

fn to_json(value: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map(|text| text + "\n")
        .map_err(|error| Failure::computation(error.to_string()))
}

/// A header and one row in SI units; empty where undefined.
pub(crate) fn csv(state: &State) -> Result<String, Failure> {
    to_csv([Record::new(state)])
}

fn to_csv(rows: impl IntoIterator<Item = impl Serialize>) -> Result<String, Failure> {
    let failed = |error: String| Failure::computation(error);
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer
            .serialize(row)
            .map_err(|error| failed(error.to_string()))?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| failed(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| failed(error.to_string()))
}

const PHASES: [Phase; 8] = [
    Phase::Gas,
    Phase::Liquid,
    Phase::Supercritical,
    Phase::Solid,
    Phase::LiquidVapour,
    Phase::SolidVapour,
    Phase::SolidLiquid,
    Phase::SolidLiquidVapour,
];

/// One region of the map.
#[derive(Debug, Serialize)]
struct Region {
    phase: &'static str,
    states: usize,
    largest_relative_error: f64,
}

/// The map in numbers.
#[derive(Debug, Serialize)]
struct Summary {
    points: usize,
    without_state: usize,
    states: usize,
    tolerance: f64,
    largest_relative_error: f64,
    regions: Vec<Region>,
    failures: Vec<Row>,
}

/// One point of the map.
#[derive(Debug, Serialize)]
struct Row {
    temperature_k: f64,
    density_kg_m3: f64,
    phase: &'static str,
    relative_error: Option<f64>,
    reason: Option<String>,
}

fn row(point: &crate::thermo::map::MapPoint) -> Row {
    let (phase, relative_error, reason) = match &point.outcome {
        Outcome::Returned { phase, error } => (phase.name(), Some(*error), None),
        Outcome::NoState(error) => ("none", None, Some(error.to_string())),
        Outcome::Refused { phase, reason } => (phase.name(), None, Some(reason.to_string())),
    };
    Row {
        temperature_k: point.temperature,
        density_kg_m3: point.density,
        phase,
        relative_error,
        reason,
    }
}

fn summary(map: &FlashMap, tolerance: f64) -> Summary {
    let points = map.points().count();
    let without_state = map.without_state().count();
    let regions: Vec<Region> = PHASES
        .iter()
        .map(|phase| {
            let (states, largest_relative_error) = map.region(*phase);
            Region {
                phase: phase.name(),
                states,
                largest_relative_error,
            }
        })
        .filter(|region| region.states > 0)
        .collect();
    Summary {
        points,
        without_state,
        states: points - without_state,
        tolerance,
        largest_relative_error: regions.iter().fold(0.0, |worst, region| {
            region.largest_relative_error.max(worst)
        }),
        regions,
        failures: map.failures(tolerance).map(row).collect(),
    }
}

/// Verdict, then the regions, then every failure.
pub(crate) fn map_text(map: &FlashMap, tolerance: f64) -> String {
    let summary = summary(map, tolerance);
    let mut text = if summary.failures.is_empty() {
        format!(
            "all {} states come back from density and energy within {tolerance:e} of their \
             temperature (largest difference {:.1e})\n",
            summary.states, summary.largest_relative_error
        )
    } else {
        format!(
            "{} of {} states do not come back from density and energy within {tolerance:e} of their \
             temperature\n",
            summary.failures.len(),
            summary.states
        )
    };
    for region in &summary.regions {
        text.push_str(&format!(
            "  {:<20} {:>7} states   largest difference {:.1e}\n",
            region.phase, region.states, region.largest_relative_error
        ));
    }
    text.push_str(&format!(
        "  {:<20} {:>7} points\n",
        "no such state", summary.without_state
    ));
    for failure in &summary.failures {
        text.push_str(&format!(
            "  failed: T = {} K, rho = {} kg/m3, {}: {}\n",
            failure.temperature_k,
            failure.density_kg_m3,
            failure.phase,
            failure.reason.clone().unwrap_or_else(|| format!(
                "returned with a difference of {:.1e}",
                failure.relative_error.unwrap_or(f64::NAN)
            ))
        ));
    }
    text
}

/// The map's summary as one JSON object.
pub(crate) fn map_json(map: &FlashMap, tolerance: f64) -> Result<String, Failure> {
    to_json(&summary(map, tolerance))
}

/// Every point of the map as a row.
pub(crate) fn map_csv(map: &FlashMap) -> Result<String, Failure> {
    to_csv(map.points().map(row))
}
