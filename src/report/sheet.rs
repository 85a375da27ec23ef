//! Several pictures under each other on one page: figures with axes, bars with whiskers.

use kuva::render::render::{Scene, TextAnchor};

use super::axis::Axis;
use super::brush::{FAINT, INK, colour, frame, line, rectangle, text};
use super::figure::{Figure, LEFT, RIGHT, WIDTH, headline, page};

/// Height of one bar with its gap [px].
const ROW: f64 = 24.0;
/// Where bars start: their names stand to the left [px].
const START: f64 = 330.0;

/// A bar from zero, with the interval of its length.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// Name, to the left.
    pub label: String,
    /// Length, in the unit of the axis.
    pub value: f64,
    /// Interval of the length.
    pub interval: Option<(f64, f64)>,
    /// A second, slimmer bar in front.
    pub inner: Option<f64>,
    /// Note, to the right.
    pub note: String,
    /// Which colour.
    pub style: usize,
}

/// Bars over one axis.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bars {
    /// Title.
    pub title: String,
    /// Lines below the title.
    pub subtitle: Vec<String>,
    /// What the axis shows, with unit.
    pub label: String,
    /// End of the axis at the most, where longer bars make no sense.
    pub most: Option<f64>,
    /// Bars, top to bottom.
    pub bars: Vec<Bar>,
}

/// One picture of a page.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// Panels over an axis.
    Figure(Figure),
    /// Bars.
    Bars(Bars),
}

/// Pictures under each other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sheet {
    /// Title of the page.
    pub title: String,
    /// Lines below it.
    pub subtitle: Vec<String>,
    /// Pictures, top to bottom.
    pub blocks: Vec<Block>,
}

impl Sheet {
    /// The page as a drawing.
    #[must_use]
    pub fn draw(&self) -> Scene {
        let head = 41.0 + 17.0 * self.subtitle.len() as f64;
        let height = head + self.blocks.iter().map(Block::height).sum::<f64>();
        let mut scene = page(WIDTH, height);
        headline(&mut scene, 0.0, &self.title, &self.subtitle);
        let mut top = head;
        for block in &self.blocks {
            match block {
                Block::Figure(figure) => figure.draw_at(&mut scene, top),
                Block::Bars(bars) => bars.draw_at(&mut scene, top),
            }
            top += block.height();
        }
        scene
    }
}

impl Block {
    fn height(&self) -> f64 {
        match self {
            Block::Figure(figure) => figure.height(),
            Block::Bars(bars) => bars.height(),
        }
    }
}

impl Bars {
    fn height(&self) -> f64 {
        41.0 + 17.0 * self.subtitle.len() as f64 + ROW * self.bars.len() as f64 + 52.0
    }

    fn draw_at(&self, scene: &mut Scene, origin: f64) {
        headline(scene, origin, &self.title, &self.subtitle);
        let top = origin + 41.0 + 17.0 * self.subtitle.len() as f64;
        let bottom = top + ROW * self.bars.len() as f64;
        let right = WIDTH - RIGHT;
        let reach = self
            .bars
            .iter()
            .flat_map(|bar| [bar.value, bar.interval.map_or(0.0, |(_, high)| high)])
            .filter(|value| value.is_finite())
            .fold(0.0, f64::max);
        let reach = reach.min(self.most.unwrap_or(f64::INFINITY));
        let reach = if reach > 0.0 { reach } else { 1.0 };
        let across = Axis::rounded(0.0, reach, START, right - START, 5);
        for tick in across.ticks() {
            let x = across.map(tick);
            line(scene, (x, top), (x, bottom), FAINT, 0.7, None);
            line(scene, (x, bottom), (x, bottom + 4.0), INK, 1.0, None);
            let label = across.write(tick);
            text(
                scene,
                x,
                bottom + 17.0,
                &label,
                11,
                TextAnchor::Middle,
                INK,
                false,
            );
        }
        for (index, bar) in self.bars.iter().enumerate() {
            bar.draw(scene, &across, top + ROW * index as f64);
        }
        frame(scene, (START, top), (right, bottom));
        let middle = 0.5 * (START + right);
        text(
            scene,
            middle,
            bottom + 36.0,
            &self.label,
            12,
            TextAnchor::Middle,
            INK,
            false,
        );
    }
}

impl Bar {
    fn draw(&self, scene: &mut Scene, across: &Axis, top: f64) {
        let middle = top + 0.5 * ROW;
        let inside = |value: f64| across.map(value.clamp(across.low, across.high));
        let zero = across.map(0.0);
        let width = (inside(self.value) - zero).max(0.0);
        rectangle(
            scene,
            (zero, top + 4.0),
            (width, ROW - 8.0),
            colour(self.style),
            0.45,
        );
        if let Some(inner) = self.inner {
            let width = (inside(inner) - zero).max(0.0);
            rectangle(
                scene,
                (zero, top + 8.0),
                (width, ROW - 16.0),
                colour(self.style),
                1.0,
            );
        }
        if let Some((low, high)) = self.interval {
            let (low, high) = (inside(low), inside(high));
            line(scene, (low, middle), (high, middle), INK, 1.2, None);
            for x in [low, high] {
                line(scene, (x, middle - 4.0), (x, middle + 4.0), INK, 1.2, None);
            }
        }
        text(
            scene,
            START - 8.0,
            middle + 4.0,
            &shortened(&self.label),
            11,
            TextAnchor::End,
            INK,
            false,
        );
        text(
            scene,
            WIDTH - RIGHT + 6.0,
            middle + 4.0,
            &self.note,
            11,
            TextAnchor::Start,
            INK,
            false,
        );
    }
}

/// A name that fits beside its bar: the end of a path says more than its start.
fn shortened(label: &str) -> String {
    const MOST: usize = 38;
    let count = label.chars().count();
    if count <= MOST || START <= LEFT {
        return label.to_owned();
    }
    let tail: String = label.chars().skip(count - MOST + 3).collect();
    format!("...{tail}")
}
