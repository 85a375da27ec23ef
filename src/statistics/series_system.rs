//! Failures that come about in several ways: a design point for each, and first order over all.
//!
//! Law: a series system fails where any of its margins is 0 or less. The smallest of them has a kink wherever
//! another takes over, at which a search by slopes goes to and fro; each margin by itself has none there. So a failure
//! that was seen is pulled towards the origin until nothing fails any more, the margin that fails last is followed to
//! its own design point ([`design_point`]; along rays where it is too rough for slopes), and if another fails
//! there, that one from there. Failures that lie beyond no plane found so far lead to further points.
//!
//! First order over all: P = P(some alpha_i . u >= beta_i), between the largest and the sum of the
//! Phi(-beta_i). Planes overlap, so it is sampled: u beyond plane i drawn with chance Phi(-beta_i) / sum, P = sum x
//! mean of 1 / (planes u lies beyond), whose error is at most half of P over the root of the number.
//! Symbols: u independent standard normal; alpha, beta direction and reliability index of a design point.
//! Source: Hasofer & Lind 1974 and the papers of [`design_point`]; sampling by Owen, Maximov & Chertkov 2019,
//! Electron. J. Stat. 13, 231. Assumption: along the way from the origin to a failure what fails goes on failing.

use super::design_point::{DesignPoint, DesignPointError, DesignPointSettings, design_point, dot};
use super::ray_search::nearest_on_rays;
use super::standard_normal;
use super::stream::{Purpose, Stream};

/// Most design points, and most failures a search is begun from.
const MOST_POINTS: usize = 8;
const MOST_TRIES: usize = 10;
/// Most margins followed one after the other from one failure.
const MOST_MARGINS: usize = 5;
/// Distance to which the edge is located on the way to the origin [standard deviations].
const CLOSE: f64 = 1e-3;
/// A pulled failure this near to the plane of a point of the same margin belongs to it: edges bend
/// [standard deviations].
const SAME_EDGE: f64 = 0.3;
/// Two points of one margin nearer than this are one [standard deviations].
const SAME_POINT: f64 = 0.5;
/// A search that comes so near to a point of the same margin after the first steps is given up: it would end
/// there [standard deviations, steps].
const COMING_NEAR: f64 = 1.0;
const FIRST_STEPS: usize = 3;
/// Most iterations along rays.
const RAY_ITERATIONS: usize = 6;
/// Samples of the chance over all planes.
const UNION_SAMPLES: u64 = 10_000;

/// One way to fail.
#[derive(Debug, Clone, PartialEq)]
pub struct SystemPoint {
    /// Which margin fails there.
    pub margin: usize,
    /// Its design point.
    pub point: DesignPoint,
}

/// Why there is no margin to follow.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
enum Hole<E> {
    #[error("{0}")]
    Value(E),
    #[error("this margin has no meaning there")]
    Margin,
}

/// The design points of a series system of `margins`, most likely first, found from failures that were
/// seen (nearest to the origin first). `None` is a margin without a meaning at that point, which fails nothing.
///
/// # Errors
///
/// That of the last search, if none led to a point; no start.
pub fn design_points<G, E>(
    margins: G,
    starts: &[Vec<f64>],
    settings: &DesignPointSettings,
) -> Result<Vec<SystemPoint>, String>
where
    G: Fn(&[f64]) -> Result<Vec<Option<f64>>, E> + Sync,
    E: Send + std::fmt::Display,
{
    let mut points: Vec<SystemPoint> = Vec::new();
    let mut reason = "no failure was seen to start the search from".to_owned();
    let mut tries = 0;
    for start in starts {
        if tries >= MOST_TRIES || points.len() >= MOST_POINTS {
            break;
        }
        if points
            .iter()
            .any(|known| beyond(&known.point, start) >= 0.0)
        {
            continue;
        }
        tries += 1;
        match follow(&margins, start, &points, settings) {
            Ok(Some(found)) => {
                if points.iter().all(|known| !same(known, &found)) {
                    points.push(found);
                }
            }
            Ok(None) => {}
            Err(error) => reason = error,
        }
    }
    points.sort_by(|a, b| b.point.probability.total_cmp(&a.point.probability));
    if points.is_empty() {
        Err(reason)
    } else {
        Ok(points)
    }
}

