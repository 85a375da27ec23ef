//! Quantiles, probabilities, densities and moments of every form of [`Distribution`].
//!
//! Sources: Johnson, Kotz & Balakrishnan 1994-95, Continuous Univariate
//! Distributions: normal 13, lognormal 14, Weibull 21, beta 25; Kotz & van Dorp 2004,
//! Beyond Beta, ch. 1 (triangular). Validity of the parameters is the business of
//! [`Distribution::validate`].

use super::distribution::Distribution;
use super::incomplete_beta;
use super::standard_normal;
use super::truncated_normal::TruncatedNormal;
use statrs::function::gamma::gamma;

impl Distribution {
    /// The value that the distribution stays at or below with probability `u`; the ends
    /// of the support for `u` at or beyond 0 and 1. Exact, and for lists and betas slow:
    /// trials use [`QuantileFunction`](super::QuantileFunction).
    pub fn quantile(&self, u: f64) -> f64 {
        if u.is_nan() {
            return f64::NAN;
        }
        if u <= 0.0 {
            return self.support().0;
        }
        if u >= 1.0 {
            return self.support().1;
        }
        match *self {
            Self::Constant { value } => value,
            Self::Normal {
                mean,
                standard_deviation,
            } => mean + standard_deviation * standard_normal::quantile(u),
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => TruncatedNormal::new(mean, standard_deviation, low, high).quantile(u),
            Self::Uniform { low, high } => low + u * (high - low),
            Self::Triangular { low, mode, high } => {
                let width = high - low;
                if u * width < mode - low {
                    low + (u * width * (mode - low)).sqrt()
                } else {
                    high - ((1.0 - u) * width * (high - mode)).sqrt()
                }
            }
            Self::Pert { .. } | Self::Beta { .. } => {
                let (low, high, alpha, beta) = self.beta_parameters();
                let (x, y) = incomplete_beta::quantile_pair(alpha, beta, u);
                between(low, high, x, y)
            }
            Self::Lognormal { median, factor } => {
                median * (factor.ln() * standard_normal::quantile(u)).exp()
            }
            Self::Weibull {
                location,
                scale,
                shape,
            } => location + scale * (-(-u).ln_1p()).powf(1.0 / shape),
            Self::Empirical { .. } | Self::Discrete { .. } => {
                let steps = self.steps();
                let index = steps.partition_point(|(_, cumulative)| *cumulative < u);
                steps
                    .get(index)
                    .or(steps.last())
                    .map_or(f64::NAN, |(value, _)| *value)
            }
        }
    }

    /// Probability of a value at or below `x`.
    pub fn cumulative(&self, x: f64) -> f64 {
        match *self {
            Self::Constant { value } => f64::from(u8::from(x >= value)),
            Self::Normal {
                mean,
                standard_deviation,
            } => standard_normal::cumulative((x - mean) / standard_deviation),
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => TruncatedNormal::new(mean, standard_deviation, low, high).cumulative(x),
            Self::Uniform { low, high } => ((x - low) / (high - low)).clamp(0.0, 1.0),
            Self::Triangular { low, mode, high } => {
                let width = high - low;
                if x <= low {
                    0.0
                } else if x < mode {
                    (x - low).powi(2) / (width * (mode - low))
                } else if x < high {
                    1.0 - (high - x).powi(2) / (width * (high - mode))
                } else {
                    1.0
                }
            }
            Self::Pert { .. } | Self::Beta { .. } => {
                let (low, high, alpha, beta) = self.beta_parameters();
                let (t, rest) = fractions(low, high, x);
                incomplete_beta::regularised(alpha, beta, t, rest)
            }
            Self::Lognormal { median, factor } => {
                if x <= 0.0 {
                    0.0
                } else {
                    standard_normal::cumulative((x / median).ln() / factor.ln())
                }
            }
            Self::Weibull {
                location,
                scale,
                shape,
            } => -(-((x - location) / scale).max(0.0).powf(shape)).exp_m1(),
            Self::Empirical { .. } | Self::Discrete { .. } => {
                let steps = self.steps();
                let index = steps.partition_point(|(value, _)| *value <= x);
                index
                    .checked_sub(1)
                    .and_then(|i| steps.get(i))
                    .map_or(0.0, |(_, p)| *p)
            }
        }
    }

