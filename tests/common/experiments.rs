//! The measured vessels as systems, and the comparison of a run with a measurement.
#![allow(dead_code)] // each test binary uses its own part

use std::fmt;

use coldkick::discharge::{Discharge, EventKind};
use coldkick::flow::FluxModel;
use coldkick::network::spec::{Ambient, Draw, End, InsideHeat, OutsideHeat, Path, System, Wall};

use super::common::systems::{air_vessel, cartridge, orifice, rigid};
use super::common::{Row, number, published};

/// The four two-phase models.
pub const MODELS: [(&str, FluxModel); 4] = [
    ("equilibrium", FluxModel::Equilibrium),
    ("relaxed", FluxModel::Relaxed),
    ("Henry-Fauske", FluxModel::HenryFauske),
    ("frozen", FluxModel::Frozen),
];

/// Errors of the pressure in the first vessel over the measured points after the start.
pub struct Comparison {
    pub mean: f64,
    pub root_mean_square: f64,
    pub worst: f64,
    pub points: usize,
}

impl Comparison {
    pub fn new(discharge: &Discharge, rows: &[Row], column: &str, unit: f64) -> Self {
        Self::with_offset(discharge, rows, column, unit, 0.0)
    }

    pub fn with_offset(
        discharge: &Discharge,
        rows: &[Row],
        column: &str,
        unit: f64,
        offset: f64,
    ) -> Self {
        let mut errors = Vec::new();
        for row in rows {
            let time = number(row, "t_s");
            if time > 0.0 {
                let measured = number(row, column) * unit + offset;
                errors.push(pressure_at(discharge, time) - measured);
            }
        }
        let n = errors.len() as f64;
        Self {
            mean: errors.iter().map(|e| e.abs()).sum::<f64>() / n,
            root_mean_square: (errors.iter().map(|e| e * e).sum::<f64>() / n).sqrt(),
            worst: errors.iter().fold(0.0, |w: f64, e| w.max(e.abs())),
            points: errors.len(),
        }
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "mean {:.3} bar, rms {:.3} bar, worst {:.3} bar of {} points",
            self.mean / 1e5,
            self.root_mean_square / 1e5,
            self.worst / 1e5,
            self.points
        )
    }
}

/// Pressure of the first vessel at a time, straight between samples.
pub fn pressure_at(discharge: &Discharge, time: f64) -> f64 {
    let times = &discharge.trajectory.times;
    let p = &discharge.trajectory.vessels[0].pressure;
    let next = times.partition_point(|t| *t <= time);
    if next >= times.len() {
        return *p.last().unwrap();
    }
    let (a, b) = (times[next - 1], times[next]);
    p[next - 1] + (p[next] - p[next - 1]) * (time - a) / (b - a)
}

/// When the liquid ran out [s].
pub fn run_out(discharge: &Discharge) -> Option<f64> {
    discharge
        .events
        .iter()
        .find(|e| matches!(e.kind, EventKind::LiquidGone { .. }))
        .map(|e| e.time)
}

/// A cylindrical shell: inner diameter, length and thickness [m], density times specific heat
/// [J/(m3 K)], conductivity [W/(m K)].
pub fn shell(
    (diameter, length, thickness): (f64, f64, f64),
    (heat, conductivity): (f64, f64),
    temperature: f64,
    inside: InsideHeat,
    outside: OutsideHeat,
) -> Wall {
    use std::f64::consts::PI;
    let area = |d: f64, l: f64| PI * d * l + PI * d * d / 2.0;
    let middle = area(diameter + thickness, length + thickness);
    Wall {
        heat_capacity: middle * thickness * heat,
        temperature,
        conduction_resistance: thickness / (conductivity * middle),
        inner_area: area(diameter, length),
        outer_area: area(diameter + 2.0 * thickness, length + 2.0 * thickness),
        inside,
        outside,
        solar: 0.0,
    }
}

/// Steel: 7850 kg/m3, 470 J/(kg K), 50 W/(m K).
pub const STEEL: (f64, f64) = (7850.0 * 470.0, 50.0);
/// Aluminium alloy: 2700 kg/m3, 900 J/(kg K), 170 W/(m K).
pub const ALUMINIUM: (f64, f64) = (2700.0 * 900.0, 170.0);

fn hole(diameter: f64, coefficient: f64, model: FluxModel) -> Path {
    use std::f64::consts::PI;
    Path {
        discharge_coefficient: coefficient,
        ..orifice(
            End::Vessel(0),
            End::Ambient,
            PI / 4.0 * diameter * diameter,
            model,
        )
    }
}

