//! Brent's maximiser.

use super::{Maximum, RootError, Tolerance, bracket, checked};

/// Brent's maximum of a function inside [`lower`, `upper`]: parabolic steps, golden section
/// when they fail (Brent 1973, chapter 5, on the negated function).
///
/// The ends themselves are not evaluated; a maximum at an end is approached within the
/// tolerance on x. With several local maxima one of them is found. `tolerance.value` is not used,
/// and since a maximum is flat the relative tolerance on x is not taken below 1.5e-8.
///
/// # Errors
/// [`RootError`]: bad bracket, iterations spent, a value that is not a number, or the failure of
/// the closure.
pub fn maximise<E>(
    mut function: impl FnMut(f64) -> Result<f64, E>,
    lower: f64,
    upper: f64,
    tolerance: &Tolerance,
) -> Result<Maximum, RootError<E>> {
    const GOLDEN: f64 = 0.381_966_011_250_105_2;
    bracket(lower, upper)?;
    let relative = tolerance.x_relative.max(1.5e-8);
    let (mut a, mut b) = (lower, upper);
    let mut x = a + GOLDEN * (b - a);
    let mut fx = -checked(function(x), x, a, b)?;
    let (mut w, mut fw, mut v, mut fv) = (x, fx, x, fx);
    let (mut step, mut previous_step) = (0.0_f64, 0.0_f64);
    let mut iterations = 1;
    loop {
        let middle = 0.5 * (a + b);
        let allowed = relative * x.abs() + tolerance.x_absolute.max(f64::MIN_POSITIVE);
        if (x - middle).abs() <= 2.0 * allowed - 0.5 * (b - a) {
            return Ok(Maximum {
                x,
                value: -fx,
                lower: a,
                upper: b,
                iterations,
            });
        }
        if iterations >= tolerance.max_iterations {
            return Err(RootError::Iterations {
                lower: a,
                upper: b,
                iterations,
                residual: -fx,
            });
        }
        let mut golden = true;
        if previous_step.abs() > allowed {
            let r = (x - w) * (fx - fv);
            let mut q = (x - v) * (fx - fw);
            let mut p = (x - v) * q - (x - w) * r;
            q = 2.0 * (q - r);
            if q > 0.0 {
                p = -p;
            }
            q = q.abs();
            if p.abs() < (0.5 * q * previous_step).abs() && p > q * (a - x) && p < q * (b - x) {
                previous_step = step;
                step = p / q;
                let trial = x + step;
                if trial - a < 2.0 * allowed || b - trial < 2.0 * allowed {
                    step = allowed.copysign(middle - x);
                }
                golden = false;
            }
        }
        if golden {
            previous_step = if x < middle { b - x } else { a - x };
            step = GOLDEN * previous_step;
        }
        let u = x + if step.abs() >= allowed {
            step
        } else {
            allowed.copysign(step)
        };
        let fu = -checked(function(u), u, a, b)?;
        iterations += 1;
        if fu <= fx {
            if u < x {
                b = x;
            } else {
                a = x;
            }
            (v, fv, w, fw, x, fx) = (w, fw, x, fx, u, fu);
        } else {
            if u < x {
                a = u;
            } else {
                b = u;
            }
            if fu <= fw || w == x {
                (v, fv, w, fw) = (w, fw, u, fu);
            } else if fu <= fv || v == x || v == w {
                (v, fv) = (u, fu);
            }
        }
    }
}