    /// Probability of a value above `x`, without loss where it is small.
    pub fn exceedance(&self, x: f64) -> f64 {
        match *self {
            Self::Normal {
                mean,
                standard_deviation,
            } => standard_normal::exceedance((x - mean) / standard_deviation),
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => TruncatedNormal::new(mean, standard_deviation, low, high).exceedance(x),
            Self::Lognormal { median, factor } if x > 0.0 => {
                standard_normal::exceedance((x / median).ln() / factor.ln())
            }
            Self::Weibull {
                location,
                scale,
                shape,
            } => (-((x - location) / scale).max(0.0).powf(shape)).exp(),
            Self::Pert { .. } | Self::Beta { .. } => {
                let (low, high, alpha, beta) = self.beta_parameters();
                let (t, rest) = fractions(low, high, x);
                incomplete_beta::regularised(beta, alpha, rest, t)
            }
            _ => 1.0 - self.cumulative(x),
        }
    }

    /// Probability density at `x`; for the discrete forms the probability of exactly `x`.
    pub fn density(&self, x: f64) -> f64 {
        match *self {
            Self::Constant { value } => f64::from(u8::from(x == value)),
            Self::Normal {
                mean,
                standard_deviation,
            } => standard_normal::density((x - mean) / standard_deviation) / standard_deviation,
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => TruncatedNormal::new(mean, standard_deviation, low, high).density(x),
            Self::Uniform { low, high } => {
                if (low..=high).contains(&x) {
                    1.0 / (high - low)
                } else {
                    0.0
                }
            }
            Self::Triangular { low, mode, high } => {
                let peak = 2.0 / (high - low);
                if x < low || x > high {
                    0.0
                } else if x < mode {
                    peak * (x - low) / (mode - low)
                } else if x > mode {
                    peak * (high - x) / (high - mode)
                } else {
                    peak
                }
            }
            Self::Pert { .. } | Self::Beta { .. } => {
                let (low, high, alpha, beta) = self.beta_parameters();
                if x < low || x > high {
                    return 0.0;
                }
                let (t, rest) = fractions(low, high, x);
                incomplete_beta::density(alpha, beta, t, rest) / (high - low)
            }
            Self::Lognormal { median, factor } => {
                if x <= 0.0 {
                    return 0.0;
                }
                let sigma = factor.ln();
                standard_normal::density((x / median).ln() / sigma) / (sigma * x)
            }
            Self::Weibull {
                location,
                scale,
                shape,
            } => {
                let t = (x - location) / scale;
                if t < 0.0 {
                    return 0.0;
                }
                shape / scale * t.powf(shape - 1.0) * (-t.powf(shape)).exp()
            }
            Self::Empirical { ref values } => {
                values.iter().filter(|value| **value == x).count() as f64 / values.len() as f64
            }
            Self::Discrete {
                ref values,
                ref weights,
            } => {
                let total: f64 = weights.iter().sum();
                let pairs = values.iter().zip(weights);
                pairs
                    .filter(|(value, _)| **value == x)
                    .map(|(_, weight)| weight)
                    .sum::<f64>()
                    / total
            }
        }
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        match *self {
            Self::Constant { value } => value,
            Self::Normal { mean, .. } => mean,
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => {
                TruncatedNormal::new(mean, standard_deviation, low, high)
                    .moments()
                    .0
            }
            Self::Uniform { low, high } => 0.5 * (low + high),
            Self::Triangular { low, mode, high } => (low + mode + high) / 3.0,
            Self::Pert { .. } | Self::Beta { .. } => {
                let (low, high, alpha, beta) = self.beta_parameters();
                between(low, high, alpha / (alpha + beta), beta / (alpha + beta))
            }
            Self::Lognormal { median, factor } => median * (0.5 * factor.ln().powi(2)).exp(),
            Self::Weibull {
                location,
                scale,
                shape,
            } => location + scale * gamma(1.0 + 1.0 / shape),
            Self::Empirical { ref values } => values.iter().sum::<f64>() / values.len() as f64,
            Self::Discrete { .. } => self.weighted(|value| value),
        }
    }

