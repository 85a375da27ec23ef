//! Several pictures under each other on one page: figures with axes, bars with whiskers, maps.

use kuva::render::render::{Scene, TextAnchor};

use super::axis::Axis;
use super::brush::{
    FAINT, INK, colour, frame, line, polyline, rectangle, text, ticks_below, ticks_beside, upright,
};
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
    /// A map of shares.
    Map(CellMap),
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
                Block::Map(map) => map.draw_at(&mut scene, top),
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
            Block::Map(map) => map.height(),
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
        }
        ticks_below(scene, &across, bottom);
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

/// One cell of a map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Centre along the horizontal axis.
    pub x: f64,
    /// Centre along the vertical axis.
    pub y: f64,
    /// Share that decides the shade, 0 to 1; `None` for no value.
    pub share: Option<f64>,
    /// Whether a cross marks it.
    pub crossed: bool,
}

/// Lines across a map.
#[derive(Debug, Clone, PartialEq)]
pub struct Border {
    /// Name in the legend.
    pub label: String,
    /// Lines, each through points (x, y).
    pub lines: Vec<Vec<(f64, f64)>>,
    /// Which colour and dash.
    pub style: usize,
}

/// Shares over two values, in steps of shade that also print.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CellMap {
    /// What the horizontal axis shows.
    pub x_label: String,
    /// What the vertical axis shows.
    pub y_label: String,
    /// What the shades show.
    pub legend: String,
    /// What a cross means.
    pub crossed: String,
    /// Cells on a grid.
    pub cells: Vec<Cell>,
    /// Lines across them.
    pub borders: Vec<Border>,
}

/// Least share of each shade, its colour and its name.
const SHADES: [(f64, &str, &str); 6] = [
    (0.99, "#ffffff", "99 % or more"),
    (0.95, "#d7e8f2", "95 to 99 %"),
    (0.80, "#9cc4de", "80 to 95 %"),
    (0.50, "#5b94bd", "50 to 80 %"),
    (0.10, "#2f6690", "10 to 50 %"),
    (f64::NEG_INFINITY, "#16324f", "under 10 %"),
];
/// Shade of a cell without a value.
const NO_VALUE: &str = "#bdbdbd";
/// Height of a map [px].
const MAP_HEIGHT: f64 = 420.0;

impl CellMap {
    fn height(&self) -> f64 {
        MAP_HEIGHT + 80.0
    }

    fn draw_at(&self, scene: &mut Scene, origin: f64) {
        let (top, bottom) = (origin + 16.0, origin + 16.0 + MAP_HEIGHT);
        let right = WIDTH - RIGHT;
        let (columns, rows) = (
            centres(self.cells.iter().map(|cell| cell.x)),
            centres(self.cells.iter().map(|cell| cell.y)),
        );
        let ((low, high), (least, most)) = (reach(&columns), reach(&rows));
        let across = Axis::new(low, high, LEFT, right - LEFT, 8);
        let up = Axis::new(least, most, bottom, -MAP_HEIGHT, 8);
        for cell in &self.cells {
            let shade = cell.share.map_or(NO_VALUE, |share| {
                SHADES
                    .iter()
                    .find(|(least, _, _)| share >= *least)
                    .map_or(NO_VALUE, |(_, colour, _)| colour)
            });
            let ((left, right), (under, over)) = (around(&columns, cell.x), around(&rows, cell.y));
            let (x0, x1) = (across.map(left), across.map(right));
            let (y0, y1) = (up.map(over), up.map(under));
            rectangle(scene, (x0, y0), (x1 - x0, y1 - y0), shade, 1.0);
            if cell.crossed {
                let (x, y) = (across.map(cell.x), up.map(cell.y));
                line(
                    scene,
                    (x - 4.0, y - 4.0),
                    (x + 4.0, y + 4.0),
                    "#d55e00",
                    1.8,
                    None,
                );
                line(
                    scene,
                    (x - 4.0, y + 4.0),
                    (x + 4.0, y - 4.0),
                    "#d55e00",
                    1.8,
                    None,
                );
            }
        }
        for border in &self.borders {
            for points in &border.lines {
                let points: Vec<_> = points
                    .iter()
                    .map(|(x, y)| (across.map(*x), up.map(*y)))
                    .collect();
                polyline(scene, &points, border.style, 2.2);
            }
        }
        frame(scene, (LEFT, top), (right, bottom));
        ticks_below(scene, &across, bottom);
        ticks_beside(scene, &up, LEFT);
        let middle = 0.5 * (LEFT + right);
        text(
            scene,
            middle,
            bottom + 36.0,
            &self.x_label,
            12,
            TextAnchor::Middle,
            INK,
            false,
        );
        upright(scene, 18.0, 0.5 * (top + bottom), &self.y_label);
        self.draw_legend(scene, right + 8.0, top);
    }

    fn draw_legend(&self, scene: &mut Scene, x: f64, top: f64) {
        text(
            scene,
            x,
            top + 4.0,
            &self.legend,
            11,
            TextAnchor::Start,
            INK,
            true,
        );
        let mut y = top + 22.0;
        let none = (f64::NAN, NO_VALUE, "no valid design");
        for (_, colour, name) in SHADES.iter().chain([&none]) {
            rectangle(scene, (x, y - 8.0), (20.0, 12.0), colour, 1.0);
            frame(scene, (x, y - 8.0), (x + 20.0, y + 4.0));
            text(
                scene,
                x + 26.0,
                y + 2.0,
                name,
                11,
                TextAnchor::Start,
                INK,
                false,
            );
            y += 18.0;
        }
        line(
            scene,
            (x + 6.0, y - 6.0),
            (x + 14.0, y + 2.0),
            "#d55e00",
            1.8,
            None,
        );
        line(
            scene,
            (x + 6.0, y + 2.0),
            (x + 14.0, y - 6.0),
            "#d55e00",
            1.8,
            None,
        );
        text(
            scene,
            x + 26.0,
            y + 2.0,
            &self.crossed,
            11,
            TextAnchor::Start,
            INK,
            false,
        );
        for border in self
            .borders
            .iter()
            .filter(|border| !border.lines.is_empty())
        {
            y += 18.0;
            polyline(
                scene,
                &[(x, y - 2.0), (x + 20.0, y - 2.0)],
                border.style,
                2.2,
            );
            text(
                scene,
                x + 26.0,
                y + 2.0,
                &border.label,
                11,
                TextAnchor::Start,
                INK,
                false,
            );
        }
    }
}

/// Distinct values, ascending.
fn centres(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut found: Vec<f64> = values.collect();
    found.sort_by(f64::total_cmp);
    found.dedup();
    found
}

/// Ends of the cell around one of some centres: half way to its neighbours, or as far as on the
/// other side.
fn around(centres: &[f64], centre: f64) -> (f64, f64) {
    let place = centres.partition_point(|other| *other < centre);
    let below = place.checked_sub(1).and_then(|place| centres.get(place));
    let above = centres.get(place + 1);
    let half = |other: Option<&f64>| other.map(|other| 0.5 * (other - centre).abs());
    let (below, above) = (half(below), half(above));
    let reach = |own: Option<f64>, other: Option<f64>| own.or(other).unwrap_or(0.5);
    (centre - reach(below, above), centre + reach(above, below))
}

/// Ends of the cells around some centres.
fn reach(centres: &[f64]) -> (f64, f64) {
    let end = |centre: Option<&f64>| centre.map_or((0.0, 1.0), |c| around(centres, *c));
    (end(centres.first()).0, end(centres.last()).1)
}
