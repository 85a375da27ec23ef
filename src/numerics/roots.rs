//! Roots and maxima inside a bracket: Newton with a safeguard, Brent's root
//! finder, Brent's maximiser.
//!
//! The function is a closure that may fail with the caller's error `E`; a closure that
//! cannot fail returns `Ok::<_, std::convert::Infallible>(value)`.

use std::fmt::Display;

/// When to stop looking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Absolute tolerance on the abscissa.
    pub x_absolute: f64,
    /// Tolerance on the abscissa relative to its size (four units of round-off are always
    /// granted on top).
    pub x_relative: f64,
    /// A value of the function at most this large counts as zero.
    pub value: f64,
    /// Most iterations (one evaluation each).
    pub max_iterations: usize,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self {
            x_absolute: 0.0,
            x_relative: 1e-12,
            value: 0.0,
            max_iterations: 100,
        }
    }
}

impl Tolerance {
    fn at(&self, x: f64) -> f64 {
        self.x_absolute + (self.x_relative + 4.0 * f64::EPSILON) * x.abs()
    }
}

/// Where the function ends up at the ends of the bracket, for [`newton`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// Not known: evaluate both ends first (two evaluations) and demand a sign change.
    Evaluate,
    /// Known to be negative at the lower end and positive at the upper end.
    Rising,
    /// Known to be positive at the lower end and negative at the upper end.
    Falling,
}

/// A root and the bracket it was found in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Root {
    /// The root.
    pub x: f64,
    /// Value of the function at the last evaluated abscissa, which is within tolerance of `x`.
    pub residual: f64,
    /// Lower end of the final bracket.
    pub lower: f64,
    /// Upper end of the final bracket.
    pub upper: f64,
    /// Evaluations spent.
    pub iterations: usize,
}

/// A maximum and the bracket it was found in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Maximum {
    /// Where the function is largest.
    pub x: f64,
    /// The largest value seen.
    pub value: f64,
    /// Lower end of the final bracket.
    pub lower: f64,
    /// Upper end of the final bracket.
    pub upper: f64,
    /// Evaluations spent.
    pub iterations: usize,
}

/// Why no root or maximum was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RootError<E> {
    /// The bracket is empty or not finite.
    #[error("[{lower}, {upper}] is no bracket")]
    Bracket {
        /// Lower end given.
        lower: f64,
        /// Upper end given.
        upper: f64,
    },
    /// The function has the same sign at both ends.
    #[error(
        "no sign change in [{lower}, {upper}]: the function is {value_lower} and {value_upper} there \
         ({iterations} evaluations)"
    )]
    NoSignChange {
        /// Lower end of the bracket.
        lower: f64,
        /// Upper end of the bracket.
        upper: f64,
        /// Value at (or next to) the lower end.
        value_lower: f64,
        /// Value at (or next to) the upper end.
        value_upper: f64,
        /// Evaluations spent.
        iterations: usize,
    },
    /// The iterations ran out.
    #[error(
        "not converged in {iterations} evaluations: the bracket is still [{lower}, {upper}], \
         the residual {residual}"
    )]
    Iterations {
        /// Lower end of the last bracket.
        lower: f64,
        /// Upper end of the last bracket.
        upper: f64,
        /// Evaluations spent.
        iterations: usize,
        /// Last value of the function.
        residual: f64,
    },
    /// The function returned a value that is not a number.
    #[error("the function is not a number at {at} (bracket [{lower}, {upper}])")]
    NotANumber {
        /// Abscissa of the bad value.
        at: f64,
        /// Lower end of the bracket at that moment.
        lower: f64,
        /// Upper end of the bracket at that moment.
        upper: f64,
    },
    /// The function failed.
    #[error("the function failed at {at} (bracket [{lower}, {upper}])")]
    Function {
        /// What the function said.
        source: E,
        /// Abscissa at which it failed.
        at: f64,
        /// Lower end of the bracket at that moment.
        lower: f64,
        /// Upper end of the bracket at that moment.
        upper: f64,
    },
}

impl<E: Display> RootError<E> {
    /// The failure of the function itself, if that was the reason.
    pub fn function_failure(&self) -> Option<&E> {
        match self {
            Self::Function { source, .. } => Some(source),
            _ => None,
        }
    }
}

fn checked<E>(
    result: Result<f64, E>,
    at: f64,
    lower: f64,
    upper: f64,
) -> Result<f64, RootError<E>> {
    match result {
        Ok(value) if value.is_nan() => Err(RootError::NotANumber { at, lower, upper }),
        Ok(value) => Ok(value),
        Err(source) => Err(RootError::Function {
            source,
            at,
            lower,
            upper,
        }),
    }
}

