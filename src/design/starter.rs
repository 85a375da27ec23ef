//! A starter design, asked for by cartridge and bore: valid as it stands, commented where a
//! measurement belongs.

use std::f64::consts::PI;
use std::sync::Arc;

use super::error::{DesignError, Problem};
use super::parts::{self, CARTRIDGES, Cartridge, Part};
use crate::units::{self, Dimension, Limits, UnitError};

/// Bores for which the rules of thumb below make sense [m].
const BORES: Limits = Limits::between(0.025, 0.4);

/// What a starter is asked for by.
#[derive(Debug, Clone, Copy)]
pub struct StarterRequest {
    /// The cartridge.
    pub cartridge: &'static Cartridge,
    /// Inner diameter of the bay [m].
    pub bore: f64,
    /// On a bench instead of in flight.
    pub bench: bool,
}

impl StarterRequest {
    /// Reads a request as people write it: "co2-16g" or "16 g", and "98 mm".
    ///
    /// # Errors
    /// A [`DesignError`] naming `cartridge` or `bore`.
    pub fn new(cartridge: &str, bore: &str, bench: bool) -> Result<Self, DesignError> {
        let refuse = |field: &str, problem: Problem| {
            DesignError::new(
                problem,
                Some(field.to_owned()),
                "new",
                &Arc::from(""),
                Vec::new(),
            )
        };
        let plain: String = cartridge.to_lowercase().split_whitespace().collect();
        let named = if plain.starts_with("co2-") {
            plain
        } else {
            format!("co2-{plain}")
        };
        let Some(cartridge) = parts::find(CARTRIDGES, &named) else {
            return Err(refuse(
                "cartridge",
                Problem::UnknownPart {
                    kind: Cartridge::KIND,
                    name: cartridge.to_owned(),
                    known: CARTRIDGES.iter().map(|part| part.name.to_owned()).collect(),
                },
            ));
        };
        let length =
            units::parse(bore, Dimension::Length).map_err(|error| refuse("bore", error.into()))?;
        if !BORES.contain(length.value) {
            return Err(refuse(
                "bore",
                Problem::Quantity(UnitError::OutOfRange {
                    text: bore.to_owned(),
                    expected: Dimension::Length,
                    limits: BORES,
                }),
            ));
        }
        Ok(StarterRequest {
            cartridge,
            bore: length.value,
            bench,
        })
    }
}

/// Rounds to a few significant digits, so that a starter does not pretend precision.
fn round(value: f64, digits: i32) -> f64 {
    if value <= 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10f64.powi(digits - 1 - value.log10().floor() as i32);
    (value * scale).round() / scale
}

