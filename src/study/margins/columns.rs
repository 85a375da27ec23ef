//! What trials came to at values of a sweep: the same trials at every value, so that a trial can be
//! followed along it.

use rayon::prelude::*;

use crate::statistics::{SamplingMethod, StatisticsError};
use crate::study::chance::{Chance, ReplicateCount};
use crate::study::trial::{Campaign, Observer, Trial, TrialVerdict};

use super::Setup;

/// How one trial ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ending {
    Success,
    Failure,
    NotComputed,
}

impl Ending {
    fn of(trial: &Trial) -> Self {
        match trial.verdict() {
            TrialVerdict::Success => Ending::Success,
            TrialVerdict::Failure(_) => Ending::Failure,
            TrialVerdict::NotComputed => Ending::NotComputed,
        }
    }
}

/// The trials at one value.
pub(super) struct Column {
    pub(super) value: f64,
    setup: Setup,
    campaign: Campaign,
    ran: Vec<Option<Ending>>,
    /// Margins of each criterion in the trials that were run, where they have one [1].
    margins: Vec<Vec<f64>>,
    /// Trials taken to end as they do at the values on both sides.
    carried: Vec<Option<Ending>>,
}

impl Column {
    pub(super) fn new(value: f64, setup: Setup, campaign: Campaign) -> Self {
        let count = campaign.trials() as usize;
        Self {
            value,
            setup,
            campaign,
            ran: vec![None; count],
            margins: Vec::new(),
            carried: vec![None; count],
        }
    }

    pub(super) fn setup(&self) -> &Setup {
        &self.setup
    }

    /// How a trial ended, run or carried.
    pub(super) fn ending(&self, index: usize) -> Option<Ending> {
        let known = |endings: &[Option<Ending>]| endings.get(index).copied().flatten();
        known(&self.ran).or_else(|| known(&self.carried))
    }

    pub(super) fn carry(&mut self, index: usize, ending: Ending) {
        if let Some(slot) = self.carried.get_mut(index) {
            *slot = Some(ending);
        }
    }

    pub(super) fn forget_carried(&mut self) {
        self.carried.fill(None);
    }

    /// Margins of a criterion in the trials run here [1].
    pub(super) fn margins(&self, criterion: usize) -> &[f64] {
        self.margins.get(criterion).map_or(&[], Vec::as_slice)
    }

    /// A point was made of them.
    pub(super) fn forget_margins(&mut self) {
        self.margins = Vec::new();
    }

    /// Trials run here, and those of them that could not be computed.
    pub(super) fn counts(&self) -> (u64, u64) {
        let ran = self.ran.iter().flatten();
        ran.fold((0, 0), |(trials, lost), ending| {
            (trials + 1, lost + u64::from(*ending == Ending::NotComputed))
        })
    }

    /// Trials not run here.
    pub(super) fn not_run(&self) -> Vec<usize> {
        (0..self.ran.len())
            .filter(|index| self.ran.get(*index).is_some_and(Option::is_none))
            .collect()
    }

    /// Trials neither run nor carried.
    pub(super) fn unknown(&self) -> Vec<usize> {
        (0..self.ran.len())
            .filter(|index| self.ending(*index).is_none())
            .collect()
    }

    /// Runs some trials on all cores.
    pub(super) fn run<O: Observer + ?Sized>(
        &mut self,
        indices: &[usize],
        observer: &O,
    ) -> Result<(), StatisticsError> {
        let experiment = self.setup.experiment.as_ref();
        let campaign = &self.campaign;
        let trials: Vec<Trial> = indices
            .par_iter()
            .map(|index| {
                let trial = campaign.trial(experiment, *index as u64);
                observer.tick();
                trial
            })
            .collect::<Result<_, _>>()?;
        for (index, trial) in indices.iter().zip(&trials) {
            if let Some(slot) = self.ran.get_mut(*index) {
                *slot = Some(Ending::of(trial));
            }
            let Ok(finding) = &trial.result else { continue };
            if self.margins.len() < finding.margins.len() {
                self.margins.resize(finding.margins.len(), Vec::new());
            }
            for (kept, margin) in self.margins.iter_mut().zip(&finding.margins) {
                kept.extend(margin);
            }
        }
        Ok(())
    }

    /// The chance with trials whose ending is not known taken to end in one way.
    pub(super) fn chance_with(
        &self,
        unknown: Ending,
        confidence: f64,
    ) -> Result<Chance, StatisticsError> {
        let endings = (0..self.ran.len()).map(|index| Some(self.ending(index).unwrap_or(unknown)));
        self.chance_of(endings, confidence)
    }

    /// The chance from the trials that were run here.
    pub(super) fn chance_of_run(&self, confidence: f64) -> Result<Chance, StatisticsError> {
        self.chance_of(self.ran.iter().copied(), confidence)
    }

    fn chance_of(
        &self,
        endings: impl Iterator<Item = Option<Ending>>,
        confidence: f64,
    ) -> Result<Chance, StatisticsError> {
        let sampler = self.campaign.sampler();
        let method = sampler.map_or(SamplingMethod::Plain, |sampler| sampler.method());
        let replicates = sampler.map_or(1, |sampler| sampler.replicates()).max(1) as usize;
        let mut counts = vec![ReplicateCount::default(); replicates];
        for (index, ending) in endings.enumerate() {
            let (Some(ending), Some(count)) = (ending, counts.get_mut(index % replicates)) else {
                continue;
            };
            count.trials += 1;
            count.successes += u64::from(ending == Ending::Success);
            count.not_computed += u64::from(ending == Ending::NotComputed);
        }
        Chance::with_confidence(method, &counts, confidence)
    }
}
