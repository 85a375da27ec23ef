//! Many discharges with drawn values: each trial a function of (seed, index) alone.
//!
//! A [`Campaign`] says which values trial `index` has; an [`Experiment`] says what comes of them.
//! [`run_trials`] runs any range of indices on all cores and hands the trials over in order, so the
//! result has the same bits on any number of threads, in any slice, and after any interruption.

use std::ops::{ControlFlow, Range};

use rayon::prelude::*;

use crate::discharge::{Discharge, DischargeError, Extent, HeldToo, Settings, run, run_held_too};
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::{Sampler, SamplingMethod, StatisticsError};

use super::criterion::{Criterion, CriterionKind, judge};
use super::inputs::Inputs;
use super::leak::pressure_force;
use super::shot::HeldNose;

/// Multiple of the wanted force over retention up to which trials that are only counted follow it.
pub const ENOUGH: f64 = 1.5;

/// Trials handed over at a time, and so the grain of progress and of early stops.
pub const BATCH: u64 = 64;

/// Why a trial has no outcome.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TrialError {
    /// The drawn values make no valid system.
    #[error("the values make no valid design: {reason}")]
    Values {
        /// What is wrong with them.
        reason: String,
    },
    /// The discharge could not be computed.
    #[error(transparent)]
    Discharge(#[from] Box<DischargeError>),
    /// The discharge with the nose held could not be computed.
    #[error("with the nose held: {0}")]
    HeldNose(#[source] Box<DischargeError>),
}

/// What came of one set of values; `None` is what did not happen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Finding {
    /// Relative speed when the coupler is out [m/s].
    pub exit_speed: Option<f64>,
    /// When the coupler is out [s].
    pub clear_time: Option<f64>,
    /// When the pins shear [s].
    pub pins_break_time: Option<f64>,
    /// Highest absolute pressure under the nose [Pa].
    pub peak_bay_pressure: Option<f64>,
    /// Highest opening force while the nose is on its coupler [N].
    pub peak_opening_force: Option<f64>,
    /// Highest tether load [N].
    pub peak_tether_load: Option<f64>,
    /// Every criterion, in the order in which a shot meets them.
    pub criteria: Vec<Criterion>,
    /// Margin of each criterion over its limit [1], negative where it fails. Where the value
    /// never came about it goes on falling with how far the nose was from leaving (see
    /// [`shortfall`]); `None` where the criterion then has no meaning.
    pub margins: Vec<Option<f64>>,
}

impl Finding {
    /// Position of the first criterion that fails.
    #[must_use]
    pub fn first_failed(&self) -> Option<usize> {
        self.criteria.iter().position(|criterion| !criterion.pass)
    }

    /// The smallest margin over a limit [1]: negative for a failure. Infinite without criteria.
    #[must_use]
    pub fn smallest_margin(&self) -> f64 {
        self.margins
            .iter()
            .flatten()
            .copied()
            .fold(f64::INFINITY, f64::min)
    }
}

/// How a trial ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrialVerdict {
    /// Every criterion is met.
    Success,
    /// A criterion fails; its position is that of the first.
    Failure(usize),
    /// The computation failed: neither success nor a known failure.
    NotComputed,
}

/// One trial: its values and what came of them.
#[derive(Debug)]
pub struct Trial {
    /// Number of the trial in its campaign, from 0.
    pub index: u64,
    /// Value of each input [SI].
    pub values: Vec<f64>,
    /// What came of it.
    pub result: Result<Finding, TrialError>,
}

impl Trial {
    /// How it ended.
    #[must_use]
    pub fn verdict(&self) -> TrialVerdict {
        match &self.result {
            Err(_) => TrialVerdict::NotComputed,
            Ok(finding) => finding
                .first_failed()
                .map_or(TrialVerdict::Success, TrialVerdict::Failure),
        }
    }
}

/// Something that can be tried with any set of values.
pub trait Experiment: Sync {
    /// What comes of one set of values, one for each input [SI].
    ///
    /// # Errors
    /// A [`TrialError`] when the values make no system or the computation fails.
    fn run(&self, values: &[f64]) -> Result<Finding, TrialError>;
}

/// Something that makes a system of a set of values, or says why there is none.
pub type BuildSystem<'a> =
    Box<dyn Fn(&[f64]) -> Result<(System, Criteria), String> + Send + Sync + 'a>;

