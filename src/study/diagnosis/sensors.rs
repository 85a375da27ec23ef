//! Errors of clocks and sensors as values of a fit.

use crate::statistics::{Distribution, StatisticsError};
use crate::units::Dimension;

use super::cause::Cause;
use super::measured::{Measured, Observable, Trigger};
use super::model::Model;
use super::parameter::{Parameter, Role, SensorError};

fn normal(mean: f64, standard_deviation: f64) -> Distribution {
    Distribution::Normal {
        mean,
        standard_deviation,
    }
}

/// Clock and sensor errors of one trace.
pub fn sensor_parameters(
    model: &Model<'_>,
    cause: Cause,
    trace: usize,
    measured: &Measured,
    parameters: &mut Vec<Parameter>,
) -> Result<(), StatisticsError> {
    let believed = &model.settings.sensor;
    let (mean, deviation) = model.starts.get(trace).copied().unwrap_or((0.0, 1e-3));
    let clock = match measured.trigger {
        Trigger::Known { .. } => "time of the command on the clock",
        Trigger::Unknown => "time of the command (unknown)",
    };
    let role = Role::Start { trace };
    parameters.push(Parameter::new(
        role,
        clock,
        Dimension::Time,
        normal(mean, deviation),
    )?);
    for (channel, data) in measured.channels.iter().enumerate() {
        let role = |error| Role::Sensor {
            trace,
            channel,
            error,
        };
        let (pressure, dimension) = match data.observable {
            Observable::Pressure { .. } => (true, Dimension::PressureDifference),
            Observable::Travel => (false, Dimension::Length),
            Observable::Release => continue,
        };
        let share = |share: f64| normal(0.0, share * data.range.max(f64::MIN_POSITIVE));
        let mut add = |error, label: &str, dimension, prior| {
            let label = format!("{label} of `{}`", data.label);
            Parameter::new(role(error), label, dimension, prior).map(|p| parameters.push(p))
        };
        // A sensor that is off frees its own zero and scale, a slow one its own lag.
        let at_fault = model.faulty_sensor(data.observable);
        if !(at_fault && cause == Cause::SensorOffset) {
            add(SensorError::Zero, "zero", dimension, share(believed.zero))?;
            add(
                SensorError::Gain,
                "scale",
                Dimension::Number,
                normal(1.0, believed.gain),
            )?;
        }
        add(
            SensorError::Drift,
            "drift",
            dimension,
            share(believed.drift),
        )?;
        if !(at_fault && cause == Cause::SensorLag) {
            let prior = Distribution::Lognormal {
                median: believed.lag,
                factor: 2.0,
            };
            add(SensorError::Lag, "lag", Dimension::Time, prior)?;
        }
        if pressure && believed.wander > 0.0 {
            for knot in 0..believed.knots {
                add(
                    SensorError::Wander(knot),
                    "error of the model",
                    Dimension::Fraction,
                    normal(0.0, believed.wander),
                )?;
            }
        }
    }
    Ok(())
}
