//! The values a fit may move: each a standard normal variate z behind its own distribution, so that
//! every prior is the unit normal and limits are kept by construction.

use crate::statistics::{Distribution, QuantileFunction, StatisticsError, standard_normal};
use crate::units::Dimension;

/// Variate below which no value is looked at.
const LOWEST: f64 = 5.0;
/// Equally likely values from which moments are taken.
const SHARES: usize = 200;

/// What a value belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// An uncertain value of the design, common to all traces or of one alone.
    Input {
        /// Index among the inputs of the design.
        index: usize,
        /// The trace it belongs to; `None` for all.
        trace: Option<usize>,
    },
    /// A value freed by the cause, common to all traces.
    Fault(usize),
    /// Clock of a trace at the start of the model [s].
    Start {
        /// The trace.
        trace: usize,
    },
    /// An error of one sensor.
    Sensor {
        /// The trace.
        trace: usize,
        /// The channel.
        channel: usize,
        /// Which error.
        error: SensorError,
    },
}

/// An error of a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SensorError {
    /// Added to every reading [SI].
    Zero,
    /// Factor on every reading [1].
    Gain,
    /// Change of the zero over the record [SI].
    Drift,
    /// Time constant [s].
    Lag,
    /// Error of the model as a share of the rise, at one knot.
    Wander(usize),
}

/// One value.
#[derive(Debug, Clone)]
pub struct Parameter {
    /// What it belongs to.
    pub role: Role,
    /// Name in sentences: "volume of bay".
    pub label: String,
    /// Where the design writes it, for an input.
    pub path: Option<String>,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// What is believed of it before the trace is seen.
    pub prior: Distribution,
    quantile: Quantile,
    logarithmic: bool,
    /// Mean and standard deviation of the coordinate.
    mean: f64,
    deviation: f64,
}

#[derive(Debug, Clone)]
enum Quantile {
    Function(QuantileFunction),
    /// Measured values in ascending order, straight lines between them: a fit needs slopes.
    Samples(Vec<f64>),
}

impl Parameter {
    /// A value with its prior.
    ///
    /// # Errors
    /// What [`Distribution::validate`] finds.
    pub fn new(
        role: Role,
        label: impl Into<String>,
        dimension: Dimension,
        prior: Distribution,
    ) -> Result<Self, StatisticsError> {
        let quantile = match &prior {
            Distribution::Empirical { values } => {
                prior.validate()?;
                let mut sorted = values.clone();
                sorted.sort_by(f64::total_cmp);
                Quantile::Samples(sorted)
            }
            other => Quantile::Function(QuantileFunction::new(other)?),
        };
        let mut parameter = Parameter {
            role,
            label: label.into(),
            path: None,
            dimension,
            prior,
            quantile,
            logarithmic: false,
            mean: 0.0,
            deviation: 1.0,
        };
        let normal = matches!(parameter.prior, Distribution::Normal { .. });
        let positive = parameter.value(-LOWEST) > 0.0;
        parameter.logarithmic = !normal && positive && dimension != Dimension::Force;
        (parameter.mean, parameter.deviation) = parameter.moments();
        Ok(parameter)
    }

    fn moments(&self) -> (f64, f64) {
        if self.is_normal() {
            let mean = self.coordinate(0.0);
            return (mean, self.coordinate(1.0) - mean);
        }
        let equal = (0..SHARES).map(|i| {
            let share = (i as f64 + 0.5) / SHARES as f64;
            self.coordinate(standard_normal::quantile(share))
        });
        let (sum, squares) = equal.fold((0.0, 0.0), |(s, q), y| (s + y, q + y * y));
        let mean = sum / SHARES as f64;
        let variance = squares / SHARES as f64 - mean * mean;
        (
            mean,
            variance
                .max(1e-24 * mean * mean)
                .max(f64::MIN_POSITIVE)
                .sqrt(),
        )
    }

    /// The value at a standard normal variate [SI].
    #[must_use]
    pub fn value(&self, z: f64) -> f64 {
        match (&self.quantile, &self.prior) {
            (
                _,
                Distribution::Normal {
                    mean,
                    standard_deviation,
                },
            ) => mean + z * standard_deviation,
            (_, Distribution::Lognormal { median, factor }) => median * factor.powf(z),
            (Quantile::Function(function), _) => function.at(standard_normal::cumulative(z)),
            (Quantile::Samples(sorted), _) => {
                let last = sorted.len().saturating_sub(1);
                let place = standard_normal::cumulative(z) * sorted.len() as f64 - 0.5;
                let place = place.clamp(0.0, last as f64);
                let left = (place as usize).min(last);
                let right = (left + 1).min(last);
                let at = |i: usize| sorted.get(i).copied().unwrap_or(f64::NAN);
                at(left) + (place - left as f64) * (at(right) - at(left))
            }
        }
    }

