//! Cartridges, manifolds, reservoirs and bays.

use std::f64::consts::PI;

use crate::design::build::{Site, TEMPERATURES, part};
use crate::design::error::{DesignError, Problem};
use crate::design::parts::{CARTRIDGES, Cartridge, WALL_MATERIALS};
use crate::design::reader::{Kind, Reader};
use crate::design::schema::{InsideSection, OutsideSection, Text, VesselSection, WallSection};
use crate::network::spec::{Condensation, Draw, InsideHeat, OutsideHeat, Role, Vessel, Wall};
use crate::thermo::{air, coexistence, flash};
use crate::units::{
    Dimension, Limits, UnitSystem, format_mass, format_pressure, format_temperature, format_volume,
    significant,
};

/// Roles by name.
const ROLES: [(&str, Role); 4] = [
    ("cartridge", Role::Cartridge),
    ("manifold", Role::Manifold),
    ("reservoir", Role::Reservoir),
    ("bay", Role::Bay),
];
const DRAWS: [(&str, Draw); 3] = [
    ("vapour", Draw::Vapour),
    ("liquid", Draw::Liquid),
    ("mixed", Draw::Mixed),
];
const CONDENSATIONS: [(&str, Condensation); 2] = [
    ("equilibrium", Condensation::Equilibrium),
    ("metastable", Condensation::Metastable),
];

/// Pressure beyond the test pressure of any cartridge or bottle of CO2 [Pa].
const HIGHEST_PRESSURE: f64 = 100e6;
/// Higher of the two customary test pressures of CO2 cylinders, 250 bar gauge (UN packing
/// instruction P200 for UN 1013) [Pa].
const CUSTOMARY_TEST_PRESSURE: f64 = 25.1e6;
/// Length over diameter of a vessel whose areas are not given.
const SLENDERNESS: f64 = 3.0;
/// Roughness of drawn steel in Cooper's sense, the customary value.
const DEFAULT_ROUGHNESS: &str = "1 um";
const STANDARD_GRAVITY: &str = "9.80665 m/s2";

