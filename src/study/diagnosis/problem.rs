//! One cause as a problem of fitting: its values, and from values to runs and sensors.

use std::sync::Mutex;
use std::sync::atomic::Ordering;

use crate::discharge::{Extent, Settings, Watched};
use crate::mechanics::nose::Tether;
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::{StatisticsError, standard_normal};

use super::cause::Cause;
use super::fault::Fault;
use super::model::{BuildError, Model};
use super::observe::{Run, Sensor, run_long_enough};
use super::parameter::{Parameter, Role, SensorError, label_of};
use super::sensors::sensor_parameters;
use super::settle::Memory;

/// One cause with one choice of the discrete values of the design.
pub struct Problem<'m, 'a> {
    pub model: &'m Model<'a>,
    pub cause: Cause,
    pub faults: Vec<Fault>,
    pub parameters: Vec<Parameter>,
    /// A value for each input; the continuous ones are overwritten.
    pub base: Vec<f64>,
    /// Factor on the standard deviation of every residual.
    pub inflation: f64,
    /// Values that need a discharge each time they move.
    pub outer: Vec<usize>,
    /// Values of clocks and sensors, which act on a finished discharge.
    pub inner: Vec<usize>,
    /// What was computed last.
    pub memory: Mutex<Memory>,
}

/// Why the model cannot be evaluated at some values.
#[derive(Debug, thiserror::Error)]
pub enum EvaluationError {
    /// The values make no design.
    #[error("the values make no valid design: {0}")]
    Build(BuildError),
    /// The discharge could not be computed.
    #[error(transparent)]
    Discharge(#[from] crate::discharge::DischargeError),
}

impl<'m, 'a> Problem<'m, 'a> {
    /// The problem of a cause; `None` where the design has no place for it.
    ///
    /// # Errors
    /// A distribution that is not valid.
    pub fn new(
        model: &'m Model<'a>,
        cause: Cause,
        base: &[f64],
        inflation: f64,
    ) -> Result<Option<Self>, StatisticsError> {
        let Some(faults) = cause.faults(&model.nominal, &model.places, model.range) else {
            return Ok(None);
        };
        let mut parameters = Vec::new();
        for (k, fault) in faults.iter().enumerate() {
            let role = Role::Fault(k);
            let prior = fault.prior.clone();
            parameters.push(Parameter::new(role, fault.label, fault.dimension, prior)?);
        }
        for (index, input) in model.inputs.iter().enumerate() {
            if input.is_choice() {
                continue;
            }
            let owners: Vec<Option<usize>> = if model.traces.len() > 1 && input.own {
                (0..model.traces.len()).map(Some).collect()
            } else {
                vec![None]
            };
            for trace in owners {
                let role = Role::Input { index, trace };
                let label = match trace {
                    Some(trace) => format!("{} (trace {})", label_of(&input.path), trace + 1),
                    None => label_of(&input.path),
                };
                let prior = input.distribution.clone();
                let mut parameter = Parameter::new(role, label, input.dimension, prior)?;
                parameter.path = Some(input.path.clone());
                parameters.push(parameter);
            }
        }
        for (trace, measured) in model.traces.iter().enumerate() {
            sensor_parameters(model, cause, trace, measured, &mut parameters)?;
        }
        let moves = |parameter: &Parameter| match parameter.role {
            Role::Input { .. } => true,
            Role::Fault(_) => !cause.is_sensor(),
            Role::Start { .. } | Role::Sensor { .. } => false,
        };
        let (outer, inner) =
            (0..parameters.len()).partition(|k| parameters.get(*k).is_some_and(moves));
        Ok(Some(Problem {
            model,
            cause,
            faults,
            parameters,
            base: base.to_vec(),
            inflation,
            outer,
            inner,
            memory: Mutex::default(),
        }))
    }

    /// The same problem with other noise.
    pub fn with_inflation(&self, inflation: f64) -> Self {
        Problem {
            model: self.model,
            cause: self.cause,
            faults: self.faults.clone(),
            parameters: self.parameters.clone(),
            base: self.base.clone(),
            inflation,
            outer: self.outer.clone(),
            inner: self.inner.clone(),
            memory: Mutex::new(
                self.memory
                    .lock()
                    .map_or_else(|_| Memory::default(), |memory| memory.forgetting_runs()),
            ),
        }
    }

    /// The design as it is expected, to begin from. Copies of one thing, such as pins, are spread as so many
    /// draws are: where the weakest decides, equal ones hide that any of them matters.
    pub fn expected(&self) -> Vec<f64> {
        let of = |parameter: &Parameter| {
            let (path, copy) = parameter.path.as_deref()?.split_once('#')?;
            let Role::Input { trace, .. } = parameter.role else {
                return None;
            };
            let family = |other: &&Parameter| {
                let same = other.path.as_deref().and_then(|path| path.split_once('#'));
                let own = matches!(other.role, Role::Input { trace: of, .. } if of == trace);
                own && same.is_some_and(|(other, _)| other == path)
            };
            let copies = self.parameters.iter().filter(family).count();
            let place: f64 = copy.parse().ok()?;
            // Blom's approximation of the mean of an ordered draw.
            let share = (place - 0.375) / (copies as f64 + 0.25);
            (copies > 1 && 0.0 < share && share < 1.0).then(|| standard_normal::quantile(share))
        };
        let found = self.parameters.iter().map(|p| of(p).unwrap_or(0.0));
        found.collect()
    }

