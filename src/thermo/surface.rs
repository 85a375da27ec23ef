//! The single-phase fluid, metastable states included, from a mosaic of polynomials.
//!
//! The residual Helmholtz energy alphar(delta, tau) is cut into rectangles of 0.025 in delta
//! (12 kg/m3) by 0.01 in tau (3 K at 300 K). Each is interpolated by a polynomial of degree seven in
//! both coordinates when a state in it is first asked for, and kept for all threads; every property
//! then follows from its derivatives as from the equation itself, so properties stay consistent
//! with each other. A rectangle that does not reproduce the equation's first derivatives within
//! [`FIRST_TOLERANCE`] and its second within [`SECOND_TOLERANCE`] at its test points - some
//! around the critical point - is left to the equation.

use std::sync::LazyLock;

use crate::numerics::interpolate::{Curves, Mosaic, Patch, PatchPoint, Place, TEST_POINTS};
use crate::thermo::FluidPoint;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::helmholtz::{Ideal, Reduced, ideal, residual, residual_value};

/// Largest error of delta alphar_delta and tau alphar_tau at a test point of a rectangle, as a share
/// of one plus their size.
pub const FIRST_TOLERANCE: f64 = 1e-8;
/// Largest error of the second derivatives, times delta^2, delta tau, tau^2, as a share of one plus
/// their size.
pub const SECOND_TOLERANCE: f64 = 1e-6;

const TAU_LOW: f64 = 0.27;
const TAU_SIZE: f64 = 0.01;
const TAU_CELLS: usize = 312;
const DELTA_SIZE: f64 = 0.025;
const DELTA_CELLS: usize = 108;

struct Surface {
    mosaic: Mosaic<1>,
    /// Ideal-gas part over each interval of tau.
    ideal: Vec<Curves<3>>,
}

static SURFACE: LazyLock<Surface> = LazyLock::new(|| {
    let mosaic = Mosaic::new(
        (TAU_LOW, 0.0),
        (TAU_SIZE, DELTA_SIZE),
        (TAU_CELLS, DELTA_CELLS),
    );
    let ideal = (0..TAU_CELLS).map(ideal_piece).collect();
    Surface { mosaic, ideal }
});

/// A single-phase point at a temperature [K] and density [kg/m3]; outside the mosaic (90 .. 1126 K,
/// up to 1262 kg/m3) and in rectangles left to it, from the equation.
#[must_use]
pub fn fluid(temperature: f64, density: f64) -> FluidPoint {
    let (delta, tau) = (
        density / co2::CRITICAL_DENSITY,
        co2::CRITICAL_TEMPERATURE / temperature,
    );
    let surface = &*SURFACE;
    let Some(place) = surface.mosaic.place(tau, delta) else {
        return FluidPoint::new(temperature, density);
    };
    match surface
        .mosaic
        .piece(&place, || patch(&surface.mosaic, &place))
    {
        Some([patch]) => {
            let residual = reduced(patch.at(place.x, place.y), delta, tau);
            let [value, t, tt] = surface.ideal[place.cell.0].at(place.x);
            let ideal = Ideal { value, t, tt };
            FluidPoint::from_parts(temperature, density, &ideal, &residual)
        }
        None => FluidPoint::new(temperature, density),
    }
}

/// The derivatives of a patch as those of the residual Helmholtz energy.
#[inline]
fn reduced(point: PatchPoint, delta: f64, tau: f64) -> Reduced {
    const X: f64 = 2.0 / TAU_SIZE;
    const Y: f64 = 2.0 / DELTA_SIZE;
    let (x, y) = (X * tau, Y * delta);
    Reduced {
        value: point.value,
        d: y * point.dy,
        t: x * point.dx,
        dd: y * y * point.dyy,
        dt: x * y * point.dxy,
        tt: x * x * point.dxx,
    }
}

fn patch(mosaic: &Mosaic<1>, place: &Place) -> Option<[Patch; 1]> {
    let patch = Patch::through(|x, y| {
        let (tau, delta) = mosaic.point(place, x, y);
        residual_value(delta, tau)
    });
    let good = TEST_POINTS.iter().all(|&(x, y)| {
        let (tau, delta) = mosaic.point(place, x, y);
        let (found, wanted) = (reduced(patch.at(x, y), delta, tau), residual(delta, tau));
        let near = |a: f64, b: f64, tolerance: f64| (a - b).abs() <= tolerance * (1.0 + b.abs());
        near(found.d, wanted.d, FIRST_TOLERANCE)
            && near(found.t, wanted.t, FIRST_TOLERANCE)
            && near(found.dd, wanted.dd, SECOND_TOLERANCE)
            && near(found.dt, wanted.dt, SECOND_TOLERANCE)
            && near(found.tt, wanted.tt, SECOND_TOLERANCE)
    });
    good.then_some([patch])
}

/// The ideal-gas part over one interval of tau: value, slope and curvature as in [`ideal`].
fn ideal_piece(cell: usize) -> Curves<3> {
    Curves::through(|x| {
        let part = ideal(TAU_LOW + TAU_SIZE * (cell as f64 + 0.5 * (x + 1.0)));
        [part.value, part.t, part.tt]
    })
}

/// How many rectangles the polynomials answer for, of how many asked for so far.
#[must_use]
pub fn filled() -> (usize, usize) {
    SURFACE.mosaic.filled()
}
