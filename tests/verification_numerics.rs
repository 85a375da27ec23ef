//! Verification of roots, maxima, interpolation and linear systems against closed forms.

use coldkick::numerics::interpolate::{
    BicubicNode, BicubicSurface, CubicHermite, InterpolateError, LinearTable, UniformCubicHermite,
    UniformGrid, UniformQuinticHermite, monotone_slopes,
};
use coldkick::numerics::linear::{self, LinearError};
use coldkick::numerics::roots::{self, Ends, RootError, Tolerance};
use proptest::prelude::*;
use std::convert::Infallible;

fn exact() -> Tolerance {
    Tolerance {
        x_absolute: 1e-15,
        x_relative: 0.0,
        ..Tolerance::default()
    }
}

type Plain = fn(f64) -> f64;
type Function = fn(f64) -> (f64, f64);

/// Functions with their derivatives, brackets and roots; several defeat plain Newton or the secant.
fn problems() -> Vec<(Function, f64, f64, f64)> {
    vec![
        (|x| (x * x - 2.0, 2.0 * x), 0.0, 2.0, 2.0_f64.sqrt()),
        (
            |x| (x.cos() - x, -x.sin() - 1.0),
            0.0,
            1.0,
            0.739_085_133_215_160_6,
        ),
        // Newton from most points diverges.
        (|x| (x.atan(), 1.0 / (1.0 + x * x)), -40.0, 90.0, 0.0),
        // Infinite slope at the root.
        (
            |x| ((x - 0.3).cbrt(), (x - 0.3).cbrt().powi(-2) / 3.0),
            -1.0,
            7.0,
            0.3,
        ),
        // A step between two plateaus.
        (
            |x| {
                (
                    (1e3 * (x - 0.7)).tanh(),
                    1e3 / (1e3 * (x - 0.7)).cosh().powi(2),
                )
            },
            0.0,
            1.0,
            0.7,
        ),
        (
            |x| (1e-8 - (-x).exp(), (-x).exp()),
            0.0,
            100.0,
            8.0 * std::f64::consts::LN_10,
        ),
    ]
}

#[test]
fn newton_and_brent_find_known_roots() {
    for (k, (function, lower, upper, root)) in problems().into_iter().enumerate() {
        let rising = function(lower).0 < 0.0;
        let known = if rising { Ends::Rising } else { Ends::Falling };
        for ends in [Ends::Evaluate, known] {
            for guess in [lower, upper, 0.9 * lower + 0.1 * upper, f64::NAN] {
                let found = roots::newton(
                    |x| Ok::<_, Infallible>(function(x)),
                    lower,
                    upper,
                    guess,
                    ends,
                    &exact(),
                )
                .unwrap();
                assert!(
                    (found.x - root).abs() < 4e-15 * (1.0 + root.abs()),
                    "{k}: {found:?}"
                );
            }
        }
        let found = roots::brent(
            |x| Ok::<_, Infallible>(function(x).0),
            lower,
            upper,
            &exact(),
        )
        .unwrap();
        assert!(
            (found.x - root).abs() < 4e-15 * (1.0 + root.abs()),
            "{k}: {found:?}"
        );
        assert!(found.lower <= found.x && found.x <= found.upper);
        assert!(found.iterations < 80, "{k}: {found:?}");
    }
}

/// On a smooth function Newton is quadratic: the square root of two in at most seven evaluations.
#[test]
fn newton_is_fast() {
    let found = roots::newton(
        |x| Ok::<_, Infallible>((x * x - 2.0, 2.0 * x)),
        0.5,
        4.0,
        1.0,
        Ends::Rising,
        &exact(),
    )
    .unwrap();
    assert!(found.iterations <= 7, "{found:?}");
}

