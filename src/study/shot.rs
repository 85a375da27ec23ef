//! One shot with everything that explains it.

use crate::discharge::{Discharge, Peak, Settings, run};
use crate::mechanics::NoseEvent;
use crate::network::criteria::Criteria;
use crate::network::spec::System;

use super::StudyError;
use super::criterion::{Criterion, judge};
use super::leak::{TolerableLeak, pressure_force, tolerable_leak};
use super::warning::{Warning, warnings};

/// One discharge, judged and explained.
#[derive(Debug, Clone, PartialEq)]
pub struct ShotStudy {
    /// The shot itself.
    pub discharge: Discharge,
    /// The run with the nose held; `None` without a nose, or when the shot itself is that run.
    pub held_discharge: Option<Discharge>,
    /// Whether the nose was kept on deliberately.
    pub nose_held: bool,
    /// What the bay could do to a nose that stays on; `None` without a nose.
    pub held: Option<HeldNose>,
    /// Every criterion, in the order in which a shot meets them.
    pub criteria: Vec<Criterion>,
    /// Charge that was not used.
    pub residues: Vec<Residue>,
    /// Pressure outside at the start [Pa].
    pub ambient_pressure: f64,
    /// What a perfect gas that never cools would have reached [Pa].
    pub perfect_gas_pressure: f64,
    /// Largest leak that could be added; `None` if not asked for or without meaning.
    pub tolerable_leak: Option<TolerableLeak>,
    /// What deserves attention.
    pub warnings: Vec<Warning>,
}

/// The force there would be if nothing let go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldNose {
    /// Index of the vessel under the nose.
    pub bay: usize,
    /// Pressure force at which the latched nose leaves [N].
    pub retention_force: f64,
    /// Bay pressure above ambient at which it does [Pa].
    pub retention_pressure: f64,
    /// Bay pressure that would have been needed when the force with the nose held was highest [Pa, absolute].
    pub needed_pressure: f64,
    /// Highest pressure force with the nose held [N].
    pub peak_force: Peak,
    /// Highest bay pressure with the nose held [Pa, absolute]. Where it is reached before the
    /// horizon, inflow and leakage balance there.
    pub peak_pressure: Peak,
    /// Whether the pressure was still rising at the horizon.
    pub still_rising: bool,
    /// Area of the leaks and vents of the bay, each times its discharge coefficient [m2].
    pub effective_leak_area: f64,
    /// Push of the seated spring [N], which helps the pressure.
    pub spring_force: f64,
    /// Length of the coupler [m].
    pub engagement: f64,
    /// Whether there are pins: without any only friction and hold-down keep it.
    pub pinned: bool,
}

impl HeldNose {
    /// Runs a system with the nose held; `None` without a nose.
    ///
    /// # Errors
    /// [`StudyError::HeldNose`] when the run cannot be computed.
    pub fn of(system: &System, settings: &Settings) -> Result<Option<Self>, StudyError> {
        if system.nose.is_none() {
            return Ok(None);
        }
        let discharge = run(system, &settings.with_nose_held())
            .map_err(|error| StudyError::HeldNose(Box::new(error)))?;
        Ok(Self::from_run(system, &discharge))
    }

    /// Reads it off a run that was made with the nose held; `None` without a nose.
    #[must_use]
    pub fn from_run(system: &System, run: &Discharge) -> Option<Self> {
        let (nose, bay) = system.nose.as_ref()?;
        let peak = run.outcome.peak_opening_force;
        Some(HeldNose {
            bay: *bay,
            retention_force: nose.retention_force(),
            retention_pressure: nose.retention_pressure(),
            needed_pressure: system.ambient.at(peak.time).0 + nose.retention_pressure(),
            peak_force: Peak {
                value: pressure_force(system, run),
                time: peak.time,
            },
            peak_pressure: run.outcome.peak_bay_pressure,
            still_rising: still_rises(run, *bay, system),
            effective_leak_area: system.effective_leak_area(*bay),
            spring_force: nose.spring_force(0.0),
            engagement: nose.engagement,
            pinned: !nose.pins.is_empty(),
        })
    }

