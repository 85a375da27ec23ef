//! First-order reliability: the most likely combination of inputs that fails.
//!
//! Law: u* = argmin |u| subject to g(u) = 0; reliability index beta = alpha . u*,
//! alpha = -grad g / |grad g| at u*; first-order P = Phi(-beta), exact for a plane.
//! Symbols: g limit state (failure where it is 0 or less), u independent standard normal.
//! Source: Hasofer & Lind 1974; Rackwitz & Fiessler 1978 (Comput. Struct. 9, 489); line
//! search on m(u) = |u|^2/2 + c |g(u)| by Zhang & Der Kiureghian 1995 ("Two improved
//! algorithms for reliability analysis"), which converges from any start on smooth g. Along the
//! surface the step is that of Barzilai & Borwein 1988 (IMA J. Numer. Anal. 8, 141): where the surface bends
//! more than a sphere around the origin, whole steps go to and fro.
//! Assumption: one design point matters; with several (or a curved surface) P is off, and
//! sampling must confirm it. Finds a local design point: the start decides which.

use super::standard_normal;
use rayon::prelude::*;
use thiserror::Error;

/// How the design point is searched.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignPointSettings {
    /// Half the distance between the two points of a central difference, in standard
    /// deviations; 1e-3 by default. Choose well above the noise of g over its slope.
    pub difference: f64,
    /// Largest |g(u)| relative to the scale of g, and largest distance of u from the
    /// gradient's direction, at the end; 1e-4 by default.
    pub tolerance: f64,
    /// Most iterations; 100 by default.
    pub iterations: usize,
    /// Where to start; the origin if none.
    pub start: Option<Vec<f64>>,
}

impl Default for DesignPointSettings {
    fn default() -> Self {
        Self {
            difference: 1e-3,
            tolerance: 1e-4,
            iterations: 100,
            start: None,
        }
    }
}

/// The design point.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct DesignPoint {
    /// The most likely failing inputs, in standard deviations.
    pub point: Vec<f64>,
    /// Distance from the origin, negative if the origin itself fails.
    pub reliability_index: f64,
    /// By how much a nearer point may have been missed, in standard deviations; 0 where the search settled.
    pub doubt: f64,
    /// Unit vector towards failure; its squares are the importance of each input.
    pub direction: Vec<f64>,
    /// First-order probability of failure, Phi(-beta).
    pub probability: f64,
    /// Iterations used.
    pub iterations: usize,
    /// Evaluations of the limit state.
    pub evaluations: u64,
}

/// Why there is no design point.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DesignPointError<E> {
    /// The limit state could not be evaluated.
    #[error("the limit state has no value {distance:.2} standard deviations from the centre")]
    Evaluation {
        /// Inputs, in standard deviations.
        point: Vec<f64>,
        /// Distance from the origin.
        distance: f64,
        /// The error; none if the value was not a finite number.
        error: Option<E>,
    },
    /// The limit state does not change with any input.
    #[error(
        "no input changes the limit state near the point reached (its value there is {value:.1e})"
    )]
    Flat {
        /// Inputs, in standard deviations.
        point: Vec<f64>,
        /// Value of the limit state there.
        value: f64,
    },
    /// The search did not settle.
    #[error(
        "the search for the design point did not settle in {iterations} iterations: limit state \
         {value:.1e}, {misalignment:.2} standard deviations off the nearest point of its surface"
    )]
    NotConverged {
        /// Inputs reached, in standard deviations.
        point: Vec<f64>,
        /// Value of the limit state there.
        value: f64,
        /// Distance between the point and its projection on the gradient.
        misalignment: f64,
        /// Iterations made.
        iterations: usize,
    },
    /// A start of another length than the inputs, no inputs, or settings that are not positive.
    #[error("design point: {0}")]
    Settings(&'static str),
}

/// A limit state that counts its evaluations and refuses values that are no number.
struct Counted<'a, G> {
    limit_state: &'a G,
    evaluations: u64,
}

impl<G> Counted<'_, G> {
    fn value<E>(&mut self, point: &[f64]) -> Result<f64, DesignPointError<E>>
    where
        G: Fn(&[f64]) -> Result<f64, E>,
    {
        self.evaluations += 1;
        checked(self.limit_state, point)
    }

    /// Central differences, side by side.
    fn gradient<E>(&mut self, point: &[f64], h: f64) -> Result<Vec<f64>, DesignPointError<E>>
    where
        G: Fn(&[f64]) -> Result<f64, E> + Sync,
        E: Send,
    {
        self.evaluations += 2 * point.len() as u64;
        let limit_state = self.limit_state;
        let slopes: Vec<Result<f64, DesignPointError<E>>> = (0..point.len())
            .into_par_iter()
            .map(|input| {
                let at = |step: f64| {
                    let mut moved = point.to_vec();
                    if let Some(slot) = moved.get_mut(input) {
                        *slot += step;
                    }
                    checked(limit_state, &moved)
                };
                Ok((at(h)? - at(-h)?) / (2.0 * h))
            })
            .collect();
        slopes.into_iter().collect()
    }
}

