//! A diagnosis as a picture: measured over fitted with its band, residuals beneath, the design as it
//! is behind, events marked.

use crate::study::diagnosis::{Channel, FittedChannel, Observable};
use crate::units::{Dimension, UnitSystem, axis_unit, format_time};

use super::diagnosis::Report;
use super::diagnosis_verdict::verdict;
use super::figure::{Band, Curve, Figure, Level, Mark, Panel, wrapped};

/// The picture of one trace of a diagnosis.
#[must_use]
pub fn diagnosis(report: &Report<'_>, trace: usize, units: UnitSystem) -> Figure {
    let channels: Vec<(&FittedChannel, &Channel)> = report
        .diagnosis
        .channels
        .iter()
        .filter(|fitted| fitted.trace == trace)
        .filter_map(|fitted| {
            let channel = report.traces.get(trace)?.channels.get(fitted.channel)?;
            (channel.times.len() > 1).then_some((fitted, channel))
        })
        .collect();
    let events = report
        .diagnosis
        .events
        .get(trace)
        .map_or(&[][..], Vec::as_slice);
    let (first, last) = window(&channels, events);
    let seconds = axis_unit(Dimension::Time, last - first, units);
    let panels = channels
        .iter()
        .flat_map(|(fitted, channel)| pair(fitted, channel, &|t| seconds.from_si(t), units))
        .collect();
    let fitted_to = channels.iter().filter_map(|(fitted, channel)| {
        let end = fitted.deviation.iter().position(|d| d.is_infinite())?;
        channel.times.get(end).copied()
    });
    let whole = |(fitted, _): &(&FittedChannel, _)| fitted.deviation.iter().all(|d| d.is_finite());
    let still = if channels.iter().any(whole) {
        "only the bay"
    } else {
        "nothing"
    };
    let end = fitted_to.reduce(f64::min).map(|time| Mark {
        at: seconds.from_si(time),
        label: format!(
            "{}: nose seen to be off; from here {still} is fitted",
            format_time(time, units)
        ),
    });
    let marks = events
        .iter()
        .take(12)
        .map(|(time, name)| Mark {
            at: seconds.from_si(*time),
            label: format!("{}: {name}", format_time(*time, units)),
        })
        .chain(end)
        .collect();
    let name = report.traces.get(trace).map_or("", |t| t.name.as_str());
    let name = name.rsplit(['/', '\\']).next().unwrap_or(name);
    Figure {
        title: format!("{}: {name}", report.design),
        subtitle: verdict(report, units)
            .split("; ")
            .take(3)
            .flat_map(wrapped)
            .collect(),
        x_label: format!("time on the clock of the trace [{}]", seconds.symbol),
        x_range: (seconds.from_si(first), seconds.from_si(last)),
        panels,
        marks,
    }
}

/// The stretch in which something happens, with what leads up to it.
fn window(channels: &[(&FittedChannel, &Channel)], events: &[(f64, String)]) -> (f64, f64) {
    let mut first = f64::INFINITY;
    let mut last = f64::NEG_INFINITY;
    for (_, channel) in channels {
        first = first.min(channel.times.first().copied().unwrap_or(0.0));
        last = last.max(channel.times.last().copied().unwrap_or(1.0));
        let moved = |value: &f64| {
            let base = channel.values.first().copied().unwrap_or(0.0);
            (value - base).abs() > 0.02 * channel.range
        };
        if let Some(index) = channel.values.iter().rposition(moved)
            && let (Some(end), Some(start)) = (channel.times.get(index), channel.onset)
        {
            let busy = end - start;
            last = last.min(end + 0.15 * busy);
            first = first.max(start - 0.15 * busy);
        }
    }
    if let Some((time, _)) = events.first() {
        first = first.min(*time);
    }
    if first < last {
        (first, last)
    } else {
        (0.0, 1.0)
    }
}

/// The heading of a column without the unit it was written in.
fn without_unit(heading: &str) -> &str {
    let name = heading.split(['[', '(']).next().unwrap_or(heading).trim();
    if name.is_empty() { heading } else { name }
}

/// Measured and fitted, and their residuals in standard deviations.
fn pair(
    fitted: &FittedChannel,
    channel: &Channel,
    x: &dyn Fn(f64) -> f64,
    units: UnitSystem,
) -> Vec<Panel> {
    let (dimension, what) = match channel.observable {
        Observable::Pressure { gauge: true, .. } => (Dimension::PressureDifference, ", gauge"),
        Observable::Pressure { gauge: false, .. } => (Dimension::AbsolutePressure, ""),
        Observable::Travel | Observable::Release => (Dimension::Length, ""),
    };
    let largest = channel
        .values
        .iter()
        .fold(0.0_f64, |most, v| most.max(v.abs()));
    let unit = axis_unit(dimension, largest, units);
    let points = |values: &[f64]| -> Vec<(f64, f64)> {
        channel
            .times
            .iter()
            .zip(values)
            .map(|(t, v)| (x(*t), unit.from_si(*v)))
            .collect()
    };
    let band = |width: &dyn Fn(usize) -> f64| -> Vec<(f64, f64, f64)> {
        channel
            .times
            .iter()
            .zip(&fitted.fitted)
            .enumerate()
            .map(|(index, (t, v))| (*t, *v, width(index)))
            .filter(|(_, _, half)| half.is_finite())
            .map(|(t, v, half)| (x(t), unit.from_si(v - half), unit.from_si(v + half)))
            .collect()
    };
    let at = |values: &[f64], index: usize| values.get(index).copied().unwrap_or(0.0);
    let noise = |index: usize| 1.645 * at(&fitted.deviation, index);
    let curve = |index: usize| at(&fitted.band, index);
    let residuals: Vec<(f64, f64)> = channel
        .times
        .iter()
        .zip(channel.values.iter().zip(&fitted.fitted))
        .zip(&fitted.deviation)
        .filter(|(_, deviation)| deviation.is_finite())
        .map(|((t, (measured, fitted)), deviation)| (x(*t), (measured - fitted) / deviation))
        .collect();
    let nominal = fitted.nominal_curve.iter();
    let nominal = nominal.map(|(t, v)| (x(*t), unit.from_si(*v))).collect();
    let curves = [
        ("design as it is", nominal, 5),
        ("fitted", points(&fitted.fitted), 0),
        ("measured", points(&channel.values), 4),
    ];
    vec![
        Panel {
            label: format!("{}{what} [{}]", without_unit(&channel.label), unit.symbol),
            bands: vec![
                Band {
                    label: "noise, 90 %".to_owned(),
                    points: band(&noise),
                    style: 5,
                },
                Band {
                    label: "curve, 90 %".to_owned(),
                    points: band(&curve),
                    style: 0,
                },
            ],
            curves: curves
                .into_iter()
                .map(|(label, points, style)| Curve {
                    label: label.to_owned(),
                    points,
                    style,
                })
                .collect(),
            levels: Vec::new(),
            from_zero: true,
            height: 230.0,
            ..Panel::default()
        },
        Panel {
            label: "residual [sd]".to_owned(),
            bands: Vec::new(),
            curves: vec![Curve {
                label: "measured less fitted".to_owned(),
                points: residuals,
                style: 4,
            }],
            levels: vec![
                Level {
                    label: "+2".to_owned(),
                    value: 2.0,
                },
                Level {
                    label: "-2".to_owned(),
                    value: -2.0,
                },
            ],
            from_zero: false,
            height: 100.0,
            ..Panel::default()
        },
    ]
}
