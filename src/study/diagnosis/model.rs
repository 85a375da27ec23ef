//! The question put to every fit: the design with its uncertain values, and the traces.

use std::sync::atomic::{AtomicU64, Ordering};

use crate::discharge::{Watched, run};
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::{GaussianCopula, RankCorrelation};
use crate::study::StudyError;

use super::measured::{Channel, Measured, Observable, Trigger};
use super::observe::Run;
use super::places::Places;
use super::residuals::{Deviation, deviations, nose_off};
use super::{DesignInput, DiagnosisSettings};

/// Why a design could not be turned into a system.
pub type BuildError = Box<dyn std::error::Error + Send + Sync>;

/// From one value for each input to a system and its criteria.
pub type Builder<'a> = dyn Fn(&[f64]) -> Result<(System, Criteria), BuildError> + Sync + 'a;

/// Half width of the box of the variates: the chance beyond is 7e-6 on either side.
pub const BOUND: f64 = 4.5;

/// Doubt about the clock of a trace whose command is not known, as a share of the record.
const UNKNOWN_START: f64 = 0.1;

/// What all causes have in common.
pub struct Model<'a> {
    pub inputs: &'a [DesignInput],
    pub copula: GaussianCopula,
    pub build: &'a Builder<'a>,
    pub traces: &'a [Measured],
    pub settings: &'a DiagnosisSettings,
    /// The system of the central values, which says what faults mean.
    pub nominal: System,
    /// Its run.
    pub nominal_run: Run,
    /// One central value for each input.
    pub central: Vec<f64>,
    /// Where faults act.
    pub places: Places,
    /// Largest range of a pressure channel [Pa].
    pub range: f64,
    /// Clock of each trace at the start of the model, as far as known: mean, deviation [s].
    pub starts: Vec<(f64, f64)>,
    /// How well the values are to be met: of each trace, channel, value.
    pub deviations: Vec<Vec<Vec<Deviation>>>,
    /// When a model is looked at for the values of each channel, and how often for each of them.
    pub looks: Vec<Vec<(Vec<f64>, Vec<usize>)>>,
    /// When the nose was off in each trace, on its clock [s], where that was seen.
    pub off: Vec<Option<f64>>,
    /// Whether nothing that happens after the nose is off is compared, so that a run may end there.
    pub until_off: bool,
    /// Vessels of each trace of which a run tells the whole course: those measured, and the bay.
    pub watched: Vec<Option<Watched>>,
    /// Discharges computed so far.
    pub count: AtomicU64,
}

