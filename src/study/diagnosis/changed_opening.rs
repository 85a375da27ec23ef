//! Valve openings that are slower, later or smaller than designed.

use crate::flow::opening::{Opening, PortLaw};

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
#[must_use]
pub fn opening_over(opening: &Opening, time: f64) -> Opening {
    let own = stroke(opening);
    let mut changed = opening.clone();
    match &mut changed {
        Opening::Servo { slew_rate, .. } if own > 0.0 => *slew_rate *= own / time,
        other => {
            *other = Opening::Ramp {
                lag: lag(opening),
                duration: time,
            }
        }
    }
    changed
}

/// An opening with another dead time [s].
#[must_use]
pub fn opening_after(opening: &Opening, dead_time: f64) -> Opening {
    let mut changed = opening.clone();
    match &mut changed {
        Opening::Ramp { lag, .. } | Opening::Servo { lag, .. } => *lag = dead_time,
        Opening::Instant => {
            changed = Opening::Ramp {
                lag: dead_time,
                duration: 0.0,
            }
        }
    }
    changed
}

/// An opening that moves as before but stops at a share of its final opening, and the factor on
/// the area that goes with it.
#[must_use]
pub fn stopped_short(opening: &Opening, share: f64) -> (Opening, f64) {
    let mut changed = opening.clone();
    let area = match &mut changed {
        Opening::Instant => share,
        Opening::Ramp { duration, .. } => {
            *duration *= share;
            share
        }
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
                PortLaw::Ball { full_angle } => (*travel - *full_angle).max(0.0),
                PortLaw::Linear { .. } | PortLaw::Table(_) => 0.0,
            };
            *lag += lap / *slew_rate;
            *travel = high - lap;
            1.0
        }
    };
    (changed, area)
}