/// How far a point lies beyond the plane of a design point [standard deviations].
fn beyond(known: &DesignPoint, point: &[f64]) -> f64 {
    dot(&known.direction, point) - known.reliability_index
}

fn same(a: &SystemPoint, b: &SystemPoint) -> bool {
    a.margin == b.margin && apart(&a.point.point, &b.point.point) < SAME_POINT
}

fn apart(a: &[f64], b: &[f64]) -> f64 {
    let square: f64 = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum();
    square.sqrt()
}

/// Follows a failure to the design point of the margin that fails first on the way there; none if
/// it lies on the edge of a point that is known.
fn follow<G, E>(
    margins: &G,
    start: &[f64],
    known: &[SystemPoint],
    settings: &DesignPointSettings,
) -> Result<Option<SystemPoint>, String>
where
    G: Fn(&[f64]) -> Result<Vec<Option<f64>>, E> + Sync,
    E: Send + std::fmt::Display,
{
    let mut start = start.to_vec();
    let mut evaluations = 0;
    let mut best: Option<SystemPoint> = None;
    for _ in 0..MOST_MARGINS {
        let (margin, at) = pull(margins, &start, &mut evaluations)?;
        let near =
            |known: &SystemPoint| known.margin == margin && beyond(&known.point, &at) > -SAME_EDGE;
        if best.is_none() && known.iter().any(near) {
            return Ok(None);
        }
        let limit_state = |u: &[f64]| {
            let all = margins(u).map_err(Hole::Value)?;
            all.get(margin).copied().flatten().ok_or(Hole::Margin)
        };
        let known_here: Vec<&DesignPoint> = known
            .iter()
            .filter(|known| known.margin == margin)
            .map(|known| &known.point)
            .collect();
        let Some(mut point) = settle(&limit_state, &at, &known_here, settings)? else {
            return Ok(best);
        };
        evaluations += point.evaluations + 1;
        point.evaluations = evaluations;
        if best
            .as_ref()
            .is_some_and(|best| best.point.reliability_index <= point.reliability_index)
        {
            break;
        }
        let there = margins(&point.point).unwrap_or_default();
        start.clone_from(&point.point);
        best = Some(SystemPoint { margin, point });
        // What fails there besides, by more than the edge is known to, has an edge nearer by.
        let here = there.get(margin).copied().flatten().unwrap_or(0.0);
        let worse = |(other, value): (usize, &Option<f64>)| {
            other != margin && value.is_some_and(|value| value < here.min(0.0) - f64::EPSILON)
        };
        if !there.iter().enumerate().any(worse) {
            break;
        }
    }
    Ok(best)
}

/// The design point by slopes, or along rays if slopes lead nowhere, or further out than `at`; none if the first
/// steps come near to a point that is known.
fn settle<G, E>(
    limit_state: &G,
    at: &[f64],
    known: &[&DesignPoint],
    settings: &DesignPointSettings,
) -> Result<Option<DesignPoint>, String>
where
    G: Fn(&[f64]) -> Result<f64, Hole<E>> + Sync,
    E: Send + std::fmt::Display,
{
    let from = |start: &[f64], iterations: usize| DesignPointSettings {
        start: Some(start.to_vec()),
        iterations,
        ..settings.clone()
    };
    let distance = dot(at, at).sqrt();
    let mut by_slopes = design_point(limit_state, at.len(), &from(at, FIRST_STEPS));
    if let Err(DesignPointError::NotConverged { point, .. }) = &by_slopes {
        if known
            .iter()
            .any(|known| apart(&known.point, point) < COMING_NEAR)
        {
            return Ok(None);
        }
        by_slopes = design_point(limit_state, at.len(), &from(point, settings.iterations));
    }
    match by_slopes {
        Ok(point) if point.reliability_index <= distance + settings.tolerance => Ok(Some(point)),
        _ if distance > 0.0 => nearest_on_rays(limit_state, at, settings.tolerance, RAY_ITERATIONS)
            .map(Some)
            .map_err(|error| error.to_string()),
        Ok(point) => Ok(Some(point)),
        Err(error) => Err(error.to_string()),
    }
}

