//! The criteria of a separation, each held against one outcome.

use crate::discharge::{Ending, Outcome, Peak, VesselOutcome};
use crate::network::criteria::Criteria;
use crate::network::spec::{Command, System};
use crate::units::Dimension;

/// What is judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CriterionKind {
    /// Peak pressure of a vessel against its rating.
    PressureRating {
        /// Name of the vessel.
        vessel: String,
    },
    /// Force available with the nose held, over the force that holds it.
    RetentionFactor,
    /// Time at which the coupler is out.
    ClearWithin,
    /// Speed at which the nose leaves, from below.
    ExitSpeedLeast,
    /// Speed at which the nose leaves, from above.
    ExitSpeedMost,
    /// Peak tether load against its rating.
    TetherRating,
}

impl CriterionKind {
    /// Name in data files: `exit_speed_least`, `pressure_rating.bay`.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            CriterionKind::PressureRating { vessel } => format!("{RATING}{vessel}"),
            CriterionKind::RetentionFactor => "retention_factor".to_owned(),
            CriterionKind::ClearWithin => "clear_within".to_owned(),
            CriterionKind::ExitSpeedLeast => "exit_speed_least".to_owned(),
            CriterionKind::ExitSpeedMost => "exit_speed_most".to_owned(),
            CriterionKind::TetherRating => "tether_rating".to_owned(),
        }
    }

    /// The kind of that [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        if let Some(vessel) = name.strip_prefix(RATING) {
            let vessel = vessel.to_owned();
            return Some(CriterionKind::PressureRating { vessel });
        }
        [
            CriterionKind::RetentionFactor,
            CriterionKind::ClearWithin,
            CriterionKind::ExitSpeedLeast,
            CriterionKind::ExitSpeedMost,
            CriterionKind::TetherRating,
        ]
        .into_iter()
        .find(|kind| kind.name() == name)
    }

    /// Name in sentences: "exit speed".
    #[must_use]
    pub fn label(&self) -> String {
        match self {
            CriterionKind::PressureRating { vessel } => format!("pressure in {vessel}"),
            CriterionKind::RetentionFactor => "available force over retention".to_owned(),
            CriterionKind::ClearWithin => "time to clear".to_owned(),
            CriterionKind::ExitSpeedLeast | CriterionKind::ExitSpeedMost => "exit speed".to_owned(),
            CriterionKind::TetherRating => "tether load".to_owned(),
        }
    }

    /// What a trial that fails it suffers from: "exit speed too low".
    #[must_use]
    pub fn failure(&self) -> String {
        match self {
            CriterionKind::PressureRating { vessel } => format!("pressure in {vessel} too high"),
            CriterionKind::RetentionFactor => "force over retention too low".to_owned(),
            CriterionKind::ClearWithin => "not clear in time".to_owned(),
            CriterionKind::ExitSpeedLeast => "exit speed too low".to_owned(),
            CriterionKind::ExitSpeedMost => "exit speed too high".to_owned(),
            CriterionKind::TetherRating => "tether load too high".to_owned(),
        }
    }
}

/// Start of the name of a pressure rating in data files.
const RATING: &str = "pressure_rating.";

/// On which side of the limit a value must lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// The limit or more.
    AtLeast,
    /// The limit or less.
    AtMost,
}

/// One criterion with its verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct Criterion {
    /// What is judged.
    pub kind: CriterionKind,
    /// Value reached [SI]; `None` if it never came about, as a speed of a nose that stays.
    pub value: Option<f64>,
    /// Limit [SI].
    pub limit: f64,
    /// On which side of it the value must lie.
    pub sense: Sense,
    /// Whether it does.
    pub pass: bool,
    /// Kind of quantity.
    pub dimension: Dimension,
}

impl Criterion {
    /// Name in data files: `exit_speed_least`, `pressure_rating.bay`.
    #[must_use]
    pub fn name(&self) -> String {
        self.kind.name()
    }

    /// Name in sentences: "exit speed".
    #[must_use]
    pub fn label(&self) -> String {
        self.kind.label()
    }

    /// Distance from the limit on the passing side [SI], negative on the failing side.
    #[must_use]
    pub fn margin(&self) -> Option<f64> {
        self.value.map(|value| match self.sense {
            Sense::AtLeast => value - self.limit,
            Sense::AtMost => self.limit - value,
        })
    }

