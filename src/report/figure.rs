//! Panels stacked over one time axis, drawn as engineers draw them: ticks at round numbers, units on
//! every axis, curves told apart by dash as well as by colour, events numbered and listed below.
//!
//! Colours are those of Okabe and Ito, chosen to differ for every kind of colour vision and in grey.

use kuva::render::color::Color;
use kuva::render::render::{Primitive, Scene, TextAnchor};

use super::axis::Axis;
use super::brush::{
    FAINT, INK, MIDDLE, colour, frame, line, polyline, rectangle, tag, text, ticks_below,
    ticks_beside, upright,
};

pub(super) const WIDTH: f64 = 880.0;
pub(super) const LEFT: f64 = 84.0;
pub(super) const RIGHT: f64 = 176.0;
const TAG_ROW: f64 = 15.0;
const GAP: f64 = 20.0;

/// A line through points.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Name in the legend; empty for none.
    pub label: String,
    /// Points (x, y), x ascending, in the units of the axes.
    pub points: Vec<(f64, f64)>,
    /// Which colour and dash, in order.
    pub style: usize,
}

/// A horizontal line with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Name, written on the line.
    pub label: String,
    /// Height.
    pub value: f64,
}

/// A filled region between two curves.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Name in the legend; empty for none.
    pub label: String,
    /// Points (x, low, high), x ascending.
    pub points: Vec<(f64, f64, f64)>,
    /// Which colour.
    pub style: usize,
}

/// One set of axes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Panel {
    /// What the vertical axis shows, with unit.
    pub label: String,
    /// Regions, drawn first.
    pub bands: Vec<Band>,
    /// Curves.
    pub curves: Vec<Curve>,
    /// Levels; they do not stretch the axis unless they lie within twice the curves' range.
    pub levels: Vec<Level>,
    /// Whether the axis starts at zero.
    pub from_zero: bool,
    /// Ends of the axis, whatever is drawn.
    pub ends: Option<(f64, f64)>,
    /// A height that the axis reaches, however far it is from the curves.
    pub reaches: Option<f64>,
    /// Height of the axes [px].
    pub height: f64,
}

/// Something that happened, marked through all panels.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// When, in the unit of the horizontal axis.
    pub at: f64,
    /// What.
    pub label: String,
}

/// Panels over one horizontal axis.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Figure {
    /// Title.
    pub title: String,
    /// Lines below the title.
    pub subtitle: Vec<String>,
    /// What the horizontal axis shows, with unit.
    pub x_label: String,
    /// Range of the horizontal axis.
    pub x_range: (f64, f64),
    /// Panels, top to bottom.
    pub panels: Vec<Panel>,
    /// Events.
    pub marks: Vec<Mark>,
}

impl Figure {
    /// The figure as a drawing of its own.
    #[must_use]
    pub fn draw(&self) -> Scene {
        let mut scene = page(WIDTH, self.height());
        self.draw_at(&mut scene, 0.0);
        scene
    }

    /// Rows of numbered tags above the panels.
    fn tag_height(&self) -> f64 {
        let rows = tag_rows(&self.marks_in_range(), self);
        TAG_ROW * rows.iter().copied().max().map_or(0, |row| row + 1) as f64
    }

    /// Height of the drawing [px].
    pub(super) fn height(&self) -> f64 {
        let axes: f64 = self.panels.iter().map(|panel| panel.height + GAP).sum();
        let listing = self.marks_in_range().len().div_ceil(2) as f64 * 17.0;
        self.head() + self.tag_height() + axes + 46.0 + listing + 12.0
    }

    /// Room for title and subtitle [px].
    fn head(&self) -> f64 {
        if self.title.is_empty() && self.subtitle.is_empty() {
            return 8.0;
        }
        41.0 + self.subtitle.len() as f64 * 17.0
    }

    /// Draws the figure with its upper edge at a height of the page [px].
    pub(super) fn draw_at(&self, scene: &mut Scene, origin: f64) {
        let marks = self.marks_in_range();
        let rows = tag_rows(&marks, self);
        let top = origin + self.head() + self.tag_height();
        headline(scene, origin, &self.title, &self.subtitle);
        let across = self.across();
        let mut y = top;
        for (index, panel) in self.panels.iter().enumerate() {
            let last = index + 1 == self.panels.len();
            panel.draw(scene, &across, y, last.then_some(self.x_label.as_str()));
            y += panel.height + GAP;
        }
        draw_marks(scene, &marks, &rows, &across, top, y - GAP);
        list_marks(scene, &marks, y + 40.0);
    }

    fn across(&self) -> Axis {
        let (low, high) = self.x_range;
        Axis::new(low, high, LEFT, WIDTH - LEFT - RIGHT, 8)
    }

    fn marks_in_range(&self) -> Vec<&Mark> {
        let (low, high) = self.x_range;
        let mut marks: Vec<&Mark> = self
            .marks
            .iter()
            .filter(|mark| mark.at >= low && mark.at <= high)
            .collect();
        marks.sort_by(|a, b| a.at.total_cmp(&b.at));
        marks
    }
}

