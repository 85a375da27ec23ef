//! How far a valve is open a time after its command.

use crate::flow::error::{FlowError, within};
use std::f64::consts::{FRAC_2_PI, FRAC_PI_3};

/// Opening law of a valve: fraction of the full area against time since the command.
#[derive(Debug, Clone, PartialEq)]
pub enum Opening {
    /// Fully open at the command.
    Instant,
    /// Linear from shut to open over `duration` after `lag`.
    Ramp {
        /// Dead time after the command [s].
        lag: f64,
        /// Time from shut to fully open [s].
        duration: f64,
    },
    /// A servo turning at constant rate through `travel` after `lag`.
    Servo {
        /// Dead time after the command [s].
        lag: f64,
        /// Angular rate [rad/s], supply voltage and cold already applied.
        slew_rate: f64,
        /// Angle turned from shut to the end stop [rad].
        travel: f64,
        /// Open fraction against angle.
        port: PortLaw,
    },
}

/// Open area fraction of a valve port against the angle turned.
#[derive(Debug, Clone, PartialEq)]
pub enum PortLaw {
    /// Overlap of a circular bore with an equal circular port; `full_angle` [rad] turns
    /// the bore from no overlap to full overlap. With more `travel` than that, the first part of
    /// the turn is lap (dead band) and the bores are in line at the end stop; with less, the
    /// bores just touch when shut and stay partly covered at the end stop.
    Ball {
        /// Angle from no overlap to full overlap [rad].
        full_angle: f64,
    },
    /// Proportional to the angle, 1 at `full_angle` [rad] and beyond.
    Linear {
        /// Angle of full opening [rad].
        full_angle: f64,
    },
    /// Straight lines through (angle [rad], fraction) points, angles not falling; held at
    /// the first and last fraction outside them. Two points at one angle make a step.
    Table(Vec<(f64, f64)>),
}

impl Opening {
    /// Open fraction of the full area, 0-1, at a time since the command [s]; 0 before it.
    pub fn fraction(&self, time_since_command: f64) -> f64 {
        if time_since_command.is_nan() || time_since_command < 0.0 {
            return 0.0;
        }
        match self {
            Opening::Instant => 1.0,
            Opening::Ramp { lag, duration } => {
                let since = time_since_command - lag;
                if since < 0.0 {
                    0.0
                } else if since >= *duration {
                    1.0
                } else {
                    since / duration
                }
            }
            Opening::Servo {
                lag,
                slew_rate,
                travel,
                port,
            } => {
                let since = time_since_command - lag;
                if since < 0.0 {
                    0.0
                } else {
                    port.fraction((slew_rate * since).min(*travel), *travel)
                }
            }
        }
    }

    /// Times since the command [s] at which the fraction jumps or has a corner, ascending,
    /// none twice: an integrator should stop and restart there.
    pub fn kinks(&self) -> Vec<f64> {
        let mut times = match self {
            Opening::Instant => vec![0.0],
            Opening::Ramp { lag, duration } => vec![*lag, lag + duration],
            Opening::Servo {
                lag,
                slew_rate,
                travel,
                port,
            } => {
                let mut angles = port.corners(*travel);
                angles.push(0.0);
                angles.push(*travel);
                angles.retain(|angle| (0.0..=*travel).contains(angle));
                angles
                    .into_iter()
                    .map(|angle| lag + angle / slew_rate)
                    .collect()
            }
        };
        times.sort_by(f64::total_cmp);
        times.dedup();
        times
    }

    /// Time since the command [s] after which the fraction no longer changes. The valve is then
    /// as open as it ever gets, which is [`Opening::final_fraction`].
    pub fn time_fully_open(&self) -> f64 {
        match self {
            Opening::Instant => 0.0,
            Opening::Ramp { lag, duration } => lag + duration,
            Opening::Servo {
                lag,
                slew_rate,
                travel,
                port,
            } => {
                let last = match port {
                    PortLaw::Ball { .. } => *travel,
                    PortLaw::Linear { full_angle } => full_angle.min(*travel),
                    PortLaw::Table(points) => points
                        .last()
                        .map_or(0.0, |&(angle, _)| angle.clamp(0.0, *travel)),
                };
                lag + last / slew_rate
            }
        }
    }

    /// Open fraction at the end of the stroke: below 1 if the servo stops short.
    pub fn final_fraction(&self) -> f64 {
        match self {
            Opening::Instant | Opening::Ramp { .. } => 1.0,
            Opening::Servo { travel, port, .. } => port.fraction(*travel, *travel),
        }
    }

    /// Checks that every number makes a usable opening.
    ///
    /// # Errors
    /// [`FlowError`] naming the first number that does not: a negative lag or duration, a slew
    /// rate or angle that is not positive, an empty or unordered table, a fraction outside 0-1.
    pub fn validate(&self) -> Result<(), FlowError> {
        const LAW: &str = "valve opening";
        match self {
            Opening::Instant => {}
            Opening::Ramp { lag, duration } => {
                within(LAW, "lag [s]", *lag, 0.0, f64::MAX)?;
                within(LAW, "duration [s]", *duration, 0.0, f64::MAX)?;
            }
            Opening::Servo {
                lag,
                slew_rate,
                travel,
                port,
            } => {
                within(LAW, "lag [s]", *lag, 0.0, f64::MAX)?;
                within(
                    LAW,
                    "slew rate [rad/s]",
                    *slew_rate,
                    f64::MIN_POSITIVE,
                    f64::MAX,
                )?;
                within(LAW, "travel [rad]", *travel, f64::MIN_POSITIVE, f64::MAX)?;
                port.validate()?;
            }
        }
        Ok(())
    }
}

