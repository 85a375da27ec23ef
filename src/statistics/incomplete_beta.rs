//! The regularised incomplete beta function and its inverse, for any number of trials.
//!
//! Law: `I_x(a, b) = 1/B(a, b) * integral_0^x t^(a-1) (1-t)^(b-1) dt`.
//! Symbols: a, b shapes [1], x limit [1], y = 1 - x [1].
//! Sources: continued fraction DLMF 8.17.22, evaluated by Lentz's method as modified
//! by Thompson & Barnett 1986 (J. Comput. Phys. 64, 490); prefactor by the
//! saddle-point expansion of Loader 2000 ("Fast and accurate computation of binomial
//! probabilities"), which does not cancel for large shapes.
//! Range: a, b in (0, 1e12), x in \[0, 1\].
//!
//! The library function of `statrs` stops after 140 terms of the continued fraction,
//! which is too few from some 20 000 trials on, and forms its prefactor from
//! differences of large log-gammas; hence this one. Both agree elsewhere (tested).

use statrs::function::gamma::ln_gamma;
use std::f64::consts::{PI, TAU};

/// Smallest magnitude let into Lentz's recurrences.
const TINY: f64 = 1e-300;

/// `I_x(a, b)` with `y = 1 - x` given separately, so that neither end loses digits.
/// Not a number if a shape is not positive or x is outside \[0, 1\].
pub fn regularised(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if !(a > 0.0 && b > 0.0 && (0.0..=1.0).contains(&x) && (0.0..=1.0).contains(&y)) {
        return f64::NAN;
    }
    if x == 0.0 {
        return 0.0;
    }
    if y == 0.0 {
        return 1.0;
    }
    let front = ln_power_over_beta(a, b, x, y).exp();
    // The fraction converges fast below the mean; the other side by symmetry.
    if x * (a + b + 2.0) < a + 1.0 {
        (front * continued_fraction(a, b, x) / a).min(1.0)
    } else {
        (1.0 - front * continued_fraction(b, a, y) / b).max(0.0)
    }
}

/// Density of the beta distribution, `x^(a-1) y^(b-1) / B(a, b)`.
pub fn density(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 || y <= 0.0 {
        let (shape, other) = if x <= 0.0 { (a, b) } else { (b, a) };
        return if x < 0.0 || y < 0.0 || shape > 1.0 {
            0.0
        } else if shape == 1.0 {
            other
        } else {
            f64::INFINITY
        };
    }
    (ln_power_over_beta(a, b, x, y) - x.ln() - y.ln()).exp()
}

/// The pair (x, 1 - x) with `I_x(a, b) = p`, each to full relative accuracy.
///
/// Newton's method in the logit of x on ln I, which is concave there, guarded by a
/// bracket. Not a number outside its range.
pub fn quantile_pair(a: f64, b: f64, p: f64) -> (f64, f64) {
    if !(a > 0.0 && b > 0.0 && (0.0..=1.0).contains(&p)) {
        return (f64::NAN, f64::NAN);
    }
    // A start near the mean in the logit; a better one is not needed.
    quantile_pair_near(a, b, p, (a / b).ln())
}

/// As [`quantile_pair`], starting from the logit `start`.
pub(super) fn quantile_pair_near(a: f64, b: f64, p: f64, start: f64) -> (f64, f64) {
    if p == 0.0 {
        return (0.0, 1.0);
    }
    if p == 1.0 {
        return (1.0, 0.0);
    }
    if p <= 0.5 {
        lower_quantile(a, b, p, start)
    } else {
        let (y, x) = lower_quantile(b, a, 1.0 - p, -start);
        (x, y)
    }
}