fn checked<G, E>(limit_state: &G, point: &[f64]) -> Result<f64, DesignPointError<E>>
where
    G: Fn(&[f64]) -> Result<f64, E>,
{
    let error = match limit_state(point) {
        Ok(value) if value.is_finite() => return Ok(value),
        Ok(_) => None,
        Err(error) => Some(error),
    };
    let distance = dot(point, point).sqrt();
    Err(DesignPointError::Evaluation {
        point: point.to_vec(),
        distance,
        error,
    })
}

/// Searches the design point of `limit_state` over `dimensions` standard normal inputs.
///
/// # Errors
///
/// [`DesignPointError`]: an evaluation without a value, a flat limit state, no
/// convergence, or settings that make no sense.
pub fn design_point<G, E>(
    limit_state: G,
    dimensions: usize,
    settings: &DesignPointSettings,
) -> Result<DesignPoint, DesignPointError<E>>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
    E: Send,
{
    let h = settings.difference;
    if !(h > 0.0 && settings.tolerance > 0.0) || dimensions == 0 {
        return Err(DesignPointError::Settings(
            "needs inputs and positive settings",
        ));
    }
    let mut u = settings
        .start
        .clone()
        .unwrap_or_else(|| vec![0.0; dimensions]);
    if u.len() != dimensions {
        return Err(DesignPointError::Settings(
            "the start has another length than the inputs",
        ));
    }
    let mut counted = Counted {
        limit_state: &limit_state,
        evaluations: 0,
    };
    let mut value = counted.value(&u)?;
    let mut misalignment = f64::INFINITY;
    // The last point and how far off its projection on the gradient it was.
    let mut before: Option<(Vec<f64>, Vec<f64>)> = None;
    for iteration in 0..settings.iterations {
        let gradient = counted.gradient(&u, h)?;
        let slope = dot(&gradient, &gradient).sqrt();
        if slope <= f64::EPSILON * value.abs() || slope == 0.0 {
            return Err(DesignPointError::Flat { point: u, value });
        }
        // Nearest point to the origin of the plane tangent here, and the way to it.
        let along = (dot(&gradient, &u) - value) / (slope * slope);
        let direction: Vec<f64> = gradient.iter().map(|g| -g / slope).collect();
        let beta = dot(&direction, &u);
        let aside: Vec<f64> = u
            .iter()
            .zip(&direction)
            .map(|(u, a)| u - beta * a)
            .collect();
        misalignment = dot(&aside, &aside).sqrt();
        let share = before
            .as_ref()
            .map_or(1.0, |(point, off)| share_aside(&u, &aside, point, off));
        let step: Vec<f64> = gradient
            .iter()
            .zip(&u)
            .zip(&aside)
            .map(|((g, u), aside)| along * g - u + (1.0 - share) * aside)
            .collect();
        // |g|/slope is the distance to the surface, in standard deviations
        if value.abs() <= settings.tolerance * slope && misalignment <= settings.tolerance {
            return Ok(DesignPoint {
                point: u,
                reliability_index: beta,
                doubt: 0.0,
                direction,
                probability: standard_normal::exceedance(beta),
                iterations: iteration,
                evaluations: counted.evaluations,
            });
        }
        let penalty = penalty(&u, &step, value, slope);
        let merit = |u: &[f64], value: f64| 0.5 * dot(u, u) + penalty * value.abs();
        let here = merit(&u, value);
        let descent = dot(&u, &step) + penalty * value.signum() * dot(&gradient, &step);
        let mut length = 1.0;
        before = Some((u.clone(), aside));
        loop {
            let trial: Vec<f64> = u.iter().zip(&step).map(|(u, d)| u + length * d).collect();
            let trial_value = counted.value(&trial);
            // A point without a value is one step too far, like one of larger merit.
            let good = trial_value
                .as_ref()
                .is_ok_and(|value| merit(&trial, *value) <= here + 1e-4 * length * descent);
            if good || length < 1e-3 {
                u = trial;
                value = trial_value?;
                break;
            }
            length *= 0.5;
        }
    }
    let iterations = settings.iterations;
    Err(DesignPointError::NotConverged {
        point: u,
        value,
        misalignment,
        iterations,
    })
}

/// Share of the way along the surface to go: what the last step says, 1 where it says nothing.
fn share_aside(u: &[f64], aside: &[f64], u_before: &[f64], aside_before: &[f64]) -> f64 {
    let (mut both, mut square) = (0.0, 0.0);
    for ((u, v), (a, b)) in u.iter().zip(u_before).zip(aside.iter().zip(aside_before)) {
        both += (u - v) * (a - b);
        square += (a - b).powi(2);
    }
    if both > 0.0 && square > 0.0 {
        (both / square).clamp(0.05, 3.0)
    } else {
        1.0
    }
}

/// Weight c of |g| in the merit function: above |u|/|grad g|, and such that the step goes
/// down (Zhang & Der Kiureghian 1995, eqs. 10-11).
fn penalty(u: &[f64], step: &[f64], value: f64, slope: f64) -> f64 {
    let least = 2.0 * dot(u, u).sqrt() / slope + 1.0 / slope;
    let target: f64 = u.iter().zip(step).map(|(u, d)| (u + d).powi(2)).sum();
    if value.abs() > 1e-6 * slope {
        least.max(target / value.abs())
    } else {
        least
    }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
