//! The nose: pins one by one, friction, spring, tether, weight on a bench.

use crate::design::build::{Site, part, path, pin};
use crate::design::error::{DesignError, Problem};
use crate::design::parts::TETHERS;
use crate::design::reader::{Kind, Reader};
use crate::design::schema::{NoseSection, TetherSection, Text};
use crate::mechanics::Nose;
use crate::mechanics::nose::{Spring, Tether};
use crate::network::spec::End;
use crate::units::{self, Dimension, Limits, UnitSystem};

/// Standard acceleration of free fall [m/s2].
const STANDARD_GRAVITY: f64 = 9.806_65;
/// Two equal forces written with six digits in different units differ by no more than this share.
const ROUNDING: f64 = 1e-5;
const FORCE: Kind = Kind::not_negative(Dimension::Force);
const LENGTH: Kind = Kind::positive(Dimension::Length);

/// Builds the nose and finds the vessel it closes.
pub(super) fn nose(
    section: &NoseSection,
    vessels: &[String],
    site: &Site,
    reader: &mut Reader<'_>,
) -> Result<(Nose, usize), DesignError> {
    let at = "nose";
    let End::Vessel(vessel) = path::end("nose.vessel", &section.vessel, vessels, reader)? else {
        let problem = Problem::UnknownVessel {
            name: section.vessel.0.clone(),
            known: vessels.to_vec(),
        };
        return Err(reader.error("nose.vessel", problem));
    };
    let bore = reader.value("nose.bore", &section.bore.0, LENGTH)?;
    let mass_kind = Kind::positive(Dimension::Mass);
    let mass = reader.value("nose.mass", &section.mass.0, mass_kind)?;
    let body = reader.optional(at, "body_mass", section.body_mass.as_ref(), mass_kind)?;
    let (body_mass, weight) = match (site.bench_elevation, body) {
        (None, Some(body)) => (Some(body), 0.0),
        (None, None) => {
            return Err(reader.error(
                "nose.body_mass",
                Problem::Missing {
                    name: "body_mass".to_owned(),
                    expected: "in flight the mass of the rest, such as \"5 kg\"".to_owned(),
                },
            ));
        }
        // A bench holds the body fast whatever its mass.
        (Some(elevation), _) => (None, mass * STANDARD_GRAVITY * elevation.sin()),
    };
    let engagement = reader.value("nose.engagement", &section.engagement.0, LENGTH)?;
    let static_friction = reader.or_default(
        at,
        "static_friction",
        section.static_friction.as_ref(),
        "0 N",
        FORCE,
    )?;
    let kinetic_friction = reader
        .optional(
            at,
            "kinetic_friction",
            section.kinetic_friction.as_ref(),
            FORCE,
        )?
        .unwrap_or(static_friction);
    if kinetic_friction > static_friction * (1.0 + ROUNDING) && reader.is_collecting() {
        return Err(reader.error(
            "nose.kinetic_friction",
            Problem::Conflict {
                message: format!(
                    "sliding friction of {} holds more than static friction of {}",
                    units::format(Dimension::Force, kinetic_friction, UnitSystem::Metric),
                    units::format(Dimension::Force, static_friction, UnitSystem::Metric)
                ),
                help: "give `kinetic_friction` at most the central value of `static_friction`, or \
                       leave it out to have both the same"
                    .to_owned(),
            },
        ));
    }
    // Two separate draws may cross; sliding never holds more than sticking.
    let kinetic_friction = kinetic_friction.min(static_friction);
    let hold_down = reader
        .optional(
            at,
            "hold_down",
            section.hold_down.as_ref(),
            Kind::any(Dimension::Force),
        )?
        .unwrap_or(0.0);
    let spring = match &section.spring {
        Some(spring) => Some(Spring {
            force: reader.value("nose.spring.force", &spring.force.0, FORCE)?,
            stroke: reader.value("nose.spring.stroke", &spring.stroke.0, LENGTH)?,
        }),
        None => None,
    };
    let mut pins = Vec::new();
    for (index, group) in section.pins.iter().enumerate() {
        pin::group(
            &format!("nose.pins.{index}"),
            group,
            site,
            &mut pins,
            reader,
        )?;
    }
    let gap_discharge_coefficient = reader.or_default(
        at,
        "gap_discharge_coefficient",
        section.gap_discharge_coefficient.as_ref(),
        "0.7",
        Kind::within(Dimension::Fraction, Limits::POSITIVE_SHARE),
    )?;
    let mut nose = Nose {
        mass,
        body_mass,
        bore,
        engagement,
        pins,
        static_friction,
        kinetic_friction,
        hold_down: hold_down + weight,
        spring,
        tether: None,
        gap_discharge_coefficient,
    };
    if let Some(written) = &section.tether {
        nose.tether = Some(tether(written, nose.reduced_mass(), reader)?);
    }
    nose.validate().map_err(|error| {
        reader.error(
            "nose",
            Problem::Physics {
                reason: error.to_string(),
            },
        )
    })?;
    if nose.retention_force() < 0.0 && reader.is_collecting() {
        return Err(pushed_off(&nose, reader));
    }
    Ok((nose, vessel))
}

