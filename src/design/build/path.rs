//! Valves, orifices, leaks, vents and tubes.

use std::f64::consts::{FRAC_PI_2, PI};

use crate::design::build::{Site, TEMPERATURES, decay, part};
use crate::design::error::{DesignError, Problem};
use crate::design::parts::SERVOS;
use crate::design::reader::{Kind, Reader};
use crate::design::schema::{OpeningSection, PathSection, PortSection, Text, TubeSection};
use crate::flow::FluxModel;
use crate::flow::friction::FRICTION_NUMBER_RANGE;
use crate::flow::opening::{Opening, PortLaw, servo_slew};
use crate::flow::valve_coefficient;
use crate::network::spec::{Command, End, Path, PathRole};
use crate::units::{Dimension, Limits};

/// The surroundings, as an end of a path.
pub(super) const AMBIENT: &str = "ambient";

/// Words for the kind of path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Written {
    Valve,
    Orifice,
    Leak,
    Vent,
    Tube,
}

const KINDS: [(&str, Written); 5] = [
    ("valve", Written::Valve),
    ("orifice", Written::Orifice),
    ("leak", Written::Leak),
    ("vent", Written::Vent),
    ("tube", Written::Tube),
];
const FLOWS: [(&str, FluxModel); 4] = [
    ("equilibrium", FluxModel::Equilibrium),
    ("frozen", FluxModel::Frozen),
    ("relaxed", FluxModel::Relaxed),
    ("henry-fauske", FluxModel::HenryFauske),
];
const SHARE: Kind = Kind::within(Dimension::Fraction, Limits::POSITIVE_SHARE);
/// Pressure-differential ratio factor of a valve.
const XT: Kind = Kind::within(Dimension::Fraction, Limits::between(0.01, 1.0));
const TIME: Kind = Kind::not_negative(Dimension::Time);
const ANGLE: Kind = Kind::within(
    Dimension::Angle,
    Limits {
        least: 0.0,
        least_allowed: false,
        most: 2.0 * PI,
    },
);

