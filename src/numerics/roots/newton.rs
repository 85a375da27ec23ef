//! Newton with a safeguard.

use super::{Ends, Root, RootError, Tolerance, bracket, checked};

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
