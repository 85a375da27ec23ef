//! The nearest failure by distances along rays, where a limit state is too rough for its slopes.
//!
//! Law: with r(d) the distance at which failure begins along the unit vector d, the edge is the zero of
//! F(u) = |u| - r(u/|u|). From u = r d the nearest point of the plane tangent to it lies in the direction of
//! grad F = d - grad r / r, where grad r is that of r(u/|u|) at |u| = 1; a step is taken towards it only if r falls.
//! Only the sign of the limit state counts, so it may jump at the edge or be flat on one side of it, as long as what
//! lies beyond the edge fails. Costs some ten times as much as slopes of the limit state itself.
//! Source: our own; the step is that of Hasofer & Lind 1974 for F.

use super::design_point::{DesignPoint, DesignPointError, dot};
use super::standard_normal;
use rayon::prelude::*;
use std::sync::atomic::{AtomicU64, Ordering};

/// Distance to which an edge is located along a ray [standard deviations].
const CLOSE: f64 = 1e-3;
/// How far to either side rays are compared [standard deviations].
const ASIDE: f64 = 0.2;
/// How much further out than expected an edge is looked for [standard deviations].
const REACH: f64 = 2.0;
/// A step that gains less, or slopes that promise no more, end the search [standard deviations].
const GAIN: f64 = 2e-3;
/// Shortest step tried, as a share of the way to the plane.
const SHORTEST: f64 = 0.05;

/// A limit state of which only the sign counts, and how often it was asked.
struct Edge<'a, G> {
    limit_state: &'a G,
    evaluations: AtomicU64,
}

impl<G, E> Edge<'_, G>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
{
    /// The limit state `distance` out; a point without a value is no known failure.
    fn at(&self, direction: &[f64], distance: f64) -> f64 {
        self.evaluations.fetch_add(1, Ordering::Relaxed);
        let point: Vec<f64> = direction.iter().map(|d| distance * d).collect();
        match (self.limit_state)(&point) {
            Ok(value) if !value.is_nan() => value,
            _ => f64::INFINITY,
        }
    }

    /// Where failure begins along a ray, looked for around `near`; none where nothing fails that is
    /// up to [`REACH`] further out.
    fn distance(&self, direction: &[f64], near: f64) -> Option<f64> {
        let mut step = 0.05;
        let value = self.at(direction, near);
        let (mut passes, mut fails);
        if value <= 0.0 {
            fails = (near, value);
            loop {
                let distance = (near - step).max(0.0);
                let value = self.at(direction, distance);
                if value > 0.0 {
                    passes = (distance, value);
                    break;
                }
                if distance == 0.0 {
                    return Some(0.0);
                }
                fails = (distance, value);
                step *= 2.0;
            }
        } else {
            passes = (near, value);
            loop {
                if passes.0 >= near + REACH {
                    return None;
                }
                let distance = near + step.min(REACH);
                let value = self.at(direction, distance);
                if value <= 0.0 {
                    fails = (distance, value);
                    break;
                }
                passes = (distance, value);
                step *= 2.0;
            }
        }
        // A chord, kept clear of the ends by what is close enough, and halves in turns: few evaluations
        // where the limit state is smooth, few more where it jumps.
        let mut chord = true;
        while fails.0 - passes.0 > CLOSE {
            let share = if chord && passes.1.is_finite() && fails.1.is_finite() {
                passes.1 / (passes.1 - fails.1)
            } else {
                0.5
            };
            let width = fails.0 - passes.0;
            let kept = (0.4 * CLOSE / width).min(0.5);
            let distance = passes.0 + share.clamp(kept, 1.0 - kept) * width;
            let value = self.at(direction, distance);
            if value <= 0.0 {
                fails = (distance, value);
            } else {
                passes = (distance, value);
            }
            chord = !chord;
        }
        Some(fails.0)
    }
}

/// The nearest failure found from `start`, which fails: there and in `doubt` it says how well that is determined.
///
/// # Errors
///
/// A start that is the origin, or along which nothing fails.
pub(super) fn nearest_on_rays<G, E>(
    limit_state: &G,
    start: &[f64],
    tolerance: f64,
    iterations: usize,
) -> Result<DesignPoint, DesignPointError<E>>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
    E: Send,
{
    let edge = Edge {
        limit_state,
        evaluations: AtomicU64::new(0),
    };
    let far = dot(start, start).sqrt();
    let mut direction = unit(start).ok_or(DesignPointError::Settings(
        "rays need a start other than the origin",
    ))?;
    let mut distance = edge
        .distance(&direction, far)
        .filter(|distance| *distance > 0.0)
        .ok_or(DesignPointError::Settings(
            "no edge lies between the origin and the start",
        ))?;
    let mut iteration = 0;
    loop {
        let slopes = slopes(&edge, &direction, distance);
        let normal: Vec<f64> = direction
            .iter()
            .zip(&slopes)
            .map(|(d, slope)| d - slope / distance)
            .collect();
        let normal = unit(&normal).unwrap_or_else(|| direction.clone());
        let beta = distance * dot(&normal, &direction);
        let misalignment = (distance * distance - beta * beta).max(0.0).sqrt();
        let settled = misalignment <= tolerance || distance - beta <= GAIN;
        let next = if settled || iteration >= iterations {
            None
        } else {
            nearer(&edge, &direction, distance, &normal)
        };
        let Some(next) = next else {
            return Ok(DesignPoint {
                point: direction.iter().map(|d| distance * d).collect(),
                reliability_index: distance,
                doubt: if settled { 0.0 } else { distance - beta },
                // The plane through the point found, where slopes say nothing better.
                direction: if settled { normal } else { direction },
                probability: standard_normal::exceedance(distance),
                iterations: iteration,
                evaluations: edge.evaluations.into_inner(),
            });
        };
        (direction, distance) = next;
        iteration += 1;
    }
}

/// A direction between this one and the normal along which failure begins earlier.
fn nearer<G, E>(
    edge: &Edge<'_, G>,
    direction: &[f64],
    distance: f64,
    normal: &[f64],
) -> Option<(Vec<f64>, f64)>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
{
    let mut length = 1.0;
    while length > SHORTEST {
        let between: Vec<f64> = direction
            .iter()
            .zip(normal)
            .map(|(d, n)| d + length * (n - d))
            .collect();
        let between = unit(&between)?;
        // What fails that is nearer is all that is asked.
        if edge.at(&between, distance - GAIN) <= 0.0 {
            return edge
                .distance(&between, distance - GAIN)
                .map(|found| (between, found));
        }
        length *= 0.5;
    }
    None
}

/// Slopes of the distance along each coordinate of the direction, side by side. Where one neighbour
/// meets no failure the other counts alone.
fn slopes<G, E>(edge: &Edge<'_, G>, direction: &[f64], distance: f64) -> Vec<f64>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
{
    let aside = ASIDE / distance.max(1.0);
    (0..direction.len())
        .into_par_iter()
        .map(|input| {
            let beside = |step: f64| {
                let mut moved = direction.to_vec();
                if let Some(slot) = moved.get_mut(input) {
                    *slot += step;
                }
                edge.distance(&unit(&moved)?, distance)
            };
            match (beside(aside), beside(-aside)) {
                (Some(after), Some(before)) => (after - before) / (2.0 * aside),
                (Some(after), None) => (after - distance) / aside,
                (None, Some(before)) => (distance - before) / aside,
                (None, None) => 0.0,
            }
        })
        .collect()
}

fn unit(vector: &[f64]) -> Option<Vec<f64>> {
    let length = dot(vector, vector).sqrt();
    (length > 0.0).then(|| vector.iter().map(|v| v / length).collect())
}