    /// The value as models are nearly linear in it: its logarithm where it is positive by nature and
    /// not normally distributed, so that products become sums; a force as it is, since forces add: what holds a
    /// nose is one sum of pins, friction and weight. `z` is its variate.
    #[must_use]
    pub fn coordinate(&self, z: f64) -> f64 {
        let value = self.value(z);
        if self.logarithmic {
            value.max(f64::MIN_POSITIVE).ln()
        } else {
            value
        }
    }

    /// The coordinate less its mean, in its standard deviations.
    #[must_use]
    pub fn scaled(&self, z: f64) -> f64 {
        if self.is_normal() {
            z
        } else {
            (self.coordinate(z) - self.mean) / self.deviation
        }
    }

    /// The variate of a scaled coordinate, within the limits of [`Parameter::variate`].
    #[must_use]
    pub fn unscaled(&self, y: f64) -> f64 {
        if self.is_normal() {
            return y;
        }
        let coordinate = self.mean + self.deviation * y;
        self.variate(if self.logarithmic {
            coordinate.exp()
        } else {
            coordinate
        })
    }

    /// Whether the coordinate is normally distributed.
    #[must_use]
    pub fn is_normal(&self) -> bool {
        match self.prior {
            Distribution::Normal { .. } => true,
            Distribution::Lognormal { .. } => self.logarithmic,
            _ => false,
        }
    }

    /// The variate nearest to a value [1], within five standard deviations.
    #[must_use]
    pub fn variate(&self, value: f64) -> f64 {
        let (mut low, mut high) = (-5.0, 5.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.value(middle) < value {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }
}

/// "paths.struck-neck.area" as "area of struck-neck", "nose.pins.0.strength#2" as "strength of
/// pin 2".
#[must_use]
pub fn label_of(path: &str) -> String {
    let words = |text: &str| text.replace('_', " ");
    let (path, copy) = match path.split_once('#') {
        Some((path, copy)) => (path, Some(copy)),
        None => (path, None),
    };
    let parts: Vec<&str> = path.split('.').collect();
    match parts.as_slice() {
        ["shared", name] => words(name),
        ["nose", "pins", _, field] => match copy {
            Some(copy) => format!("{} of pin {copy}", words(field)),
            None => format!("{} of pin 1", words(field)),
        },
        ["nose", rest @ ..] => format!("{} of the nose", words(&rest.join(" "))),
        ["site", rest @ ..] => format!("{} of the site", words(&rest.join(" "))),
        [_, name, rest @ ..] if !rest.is_empty() => {
            format!("{} of {name}", words(&rest.join(" ")))
        }
        _ => words(path),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_read_as_words() {
        assert_eq!(label_of("vessels.bay.volume"), "volume of bay");
        assert_eq!(
            label_of("paths.valve.opening.supply_voltage"),
            "opening supply voltage of valve"
        );
        assert_eq!(label_of("shared.soak"), "soak");
        assert_eq!(label_of("nose.pins.0.strength#2"), "strength of pin 2");
        assert_eq!(
            label_of("nose.static_friction"),
            "static friction of the nose"
        );
    }

    /// Forces add up: equal steps of the coordinate are equal steps in newtons, but equal factors of an area.
    #[test]
    fn forces_count_as_they_are() {
        let prior = Distribution::Uniform {
            low: 1.0,
            high: 9.0,
        };
        let middle = |dimension| {
            let parameter = Parameter::new(Role::Fault(0), "x", dimension, prior.clone()).unwrap();
            let [low, high] = [1.5, 6.0].map(|value| parameter.scaled(parameter.variate(value)));
            parameter.value(parameter.unscaled(0.5 * (low + high)))
        };
        let (force, area) = (middle(Dimension::Force), middle(Dimension::Area));
        assert!((force - 3.75).abs() < 1e-6, "{force}");
        assert!((area - 3.0).abs() < 1e-6, "{area}");
    }

    #[test]
    fn variates_and_values_invert() {
        let priors = [
            Distribution::Uniform {
                low: 2.0,
                high: 3.0,
            },
            Distribution::Lognormal {
                median: 1.2,
                factor: 1.6,
            },
            Distribution::Triangular {
                low: 1.0,
                mode: 2.0,
                high: 6.0,
            },
            Distribution::Empirical {
                values: vec![3.0, 1.0, 2.0, 5.0],
            },
        ];
        for prior in priors {
            let form = prior.form();
            let role = Role::Fault(0);
            let parameter = Parameter::new(role, "x", Dimension::Number, prior).unwrap();
            for z in [-1.0, -0.2, 0.0, 0.6] {
                let back = parameter.variate(parameter.value(z));
                let (a, b) = (parameter.value(back), parameter.value(z));
                assert!((a - b).abs() < 1e-9, "{form} {z} {back}");
            }
        }
    }
}
