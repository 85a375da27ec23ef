//! Curves and events of the best explanation, for pictures.

use crate::discharge::run;

use super::fit::Fit;
use super::interval::REACH;
use super::measured::Measured;
use super::observe::{Run, Sensor};
use super::problem::Problem;
use super::{DiagnosisSettings, FittedChannel};

/// Fitted curves with bands, and the curves of the design as it is.
pub fn channels(problem: &Problem<'_, '_>, fit: &Fit, nominal: &Run) -> Vec<FittedChannel> {
    let covariance = fit.covariance();
    let mut found = Vec::new();
    let mut row = 0;
    for (trace, measured) in problem.model.traces.iter().enumerate() {
        let Ok(run) = problem.run(&fit.z, trace) else {
            continue;
        };
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
            let start = problem.model.starts.get(trace).map_or(0.0, |start| start.0);
            found.push(FittedChannel {
                trace,
                channel: index,
                fitted: run.readings(channel, &sensor),
                band,
                nominal: nominal.readings(channel, &Sensor::perfect(start)),
                nominal_curve: nominal.curve(channel, start),
                deviation,
            });
        }
    }
    found
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
