//! What happened, in numbers.

use crate::mechanics::motion::NoseEvent;

/// A largest value and when it was reached.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Peak {
    /// The value [SI].
    pub value: f64,
    /// When [s].
    pub time: f64,
}

/// Something that happened at an instant.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRecord {
    /// When [s].
    pub time: f64,
    /// What.
    pub kind: EventKind,
}

/// What can happen.
#[derive(Debug, Clone, PartialEq)]
pub enum EventKind {
    /// A path is commanded open.
    Commanded {
        /// Name of the path.
        path: String,
    },
    /// A backup line stays shut because the nose has cleared.
    BackupNotNeeded {
        /// Name of the path.
        path: String,
    },
    /// A path has reached its final opening.
    FullyOpen {
        /// Name of the path.
        path: String,
    },
    /// The charge became two-phase: the draw changes from the bulk fluid to the chosen phase.
    TwoPhase {
        /// Name of the vessel.
        vessel: String,
    },
    /// The charge became a single dense phase again.
    SinglePhase {
        /// Name of the vessel.
        vessel: String,
    },
    /// A liquid draw ran out of liquid and goes on as vapour.
    LiquidGone {
        /// Name of the vessel.
        vessel: String,
    },
    /// Dry ice begins to form; told of runs to the horizon only.
    DryIce {
        /// Name of the vessel.
        vessel: String,
    },
    /// The nose.
    Nose(NoseEvent),
}

impl EventKind {
    /// What happened, without where: "pins shear".
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            EventKind::Commanded { .. } => "commanded open",
            EventKind::BackupNotNeeded { .. } => "not needed, the nose is clear",
            EventKind::FullyOpen { .. } => "fully open",
            EventKind::TwoPhase { .. } => "starts to boil",
            EventKind::SinglePhase { .. } => "single phase again",
            EventKind::LiquidGone { .. } => "liquid gone",
            EventKind::DryIce { .. } => "starts to form dry ice",
            EventKind::Nose(event) => match event {
                NoseEvent::PinsShear => "pins shear",
                NoseEvent::PinsTorn => "pins torn",
                NoseEvent::Stop => "nose stops",
                NoseEvent::BreakAway => "nose breaks away",
                NoseEvent::SlideBack => "nose slides back",
                NoseEvent::Seat => "nose back on its seat",
                NoseEvent::Clear => "nose clear",
                NoseEvent::Recontact => "nose falls back onto the coupler",
                NoseEvent::Taut => "tether taut",
                NoseEvent::TetherPeak => "tether load peak",
                NoseEvent::Slack => "tether slack",
            },
        }
    }

    /// Name of the path or vessel it happened to; `None` for the nose.
    #[must_use]
    pub fn subject(&self) -> Option<&str> {
        match self {
            EventKind::Commanded { path }
            | EventKind::BackupNotNeeded { path }
            | EventKind::FullyOpen { path } => Some(path),
            EventKind::TwoPhase { vessel }
            | EventKind::SinglePhase { vessel }
            | EventKind::LiquidGone { vessel }
            | EventKind::DryIce { vessel } => Some(vessel),
            EventKind::Nose(_) => None,
        }
    }

    /// Whether this is that event of the nose.
    #[must_use]
    pub fn is_nose(&self, wanted: NoseEvent) -> bool {
        *self == EventKind::Nose(wanted)
    }
}

/// "valve commanded open", "pins shear".
impl std::fmt::Display for EventKind {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.subject() {
            Some(subject) => write!(formatter, "{subject} {}", self.name()),
            None => formatter.write_str(self.name()),
        }
    }
}

/// Why the run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The horizon of the design was reached.
    Horizon,
    /// The nose is off and the tether has had its peak load.
    TetherTaut,
    /// Nothing upstream has more pressure than the bay, and the nose does not move.
    Spent,
    /// The force on the nose that is held is as much as one wanted to know.
    Enough,
    /// The nose came off and fell back to the mouth of the coupler.
    FellBack,
}

/// What became of one vessel.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct VesselOutcome {
    /// Name in the design file.
    pub name: String,
    /// Highest absolute pressure [Pa].
    pub peak_pressure: Peak,
    /// Lowest temperature of the contents [K].
    pub coldest: Peak,
    /// Pressure at the end [Pa].
    pub final_pressure: f64,
    /// CO2 at the start [kg].
    pub initial_co2: f64,
    /// CO2 left at the end [kg].
    pub final_co2: f64,
    /// Dry ice at the end [kg].
    pub final_solid: f64,
    /// Liquid at the end [kg].
    pub final_liquid: f64,
    /// Most dry ice at any time [kg].
    pub most_solid: f64,
}

/// The numbers behind the verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Why the run ended.
    pub ending: Ending,
    /// One entry per vessel of the system, in its order.
    pub vessels: Vec<VesselOutcome>,
    /// Highest absolute pressure in the vessel under the nose [Pa] (the bay, or without a nose
    /// the last vessel).
    pub peak_bay_pressure: Peak,
    /// Highest opening force while the nose was on its coupler [N].
    pub peak_opening_force: Peak,
    /// Force that holds the latched nose [N]; zero without a nose.
    pub retention_force: f64,
    /// When the pins sheared [s].
    pub pins_break_time: Option<f64>,
    /// When the coupler was out [s].
    pub clear_time: Option<f64>,
    /// Relative speed at that moment [m/s].
    pub exit_speed: Option<f64>,
    /// Highest tether load [N], which a nose that is clear at the horizon may meet after it; `None` if
    /// the tether never ran taut.
    pub peak_tether_load: Option<Peak>,
    /// Furthest travel of the nose [m].
    pub furthest_travel: f64,
}

/// How well the balances closed, and what the run cost.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Audit {
    /// Mass not accounted for over the mass moved [-].
    pub mass_closure: f64,
    /// Energy not accounted for over the energy moved [-].
    pub energy_closure: f64,
    /// Accepted steps.
    pub steps: u64,
    /// Of those, by the stiff method.
    pub stiff_steps: u64,
    /// Rejected steps.
    pub rejected_steps: u64,
    /// Evaluations of the rates.
    pub evaluations: u64,
}
