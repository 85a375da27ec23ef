//! The strokes a figure is made of.

use kuva::render::color::Color;
use kuva::render::render::{Primitive, Scene, TextAnchor};

use super::axis::Axis;

/// Colours in the order in which curves take them.
pub const COLOURS: [&str; 7] = [
    "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#000000", "#56b4e9", "#e69f00",
];
const DASHES: [Option<&[f64]>; 4] = [
    None,
    Some(&[8.0, 3.5]),
    Some(&[10.0, 3.0, 2.5, 3.0]),
    Some(&[3.0, 2.5]),
];

pub(super) const INK: &str = "#1a1a1a";
pub(super) const FAINT: &str = "#d9d9d9";
pub(super) const MIDDLE: &str = "#7f7f7f";

pub(super) fn colour(style: usize) -> &'static str {
    COLOURS.get(style % COLOURS.len()).copied().unwrap_or(INK)
}

fn dash(style: usize) -> Option<&'static [f64]> {
    DASHES.get(style % DASHES.len()).copied().flatten()
}

/// A polyline cut into dashes that run on across its points, whatever draws it.
fn dashes(points: &[(f64, f64)], pattern: Option<&[f64]>) -> Vec<Vec<(f64, f64)>> {
    let (Some(pattern), Some(first)) = (pattern, points.first()) else {
        return vec![points.to_vec()];
    };
    let mut pieces = Vec::new();
    let mut piece = vec![*first];
    let mut lengths = pattern.iter().copied().cycle();
    let mut left = lengths.next().unwrap_or(f64::INFINITY);
    let mut drawing = true;
    for pair in points.windows(2) {
        let &[mut from, to] = pair else { continue };
        let mut length = (to.0 - from.0).hypot(to.1 - from.1);
        while length > left {
            let share = left / length;
            from = (
                from.0 + share * (to.0 - from.0),
                from.1 + share * (to.1 - from.1),
            );
            length -= left;
            if drawing {
                piece.push(from);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece = vec![from];
            }
            drawing = !drawing;
            left = lengths.next().unwrap_or(f64::INFINITY);
        }
        left -= length;
        if drawing {
            piece.push(to);
        }
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

/// A line through points with the colour and dash of a style.
pub(super) fn polyline(scene: &mut Scene, points: &[(f64, f64)], style: usize, width: f64) {
    for points in dashes(points, dash(style)) {
        scene.add(Primitive::PolyLine {
            points,
            stroke: Color::from(colour(style)),
            stroke_width: width,
            stroke_dasharray: None,
        });
    }
}

/// A numbered circle.
pub(super) fn tag(scene: &mut Scene, at: (f64, f64), number: usize) {
    scene.add(Primitive::Circle {
        cx: at.0,
        cy: at.1,
        r: 7.0,
        fill: Color::from("#ffffff"),
        fill_opacity: None,
        stroke: Some(Color::from(INK)),
        stroke_width: Some(0.9),
    });
    let label = number.to_string();
    text(
        scene,
        at.0,
        at.1 + 3.3,
        &label,
        9,
        TextAnchor::Middle,
        INK,
        false,
    );
}

pub(super) fn line(
    scene: &mut Scene,
    from: (f64, f64),
    to: (f64, f64),
    colour: &str,
    width: f64,
    dash: Option<&str>,
) {
    scene.add(Primitive::Line {
        x1: from.0,
        y1: from.1,
        x2: to.0,
        y2: to.1,
        stroke: Color::from(colour),
        stroke_width: width,
        stroke_dasharray: dash.map(str::to_owned),
    });
}

pub(super) fn rectangle(
    scene: &mut Scene,
    at: (f64, f64),
    size: (f64, f64),
    colour: &str,
    opacity: f64,
) {
    scene.add(Primitive::Rect {
        x: at.0,
        y: at.1,
        width: size.0,
        height: size.1,
        fill: Color::from(colour),
        stroke: None,
        stroke_width: None,
        opacity: Some(opacity),
    });
}

pub(super) fn frame(scene: &mut Scene, corner: (f64, f64), opposite: (f64, f64)) {
    let (left, top) = corner;
    let (right, bottom) = opposite;
    for (from, to) in [
        ((left, top), (right, top)),
        ((right, top), (right, bottom)),
        ((right, bottom), (left, bottom)),
        ((left, bottom), (left, top)),
    ] {
        line(scene, from, to, INK, 1.0, None);
    }
}

#[allow(clippy::too_many_arguments)] // a text is its place, size, anchor, colour and weight
pub(super) fn text(
    scene: &mut Scene,
    x: f64,
    y: f64,
    content: &str,
    size: u32,
    anchor: TextAnchor,
    colour: &str,
    bold: bool,
) {
    scene.add(Primitive::Text {
        x,
        y,
        content: content.to_owned(),
        size,
        anchor,
        rotate: None,
        bold,
        color: Some(Color::from(colour)),
    });
}

/// The name of a vertical axis, read from below.
pub(super) fn upright(scene: &mut Scene, x: f64, y: f64, content: &str) {
    scene.add(Primitive::Text {
        x,
        y,
        content: content.to_owned(),
        size: 12,
        anchor: TextAnchor::Middle,
        rotate: Some(-90.0),
        bold: false,
        color: Some(Color::from(INK)),
    });
}

/// Ticks below a horizontal axis, with their numbers.
pub(super) fn ticks_below(scene: &mut Scene, across: &Axis, bottom: f64) {
    let middle = TextAnchor::Middle;
    for tick in across.ticks() {
        let x = across.map(tick);
        line(scene, (x, bottom), (x, bottom + 4.0), INK, 1.0, None);
        let label = across.write(tick);
        text(scene, x, bottom + 17.0, &label, 11, middle, INK, false);
    }
}

/// Ticks beside a vertical axis, with their numbers.
pub(super) fn ticks_beside(scene: &mut Scene, up: &Axis, left: f64) {
    let end = TextAnchor::End;
    for tick in up.ticks() {
        let y = up.map(tick);
        line(scene, (left - 4.0, y), (left, y), INK, 1.0, None);
        let label = up.write(tick);
        text(scene, left - 8.0, y + 4.0, &label, 11, end, INK, false);
    }
}
