//! The picture of where the inversion from density and energy holds: regions of the phase plane,
//! the triple line across them, and a cross at every state that did not come back.

use kuva::plot::scatter::MarkerShape;
use kuva::prelude::{BandPlot, Layout, LegendEntry, LegendShape, LinePlot, Plot, ScatterPlot};

/// What the picture shows; temperatures in K, densities in kg/m3.
#[derive(Debug, Clone, PartialEq)]
pub struct MapPicture {
    /// Lowest and highest temperature, lowest and highest density.
    pub range: ((f64, f64), (f64, f64)),
    /// Regions, from thin to dense.
    pub regions: Vec<MapRegion>,
    /// Temperature, lowest and highest density of the triple line.
    pub triple: Option<(f64, f64, f64)>,
    /// States that did not come back.
    pub failures: Vec<(f64, f64)>,
    /// Points that name no state.
    pub without_state: Vec<(f64, f64)>,
    /// Largest relative difference in temperature of those that did.
    pub worst: f64,
    /// Number of states tried.
    pub states: usize,
}

/// One region of the plane.
#[derive(Debug, Clone, PartialEq)]
pub struct MapRegion {
    /// Name in the legend.
    pub name: String,
    /// (temperature, lowest density, highest density) of each slice.
    pub slices: Vec<(f64, f64, f64)>,
}

/// Fill per region: light to dark in grey as well, so that print keeps them apart.
const FILLS: [&str; 7] = [
    "#f3ead3", "#a9c4d6", "#5b84a8", "#d8a96c", "#9c9c9c", "#6b4f3a", "#454545",
];
const INK: &str = "#1c1c1c";
const ALARM: &str = "#c2185b";

/// Draw the picture as SVG, or as PNG.
///
/// # Errors
/// What the rasteriser says.
pub fn draw(picture: &MapPicture, png: bool) -> Result<Vec<u8>, String> {
    let mut plots: Vec<Plot> = Vec::new();
    let mut entries = Vec::new();
    for (MapRegion { name, slices }, fill) in picture.regions.iter().zip(FILLS) {
        let band = BandPlot::new(
            slices.iter().map(|slice| slice.0),
            slices.iter().map(|slice| slice.1),
            slices.iter().map(|slice| slice.2),
        )
        .with_color(fill)
        .with_opacity(1.0);
        plots.push(band.into());
        entries.push(LegendEntry {
            label: name.clone(),
            color: fill.to_owned(),
            shape: LegendShape::Rect,
            dasharray: None,
        });
    }
    if let Some((temperature, low, high)) = picture.triple {
        let line = LinePlot::new()
            .with_data(vec![(temperature, low), (temperature, high)])
            .with_color(INK)
            .with_stroke_width(2.0);
        plots.push(line.into());
        entries.push(LegendEntry {
            label: "triple line".to_owned(),
            color: INK.to_owned(),
            shape: LegendShape::Line,
            dasharray: None,
        });
    }
    let marks = [
        (&picture.without_state, "#777777", "no such state"),
        (&picture.failures, ALARM, "not returned"),
    ];
    for (points, colour, name) in marks {
        if !points.is_empty() {
            let cross = ScatterPlot::new()
                .with_data(points.clone())
                .with_color(colour)
                .with_marker(MarkerShape::Cross)
                .with_size(3.0);
            plots.push(cross.into());
            entries.push(LegendEntry {
                label: name.to_owned(),
                color: colour.to_owned(),
                shape: LegendShape::Marker(MarkerShape::Cross),
                dasharray: None,
            });
        }
    }
    let verdict = if picture.failures.is_empty() {
        format!(
            "all {} states return, worst to {:.0e} of T",
            picture.states, picture.worst
        )
    } else {
        format!(
            "{} of {} states do not return",
            picture.failures.len(),
            picture.states
        )
    };
    let layout = Layout::auto_from_plots(&plots)
        .with_title(format!("(density, energy) to state: {verdict}"))
        .with_title_size(14)
        .with_x_label("temperature, K")
        .with_y_label("density, kg/m3")
        .with_log_y()
        .with_x_axis_min(picture.range.0.0)
        .with_x_axis_max(picture.range.0.1)
        .with_y_axis_min(picture.range.1.0)
        .with_y_axis_max(picture.range.1.1)
        .with_legend_entries(entries)
        .with_width(860.0)
        .with_height(520.0);
    if png {
        kuva::render_to_png(plots, layout, 2.0)
    } else {
        Ok(kuva::render_to_svg(plots, layout).into_bytes())
    }
}
