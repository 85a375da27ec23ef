//! From sections to a system in SI.

mod decay;
mod nose;
mod path;
mod pin;
mod vessel;

use crate::network::atmosphere;
use crate::network::criteria::Criteria;
use crate::network::spec::{Ambient, End, System};
use crate::thermo::source::Tables;
use crate::units::{Dimension, Limits};

use super::document::Document;
use super::error::{DesignError, Problem};
use super::parts::{self, Part};
use super::reader::{Kind, Reader};
use super::schema::{CriteriaSection, DesignSection, SiteSection, Text};

/// Temperatures any part of a design may have [K].
pub(super) const TEMPERATURES: Limits = Limits::between(150.0, 700.0);
/// Temperatures of the surrounding air [K].
const AIR_TEMPERATURES: Limits = Limits::between(170.0, 350.0);
/// Longest simulated time when none is given.
const DEFAULT_HORIZON: &str = "3 s";

/// What the rest of a design needs to know about its surroundings.
pub(super) struct Site {
    /// Air pressure [Pa].
    pub pressure: f64,
    /// Air temperature [K].
    pub temperature: f64,
    /// On a bench: angle of the nose above the horizontal [rad].
    pub bench_elevation: Option<f64>,
}

/// Names of a map in the order of the file.
pub(super) fn names_in_order<T>(
    document: &Document,
    section: &str,
    table: &super::schema::Table<T>,
) -> Vec<String> {
    let written = document.tree.as_ref().and_then(|tree| tree.find(section));
    let mut names: Vec<String> = written
        .map(|node| {
            node.entries()
                .iter()
                .map(|entry| entry.key.clone())
                .collect()
        })
        .unwrap_or_default();
    names.retain(|name| table.contains_key(name));
    for name in table.keys() {
        if !names.contains(name) {
            names.push(name.clone());
        }
    }
    names
}

/// A part by name, or an error at the field that names it.
pub(super) fn part<P: Part>(
    reader: &Reader<'_>,
    path: &str,
    name: Option<&Text>,
    library: &'static [P],
) -> Result<Option<&'static P>, DesignError> {
    let Some(Text(name)) = name else {
        return Ok(None);
    };
    match parts::find(library, name) {
        Some(part) => Ok(Some(part)),
        None => Err(reader.error(
            path,
            Problem::UnknownPart {
                kind: P::KIND,
                name: name.clone(),
                known: library.iter().map(|part| part.name().to_owned()).collect(),
            },
        )),
    }
}

/// Builds the system and its criteria from one reading.
pub(super) fn system(
    document: &Document,
    design: &DesignSection,
    reader: &mut Reader<'_>,
) -> Result<(System, Criteria), DesignError> {
    check_names(document, design)?;
    let site = site(&design.site, reader)?;
    reader.surroundings = Some(site.pressure);

    let vessel_names = names_in_order(document, "vessels", &design.vessels);
    let mut vessels = Vec::with_capacity(vessel_names.len());
    for name in &vessel_names {
        if let Some(section) = design.vessels.get(name) {
            vessels.push(vessel::vessel(name, section, &site, reader)?);
        }
    }
    if vessels.is_empty() {
        let expected = "at least one vessel".to_owned();
        let problem = Problem::Missing {
            name: "vessels".to_owned(),
            expected,
        };
        return Err(reader.error("vessels", problem));
    }
    let mut paths = Vec::with_capacity(design.paths.len());
    for name in names_in_order(document, "paths", &design.paths) {
        if let Some(section) = design.paths.get(&name) {
            paths.push(path::path(&name, section, &vessel_names, &site, reader)?);
        }
    }
    let nose = match &design.nose {
        Some(section) => Some(nose::nose(section, &vessel_names, &site, reader)?),
        None => None,
    };
    let criteria = criteria(&design.criteria, reader)?;
    let reached: Vec<End> = paths.iter().flat_map(|path| [path.from, path.to]).collect();
    for (index, name) in vessel_names.iter().enumerate() {
        if vessels.len() > 1 && !reached.contains(&End::Vessel(index)) {
            return Err(reader.error(&format!("vessels.{name}"), apart(name)));
        }
    }
    if nose.is_none()
        && let Some(name) = only_for_a_nose(&criteria)
    {
        return Err(reader.error(&format!("criteria.{name}"), without_nose(name)));
    }
    let horizon = reader.value(
        "horizon",
        design
            .horizon
            .as_ref()
            .map_or(DEFAULT_HORIZON, |Text(text)| text),
        Kind::within(
            Dimension::Time,
            Limits {
                least: 0.0,
                least_allowed: false,
                most: 36_000.0,
            },
        ),
    )?;
    let ambient = Ambient {
        times: vec![0.0],
        pressures: vec![site.pressure],
        temperatures: vec![site.temperature],
    };
    let system = System {
        vessels,
        paths,
        ambient,
        nose,
        horizon,
    };
    system.masses_at_start(&Tables).map_err(|error| {
        let reason = error.to_string();
        reader.error("vessels", Problem::Physics { reason })
    })?;
    Ok((system, criteria))
}

/// A vessel beside others that nothing flows to or from.
fn apart(name: &str) -> Problem {
    Problem::Conflict {
        message: format!("no path leads to `{name}` or from it: what it holds never matters"),
        help: "add the path in `paths` (`from` and `to` name vessels), or take the vessel out"
            .to_owned(),
    }
}