#[test]
fn roots_report_what_went_wrong() {
    let square = |x: f64| Ok::<_, Infallible>((x * x + 1.0, 2.0 * x));
    let tolerance = Tolerance::default();
    let error = roots::newton(square, -1.0, 3.0, 0.5, Ends::Evaluate, &tolerance).unwrap_err();
    assert!(matches!(
        error,
        RootError::NoSignChange {
            value_lower: 2.0,
            value_upper: 10.0,
            ..
        }
    ));
    // A false promise about the ends is found out.
    let line = |x: f64| Ok::<_, Infallible>((x + 5.0, 1.0));
    for ends in [Ends::Rising, Ends::Falling] {
        let error = roots::newton(line, -1.0, 3.0, 0.5, ends, &tolerance).unwrap_err();
        assert!(matches!(error, RootError::NoSignChange { .. }), "{error}");
    }
    // A root exactly at an end is found, promised or not.
    let line = |x: f64| Ok::<_, Infallible>((x + 1.0, 1.0));
    for ends in [Ends::Rising, Ends::Evaluate] {
        let root = roots::newton(line, -1.0, 3.0, 0.5, ends, &tolerance).unwrap();
        assert_eq!(root.x, -1.0);
    }
    let error = roots::brent(|x: f64| Ok::<_, Infallible>(x.exp()), -1.0, 3.0, &tolerance);
    assert!(matches!(error, Err(RootError::NoSignChange { .. })));
    let error = roots::brent(|x: f64| Ok::<_, Infallible>(x), 3.0, -1.0, &tolerance);
    assert!(matches!(
        error,
        Err(RootError::Bracket {
            lower: 3.0,
            upper: -1.0
        })
    ));
    let few = Tolerance {
        max_iterations: 6,
        ..exact()
    };
    let error = roots::brent(|x: f64| Ok::<_, Infallible>(x.atan()), -40.0, 90.0, &few);
    let Err(RootError::Iterations {
        lower,
        upper,
        iterations: 6,
        ..
    }) = error
    else {
        panic!("{error:?}");
    };
    assert!(lower <= 0.0 && upper >= 0.0);
    let error = roots::brent(
        |x: f64| if x < 1.0 { Ok(x) } else { Err("bad") },
        -1.0,
        3.0,
        &few,
    );
    assert!(matches!(
        error,
        Err(RootError::Function {
            source: "bad",
            at: 3.0,
            ..
        })
    ));
    let error = roots::brent(|x: f64| Ok::<_, Infallible>(x.sqrt()), -1.0, 3.0, &few);
    assert!(matches!(error, Err(RootError::NotANumber { at: -1.0, .. })));
}

#[test]
fn maxima_of_known_functions() {
    let tolerance = Tolerance {
        x_absolute: 1e-9,
        ..Tolerance::default()
    };
    let cases: [(Plain, f64, f64, f64); 4] = [
        (f64::sin, 0.0, 3.0, std::f64::consts::FRAC_PI_2),
        (|x| x * (-x).exp(), 0.0, 20.0, 1.0),
        // A kink, as where the flow law changes at a phase boundary.
        (|x| -(x - 0.3).abs(), -1.0, 2.0, 0.3),
        // At an end.
        (|x| x, 0.0, 1.0, 1.0),
    ];
    for (function, lower, upper, at) in cases {
        let found = roots::maximise(
            |x| Ok::<_, Infallible>(function(x)),
            lower,
            upper,
            &tolerance,
        )
        .unwrap();
        assert!((found.x - at).abs() < 1e-7, "{found:?} not {at}");
        assert_eq!(found.value, function(found.x));
        assert!(found.iterations < 60, "{found:?}");
    }
}

/// Observed order of the largest error at ten times as many points as cells.
fn order(error: impl Fn(usize) -> f64) -> f64 {
    (error(20) / error(40)).log2()
}

fn largest(lower: f64, upper: f64, difference: impl Fn(f64) -> f64) -> f64 {
    (0..=997)
        .map(|k| difference(lower + (upper - lower) * f64::from(k) / 997.0).abs())
        .fold(0.0, f64::max)
}

fn wave(x: f64) -> [f64; 3] {
    let e = (0.3 * x).exp();
    let (s, c) = (2.0 * x).sin_cos();
    [e * s, e * (0.3 * s + 2.0 * c), e * (1.2 * c - 3.91 * s)]
}

fn at_nodes(grid: &UniformGrid, k: usize) -> Vec<f64> {
    (0..grid.nodes()).map(|i| wave(grid.node(i))[k]).collect()
}