fn bracket<E>(lower: f64, upper: f64) -> Result<(), RootError<E>> {
    if lower.is_finite() && upper.is_finite() && lower <= upper {
        Ok(())
    } else {
        Err(RootError::Bracket { lower, upper })
    }
}

/// Newton's iteration from `guess`, kept inside [`lower`, `upper`].
///
/// The closure returns the value and its derivative. A Newton step that leaves the bracket, or
/// that does not shrink at least by half against the step before last, is replaced by a
/// bisection, so the iteration converges whenever there is a sign change (compare Press et al.,
/// Numerical Recipes, 3rd ed., section 9.4). It ends when the value is at most
/// `tolerance.value`, or when the step or the bracket is within the tolerance on x.
///
/// With [`Ends::Rising`] or [`Ends::Falling`] the ends are not evaluated unless the
/// iteration runs into one of them.
///
/// # Errors
/// [`RootError`]: bad bracket, no sign change, iterations spent, a value that is not a number,
/// or the failure of the closure.
pub fn newton<E>(
    mut function: impl FnMut(f64) -> Result<(f64, f64), E>,
    lower: f64,
    upper: f64,
    guess: f64,
    ends: Ends,
    tolerance: &Tolerance,
) -> Result<Root, RootError<E>> {
    bracket(lower, upper)?;
    let mut evaluate = |x: f64, lower: f64, upper: f64| match function(x) {
        Ok((value, slope)) => checked(Ok(value), x, lower, upper).map(|value| (value, slope)),
        Err(source) => Err(RootError::Function {
            source,
            at: x,
            lower,
            upper,
        }),
    };
    let mut iterations = 0;
    // `sign` * f is negative at the lower end.
    let (sign, mut lower_known, mut upper_known) = match ends {
        Ends::Rising => (1.0, None, None),
        Ends::Falling => (-1.0, None, None),
        Ends::Evaluate => {
            let (at_lower, _) = evaluate(lower, lower, upper)?;
            let (at_upper, _) = evaluate(upper, lower, upper)?;
            iterations += 2;
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
            if (at_lower < 0.0) == (at_upper < 0.0) {
                return Err(RootError::NoSignChange {
                    lower,
                    upper,
                    value_lower: at_lower,
                    value_upper: at_upper,
                    iterations,
                });
            }
            (
                if at_lower < 0.0 { 1.0 } else { -1.0 },
                Some(at_lower),
                Some(at_upper),
            )
        }
    };
    let (first_lower, first_upper) = (lower, upper);
    let (mut lower, mut upper) = (lower, upper);
    let mut x = if guess > lower && guess < upper {
        guess
    } else {
        0.5 * (lower + upper)
    };
    let mut step_before_last = upper - lower;
    let mut last_step = step_before_last;
    let mut residual = f64::NAN;
    while iterations < tolerance.max_iterations {
        let (value, slope) = evaluate(x, lower, upper)?;
        iterations += 1;
        residual = value;
        if value.abs() <= tolerance.value {
            return Ok(Root {
                x,
                residual,
                lower,
                upper,
                iterations,
            });
        }
        if sign * value < 0.0 {
            lower = x;
            lower_known = Some(value);
        } else {
            upper = x;
            upper_known = Some(value);
        }
        let newton_step = -value / slope;
        let trial = x + newton_step;
        let inside = trial > lower && trial < upper;
        // A step within tolerance is allowed to end just outside the bracket.
        let within = newton_step.abs() <= tolerance.at(x);
        let next = if (inside && newton_step.abs() < 0.5 * step_before_last.abs()) || within {
            trial.clamp(lower, upper)
        } else {
            0.5 * (lower + upper)
        };
        step_before_last = last_step;
        last_step = next - x;
        x = next;
        if within || upper - lower <= tolerance.at(x) {
            // Against an end nobody has looked at, the sign change is still to be shown.
            let unseen = (lower == first_lower && lower_known.is_none())
                || (upper == first_upper && upper_known.is_none());
            if unseen && upper - lower <= tolerance.at(x) {
                let end = if lower_known.is_none() { lower } else { upper };
                let (value, _) = evaluate(end, lower, upper)?;
                iterations += 1;
                if value.abs() <= tolerance.value || (value < 0.0) != (residual < 0.0) {
                    return Ok(Root {
                        x: end,
                        residual: value,
                        lower,
                        upper,
                        iterations,
                    });
                }
                let (value_lower, value_upper) = if lower_known.is_none() {
                    (value, residual)
                } else {
                    (residual, value)
                };
                return Err(RootError::NoSignChange {
                    lower: first_lower,
                    upper: first_upper,
                    value_lower,
                    value_upper,
                    iterations,
                });
            }
            return Ok(Root {
                x,
                residual,
                lower,
                upper,
                iterations,
            });
        }
    }
    Err(RootError::Iterations {
        lower,
        upper,
        iterations,
        residual,
    })
}

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
