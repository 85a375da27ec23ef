//! Uncertain values as people write them.
//!
//! This file says what the forms are, when they make sense, where they can reach
//! and which single value stands for each; their probabilities are in
//! `probability.rs`, the fast draws in [`quantile_function`](super::quantile_function).

use super::error::StatisticsError;
use super::truncated_normal::TruncatedNormal;

/// A probability distribution of one uncertain value.
///
/// Call [`validate`](Self::validate) once; the other methods assume a valid
/// distribution and return NaN, not a panic, for one that is not.
#[derive(Debug, Clone, PartialEq)]
pub enum Distribution {
    /// One certain value.
    Constant {
        /// The value.
        value: f64,
    },
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation, > 0.
        standard_deviation: f64,
    },
    /// Normal, conditional on lying between two limits (either may be infinite).
    TruncatedNormal {
        /// Mean of the normal before truncation.
        mean: f64,
        /// Standard deviation before truncation, > 0.
        standard_deviation: f64,
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Equally likely anywhere between two limits.
    Uniform {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Triangular: density rises linearly to the mode and falls linearly from it.
    Triangular {
        /// Lower limit.
        low: f64,
        /// Most likely value.
        mode: f64,
        /// Upper limit.
        high: f64,
    },
    /// PERT: a beta with shapes 1 + 4 (mode - low)/(high - low) and
    /// 1 + 4 (high - mode)/(high - low) (Clark 1962, Oper. Res. 10, 405; Vose's weight 4).
    Pert {
        /// Lower limit.
        low: f64,
        /// Most likely value.
        mode: f64,
        /// Upper limit.
        high: f64,
    },
    /// Lognormal: one standard deviation either way is a factor.
    Lognormal {
        /// Median, > 0.
        median: f64,
        /// Geometric standard deviation, > 1: 68 % lie within median/factor .. median*factor.
        factor: f64,
    },
    /// Beta between two limits.
    Beta {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// Shape at the lower limit, 0.05 to 1e6.
        alpha: f64,
        /// Shape at the upper limit, 0.05 to 1e6.
        beta: f64,
    },
    /// Weibull: P(X > x) = exp(-((x - location)/scale)^shape).
    Weibull {
        /// Smallest possible value.
        location: f64,
        /// Scale, > 0: 63.2 % lie below location + scale.
        scale: f64,
        /// Shape, 0.05 to 1e4.
        shape: f64,
    },
    /// Measured values, each equally likely to be drawn again; nothing between or
    /// beyond them is ever drawn (no smoothing: the list speaks for itself).
    Empirical {
        /// The measured values, in any order.
        values: Vec<f64>,
    },
    /// A choice among values with weights (need not add up to 1).
    Discrete {
        /// The values, in any order.
        values: Vec<f64>,
        /// The weights, >= 0, one for each value.
        weights: Vec<f64>,
    },
}

/// Range of shapes of a beta for which the quantile table is tested.
const BETA_SHAPES: std::ops::RangeInclusive<f64> = 0.05..=1e6;

impl Distribution {
    /// Name of the form, in lower case.
    pub fn form(&self) -> &'static str {
        match self {
            Self::Constant { .. } => "constant",
            Self::Normal { .. } => "normal",
            Self::TruncatedNormal { .. } => "truncated normal",
            Self::Uniform { .. } => "uniform",
            Self::Triangular { .. } => "triangular",
            Self::Pert { .. } => "pert",
            Self::Lognormal { .. } => "lognormal",
            Self::Beta { .. } => "beta",
            Self::Weibull { .. } => "weibull",
            Self::Empirical { .. } => "empirical",
            Self::Discrete { .. } => "discrete",
        }
    }

    /// Whether the value jumps between isolated points (constant, empirical, discrete).
    pub fn is_discrete(&self) -> bool {
        matches!(
            self,
            Self::Constant { .. } | Self::Empirical { .. } | Self::Discrete { .. }
        )
    }

    /// Checks that the parameters describe a distribution.
    ///
    /// # Errors
    ///
    /// [`StatisticsError`] naming the form, the parameter and the rule it breaks.
    pub fn validate(&self) -> Result<(), StatisticsError> {
        let form = self.form();
        let parameter = |parameter: &'static str, value: f64, good: bool, rule: &'static str| {
            if good {
                Ok(())
            } else {
                Err(StatisticsError::Parameter {
                    form,
                    parameter,
                    value,
                    rule,
                })
            }
        };
        let finite = |name, value: f64| parameter(name, value, value.is_finite(), "finite");
        let positive = |name, value: f64| {
            parameter(
                name,
                value,
                value.is_finite() && value > 0.0,
                "finite and positive",
            )
        };
        let ordered = |low: f64, high: f64, good: bool, rule: &'static str| {
            if good {
                Ok(())
            } else {
                Err(StatisticsError::Order {
                    form,
                    rule,
                    low,
                    high,
                })
            }
        };
        match *self {
            Self::Constant { value } => finite("value", value),
            Self::Normal {
                mean,
                standard_deviation,
            } => {
                finite("mean", mean)?;
                positive("standard deviation", standard_deviation)
            }
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => {
                finite("mean", mean)?;
                positive("standard deviation", standard_deviation)?;
                ordered(low, high, low < high, "low < high")?;
                let mass = TruncatedNormal::new(mean, standard_deviation, low, high).mass();
                if mass > 1e-200 {
                    Ok(())
                } else {
                    Err(StatisticsError::NothingLeft {
                        mean,
                        standard_deviation,
                        low,
                        high,
                        mass,
                    })
                }
            }
            Self::Uniform { low, high } => {
                finite("low", low)?;
                finite("high", high)?;
                ordered(low, high, low < high, "low < high")
            }
            Self::Triangular { low, mode, high } | Self::Pert { low, mode, high } => {
                finite("low", low)?;
                finite("high", high)?;
                ordered(low, high, low < high, "low < high")?;
                let between = (low..=high).contains(&mode);
                parameter("mode", mode, between, "between low and high")
            }
            Self::Lognormal { median, factor } => {
                positive("median", median)?;
                let good = factor.is_finite() && factor > 1.0;
                parameter("factor", factor, good, "finite and greater than 1")
            }
            Self::Beta {
                low,
                high,
                alpha,
                beta,
            } => {
                finite("low", low)?;
                finite("high", high)?;
                ordered(low, high, low < high, "low < high")?;
                let rule = "between 0.05 and 1e6";
                parameter("alpha", alpha, BETA_SHAPES.contains(&alpha), rule)?;
                parameter("beta", beta, BETA_SHAPES.contains(&beta), rule)
            }
            Self::Weibull {
                location,
                scale,
                shape,
            } => {
                finite("location", location)?;
                positive("scale", scale)?;
                let good = (0.05..=1e4).contains(&shape);
                parameter("shape", shape, good, "between 0.05 and 1e4")
            }
            Self::Empirical { ref values } => {
                if values.is_empty() {
                    return Err(StatisticsError::EmptyList { form });
                }
                values.iter().try_for_each(|&value| finite("value", value))
            }
            Self::Discrete {
                ref values,
                ref weights,
            } => {
                if values.is_empty() {
                    return Err(StatisticsError::EmptyList { form });
                }
                if values.len() != weights.len() {
                    let (left, right) = (values.len(), weights.len());
                    let what = "values and weights of a discrete choice";
                    return Err(StatisticsError::LengthMismatch { what, left, right });
                }
                values
                    .iter()
                    .try_for_each(|&value| finite("value", value))?;
                weights.iter().try_for_each(|&weight| {
                    let good = weight.is_finite() && weight >= 0.0;
                    parameter("weight", weight, good, "finite and not negative")
                })?;
                let total: f64 = weights.iter().sum();
                if total > 0.0 && total.is_finite() {
                    Ok(())
                } else {
                    Err(StatisticsError::NoWeight { total })
                }
            }
        }
    }

    /// The one value that stands for the distribution where a single value is
    /// wanted: the number a person would say the value "is".
    ///
    /// | form | value |
    /// |---|---|
    /// | constant | the value |
    /// | normal | mean |
    /// | truncated normal | mean of the parent, moved to the nearer limit if outside |
    /// | uniform | middle |
    /// | triangular, PERT | mode |
    /// | lognormal | median |
    /// | beta, Weibull | median |
    /// | empirical | median (mean of the middle two of an even number) |
    /// | discrete | heaviest (first of equals) |
    pub fn central(&self) -> f64 {
        match *self {
            Self::Constant { value } => value,
            Self::Normal { mean, .. } => mean,
            Self::TruncatedNormal {
                mean, low, high, ..
            } => mean.max(low).min(high),
            Self::Uniform { low, high } => 0.5 * (low + high),
            Self::Triangular { mode, .. } | Self::Pert { mode, .. } => mode,
            Self::Lognormal { median, .. } => median,
            Self::Beta { .. } | Self::Weibull { .. } => self.quantile(0.5),
            Self::Empirical { ref values } => median(values),
            Self::Discrete {
                ref values,
                ref weights,
            } => {
                let mut best = (f64::NAN, f64::NEG_INFINITY);
                for (&value, &weight) in values.iter().zip(weights) {
                    if weight > best.1 {
                        best = (value, weight);
                    }
                }
                best.0
            }
        }
    }

    /// Smallest and largest value the distribution can give (infinite where unbounded).
    pub fn support(&self) -> (f64, f64) {
        match *self {
            Self::Constant { value } => (value, value),
            Self::Normal { .. } => (f64::NEG_INFINITY, f64::INFINITY),
            Self::TruncatedNormal { low, high, .. }
            | Self::Uniform { low, high }
            | Self::Triangular { low, high, .. }
            | Self::Pert { low, high, .. }
            | Self::Beta { low, high, .. } => (low, high),
            Self::Lognormal { .. } => (0.0, f64::INFINITY),
            Self::Weibull { location, .. } => (location, f64::INFINITY),
            Self::Empirical { ref values } => extremes(values.iter().copied()),
            Self::Discrete {
                ref values,
                ref weights,
            } => {
                let pairs = values.iter().zip(weights);
                extremes(
                    pairs
                        .filter(|(_, weight)| **weight > 0.0)
                        .map(|(value, _)| *value),
                )
            }
        }
    }

    /// Probability of a value outside `low ..= high`: what a caller needs to refuse
    /// a distribution that can leave the valid range of its quantity.
    pub fn probability_outside(&self, low: f64, high: f64) -> f64 {
        let (least, most) = self.support();
        let mut outside = 0.0;
        if least < low {
            outside += self.cumulative(low.next_down());
        }
        if most > high {
            outside += self.exceedance(high);
        }
        outside
    }

    /// The distribution of `factor * X`.
    ///
    /// # Errors
    ///
    /// As [`affine`](Self::affine).
    pub fn scale(&self, factor: f64) -> Result<Self, StatisticsError> {
        self.affine(factor, 0.0)
    }

    /// The distribution of `X + offset`.
    ///
    /// # Errors
    ///
    /// As [`affine`](Self::affine).
    pub fn shift(&self, offset: f64) -> Result<Self, StatisticsError> {
        self.affine(1.0, offset)
    }

    /// The distribution of `factor * X + offset`: how a unit is converted.
    ///
    /// # Errors
    ///
    /// [`StatisticsError::NoAffineForm`] for a factor that is zero or not finite, for
    /// a lognormal with an offset or a negative factor, and for a Weibull with a
    /// negative factor: those would be distributions of another form.
    pub fn affine(&self, factor: f64, offset: f64) -> Result<Self, StatisticsError> {
        let refuse = || StatisticsError::NoAffineForm {
            form: self.form(),
            factor,
            offset,
        };
        if !(factor.is_finite() && factor != 0.0 && offset.is_finite()) {
            return Err(refuse());
        }
        let map = |x: f64| factor * x + offset;
        // Limits change places under a negative factor.
        let ends = |low: f64, high: f64| {
            if factor > 0.0 {
                (map(low), map(high))
            } else {
                (map(high), map(low))
            }
        };
        Ok(match *self {
            Self::Constant { value } => Self::Constant { value: map(value) },
            Self::Normal {
                mean,
                standard_deviation,
            } => Self::Normal {
                mean: map(mean),
                standard_deviation: factor.abs() * standard_deviation,
            },
            Self::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            } => {
                let (low, high) = ends(low, high);
                let standard_deviation = factor.abs() * standard_deviation;
                Self::TruncatedNormal {
                    mean: map(mean),
                    standard_deviation,
                    low,
                    high,
                }
            }
            Self::Uniform { low, high } => {
                let (low, high) = ends(low, high);
                Self::Uniform { low, high }
            }
            Self::Triangular { low, mode, high } => {
                let (low, high) = ends(low, high);
                Self::Triangular {
                    low,
                    mode: map(mode),
                    high,
                }
            }
            Self::Pert { low, mode, high } => {
                let (low, high) = ends(low, high);
                Self::Pert {
                    low,
                    mode: map(mode),
                    high,
                }
            }
            Self::Beta {
                low,
                high,
                alpha,
                beta,
            } => {
                let (low, high) = ends(low, high);
                let (alpha, beta) = if factor > 0.0 {
                    (alpha, beta)
                } else {
                    (beta, alpha)
                };
                Self::Beta {
                    low,
                    high,
                    alpha,
                    beta,
                }
            }
            Self::Lognormal {
                median,
                factor: spread,
            } if factor > 0.0 && offset == 0.0 => Self::Lognormal {
                median: factor * median,
                factor: spread,
            },
            Self::Weibull {
                location,
                scale,
                shape,
            } if factor > 0.0 => Self::Weibull {
                location: map(location),
                scale: factor * scale,
                shape,
            },
            Self::Lognormal { .. } | Self::Weibull { .. } => return Err(refuse()),
            Self::Empirical { ref values } => Self::Empirical {
                values: values.iter().map(|&x| map(x)).collect(),
            },
            Self::Discrete {
                ref values,
                ref weights,
            } => Self::Discrete {
                values: values.iter().map(|&x| map(x)).collect(),
                weights: weights.clone(),
            },
        })
    }
}

/// Smallest and largest of some values; NaN for none.
fn extremes(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::NAN, f64::NAN), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

/// Median: the middle value, or the mean of the middle two.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let upper = sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN);
    let lower = sorted
        .get(sorted.len().saturating_sub(1) / 2)
        .copied()
        .unwrap_or(f64::NAN);
    0.5 * (lower + upper)
}