/// A commented design that parses and gives a sensible separating nose.
///
/// Rules of thumb: 14 g of CO2 for each litre of bay, pins that hold 0.5 bar on the bore, a
/// coupler one bore long, a leak of 0.012 mm2 for each millimetre of bore.
#[must_use]
pub fn starter(request: &StarterRequest) -> String {
    let StarterRequest {
        cartridge,
        bore,
        bench,
    } = *request;
    let charge = super::expression::parse(cartridge.charge, Dimension::Mass)
        .ok()
        .map_or(0.016, |charge| charge.central());
    let area = 0.25 * PI * bore * bore;
    let bore_mm = round(bore * 1e3, 4);
    let volume = round(charge / 14.0 * 1e3, 2) * 1e-3;
    let volume_l = round(volume * 1e3, 3);
    let volume_sd = round(0.04 * volume_l, 2);
    let bay_length_mm = round(volume / area * 1e3, 2);
    let wall_area = 4.0 * volume / bore + area;
    let wall_area_cm2 = round(wall_area * 1e4, 2);
    let wall_mass_g = round(wall_area * 0.002 * 1900.0 * 1e3, 2);
    let nose_kg = round(0.92 * (bore / 0.098).powf(2.4), 2);
    let body_kg = round(5.5 * nose_kg, 2);
    let hold = 0.5e5 * area;
    let count = (hold / 125.0).round().clamp(2.0, 8.0);
    let pin = round(hold / count, 2);
    let pin_sd = round(0.08 * pin, 1);
    let (pin_low, pin_high) = (round(0.7 * pin, 2), round(1.3 * pin, 2));
    let friction = round(0.1 * hold, 2);
    let sliding = round(0.07 * hold, 2);
    let leak = round(0.012 * bore_mm, 2);
    let neck = if charge < 0.010 {
        "triangle 1.2 mm .. 1.6 mm .. 2.0 mm"
    } else if charge < 0.030 {
        "triangle 1.6 mm .. 2.1 mm .. 2.5 mm"
    } else {
        "triangle 2.0 mm .. 2.6 mm .. 3.0 mm"
    };
    let tether_m = round(30.0 * bore + 1.5, 2);
    let tether = if bore > 0.12 {
        "nylon-tubular-25mm"
    } else {
        "nylon-tubular-14mm"
    };
    let name = cartridge.name;
    let origin = cartridge.origin;
    let (body, site) = if bench {
        (
            String::new(),
            "    site: (\n        mode: \"bench\",                   // the body is clamped\n        \
             elevation: \"0 deg\",             // nose axis above the horizontal\n        \
             pressure: \"1.013 bara\",         // absolute: read it off a barometer\n        \
             temperature: \"$soak\",\n    ),"
                .to_owned(),
        )
    } else {
        (
            format!(
                "\n        body_mass: \"{body_kg} kg\",            // everything the nose leaves behind"
            ),
            "    site: (\n        mode: \"flight\",\n        altitude: \"normal 1.5 km sd 0.2 km \
             within 0.5 km .. 2.5 km\",  // where it fires; standard air\n    ),"
                .to_owned(),
        )
    };
    format!(
        r#"// A starter: every number is a rule of thumb to be replaced by your own measurement.
//
// A value is a quantity in quotes: "16 g", "2.4 mm", "-6 degC", "1.013 bara" (absolute),
// "3 barg" (gauge). Any value may be uncertain in place:
//   "normal 16.0 g sd 0.25 g", limited by "within 15 g .. 17 g"
//   "uniform 30 ms .. 120 ms", "triangle 1 mm2 .. 2 mm2 .. 6 mm2"
//   "lognormal 1.2 mm2 factor 1.6", "sample 61 N, 64 N, 58 N"
// `shot` uses the central value, `odds` the whole distribution.
//
// Pressurised gas and a nose that leaves at speed: stand clear, wear eye and ear protection.
(
    name: "{name} in a {bore_mm} mm bay",

    // Draws used in several places, written "$soak" there: one temperature for all.
    shared: {{
        "soak": "normal 10 degC sd 5 degC within -10 degC .. 30 degC",
    }},

    vessels: {{
        "cartridge": (
            kind: "cartridge",
            part: "{name}",              // {origin}
            temperature: "$soak",
            draw: "vapour",                  // neck up; "liquid" neck down, "mixed" shaken
            wall: (inside: boiling(area_factor: "uniform 0.3 .. 1")),
        ),
        "bay": (
            kind: "bay",
            volume: "normal {volume_l} L sd {volume_sd} L",  // about {bay_length_mm} mm of tube; fill it with rice and measure
            temperature: "$soak",
            rating: "6 barg",                // what the bay was proof tested to
            wall: (
                material: "glass-epoxy",
                mass: "{wall_mass_g} g",
                thickness: "2 mm",
                inner_area: "{wall_area_cm2} cm2",
                inside: stirred_jet(diameter: "{bore_mm} mm"),
            ),
        ),
    }},

    paths: {{
        "pierced-neck": (
            kind: "valve",                   // pierced by the command
            from: "cartridge",
            to: "bay",
            diameter: "{neck}",  // pin gauges in spent cartridges
            discharge_coefficient: "uniform 0.60 .. 0.85",
            flow_blend: "uniform 0 .. 1",    // two-phase: 0 equilibrium, 1 frozen
            opens_at: "0 s",
            opening: ramp(lag: "uniform 2 ms .. 10 ms", duration: "uniform 1 ms .. 4 ms"),
        ),
        "coupler-leak": (
            kind: "leak",
            from: "bay",
            to: "ambient",
            area: "lognormal {leak} mm2 factor 1.6",  // or decay: (volume, start, end, time, surroundings) of a pump-up test
            discharge_coefficient: "0.65",
        ),
        "vent": (
            kind: "vent",
            from: "bay",
            to: "ambient",
            diameter: "1.2 mm",              // lets the bay breathe on the way up
            discharge_coefficient: "0.65",
        ),
    }},

    nose: (
        vessel: "bay",
        bore: "{bore_mm} mm",
        mass: "{nose_kg} kg",{body}
        engagement: "{bore_mm} mm",          // length of the coupler
        pins: [
            // Load at which one pin shears: hang weights on your own, cold.
            (count: "{count}", strength: "normal {pin} N sd {pin_sd} N within {pin_low} N .. {pin_high} N"),
        ],
        static_friction: "lognormal {friction} N factor 1.5",   // pull the nose with a spring balance
        kinetic_friction: "lognormal {sliding} N factor 1.5",
        tether: (part: "{tether}", length: "{tether_m} m"),
    ),

{site}

    criteria: (                              // each is optional
        clear_within: "0.5 s",
        exit_speed_least: "4 m/s",           // pulls the drogue out
        exit_speed_most: "35 m/s",           // what the tether takes
        retention_factor: "2.0",             // opening force over what holds the nose
    ),

    horizon: "2 s",
)
"#
    )
}
