//! A rectangle of [`Patch`]es, each made when a point in it is first asked for and kept for all
//! threads. What a patch holds does not depend on who asked first, so neither do results.

use std::sync::OnceLock;

use super::Patch;

/// One piece of a mosaic: a patch for each of `K` functions, or nothing where none is good enough.
type Piece<const K: usize> = OnceLock<Option<Box<[Patch; K]>>>;

/// Cells of equal size from a corner, `K` functions on each.
#[derive(Debug)]
pub struct Mosaic<const K: usize> {
    corner: (f64, f64),
    size: (f64, f64),
    count: (usize, usize),
    pieces: Vec<Piece<K>>,
}

/// A cell, and where in it a point lies: both coordinates from -1 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Column and row of the cell.
    pub cell: (usize, usize),
    /// First coordinate in it.
    pub x: f64,
    /// Second coordinate in it.
    pub y: f64,
}

impl<const K: usize> Mosaic<K> {
    /// An empty mosaic of `count` cells of `size` from `corner` on.
    #[must_use]
    pub fn new(corner: (f64, f64), size: (f64, f64), count: (usize, usize)) -> Self {
        Self {
            corner,
            size,
            count,
            pieces: (0..count.0 * count.1).map(|_| Piece::new()).collect(),
        }
    }

    /// The cell that a point lies in; `None` outside.
    #[inline]
    #[must_use]
    pub fn place(&self, x: f64, y: f64) -> Option<Place> {
        let x = (x - self.corner.0) / self.size.0;
        let y = (y - self.corner.1) / self.size.1;
        let inside = x >= 0.0 && y >= 0.0 && x < self.count.0 as f64 && y < self.count.1 as f64;
        inside.then(|| {
            let cell = (x as usize, y as usize);
            Place {
                cell,
                x: 2.0 * (x - cell.0 as f64) - 1.0,
                y: 2.0 * (y - cell.1 as f64) - 1.0,
            }
        })
    }

    /// The point at coordinates (x, y) of the cell of `place`.
    #[must_use]
    pub fn point(&self, place: &Place, x: f64, y: f64) -> (f64, f64) {
        (
            self.corner.0 + self.size.0 * (place.cell.0 as f64 + 0.5 * (x + 1.0)),
            self.corner.1 + self.size.1 * (place.cell.1 as f64 + 0.5 * (y + 1.0)),
        )
    }

    /// The patches of a cell, made by `make` at the first call; `None` where that made none.
    #[inline]
    pub fn piece(
        &self,
        place: &Place,
        make: impl FnOnce() -> Option<[Patch; K]>,
    ) -> Option<&[Patch; K]> {
        let piece = self
            .pieces
            .get(place.cell.0 * self.count.1 + place.cell.1)?;
        piece.get_or_init(|| make().map(Box::new)).as_deref()
    }

    /// How many cells have patches, of how many asked for so far.
    #[must_use]
    pub fn filled(&self) -> (usize, usize) {
        let asked = self.pieces.iter().filter_map(OnceLock::get);
        asked.fold((0, 0), |(good, all), piece| {
            (good + usize::from(piece.is_some()), all + 1)
        })
    }
}
