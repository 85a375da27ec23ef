//! A shot as a picture, and pictures as bytes.

use std::path::Path;

use kuva::backend::png::PngBackend;
use kuva::backend::svg::SvgBackend;
use kuva::render::render::Scene;

use crate::study::{CriterionKind, HeldNose, ShotStudy};
use crate::units::{Dimension, UnitSystem, axis_unit, format, format_time};

use super::ReportError;
use super::figure::{Curve, Figure, Level, Mark, Panel, wrapped};
use super::wording;

/// How a picture is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureFormat {
    /// Lines that stay sharp at any size.
    Svg,
    /// Pixels, two per unit of the drawing.
    Png,
}

impl PictureFormat {
    /// By the extension of a file name.
    ///
    /// # Errors
    /// [`ReportError::UnknownPicture`] for anything but `.svg` and `.png`.
    pub fn of(path: &Path) -> Result<Self, ReportError> {
        let extension = path
            .extension()
            .map(|extension| extension.to_string_lossy().to_lowercase());
        match extension.as_deref() {
            Some("svg") => Ok(PictureFormat::Svg),
            Some("png") => Ok(PictureFormat::Png),
            _ => Err(ReportError::UnknownPicture {
                file: path.display().to_string(),
            }),
        }
    }
}

/// The bytes of a picture.
///
/// # Errors
/// [`ReportError::Drawing`] when it cannot be turned into pixels.
pub fn bytes(figure: &Figure, format: PictureFormat) -> Result<Vec<u8>, ReportError> {
    scene_bytes(&figure.draw(), format)
}

/// The bytes of a drawing.
///
/// # Errors
/// As [`bytes`].
pub fn scene_bytes(scene: &Scene, format: PictureFormat) -> Result<Vec<u8>, ReportError> {
    match format {
        PictureFormat::Svg => Ok(SvgBackend::new().render_scene(scene).into_bytes()),
        PictureFormat::Png => PngBackend::new()
            .with_scale(2.0)
            .render_scene(scene)
            .map_err(|reason| ReportError::Drawing { reason }),
    }
}

/// One shot: pressure in every vessel, opening force against retention, travel and speed.
#[must_use]
pub fn shot(title: &str, study: &ShotStudy, units: UnitSystem) -> Figure {
    let discharge = &study.discharge;
    let times = &discharge.trajectory.times;
    let end = window(study);
    let seconds = axis_unit(Dimension::Time, end, units);
    let x: Vec<f64> = times.iter().map(|time| seconds.from_si(*time)).collect();

    let mut panels = pressure_panels(study, &x, end, units);
    if let (Some(nose), Some(held)) = (&discharge.trajectory.nose, &study.held) {
        let needed = held.retention_force + held.spring_force;
        let reached = largest(&nose.opening_force, times, end);
        let shown = stays(study).map_or(reached, |_| reached.max(needed));
        let force = axis_unit(Dimension::Force, shown, units);
        panels.push(Panel {
            label: format!("opening force [{}]", force.symbol),
            curves: vec![curve(
                "opening force",
                &x,
                &nose.opening_force,
                |v| force.from_si(v),
                4,
            )],
            levels: vec![Level {
                // The force drawn has the spring in it.
                label: format!(
                    "retention {}{}",
                    format(
                        Dimension::Force,
                        held.retention_force + held.spring_force,
                        units
                    ),
                    if held.spring_force > 0.0 {
                        " with the spring"
                    } else {
                        ""
                    }
                ),
                value: force.from_si(needed),
            }],
            from_zero: true,
            reaches: stays(study).map(|_| force.from_si(needed)),
            height: 150.0,
            ..Panel::default()
        });
    }
    let moved = discharge.outcome.furthest_travel > 0.0;
    if let (Some(nose), Some(held), true) = (&discharge.trajectory.nose, &study.held, moved) {
        let length = axis_unit(Dimension::Length, largest(&nose.travel, times, end), units);
        panels.push(Panel {
            label: format!("travel [{}]", length.symbol),
            curves: vec![curve("travel", &x, &nose.travel, |v| length.from_si(v), 4)],
            levels: vec![Level {
                label: "coupler out".to_owned(),
                value: length.from_si(held.engagement),
            }],
            from_zero: true,
            height: 120.0,
            ..Panel::default()
        });
        let speed = axis_unit(Dimension::Speed, largest(&nose.speed, times, end), units);
        panels.push(Panel {
            label: format!("speed [{}]", speed.symbol),
            curves: vec![curve("speed", &x, &nose.speed, |v| speed.from_si(v), 4)],
            from_zero: true,
            height: 120.0,
            ..Panel::default()
        });
    }
    let marks = discharge
        .events
        .iter()
        .filter(|event| event.time <= end)
        .take(14)
        .map(|event| Mark {
            at: seconds.from_si(event.time),
            label: format!(
                "{}: {}",
                format_time(event.time, units),
                wording::event(&event.kind, study)
            ),
        })
        .collect();
    Figure {
        title: title.to_owned(),
        subtitle: wording::verdict(study, units)
            .split("; ")
            .flat_map(wrapped)
            .collect(),
        x_label: format!("time after the start [{}]", seconds.symbol),
        x_range: (0.0, seconds.from_si(end)),
        panels,
        marks,
    }
}

