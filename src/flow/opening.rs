//! How far a valve is open a time after its command.

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
    /// the bore from no overlap to full overlap.
    Ball {
        /// Angle from no overlap to full overlap [rad].
        full_angle: f64,
    },
    /// Proportional to the angle, 1 at `full_angle` [rad].
    Linear {
        /// Angle of full opening [rad].
        full_angle: f64,
    },
    /// Straight lines through (angle [rad], fraction) points.
    Table(Vec<(f64, f64)>),
}