/// The first criterion given that only a nose could meet.
fn only_for_a_nose(criteria: &Criteria) -> Option<&'static str> {
    let given = [
        ("clear_within", criteria.clear_within),
        ("exit_speed_least", criteria.exit_speed_least),
        ("exit_speed_most", criteria.exit_speed_most),
        ("retention_factor", criteria.retention_factor),
    ];
    given
        .into_iter()
        .find_map(|(name, value)| value.map(|_| name))
}

fn without_nose(name: &str) -> Problem {
    Problem::Conflict {
        message: format!("`{name}` judges a nose, and the design has none"),
        help: "add a `nose` section, or take the criterion out".to_owned(),
    }
}

/// Names must fit into a dotted path.
fn check_names(document: &Document, design: &DesignSection) -> Result<(), DesignError> {
    let good = |name: &str| {
        name.starts_with(|c: char| c.is_ascii_alphabetic())
            && name
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_'))
    };
    let vessels = design.vessels.keys().map(|name| ("vessels", name));
    let paths = design.paths.keys().map(|name| ("paths", name));
    let shared = design.shared.keys().map(|name| ("shared", name));
    for (section, name) in vessels.chain(paths).chain(shared) {
        let reserved = section == "vessels" && name == path::AMBIENT;
        let dashed = section == "shared" && name.contains('-');
        if !good(name) || reserved || dashed {
            let problem = Problem::BadName { name: name.clone() };
            return Err(document.error_at(&format!("{section}.{name}"), problem));
        }
    }
    Ok(())
}

fn site(section: &SiteSection, reader: &mut Reader<'_>) -> Result<Site, DesignError> {
    let flight = reader.word(
        "site.mode",
        &section.mode.0,
        &[("flight", true), ("bench", false)],
    )?;
    let altitude_limits =
        Limits::between(atmosphere::ALTITUDE_RANGE.0, atmosphere::ALTITUDE_RANGE.1);
    let altitude = reader.optional(
        "site",
        "altitude",
        section.altitude.as_ref(),
        Kind::within(Dimension::Length, altitude_limits),
    )?;
    let pressure = reader.optional(
        "site",
        "pressure",
        section.pressure.as_ref(),
        Kind::within(Dimension::AbsolutePressure, Limits::between(10.0, 1.2e5)),
    )?;
    let standard = altitude.and_then(atmosphere::standard_air);
    let pressure = match (pressure, standard) {
        (Some(pressure), None) => pressure,
        (None, Some(air)) => air.pressure,
        (Some(_), Some(_)) => {
            return Err(reader.error(
                "site.pressure",
                Problem::Conflict {
                    message: "`altitude` and `pressure` both give the pressure of the air"
                        .to_owned(),
                    help: "keep the one that is known better".to_owned(),
                },
            ));
        }
        (None, None) => {
            return Err(reader.error(
                "site.pressure",
                Problem::Missing {
                    name: "pressure".to_owned(),
                    expected: "`pressure: \"1.013 bara\"` or `altitude: \"1.9 km\"`".to_owned(),
                },
            ));
        }
    };
    let temperature = reader.optional(
        "site",
        "temperature",
        section.temperature.as_ref(),
        Kind::within(Dimension::Temperature, AIR_TEMPERATURES),
    )?;
    let Some(temperature) = temperature.or(standard.map(|air| air.temperature)) else {
        return Err(reader.error(
            "site.temperature",
            Problem::Missing {
                name: "temperature".to_owned(),
                expected: "the temperature of the air, such as \"15 degC\"".to_owned(),
            },
        ));
    };
    let elevation = reader.optional(
        "site",
        "elevation",
        section.elevation.as_ref(),
        Kind::within(
            Dimension::Angle,
            Limits::between(-std::f64::consts::FRAC_PI_2, std::f64::consts::FRAC_PI_2),
        ),
    )?;
    let bench_elevation =
        match (flight, elevation) {
            (true, None) => None,
            (false, angle) => Some(angle.unwrap_or(0.0)),
            (true, Some(_)) => {
                return Err(reader.error("site.elevation", Problem::Conflict {
                message: "`elevation` says how a bench holds the nose; in flight it has no meaning"
                    .to_owned(),
                help: "remove it, or write `mode: \"bench\"`".to_owned(),
            }));
            }
        };
    Ok(Site {
        pressure,
        temperature,
        bench_elevation,
    })
}

fn criteria(section: &CriteriaSection, reader: &mut Reader<'_>) -> Result<Criteria, DesignError> {
    let speed = Kind::positive(Dimension::Speed);
    let criteria = Criteria {
        clear_within: reader.optional(
            "criteria",
            "clear_within",
            section.clear_within.as_ref(),
            Kind::positive(Dimension::Time),
        )?,
        exit_speed_least: reader.optional(
            "criteria",
            "exit_speed_least",
            section.exit_speed_least.as_ref(),
            speed,
        )?,
        exit_speed_most: reader.optional(
            "criteria",
            "exit_speed_most",
            section.exit_speed_most.as_ref(),
            speed,
        )?,
        retention_factor: reader.optional(
            "criteria",
            "retention_factor",
            section.retention_factor.as_ref(),
            Kind::positive(Dimension::Number),
        )?,
    };
    if let (Some(least), Some(most)) = (criteria.exit_speed_least, criteria.exit_speed_most)
        && least >= most
    {
        return Err(reader.error(
            "criteria.exit_speed_least",
            Problem::Order {
                lower: "exit_speed_least".to_owned(),
                upper: "exit_speed_most".to_owned(),
            },
        ));
    }
    Ok(criteria)
}