impl PortLaw {
    /// Open fraction at an angle turned from shut [rad], for a servo that turns through
    /// `travel` [rad].
    pub fn fraction(&self, angle: f64, travel: f64) -> f64 {
        match self {
            PortLaw::Ball { full_angle } => {
                let lap = (travel - full_angle).max(0.0);
                circle_overlap(1.0 - (angle - lap) / full_angle)
            }
            PortLaw::Linear { full_angle } => (angle / full_angle).clamp(0.0, 1.0),
            PortLaw::Table(points) => interpolate(points, angle),
        }
    }

    fn corners(&self, travel: f64) -> Vec<f64> {
        match self {
            PortLaw::Ball { full_angle } => vec![(travel - full_angle).max(0.0)],
            PortLaw::Linear { full_angle } => vec![*full_angle],
            PortLaw::Table(points) => points.iter().map(|&(angle, _)| angle).collect(),
        }
    }

    fn validate(&self) -> Result<(), FlowError> {
        match self {
            PortLaw::Ball { full_angle } | PortLaw::Linear { full_angle } => {
                within(
                    "valve port",
                    "full angle [rad]",
                    *full_angle,
                    f64::MIN_POSITIVE,
                    f64::MAX,
                )?;
            }
            PortLaw::Table(points) => {
                if points.is_empty() {
                    return Err(FlowError::PortTable {
                        index: 0,
                        problem: "is missing",
                    });
                }
                let mut previous = 0.0;
                for (index, &(angle, fraction)) in points.iter().enumerate() {
                    if !(angle >= previous && angle.is_finite()) {
                        let problem = "has an angle below the one before it (or below 0)";
                        return Err(FlowError::PortTable { index, problem });
                    }
                    if !(0.0..=1.0).contains(&fraction) {
                        let problem = "has an open fraction outside 0 to 1";
                        return Err(FlowError::PortTable { index, problem });
                    }
                    previous = angle;
                }
            }
        }
        Ok(())
    }
}

/// Common area of two equal circles over the area of one, their centres `u` diameters apart.
///
/// Equation: A/A0 = (2/pi) (acos u - u sqrt(1 - u^2)), 0 <= u <= 1 [-]; 1 below, 0 above.
/// Source: plane geometry (twice a circular segment). Assumption for a ball valve: the offset in
/// bores is proportional to the angle still to turn, and port and bore are seen as flat circles.
/// Measured against the area ratios of Weisbach's cock at 10-50 degrees from open, a `full_angle`
/// of 80 degrees follows within .01 of full area, 82.5 degrees within .03.
pub fn circle_overlap(u: f64) -> f64 {
    let u = u.clamp(0.0, 1.0);
    FRAC_2_PI * (u.acos() - u * ((1.0 - u) * (1.0 + u)).sqrt())
}

fn interpolate(points: &[(f64, f64)], angle: f64) -> f64 {
    let after = points.partition_point(|&(node, _)| node <= angle);
    let right = points.get(after);
    let left = after.checked_sub(1).and_then(|index| points.get(index));
    match (left, right) {
        (Some(&(a0, f0)), Some(&(a1, f1))) => f0 + (f1 - f0) * (angle - a0) / (a1 - a0),
        (Some(&(_, fraction)), None) | (None, Some(&(_, fraction))) => fraction,
        (None, None) => 0.0,
    }
}

/// Temperature at which servo data sheets are taken to hold [K].
pub const SERVO_RATING_TEMPERATURE: f64 = 293.15;

/// Slew rate of a servo [rad/s] away from its rated voltage and temperature.
///
/// Equation: omega = (pi/3)/t60 (V/V0) (1 - c max(0, T0 - T)), with t60 the rated time for 60
/// degrees [s], V0 and V rated and actual supply voltage [V], T0 = 293.15 K, T temperature [K],
/// c the loss of speed per kelvin of cold [1/K].
/// Assumptions: a permanent-magnet motor far from stall, so that speed is proportional to
/// voltage (a data sheet with .12 s at 4.8 V and .10 s at 6.0 V gives 4 % less than that);
/// cold thickens grease and sags the battery, which one linear coefficient lumps. No published
/// value for c was found: .002-.01 per kelvin is an assumption to be replaced by a cold-box test.
/// Range: voltage within half and one and a half times the rating; 200-370 K.
///
/// # Errors
/// [`FlowError::OutOfRange`] outside that range, or if the cold leaves no speed at all.
pub fn servo_slew(
    rated_seconds_per_60_degrees: f64,
    rated_voltage: f64,
    voltage: f64,
    temperature: f64,
    cold_coefficient: f64,
) -> Result<f64, FlowError> {
    const LAW: &str = "servo slew";
    let rated = within(
        LAW,
        "rated time [s/60deg]",
        rated_seconds_per_60_degrees,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        LAW,
        "rated voltage [V]",
        rated_voltage,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        LAW,
        "supply voltage [V]",
        voltage,
        0.5 * rated_voltage,
        1.5 * rated_voltage,
    )?;
    within(LAW, "temperature [K]", temperature, 200.0, 370.0)?;
    within(LAW, "cold coefficient [1/K]", cold_coefficient, 0.0, 1.0)?;
    let cold = 1.0 - cold_coefficient * (SERVO_RATING_TEMPERATURE - temperature).max(0.0);
    within(LAW, "speed left in the cold [-]", cold, 1.0e-3, 1.0)?;
    Ok(FRAC_PI_3 / rated * (voltage / rated_voltage) * cold)
}