    /// Values of the inputs of the design for one trace [SI].
    pub fn input_values(&self, z: &[f64], trace: usize) -> Vec<f64> {
        let mut values = self.base.clone();
        let mut uniforms = vec![0.5; values.len()];
        let correlated = !self.model.copula.is_independent();
        if correlated {
            for (parameter, z) in self.parameters.iter().zip(z) {
                if let Role::Input { index, trace: own } = parameter.role
                    && own.is_none_or(|own| own == trace)
                    && let Some(slot) = uniforms.get_mut(index)
                {
                    *slot = standard_normal::cumulative(*z);
                }
            }
            self.model.copula.correlate(&mut uniforms);
        }
        for (parameter, z) in self.parameters.iter().zip(z) {
            if let Role::Input { index, trace: own } = parameter.role
                && own.is_none_or(|own| own == trace)
                && let Some(slot) = values.get_mut(index)
            {
                let z = match uniforms.get(index) {
                    Some(u) if correlated => standard_normal::quantile(*u),
                    _ => *z,
                };
                *slot = parameter.value(z);
            }
        }
        values
    }

    /// Values freed by the cause, as they are reported [SI].
    pub fn fault_values(&self, z: &[f64]) -> Vec<f64> {
        self.parameters
            .iter()
            .zip(z)
            .filter_map(|(parameter, z)| match parameter.role {
                Role::Fault(k) => Some(self.faults.get(k)?.reported(parameter.value(*z))),
                _ => None,
            })
            .collect()
    }

    /// The system of one trace, and its criteria.
    pub fn system(&self, z: &[f64], trace: usize) -> Result<(System, Criteria), EvaluationError> {
        let (mut system, criteria) =
            (self.model.build)(&self.input_values(z, trace)).map_err(EvaluationError::Build)?;
        let faults = self.fault_values(z);
        self.cause.apply(&mut system, &self.model.places, &faults);
        Ok((system, criteria))
    }

    /// One run of the model for one trace, as long as the trace lasts: what that measured.
    pub fn run(&self, z: &[f64], trace: usize) -> Result<Run, EvaluationError> {
        let watched = self.model.watched.get(trace).copied().flatten();
        self.run_watching(z, trace, watched)
    }

    /// The same with all that might have been measured.
    pub fn whole_run(&self, z: &[f64], trace: usize) -> Result<Run, EvaluationError> {
        self.run_watching(z, trace, None)
    }

    fn run_watching(
        &self,
        z: &[f64],
        trace: usize,
        watched: Option<Watched>,
    ) -> Result<Run, EvaluationError> {
        let (mut system, _) = self.system(z, trace)?;
        if let Some(measured) = self.model.traces.get(trace) {
            let start = self.model.starts.get(trace).map_or(0.0, |start| start.0);
            let needed = measured.last_time() - start;
            system.horizon = system.horizon.min((1.02 * needed).max(1e-3));
        }
        if let Some((nose, _)) = &mut system.nose {
            // Nothing is learned from the flight of the nose: it ends at a tether just long enough
            // for the bore to be open. Other vessels are watched to the end.
            nose.tether = self.model.until_off.then_some(Tether {
                length: nose.uncovered_travel(),
                stiffness: 5e4,
                damping: 100.0,
                rating: None,
            });
        }
        let mut settings = Settings {
            watched,
            ..self.model.settings.run
        };
        if !self.model.until_off {
            settings.extent = Extent::Horizon;
        }
        self.model.count.fetch_add(1, Ordering::Relaxed);
        let discharge = run_long_enough(&system, &settings)?;
        Ok(Run::new(&system, discharge))
    }

    /// The sensor of one channel.
    pub fn sensor(&self, z: &[f64], trace: usize, channel: usize) -> Sensor {
        let mut sensor = Sensor::perfect(self.model.starts.get(trace).map_or(0.0, |s| s.0));
        let at_fault = self
            .model
            .traces
            .get(trace)
            .and_then(|measured| measured.channels.get(channel))
            .is_some_and(|channel| self.model.faulty_sensor(channel.observable));
        for (parameter, z) in self.parameters.iter().zip(z) {
            match parameter.role {
                Role::Start { trace: own } if own == trace => sensor.start = parameter.value(*z),
                Role::Sensor {
                    trace: own,
                    channel: of,
                    error,
                } if own == trace && of == channel => {
                    let value = parameter.value(*z);
                    match error {
                        SensorError::Zero => sensor.zero += value,
                        SensorError::Gain => sensor.gain *= value,
                        SensorError::Drift => sensor.drift = value,
                        SensorError::Lag => sensor.lag = value,
                        SensorError::Wander(_) => sensor.wander.push(value),
                    }
                }
                Role::Fault(k) if at_fault => match (self.cause, k) {
                    (Cause::SensorOffset, 0) => sensor.zero += parameter.value(*z),
                    (Cause::SensorOffset, _) => sensor.gain *= parameter.value(*z),
                    (Cause::SensorLag, _) => sensor.lag = parameter.value(*z),
                    _ => {}
                },
                _ => {}
            }
        }
        sensor
    }

    /// Index of the first value freed by the cause, if any.
    pub fn fault_index(&self) -> Option<usize> {
        self.parameters
            .iter()
            .position(|parameter| matches!(parameter.role, Role::Fault(_)))
    }
}