    /// Available force over retention force [1]; infinite when nothing holds the nose.
    #[must_use]
    pub fn factor(&self) -> f64 {
        if self.retention_force > 0.0 {
            self.peak_force.value / self.retention_force
        } else {
            f64::INFINITY
        }
    }
}

/// Part of the run at whose end a peak counts as that of a pressure on its way up, and the share of what the bay
/// has gained by which it must have risen in the last tenth of the run: less is a balance that is as good as met.
const LATE: f64 = 0.98;
const RISING: f64 = 1e-3;

/// Whether the pressure of the bay still rises when the run ends.
fn still_rises(run: &Discharge, bay: usize, system: &System) -> bool {
    let peak = run.outcome.peak_bay_pressure;
    let times = &run.trajectory.times;
    let before = index_at(times, 0.9 * system.horizon);
    let pressures = run
        .trajectory
        .vessels
        .get(bay)
        .map(|series| &series.pressure);
    let Some((first, then)) = pressures.and_then(|p| Some((p.first()?, p.get(before)?))) else {
        return false;
    };
    peak.time >= LATE * system.horizon && peak.value - then > RISING * (peak.value - first)
}

/// CO2 in one vessel at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Residue {
    /// Name of the vessel.
    pub vessel: String,
    /// CO2 at the start [kg].
    pub initial: f64,
    /// The moment looked at [s]: the nose clears, or else the end.
    pub time: f64,
    /// CO2 at that moment, all phases [kg].
    pub co2: f64,
    /// Of it, dry ice [kg].
    pub solid: f64,
    /// Of it, liquid [kg].
    pub liquid: f64,
    /// Temperature at that moment [K].
    pub temperature: f64,
    /// CO2 at the end of the run [kg].
    pub final_co2: f64,
    /// Of it, dry ice [kg].
    pub final_solid: f64,
    /// Of it, liquid [kg].
    pub final_liquid: f64,
}

impl ShotStudy {
    /// Runs the shot and, beside it, once more with the nose held, and judges both.
    ///
    /// # Errors
    /// A [`StudyError`] when a run cannot be computed.
    pub fn new(
        system: &System,
        criteria: &Criteria,
        settings: &Settings,
    ) -> Result<Self, StudyError> {
        let held = || held_run(system, settings);
        let (discharge, held_run) = rayon::join(|| free_run(system, settings), held);
        let hold = settings.hold_nose;
        Ok(Self::from_runs(
            system, criteria, discharge?, held_run?, hold,
        ))
    }

    /// [`new`](Self::new), and the largest tolerable leak, which takes a few more runs with the nose
    /// held.
    ///
    /// # Errors
    /// A [`StudyError`] when a run cannot be computed.
    pub fn with_tolerable_leak(
        system: &System,
        criteria: &Criteria,
        settings: &Settings,
    ) -> Result<Self, StudyError> {
        let held_and_leak = || -> Result<_, StudyError> {
            let held_run = held_run(system, settings)?;
            let leak = leak_beside(system, held_run.as_ref(), settings)?;
            Ok((held_run, leak))
        };
        let (discharge, held) = rayon::join(|| free_run(system, settings), held_and_leak);
        let (discharge, (held_run, mut leak)) = (discharge?, held?);
        if settings.hold_nose {
            leak = leak_beside(system, Some(&discharge), settings)?;
        }
        let hold = settings.hold_nose;
        let mut study = Self::from_runs(system, criteria, discharge, held_run, hold);
        study.tolerable_leak = leak;
        Ok(study)
    }

    /// Judges runs that were made already: the shot and the one with the nose held, unless the
    /// shot itself was run that way.
    #[must_use]
    pub fn from_runs(
        system: &System,
        criteria: &Criteria,
        discharge: Discharge,
        held_discharge: Option<Discharge>,
        nose_held: bool,
    ) -> Self {
        let held_run = if nose_held {
            Some(&discharge)
        } else {
            held_discharge.as_ref()
        };
        let held = held_run.and_then(|run| HeldNose::from_run(system, run));
        let factor = held.as_ref().map(HeldNose::factor);
        let judged = judge(system, criteria, &discharge.outcome, factor, nose_held);
        let residues = residues(&discharge);
        let warnings = warnings(system, &discharge, held.as_ref(), &judged, nose_held);
        ShotStudy {
            nose_held,
            held,
            criteria: judged,
            residues,
            ambient_pressure: system.ambient.at(0.0).0,
            perfect_gas_pressure: system.perfect_gas_pressure(),
            tolerable_leak: None,
            warnings,
            discharge,
            held_discharge,
        }
    }

