//! What may have gone wrong: each cause as a change of the system by a few values, with what is
//! believed of them before the trace is seen.
//!
//! The beliefs are judgements of the trade, not measurements, and are wide on purpose; each is said
//! beside its cause. All causes but `NothingWrong` are equally likely beforehand.

use crate::flow::FluxModel;
use crate::flow::opening::{Opening, PortLaw};
use crate::network::spec::{Command, End, Path, PathRole, Role, System};
use crate::statistics::Distribution;
use crate::units::Dimension;

use crate::study::leak::HOLE_DISCHARGE_COEFFICIENT;

/// A cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// The design explains the trace.
    NothingWrong,
    /// The valve turns too slowly.
    ValveSlow,
    /// The valve starts too late.
    ValveLate,
    /// The valve stops before it is fully open.
    ValvePartlyOpen,
    /// The bay leaks past its seal.
    SealLeak,
    /// A port that should be shut is open.
    VentOpen,
    /// The cartridge holds too little.
    CartridgeLight,
    /// The cartridge is colder than it should be.
    CartridgeCold,
    /// The neck of the cartridge is not fully pierced.
    NeckPartlyPierced,
    /// The pins let go too early.
    PinsEarly,
    /// The pins hold too long.
    PinsStrong,
    /// The nose rubs or jams on its coupler.
    NoseJammed,
    /// The sensor's zero or scale is off.
    SensorOffset,
    /// The sensor is slow (a long or clogged line).
    SensorLag,
}

impl Cause {
    /// Every cause, in the order of a report among equals.
    pub const ALL: [Cause; 14] = [
        Cause::NothingWrong,
        Cause::ValveSlow,
        Cause::ValveLate,
        Cause::ValvePartlyOpen,
        Cause::SealLeak,
        Cause::VentOpen,
        Cause::CartridgeLight,
        Cause::CartridgeCold,
        Cause::NeckPartlyPierced,
        Cause::PinsEarly,
        Cause::PinsStrong,
        Cause::NoseJammed,
        Cause::SensorOffset,
        Cause::SensorLag,
    ];

    /// Name in data files and options: `seal_leak`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Cause::NothingWrong => "nothing_wrong",
            Cause::ValveSlow => "valve_slow",
            Cause::ValveLate => "valve_late",
            Cause::ValvePartlyOpen => "valve_partly_open",
            Cause::SealLeak => "seal_leak",
            Cause::VentOpen => "vent_open",
            Cause::CartridgeLight => "cartridge_light",
            Cause::CartridgeCold => "cartridge_cold",
            Cause::NeckPartlyPierced => "neck_partly_pierced",
            Cause::PinsEarly => "pins_early",
            Cause::PinsStrong => "pins_strong",
            Cause::NoseJammed => "nose_jammed",
            Cause::SensorOffset => "sensor_offset",
            Cause::SensorLag => "sensor_lag",
        }
    }

    /// Name in sentences: "seal leaking".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Cause::NothingWrong => "nothing wrong",
            Cause::ValveSlow => "valve slow",
            Cause::ValveLate => "valve late",
            Cause::ValvePartlyOpen => "valve not fully open",
            Cause::SealLeak => "seal leaking",
            Cause::VentOpen => "vent left open",
            Cause::CartridgeLight => "cartridge light",
            Cause::CartridgeCold => "cartridge cold",
            Cause::NeckPartlyPierced => "neck not fully pierced",
            Cause::PinsEarly => "pins early",
            Cause::PinsStrong => "pins too strong",
            Cause::NoseJammed => "nose jammed",
            Cause::SensorOffset => "sensor offset",
            Cause::SensorLag => "sensor lag",
        }
    }

    /// Whether the fault lies in the measurement and not in the rocket.
    #[must_use]
    pub fn is_sensor(self) -> bool {
        matches!(self, Cause::SensorOffset | Cause::SensorLag)
    }
}

