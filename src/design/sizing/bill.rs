//! What a design is made of, with the mass and volume of each part.

use std::f64::consts::PI;

use crate::design::Design;
use crate::design::build::names_in_order;
use crate::design::parts::{
    self, CARTRIDGES, PIN_STOCK, Part, SERVOS, STRIKER, VALVES, WALL_MATERIALS,
};
use crate::design::schema::{OpeningSection, PinSection, Text, VesselSection};
use crate::mechanics::shear_pin::Thread;
use crate::units::Dimension;

use super::options::central;

/// Shell over charge of a cartridge that says nothing of its shell.
const SHELL_PER_CHARGE: f64 = 3.0;
/// Diameter of a pin known by its strength alone [m].
const USUAL_PIN: f64 = 2e-3;
/// Length of a pin over its diameter, head included.
const PIN_LENGTH: f64 = 6.0;
/// Energy a steel coil spring stores for its mass [J/kg]: half of tau^2/(4 G rho) at 700 MPa, for
/// ends and clearance.
const SPRING_ENERGY: f64 = 99.0;

/// One part.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// What it is: "co2-16g as cartridge".
    pub what: String,
    /// Mass [kg].
    pub mass: f64,
    /// Volume taken up [m3].
    pub volume: f64,
    /// Where mass and volume come from.
    pub origin: String,
}

/// All parts whose choice is a matter of size.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bill {
    /// The parts.
    pub items: Vec<Item>,
}

impl Bill {
    /// Mass of all [kg].
    #[must_use]
    pub fn mass(&self) -> f64 {
        self.items.iter().map(|item| item.mass).sum()
    }

    /// Volume of all [m3].
    #[must_use]
    pub fn volume(&self) -> f64 {
        self.items.iter().map(|item| item.volume).sum()
    }
}

/// Adds up cartridges, shells, valves, servos, pins and spring.
///
/// A cartridge takes its water volume and that of its steel; a vessel with a shell its volume and
/// that of the shell; a valve the first body of the library whose bore is enough, with its servo;
/// whatever opens without a servo counts as a striker.
#[must_use]
pub fn bill(design: &Design) -> Bill {
    let mut items = Vec::new();
    let sections = &design.sections;
    for name in names_in_order(&design.document, "vessels", &sections.vessels) {
        if let Some(vessel) = sections.vessels.get(&name) {
            items.push(vessel_item(design, &name, vessel));
        }
    }
    for name in names_in_order(&design.document, "paths", &sections.paths) {
        let Some(path) = sections.paths.get(&name) else {
            continue;
        };
        if path.kind.0.trim() != "valve" {
            continue;
        }
        if let Some(OpeningSection::Servo { part, .. }) = &path.opening {
            items.push(body(design, &name));
            items.push(servo(&name, part.as_ref()));
        } else {
            items.push(Item {
                what: format!("{} of {name}", STRIKER.name),
                mass: read(STRIKER.mass, Dimension::Mass),
                volume: read(STRIKER.volume, Dimension::Volume),
                origin: STRIKER.origin.to_owned(),
            });
        }
    }
    if let Some(nose) = &sections.nose {
        items.extend(nose.pins.iter().map(pins));
        if let Some(spring) = &nose.spring {
            let force = read(&spring.force.0, Dimension::Force);
            let stroke = read(&spring.stroke.0, Dimension::Length);
            let mass = 0.5 * force * stroke / SPRING_ENERGY;
            items.push(Item {
                what: "separation spring".to_owned(),
                mass,
                volume: 3.0 * mass / density("steel"),
                origin: "stored energy over 99 J/kg of steel coil; a third of its space is wire"
                    .to_owned(),
            });
        }
    }
    Bill { items }
}

fn read(text: &str, dimension: Dimension) -> f64 {
    central(text, dimension).unwrap_or(0.0)
}

/// Density of a wall material [kg/m3]; that of glass-epoxy where none is named.
fn density(material: &str) -> f64 {
    parts::find(WALL_MATERIALS, material).map_or(1900.0, |material| {
        read(material.density, Dimension::Density)
    })
}