/// The air tank of Thorncroft et al. Assumed: steel, 2.5 mm, a cylinder 0.25 m wide.
pub fn thorncroft(wall: bool) -> System {
    let volume = 16.18e-3;
    let mut vessel = air_vessel("tank", 7.9e5, 298.0, volume);
    if wall {
        let diameter: f64 = 0.25;
        let length = volume / (std::f64::consts::FRAC_PI_4 * diameter * diameter);
        vessel.wall = Some(shell(
            (diameter, length, 2.5e-3),
            STEEL,
            298.0,
            InsideHeat::NaturalConvection {
                height: diameter,
                gravity: 9.80665,
            },
            OutsideHeat::NaturalConvection { height: diameter },
        ));
    }
    let mut system = rigid(
        vec![vessel],
        vec![hole(2.71e-3, 0.84, FluxModel::Frozen)],
        30.0,
    );
    system.ambient = Ambient::constant(101_325.0, 298.0);
    system
}

/// The nitrogen vessel of Haque et al., run with air: as many moles (so the same pressure), and
/// the area enlarged by sqrt(M_air/M_N2) so that the share that leaves per second is that of
/// nitrogen. Wall of 25 mm carbon steel.
pub fn haque(wall: bool) -> System {
    let (diameter, length) = (0.273, 1.524);
    let volume = std::f64::consts::FRAC_PI_4 * diameter * diameter * length;
    let mut vessel = air_vessel("vessel", 150e5, 290.0, volume);
    if wall {
        vessel.wall = Some(shell(
            (diameter, length, 25e-3),
            STEEL,
            290.0,
            InsideHeat::NaturalConvection {
                height: length,
                gravity: 9.80665,
            },
            OutsideHeat::NaturalConvection { height: length },
        ));
    }
    let mut path = hole(6.35e-3, 0.8, FluxModel::Frozen);
    path.area *= (28.964_f64 / 28.0134).sqrt();
    let mut system = rigid(vec![vessel], vec![path], 100.0);
    system.ambient = Ambient::constant(101_325.0, 290.0);
    system
}

/// One of the CO2 tanks of Zimmerman et al.
pub struct Tank {
    pub name: &'static str,
    pub volume: f64,
    pub orifice: f64,
    pub coefficient: f64,
    pub temperature: f64,
    pub mass: f64,
    /// Measured time of run-out [s].
    pub run_out: f64,
    /// Last measured time [s].
    pub last: f64,
    /// To be added to the tabulated pressure [Pa].
    pub offset: f64,
    /// Assumed inner diameter [m].
    pub diameter: f64,
}

impl Tank {
    pub fn all() -> [Tank; 3] {
        [
            Tank {
                name: "A",
                volume: 180.83e-6,
                orifice: 0.559e-3,
                coefficient: 0.6545,
                temperature: 290.5,
                mass: 0.1221,
                run_out: 13.8,
                last: 30.0,
                offset: 101_325.0,
                diameter: 0.038,
            },
            Tank {
                name: "B",
                volume: 1.233e-3,
                orifice: 1.524e-3,
                coefficient: 0.6545,
                temperature: 293.65,
                mass: 0.8204,
                run_out: 10.55,
                last: 25.0,
                offset: 0.0,
                diameter: 0.076,
            },
            Tank {
                name: "C",
                volume: 1.233e-3,
                orifice: 2.261e-3,
                coefficient: 0.80,
                temperature: 290.75,
                mass: 0.8495,
                run_out: 5.96,
                last: 12.0,
                offset: 0.0,
                diameter: 0.076,
            },
        ]
    }

    pub fn measured(&self) -> Vec<Row> {
        let mut rows = published("zimmerman-2013");
        rows.retain(|r| r["tank"] == self.name);
        rows
    }

    /// The tank upright, liquid leaving at the bottom. Assumed wall: aluminium, 6 mm.
    pub fn system(&self, model: FluxModel, wall: bool) -> System {
        let mut vessel = cartridge(self.mass, self.temperature, self.volume, Draw::Liquid);
        if wall {
            let length =
                self.volume / (std::f64::consts::FRAC_PI_4 * self.diameter * self.diameter);
            vessel.wall = Some(shell(
                (self.diameter, length, 6e-3),
                ALUMINIUM,
                self.temperature,
                InsideHeat::Boiling {
                    roughness: 1e-6,
                    area_factor: 1.0,
                    height: length,
                    gravity: 9.80665,
                },
                OutsideHeat::NaturalConvection { height: length },
            ));
        }
        let mut system = rigid(
            vec![vessel],
            vec![hole(self.orifice, self.coefficient, model)],
            self.last * 1.02,
        );
        system.ambient = Ambient::constant(101_325.0, self.temperature);
        system
    }
}

/// Pressure of the first vessel as points (s, in `unit` Pa).
pub fn curve(discharge: &Discharge, unit: f64) -> Vec<(f64, f64)> {
    let t = &discharge.trajectory;
    let values = t.vessels[0].pressure.iter().map(|p| p / unit);
    t.times.iter().copied().zip(values).collect()
}

/// Temperature of the first vessel as points (s, K).
pub fn temperature_curve(discharge: &Discharge) -> Vec<(f64, f64)> {
    let t = &discharge.trajectory;
    let values = t.vessels[0].temperature.iter().copied();
    t.times.iter().copied().zip(values).collect()
}