/// The discharge of the system that `build` makes of a set of values. The run with the nose held
/// is made only where a criterion asks for it.
#[derive(Debug, Clone)]
pub struct DischargeExperiment<B> {
    /// Makes a system of a set of values; its error says why there is none.
    pub build: B,
    /// How the discharge is computed.
    pub settings: Settings,
}

impl<B> DischargeExperiment<B>
where
    B: Fn(&[f64]) -> Result<(System, Criteria), String> + Sync,
{
    /// The discharge itself with everything against time, until the bay of a clear nose has vented.
    ///
    /// # Errors
    /// As [`Experiment::run`].
    pub fn discharge(&self, values: &[f64]) -> Result<(System, Discharge), TrialError> {
        let (system, _) = (self.build)(values).map_err(|reason| TrialError::Values { reason })?;
        let settings = Settings {
            loose_end: false,
            ..self.settings
        };
        let discharge = run(&system, &settings).map_err(Box::new)?;
        Ok((system, discharge))
    }
}

impl<B> Experiment for DischargeExperiment<B>
where
    B: Fn(&[f64]) -> Result<(System, Criteria), String> + Sync,
{
    fn run(&self, values: &[f64]) -> Result<Finding, TrialError> {
        let (system, criteria) =
            (self.build)(values).map_err(|reason| TrialError::Values { reason })?;
        try_system(&system, &criteria, &self.settings)
    }
}

/// One discharge of a system, judged.
///
/// # Errors
/// A [`TrialError`] when a run cannot be computed.
pub fn try_system(
    system: &System,
    criteria: &Criteria,
    settings: &Settings,
) -> Result<Finding, TrialError> {
    let wants_factor = system.nose.is_some() && criteria.retention_factor.is_some();
    let (discharge, held) = match settings.extent {
        _ if settings.hold_nose || !wants_factor => {
            (run(system, settings).map_err(Box::new)?, None)
        }
        Extent::Separation => {
            let HeldToo { discharge, held } = run_held_too(system, settings).map_err(Box::new)?;
            (discharge, held)
        }
        _ => {
            let discharge = run(system, settings).map_err(Box::new)?;
            (discharge, Some(run(system, &settings.with_nose_held())))
        }
    };
    let factor = if settings.hold_nose || wants_factor {
        let held = held
            .transpose()
            .map_err(|e| TrialError::HeldNose(Box::new(e)))?;
        let run = held.as_ref().unwrap_or(&discharge);
        let factor = HeldNose::from_run(system, run).map(|held| held.factor());
        // A force that was followed only so far is that much or more, and the same in every such trial.
        let most = settings.enough.unwrap_or(f64::INFINITY);
        factor.map(|factor| factor.min(most))
    } else {
        None
    };
    let outcome = &discharge.outcome;
    let judged = judge(system, criteria, outcome, factor, settings.hold_nose);
    let shortfall = shortfall(system, &discharge);
    let margins = judged
        .iter()
        .map(|criterion| margin(criterion, system, shortfall))
        .collect();
    let nose = system.nose.as_ref();
    Ok(Finding {
        exit_speed: outcome.exit_speed,
        clear_time: outcome.clear_time,
        pins_break_time: outcome.pins_break_time,
        peak_bay_pressure: Some(outcome.peak_bay_pressure.value),
        peak_opening_force: nose.map(|_| outcome.peak_opening_force.value),
        peak_tether_load: outcome.peak_tether_load.map(|peak| peak.value),
        criteria: judged,
        margins,
    })
}

/// How far a nose that did not clear was from it [1]: from 0 (the coupler all but out) to -1 (the
/// pins gone, the nose not moved) as the share of the coupler still engaged, and on to -2 (no
/// force at all) as the share of the retention force that was lacking.
#[must_use]
pub fn shortfall(system: &System, discharge: &Discharge) -> f64 {
    let Some((nose, _)) = &system.nose else {
        return 0.0;
    };
    let outcome = &discharge.outcome;
    if outcome.clear_time.is_some() {
        return 0.0;
    }
    if outcome.pins_break_time.is_some() {
        return (outcome.furthest_travel / nose.engagement).clamp(0.0, 1.0) - 1.0;
    }
    let retention = nose.retention_force();
    let share = if retention > 0.0 {
        pressure_force(system, discharge) / retention
    } else {
        1.0
    };
    share.clamp(0.0, 1.0) - 2.0
}