    /// Margin over the limit [1].
    #[must_use]
    pub fn relative_margin(&self) -> Option<f64> {
        self.margin().map(|margin| margin / self.limit.abs())
    }

    fn new(
        kind: CriterionKind,
        value: Option<f64>,
        sense: Sense,
        limit: f64,
        dimension: Dimension,
    ) -> Self {
        let pass = value.is_some_and(|value| match sense {
            Sense::AtLeast => value >= limit,
            Sense::AtMost => value <= limit,
        });
        Criterion {
            kind,
            value,
            limit,
            sense,
            pass,
            dimension,
        }
    }
}

/// When the first valve is commanded [s]; 0 if none waits for a command.
#[must_use]
pub fn first_command(system: &System) -> f64 {
    system
        .paths
        .iter()
        .filter_map(|path| match path.command {
            Command::Always => None,
            Command::At(time) | Command::Backup(time) => Some(time),
        })
        .reduce(f64::min)
        .unwrap_or(0.0)
}

/// The kinds of criteria that [`judge`] will judge, before anything has run.
#[must_use]
pub fn expected(system: &System, criteria: &Criteria) -> Vec<CriterionKind> {
    let nothing_yet = Outcome {
        ending: Ending::Horizon,
        vessels: vec![VesselOutcome::default(); system.vessels.len()],
        peak_bay_pressure: Peak::default(),
        peak_opening_force: Peak::default(),
        retention_force: 0.0,
        pins_break_time: None,
        clear_time: None,
        exit_speed: None,
        peak_tether_load: None,
        furthest_travel: 0.0,
    };
    judge(system, criteria, &nothing_yet, None, false)
        .into_iter()
        .map(|criterion| criterion.kind)
        .collect()
}

/// Every criterion that applies, in the order in which a shot meets them: ratings of the vessels,
/// retention, clearing, exit speed, tether. A system with a nose must always clear: without a
/// time of its own, within the horizon.
///
/// `retention_factor` is the peak pressure force with the nose held over the retention force, if
/// it is known; with `held`, the nose was kept on deliberately and nothing after the pins is
/// judged.
#[must_use]
pub fn judge(
    system: &System,
    criteria: &Criteria,
    outcome: &Outcome,
    retention_factor: Option<f64>,
    held: bool,
) -> Vec<Criterion> {
    let mut judged = Vec::new();
    for (vessel, result) in system.vessels.iter().zip(&outcome.vessels) {
        if let Some(rating) = vessel.pressure_rating {
            judged.push(Criterion::new(
                CriterionKind::PressureRating {
                    vessel: vessel.name.clone(),
                },
                Some(result.peak_pressure.value),
                Sense::AtMost,
                rating,
                Dimension::AbsolutePressure,
            ));
        }
    }
    let Some((nose, _)) = &system.nose else {
        return judged;
    };
    if let Some(limit) = criteria.retention_factor {
        let dimension = Dimension::Number;
        let kind = CriterionKind::RetentionFactor;
        judged.push(Criterion::new(
            kind,
            retention_factor,
            Sense::AtLeast,
            limit,
            dimension,
        ));
    }
    if held {
        return judged;
    }
    judged.push(Criterion::new(
        CriterionKind::ClearWithin,
        outcome.clear_time.map(|time| time - first_command(system)),
        Sense::AtMost,
        criteria.clear_within.unwrap_or(system.horizon),
        Dimension::Time,
    ));
    let speeds = [
        (
            CriterionKind::ExitSpeedLeast,
            Sense::AtLeast,
            criteria.exit_speed_least,
        ),
        (
            CriterionKind::ExitSpeedMost,
            Sense::AtMost,
            criteria.exit_speed_most,
        ),
    ];
    for (kind, sense, limit) in speeds {
        if let Some(limit) = limit {
            let speed = outcome.exit_speed;
            judged.push(Criterion::new(kind, speed, sense, limit, Dimension::Speed));
        }
    }
    if let Some(rating) = nose.tether.as_ref().and_then(|tether| tether.rating) {
        // One that never ran taut, followed beyond the horizon where need be, carried nothing.
        let load = outcome.peak_tether_load.map_or(0.0, |peak| peak.value);
        judged.push(Criterion::new(
            CriterionKind::TetherRating,
            Some(load),
            Sense::AtMost,
            rating,
            Dimension::Force,
        ));
    }
    judged
}