/// The last failure on the way from `start` to the origin, and the margin that fails there. The
/// origin itself if it fails.
fn pull<G, E>(
    margins: &G,
    start: &[f64],
    evaluations: &mut u64,
) -> Result<(usize, Vec<f64>), String>
where
    G: Fn(&[f64]) -> Result<Vec<Option<f64>>, E>,
    E: std::fmt::Display,
{
    let mut look = |share: f64| {
        *evaluations += 1;
        let point: Vec<f64> = start.iter().map(|u| share * u).collect();
        let all = margins(&point).map_err(|error| error.to_string())?;
        Ok::<_, String>((worst(&all), point))
    };
    let failing = |found: &Option<(usize, f64)>| found.is_some_and(|(_, value)| value <= 0.0);
    let (found, point) = look(0.0)?;
    if let Some((margin, _)) = found.filter(|_| failing(&found)) {
        return Ok((margin, point));
    }
    // Little more than the start itself, whose failure may have been by the noise of a quicker run.
    let (mut passes, mut fails) = (0.0, None);
    for share in [1.0, 1.01, 1.05] {
        let (found, point) = look(share)?;
        if let Some((margin, _)) = found.filter(|_| failing(&found)) {
            fails = Some((share, margin, point));
            break;
        }
        passes = share;
    }
    let (mut share, mut margin, mut point) =
        fails.ok_or("a failure that was seen is none, computed with more care")?;
    let length = dot(start, start).sqrt();
    while (share - passes) * length > CLOSE {
        let middle = 0.5 * (passes + share);
        let (found, at) = look(middle)?;
        match found.filter(|_| failing(&found)) {
            Some((which, _)) => (share, margin, point) = (middle, which, at),
            None => passes = middle,
        }
    }
    Ok((margin, point))
}

/// The smallest margin and which it is.
fn worst(margins: &[Option<f64>]) -> Option<(usize, f64)> {
    margins
        .iter()
        .enumerate()
        .filter_map(|(place, margin)| Some((place, (*margin)?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Chance of lying beyond at least one of the planes of `points`: first order for the system.
#[must_use]
pub fn first_order(points: &[SystemPoint]) -> f64 {
    let sum: f64 = points.iter().map(|way| way.point.probability).sum();
    let Some(first) = points.first().filter(|_| sum > 0.0) else {
        return 0.0;
    };
    if points.len() == 1 {
        return sum;
    }
    let mut normals = vec![0.0; first.point.direction.len()];
    let mut shares = 0.0;
    for index in 0..UNION_SAMPLES {
        let mut stream = Stream::new(0, Purpose::Other, index);
        let mut pick = stream.uniform() * sum;
        let chosen = points
            .iter()
            .find(|way| {
                pick -= way.point.probability;
                pick <= 0.0
            })
            .unwrap_or(first);
        stream.fill_normal(&mut normals);
        let (direction, index) = (&chosen.point.direction, chosen.point.reliability_index);
        let out = -standard_normal::quantile(stream.uniform() * chosen.point.probability);
        let along = dot(direction, &normals);
        normals
            .iter_mut()
            .zip(direction)
            .for_each(|(u, a)| *u += (out.max(index) - along) * a);
        let others = points
            .iter()
            .filter(|way| !std::ptr::eq(*way, chosen) && beyond(&way.point, &normals) >= 0.0)
            .count();
        shares += 1.0 / (1 + others) as f64;
    }
    sum * shares / UNION_SAMPLES as f64
}