/// Margin over the limit, going on below the end of the scale for a nose that did not clear: a
/// nose that clears at the horizon, or with no speed, is where a nose that stays begins.
fn margin(criterion: &Criterion, system: &System, shortfall: f64) -> Option<f64> {
    if let Some(margin) = criterion.relative_margin() {
        return Some(margin);
    }
    match criterion.kind {
        CriterionKind::ClearWithin => {
            let at_horizon = (criterion.limit - system.horizon) / criterion.limit;
            Some(at_horizon.min(0.0) + shortfall)
        }
        CriterionKind::ExitSpeedLeast => Some(-1.0 + shortfall),
        _ => None,
    }
}

/// Which values each trial has.
#[derive(Debug, Clone)]
pub struct Campaign {
    inputs: Inputs,
    sampler: Option<Sampler>,
    seed: u64,
    trials: u64,
}

impl Campaign {
    /// A campaign of `trials` trials. Replicates follow the method and the number of trials
    /// ([`SamplingMethod::default_replicates`]). Without inputs all trials are alike.
    ///
    /// # Errors
    /// No trials, or more inputs or trials than the method serves: see [`StatisticsError`].
    pub fn new(
        inputs: Inputs,
        method: SamplingMethod,
        seed: u64,
        trials: u64,
    ) -> Result<Self, StatisticsError> {
        let replicates = method.default_replicates(trials);
        // The sampler also refuses what makes no sense where there is nothing to draw.
        let sampler = Sampler::new(method, seed, inputs.len(), trials, replicates)?;
        let sampler = (!inputs.is_empty()).then_some(sampler);
        Ok(Self {
            inputs,
            sampler,
            seed,
            trials,
        })
    }

    /// The uncertain values.
    #[must_use]
    pub fn inputs(&self) -> &Inputs {
        &self.inputs
    }

    /// Where the numbers come from; `None` where nothing is drawn.
    #[must_use]
    pub fn sampler(&self) -> Option<&Sampler> {
        self.sampler.as_ref()
    }

    /// Number of trials.
    #[must_use]
    pub fn trials(&self) -> u64 {
        self.trials
    }

    /// The seed.
    #[must_use]
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The values of trial `index` [SI].
    ///
    /// # Errors
    /// An index past the last trial.
    pub fn values(&self, index: u64) -> Result<Vec<f64>, StatisticsError> {
        if index >= self.trials {
            let trials = self.trials;
            return Err(StatisticsError::IndexOutOfRange { index, trials });
        }
        let mut values = vec![0.0; self.inputs.len()];
        if let Some(sampler) = &self.sampler {
            sampler.uniforms(index, &mut values)?;
        }
        self.inputs.apply(&mut values);
        Ok(values)
    }

    /// Trial `index` of an experiment.
    ///
    /// # Errors
    /// An index past the last trial; a computation that fails is part of the trial.
    pub fn trial<E: Experiment + ?Sized>(
        &self,
        experiment: &E,
        index: u64,
    ) -> Result<Trial, StatisticsError> {
        let values = self.values(index)?;
        let result = experiment.run(&values);
        Ok(Trial {
            index,
            values,
            result,
        })
    }
}

/// What is told while trials run.
pub trait Observer: Sync {
    /// One more trial is done, in no particular order; called from any thread.
    fn tick(&self) {}
}

impl Observer for () {}

/// Runs trials `range` of a campaign on all cores of the current pool. `take` gets them in order,
/// some [`BATCH`] at a time, and may end the run after any batch; batches begin at whole
/// multiples of [`BATCH`], so an early end depends on nothing but the trials.
///
/// # Errors
/// A range past the last trial.
pub fn run_trials<E, O, T>(
    campaign: &Campaign,
    experiment: &E,
    range: Range<u64>,
    observer: &O,
    mut take: T,
) -> Result<(), StatisticsError>
where
    E: Experiment + ?Sized,
    O: Observer + ?Sized,
    T: FnMut(Vec<Trial>) -> ControlFlow<()>,
{
    let mut start = range.start;
    while start < range.end {
        let end = ((start / BATCH + 1) * BATCH).min(range.end);
        let batch: Vec<Trial> = (start..end)
            .into_par_iter()
            .map(|index| {
                let trial = campaign.trial(experiment, index);
                observer.tick();
                trial
            })
            .collect::<Result<_, _>>()?;
        if take(batch).is_break() {
            break;
        }
        start = end;
    }
    Ok(())
}
