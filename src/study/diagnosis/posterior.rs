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
/// What they should be worth, and must be worth: with fewer the ends are those of single draws.
const WORTH: (f64, f64) = (200.0, 80.0);
/// Variate of the best fit beyond which the tail of a belief has little to do with its mean and variance [1].
const TAIL: f64 = 2.0;
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

/// What is believed of a scaled coordinate.
struct Belief {
    /// Scaled coordinates at equally spaced variates; empty where it is normal.
    table: Vec<f64>,
    /// Mean and standard deviation of the normal belief drawn from in its place.
    mean: f64,
    deviation: f64,
}

impl Belief {
    /// Replaced by the normal belief of the same mean and variance.
    fn of(parameter: &Parameter) -> Self {
        let variate = |i: usize| BOUND * (2.0 * i as f64 / POINTS as f64 - 1.0);
        let table = if parameter.is_normal() {
            Vec::new()
        } else {
            (0..=POINTS).map(|i| parameter.scaled(variate(i))).collect()
        };
        Belief {
            table,
            mean: 0.0,
            deviation: 1.0,
        }
    }

    /// In the tail replaced by the normal belief that is alike at the best fit, where the coordinate is `at`, its
    /// variate `z` and its rate over it `rate`.
    fn in_the_tail(mut self, z: f64, at: f64, rate: f64) -> Self {
        if !self.table.is_empty() && z.abs() > TAIL && rate > 0.0 {
            (self.mean, self.deviation) = (at - rate * z, rate);
        }
        self
    }

    /// Variate of a coordinate, and the logarithm of its density over that of the normal belief drawn from;
    /// `None` where it is impossible.
    fn weighed(&self, y: f64) -> Option<(f64, f64)> {
        if self.table.is_empty() {
            return (y.abs() < BOUND).then_some((y, 0.0));
        }
        let above = self.table.partition_point(|other| *other <= y);
        let below = above.checked_sub(1)?;
        let (low, high) = (self.table.get(below)?, self.table.get(above)?);
        let spacing = 2.0 * BOUND / POINTS as f64;
        let z = -BOUND + spacing * (below as f64 + (y - low) / (high - low));
        let slope = spacing / (high - low);
        let drawn = (y - self.mean) / self.deviation;
        Some((
            z,
            0.5 * (drawn * drawn - z * z) + (slope * self.deviation).ln(),
        ))
    }
}

/// The residuals around a fit, linear in the scaled coordinates of the values that matter.
struct Around<'p> {
    seen: Vec<usize>,
    parameters: Vec<&'p Parameter>,
    /// Variates of the fit, scaled coordinates, and rates of these over those.
    best: Vec<f64>,
    at: Vec<f64>,
    rates: Vec<f64>,
    /// J^T J and J^T r.
    normal: Matrix,
    gradient: Vec<f64>,
}

impl<'p> Around<'p> {
    fn of(problem: &'p Problem<'_, '_>, fit: &Fit) -> Option<Self> {
        let residuals = problem.settled(&fit.z).ok()?.residuals;
        let matters = |k: &usize| {
            let column = fit.jacobian.column(*k);
            dot(column, column) > SILENT * SILENT
        };
        let seen: Vec<usize> = (0..problem.parameters.len()).filter(matters).collect();
        let own = seen.iter().filter_map(|k| problem.parameters.get(*k));
        let parameters: Vec<&Parameter> = own.collect();
        let best = problem.pick(&seen, &fit.z);
        let scaled = |(parameter, z): (&&Parameter, &f64)| parameter.scaled(*z);
        let at: Vec<f64> = parameters.iter().zip(&best).map(scaled).collect();
        // One-sided, towards the middle: beliefs end.
        let rate = |((parameter, z), at): ((&&Parameter, &f64), &f64)| {
            let step = if *z > 0.0 { -STEP } else { STEP };
            (parameter.scaled(z + step) - at) / step
        };
        let rates: Vec<f64> = (parameters.iter().zip(&best).zip(&at)).map(rate).collect();
        let mut slopes = Matrix::zero(residuals.len(), seen.len());
        for (place, (k, rate)) in seen.iter().zip(&rates).enumerate() {
            if *rate > 0.0 {
                let own = fit.jacobian.column(*k);
                slopes.set_column(place, own.iter().map(|slope| slope / rate));
            }
        }
        Some(Around {
            normal: slopes.gram(),
            gradient: slopes.transpose_times(&residuals),
            seen,
            parameters,
            best,
            at,
            rates,
        })
    }

    /// Draws from normal beliefs of the same mean and variance, weighed.
    fn drawn(&self) -> Option<Posterior> {
        let beliefs = self
            .parameters
            .iter()
            .map(|parameter| Belief::of(parameter));
        self.drawn_from(&beliefs.collect::<Vec<_>>())
    }

    /// The same from normal beliefs that are alike at the fit where that lies in the tail of one.
    fn drawn_in_the_tails(&self) -> Option<Posterior> {
        let places = self.best.iter().zip(&self.at).zip(&self.rates);
        let beliefs = (self.parameters.iter().zip(places))
            .map(|(parameter, ((z, at), rate))| Belief::of(parameter).in_the_tail(*z, *at, *rate));
        self.drawn_from(&beliefs.collect::<Vec<_>>())
    }

    fn drawn_from(&self, beliefs: &[Belief]) -> Option<Posterior> {
        let n = self.seen.len();
        let mut precision = self.normal.clone();
        let mut pull = Vec::with_capacity(n);
        for (i, belief) in beliefs.iter().enumerate() {
            let own = belief.deviation.powi(-2);
            precision.set(i, i, precision.at(i, i) + own);
            pull.push(own * (belief.mean - self.at.get(i)?) - self.gradient.get(i)?);
        }
        let factor = precision.cholesky()?;
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
                    let shift = middle.get(k)? + moved.get(k)?;
                    let (z, more) = beliefs.get(k)?.weighed(self.at.get(k)? + shift)?;
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
            seen: self.seen.clone(),
            draws,
            weights: weights.iter().map(|w| w / total).collect(),
        })
    }
}

impl Posterior {
    /// From a fit; `None` where the normal equations cannot be solved or the draws, weighed, are worth too few.
    #[must_use]
    pub fn of(problem: &Problem<'_, '_>, fit: &Fit) -> Option<Self> {
        let around = Around::of(problem, fit)?;
        let whole = around.drawn();
        let enough = |posterior: &Posterior| posterior.worth() >= WORTH.0;
        let tails = if whole.as_ref().is_some_and(enough) {
            None
        } else {
            around.drawn_in_the_tails()
        };
        let found = whole.into_iter().chain(tails);
        let best = found.max_by(|a, b| a.worth().total_cmp(&b.worth()))?;
        (best.worth() >= WORTH.1).then_some(best)
    }

    /// How many draws of equal weight these are worth (Kong 1992).
    fn worth(&self) -> f64 {
        1.0 / dot(&self.weights, &self.weights)
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
