//! Draws of what the values may be after the traces, from the best fit: for intervals that know of
//! limits and skewed beliefs.
//!
//! Law: around the best fit the residuals are taken as linear in the values themselves (in the
//! logarithms of those positive by nature) rather than in the variates behind them, so that products
//! such as area times coefficient and the ends of bounded beliefs are kept. With beliefs that are
//! normal in these coordinates the posterior is normal; what the beliefs differ from normal ones of the
//! same mean and variance is made up for by weights of the draws (importance sampling; MacKay 2003,
//! Information Theory, Inference and Learning Algorithms, ch. 29).

use crate::numerics::matrix::{Matrix, dot};
use crate::statistics::stream::{Purpose, Stream};

use super::fit::Fit;
use super::model::BOUND;
use super::parameter::Parameter;
use super::problem::Problem;

/// Draws; weighed, they are worth a tenth to a fifth as many.
const DRAWS: usize = 8_000;
/// Sensitivity of all residuals below which a value keeps its prior [1]: its whole spread moves them by less
/// than a fifth of the noise, and each value drawn beside it costs weight.
const SILENT: f64 = 0.2;
/// Step of the slopes between values and variates.
const STEP: f64 = 0.1;
/// Points of the table of a belief.
const POINTS: usize = 600;

/// Weighted draws around a fit.
#[derive(Debug, Clone)]
pub struct Posterior {
    /// Variates of the values that matter: their indices, and a row for each draw.
    seen: Vec<usize>,
    draws: Vec<Vec<f64>>,
    weights: Vec<f64>,
}

/// What is believed of a scaled coordinate: scaled coordinates at equally spaced variates; empty where
/// it is normal.
struct Belief(Vec<f64>);

impl Belief {
    fn of(parameter: &Parameter) -> Self {
        if parameter.is_normal() {
            return Belief(Vec::new());
        }
        let variate = |i: usize| BOUND * (2.0 * i as f64 / POINTS as f64 - 1.0);
        Belief((0..=POINTS).map(|i| parameter.scaled(variate(i))).collect())
    }

    /// Variate of a coordinate, and the logarithm of its density over that of the normal belief of
    /// the same mean and variance; `None` where it is impossible.
    fn weighed(&self, y: f64) -> Option<(f64, f64)> {
        if self.0.is_empty() {
            return (y.abs() < BOUND).then_some((y, 0.0));
        }
        let above = self.0.partition_point(|other| *other <= y);
        let below = above.checked_sub(1)?;
        let (low, high) = (self.0.get(below)?, self.0.get(above)?);
        let spacing = 2.0 * BOUND / POINTS as f64;
        let z = -BOUND + spacing * (below as f64 + (y - low) / (high - low));
        let slope = spacing / (high - low);
        Some((z, 0.5 * (y * y - z * z) + slope.ln()))
    }
}

impl Posterior {
    /// From a fit; `None` where the normal equations cannot be solved or no
    /// draw is possible.
    #[must_use]
    pub fn of(problem: &Problem<'_, '_>, fit: &Fit) -> Option<Self> {
        let residuals = problem.settled(&fit.z).ok()?.residuals;
        let seen: Vec<usize> = (0..problem.parameters.len())
            .filter(|k| {
                let column = fit.jacobian.column(*k);
                dot(&column, &column) > SILENT * SILENT
            })
            .collect();
        let own: Vec<&Parameter> = seen
            .iter()
            .filter_map(|k| problem.parameters.get(*k))
            .collect();
        let beliefs: Vec<Belief> = own.iter().map(|parameter| Belief::of(parameter)).collect();
        let best = problem.pick(&seen, &fit.z);
        let at: Vec<f64> = own
            .iter()
            .zip(&best)
            .map(|(parameter, z)| parameter.scaled(*z))
            .collect();
        let n = seen.len();
        // In deviations of the beliefs, by the same one-sided differences towards the middle.
        let mut slopes = Matrix::zero(residuals.len(), n);
        for (place, k) in seen.iter().enumerate() {
            let (parameter, z, at) = (own.get(place)?, best.get(place)?, at.get(place)?);
            let step = if *z > 0.0 { -STEP } else { STEP };
            let rate = (parameter.scaled(z + step) - at) / step;
            if rate > 0.0 {
                for row in 0..residuals.len() {
                    slopes.set(row, place, fit.jacobian.at(row, *k) / rate);
                }
            }
        }
        let mut precision = slopes.gram();
        for i in 0..n {
            precision.set(i, i, precision.at(i, i) + 1.0);
        }
        let gradient = slopes.transpose_times(&residuals);
        let factor = precision.cholesky()?;
        let pull: Vec<f64> = at.iter().zip(&gradient).map(|(y, g)| -y - g).collect();
        let middle = factor.solve(&pull);
        let mut stream = Stream::new(1, Purpose::Other, 31);
        let mut noise = vec![0.0; n];
        let mut draws = Vec::new();
        let mut logarithms = Vec::new();
        for _ in 0..DRAWS {
            stream.fill_normal(&mut noise);
            let moved = factor.spread(&noise);
            let mut weight = 0.0;
            let draw: Option<Vec<f64>> = (0..n)
                .map(|k| {
                    let belief = beliefs.get(k)?;
                    let shift = middle.get(k)? + moved.get(k)?;
                    let (z, more) = belief.weighed(at.get(k)? + shift)?;
                    weight += more;
                    Some(z)
                })
                .collect();
            if let Some(draw) = draw {
                draws.push(draw);
                logarithms.push(weight);
            }
        }
        let most = logarithms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if !most.is_finite() {
            return None;
        }
        let weights: Vec<f64> = logarithms.iter().map(|l| (l - most).exp()).collect();
        let total: f64 = weights.iter().sum();
        Some(Posterior {
            seen,
            draws,
            weights: weights.iter().map(|w| w / total).collect(),
        })
    }

    /// Variates of one value below and above which 5 % of the weight lies; `None` for a value that
    /// keeps its prior.
    #[must_use]
    pub fn ends(&self, k: usize) -> Option<(f64, f64)> {
        let place = self.seen.iter().position(|seen| *seen == k)?;
        let mut column: Vec<(f64, f64)> = self
            .draws
            .iter()
            .zip(&self.weights)
            .filter_map(|(draw, weight)| Some((*draw.get(place)?, *weight)))
            .collect();
        column.sort_by(|a, b| a.0.total_cmp(&b.0));
        let at = |share: f64| {
            let mut gathered = 0.0;
            let found = column.iter().find(|(_, weight)| {
                gathered += weight;
                gathered >= share
            });
            found.or(column.last()).map(|(z, _)| *z)
        };
        Some((at(0.05)?, at(0.95)?))
    }
}