/// Where in a system the causes act.
#[derive(Debug, Clone, PartialEq)]
pub struct Places {
    /// The vessel under the nose, or the last bay.
    pub bay: usize,
    /// The valve commanded first.
    pub valve: Option<usize>,
    /// The cartridge the gas comes from first.
    pub cartridge: Option<usize>,
    /// The path out of that cartridge.
    pub neck: Option<usize>,
}

impl Places {
    /// Finds them in a system.
    #[must_use]
    pub fn of(system: &System) -> Self {
        let bay = system.nose.as_ref().map_or_else(
            || {
                let last = system.vessels.len().saturating_sub(1);
                system
                    .vessels
                    .iter()
                    .rposition(|vessel| vessel.role == Role::Bay)
                    .unwrap_or(last)
            },
            |(_, bay)| *bay,
        );
        let valve = system
            .paths
            .iter()
            .enumerate()
            .filter_map(|(index, path)| match path.command {
                Command::At(time) => Some((index, time)),
                _ => None,
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(index, _)| index);
        let is_cartridge = |end: End| match end {
            End::Vessel(v) => system
                .vessels
                .get(v)
                .is_some_and(|v| v.role == Role::Cartridge),
            End::Ambient => false,
        };
        // Up the stream from the valve, or else the first cartridge.
        let mut neck = None;
        let mut at = valve;
        for _ in 0..system.paths.len() {
            let Some(path) = at.and_then(|index| system.paths.get(index)) else {
                break;
            };
            if is_cartridge(path.from) {
                neck = at;
                break;
            }
            let upstream = path.from;
            at = system.paths.iter().position(|path| path.to == upstream);
        }
        let neck = neck.or_else(|| system.paths.iter().position(|path| is_cartridge(path.from)));
        let cartridge = neck
            .and_then(|index| system.paths.get(index))
            .and_then(|path| match path.from {
                End::Vessel(vessel) => Some(vessel),
                End::Ambient => None,
            });
        Places {
            bay,
            valve,
            cartridge,
            neck,
        }
    }
}

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
            Cause::PinsEarly => {
                let strength = nose?.pin_strength();
                if strength <= 0.0 {
                    return None;
                }
                let prior = uniform(0.1, 0.75);
                one(
                    "pin strength",
                    prior,
                    Dimension::Force,
                    (0.0, strength),
                    strength,
                )
            }
            Cause::PinsStrong => {
                let strength = nose?.pin_strength();
                if strength <= 0.0 {
                    return None;
                }
                let prior = lognormal(1.9, 1.35);
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

    /// Changes a system as this cause does: what it frees takes the place of what the system says,
    /// `values` being those reported [SI]. Sensor causes change nothing in it.
    pub fn apply(self, system: &mut System, places: &Places, values: &[f64]) {
        let Some(value) = values.first().copied() else {
            return;
        };
        match self {
            Cause::NothingWrong | Cause::SensorOffset | Cause::SensorLag => {}
            Cause::ValveSlow => with_path(system, places.valve, |path| {
                path.opening = opening_over(&path.opening, value);
            }),
            Cause::ValveLate => with_path(system, places.valve, |path| {
                path.opening = opening_after(&path.opening, value);
            }),
            Cause::ValvePartlyOpen => with_path(system, places.valve, |path| {
                let full = path.opening.final_fraction();
                let (opening, area) = stopped_short(&path.opening, value / full);
                path.opening = opening;
                path.area *= area;
            }),
            Cause::SealLeak => {
                let own = system.effective_leak_area(places.bay) / HOLE_DISCHARGE_COEFFICIENT;
                system.paths.push(hole(places.bay, value - own));
            }
            Cause::VentOpen => system.paths.push(hole(places.bay, value)),
            Cause::CartridgeLight => {
                if let Some(vessel) = places.cartridge.and_then(|v| system.vessels.get_mut(v)) {
                    vessel.co2_mass = value;
                }
            }
            Cause::CartridgeCold => {
                if let Some(vessel) = places.cartridge.and_then(|v| system.vessels.get_mut(v)) {
                    if let Some(wall) = &mut vessel.wall {
                        wall.temperature += value - vessel.temperature;
                    }
                    vessel.temperature = value;
                }
            }
            Cause::NeckPartlyPierced => with_path(system, places.neck, |path| path.area = value),
            Cause::PinsEarly | Cause::PinsStrong => {
                if let Some((nose, _)) = &mut system.nose {
                    let own = nose.pin_strength();
                    for pin in &mut nose.pins {
                        pin.strength *= value / own;
                    }
                }
            }
            Cause::NoseJammed => {
                if let Some((nose, _)) = &mut system.nose {
                    let further = (value - nose.static_friction).max(0.0);
                    nose.static_friction += further;
                    nose.kinetic_friction += further;
                }
            }
        }
    }
}

/// A hole from a vessel to the air, of no area where it would be negative.
fn hole(vessel: usize, area: f64) -> Path {
    Path {
        name: "found-leak".to_owned(),
        role: PathRole::Leak,
        from: End::Vessel(vessel),
        to: End::Ambient,
        area: area.max(0.0),
        discharge_coefficient: HOLE_DISCHARGE_COEFFICIENT,
        opening: Opening::Instant,
        command: Command::Always,
        flux_model: FluxModel::Equilibrium,
        one_way: false,
        friction_number: 0.0,
    }
}

fn with_path(system: &mut System, index: Option<usize>, change: impl FnOnce(&mut Path)) {
    if let Some(path) = index.and_then(|index| system.paths.get_mut(index)) {
        change(path);
    }
}

/// Time from the first movement to fully open [s].
#[must_use]
pub fn stroke(opening: &Opening) -> f64 {
    opening.time_fully_open() - lag(opening)
}

/// Dead time after the command [s].
#[must_use]
pub fn lag(opening: &Opening) -> f64 {
    match opening {
        Opening::Instant => 0.0,
        Opening::Ramp { lag, .. } | Opening::Servo { lag, .. } => *lag,
    }
}

/// An opening with another stroke [s]; one that opened at once becomes a ramp.
fn opening_over(opening: &Opening, time: f64) -> Opening {
    let own = stroke(opening);
    match opening {
        Opening::Servo {
            lag,
            slew_rate,
            travel,
            port,
        } if own > 0.0 => Opening::Servo {
            lag: *lag,
            slew_rate: slew_rate * own / time,
            travel: *travel,
            port: port.clone(),
        },
        other => Opening::Ramp {
            lag: lag(other),
            duration: time,
        },
    }
}

/// An opening with another dead time [s].
fn opening_after(opening: &Opening, lag: f64) -> Opening {
    match opening {
        Opening::Instant => Opening::Ramp { lag, duration: 0.0 },
        Opening::Ramp { duration, .. } => Opening::Ramp {
            lag,
            duration: *duration,
        },
        Opening::Servo {
            slew_rate,
            travel,
            port,
            ..
        } => Opening::Servo {
            lag,
            slew_rate: *slew_rate,
            travel: *travel,
            port: port.clone(),
        },
    }
}

/// An opening that moves as before but stops at a share of its final opening, and the factor on
/// the area that goes with it.
fn stopped_short(opening: &Opening, share: f64) -> (Opening, f64) {
    match opening {
        Opening::Instant => (Opening::Instant, share),
        Opening::Ramp { lag, duration } => (
            Opening::Ramp {
                lag: *lag,
                duration: duration * share,
            },
            share,
        ),
        Opening::Servo {
            lag,
            slew_rate,
            travel,
            port,
        } => {
            let wanted = share * port.fraction(*travel, *travel);
            let (mut low, mut high) = (0.0, *travel);
            for _ in 0..50 {
                let middle = 0.5 * (low + high);
                if port.fraction(middle, *travel) < wanted {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            // A ball valve's lap depends on its travel: keep it as dead time.
            let lap = match port {
                PortLaw::Ball { full_angle } => (travel - full_angle).max(0.0),
                PortLaw::Linear { .. } | PortLaw::Table(_) => 0.0,
            };
            let stopped = Opening::Servo {
                lag: lag + lap / slew_rate,
                slew_rate: *slew_rate,
                travel: high - lap,
                port: port.clone(),
            };
            (stopped, 1.0)
        }
    }
}
