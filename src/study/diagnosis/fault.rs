//! The values each cause frees, and what is believed of them before the trace is seen.
//!
//! The beliefs are judgements of the trade, not measurements, and are wide on purpose; each is said
//! beside its cause. All causes but `NothingWrong` are equally likely beforehand.

use crate::network::spec::System;
use crate::statistics::Distribution;
use crate::study::leak::HOLE_DISCHARGE_COEFFICIENT;
use crate::units::Dimension;

use super::cause::Cause;
use super::changed_opening::{lag, stroke};
use super::places::Places;

/// One value that a cause frees.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// What it is, in words.
    pub label: &'static str,
    /// What is believed of it before the trace is seen.
    pub prior: Distribution,
    /// Kind of quantity reported.
    pub dimension: Dimension,
    /// Reported value: `offset + scale` times the freed value [SI].
    pub offset: f64,
    /// See `offset`.
    pub scale: f64,
    /// What the design expects of the reported value [SI].
    pub expected: f64,
}

impl Fault {
    /// The reported value [SI] for a freed one.
    #[must_use]
    pub fn reported(&self, value: f64) -> f64 {
        self.offset + self.scale * value
    }
}

/// Scale of leaks: this share of the bore (or of the valve) is a leak worth the name.
const LEAK_SHARE: f64 = 1e-3;
/// Diameter of a forgotten port over the bore: 6 mm on a 98 mm rocket.
const PORT_SHARE: f64 = 1.0 / 16.0;
/// Opening time scale of a slow valve that should open at once [s].
const SLOW_INSTANT: f64 = 0.05;

fn lognormal(median: f64, factor: f64) -> Distribution {
    Distribution::Lognormal { median, factor }
}

fn uniform(low: f64, high: f64) -> Distribution {
    Distribution::Uniform { low, high }
}

impl Cause {
    /// The values this cause frees in a system whose pressure sensor spans `range` [Pa]; `None`
    /// where it cannot happen, such as pins early without pins.
    #[must_use]
    pub fn faults(self, system: &System, places: &Places, range: f64) -> Option<Vec<Fault>> {
        let valve = places.valve.and_then(|index| system.paths.get(index));
        let neck = places.neck.and_then(|index| system.paths.get(index));
        let cartridge = places.cartridge.and_then(|index| system.vessels.get(index));
        let nose = system.nose.as_ref().map(|(nose, _)| nose);
        let bore = nose.map_or_else(
            || {
                let largest = system
                    .paths
                    .iter()
                    .map(|path| path.area)
                    .fold(0.0, f64::max);
                100.0 * largest
            },
            |nose| nose.area(),
        );
        let leak = system.effective_leak_area(places.bay) / HOLE_DISCHARGE_COEFFICIENT;
        let one = |label, prior, dimension, (offset, scale): (f64, f64), expected| {
            Some(vec![Fault {
                label,
                prior,
                dimension,
                offset,
                scale,
                expected,
            }])
        };
        let plain = (0.0, 1.0);
        match self {
            Cause::NothingWrong => Some(Vec::new()),
            Cause::ValveSlow => {
                let opening = &valve?.opening;
                let stroke = stroke(opening);
                if stroke > 0.0 {
                    // Two to fifteen times as slow.
                    let prior = lognormal(6.0, 1.7);
                    one(
                        "opening time",
                        prior,
                        Dimension::Time,
                        (0.0, stroke),
                        stroke,
                    )
                } else {
                    let prior = lognormal(SLOW_INSTANT, 2.0);
                    one("opening time", prior, Dimension::Time, plain, 0.0)
                }
            }
            Cause::ValveLate => {
                let lag = lag(&valve?.opening);
                // Late by 20 to 200 ms.
                let prior = lognormal(0.06, 2.2);
                one(
                    "lag after the command",
                    prior,
                    Dimension::Time,
                    (lag, 1.0),
                    lag,
                )
            }
            // A striker straight into the bay has no valve of its own.
            Cause::ValvePartlyOpen if places.valve == places.neck => None,
            Cause::ValvePartlyOpen => {
                let full = valve?.opening.final_fraction();
                let prior = uniform(0.05, 0.8);
                one("open share", prior, Dimension::Fraction, (0.0, full), full)
            }
            Cause::SealLeak => {
                let prior = lognormal(LEAK_SHARE * bore, 1.8);
                one("leak area", prior, Dimension::Area, (leak, 1.0), leak)
            }
            Cause::VentOpen => {
                // Its size is known within the holes a workshop drills.
                let prior = lognormal(PORT_SHARE * PORT_SHARE * bore, 1.35);
                one("open port", prior, Dimension::Area, plain, 0.0)
            }
            Cause::CartridgeLight => {
                let charge = cartridge?.co2_mass;
                let prior = uniform(0.1, 0.6);
                one("charge", prior, Dimension::Mass, (charge, -charge), charge)
            }
            Cause::CartridgeCold => {
                let temperature = cartridge?.temperature;
                let prior = uniform(8.0, (temperature - 222.0).clamp(8.5, 35.0));
                let report = (temperature, -1.0);
                let dimension = Dimension::Temperature;
                one(
                    "cartridge temperature",
                    prior,
                    dimension,
                    report,
                    temperature,
                )
            }
            Cause::NeckPartlyPierced => {
                let area = neck?.area;
                let prior = lognormal(0.25, 1.7);
                one(
                    "hole in the neck",
                    prior,
                    Dimension::Area,
                    (0.0, area),
                    area,
                )
            }
            Cause::PinsEarly | Cause::PinsStrong => {
                let strength = nose?.pin_strength();
                if strength <= 0.0 {
                    return None;
                }
                let prior = if self == Cause::PinsEarly {
                    uniform(0.1, 0.75)
                } else {
                    lognormal(1.9, 1.35)
                };
                one(
                    "pin strength",
                    prior,
                    Dimension::Force,
                    (0.0, strength),
                    strength,
                )
            }
            Cause::NoseJammed => {
                let nose = nose?;
                let friction = nose.static_friction;
                let scale = nose.retention_force().abs().max(10.0);
                let prior = lognormal(1.2 * scale, 1.7);
                one(
                    "friction",
                    prior,
                    Dimension::Force,
                    (friction, 1.0),
                    friction,
                )
            }
            Cause::SensorOffset => {
                let wide = |mean: f64, deviation: f64| Distribution::Normal {
                    mean,
                    standard_deviation: deviation,
                };
                Some(vec![
                    Fault {
                        label: "zero of the sensor",
                        prior: wide(0.0, 0.2 * range),
                        dimension: Dimension::PressureDifference,
                        offset: 0.0,
                        scale: 1.0,
                        expected: 0.0,
                    },
                    Fault {
                        label: "scale of the sensor",
                        prior: lognormal(1.0, 1.25),
                        dimension: Dimension::Number,
                        offset: 0.0,
                        scale: 1.0,
                        expected: 1.0,
                    },
                ])
            }
            Cause::SensorLag => one(
                "time constant of the sensor",
                lognormal(0.02, 2.0),
                Dimension::Time,
                plain,
                0.0,
            ),
        }
    }
}