/// A nose that would come off before any valve opens.
fn pushed_off(nose: &Nose, reader: &Reader<'_>) -> DesignError {
    let shown = |force: f64| units::format(Dimension::Force, force, UnitSystem::Metric);
    let push = nose.spring_force(0.0);
    let (at, message) = if push > 0.0 {
        let held = shown(nose.retention_force() + push);
        let message = format!(
            "the spring pushes with {}, and pins, friction, hold-down and weight hold the nose with {held}: it comes \
             off before any valve opens",
            shown(push)
        );
        ("nose.spring.force", message)
    } else {
        let message = format!(
            "hold-down and weight pull the nose off with {} more than pins and friction hold: it comes off before any \
             valve opens",
            shown(-nose.retention_force())
        );
        ("nose.hold_down", message)
    };
    let help =
        "give pins and friction that hold more than pushes and pulls at the nose, or less of that"
            .to_owned();
    reader.error(at, Problem::Conflict { message, help })
}

fn tether(
    section: &TetherSection,
    moving_mass: f64,
    reader: &mut Reader<'_>,
) -> Result<Tether, DesignError> {
    let at = "nose.tether";
    let part = part(reader, "nose.tether.part", section.part.as_ref(), TETHERS)?;
    let length = reader.value("nose.tether.length", &section.length.0, LENGTH)?;
    let strain = section.force_per_strain.as_ref();
    let stiffness = match (&section.stiffness, strain.is_some() || part.is_some()) {
        (None, true) => {
            let from_part = part.map(|part| part.force_per_strain);
            let kind = Kind::positive(Dimension::Force);
            reader.required(at, "force_per_strain", strain, from_part, kind)? / length
        }
        (written, _) => reader.required(
            at,
            "stiffness",
            written.as_ref(),
            None,
            Kind::positive(Dimension::Stiffness),
        )?,
    };
    let damping_kind = Kind::not_negative(Dimension::Damping);
    let damping = match reader.optional(at, "damping", section.damping.as_ref(), damping_kind)? {
        Some(damping) => damping,
        None => {
            let default = part.map_or("0.1", |part| part.damping_ratio);
            let ratio = reader.or_default(
                at,
                "damping_ratio",
                section.damping_ratio.as_ref(),
                default,
                Kind::within(Dimension::Fraction, Limits::between(0.0, 1.0)),
            )?;
            // Share of the critical damping of mass and spring, c = 2 zeta sqrt(k m).
            2.0 * ratio * (stiffness * moving_mass).sqrt()
        }
    };
    let rating = match section
        .rating
        .as_ref()
        .map(|Text(t)| t.as_str())
        .or(part.map(|p| p.rating))
    {
        Some(text) => {
            Some(reader.value("nose.tether.rating", text, Kind::positive(Dimension::Force))?)
        }
        None => None,
    };
    Ok(Tether {
        length,
        stiffness,
        damping,
        rating,
    })
}
