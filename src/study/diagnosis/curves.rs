//! Curves and events of the best explanation, for pictures.

use crate::discharge::{Extent, Settings, run};
use crate::network::spec::System;

use super::fit::Fit;
use super::interval::REACH;
use super::measured::Measured;
use super::observe::{Run, Sensor};
use super::problem::Problem;
use super::{DiagnosisSettings, FittedChannel};

/// Fitted curves with bands, and the curves of the design as it is.
pub fn channels(problem: &Problem<'_, '_>, fit: &Fit) -> Vec<FittedChannel> {
    let model = problem.model;
    let covariance = fit.covariance();
    let mut found = Vec::new();
    let mut row = 0;
    for (trace, measured) in problem.model.traces.iter().enumerate() {
        let Ok(run) = problem.run(&fit.z, trace) else {
            continue;
        };
        // The fit ends where the nose is off; what is shown goes on as the record does.
        let start = model.starts.get(trace).map_or(0.0, |start| start.0);
        let needed = measured.last_time() - start;
        let system = problem.system(&fit.z, trace);
        let shown = system
            .ok()
            .and_then(|(system, _)| followed(problem, system, needed));
        let nominal = followed(problem, model.nominal.clone(), needed);
        let nominal = nominal.as_ref().unwrap_or(&model.nominal_run);
        for (index, channel) in measured.channels.iter().enumerate() {
            let sensor = problem.sensor(&fit.z, trace, index);
            let deviation: Vec<f64> = problem
                .model
                .deviations(trace, index)
                .iter()
                .map(|deviation| problem.inflation * deviation.total)
                .collect();
            let band = deviation
                .iter()
                .enumerate()
                .map(|(point, deviation)| {
                    let slopes = fit.jacobian.row(row + point);
                    let spread = crate::numerics::matrix::dot(&slopes, &covariance.times(&slopes));
                    REACH * deviation * spread.max(0.0).sqrt()
                })
                .collect();
            row += channel.values.len();
            let mut fitted = run.readings(channel, &sensor);
            if let Some(shown) = &shown {
                let later = shown.readings(channel, &sensor);
                for ((value, later), deviation) in fitted.iter_mut().zip(later).zip(&deviation) {
                    if deviation.is_infinite() {
                        *value = later;
                    }
                }
            }
            found.push(FittedChannel {
                trace,
                channel: index,
                fitted,
                band,
                nominal: nominal.readings(channel, &Sensor::perfect(start)),
                nominal_curve: nominal.curve(channel, start),
                deviation,
            });
        }
    }
    found
}

/// A run that goes on until so long after its start [s], whatever the nose does.
fn followed(problem: &Problem<'_, '_>, mut system: System, needed: f64) -> Option<Run> {
    system.horizon = system.horizon.min((1.02 * needed).max(1e-3));
    let settings = Settings {
        extent: Extent::Horizon,
        watched: None,
        ..problem.model.settings.run
    };
    let discharge = run(&system, &settings).ok()?;
    Some(Run::new(&system, discharge))
}

/// Events of the fitted runs on the clocks of their traces.
pub fn events(
    problem: &Problem<'_, '_>,
    fit: &Fit,
    settings: &DiagnosisSettings,
) -> Vec<Vec<(f64, String)>> {
    (0..problem.model.traces.len())
        .map(|trace| {
            let start = problem.sensor(&fit.z, trace, 0).start;
            let last = problem
                .model
                .traces
                .get(trace)
                .map_or(0.0, Measured::last_time);
            let Ok((system, _)) = problem.system(&fit.z, trace) else {
                return Vec::new();
            };
            run(&system, &settings.run).map_or_else(
                |_| Vec::new(),
                |discharge| {
                    discharge
                        .events
                        .iter()
                        .map(|event| (start + event.time, event.kind.to_string()))
                        .filter(|(time, _)| *time <= last)
                        .collect()
                },
            )
        })
        .collect()
}
