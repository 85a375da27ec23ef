//! The question put to a fit: the design with its uncertain values, the traces, one cause.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock};

use argmin::core::{Error as ArgminError, Jacobian, Operator};
use rayon::prelude::*;

use crate::discharge::run;
use crate::mechanics::nose::Tether;
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::numerics::matrix::{Matrix, dot};
use crate::statistics::{GaussianCopula, StatisticsError, standard_normal};

use super::cause::{Cause, Fault, Places};
use super::measured::{Channel, Measured, Observable};
use super::observe::{Run, Sensor};
use super::parameter::{Parameter, Role, SensorError, label_of};
use super::sensors::sensor_parameters;
use super::{DesignInput, DiagnosisSettings};

/// Why a design could not be turned into a system.
pub type BuildError = Box<dyn std::error::Error + Send + Sync>;

/// From one value for each input to a system and its criteria.
pub type Builder<'a> = dyn Fn(&[f64]) -> Result<(System, Criteria), BuildError> + Sync + 'a;

/// Half width of the box of the variates: the chance beyond is 7e-6 on either side.
pub const BOUND: f64 = 4.5;
/// First step of the finite differences, and its limits, in standard deviations of the prior.
const STEP: (f64, f64, f64) = (0.05, 0.002, 0.2);
/// Change of all residuals together that a step should make: well above the roughness of an
/// integration, within the width of a front that moves [1].
const CHANGE: f64 = 2.0;
/// Sensitivity of all residuals together below which a value is left at its prior [1].
const NEGLIGIBLE: f64 = 0.1;
/// Sensitivity below which an input moves nothing at all [1].
const DEAD: f64 = 5e-3;
/// Residual, in standard deviations, beyond which it counts linearly (Huber 1964).
const HUBER: f64 = 3.0;
/// Error of the model from point to point, as a share of the range of a channel.
const FLOOR: f64 = 0.002;

/// What all causes have in common.
pub struct Model<'a> {
    pub inputs: &'a [DesignInput],
    pub copula: &'a GaussianCopula,
    pub build: &'a Builder<'a>,
    pub traces: &'a [Measured],
    pub settings: &'a DiagnosisSettings,
    /// The system of the central values, which says what faults mean.
    pub nominal: System,
    /// Where faults act.
    pub places: Places,
    /// Largest range of a pressure channel [Pa].
    pub range: f64,
    /// Clock of each trace at the start of the model, as far as known: mean, deviation [s].
    pub starts: Vec<(f64, f64)>,
    /// Whether only the pressure of the bay or the moment of release is measured, so that a run may
    /// end when the nose is off.
    pub bay_only: bool,
    /// Discharges computed so far.
    pub count: AtomicU64,
    /// Inputs of the design that move nothing that was measured; known after the first Jacobian.
    pub dead: OnceLock<Vec<usize>>,
}

impl Model<'_> {
    /// Discharges computed so far.
    pub fn evaluations(&self) -> u64 {
        self.count.load(Ordering::Relaxed)
    }
}

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
    /// A value that is held whatever the fit asks for.
    held: Option<(usize, f64)>,
    active: OnceLock<Vec<bool>>,
    /// Steps of the finite differences that served last.
    steps: Mutex<Vec<f64>>,
    latest: Latest,
}

