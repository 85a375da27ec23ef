//! Shear pins, one by one: by the strength measured, or by material and thread.

use std::f64::consts::PI;

use crate::design::build::{Site, TEMPERATURES};
use crate::design::error::{DesignError, Problem};
use crate::design::reader::{Kind, Reader};
use crate::design::schema::{PinSection, Text};
use crate::mechanics::nose::Pin;
use crate::mechanics::shear_pin::{PIN_MATERIALS, PinMaterial, THREADS, Thread, single_shear_load};
use crate::units::{Dimension, Limits};

/// Most pins in one entry.
const MOST_PINS: usize = 64;
/// Scatter from pin to pin where none is given: 5 to 10 % is common practice, nothing published.
const DEFAULT_SCATTER: &str = "normal 1 sd 0.07 within 0.7 .. 1.3";
/// Travel over which a sheared pin lets go where none is given.
const DEFAULT_TEAR_LENGTH: &str = "0.5 mm";

/// Adds the pins of one entry, each with its own draw.
pub(super) fn group(
    at: &str,
    section: &PinSection,
    site: &Site,
    pins: &mut Vec<Pin>,
    reader: &mut Reader<'_>,
) -> Result<(), DesignError> {
    let count = reader.count(&format!("{at}.count"), section.count.as_ref(), MOST_PINS)?;
    let tear_length = reader.or_default(
        at,
        "tear_length",
        section.tear_length.as_ref(),
        DEFAULT_TEAR_LENGTH,
        Kind::not_negative(Dimension::Length),
    )?;
    match (&section.strength, &section.material) {
        (Some(Text(text)), None) => {
            if let Some(field) = field_of_a_material(section) {
                return Err(needs_material(at, field, reader));
            }
            let kind = Kind::not_negative(Dimension::Force);
            for number in 1..=count {
                let strength = reader.value(&format!("{at}.strength#{number}"), text, kind)?;
                pins.push(Pin {
                    strength,
                    tear_length,
                });
            }
            Ok(())
        }
        (None, Some(material)) => {
            let nominal = nominal_load(at, section, material, site, reader)?;
            let scatter = section
                .scatter
                .as_ref()
                .map_or(DEFAULT_SCATTER, |Text(text)| text);
            let kind = Kind::not_negative(Dimension::Number);
            for number in 1..=count {
                let share = reader.value(&format!("{at}.scatter#{number}"), scatter, kind)?;
                pins.push(Pin {
                    strength: nominal * share,
                    tear_length,
                });
            }
            Ok(())
        }
        (Some(_), Some(_)) => Err(reader.error(
            &format!("{at}.strength"),
            Problem::Conflict {
                message: "`strength` and `material` both say when the pin shears".to_owned(),
                help: "keep `strength` if it was measured".to_owned(),
            },
        )),
        (None, None) => Err(reader.error(
            &format!("{at}.strength"),
            Problem::Missing {
                name: "strength".to_owned(),
                expected: "`strength: \"120 N\"`, or `material: \"nylon-6/6\", thread: \"M2\"`,"
                    .to_owned(),
            },
        )),
    }
}

/// The first field that only goes with a material.
fn field_of_a_material(section: &PinSection) -> Option<&'static str> {
    [
        ("thread", section.thread.is_some()),
        ("diameter", section.diameter.is_some()),
        ("shear_strength", section.shear_strength.is_some()),
        ("scatter", section.scatter.is_some()),
        ("temperature", section.temperature.is_some()),
        ("humidity", section.humidity.is_some()),
    ]
    .into_iter()
    .find_map(|(name, there)| there.then_some(name))
}

fn needs_material(at: &str, field: &str, reader: &Reader<'_>) -> DesignError {
    reader.error(
        &format!("{at}.{field}"),
        Problem::Conflict {
            message: format!("`{field}` goes with `material`; `strength` is the load as it is"),
            help: "remove it, or replace `strength` by `material` and `thread`".to_owned(),
        },
    )
}

/// Load of the average pin of the lot, at its temperature and humidity [N].
fn nominal_load(
    at: &str,
    section: &PinSection,
    material: &Text,
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<f64, DesignError> {
    let Some(material) = PinMaterial::named(&material.0) else {
        return Err(reader.error(
            &format!("{at}.material"),
            Problem::UnknownPart {
                kind: "pin material",
                name: material.0.clone(),
                known: PIN_MATERIALS
                    .iter()
                    .map(|known| known.name.to_owned())
                    .collect(),
            },
        ));
    };
    let area = sheared_area(at, section, reader)?;
    // One lot: the strength of the material is one draw for all pins of the entry.
    let (least, most) = material.shear_strength;
    let published = format!("uniform {} MPa .. {} MPa", least / 1e6, most / 1e6);
    let shear_strength = reader.or_default(
        at,
        "shear_strength",
        section.shear_strength.as_ref(),
        &published,
        Kind::positive(Dimension::Stress),
    )?;
    let temperature = reader
        .optional(
            at,
            "temperature",
            section.temperature.as_ref(),
            Kind::within(Dimension::Temperature, TEMPERATURES),
        )?
        .unwrap_or(site.temperature);
    let humidity = reader.or_default(
        at,
        "humidity",
        section.humidity.as_ref(),
        "50 %",
        Kind::within(Dimension::Fraction, Limits::between(0.0, 0.5)),
    )?;
    single_shear_load(material, shear_strength, area, temperature, humidity).map_err(|error| {
        let problem = Problem::Physics {
            reason: error.to_string(),
        };
        reader.error(&format!("{at}.temperature"), problem)
    })
}

/// Cross-section of a thread's root, or of a plain pin [m2].
fn sheared_area(
    at: &str,
    section: &PinSection,
    reader: &mut Reader<'_>,
) -> Result<f64, DesignError> {
    let plain = reader.optional(
        at,
        "diameter",
        section.diameter.as_ref(),
        Kind::positive(Dimension::Length),
    )?;
    match (plain, &section.thread) {
        (Some(diameter), None) => Ok(0.25 * PI * diameter * diameter),
        (None, Some(Text(name))) => match Thread::named(name) {
            Ok(thread) => Ok(thread.root_area()),
            Err(_) => Err(reader.error(
                &format!("{at}.thread"),
                Problem::UnknownPart {
                    kind: "thread",
                    name: name.clone(),
                    known: THREADS.iter().map(|known| known.name.to_owned()).collect(),
                },
            )),
        },
        (Some(_), Some(_)) => Err(reader.error(
            &format!("{at}.diameter"),
            Problem::Conflict {
                message: "`thread` and `diameter` both give the sheared cross-section".to_owned(),
                help: "keep `diameter` for a plain pin, `thread` for a screw".to_owned(),
            },
        )),
        (None, None) => Err(reader.error(
            &format!("{at}.thread"),
            Problem::Missing {
                name: "thread".to_owned(),
                expected: "`thread: \"M2\"`, or `diameter: \"1.5 mm\"` for a plain pin,".to_owned(),
            },
        )),
    }
}