#[test]
fn interpolation_orders() {
    let quintic = |cells: usize| {
        let grid = UniformGrid::new(-1.0, 2.0, cells + 1).unwrap();
        let y: Vec<_> = (0..3).map(|k| at_nodes(&grid, k)).collect();
        UniformQuinticHermite::new(grid, &y[0], &y[1], &y[2]).unwrap()
    };
    let cubic = |cells: usize| {
        let grid = UniformGrid::new(-1.0, 2.0, cells + 1).unwrap();
        UniformCubicHermite::new(grid, &at_nodes(&grid, 0), &at_nodes(&grid, 1)).unwrap()
    };
    // Nodes crowding to one side.
    let uneven = |cells: usize| {
        let x: Vec<f64> = (0..=cells)
            .map(|i| 3.0 * (i as f64 / cells as f64).powi(2) - 1.0)
            .collect();
        let y: Vec<f64> = x.iter().map(|&x| wave(x)[0]).collect();
        let slopes: Vec<f64> = x.iter().map(|&x| wave(x)[1]).collect();
        (
            CubicHermite::new(x.clone(), &y, &slopes).unwrap(),
            LinearTable::new(x, y).unwrap(),
        )
    };
    let on = |difference: &dyn Fn(f64) -> f64| largest(-1.0, 2.0, difference);
    let observed = [
        (
            6.0,
            order(|n| on(&|x| quintic(n).value(x).unwrap() - wave(x)[0])),
        ),
        (
            5.0,
            order(|n| on(&|x| quintic(n).value_and_slope(x).unwrap().1 - wave(x)[1])),
        ),
        (
            4.0,
            order(|n| on(&|x| quintic(n).value_and_derivatives(x).unwrap().2 - wave(x)[2])),
        ),
        (
            4.0,
            order(|n| on(&|x| cubic(n).value(x).unwrap() - wave(x)[0])),
        ),
        (
            3.0,
            order(|n| on(&|x| cubic(n).value_and_slope(x).unwrap().1 - wave(x)[1])),
        ),
        (
            4.0,
            order(|n| on(&|x| uneven(n).0.value(x).unwrap() - wave(x)[0])),
        ),
        (
            3.0,
            order(|n| on(&|x| uneven(n).0.value_and_slope(x).unwrap().1 - wave(x)[1])),
        ),
        (
            2.0,
            order(|n| on(&|x| uneven(n).1.value(x).unwrap() - wave(x)[0])),
        ),
    ];
    for (k, (expected, order)) in observed.into_iter().enumerate() {
        assert!(
            (order - expected).abs() < 0.25,
            "case {k}: order {order}, not {expected}"
        );
    }
}

/// Polynomials of the degree of the pieces are reproduced, with derivatives, to round-off; so are
/// the nodes, the ends included.
#[test]
fn polynomials_are_reproduced() {
    let grid = UniformGrid::new(-1.3, 2.1, 8).unwrap();
    let x: Vec<f64> = (0..8).map(|i| grid.node(i)).collect();
    let of = |f: &dyn Fn(f64) -> f64| x.iter().map(|&x| f(x)).collect::<Vec<f64>>();
    let (p, dp, ddp) = (
        |x: f64| 1.0 - 2.0 * x + x.powi(3) - 0.4 * x.powi(5),
        |x: f64| -2.0 + 3.0 * x * x - 2.0 * x.powi(4),
        |x: f64| 6.0 * x - 8.0 * x.powi(3),
    );
    let quintic = UniformQuinticHermite::new(grid, &of(&p), &of(&dp), &of(&ddp)).unwrap();
    let (q, dq) = (
        |x: f64| 1.0 - 2.0 * x + x.powi(3),
        |x: f64| -2.0 + 3.0 * x * x,
    );
    let uniform = UniformCubicHermite::new(grid, &of(&q), &of(&dq)).unwrap();
    let uneven = CubicHermite::new(x.clone(), &of(&q), &of(&dq)).unwrap();
    let line = LinearTable::new(x.clone(), of(&|x| 3.0 - x)).unwrap();
    for k in 0..=100 {
        let x = -1.3 + 3.4 * f64::from(k) / 100.0;
        let x = x.min(2.1);
        let (value, slope, curvature) = quintic.value_and_derivatives(x).unwrap();
        assert!((value - p(x)).abs() < 1e-13 && (slope - dp(x)).abs() < 1e-12);
        assert!((curvature - ddp(x)).abs() < 1e-11, "{curvature} {}", ddp(x));
        for (value, slope) in [
            uniform.value_and_slope(x).unwrap(),
            uneven.value_and_slope(x).unwrap(),
        ] {
            assert!((value - q(x)).abs() < 1e-14 * 20.0 && (slope - dq(x)).abs() < 1e-12);
        }
        let (value, slope) = line.value_and_slope(x).unwrap();
        assert!((value - 3.0 + x).abs() < 1e-14 && (slope + 1.0).abs() < 1e-14);
    }
}