    /// Standard deviation; of the list itself (divisor n) for an empirical one.
    pub fn standard_deviation(&self) -> f64 {
        match *self {
            Self::Constant { .. } => 0.0,
            Self::Normal {
                standard_deviation, ..
            } => standard_deviation,
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => {
                TruncatedNormal::new(mean, standard_deviation, low, high)
                    .moments()
                    .1
            }
            Self::Uniform { low, high } => (high - low) / 12.0_f64.sqrt(),
            Self::Triangular { low, mode, high } => {
                // (l^2 + m^2 + h^2 - lm - lh - mh)/18, as squares of differences
                let (rise, fall) = (mode - low, high - mode);
                ((rise * rise + rise * fall + fall * fall) / 18.0).sqrt()
            }
            Self::Pert { .. } | Self::Beta { .. } => {
                let (low, high, alpha, beta) = self.beta_parameters();
                let sum = alpha + beta;
                (high - low) * (alpha * beta / (sum + 1.0)).sqrt() / sum
            }
            Self::Lognormal { factor, .. } => self.mean() * (factor.ln().powi(2)).exp_m1().sqrt(),
            Self::Weibull { scale, shape, .. } => {
                let first = gamma(1.0 + 1.0 / shape);
                scale * (gamma(1.0 + 2.0 / shape) - first * first).max(0.0).sqrt()
            }
            Self::Empirical { ref values } => {
                let mean = self.mean();
                let sum: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
                (sum / values.len() as f64).sqrt()
            }
            Self::Discrete { .. } => {
                let mean = self.mean();
                self.weighted(|value| (value - mean).powi(2)).sqrt()
            }
        }
    }

    /// Low, high and the two shapes of a beta or PERT.
    pub(super) fn beta_parameters(&self) -> (f64, f64, f64, f64) {
        match *self {
            Self::Beta {
                low,
                high,
                alpha,
                beta,
            } => (low, high, alpha, beta),
            Self::Pert { low, mode, high } => {
                let width = high - low;
                (
                    low,
                    high,
                    1.0 + 4.0 * (mode - low) / width,
                    1.0 + 4.0 * (high - mode) / width,
                )
            }
            _ => (f64::NAN, f64::NAN, f64::NAN, f64::NAN),
        }
    }

    /// The steps of a discrete form: (value, probability at or below it), ascending.
    pub(super) fn steps(&self) -> Vec<(f64, f64)> {
        let mut pairs: Vec<(f64, f64)> = match self {
            Self::Constant { value } => vec![(*value, 1.0)],
            Self::Empirical { values } => values.iter().map(|value| (*value, 1.0)).collect(),
            Self::Discrete { values, weights } => values
                .iter()
                .zip(weights)
                .filter(|(_, weight)| **weight > 0.0)
                .map(|(value, weight)| (*value, *weight))
                .collect(),
            _ => Vec::new(),
        };
        pairs.sort_by(|left, right| left.0.total_cmp(&right.0));
        let total: f64 = pairs.iter().map(|(_, weight)| weight).sum();
        let mut running = 0.0;
        for pair in &mut pairs {
            running += pair.1;
            pair.1 = running / total;
        }
        if let Some(last) = pairs.last_mut() {
            last.1 = 1.0;
        }
        pairs
    }

    /// Weighted mean of a function of the values of a discrete choice.
    fn weighted(&self, of: impl Fn(f64) -> f64) -> f64 {
        let Self::Discrete { values, weights } = self else {
            return f64::NAN;
        };
        let total: f64 = weights.iter().sum();
        values
            .iter()
            .zip(weights)
            .map(|(value, weight)| weight * of(*value))
            .sum::<f64>()
            / total
    }
}

/// The point a fraction x (rest y = 1 - x) of the way from low to high, measured
/// from the nearer end.
pub(super) fn between(low: f64, high: f64, x: f64, y: f64) -> f64 {
    if x <= 0.5 {
        low + x * (high - low)
    } else {
        high - y * (high - low)
    }
}

/// The inverse of [`between`], limited to 0..1.
fn fractions(low: f64, high: f64, x: f64) -> (f64, f64) {
    let width = high - low;
    (
        ((x - low) / width).clamp(0.0, 1.0),
        ((high - x) / width).clamp(0.0, 1.0),
    )
}