/// What a nose would have needed that nothing made leave: its pins held.
fn stays(study: &ShotStudy) -> Option<&HeldNose> {
    let held = study.held.as_ref()?;
    let outcome = &study.discharge.outcome;
    (outcome.pins_break_time.is_none() && !study.nose_held || held.factor() < 1.0).then_some(held)
}

/// The time worth showing: until the nose is well clear, or until most has happened.
fn window(study: &ShotStudy) -> f64 {
    let discharge = &study.discharge;
    let times = &discharge.trajectory.times;
    let horizon = times.last().copied().unwrap_or(1.0);
    let last = match (
        discharge.outcome.clear_time,
        &study.held,
        &discharge.trajectory.nose,
    ) {
        (Some(clear), Some(held), Some(nose)) => {
            let off = times
                .iter()
                .zip(&nose.travel)
                .find(|(_, travel)| **travel > 5.0 * held.engagement)
                .map_or(horizon, |(time, _)| *time);
            off.clamp(1.15 * clear, 1.8 * clear)
        }
        _ => 3.0 * discharge.outcome.peak_bay_pressure.time,
    };
    if last > 0.0 {
        last.min(horizon)
    } else {
        horizon
    }
}

/// One panel where all pressures are alike, two where the cartridge would flatten the bay.
fn pressure_panels(study: &ShotStudy, x: &[f64], end: f64, units: UnitSystem) -> Vec<Panel> {
    let trajectory = &study.discharge.trajectory;
    let peaks: Vec<f64> = trajectory
        .vessels
        .iter()
        .map(|vessel| largest(&vessel.pressure, &trajectory.times, end))
        .collect();
    let highest = peaks.iter().copied().fold(0.0, f64::max);
    let (mut high, mut low) = (Vec::new(), Vec::new());
    for (index, peak) in peaks.iter().enumerate() {
        if *peak < 0.3 * highest {
            low.push(index);
        } else {
            high.push(index);
        }
    }
    let mut panels = Vec::new();
    for (group, height) in [(high, 150.0), (low, 150.0)] {
        if group.is_empty() {
            continue;
        }
        let top = group
            .iter()
            .filter_map(|index| peaks.get(*index))
            .copied()
            .fold(0.0, f64::max);
        let unit = axis_unit(Dimension::AbsolutePressure, top, units);
        let members = group
            .iter()
            .filter_map(|index| Some((*index, trajectory.vessels.get(*index)?)));
        let curves = members
            .map(|(index, vessel)| {
                let scale = |v| unit.from_si(v);
                curve(&vessel.name, x, &vessel.pressure, scale, index)
            })
            .collect();
        let needed = stays(study)
            .filter(|held| group.contains(&held.bay))
            .map(|held| held.needed_pressure);
        let ratings = study
            .criteria
            .iter()
            .filter_map(|criterion| match &criterion.kind {
                CriterionKind::PressureRating { vessel }
                    if group.iter().any(|index| {
                        trajectory
                            .vessels
                            .get(*index)
                            .is_some_and(|v| v.name == *vessel)
                    }) =>
                {
                    Some(Level {
                        label: format!("rating of {vessel}"),
                        value: unit.from_si(criterion.limit),
                    })
                }
                _ => None,
            });
        let levels = needed
            .map(|pressure| Level {
                label: format!(
                    "needed {}",
                    format(Dimension::AbsolutePressure, pressure, units)
                ),
                value: unit.from_si(pressure),
            })
            .into_iter()
            .chain(ratings)
            .collect();
        panels.push(Panel {
            label: format!("pressure [{}]", unit.symbol),
            curves,
            levels,
            from_zero: true,
            reaches: needed.map(|pressure| unit.from_si(pressure)),
            height,
            ..Panel::default()
        });
    }
    panels
}

fn curve(
    label: &str,
    x: &[f64],
    values: &[f64],
    scale: impl Fn(f64) -> f64,
    style: usize,
) -> Curve {
    Curve {
        label: label.to_owned(),
        points: x
            .iter()
            .zip(values)
            .map(|(x, value)| (*x, scale(*value)))
            .collect(),
        style,
    }
}

fn largest(values: &[f64], times: &[f64], end: f64) -> f64 {
    values
        .iter()
        .zip(times)
        .filter(|(_, time)| **time <= end)
        .map(|(value, _)| value.abs())
        .fold(0.0, f64::max)
}
