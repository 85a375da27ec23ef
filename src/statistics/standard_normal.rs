//! The standard normal distribution, accurate far into both tails.
//!
//! Law: Phi(x) = erfc(-x / sqrt 2) / 2; phi(x) = exp(-x^2 / 2) / sqrt(2 pi).
//! Symbols: x standard normal variate [1], Phi its probability [1].
//! Source: Abramowitz & Stegun 1964, 26.2.1-26.2.3 and 7.1.22.
//! Range: the lower tail keeps its relative accuracy to x = -37.5, beyond which
//! f64 has no normal numbers left.

use statrs::function::erf::{erfc, erfc_inv};
use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2};

/// 1 / sqrt(2 pi).
const DENSITY_AT_ZERO: f64 = 0.398_942_280_401_432_7;

/// Probability that a standard normal variate is at most `x`.
pub fn cumulative(x: f64) -> f64 {
    0.5 * erfc(-x * FRAC_1_SQRT_2)
}

/// Probability that a standard normal variate exceeds `x`, without the loss of
/// `1 - cumulative(x)` in the upper tail.
pub fn exceedance(x: f64) -> f64 {
    0.5 * erfc(x * FRAC_1_SQRT_2)
}

/// Density of the standard normal at `x`.
pub fn density(x: f64) -> f64 {
    DENSITY_AT_ZERO * (-0.5 * x * x).exp()
}

/// The value that a standard normal variate falls below with probability `u`;
/// minus infinity at 0, infinity at 1.
pub fn quantile(u: f64) -> f64 {
    -SQRT_2 * erfc_inv(2.0 * u)
}
