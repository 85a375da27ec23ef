//! When dry ice begins to form: read off the series, since nothing changes with it that an integration would have
//! to stop at.

use crate::discharge::{EventKind, EventRecord, Trajectory};

/// Share of the whole charge below which dry ice is round-off.
const SPECK: f64 = 1e-7;

/// The first dry ice of each vessel that starts without any, for a charge of `total_mass` [kg]. It grows from nothing in
/// proportion to time: the line through its first two samples says when, between the last sample without and the first.
pub(super) fn onsets(trajectory: &Trajectory, total_mass: f64) -> Vec<EventRecord> {
    let times = &trajectory.times;
    let of_vessel = |(series, name): (&Vec<f64>, &String)| {
        let first = series
            .iter()
            .position(|solid| *solid > SPECK * total_mass)?;
        let before = first.checked_sub(1)?;
        let line = first + 1;
        let mut time = times[first];
        if line < times.len() && series[line] > series[first] {
            let growth = (series[line] - series[first]) / (times[line] - times[first]);
            time = (time - series[first] / growth).clamp(times[before], time);
        }
        let kind = EventKind::DryIce {
            vessel: name.clone(),
        };
        Some(EventRecord { time, kind })
    };
    let vessels = trajectory.vessels.iter();
    vessels
        .map(|vessel| (&vessel.solid_mass, &vessel.name))
        .filter_map(of_vessel)
        .collect()
}
