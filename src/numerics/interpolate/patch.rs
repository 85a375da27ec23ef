//! A polynomial of degree seven in each of two coordinates over a rectangle, through a function's
//! values at Chebyshev-Lobatto points.
//!
//! Neighbouring patches share the points of their common edge, hence the same polynomial along it:
//! a mosaic of patches is continuous, and its gradients agree to the order of the error. For a
//! smooth function the error falls with the eighth power of the patch size, that of a
//! second derivative with the sixth.

/// Points, and coefficients, in each direction.
pub const PATCH_POINTS: usize = 8;

/// Value and derivatives of a patch in its own coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchPoint {
    /// f.
    pub value: f64,
    /// df/dx.
    pub dx: f64,
    /// df/dy.
    pub dy: f64,
    /// d2f/dx2.
    pub dxx: f64,
    /// d2f/dx dy.
    pub dxy: f64,
    /// d2f/dy2.
    pub dyy: f64,
}

/// Places in a patch, off its own points, where it is held against what it stands for.
pub const TEST_POINTS: [(f64, f64); 5] = [
    (-0.93, 0.55),
    (0.0, 0.0),
    (0.93, 0.93),
    (0.55, -0.93),
    (-0.55, -0.55),
];

/// The same along one coordinate.
const TEST_PLACES: [f64; 5] = [-0.97, -0.6, 0.0, 0.6, 0.97];

/// One rectangle; both coordinates run from -1 to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Coefficient of x^i y^j at [j][i].
    coefficients: [[f64; PATCH_POINTS]; PATCH_POINTS],
}

/// The Chebyshev-Lobatto points in -1 .. 1, falling.
#[must_use]
pub fn patch_points() -> [f64; PATCH_POINTS] {
    std::array::from_fn(|k| (std::f64::consts::PI * k as f64 / (PATCH_POINTS - 1) as f64).cos())
}

impl Patch {
    /// Through `function(x, y)` at the points of both directions.
    #[must_use]
    pub fn through(mut function: impl FnMut(f64, f64) -> f64) -> Self {
        let points = patch_points();
        let mut coefficients = [[0.0; PATCH_POINTS]; PATCH_POINTS];
        for (row, &y) in coefficients.iter_mut().zip(&points) {
            *row = monomials(&points.map(|x| function(x, y)));
        }
        for i in 0..PATCH_POINTS {
            let column = monomials(&std::array::from_fn(|j| coefficients[j][i]));
            for (row, value) in coefficients.iter_mut().zip(column) {
                row[i] = value;
            }
        }
        Self { coefficients }
    }

    /// One patch for each of `K` functions that are known together; `None` if they are not
    /// everywhere.
    #[must_use]
    pub fn through_each<const K: usize>(
        functions: &impl Fn(f64, f64) -> Option<[f64; K]>,
    ) -> Option<[Self; K]> {
        let points = patch_points();
        let mut values = Vec::with_capacity(PATCH_POINTS * PATCH_POINTS);
        for &y in &points {
            for &x in &points {
                values.push(functions(x, y)?);
            }
        }
        Some(std::array::from_fn(|k| {
            let mut known = values.iter();
            Self::through(|_, _| known.next().map_or(0.0, |value| value[k]))
        }))
    }

    /// One patch for each of `K` functions of the first coordinate alone, kept only where they are within
    /// a relative `tolerance` of the functions at places off their own points; `None` if the functions
    /// are not known everywhere.
    #[must_use]
    pub fn along_each_within<const K: usize>(
        functions: &impl Fn(f64) -> Option<[f64; K]>,
        tolerance: f64,
    ) -> Option<[Self; K]> {
        let mut values = [[0.0; PATCH_POINTS]; K];
        for (i, x) in patch_points().into_iter().enumerate() {
            for (row, value) in values.iter_mut().zip(functions(x)?) {
                row[i] = value;
            }
        }
        let patches = values.map(|row| {
            let mut coefficients = [[0.0; PATCH_POINTS]; PATCH_POINTS];
            coefficients[0] = monomials(&row);
            Self { coefficients }
        });
        let along = TEST_PLACES.map(|x| (x, 0.0));
        within(&patches, &|x, _| functions(x), &along, tolerance).then_some(patches)
    }

