//! The trade-off as a picture: everything that passes, the front through the best of it.

use kuva::plot::scatter::MarkerShape;
use kuva::prelude::{Layout, LegendEntry, LegendShape, LinePlot, Plot, ScatterPlot};

use crate::report::{PictureFormat, ReportError};
use crate::study::sizing::{Aim, Assessment};
use crate::units::{Dimension, UnitSystem, axis_unit};

use super::Sized;

/// Colours of Okabe and Ito and shapes that differ in print as well.
const LOOKS: [(&str, MarkerShape); 6] = [
    ("#0072b2", MarkerShape::Circle),
    ("#d55e00", MarkerShape::Square),
    ("#009e73", MarkerShape::Triangle),
    ("#cc79a7", MarkerShape::Diamond),
    ("#e69f00", MarkerShape::Cross),
    ("#56b4e9", MarkerShape::Plus),
];
const INK: &str = "#1c1c1c";

/// One axis: its label and how a candidate's place on it is found.
struct Scale {
    label: String,
    place: Box<dyn Fn(&Assessment) -> f64>,
}

fn scale(aim: Aim, all: &[Assessment], units: UnitSystem) -> Scale {
    let largest = all
        .iter()
        .map(|a| a.objective(aim).abs())
        .fold(0.0, f64::max);
    let in_unit = |dimension, name: &str| {
        let unit = axis_unit(dimension, largest, units);
        Scale {
            label: format!("{name} [{}]", unit.symbol),
            place: Box::new(move |a: &Assessment| unit.from_si(a.objective(aim))),
        }
    };
    match aim {
        Aim::LeastMass => in_unit(Dimension::Mass, "mass"),
        Aim::LeastVolume => in_unit(Dimension::Volume, "volume"),
        Aim::MostMargin => Scale {
            label: "least margin over a limit [%]".to_owned(),
            place: Box::new(|a: &Assessment| 100.0 * a.margin()),
        },
        Aim::MostChance => Scale {
            label: "chance at the worst temperature [%]".to_owned(),
            place: Box::new(|a: &Assessment| -100.0 * a.objective(Aim::MostChance)),
        },
    }
}

/// The picture; for one aim, that aim against the margin.
///
/// # Errors
/// [`ReportError::Drawing`] when nothing passes, or as the rasteriser says.
pub fn draw(
    sized: &Sized<'_>,
    units: UnitSystem,
    format: PictureFormat,
) -> Result<Vec<u8>, ReportError> {
    let answer = sized.answer;
    let aims = &sized.plan().aims;
    let first = aims.first().copied().unwrap_or(Aim::LeastMass);
    let second = aims.get(1).copied().unwrap_or(match first {
        Aim::MostMargin => Aim::LeastMass,
        _ => Aim::MostMargin,
    });
    let needs_chance = [first, second].contains(&Aim::MostChance);
    let shown: Vec<Assessment> = answer
        .passing
        .iter()
        .filter(|a| !needs_chance || !a.chances.is_empty())
        .cloned()
        .collect();
    if shown.is_empty() {
        let reason = "nothing passes, so there is no trade-off to draw".to_owned();
        return Err(ReportError::Drawing { reason });
    }
    let (across, up) = (scale(first, &shown, units), scale(second, &shown, units));
    let place = |a: &Assessment| ((across.place)(a), (up.place)(a));
    // Candidates told apart by the first choice, mostly the cartridge.
    let groups = sized.plan().choices.first();
    let count = groups.map_or(1, |choice| choice.options.len());
    let mut plots: Vec<Plot> = Vec::new();
    let mut entries = Vec::new();
    let alone = answer.front.is_empty();
    if alone {
        // Around the point that stands for it, so that it is found among many.
        let ring = answer.best.iter().take(1).map(&place);
        plots.push(
            ScatterPlot::new()
                .with_data(ring.collect::<Vec<_>>())
                .with_color(INK)
                .with_marker(MarkerShape::Circle)
                .with_size(8.0)
                .into(),
        );
    }
    for option in 0..count {
        let points: Vec<(f64, f64)> = shown
            .iter()
            .filter(|a| groups.is_none() || a.candidate.choices.first() == Some(&option))
            .map(&place)
            .collect();
        let (colour, shape) = LOOKS.get(option % LOOKS.len()).copied().unwrap_or(LOOKS[0]);
        if points.is_empty() {
            continue;
        }
        plots.push(
            ScatterPlot::new()
                .with_data(points)
                .with_color(colour)
                .with_marker(shape)
                .with_size(4.0)
                .into(),
        );
        let label = groups
            .and_then(|choice| choice.options.get(option))
            .map_or_else(|| "passes".to_owned(), |option| option.label.clone());
        entries.push(LegendEntry {
            label,
            color: colour.to_owned(),
            shape: LegendShape::Marker(shape),
            dasharray: None,
        });
    }
    let front: Vec<(f64, f64)> = answer.front.iter().map(&place).collect();
    let (label, shape) = if alone {
        ("best", LegendShape::Marker(MarkerShape::Circle))
    } else {
        ("trade-off", LegendShape::Line)
    };
    if !alone {
        plots.push(
            LinePlot::new()
                .with_data(front.clone())
                .with_color(INK)
                .with_stroke_width(1.5)
                .into(),
        );
        plots.push(
            ScatterPlot::new()
                .with_data(front)
                .with_color(INK)
                .with_marker(MarkerShape::Circle)
                .with_size(2.5)
                .into(),
        );
    }
    entries.push(LegendEntry {
        label: label.to_owned(),
        color: INK.to_owned(),
        shape,
        dasharray: None,
    });
    let title = format!(
        "{}: {} against {}, {} candidates that pass",
        sized.name,
        first.name(),
        second.name(),
        shown.len()
    );
    let layout = Layout::auto_from_plots(&plots)
        .with_title(title)
        .with_title_size(14)
        .with_x_label(across.label)
        .with_y_label(up.label)
        .with_legend_entries(entries)
        .with_width(860.0)
        .with_height(520.0);
    match format {
        PictureFormat::Png => kuva::render_to_png(plots, layout, 2.0)
            .map_err(|reason| ReportError::Drawing { reason }),
        PictureFormat::Svg => Ok(kuva::render_to_svg(plots, layout).into_bytes()),
    }
}