impl<'a> Model<'a> {
    /// What is known of some traces before any cause is considered.
    ///
    /// # Errors
    /// A [`StudyError`] when the design as it is cannot be computed.
    pub fn new(
        inputs: &'a [DesignInput],
        correlations: &[RankCorrelation],
        build: &'a Builder<'a>,
        traces: &'a [Measured],
        settings: &'a DiagnosisSettings,
    ) -> Result<Self, StudyError> {
        let central: Vec<f64> = inputs.iter().map(|i| i.distribution.central()).collect();
        let (nominal, _) = build(&central).map_err(StudyError::Build)?;
        let names: Vec<&str> = inputs.iter().map(|input| input.path.as_str()).collect();
        let copula = GaussianCopula::new(&names, correlations)?;
        let nominal_run =
            run(&nominal, &settings.run).map_err(|e| StudyError::Shot(Box::new(e)))?;
        let nominal_run = Run::new(&nominal, nominal_run);
        let places = Places::of(&nominal);
        // Where it is seen when the nose is off, the rest of other records is left alone.
        let engagement = nominal.nose.as_ref().map(|(nose, _)| nose.engagement);
        let off: Vec<Option<f64>> = traces
            .iter()
            .map(|measured| nose_off(measured, places.bay, engagement?))
            .collect();
        let until_off = traces.iter().zip(&off).all(|(measured, off)| {
            off.is_some()
                || measured
                    .channels
                    .iter()
                    .all(|channel| match channel.observable {
                        Observable::Pressure { vessel, .. } => vessel == places.bay,
                        Observable::Travel => false,
                        Observable::Release => true,
                    })
        });
        let starts: Vec<(f64, f64)> = traces
            .iter()
            .map(|measured| start_of(measured, &nominal_run, &nominal))
            .collect();
        let command = crate::study::criterion::first_command(&nominal);
        Ok(Model {
            inputs,
            copula,
            build,
            traces,
            settings,
            deviations: traces
                .iter()
                .zip(&starts)
                .zip(&off)
                .map(|((measured, (start, _)), off)| {
                    let end_of = |channel: &Channel| match channel.observable {
                        Observable::Pressure { vessel, .. } if vessel == places.bay => None,
                        Observable::Release => None,
                        _ => *off,
                    };
                    let channels = measured.channels.iter();
                    channels
                        .map(|channel| {
                            let until = end_of(channel).unwrap_or(f64::INFINITY);
                            deviations(channel, start + command, until)
                        })
                        .collect()
                })
                .collect(),
            starts,
            range: traces
                .iter()
                .flat_map(|measured| &measured.channels)
                .filter(|channel| matches!(channel.observable, Observable::Pressure { .. }))
                .map(|channel| channel.range)
                .fold(1.0, f64::max),
            nominal,
            nominal_run,
            central,
            looks: traces
                .iter()
                .map(|measured| measured.channels.iter().map(Channel::looks).collect())
                .collect(),
            off,
            watched: (traces.iter())
                .map(|measured| watched(measured, places.bay))
                .collect(),
            until_off,
            places,
            count: AtomicU64::new(0),
        })
    }

    /// How well the values of one channel are to be met.
    pub fn deviations(&self, trace: usize, channel: usize) -> &[Deviation] {
        let channels = self.deviations.get(trace);
        channels
            .and_then(|channels| channels.get(channel))
            .map_or(&[], Vec::as_slice)
    }

    /// Whether faults of a sensor are looked for here: in the bay, or where its pressure is not
    /// measured in every vessel that is.
    pub fn faulty_sensor(&self, observable: Observable) -> bool {
        let in_bay = |observable: Observable| matches!(observable, Observable::Pressure { vessel, .. } if vessel == self.places.bay);
        let mut channels = self.traces.iter().flat_map(|measured| &measured.channels);
        if channels.any(|channel| in_bay(channel.observable)) {
            in_bay(observable)
        } else {
            matches!(observable, Observable::Pressure { .. })
        }
    }

    /// Discharges computed so far.
    pub fn evaluations(&self) -> u64 {
        self.count.load(Ordering::Relaxed)
    }
}

/// Vessels measured, and the bay; `None` watches all.
fn watched(measured: &Measured, bay: usize) -> Option<Watched> {
    let of = |channel: &Channel| match channel.observable {
        Observable::Pressure { vessel, .. } => Some(vessel),
        Observable::Travel | Observable::Release => None,
    };
    Watched::new(measured.channels.iter().filter_map(of).chain([bay]))
}

/// Clock of a trace at the start of the model, and the doubt about it [s].
fn start_of(
    measured: &Measured,
    nominal: &Run,
    system: &crate::network::spec::System,
) -> (f64, f64) {
    let command = crate::study::criterion::first_command(system);
    match measured.trigger {
        Trigger::Known { time, deviation } => (time - command, deviation),
        Trigger::Unknown => {
            let onset = measured.onset().unwrap_or(0.0);
            let expected = measured
                .channels
                .iter()
                .find(|channel| channel.onset.is_some())
                .and_then(|channel| nominal.rise_time(channel.observable, 0.05))
                .unwrap_or(command);
            let record = measured.last_time() - onset;
            (onset - expected, (UNKNOWN_START * record).max(1e-3))
        }
    }
}
