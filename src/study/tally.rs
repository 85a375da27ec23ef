//! What a campaign came to so far: counts, columns of results and the trials worth keeping.
//!
//! Fed with [`Record`]s in order of their index, whether they were just computed or read back, it
//! holds the same either way.

use crate::statistics::SamplingMethod;
use crate::statistics::{Sampler, StatisticsError};
use crate::units::Dimension;

use super::chance::{Chance, ReplicateCount};
use super::criterion::CriterionKind;
use super::trial::{Finding, Trial, TrialVerdict};

/// A number that every trial has, or has not because it did not come about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Relative speed when the coupler is out.
    ExitSpeed,
    /// When the coupler is out.
    ClearTime,
    /// When the pins shear.
    PinsBreakTime,
    /// Highest absolute pressure under the nose.
    PeakBayPressure,
    /// Highest opening force.
    PeakOpeningForce,
    /// Highest tether load.
    PeakTetherLoad,
}

impl Quantity {
    /// All of them, in the order of columns.
    pub const ALL: [Quantity; 6] = [
        Quantity::ExitSpeed,
        Quantity::ClearTime,
        Quantity::PinsBreakTime,
        Quantity::PeakBayPressure,
        Quantity::PeakOpeningForce,
        Quantity::PeakTetherLoad,
    ];

    /// Name in data files, with its unit.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Quantity::ExitSpeed => "exit_speed_m_s",
            Quantity::ClearTime => "clear_time_s",
            Quantity::PinsBreakTime => "pins_break_time_s",
            Quantity::PeakBayPressure => "peak_bay_pressure_pa",
            Quantity::PeakOpeningForce => "peak_opening_force_n",
            Quantity::PeakTetherLoad => "peak_tether_load_n",
        }
    }

    /// Name in sentences.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Quantity::ExitSpeed => "exit speed",
            Quantity::ClearTime => "nose clear",
            Quantity::PinsBreakTime => "pins break",
            Quantity::PeakBayPressure => "peak bay pressure",
            Quantity::PeakOpeningForce => "peak opening force",
            Quantity::PeakTetherLoad => "peak tether load",
        }
    }

    /// Kind of quantity.
    #[must_use]
    pub fn dimension(self) -> Dimension {
        match self {
            Quantity::ExitSpeed => Dimension::Speed,
            Quantity::ClearTime | Quantity::PinsBreakTime => Dimension::Time,
            Quantity::PeakBayPressure => Dimension::AbsolutePressure,
            Quantity::PeakOpeningForce | Quantity::PeakTetherLoad => Dimension::Force,
        }
    }

    fn of(self, finding: &Finding) -> Option<f64> {
        match self {
            Quantity::ExitSpeed => finding.exit_speed,
            Quantity::ClearTime => finding.clear_time,
            Quantity::PinsBreakTime => finding.pins_break_time,
            Quantity::PeakBayPressure => finding.peak_bay_pressure,
            Quantity::PeakOpeningForce => finding.peak_opening_force,
            Quantity::PeakTetherLoad => finding.peak_tether_load,
        }
    }
}

/// One trial as a row of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Number of the trial in its campaign.
    pub index: u64,
    /// How it ended.
    pub verdict: TrialVerdict,
    /// One entry for each of [`Quantity::ALL`] [SI].
    pub quantities: [Option<f64>; Quantity::ALL.len()],
    /// Margin of each criterion over its limit [1]; empty if it was not computed.
    pub margins: Vec<Option<f64>>,
    /// Value of each input [SI].
    pub values: Vec<f64>,
    /// Why there is no result; empty if there is.
    pub error: String,
}

impl Record {
    /// The smallest margin [1]; `None` without a result or without criteria.
    #[must_use]
    pub fn smallest_margin(&self) -> Option<f64> {
        self.margins.iter().flatten().copied().reduce(f64::min)
    }
}

impl From<Trial> for Record {
    fn from(trial: Trial) -> Self {
        let verdict = trial.verdict();
        let (quantities, margins, error) = match &trial.result {
            Ok(finding) => (
                Quantity::ALL.map(|quantity| quantity.of(finding)),
                finding.margins.clone(),
                String::new(),
            ),
            Err(error) => ([None; Quantity::ALL.len()], Vec::new(), sentence(error)),
        };
        Record {
            index: trial.index,
            verdict,
            quantities,
            margins,
            values: trial.values,
            error,
        }
    }
}

/// An error with its causes, in one line.
fn sentence(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        let more = inner.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        cause = inner.source();
    }
    text.replace(['\n', '\r'], " ")
}

/// Trials of each outcome whose inputs are kept for finding what tells them apart: the first ones,
/// so that it does not matter how the rest came in.
const KEPT: usize = 20_000;
/// Worst trials and failed computations kept whole.
const WORST: usize = 3;
const ERRORS: usize = 1_000;

/// The running result of a campaign.
#[derive(Debug, Clone)]
pub struct Tally {
    method: SamplingMethod,
    criteria: Vec<CriterionKind>,
    replicates: Vec<ReplicateCount>,
    /// Trials that failed each criterion first, and at all.
    first_failed: Vec<u64>,
    failed: Vec<u64>,
    quantities: [Vec<f64>; Quantity::ALL.len()],
    margins: Vec<Vec<f64>>,
    worst: Vec<Record>,
    errors: Vec<Record>,
    failing: Vec<(usize, Vec<f64>)>,
    passing: Vec<Vec<f64>>,
}