/// Solves ln I = ln p for p in (0, 1/2\] in t = ln(x / y).
fn lower_quantile(a: f64, b: f64, p: f64, start: f64) -> (f64, f64) {
    let target = p.ln();
    let (mut low, mut high) = (-745.0_f64, 745.0_f64);
    let mut t = start.clamp(low, high);
    for _ in 0..200 {
        let (x, y) = from_logit(t);
        let probability = regularised(a, b, x, y);
        let residual = probability.ln() - target;
        if residual > 0.0 {
            high = t;
        } else {
            low = t;
        }
        // d ln I / dt = x^a y^b / (B I)
        let slope = (ln_power_over_beta(a, b, x, y)).exp() / probability;
        let newton = t - residual / slope;
        let next = if newton > low && newton < high && slope > 0.0 {
            newton
        } else {
            0.5 * (low + high)
        };
        let step = (next - t).abs();
        t = next;
        if step <= 4.0 * f64::EPSILON * t.abs().max(1.0) || high - low <= f64::EPSILON {
            break;
        }
    }
    from_logit(t)
}

/// (x, 1 - x) of a logit.
pub(super) fn from_logit(t: f64) -> (f64, f64) {
    if t < 0.0 {
        let e = t.exp();
        (e / (1.0 + e), 1.0 / (1.0 + e))
    } else {
        let e = (-t).exp();
        (1.0 / (1.0 + e), e / (1.0 + e))
    }
}

/// ln of x^a y^b / B(a, b), by Loader's deviance form.
pub(super) fn ln_power_over_beta(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let correction = stirling_error(n) - stirling_error(a) - stirling_error(b);
    correction - deviance(a, n * x) - deviance(b, n * y) + 0.5 * (a * b / (n * TAU)).ln()
}

/// ln Gamma(n+1) - (n + 1/2) ln n + n - ln(2 pi)/2: the error of Stirling's formula.
fn stirling_error(n: f64) -> f64 {
    if n > 16.0 {
        let s = 1.0 / (n * n);
        (1.0 / 12.0 - s * (1.0 / 360.0 - s * (1.0 / 1260.0 - s * (1.0 / 1680.0 - s / 1188.0)))) / n
    } else {
        ln_gamma(n + 1.0) - (n + 0.5) * n.ln() + n - 0.5 * (2.0 * PI).ln()
    }
}

/// x ln(x/m) + m - x without cancellation near x = m.
fn deviance(x: f64, m: f64) -> f64 {
    if m == 0.0 {
        return f64::INFINITY;
    }
    if (x - m).abs() >= 0.1 * (x + m) {
        return x * (x / m).ln() + m - x;
    }
    let v = (x - m) / (x + m);
    let mut sum = (x - m) * v;
    let mut term = 2.0 * x * v;
    let square = v * v;
    for j in 1..1000 {
        term *= square;
        let next = sum + term / f64::from(2 * j + 1);
        if next == sum {
            break;
        }
        sum = next;
    }
    sum
}

/// DLMF 8.17.22. The number of terms grows as the square root of the larger shape.
fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
    let guard = |value: f64| if value.abs() < TINY { TINY } else { value };
    let most = (200.0 + 20.0 * a.max(b).sqrt()).min(2e7) as u32;
    let sum = a + b;
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - sum * x / (a + 1.0));
    let mut h = d;
    for m in 1..=most {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (sum + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        let change = d * c;
        h *= change;
        if (change - 1.0).abs() <= f64::EPSILON {
            break;
        }
    }
    h
}

/// Probability of at most `k` successes in `n` trials of chance `p`.
pub fn binomial_cumulative(k: u64, n: u64, p: f64) -> f64 {
    if k >= n {
        return 1.0;
    }
    // P(X <= k) = I_{1-p}(n - k, k + 1), DLMF 8.17.5.
    regularised((n - k) as f64, k as f64 + 1.0, 1.0 - p, p)
}

/// The value that Student's t with `freedom` degrees of freedom falls below with
/// probability `u`: t^2 = freedom y/x with I_x(freedom/2, 1/2) = 2 min(u, 1-u)
/// (Abramowitz & Stegun 26.7.1). Not a number unless freedom > 0 and u in (0, 1).
pub fn student_quantile(freedom: f64, u: f64) -> f64 {
    if u == 0.5 {
        return 0.0;
    }
    let tail = u.min(1.0 - u);
    let (x, y) = quantile_pair(0.5 * freedom, 0.5, 2.0 * tail);
    (freedom * y / x).sqrt().copysign(u - 0.5)
}