fn vessel_item(design: &Design, name: &str, vessel: &VesselSection) -> Item {
    let part = vessel
        .part
        .as_ref()
        .and_then(|Text(part)| parts::find(CARTRIDGES, part));
    let wall = vessel.wall.as_ref();
    let value = |field: &str| design.catalogue.central(&format!("vessels.{name}.{field}"));
    let written = wall.and_then(|wall| wall.mass.as_ref());
    let volume = value("volume").unwrap_or(0.0);
    let is_cartridge = vessel.kind.0.trim() == "cartridge";
    let shell_known = value("wall.mass");
    let charge = value("charge").unwrap_or(0.0);
    let (shell, shell_origin) = match (shell_known, written, part) {
        (Some(mass), Some(_), _) => (mass, "weight of the shell as written".to_owned()),
        (Some(mass), None, Some(part)) => (mass, part.origin().to_owned()),
        _ if is_cartridge => (
            SHELL_PER_CHARGE * charge,
            "steel of three times the charge, common practice, from memory".to_owned(),
        ),
        _ => (
            0.0,
            "no shell written, so its weight is not counted".to_owned(),
        ),
    };
    let default = if is_cartridge { "steel" } else { "glass-epoxy" };
    let material = wall
        .and_then(|wall| wall.material.as_ref())
        .map_or(default, |Text(material)| material.trim());
    let what = match (part, is_cartridge) {
        (Some(part), _) => format!("{} as {name}", part.name),
        (None, true) => format!("{name}, {:.4} g of CO2", charge * 1e3),
        (None, false) => format!("shell of {name}"),
    };
    Item {
        what,
        mass: shell + charge,
        volume: volume + shell / density(material),
        origin: format!("{shell_origin}; space is volume and material of the shell"),
    }
}

fn body(design: &Design, path: &str) -> Item {
    let value = |field: &str| design.catalogue.central(&format!("paths.{path}.{field}"));
    let bore = value("diameter")
        .or_else(|| value("area").map(|area| (4.0 * area / PI).sqrt()))
        .unwrap_or(0.0);
    let enough = VALVES
        .iter()
        .find(|body| read(body.bore, Dimension::Length) >= bore * (1.0 - 1e-9));
    match enough.or(VALVES.last()) {
        Some(body) => Item {
            what: format!("{} as {path}", body.name),
            mass: read(body.mass, Dimension::Mass),
            volume: read(body.volume, Dimension::Volume),
            origin: body.origin.to_owned(),
        },
        None => Item {
            what: path.to_owned(),
            mass: 0.0,
            volume: 0.0,
            origin: "no valve in the library".to_owned(),
        },
    }
}

fn servo(path: &str, part: Option<&Text>) -> Item {
    let named = part.and_then(|Text(part)| parts::find(SERVOS, part));
    let standard = parts::find(SERVOS, "servo-standard");
    match named.or(standard) {
        Some(servo) => Item {
            what: format!("{} of {path}", servo.name),
            mass: read(servo.mass, Dimension::Mass),
            volume: read(servo.volume, Dimension::Volume),
            origin: servo.origin.to_owned(),
        },
        None => Item {
            what: format!("servo of {path}"),
            mass: 0.0,
            volume: 0.0,
            origin: "no servo in the library".to_owned(),
        },
    }
}

fn pins(pins: &PinSection) -> Item {
    let count = pins
        .count
        .as_ref()
        .and_then(|Text(count)| count.trim().parse::<f64>().ok())
        .unwrap_or(1.0);
    let thread = pins
        .thread
        .as_ref()
        .and_then(|Text(thread)| Thread::named(thread).ok());
    let diameter = match (thread, &pins.diameter) {
        (Some(thread), _) => thread.major_diameter,
        (None, Some(Text(diameter))) => read(diameter, Dimension::Length),
        (None, None) => USUAL_PIN,
    };
    let material = pins
        .material
        .as_ref()
        .map_or("nylon-6/6", |Text(m)| m.trim());
    let stock = parts::find(PIN_STOCK, material);
    let density = stock.map_or(1140.0, |stock| read(stock.density, Dimension::Density));
    let volume = count * 0.25 * PI * diameter * diameter * PIN_LENGTH * diameter;
    Item {
        what: format!("shear pins, {count}"),
        mass: density * volume,
        volume,
        origin: stock.map_or("", |stock| stock.origin).to_owned(),
    }
}