impl Tally {
    /// Nothing yet. `criteria` are those of the design in the order of a shot.
    #[must_use]
    pub fn new(criteria: Vec<CriterionKind>, method: SamplingMethod, replicates: u32) -> Self {
        let count = criteria.len();
        Self {
            method,
            criteria,
            replicates: vec![ReplicateCount::default(); replicates.max(1) as usize],
            first_failed: vec![0; count],
            failed: vec![0; count],
            quantities: Default::default(),
            margins: vec![Vec::new(); count],
            worst: Vec::new(),
            errors: Vec::new(),
            failing: Vec::new(),
            passing: Vec::new(),
        }
    }

    /// Nothing yet, for the draws of a sampler; without one every trial is alike.
    #[must_use]
    pub fn for_sampler(criteria: Vec<CriterionKind>, sampler: Option<&Sampler>) -> Self {
        match sampler {
            Some(sampler) => Self::new(criteria, sampler.method(), sampler.replicates()),
            None => Self::new(criteria, SamplingMethod::Plain, 1),
        }
    }

    /// Counts one trial.
    pub fn push(&mut self, record: Record) {
        let replicate = (record.index % self.replicates.len() as u64) as usize;
        let counts = self.replicates.get_mut(replicate);
        if let Some(count) = counts {
            count.trials += 1;
            match record.verdict {
                TrialVerdict::Success => count.successes += 1,
                TrialVerdict::NotComputed => count.not_computed += 1,
                TrialVerdict::Failure(_) => {}
            }
        }
        for (column, value) in self.quantities.iter_mut().zip(record.quantities) {
            column.extend(value);
        }
        for ((column, failed), margin) in self
            .margins
            .iter_mut()
            .zip(&mut self.failed)
            .zip(&record.margins)
        {
            column.extend(margin);
            *failed += u64::from(margin.is_some_and(|margin| margin < 0.0));
        }
        match record.verdict {
            TrialVerdict::NotComputed => {
                if self.errors.len() < ERRORS {
                    self.errors.push(record);
                }
                return;
            }
            TrialVerdict::Failure(first) => {
                if let Some(count) = self.first_failed.get_mut(first) {
                    *count += 1;
                }
                if self.failing.len() < KEPT {
                    self.failing.push((first, record.values.clone()));
                }
            }
            TrialVerdict::Success => {
                if self.passing.len() < KEPT {
                    self.passing.push(record.values.clone());
                }
            }
        }
        if let Some(margin) = record.smallest_margin() {
            let place = self
                .worst
                .partition_point(|kept| kept.smallest_margin().is_some_and(|m| m <= margin));
            if place < WORST {
                self.worst.insert(place, record);
                self.worst.truncate(WORST);
            }
        }
    }

    /// How the draws were made.
    #[must_use]
    pub fn method(&self) -> SamplingMethod {
        self.method
    }

    /// Criteria in the order of a shot.
    #[must_use]
    pub fn criteria(&self) -> &[CriterionKind] {
        &self.criteria
    }

    /// All counts together.
    #[must_use]
    pub fn counts(&self) -> ReplicateCount {
        self.replicates
            .iter()
            .fold(ReplicateCount::default(), |sum, count| ReplicateCount {
                successes: sum.successes + count.successes,
                not_computed: sum.not_computed + count.not_computed,
                trials: sum.trials + count.trials,
            })
    }

    /// Trials that failed each criterion before any other, in the order of the criteria.
    #[must_use]
    pub fn first_failed(&self) -> &[u64] {
        &self.first_failed
    }

    /// Trials that failed each criterion, whatever else they failed.
    #[must_use]
    pub fn failed(&self) -> &[u64] {
        &self.failed
    }

    /// The chance of success.
    ///
    /// # Errors
    /// No trials yet, or those of one replicate only.
    pub fn chance(&self) -> Result<Chance, StatisticsError> {
        Chance::of(self.method, &self.replicates)
    }

    /// Values of a quantity [SI] in the trials where it came about.
    #[must_use]
    pub fn quantity(&self, quantity: Quantity) -> &[f64] {
        Quantity::ALL
            .iter()
            .position(|other| *other == quantity)
            .and_then(|place| self.quantities.get(place))
            .map_or(&[], Vec::as_slice)
    }

    /// Margins of a criterion over its limit [1].
    #[must_use]
    pub fn margins(&self, criterion: usize) -> &[f64] {
        self.margins.get(criterion).map_or(&[], Vec::as_slice)
    }

    /// The trials with the smallest margins, worst first.
    #[must_use]
    pub fn worst(&self) -> &[Record] {
        &self.worst
    }

    /// The first trials whose computation failed.
    #[must_use]
    pub fn errors(&self) -> &[Record] {
        &self.errors
    }

    /// Inputs of the first failing trials, each with the criterion it failed first.
    #[must_use]
    pub fn failing(&self) -> &[(usize, Vec<f64>)] {
        &self.failing
    }

    /// Inputs of the first passing trials.
    #[must_use]
    pub fn passing(&self) -> &[Vec<f64>] {
        &self.passing
    }
}