    /// Whether every criterion is met.
    #[must_use]
    pub fn pass(&self) -> bool {
        self.criteria.iter().all(|criterion| criterion.pass)
    }

    /// The first criterion that failed.
    #[must_use]
    pub fn first_failed(&self) -> Option<&Criterion> {
        self.criteria.iter().find(|criterion| !criterion.pass)
    }

    /// The criterion met with the least margin over its limit.
    #[must_use]
    pub fn closest(&self) -> Option<&Criterion> {
        self.criteria
            .iter()
            .filter(|criterion| criterion.pass)
            .filter_map(|criterion| Some((criterion, criterion.relative_margin()?)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(criterion, _)| criterion)
    }

    /// Peak bay pressure that a perfect-gas estimate competes with: with the nose held if there
    /// is one, since a nose that leaves makes room [Pa].
    #[must_use]
    pub fn comparable_pressure(&self) -> f64 {
        self.held
            .map_or(self.discharge.outcome.peak_bay_pressure.value, |held| {
                held.peak_pressure.value
            })
    }
}

fn free_run(system: &System, settings: &Settings) -> Result<Discharge, StudyError> {
    run(system, settings).map_err(|error| StudyError::Shot(Box::new(error)))
}

/// The run with the nose held; `None` without a nose, or where the shot itself is that run.
fn held_run(system: &System, settings: &Settings) -> Result<Option<Discharge>, StudyError> {
    if system.nose.is_none() || settings.hold_nose {
        return Ok(None);
    }
    match run(system, &settings.with_nose_held()) {
        Ok(discharge) => Ok(Some(discharge)),
        Err(error) => Err(StudyError::HeldNose(Box::new(error))),
    }
}

/// The largest leak that the force of a run with the nose held would bear.
fn leak_beside(
    system: &System,
    held_run: Option<&Discharge>,
    settings: &Settings,
) -> Result<Option<TolerableLeak>, StudyError> {
    let Some(held_run) = held_run else {
        return Ok(None);
    };
    match HeldNose::from_run(system, held_run) {
        Some(held) => tolerable_leak(system, &held, held_run, settings),
        None => Ok(None),
    }
}

fn residues(discharge: &Discharge) -> Vec<Residue> {
    let trajectory = &discharge.trajectory;
    let last = trajectory.times.len().saturating_sub(1);
    let moment = discharge
        .outcome
        .clear_time
        .map_or(last, |time| index_at(&trajectory.times, time));
    let value = |column: &[f64], index: usize| column.get(index).copied().unwrap_or(0.0);
    trajectory
        .vessels
        .iter()
        .map(|series| Residue {
            vessel: series.name.clone(),
            initial: value(&series.co2_mass, 0),
            time: value(&trajectory.times, moment),
            co2: value(&series.co2_mass, moment),
            solid: value(&series.solid_mass, moment),
            liquid: value(&series.liquid_mass, moment),
            temperature: value(&series.temperature, moment),
            final_co2: value(&series.co2_mass, last),
            final_solid: value(&series.solid_mass, last),
            final_liquid: value(&series.liquid_mass, last),
        })
        .collect()
}

/// Index of the last sample at or before a time.
pub(super) fn index_at(times: &[f64], time: f64) -> usize {
    times.partition_point(|t| *t <= time).saturating_sub(1)
}

/// Time of the first such nose event.
pub(super) fn first(discharge: &Discharge, wanted: NoseEvent) -> Option<f64> {
    discharge
        .events
        .iter()
        .find(|event| event.kind.is_nose(wanted))
        .map(|event| event.time)
}