/// An empty page.
pub(super) fn page(width: f64, height: f64) -> Scene {
    let mut scene = Scene::new(width, height);
    scene.font_family = Some("DejaVu Sans, Verdana, Helvetica, sans-serif".to_owned());
    scene.text_color = Some(INK.to_owned());
    scene
}

/// A title in bold and the lines below it.
pub(super) fn headline(scene: &mut Scene, origin: f64, title: &str, lines: &[String]) {
    let start = TextAnchor::Start;
    text(scene, LEFT, origin + 24.0, title, 16, start, INK, true);
    for (index, line) in lines.iter().enumerate() {
        let y = origin + 43.0 + 17.0 * index as f64;
        text(scene, LEFT, y, line, 12, start, INK, false);
    }
}

/// A sentence in lines that fit the page.
pub(super) fn wrapped(sentence: &str) -> Vec<String> {
    const MOST: usize = 116;
    let mut lines: Vec<String> = Vec::new();
    for word in sentence.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < MOST => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

impl Panel {
    /// Range of everything drawn, and of the levels near it.
    fn range(&self, across: &Axis) -> (f64, f64) {
        if let Some(ends) = self.ends {
            return ends;
        }
        let visible = |x: &f64| *x >= across.low && *x <= across.high;
        let values = self
            .curves
            .iter()
            .flat_map(|curve| &curve.points)
            .filter(|(x, _)| visible(x))
            .map(|(_, y)| *y);
        let edges = self
            .bands
            .iter()
            .flat_map(|band| &band.points)
            .filter(|(x, _, _)| visible(x))
            .flat_map(|(_, low, high)| [*low, *high]);
        let (mut low, mut high) = values
            .chain(edges)
            .filter(|value| value.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        if self.from_zero {
            low = low.min(0.0);
        }
        let reach = high - low;
        if low < 0.0 && low > -0.03 * reach {
            low = 0.0;
        }
        for level in &self.levels {
            if level.value > high && level.value <= high + reach {
                high = level.value;
            } else if level.value < low && level.value >= low - reach {
                low = level.value;
            }
        }
        if let Some(reached) = self.reaches {
            (low, high) = (low.min(reached), high.max(reached));
        }
        let room = 0.04 * (high - low).max(1e-12 * high.abs());
        (if low == 0.0 { low } else { low - room }, high + room)
    }

    fn draw(&self, scene: &mut Scene, across: &Axis, top: f64, x_label: Option<&str>) {
        let bottom = top + self.height;
        let (low, high) = self.range(across);
        let target = (self.height / 27.0).max(3.0) as usize;
        let up = Axis::rounded(low, high, bottom, -self.height, target);
        let right = across.start + across.length;
        for tick in across.ticks() {
            let x = across.map(tick);
            line(scene, (x, top), (x, bottom), FAINT, 0.7, None);
            line(scene, (x, bottom), (x, bottom + 4.0), INK, 1.0, None);
        }
        for tick in up.ticks() {
            let y = up.map(tick);
            line(scene, (LEFT, y), (right, y), FAINT, 0.7, None);
        }
        ticks_beside(scene, &up, LEFT);
        if x_label.is_some() {
            ticks_below(scene, across, bottom);
        }
        for band in &self.bands {
            fill(scene, band, across, &up);
        }
        for curve in &self.curves {
            stroke(scene, curve, across, &up);
        }
        let mut legend = top + 10.0;
        for level in &self.levels {
            let y = up.map(level.value);
            if y < top - 0.5 || y > bottom + 0.5 {
                continue;
            }
            line(scene, (LEFT, y), (right, y), INK, 1.1, Some("5,3"));
            text(
                scene,
                right + 6.0,
                y + 4.0,
                &level.label,
                11,
                TextAnchor::Start,
                INK,
                false,
            );
        }
        let taken: Vec<f64> = self
            .levels
            .iter()
            .map(|level| up.map(level.value))
            .collect();
        let entries = self
            .curves
            .iter()
            .map(|curve| (curve.label.as_str(), curve.style, false))
            .chain(
                self.bands
                    .iter()
                    .map(|band| (band.label.as_str(), band.style, true)),
            );
        for (label, style, band) in entries.filter(|entry| !entry.0.is_empty()) {
            while taken.iter().any(|y| (y - legend).abs() < 14.0) && legend < bottom {
                legend += 4.0;
            }
            let (x, y) = (right + 8.0, legend);
            if band {
                rectangle(scene, (x, y - 5.0), (26.0, 10.0), colour(style), 0.25);
            } else {
                polyline(scene, &[(x, y), (x + 26.0, y)], style, 2.0);
            }
            text(
                scene,
                x + 32.0,
                y + 4.0,
                label,
                11,
                TextAnchor::Start,
                INK,
                false,
            );
            legend += 17.0;
        }
        frame(scene, (LEFT, top), (right, bottom));
        upright(scene, 18.0, 0.5 * (top + bottom), &self.label);
        if let Some(label) = x_label {
            let x = 0.5 * (LEFT + right);
            text(
                scene,
                x,
                bottom + 36.0,
                label,
                12,
                TextAnchor::Middle,
                INK,
                false,
            );
        }
    }
}

/// A curve, cut at the edges of the horizontal axis.
fn stroke(scene: &mut Scene, curve: &Curve, across: &Axis, up: &Axis) {
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(curve.points.len());
    let mut previous: Option<(f64, f64)> = None;
    for &(x, y) in curve
        .points
        .iter()
        .filter(|(x, y)| x.is_finite() && y.is_finite())
    {
        if x > across.high {
            if let Some((x0, y0)) = previous.filter(|(x0, _)| *x0 < across.high) {
                let edge = y0 + (across.high - x0) / (x - x0) * (y - y0);
                points.push((across.map(across.high), up.map(edge)));
            }
            break;
        }
        if x >= across.low {
            let point = (across.map(x), up.map(y));
            // Samples that fall on one pixel draw nothing new.
            let far = |p: &(f64, f64)| (p.0 - point.0).abs() + (p.1 - point.1).abs() > 0.15;
            if points.last().is_none_or(far) {
                points.push(point);
            }
        }
        previous = Some((x, y));
    }
    polyline(scene, &points, curve.style, 1.8);
}

fn fill(scene: &mut Scene, band: &Band, across: &Axis, up: &Axis) {
    let visible = |x: f64| x >= across.low && x <= across.high;
    let inside: Vec<_> = band.points.iter().filter(|(x, _, _)| visible(*x)).collect();
    let mut path = String::new();
    // A region without an end fills the axes.
    let within = |y: f64| y.clamp(up.low, up.high);
    let there = inside.iter().map(|(x, _, high)| (*x, within(*high)));
    let back = inside.iter().rev().map(|(x, low, _)| (*x, within(*low)));
    for (index, (x, y)) in there.chain(back).enumerate() {
        let verb = if index == 0 { 'M' } else { 'L' };
        path.push_str(&format!("{verb} {:.2} {:.2} ", across.map(x), up.map(y)));
    }
    path.push('Z');
    scene.add(Primitive::Path(Box::new(kuva::render::render::PathData {
        d: path,
        fill: Some(Color::from(colour(band.style))),
        stroke: Color::from("none"),
        stroke_width: 0.0,
        opacity: Some(0.25),
        stroke_dasharray: None,
    })));
}

/// Rows for the numbered tags, so that close ones do not overlap.
fn tag_rows(marks: &[&Mark], figure: &Figure) -> Vec<usize> {
    let across = figure.across();
    let mut ends: Vec<f64> = Vec::new();
    marks
        .iter()
        .map(|mark| {
            let x = across.map(mark.at);
            let row = ends
                .iter()
                .position(|end| *end < x - 9.0)
                .unwrap_or(ends.len());
            match ends.get_mut(row) {
                Some(end) => *end = x + 9.0,
                None => ends.push(x + 9.0),
            }
            row
        })
        .collect()
}

fn draw_marks(
    scene: &mut Scene,
    marks: &[&Mark],
    rows: &[usize],
    across: &Axis,
    top: f64,
    bottom: f64,
) {
    for (index, (mark, row)) in marks.iter().zip(rows).enumerate() {
        let x = across.map(mark.at);
        let y = top - 9.0 - TAG_ROW * *row as f64;
        line(
            scene,
            (x, y + 6.0),
            (x, bottom),
            MIDDLE,
            0.9,
            Some("1.5,2.5"),
        );
        tag(scene, (x, y), index + 1);
    }
}

/// What the numbers mean, in two columns.
fn list_marks(scene: &mut Scene, marks: &[&Mark], top: f64) {
    let per_column = marks.len().div_ceil(2).max(1);
    for (index, mark) in marks.iter().enumerate() {
        let x = LEFT + (index / per_column) as f64 * 0.5 * (WIDTH - LEFT - 20.0);
        let y = top + 14.0 + (index % per_column) as f64 * 17.0;
        tag(scene, (x + 7.0, y - 4.0), index + 1);
        text(
            scene,
            x + 20.0,
            y,
            &mark.label,
            11,
            TextAnchor::Start,
            INK,
            false,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_at_one_place_take_rows_of_their_own() {
        let figure = Figure {
            x_range: (0.0, 1.0),
            marks: [0.1, 0.101, 0.5]
                .iter()
                .map(|at| Mark {
                    at: *at,
                    label: String::new(),
                })
                .collect(),
            ..Figure::default()
        };
        assert_eq!(tag_rows(&figure.marks_in_range(), &figure), vec![0, 1, 0]);
    }
}