/// Builds one path.
pub(super) fn path(
    name: &str,
    section: &PathSection,
    vessels: &[String],
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<Path, DesignError> {
    let at = format!("paths.{name}");
    let written = reader.word(&format!("{at}.kind"), &section.kind.0, &KINDS)?;
    let from = end(&format!("{at}.from"), &section.from, vessels, reader)?;
    let to = end(&format!("{at}.to"), &section.to, vessels, reader)?;
    if from == to {
        let problem = Problem::PathToItself {
            name: section.to.0.clone(),
        };
        return Err(reader.error(&format!("{at}.to"), problem));
    }
    let (area, discharge_coefficient) = size(&at, section, site, reader)?;
    let friction_number = match (&section.tube, written) {
        (Some(tube), _) => tube_friction(&at, tube, section, area, reader)?,
        (None, Written::Tube) => {
            return Err(reader.error(
                &format!("{at}.tube"),
                Problem::Missing {
                    name: "tube".to_owned(),
                    expected: "`tube: (length: \"120 mm\", friction_factor: \"0.02\")`".to_owned(),
                },
            ));
        }
        (None, _) => 0.0,
    };
    if written != Written::Valve
        && let Some(field) = commanded_field(section)
    {
        return Err(reader.error(
            &format!("{at}.{field}"),
            Problem::Conflict {
                message: format!("only a valve opens on command, so `{field}` has no meaning here"),
                help: "remove it, or write `kind: \"valve\"`".to_owned(),
            },
        ));
    }
    let opening = match &section.opening {
        Some(opening) => opening_law(&format!("{at}.opening"), opening, site, reader)?,
        None => Opening::Instant,
    };
    opening.validate().map_err(|error| {
        let problem = Problem::Physics {
            reason: error.to_string(),
        };
        reader.error(&format!("{at}.opening"), problem)
    })?;
    Ok(Path {
        name: name.to_owned(),
        role: match written {
            Written::Valve => PathRole::Valve,
            Written::Orifice | Written::Tube => PathRole::Orifice,
            Written::Leak => PathRole::Leak,
            Written::Vent => PathRole::Vent,
        },
        from,
        to,
        area,
        discharge_coefficient,
        opening,
        command: command(&at, section, written, reader)?,
        flux_model: flux_model(&at, section, reader)?,
        one_way: section.one_way.unwrap_or(false),
        friction_number,
    })
}

/// The vessel or the surroundings that a name stands for.
pub(super) fn end(
    path: &str,
    name: &Text,
    vessels: &[String],
    reader: &Reader<'_>,
) -> Result<End, DesignError> {
    let wanted = name.0.trim();
    if wanted == AMBIENT {
        return Ok(End::Ambient);
    }
    match vessels.iter().position(|vessel| vessel == wanted) {
        Some(index) => Ok(End::Vessel(index)),
        None => {
            let mut known = vessels.to_vec();
            known.push(AMBIENT.to_owned());
            Err(reader.error(
                path,
                Problem::UnknownVessel {
                    name: wanted.to_owned(),
                    known,
                },
            ))
        }
    }
}

/// Geometric area and discharge coefficient from whichever size is given.
fn size(
    at: &str,
    section: &PathSection,
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<(f64, f64), DesignError> {
    let given = [
        ("diameter", section.diameter.is_some()),
        ("area", section.area.is_some()),
        ("kv", section.kv.is_some()),
        ("cv", section.cv.is_some()),
        ("decay", section.decay.is_some()),
    ];
    let mut sizes = given
        .iter()
        .filter(|(_, there)| *there)
        .map(|(name, _)| *name);
    let (first, second) = (sizes.next(), sizes.next());
    if let Some(second) = second {
        let first = first.unwrap_or_default();
        return Err(reader.error(
            &format!("{at}.{second}"),
            Problem::Conflict {
                message: format!("`{first}` and `{second}` both give the size"),
                help: "keep one of diameter, area, kv, cv, decay".to_owned(),
            },
        ));
    }
    if section.xt.is_some() && !matches!(first, Some("kv" | "cv")) {
        return Err(reader.error(
            &format!("{at}.xt"),
            Problem::Conflict {
                message: "`xt` belongs to a valve sized by `kv` or `cv`".to_owned(),
                help: "remove `xt`, or give `kv` or `cv` as the size".to_owned(),
            },
        ));
    }
    let holes = holes(at, section, reader)?;
    let geometric = matches!(first, Some("diameter" | "area"));
    let coefficient = section.discharge_coefficient.as_ref();
    if !geometric && coefficient.is_some() && first.is_some() {
        return Err(reader.error(
            &format!("{at}.discharge_coefficient"),
            Problem::Conflict {
                message: format!(
                    "`{}` already contains the discharge coefficient",
                    first.unwrap_or_default()
                ),
                help: "remove `discharge_coefficient`".to_owned(),
            },
        ));
    }
    if let Some(Text(text)) = &section.diameter {
        let kind = Kind::not_negative(Dimension::Length);
        let diameter = reader.value(&format!("{at}.diameter"), text, kind)?;
        let cd = reader.required(at, "discharge_coefficient", coefficient, None, SHARE)?;
        return Ok((holes * 0.25 * PI * diameter * diameter, cd));
    }
    if let Some(Text(text)) = &section.area {
        let area = reader.value(
            &format!("{at}.area"),
            text,
            Kind::not_negative(Dimension::Area),
        )?;
        let cd = reader.required(at, "discharge_coefficient", coefficient, None, SHARE)?;
        return Ok((holes * area, cd));
    }
    if let Some(Text(text)) = &section.kv {
        let kind = Kind::positive(Dimension::FlowCoefficientKv);
        let kv = reader.value(&format!("{at}.kv"), text, kind)?;
        return Ok((holes * valve_area(at, kv, section, reader)?, 1.0));
    }
    if let Some(Text(text)) = &section.cv {
        let kind = Kind::positive(Dimension::FlowCoefficientCv);
        let cv = reader.value(&format!("{at}.cv"), text, kind)?;
        let kv = valve_coefficient::kv_from_cv(cv);
        return Ok((holes * valve_area(at, kv, section, reader)?, 1.0));
    }
    if let Some(test) = &section.decay {
        let area = decay::effective_area(&format!("{at}.decay"), test, site, reader)?;
        return Ok((holes * area, 1.0));
    }
    Err(reader.error(
        &format!("{at}.diameter"),
        Problem::Missing {
            name: "diameter".to_owned(),
            expected: "a size (one of diameter, area, kv, cv, decay)".to_owned(),
        },
    ))
}

/// Ratio of specific heats for which a valve's gas area is taken, CO2 near room temperature; the
/// area changes by 1.5 % from 1.1 to 1.4.
const GAMMA: f64 = 1.289;

/// Effective area of a valve: with `xt`, that of equal choked gas flow; without, that of equal
/// incompressible flow, which for gas amounts to xT = 0.54 (liquid draw flashes: neither holds).
fn valve_area(
    at: &str,
    kv: f64,
    section: &PathSection,
    reader: &mut Reader<'_>,
) -> Result<f64, DesignError> {
    let Some(xt) = reader.optional(at, "xt", section.xt.as_ref(), XT)? else {
        return Ok(effective_area_from_kv(kv));
    };
    valve_coefficient::equivalent_area(kv, xt, GAMMA).map_err(|error| {
        reader.error(
            &format!("{at}.xt"),
            Problem::Conflict {
                message: error.to_string(),
                help: "give the valve maker's xT, 0.1 to 0.9".to_owned(),
            },
        )
    })
}

/// Area that passes the same incompressible flow without losses.
///
/// Law: Q = A sqrt(2 dp/rho). Equation: A = (Kv/3600) sqrt(rho0/(2 dp0)), Kv [m3/h] the flow of
/// water, rho0 = 1000 kg/m3, at dp0 = 1 bar (IEC 60534-2-1:2011, definition of Kv).
fn effective_area_from_kv(kv: f64) -> f64 {
    kv / 3600.0 * (1000.0_f64 / (2.0 * 1e5)).sqrt()
}

/// Most equal holes of one path.
const MOST_HOLES: usize = 1000;

/// How many equal holes.
fn holes(at: &str, section: &PathSection, reader: &Reader<'_>) -> Result<f64, DesignError> {
    let count = reader.count(&format!("{at}.holes"), section.holes.as_ref(), MOST_HOLES)?;
    Ok(count as f64)
}

/// Friction number of a path with a tube.
///
/// Law: a loss is so many velocity heads where it happens, and the same flow through another area has
/// others, in proportion to 1/A^2.
/// Equation: K = (f L/D + minor losses) (A/A_t)^2, as the flux K is applied to is that of the path.
/// Symbols: f friction factor [-], L length [m], D bore of the tube [m], A area of the path per hole [m2]
/// (the effective one of a valve given by its flow coefficient), A_t = pi D^2/4 area of the tube [m2].
/// Assumption: little compressible change along the tube; exact for a tube as wide as the path.
fn tube_friction(
    at: &str,
    tube: &TubeSection,
    section: &PathSection,
    area: f64,
    reader: &mut Reader<'_>,
) -> Result<f64, DesignError> {
    let at_tube = format!("{at}.tube");
    let length_kind = Kind::positive(Dimension::Length);
    let length = reader.value(&format!("{at_tube}.length"), &tube.length.0, length_kind)?;
    let holes = holes(at, section, reader)?;
    let diameter = match &tube.diameter {
        Some(Text(text)) => reader.value(&format!("{at_tube}.diameter"), text, length_kind)?,
        None => (4.0 * area / (PI * holes)).sqrt(),
    };
    let friction_factor = reader.or_default(
        &at_tube,
        "friction_factor",
        tube.friction_factor.as_ref(),
        "0.02",
        Kind::within(Dimension::Number, Limits::between(0.0, 0.2)),
    )?;
    let minor = reader.or_default(
        &at_tube,
        "minor_losses",
        tube.minor_losses.as_ref(),
        "0",
        Kind::not_negative(Dimension::Number),
    )?;
    let widths = match &tube.diameter {
        Some(_) => area / holes / (0.25 * PI * diameter * diameter),
        None => 1.0,
    };
    let number = (friction_factor * length / diameter + minor) * widths * widths;
    if !number.is_finite() {
        return Err(reader.error(
            &at_tube,
            Problem::Conflict {
                message: "a tube without a bore has no friction number".to_owned(),
                help: "give the path a diameter above zero".to_owned(),
            },
        ));
    }
    if number > FRICTION_NUMBER_RANGE.1 {
        return Err(reader.error(
            &at_tube,
            Problem::Conflict {
                message: format!("the tube loses {number:.1e} velocity heads of the path"),
                help: "give the path the size of the tube where the tube is the narrower one"
                    .to_owned(),
            },
        ));
    }
    Ok(number)
}

/// The first field that only a valve has.
fn commanded_field(section: &PathSection) -> Option<&'static str> {
    if section.opening.is_some() {
        Some("opening")
    } else if section.opens_at.is_some() {
        Some("opens_at")
    } else if section.backup_at.is_some() {
        Some("backup_at")
    } else {
        None
    }
}

fn command(
    at: &str,
    section: &PathSection,
    written: Written,
    reader: &mut Reader<'_>,
) -> Result<Command, DesignError> {
    if written != Written::Valve {
        return Ok(Command::Always);
    }
    let opens_at = reader.optional(at, "opens_at", section.opens_at.as_ref(), TIME)?;
    let backup_at = reader.optional(at, "backup_at", section.backup_at.as_ref(), TIME)?;
    match (opens_at, backup_at) {
        (Some(_), Some(_)) => Err(reader.error(
            &format!("{at}.backup_at"),
            Problem::Conflict {
                message: "`opens_at` and `backup_at` both command the valve".to_owned(),
                help:
                    "`opens_at` opens it in any case, `backup_at` only if the nose has not cleared \
                   by then: keep one"
                        .to_owned(),
            },
        )),
        (None, Some(time)) => Ok(Command::Backup(time)),
        (time, None) => Ok(Command::At(time.unwrap_or(0.0))),
    }
}

fn flux_model(
    at: &str,
    section: &PathSection,
    reader: &mut Reader<'_>,
) -> Result<FluxModel, DesignError> {
    let blend = reader.optional(
        at,
        "flow_blend",
        section.flow_blend.as_ref(),
        Kind::within(Dimension::Fraction, Limits::UNIT_INTERVAL),
    )?;
    match (blend, &section.flow) {
        (Some(_), Some(_)) => Err(reader.error(
            &format!("{at}.flow_blend"),
            Problem::Conflict {
                message: "`flow` and `flow_blend` both choose the two-phase model".to_owned(),
                help: "keep one; a blend of 0 is equilibrium, of 1 frozen".to_owned(),
            },
        )),
        (Some(share), None) => Ok(FluxModel::Between(share)),
        (None, Some(Text(text))) => reader.word(&format!("{at}.flow"), text, &FLOWS),
        (None, None) => Ok(FluxModel::Relaxed),
    }
}

fn opening_law(
    at: &str,
    section: &OpeningSection,
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<Opening, DesignError> {
    match section {
        OpeningSection::Instant => Ok(Opening::Instant),
        OpeningSection::Ramp {
            lag,
            duration: Text(duration),
        } => Ok(Opening::Ramp {
            lag: reader.or_default(at, "lag", lag.as_ref(), "0 s", TIME)?,
            duration: reader.value(&format!("{at}.duration"), duration, TIME)?,
        }),
        OpeningSection::Servo {
            part: name,
            lag,
            slew,
            travel,
            port,
            supply_voltage,
            rated_voltage,
            cold_loss,
            temperature,
        } => {
            let servo = part(reader, &format!("{at}.part"), name.as_ref(), SERVOS)?;
            let slew_time = reader.required(
                at,
                "slew",
                slew.as_ref(),
                servo.map(|servo| servo.slew),
                Kind::positive(Dimension::SlewTime),
            )?;
            let lag_default = servo.map_or("0 s", |servo| servo.lag);
            let lag = reader.or_default(at, "lag", lag.as_ref(), lag_default, TIME)?;
            let volts = Kind::positive(Dimension::Voltage);
            let supply = reader.optional(at, "supply_voltage", supply_voltage.as_ref(), volts)?;
            // Without a supply voltage the servo runs at its rating.
            let scaling = match supply {
                Some(supply) => {
                    let from_part = servo.map(|servo| servo.rated_voltage);
                    let rated = reader.required(
                        at,
                        "rated_voltage",
                        rated_voltage.as_ref(),
                        from_part,
                        volts,
                    )?;
                    (rated, supply)
                }
                None => (1.0, 1.0),
            };
            let cold_default = servo.map_or("0 %/K", |servo| servo.cold_loss);
            let cold = reader.or_default(
                at,
                "cold_loss",
                cold_loss.as_ref(),
                cold_default,
                Kind::within(Dimension::SharePerKelvin, Limits::UNIT_INTERVAL),
            )?;
            let temperature = reader
                .optional(
                    at,
                    "temperature",
                    temperature.as_ref(),
                    Kind::within(Dimension::Temperature, TEMPERATURES),
                )?
                .unwrap_or(site.temperature);
            let per_60_degrees = slew_time * PI / 3.0;
            let slew_rate = servo_slew(per_60_degrees, scaling.0, scaling.1, temperature, cold)
                .map_err(|error| {
                    reader.error(
                        at,
                        Problem::Physics {
                            reason: error.to_string(),
                        },
                    )
                })?;
            let travel = reader.or_default(at, "travel", travel.as_ref(), "90 deg", ANGLE)?;
            let port = match port {
                Some(port) => port_law(&format!("{at}.port"), port, reader)?,
                None => PortLaw::Ball {
                    full_angle: FRAC_PI_2,
                },
            };
            Ok(Opening::Servo {
                lag,
                slew_rate,
                travel,
                port,
            })
        }
    }
}

fn port_law(
    at: &str,
    section: &PortSection,
    reader: &mut Reader<'_>,
) -> Result<PortLaw, DesignError> {
    match section {
        PortSection::Ball { full_angle } => {
            let full_angle =
                reader.or_default(at, "full_angle", full_angle.as_ref(), "90 deg", ANGLE)?;
            Ok(PortLaw::Ball { full_angle })
        }
        PortSection::Linear { full_angle } => {
            let full_angle =
                reader.or_default(at, "full_angle", full_angle.as_ref(), "90 deg", ANGLE)?;
            Ok(PortLaw::Linear { full_angle })
        }
        PortSection::Table(rows) => {
            let angle = Kind::within(Dimension::Angle, Limits::between(0.0, 2.0 * PI));
            let share = Kind::within(Dimension::Fraction, Limits::UNIT_INTERVAL);
            let mut points = Vec::with_capacity(rows.len());
            for (index, (Text(turned), Text(open))) in rows.iter().enumerate() {
                points.push((
                    reader.value(&format!("{at}.{index}.0"), turned, angle)?,
                    reader.value(&format!("{at}.{index}.1"), open, share)?,
                ));
            }
            Ok(PortLaw::Table(points))
        }
    }
}
