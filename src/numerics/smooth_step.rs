//! From nothing to all without a corner.

/// 0 below 0, 1 above 1, with a continuous slope: x^2 (3 - 2 x) between.
#[must_use]
pub fn smooth_step(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}
