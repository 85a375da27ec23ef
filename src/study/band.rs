//! The band of pressure curves: percentiles of the bay pressure at each time.

use rayon::prelude::*;

use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::{StatisticsError, percentile};

use super::trial::{Campaign, DischargeExperiment};

/// Percentiles of the band.
pub const PERCENTILES: [f64; 3] = [0.05, 0.5, 0.95];
/// Times at which it is given.
const TIMES: usize = 160;

/// Percentiles of the pressure under the nose at each time.
#[derive(Debug, Clone, PartialEq)]
pub struct PressureBand {
    /// Times [s].
    pub times: Vec<f64>,
    /// At each time, one pressure for each of [`PERCENTILES`] [Pa, absolute].
    pub pressures: Vec<[f64; 3]>,
    /// Trials it is made of.
    pub trials: usize,
}

/// Runs the first `most` trials again, keeping their curves. Trials that cannot be computed are
/// left out. `None` if there are none.
///
/// # Errors
/// None for trials of the campaign.
pub fn pressure_band<B>(
    campaign: &Campaign,
    experiment: &DischargeExperiment<B>,
    most: u64,
) -> Result<Option<PressureBand>, StatisticsError>
where
    B: Fn(&[f64]) -> Result<(System, Criteria), String> + Sync,
{
    let curves: Vec<Curve> = (0..campaign.trials().min(most))
        .into_par_iter()
        .map(|index| Ok(curve(experiment, &campaign.values(index)?)))
        .collect::<Result<Vec<_>, StatisticsError>>()?
        .into_iter()
        .flatten()
        .collect();
    let mut ends: Vec<f64> = curves.iter().map(|curve| curve.worth_showing).collect();
    ends.sort_by(f64::total_cmp);
    let end = percentile::of_sorted(&ends, 0.95);
    if curves.is_empty() || end.is_nan() || end <= 0.0 {
        return Ok(None);
    }
    let times: Vec<f64> = (0..=TIMES)
        .map(|step| end * step as f64 / TIMES as f64)
        .collect();
    let pressures = times
        .iter()
        .map(|time| {
            let mut column: Vec<f64> = curves.iter().map(|curve| curve.at(*time)).collect();
            column.sort_by(f64::total_cmp);
            PERCENTILES.map(|p| percentile::of_sorted(&column, p))
        })
        .collect();
    Ok(Some(PressureBand {
        times,
        pressures,
        trials: curves.len(),
    }))
}

struct Curve {
    times: Vec<f64>,
    pressures: Vec<f64>,
    /// Until the nose is clear and a little beyond, or three times the peak.
    worth_showing: f64,
}

impl Curve {
    /// Pressure at a time, held beyond the ends; an event stands twice and counts from then on.
    fn at(&self, time: f64) -> f64 {
        let next = self.times.partition_point(|t| *t <= time);
        let sample = |index: usize| Some((*self.times.get(index)?, *self.pressures.get(index)?));
        match (next.checked_sub(1).and_then(sample), sample(next)) {
            (Some((t0, p0)), Some((t1, p1))) => p0 + (time - t0) / (t1 - t0) * (p1 - p0),
            (Some((_, p)), None) | (None, Some((_, p))) => p,
            (None, None) => f64::NAN,
        }
    }
}

fn curve<B>(experiment: &DischargeExperiment<B>, values: &[f64]) -> Option<Curve>
where
    B: Fn(&[f64]) -> Result<(System, Criteria), String> + Sync,
{
    let (system, discharge) = experiment.discharge(values).ok()?;
    let outcome = &discharge.outcome;
    let end = match outcome.clear_time {
        Some(clear) => 1.3 * clear,
        None => 3.0 * outcome.peak_bay_pressure.time,
    };
    let pressures = discharge
        .trajectory
        .vessels
        .into_iter()
        .nth(system.bay())?
        .pressure;
    Some(Curve {
        times: discharge.trajectory.times,
        pressures,
        worth_showing: end.min(system.horizon),
    })
}