#[test]
fn bicubic_surface_orders() {
    let node = |x: f64, y: f64| {
        let (s, c) = (x + 0.5 * y).sin_cos();
        let e = (0.3 * y).exp();
        BicubicNode {
            value: s * e,
            dx: c * e,
            dy: (0.5 * c + 0.3 * s) * e,
            dxdy: (-0.5 * s + 0.3 * c) * e,
        }
    };
    let errors = |cells: usize| {
        let gx = UniformGrid::new(0.0, 2.0, cells + 1).unwrap();
        let gy = UniformGrid::new(-1.0, 3.0, 2 * cells + 1).unwrap();
        let mut nodes = Vec::new();
        for i in 0..gx.nodes() {
            for j in 0..gy.nodes() {
                nodes.push(node(gx.node(i), gy.node(j)));
            }
        }
        let surface = BicubicSurface::new(gx, gy, &nodes).unwrap();
        let mut worst = [0.0_f64; 3];
        for k in 0..=211 {
            for l in 0..=307 {
                let (x, y) = (
                    2.0 * f64::from(k) / 211.0,
                    -1.0 + 4.0 * f64::from(l) / 307.0,
                );
                let (point, exact) = (surface.point(x, y).unwrap(), node(x, y));
                for (worst, error) in worst.iter_mut().zip([
                    point.value - exact.value,
                    point.dx - exact.dx,
                    point.dy - exact.dy,
                ]) {
                    *worst = worst.max(error.abs());
                }
            }
        }
        let outside = surface.point(2.1, 0.0);
        assert!(matches!(
            outside,
            Err(InterpolateError::Outside { upper: 2.0, .. })
        ));
        worst
    };
    let (coarse, fine) = (errors(8), errors(16));
    for (k, expected) in [4.0, 3.0, 3.0].into_iter().enumerate() {
        let order = (coarse[k] / fine[k]).log2();
        assert!((order - expected).abs() < 0.25, "{k}: order {order}");
    }
}

#[test]
fn bad_tables_are_refused() {
    let grid = UniformGrid::new(0.0, 1.0, 3).unwrap();
    let table = |x: &[f64], y: &[f64]| LinearTable::new(x.to_vec(), y.to_vec());
    assert_eq!(
        table(&[0.0], &[1.0]),
        Err(InterpolateError::TooFew {
            needed: 2,
            given: 1
        })
    );
    assert_eq!(
        table(&[0.0, 1.0], &[1.0]),
        Err(InterpolateError::Lengths {
            expected: 2,
            given: 1
        })
    );
    assert_eq!(
        table(&[0.0, 1.0, 1.0], &[0.0; 3]),
        Err(InterpolateError::NotIncreasing {
            index: 2,
            before: 1.0,
            after: 1.0
        })
    );
    assert!(matches!(
        table(&[0.0, 1.0], &[1.0, f64::NAN]),
        Err(InterpolateError::NotFinite { index: 1, .. })
    ));
    assert!(UniformGrid::new(1.0, 0.0, 3).is_err());
    assert!(UniformGrid::new(0.0, f64::INFINITY, 3).is_err());
    assert!(UniformGrid::new(0.0, 1.0, 1).is_err());
    assert!(UniformCubicHermite::new(grid, &[0.0; 3], &[0.0; 2]).is_err());
    let quintic = UniformQuinticHermite::new(grid, &[0.0; 3], &[0.0; 3], &[0.0; 3]).unwrap();
    for x in [-1e-12, 1.0 + 1e-12, f64::NAN, f64::INFINITY] {
        assert!(
            matches!(quintic.value(x), Err(InterpolateError::Outside { .. })),
            "{x}"
        );
    }
    let table = table(&[0.0, 1.0], &[2.0, 5.0]).unwrap();
    assert!(table.value(1.1).is_err());
    assert_eq!(table.value_or_end(1.1), Ok(5.0));
    assert_eq!(table.value_or_end(-3.0), Ok(2.0));
    assert!(table.value_or_end(f64::NAN).is_err());
}

