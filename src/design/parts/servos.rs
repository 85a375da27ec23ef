//! Servos by class.

use super::Part;

/// A class of servo, written as in a design.
#[derive(Debug, Clone, Copy)]
pub struct Servo {
    /// Name.
    pub name: &'static str,
    /// Slew time without load at the rated voltage.
    pub slew: &'static str,
    /// Voltage at which the slew time holds.
    pub rated_voltage: &'static str,
    /// Dead time between command and motion.
    pub lag: &'static str,
    /// Speed lost per kelvin below 20 degC.
    pub cold_loss: &'static str,
    /// Mass with lead and horn.
    pub mass: &'static str,
    /// Volume of the case.
    pub volume: &'static str,
    /// Where the values come from.
    pub origin: &'static str,
}

const TYPICAL: &str = "typical of data sheets of the class, from memory; lag is up to one 20 ms \
                       command frame plus the controller; cold loss is an assumption; mass and \
                       case (23 x 12 x 29 mm small, 40 x 20 x 37 mm standard) of the class; time \
                       and weigh your own with the valve on it, cold";

/// Classes of servo.
#[rustfmt::skip]
pub const SERVOS: &[Servo] = &[
    Servo { name: "servo-9g", slew: "normal 0.12 s/60deg sd 8 %", rated_voltage: "4.8 V",
        lag: "uniform 5 ms .. 30 ms", cold_loss: "uniform 0 %/K .. 0.8 %/K", mass: "9 g", volume: "8 mL", origin: TYPICAL },
    Servo { name: "servo-13g", slew: "normal 0.10 s/60deg sd 8 %", rated_voltage: "6.0 V",
        lag: "uniform 5 ms .. 30 ms", cold_loss: "uniform 0 %/K .. 0.8 %/K", mass: "13 g", volume: "9 mL",
        origin: "slew from a data sheet of the 13 g class (4.8 V .12, 6.0 V .10 s/60deg); the rest \
                 assumed; time your own with the valve on it, cold" },
    Servo { name: "servo-standard", slew: "normal 0.17 s/60deg sd 8 %", rated_voltage: "6.0 V",
        lag: "uniform 5 ms .. 30 ms", cold_loss: "uniform 0 %/K .. 0.8 %/K", mass: "43 g", volume: "29 mL", origin: TYPICAL },
    Servo { name: "servo-high-voltage", slew: "normal 0.11 s/60deg sd 8 %", rated_voltage: "7.4 V",
        lag: "uniform 3 ms .. 20 ms", cold_loss: "uniform 0 %/K .. 0.8 %/K", mass: "60 g", volume: "30 mL", origin: TYPICAL },
];

impl Part for Servo {
    const KIND: &'static str = "servo";
    fn name(&self) -> &'static str {
        self.name
    }
    fn origin(&self) -> &'static str {
        self.origin
    }
}
