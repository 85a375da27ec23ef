//! Brent's root finder.

use super::{Root, RootError, Tolerance, bracket, checked};

/// Brent's root of a function with a sign change in [`lower`, `upper`]: inverse quadratic or
/// secant steps, bisection when they fail to shrink the bracket (Brent, Algorithms for
/// Minimization without Derivatives, 1973, chapter 4).
///
/// On return the bracket [`Root::lower`, `Root::upper`] is at most two tolerances wide, or the
/// residual is at most `tolerance.value`.
///
/// # Errors
/// [`RootError`]: bad bracket, no sign change, iterations spent, a value that is not a number,
/// or the failure of the closure.
pub fn brent<E>(
    mut function: impl FnMut(f64) -> Result<f64, E>,
    lower: f64,
    upper: f64,
    tolerance: &Tolerance,
) -> Result<Root, RootError<E>> {
    bracket(lower, upper)?;
    let at_lower = checked(function(lower), lower, lower, upper)?;
    let at_upper = checked(function(upper), upper, lower, upper)?;
    brent_between(function, (lower, at_lower), (upper, at_upper), tolerance)
}

/// [`brent`] with the values at both ends already known.
///
/// # Errors
/// As [`brent`].
pub fn brent_between<E>(
    mut function: impl FnMut(f64) -> Result<f64, E>,
    (lower, at_lower): (f64, f64),
    (upper, at_upper): (f64, f64),
    tolerance: &Tolerance,
) -> Result<Root, RootError<E>> {
    bracket(lower, upper)?;
    let mut iterations = 2;
    for (x, value) in [(lower, at_lower), (upper, at_upper)] {
        if value.abs() <= tolerance.value {
            return Ok(Root {
                x,
                residual: value,
                lower,
                upper,
                iterations,
            });
        }
    }
    if (at_lower < 0.0) == (at_upper < 0.0) || at_lower.is_nan() || at_upper.is_nan() {
        return Err(RootError::NoSignChange {
            lower,
            upper,
            value_lower: at_lower,
            value_upper: at_upper,
            iterations,
        });
    }
    // b is the best estimate, c the other end of the bracket, a the previous b.
    let (mut a, mut fa) = (lower, at_lower);
    let (mut b, mut fb) = (upper, at_upper);
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut previous_step = step;
    loop {
        if (fb < 0.0) == (fc < 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            previous_step = step;
        }
        if fc.abs() < fb.abs() {
            (a, fa) = (b, fb);
            (b, fb) = (c, fc);
            (c, fc) = (a, fa);
        }
        let allowed = tolerance.at(b);
        let half = 0.5 * (c - b);
        if half.abs() <= allowed || fb.abs() <= tolerance.value {
            return Ok(Root {
                x: b,
                residual: fb,
                lower: b.min(c),
                upper: b.max(c),
                iterations,
            });
        }
        if iterations >= tolerance.max_iterations {
            return Err(RootError::Iterations {
                lower: b.min(c),
                upper: b.max(c),
                iterations,
                residual: fb,
            });
        }
        if previous_step.abs() >= allowed && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (
                    s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)),
                    (q - 1.0) * (r - 1.0) * (s - 1.0),
                )
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            let limit = (3.0 * half * q - (allowed * q).abs()).min((previous_step * q).abs());
            previous_step = step;
            if 2.0 * p < limit {
                step = p / q;
            } else {
                step = half;
                previous_step = half;
            }
        } else {
            step = half;
            previous_step = half;
        }
        (a, fa) = (b, fb);
        b += if step.abs() > allowed {
            step
        } else {
            allowed.copysign(half)
        };
        fb = checked(function(b), b, b.min(c), b.max(c))?;
        iterations += 1;
    }
}