/// The slopes of a smooth monotone function are found to second order, and extrema stay flat.
#[test]
fn monotone_slopes_of_known_data() {
    assert_eq!(
        monotone_slopes(&[0.0, 2.0], &[1.0, 5.0]).unwrap(),
        vec![2.0; 2]
    );
    // Equal widths, secants 1 and 3: the harmonic mean is 1.5, the ends 2 d0 - (d0 + d1) / 2.
    assert_eq!(
        monotone_slopes(&[0.0, 1.0, 2.0], &[0.0, 1.0, 4.0]).unwrap(),
        vec![0.0, 1.5, 4.0]
    );
    assert_eq!(
        monotone_slopes(&[0.0, 1.0, 2.0], &[0.0, 1.0, 0.0]).unwrap()[1],
        0.0
    );
}

proptest! {
    /// Monotone data give a monotone curve.
    #[test]
    fn monotone_data_stay_monotone(steps in proptest::collection::vec((0.01..3.0_f64, 0.0..5.0_f64), 2..12)) {
        let (mut x, mut y) = (vec![0.0], vec![0.0]);
        for (width, rise) in steps {
            x.push(x[x.len() - 1] + width);
            y.push(y[y.len() - 1] + rise);
        }
        let last = x[x.len() - 1];
        let curve = CubicHermite::monotone(x, &y).unwrap();
        let mut before = 0.0;
        for k in 1..=200 {
            let x = (last * f64::from(k) / 200.0).min(last);
            let value = curve.value(x).unwrap();
            prop_assert!(value >= before - 1e-12, "{} after {}", value, before);
            before = value;
        }
    }

    /// Systems with a known solution, of any size up to 40 and rows of very different size.
    #[test]
    fn linear_systems_return_the_known_solution(
        n in 1..40_usize,
        seed in proptest::collection::vec(-1.0..1.0_f64, 40 * 40 + 80),
    ) {
        let mut matrix = vec![0.0; n * n];
        let mut right = vec![0.0; n];
        let solution = &seed[1600..1600 + n];
        for i in 0..n {
            let size = 10f64.powf(6.0 * seed[1640 + i]);
            for j in 0..n {
                // Dominated by an entry off the diagonal, so that rows must be swapped.
                let peak = if j == (i + 1) % n { 1.5 * n as f64 } else { 0.0 };
                matrix[i * n + j] = size * (seed[i * 40 + j] + peak);
                right[i] += matrix[i * n + j] * solution[j];
            }
        }
        let mut pivots = vec![0; n];
        linear::factor(&mut matrix, &mut pivots).unwrap();
        linear::solve(&matrix, &pivots, &mut right).unwrap();
        for (found, known) in right.iter().zip(solution) {
            prop_assert!((found - known).abs() < 1e-10, "{} not {}", found, known);
        }
    }
}

#[test]
fn a_small_system_by_hand() {
    // Zero on the diagonal: swaps needed. Solution (1, -2, 3).
    let mut matrix = [0.0, 2.0, 1.0, 1.0, 1.0, 1.0, 4.0, -1.0, 2.0];
    let mut right = [-1.0, 2.0, 12.0];
    let mut pivots = [0; 3];
    linear::factor(&mut matrix, &mut pivots).unwrap();
    linear::solve(&matrix, &pivots, &mut right).unwrap();
    for (found, known) in right.iter().zip([1.0, -2.0, 3.0]) {
        assert!((found - known).abs() < 1e-15 * 8.0);
    }
}

#[test]
fn bad_systems_are_refused() {
    let mut pivots = [0; 2];
    let mut singular = [1.0, 2.0, 2.0, 4.0];
    assert_eq!(
        linear::factor(&mut singular, &mut pivots),
        Err(LinearError::Singular { column: 1 })
    );
    let mut bad = [1.0, f64::NAN, f64::NAN, 4.0];
    assert!(linear::factor(&mut bad, &mut pivots).is_err());
    assert!(matches!(
        linear::factor(&mut [0.0; 3], &mut pivots),
        Err(LinearError::Shape { n: 2, .. })
    ));
    assert!(linear::solve(&[1.0; 4], &pivots, &mut [0.0; 3]).is_err());
    // Pivots that factor() cannot have made.
    assert!(linear::solve(&[1.0; 4], &[7, 0], &mut [0.0; 2]).is_err());
}