    /// [`through_each`](Self::through_each), kept only where the patches are within a relative
    /// `tolerance` of the functions at every one of [`TEST_POINTS`].
    #[must_use]
    pub fn through_each_within<const K: usize>(
        functions: &impl Fn(f64, f64) -> Option<[f64; K]>,
        tolerance: f64,
    ) -> Option<[Self; K]> {
        let patches = Self::through_each(functions)?;
        within(&patches, functions, &TEST_POINTS, tolerance).then_some(patches)
    }

    /// Value at (x, y).
    #[inline]
    #[must_use]
    pub fn value(&self, x: f64, y: f64) -> f64 {
        let mut rows = [0.0; PATCH_POINTS];
        for row in self.coefficients.iter().rev() {
            for (sum, coefficient) in rows.iter_mut().zip(row) {
                *sum = *sum * y + coefficient;
            }
        }
        rows.iter().rev().fold(0.0, |sum, row| sum * x + row)
    }

    /// Value at (x, 0): all there is of a patch made [`along`](Self::along_each_within) one coordinate.
    #[inline]
    #[must_use]
    pub fn along(&self, x: f64) -> f64 {
        let row = &self.coefficients[0];
        row.iter().rev().fold(0.0, |sum, c| sum * x + c)
    }

    /// Value and derivatives at (x, y).
    #[inline]
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> PatchPoint {
        // Horner in y for every power of x at once, with the first two derivatives.
        let mut value = self.coefficients[PATCH_POINTS - 1];
        let mut slope = [0.0; PATCH_POINTS];
        let mut bend = [0.0; PATCH_POINTS];
        for row in self.coefficients[..PATCH_POINTS - 1].iter().rev() {
            for i in 0..PATCH_POINTS {
                bend[i] = bend[i] * y + slope[i];
                slope[i] = slope[i] * y + value[i];
                value[i] = value[i] * y + row[i];
            }
        }
        let (f, dx, half_dxx) = horner(&value, x);
        let (dy, dxy, _) = horner(&slope, x);
        let (half_dyy, _, _) = horner(&bend, x);
        PatchPoint {
            value: f,
            dx,
            dy,
            dxx: 2.0 * half_dxx,
            dxy,
            dyy: 2.0 * half_dyy,
        }
    }
}

/// Whether patches are within a relative `tolerance` of what they stand for at every test point.
fn within<const K: usize>(
    patches: &[Patch; K],
    functions: &impl Fn(f64, f64) -> Option<[f64; K]>,
    test_points: &[(f64, f64)],
    tolerance: f64,
) -> bool {
    test_points.iter().all(|&(x, y)| {
        functions(x, y).is_some_and(|wanted| {
            let mut pairs = patches.iter().zip(wanted);
            pairs.all(|(patch, wanted)| {
                (patch.value(x, y) - wanted).abs() <= tolerance * wanted.abs()
            })
        })
    })
}

/// Value, first derivative and half the second derivative of a polynomial in `x`.
#[inline]
fn horner(coefficients: &[f64; PATCH_POINTS], x: f64) -> (f64, f64, f64) {
    let (mut value, mut slope, mut bend) = (0.0, 0.0, 0.0);
    for c in coefficients.iter().rev() {
        bend = bend * x + slope;
        slope = slope * x + value;
        value = value * x + c;
    }
    (value, slope, bend)
}

/// Coefficients of the polynomial through values at the [`patch_points`], constant first, by Newton's divided differences.
#[must_use]
pub fn monomials(values: &[f64; PATCH_POINTS]) -> [f64; PATCH_POINTS] {
    let points = patch_points();
    let mut difference = *values;
    for order in 1..PATCH_POINTS {
        for k in (order..PATCH_POINTS).rev() {
            difference[k] = (difference[k] - difference[k - 1]) / (points[k] - points[k - order]);
        }
    }
    // Multiply out from the innermost bracket.
    let mut result = [0.0; PATCH_POINTS];
    for k in (0..PATCH_POINTS).rev() {
        for i in (1..PATCH_POINTS).rev() {
            result[i] = result[i - 1] - points[k] * result[i];
        }
        result[0] = difference[k] - points[k] * result[0];
    }
    result
}
