//! Quantiles prepared once and asked for millions of times.
//!
//! Betas and PERTs go through a table of the logit of their quantile against the
//! standard normal variate of the same probability: a nearly straight line, whatever
//! the shapes, interpolated by cubic Hermite pieces with exact slopes. Measured
//! against the exact quantile the error is below 2e-8 of the width (tested). Outside
//! |z| = 6 (probability 1e-9) the exact inverse is used. Lists are sorted once.

use super::distribution::Distribution;
use super::error::StatisticsError;
use super::incomplete_beta::{from_logit, ln_power_over_beta, quantile_pair, quantile_pair_near};
use super::probability::between;
use super::standard_normal;
use super::truncated_normal::TruncatedNormal;

/// Reach of the table in standard deviations.
const REACH: f64 = 6.0;
/// Nodes per standard deviation.
const DENSITY: usize = 16;
const NODES: usize = 2 * REACH as usize * DENSITY + 1;
const STEP: f64 = 1.0 / DENSITY as f64;

/// The quantile of a valid distribution, made fast.
#[derive(Debug, Clone)]
pub struct QuantileFunction {
    kind: Kind,
}

#[derive(Debug, Clone)]
enum Kind {
    Closed(Distribution),
    Truncated(TruncatedNormal),
    Table(Box<BetaTable>),
    Steps(Vec<(f64, f64)>),
}

impl QuantileFunction {
    /// Prepares the quantile of `distribution`.
    ///
    /// # Errors
    ///
    /// What [`Distribution::validate`] finds.
    pub fn new(distribution: &Distribution) -> Result<Self, StatisticsError> {
        distribution.validate()?;
        let kind = match *distribution {
            Distribution::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => Kind::Truncated(TruncatedNormal::new(mean, standard_deviation, low, high)),
            Distribution::Pert { .. } | Distribution::Beta { .. } => {
                Kind::Table(Box::new(BetaTable::new(distribution.beta_parameters())))
            }
            Distribution::Empirical { .. } | Distribution::Discrete { .. } => {
                Kind::Steps(distribution.steps())
            }
            _ => Kind::Closed(distribution.clone()),
        };
        Ok(Self { kind })
    }

    /// The value at probability `u`, strictly between 0 and 1.
    pub fn at(&self, u: f64) -> f64 {
        match &self.kind {
            Kind::Closed(distribution) => distribution.quantile(u),
            Kind::Truncated(truncated) => truncated.quantile(u),
            Kind::Table(table) => table.at(u),
            Kind::Steps(steps) => {
                let index = steps.partition_point(|(_, cumulative)| *cumulative < u);
                steps
                    .get(index)
                    .or(steps.last())
                    .map_or(f64::NAN, |(value, _)| *value)
            }
        }
    }
}

/// Logit of a beta quantile, and its slope, at equally spaced normal variates.
#[derive(Debug, Clone)]
struct BetaTable {
    low: f64,
    high: f64,
    alpha: f64,
    beta: f64,
    nodes: Vec<(f64, f64)>,
}

impl BetaTable {
    fn new((low, high, alpha, beta): (f64, f64, f64, f64)) -> Self {
        let mut start = (alpha / beta).ln();
        let nodes = (0..NODES)
            .map(|index| {
                let z = index as f64 * STEP - REACH;
                let (x, y) = quantile_pair_near(alpha, beta, standard_normal::cumulative(z), start);
                let logit = x.ln() - y.ln();
                // du = phi(z) dz and du = x^a y^b / B dlogit
                let ln_phi = -0.5 * (z * z + std::f64::consts::TAU.ln());
                let slope = (ln_phi - ln_power_over_beta(alpha, beta, x, y)).exp();
                start = logit + slope * STEP;
                (logit, slope)
            })
            .collect();
        Self {
            low,
            high,
            alpha,
            beta,
            nodes,
        }
    }

    fn at(&self, u: f64) -> f64 {
        let position = (standard_normal::quantile(u) + REACH) * DENSITY as f64;
        let cell = position.floor();
        let pair = if cell >= 0.0 && cell < (NODES - 1) as f64 {
            self.nodes
                .get(cell as usize)
                .zip(self.nodes.get(cell as usize + 1))
        } else {
            None
        };
        let (x, y) = match pair {
            Some((left, right)) => from_logit(hermite(position - cell, *left, *right)),
            None => quantile_pair(self.alpha, self.beta, u),
        };
        between(self.low, self.high, x, y)
    }
}

/// Cubic Hermite interpolation between (value, slope) pairs one STEP apart.
fn hermite(t: f64, (v0, s0): (f64, f64), (v1, s1): (f64, f64)) -> f64 {
    let rise = v1 - v0;
    let (d0, d1) = (s0 * STEP, s1 * STEP);
    v0 + t * (d0 + t * (3.0 * rise - 2.0 * d0 - d1 + t * (d0 + d1 - 2.0 * rise)))
}