/// Builds one vessel.
pub(super) fn vessel(
    name: &str,
    section: &VesselSection,
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<Vessel, DesignError> {
    let at = format!("vessels.{name}");
    let role = reader.word(&format!("{at}.kind"), &section.kind.0, &ROLES)?;
    let part = part(
        reader,
        &format!("{at}.part"),
        section.part.as_ref(),
        CARTRIDGES,
    )?;
    if part.is_some() && role != Role::Cartridge {
        return Err(reader.error(
            &format!("{at}.part"),
            Problem::Conflict {
                message: "only a cartridge has parts in the library".to_owned(),
                help: "write `kind: \"cartridge\"`, or give the values themselves".to_owned(),
            },
        ));
    }
    let volume = reader.required(
        &at,
        "volume",
        section.volume.as_ref(),
        part.map(|part| part.volume),
        Kind::positive(Dimension::Volume),
    )?;
    let temperature = match &section.temperature {
        Some(Text(text)) => reader.value(
            &format!("{at}.temperature"),
            text,
            Kind::within(Dimension::Temperature, TEMPERATURES),
        )?,
        None => site.temperature,
    };
    let charge = charge(&at, section, role, part, reader)?;
    let rating = match section
        .rating
        .as_ref()
        .map(|Text(t)| t.as_str())
        .or(part.map(|p| p.rating))
    {
        Some(text) => Some(reader.value(
            &format!("{at}.rating"),
            text,
            Kind::positive(Dimension::Pressure),
        )?),
        None => None,
    };
    let air_mass = air_mass(&at, section, charge, volume, temperature, site, reader)?;
    if let Some(charge) = charge {
        check_fill(&at, role, charge, volume, temperature, rating, reader)?;
    }
    let draw = match &section.draw {
        Some(Text(text)) => reader.word(&format!("{at}.draw"), text, &DRAWS)?,
        // A manifold is a passage: what comes in goes on as it is.
        None if role == Role::Manifold => Draw::Mixed,
        None => Draw::Vapour,
    };
    let condensation = match &section.condensation {
        Some(Text(text)) => reader.word(&format!("{at}.condensation"), text, &CONDENSATIONS)?,
        None => Condensation::Equilibrium,
    };
    let wall = wall(&at, section, part, volume, temperature, reader)?;
    Ok(Vessel {
        name: name.to_owned(),
        role,
        volume,
        co2_mass: charge.unwrap_or(0.0),
        air_mass,
        temperature,
        // Pierced on the ground and held by the valve, unless a pressure of its own is given.
        stands_open: role == Role::Manifold && charge.is_none() && section.pressure.is_none(),
        draw,
        condensation,
        wall,
        pressure_rating: rating,
    })
}

/// Mass of CO2 at the start, if any.
fn charge(
    at: &str,
    section: &VesselSection,
    role: Role,
    part: Option<&Cartridge>,
    reader: &mut Reader<'_>,
) -> Result<Option<f64>, DesignError> {
    let kind = Kind::positive(Dimension::Mass);
    if role == Role::Cartridge {
        let from_part = part.map(|part| part.charge);
        return reader
            .required(at, "charge", section.charge.as_ref(), from_part, kind)
            .map(Some);
    }
    reader.optional(at, "charge", section.charge.as_ref(), kind)
}

/// Air at the start: the surroundings' pressure unless given; none beside a charge.
fn air_mass(
    at: &str,
    section: &VesselSection,
    charge: Option<f64>,
    volume: f64,
    temperature: f64,
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<f64, DesignError> {
    let kind = Kind::not_negative(Dimension::AbsolutePressure);
    let given = reader.optional(at, "pressure", section.pressure.as_ref(), kind)?;
    match (given, charge) {
        (Some(_), Some(_)) => Err(reader.error(
            &format!("{at}.pressure"),
            Problem::Conflict {
                message:
                    "`pressure` is that of the air at the start, but a vessel with a `charge` \
                      holds CO2 alone"
                        .to_owned(),
                help:
                    "remove one of the two; the pressure of a charge follows from mass, volume and \
                   temperature"
                        .to_owned(),
            },
        )),
        (None, Some(_)) => Ok(0.0),
        (pressure, None) => {
            let pressure = pressure.unwrap_or(site.pressure);
            Ok(pressure * volume / (air::GAS_CONSTANT * temperature))
        }
    }
}

/// A charge must be a fluid that the vessel holds.
fn check_fill(
    at: &str,
    role: Role,
    charge: f64,
    volume: f64,
    temperature: f64,
    rating: Option<f64>,
    reader: &Reader<'_>,
) -> Result<(), DesignError> {
    let metric = UnitSystem::Metric;
    let triple = coexistence::triple_point().map_err(|error| physics(at, error, reader))?;
    if temperature < triple.temperature {
        return Err(reader.error(
            &format!("{at}.temperature"),
            Problem::BelowTriplePoint {
                temperature: format_temperature(temperature, metric),
                triple_point: format_temperature(triple.temperature, metric),
            },
        ));
    }
    let density = charge / volume;
    let overfilled = |limit: String| {
        reader.error(
            &format!("{at}.charge"),
            Problem::Overfilled {
                charge: format_mass(charge, metric),
                volume: format_volume(volume, metric),
                density: format!("{} kg/L", significant(density / 1000.0)),
                temperature: format_temperature(temperature, metric),
                limit,
            },
        )
    };
    // Denser than any liquid at ordinary pressures: do not ask the fluid equation at all.
    if density > 1_500.0 {
        return Err(overfilled("no fluid CO2 is that dense".to_owned()));
    }
    let state = flash::at_temperature_density(temperature, density)
        .map_err(|error| overfilled(format!("the state cannot exist: {error}")))?;
    if state.solid_fraction > 0.0 {
        return Err(overfilled("the charge would be solid".to_owned()));
    }
    if state.pressure > HIGHEST_PRESSURE {
        return Err(overfilled(format!(
            "the pressure would be {}, more than any such vessel holds",
            format_pressure(state.pressure, metric)
        )));
    }
    // A drawn hot day above the rating is a finding of the run, not a mistake of the design.
    if !reader.is_collecting() {
        return Ok(());
    }
    let (limit, words) = match (rating, role) {
        (Some(rating), _) => (rating, "above its rating of"),
        (None, Role::Cartridge) => (
            CUSTOMARY_TEST_PRESSURE,
            "above the highest customary test pressure (give `rating` if yours is higher),",
        ),
        (None, _) => (HIGHEST_PRESSURE, "above"),
    };
    if state.pressure > limit {
        return Err(overfilled(format!(
            "the pressure would be {}, {words} {}",
            format_pressure(state.pressure, metric),
            format_pressure(limit, metric)
        )));
    }
    Ok(())
}

fn physics(at: &str, error: impl std::fmt::Display, reader: &Reader<'_>) -> DesignError {
    reader.error(
        at,
        Problem::Physics {
            reason: error.to_string(),
        },
    )
}

/// Areas of a capped cylinder of the volume and customary slenderness.
struct Shape {
    diameter: f64,
    area: f64,
}

impl Shape {
    fn of(volume: f64) -> Self {
        let diameter = (4.0 * volume / (PI * SLENDERNESS)).cbrt();
        Shape {
            diameter,
            area: PI * diameter * diameter * (SLENDERNESS + 0.5),
        }
    }

    /// Area outside a wall.
    fn outer_area(&self, thickness: f64) -> f64 {
        let diameter = self.diameter + 2.0 * thickness;
        let length = SLENDERNESS * self.diameter + 2.0 * thickness;
        PI * diameter * (length + 0.5 * diameter)
    }
}

fn wall(
    vessel: &str,
    section: &VesselSection,
    part: Option<&Cartridge>,
    volume: f64,
    temperature: f64,
    reader: &mut Reader<'_>,
) -> Result<Option<Wall>, DesignError> {
    let empty = WallSection::default();
    let insulated = section.insulated.unwrap_or(false);
    let written = match (&section.wall, insulated, part) {
        (Some(_), true, _) => {
            return Err(reader.error(
                &format!("{vessel}.insulated"),
                Problem::Conflict {
                    message: "`insulated` means no heat from the wall, but a `wall` is given"
                        .to_owned(),
                    help: "remove one of the two".to_owned(),
                },
            ));
        }
        (Some(wall), false, _) => wall,
        (None, false, Some(_)) => &empty,
        (None, _, _) => return Ok(None),
    };
    let at = format!("{vessel}.wall");
    let material_name = written
        .material
        .clone()
        .or(part.map(|_| Text("steel".to_owned())));
    let material = super::part(
        reader,
        &format!("{at}.material"),
        material_name.as_ref(),
        WALL_MATERIALS,
    )?;
    let mass = reader.required(
        &at,
        "mass",
        written.mass.as_ref(),
        part.map(|part| part.wall_mass),
        Kind::positive(Dimension::Mass),
    )?;
    let thickness = reader.required(
        &at,
        "thickness",
        written.thickness.as_ref(),
        part.map(|part| part.wall_thickness),
        Kind::positive(Dimension::Length),
    )?;
    let specific_heat = reader.required(
        &at,
        "specific_heat",
        written.specific_heat.as_ref(),
        material.map(|material| material.specific_heat),
        Kind::positive(Dimension::SpecificHeat),
    )?;
    let conductivity = reader.required(
        &at,
        "conductivity",
        written.conductivity.as_ref(),
        material.map(|material| material.conductivity),
        Kind::positive(Dimension::Conductivity),
    )?;
    let shape = Shape::of(volume);
    let area = Kind::positive(Dimension::Area);
    let inner_area = reader
        .optional(&at, "inner_area", written.inner_area.as_ref(), area)?
        .unwrap_or(shape.area);
    let outer_area = reader
        .optional(&at, "outer_area", written.outer_area.as_ref(), area)?
        .unwrap_or_else(|| shape.outer_area(thickness));
    let wall_temperature = reader
        .optional(
            &at,
            "temperature",
            written.temperature.as_ref(),
            Kind::within(Dimension::Temperature, TEMPERATURES),
        )?
        .unwrap_or(temperature);
    let holds_charge = part.is_some() || section.charge.is_some();
    let inside = inside(&at, written.inside.as_ref(), holds_charge, &shape, reader)?;
    let outside = outside(&at, written.outside.as_ref(), &shape, reader)?;
    let solar = reader
        .optional(
            &at,
            "solar",
            written.solar.as_ref(),
            Kind::not_negative(Dimension::Power),
        )?
        .unwrap_or(0.0);
    Ok(Some(Wall {
        heat_capacity: mass * specific_heat,
        temperature: wall_temperature,
        conduction_resistance: thickness / (conductivity * inner_area),
        inner_area,
        outer_area,
        inside,
        outside,
        solar,
    }))
}

fn inside(
    wall: &str,
    section: Option<&InsideSection>,
    holds_charge: bool,
    shape: &Shape,
    reader: &mut Reader<'_>,
) -> Result<InsideHeat, DesignError> {
    let at = format!("{wall}.inside");
    let length = Kind::positive(Dimension::Length);
    let acceleration = Kind::not_negative(Dimension::Acceleration);
    match section {
        Some(InsideSection::Coefficient(Text(text))) => {
            let kind = Kind::not_negative(Dimension::HeatTransferCoefficient);
            Ok(InsideHeat::Coefficient(reader.value(&at, text, kind)?))
        }
        Some(InsideSection::Boiling {
            roughness,
            area_factor,
            height,
            gravity,
        }) => Ok(InsideHeat::Boiling {
            roughness: reader.or_default(
                &at,
                "roughness",
                roughness.as_ref(),
                DEFAULT_ROUGHNESS,
                length,
            )?,
            area_factor: reader.or_default(
                &at,
                "area_factor",
                area_factor.as_ref(),
                "1",
                Kind::within(Dimension::Fraction, Limits::UNIT_INTERVAL),
            )?,
            height: reader
                .optional(&at, "height", height.as_ref(), length)?
                .unwrap_or(SLENDERNESS * shape.diameter),
            gravity: reader.or_default(
                &at,
                "gravity",
                gravity.as_ref(),
                STANDARD_GRAVITY,
                acceleration,
            )?,
        }),
        None if holds_charge => {
            let none = InsideSection::Boiling {
                roughness: None,
                area_factor: None,
                height: None,
                gravity: None,
            };
            inside(wall, Some(&none), holds_charge, shape, reader)
        }
        None => {
            let none = InsideSection::NaturalConvection {
                height: None,
                gravity: None,
            };
            inside(wall, Some(&none), holds_charge, shape, reader)
        }
        Some(InsideSection::NaturalConvection { height, gravity }) => {
            Ok(InsideHeat::NaturalConvection {
                height: reader
                    .optional(&at, "height", height.as_ref(), length)?
                    .unwrap_or(shape.diameter),
                gravity: reader.or_default(
                    &at,
                    "gravity",
                    gravity.as_ref(),
                    STANDARD_GRAVITY,
                    acceleration,
                )?,
            })
        }
        Some(InsideSection::StirredJet {
            diameter: Text(text),
        }) => Ok(InsideHeat::StirredJet {
            diameter: reader.value(&format!("{at}.diameter"), text, length)?,
        }),
    }
}

fn outside(
    wall: &str,
    section: Option<&OutsideSection>,
    shape: &Shape,
    reader: &mut Reader<'_>,
) -> Result<OutsideHeat, DesignError> {
    let at = format!("{wall}.outside");
    match section {
        Some(OutsideSection::Adiabatic) => Ok(OutsideHeat::Adiabatic),
        Some(OutsideSection::Coefficient(Text(text))) => {
            let kind = Kind::not_negative(Dimension::HeatTransferCoefficient);
            Ok(OutsideHeat::Coefficient(reader.value(&at, text, kind)?))
        }
        Some(OutsideSection::NaturalConvection { height }) => {
            let height = reader
                .optional(
                    &at,
                    "height",
                    height.as_ref(),
                    Kind::positive(Dimension::Length),
                )?
                .unwrap_or(SLENDERNESS * shape.diameter);
            Ok(OutsideHeat::NaturalConvection { height })
        }
        None => Ok(OutsideHeat::NaturalConvection {
            height: SLENDERNESS * shape.diameter,
        }),
    }
}
