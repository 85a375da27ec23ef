//! Pictures of measurements beside the model for docs/images, in the style of the reports.
#![allow(dead_code)] // each test binary uses its own part

use std::path::Path;

use coldkick::report::figure::{Curve, Figure, Panel};
use coldkick::report::picture::{PictureFormat, bytes};

/// Axes to be drawn.
pub struct Axes<'a> {
    pub title: &'a str,
    pub subtitle: Vec<String>,
    pub x_label: &'a str,
    pub x_range: (f64, f64),
    pub panels: Vec<Plot<'a>>,
}

/// One panel: measured points, curves with names.
pub struct Plot<'a> {
    pub label: &'a str,
    pub points: Vec<(f64, f64)>,
    pub curves: Vec<(String, Vec<(f64, f64)>)>,
}

/// Write `docs/images/<name>.svg`, and a bitmap of it to look at.
pub fn write(name: &str, axes: &Axes) {
    let figure = Figure {
        title: axes.title.to_owned(),
        subtitle: axes.subtitle.clone(),
        x_label: axes.x_label.to_owned(),
        x_range: axes.x_range,
        panels: axes.panels.iter().map(|p| panel(p, axes.x_range)).collect(),
        marks: Vec::new(),
    };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/images");
    std::fs::create_dir_all(&folder).unwrap();
    let svg = bytes(&figure, PictureFormat::Svg).unwrap();
    std::fs::write(folder.join(name).with_extension("svg"), svg).unwrap();
    let png = bytes(&figure, PictureFormat::Png).unwrap();
    std::fs::write(std::env::temp_dir().join(name).with_extension("png"), png).unwrap();
}

fn panel(plot: &Plot, (left, right): (f64, f64)) -> Panel {
    const BLACK: usize = 4;
    let height = 300.0;
    let values = || {
        let curves = plot.curves.iter().flat_map(|c| &c.1);
        plot.points.iter().chain(curves).map(|p| p.1)
    };
    let reach = values().fold(0.0, f64::max);
    // Half the width and height of a diamond, about four pixels.
    let (dx, dy) = ((right - left) / 620.0 * 4.0, reach / height * 4.0);
    let mut curves: Vec<Curve> = plot
        .curves
        .iter()
        .enumerate()
        .map(|(style, (label, points))| Curve {
            label: label.clone(),
            points: points.clone(),
            style,
        })
        .collect();
    for (i, &(x, y)) in plot.points.iter().enumerate() {
        let label = if i == 0 { "measured" } else { "" };
        let corners = [(-dx, 0.0), (0.0, dy), (dx, 0.0), (0.0, -dy), (-dx, 0.0)];
        curves.push(Curve {
            label: label.to_owned(),
            points: corners.iter().map(|(a, b)| (x + a, y + b)).collect(),
            style: BLACK,
        });
    }
    Panel {
        label: plot.label.to_owned(),
        curves,
        from_zero: true,
        height,
        ..Panel::default()
    }
}
