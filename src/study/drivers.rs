//! What drives the result: shares of the variance, and what tells failures from successes.

use rayon::prelude::*;

use crate::statistics::sensitivity::{Sensitivities, SensitivityDesign, estimate};
use crate::statistics::separation::{Separation, separate};
use crate::statistics::{StatisticsError, draw::derived_seed};

use super::chance::CONFIDENCE;
use super::inputs::Inputs;
use super::tally::Tally;
use super::trial::{Experiment, Finding, Observer, TrialError};

/// Resamples of the bootstrap behind the intervals of the indices.
const RESAMPLES: usize = 300;
/// Part of the seed that is for this.
const SEED_PART: u64 = 0x5e15;

/// Shares of the variance of three results that each input is behind.
///
/// They are of the independent draws: where draws are correlated, of the part of each that is
/// its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Drivers {
    /// Of the smallest margin over all criteria.
    pub smallest_margin: Sensitivities,
    /// Of the exit speed, 0 for a nose that stays; `None` where nothing leaves.
    pub exit_speed: Option<Sensitivities>,
    /// Of success, 1 or 0.
    pub success: Sensitivities,
    /// Discharges run for this alone.
    pub evaluations: u64,
    /// Of them, those that could not be computed.
    pub not_computed: u64,
}

impl Drivers {
    /// The result by which inputs are ranked, and its name: the smallest margin, or where that is the same in
    /// every trial (followed no further) the exit speed.
    #[must_use]
    pub fn leading(&self) -> (&'static str, &Sensitivities) {
        match &self.exit_speed {
            Some(speed) if self.smallest_margin.variance <= 0.0 => ("exit speed", speed),
            _ => ("smallest margin", &self.smallest_margin),
        }
    }
}

/// Runs the (inputs + 2) x rows trials of a variance-based sensitivity study.
///
/// # Errors
/// No inputs, or too few rows without a failed computation.
pub fn drivers<E, O>(
    inputs: &Inputs,
    experiment: &E,
    rows: u64,
    seed: u64,
    observer: &O,
) -> Result<Drivers, StatisticsError>
where
    E: Experiment + ?Sized,
    O: Observer + ?Sized,
{
    let design = SensitivityDesign::new(derived_seed(seed, SEED_PART), inputs.len(), rows)?;
    let evaluations = design.evaluations();
    let found: Vec<Option<[f64; 3]>> = (0..evaluations)
        .into_par_iter()
        .map(|index| {
            let mut values = vec![0.0; inputs.len()];
            design.uniforms(index, &mut values)?;
            inputs.apply(&mut values);
            let result = experiment.run(&values);
            observer.tick();
            Ok(responses(&result))
        })
        .collect::<Result<_, StatisticsError>>()?;
    let column = |which: usize| {
        let outputs: Vec<f64> = found
            .iter()
            .map(|row| {
                row.and_then(|row| row.get(which).copied())
                    .unwrap_or(f64::NAN)
            })
            .collect();
        estimate(&outputs, inputs.len(), CONFIDENCE, RESAMPLES, seed)
    };
    let speed = column(1)?;
    Ok(Drivers {
        smallest_margin: column(0)?,
        exit_speed: (speed.variance > 0.0).then_some(speed),
        success: column(2)?,
        evaluations,
        not_computed: found.iter().filter(|row| row.is_none()).count() as u64,
    })
}

fn responses(result: &Result<Finding, TrialError>) -> Option<[f64; 3]> {
    let finding = result.as_ref().ok()?;
    let success = f64::from(u8::from(finding.first_failed().is_none()));
    let speed = finding.exit_speed.unwrap_or(0.0);
    Some([finding.smallest_margin(), speed, success])
}

/// What the failures of one kind have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct FailureMode {
    /// Position of the criterion that these trials failed first.
    pub criterion: usize,
    /// Trials looked at.
    pub trials: usize,
    /// Inputs that tell them from successes beyond doubt, the best first; empty if none does.
    pub separations: Vec<Separation>,
}

/// Chance of taking an accident for a finding.
const DOUBT: f64 = 0.01;

/// For each criterion that failed first in any trial: which inputs separate those trials from the
/// successful ones. Looks at the first 20 000 trials of each outcome.
///
/// # Errors
/// None for trials of one campaign; see [`separate`].
pub fn failure_modes(tally: &Tally) -> Result<Vec<FailureMode>, StatisticsError> {
    let mut modes = Vec::new();
    for criterion in 0..tally.criteria().len() {
        let failing: Vec<&Vec<f64>> = tally
            .failing()
            .iter()
            .filter(|(first, _)| *first == criterion)
            .map(|(_, values)| values)
            .collect();
        if failing.is_empty() {
            continue;
        }
        let inputs = failing.first().map_or(0, |values| values.len());
        let mut separations = Vec::new();
        if !tally.passing().is_empty() {
            let trials: Vec<&Vec<f64>> = failing.iter().copied().chain(tally.passing()).collect();
            let columns: Vec<Vec<f64>> = (0..inputs)
                .map(|input| {
                    trials
                        .iter()
                        .filter_map(|values| values.get(input).copied())
                        .collect()
                })
                .collect();
            let failed: Vec<bool> = (0..trials.len()).map(|i| i < failing.len()).collect();
            separations = separate(&columns, &failed)?;
            separations.retain(|found| found.p_value < DOUBT);
        }
        modes.push(FailureMode {
            criterion,
            trials: failing.len(),
            separations,
        });
    }
    Ok(modes)
}