/// The runs of the last values asked for.
type Latest = Mutex<Option<(Vec<f64>, Arc<Vec<Run>>)>>;

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
        let steps = Mutex::new(vec![STEP.0; parameters.len()]);
        Ok(Some(Problem {
            steps,
            model,
            cause,
            faults,
            parameters,
            base: base.to_vec(),
            inflation,
            held: None,
            active: OnceLock::new(),
            latest: Mutex::new(None),
        }))
    }

    /// The same problem with one variate held; its part of the cost is not counted.
    pub fn with_held(&self, k: usize, z: f64) -> Self {
        let active = OnceLock::new();
        if let Some(known) = self.active.get() {
            let mut known = known.clone();
            if let Some(slot) = known.get_mut(k) {
                *slot = false;
            }
            active.get_or_init(|| known);
        }
        Problem {
            held: Some((k, z)),
            active,
            latest: Mutex::new(None),
            ..self.with_inflation(self.inflation)
        }
    }

    /// The same problem with other noise.
    pub fn with_inflation(&self, inflation: f64) -> Self {
        Problem {
            steps: Mutex::new(self.known_steps()),
            model: self.model,
            cause: self.cause,
            faults: self.faults.clone(),
            parameters: self.parameters.clone(),
            base: self.base.clone(),
            inflation,
            held: self.held,
            active: OnceLock::new(),
            latest: Mutex::new(None),
        }
    }

    fn known_steps(&self) -> Vec<f64> {
        match self.steps.lock() {
            Ok(steps) => steps.clone(),
            Err(_) => vec![STEP.0; self.parameters.len()],
        }
    }

    /// The variates with the held one in place.
    fn effective(&self, z: &[f64]) -> Vec<f64> {
        let mut z = z.to_vec();
        if let Some((k, value)) = self.held
            && let Some(slot) = z.get_mut(k)
        {
            *slot = value;
        }
        z
    }

    /// Values of a fit to another problem of the same model, where both have them.
    pub fn transfer(&self, other: &Problem<'_, '_>, z: &[f64]) -> Vec<f64> {
        self.parameters
            .iter()
            .map(|parameter| {
                let same = other.parameters.iter().zip(z).find(|(candidate, _)| {
                    candidate.role == parameter.role && !matches!(candidate.role, Role::Fault(_))
                });
                same.map_or(0.0, |(_, z)| *z)
            })
            .collect()
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

    /// Values freed by the cause.
    pub fn fault_values(&self, z: &[f64]) -> Vec<f64> {
        self.parameters
            .iter()
            .zip(z)
            .filter(|(parameter, _)| matches!(parameter.role, Role::Fault(_)))
            .map(|(parameter, z)| parameter.value(*z))
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

    /// One run of the model for one trace, as long as the trace lasts.
    pub fn run(&self, z: &[f64], trace: usize) -> Result<Run, EvaluationError> {
        let (mut system, _) = self.system(z, trace)?;
        if let Some(measured) = self.model.traces.get(trace) {
            let start = self.model.starts.get(trace).map_or(0.0, |start| start.0);
            let needed = measured.last_time() - start;
            system.horizon = system.horizon.min((1.02 * needed).max(1e-3));
        }
        if let Some((nose, _)) = &mut system.nose {
            // Nothing is learned from the flight of the nose: it ends at a tether just long enough
            // for the bore to be open. Other vessels are watched to the end.
            nose.tether = self.model.bay_only.then_some(Tether {
                length: nose.engagement + 0.25 * nose.bore,
                stiffness: 5e4,
                damping: 100.0,
                rating: None,
            });
        }
        self.model.count.fetch_add(1, Ordering::Relaxed);
        let discharge = run(&system, &self.model.settings.run)?;
        Ok(Run::new(&system, discharge))
    }

    /// The sensor of one channel.
    pub fn sensor(&self, z: &[f64], trace: usize, channel: usize) -> Sensor {
        let mut sensor = Sensor::perfect(self.model.starts.get(trace).map_or(0.0, |s| s.0));
        let pressure = self
            .model
            .traces
            .get(trace)
            .and_then(|measured| measured.channels.get(channel))
            .is_some_and(|channel| matches!(channel.observable, Observable::Pressure { .. }));
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
                Role::Fault(k) if pressure => match (self.cause, k) {
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

    /// Runs at these values, one for each trace; the latest are kept.
    fn runs(&self, z: &[f64]) -> Result<Arc<Vec<Run>>, EvaluationError> {
        if let Ok(latest) = self.latest.lock()
            && let Some((at, runs)) = latest.as_ref()
            && at == z
        {
            return Ok(Arc::clone(runs));
        }
        let runs = (0..self.model.traces.len())
            .map(|trace| self.run(z, trace))
            .collect::<Result<Vec<_>, _>>()?;
        let runs = Arc::new(runs);
        if let Ok(mut latest) = self.latest.lock() {
            *latest = Some((z.to_vec(), Arc::clone(&runs)));
        }
        Ok(runs)
    }

    /// Readings the model expects for one trace [SI].
    pub fn readings(&self, run: &Run, z: &[f64], trace: usize) -> Vec<f64> {
        let channels = self
            .model
            .traces
            .get(trace)
            .map_or(&[][..], |m| &m.channels);
        channels
            .iter()
            .enumerate()
            .flat_map(|(index, channel)| run.readings(channel, &self.sensor(z, trace, index)))
            .collect()
    }

    /// Residuals of one trace in standard deviations, before any loss.
    pub fn plain_residuals(&self, run: &Run, z: &[f64], trace: usize) -> Vec<f64> {
        let channels = self
            .model
            .traces
            .get(trace)
            .map_or(&[][..], |m| &m.channels);
        let mut expected = self.readings(run, z, trace).into_iter();
        let mut residuals = Vec::new();
        for channel in channels {
            let points = channel
                .values
                .iter()
                .zip(&channel.deviations)
                .zip(&channel.saturated);
            for (((value, deviation), saturated), expected) in points.zip(expected.by_ref()) {
                let scale = self.inflation * point_deviation(channel, *deviation);
                let residual = (expected - value) / scale;
                // At its end stop a sensor only says that the value is not lower.
                residuals.push(if *saturated {
                    residual.min(0.0)
                } else {
                    residual
                });
            }
        }
        residuals
    }

    fn robust_residuals(&self, run: &Run, z: &[f64], trace: usize) -> Vec<f64> {
        let mut residuals = self.plain_residuals(run, z, trace);
        for residual in &mut residuals {
            *residual = huber(*residual);
        }
        residuals
    }

    /// All residuals, each squared giving its part of the robust cost.
    pub fn residuals(&self, z: &[f64]) -> Result<Vec<f64>, EvaluationError> {
        let z = self.effective(z);
        let runs = self.runs(&z)?;
        Ok(self.residuals_of(&runs, &z))
    }

    fn residuals_of(&self, runs: &[Run], z: &[f64]) -> Vec<f64> {
        runs.iter()
            .enumerate()
            .flat_map(|(trace, run)| self.robust_residuals(run, z, trace))
            .collect()
    }

    /// Cost |s|^2 + |z|^2; infinite where the model cannot go.
    pub fn cost(&self, z: &[f64]) -> f64 {
        self.residuals(z)
            .map_or(f64::INFINITY, |s| dot(&s, &s) + dot(z, z))
    }

    /// Sensitivity of the residuals to every value by one-sided differences; columns of values that
    /// hardly matter are left at zero once they are known.
    pub fn sensitivities(&self, z: &[f64]) -> Result<Matrix, EvaluationError> {
        let z = &self.effective(z);
        let base_runs = self.runs(z)?;
        let base = self.residuals_of(&base_runs, z);
        let known = self.active.get();
        let steps = self.known_steps();
        let found: Vec<(Vec<f64>, f64)> = (0..z.len())
            .into_par_iter()
            .map(|k| {
                let size = steps.get(k).copied().unwrap_or(STEP.0);
                let held = self.held.is_some_and(|(held, _)| held == k);
                let dead = self.model.dead.get().is_some_and(|dead| {
                    self.parameters.get(k).is_some_and(|parameter| {
                        matches!(parameter.role, Role::Input { index, .. } if dead.contains(&index))
                    })
                });
                if held || dead || known.is_some_and(|active| active.get(k) == Some(&false)) {
                    return (Vec::new(), size);
                }
                self.fitting_column(z, k, size, &base_runs, &base)
            })
            .collect();
        let (columns, steps): (Vec<Vec<f64>>, Vec<f64>) = found.into_iter().unzip();
        if let Ok(mut kept) = self.steps.lock() {
            *kept = steps;
        }
        let mut matrix = Matrix::zero(base.len(), z.len());
        for (k, column) in columns.iter().enumerate() {
            for (row, slope) in column.iter().enumerate() {
                matrix.set(row, k, *slope);
            }
        }
        let matters = || -> Vec<bool> {
            columns
                .iter()
                .map(|column| dot(column, column).sqrt() > NEGLIGIBLE)
                .collect()
        };
        self.active.get_or_init(matters);
        self.model.dead.get_or_init(|| {
            self.parameters
                .iter()
                .zip(&columns)
                .filter(|(_, column)| dot(column, column).sqrt() < DEAD)
                .filter_map(|(parameter, _)| match parameter.role {
                    Role::Input { index, trace: None } => Some(index),
                    _ => None,
                })
                .collect()
        });
        Ok(matrix)
    }

    /// One column with a step that fits, and the step for next time.
    fn fitting_column(
        &self,
        z: &[f64],
        k: usize,
        mut size: f64,
        base_runs: &[Run],
        base: &[f64],
    ) -> (Vec<f64>, f64) {
        let towards_middle = if z.get(k).is_some_and(|z| *z > 0.0) {
            -1.0
        } else {
            1.0
        };
        for attempt in 0.. {
            let Some(column) = self
                .column(z, k, towards_middle * size, base_runs, base)
                .or_else(|| self.column(z, k, -towards_middle * size, base_runs, base))
            else {
                break;
            };
            let slope = dot(&column, &column).sqrt();
            let fitting = (CHANGE / slope.max(1e-9)).clamp(STEP.1, STEP.2);
            if slope * size <= 4.0 * CHANGE || attempt == 2 || size <= STEP.1 {
                return (column, fitting);
            }
            size = fitting;
        }
        (Vec::new(), size)
    }

    fn column(
        &self,
        z: &[f64],
        k: usize,
        step: f64,
        base_runs: &[Run],
        base: &[f64],
    ) -> Option<Vec<f64>> {
        let mut moved = z.to_vec();
        *moved.get_mut(k)? += step;
        let role = self.parameters.get(k)?.role;
        let after: Vec<f64> = base_runs
            .iter()
            .enumerate()
            .map(|(trace, run)| {
                let physical = match role {
                    Role::Input { trace: own, .. } => own.is_none_or(|own| own == trace),
                    Role::Fault(_) => !self.cause.is_sensor(),
                    Role::Start { .. } | Role::Sensor { .. } => false,
                };
                if physical {
                    let run = self.run(&moved, trace).ok()?;
                    Some(self.robust_residuals(&run, &moved, trace))
                } else {
                    Some(self.robust_residuals(run, &moved, trace))
                }
            })
            .collect::<Option<Vec<_>>>()?
            .concat();
        Some(
            after
                .iter()
                .zip(base)
                .map(|(after, before)| (after - before) / step)
                .collect(),
        )
    }

    /// Index of the first value freed by the cause, if any.
    pub fn fault_index(&self) -> Option<usize> {
        self.parameters
            .iter()
            .position(|parameter| matches!(parameter.role, Role::Fault(_)))
    }
}

/// Standard deviation of one point: noise and the floor of the model [SI].
pub fn point_deviation(channel: &Channel, deviation: f64) -> f64 {
    deviation
        .hypot(FLOOR * channel.range)
        .max(f64::MIN_POSITIVE)
}

/// A residual whose square is Huber's loss of r: r within the threshold k, else with
/// square 2 k |r| - k^2.
fn huber(residual: f64) -> f64 {
    let size = residual.abs();
    if size <= HUBER {
        residual
    } else {
        residual.signum() * (2.0 * HUBER * size - HUBER * HUBER).sqrt()
    }
}

/// A problem as argmin asks for it.
pub struct Objective<'p, 'm, 'a>(pub &'p Problem<'m, 'a>);

impl Operator for Objective<'_, '_, '_> {
    type Param = Vec<f64>;
    type Output = Vec<f64>;

    fn apply(&self, z: &Vec<f64>) -> Result<Vec<f64>, ArgminError> {
        Ok(self.0.residuals(z)?)
    }
}

impl Jacobian for Objective<'_, '_, '_> {
    type Param = Vec<f64>;
    type Jacobian = Matrix;

    fn jacobian(&self, z: &Vec<f64>) -> Result<Matrix, ArgminError> {
        Ok(self.0.sensitivities(z)?)
    }
}
