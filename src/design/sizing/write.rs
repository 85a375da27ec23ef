//! Values back into the words of a design file, scaled.

use crate::design::expression::{self, Own};
use crate::statistics::Distribution;
use crate::units::{Dimension, UnitSystem, axis_unit};

/// Six significant digits without padding.
fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    rounded.to_string()
}

/// A certain value with its unit, six significant digits.
pub(super) fn quantity(dimension: Dimension, value: f64) -> String {
    with_unit(dimension, value, value)
}

/// A value in the unit that fits `size`.
fn with_unit(dimension: Dimension, size: f64, value: f64) -> String {
    let unit = axis_unit(dimension, size, UnitSystem::Metric);
    let shown = number(unit.from_si(value));
    if unit.symbol.is_empty() {
        shown
    } else {
        format!("{shown} {}", unit.symbol)
    }
}

/// A value as written, times a factor, with its uncertainty in proportion; `None` for a shared
/// draw or a text that is no value.
pub(super) fn scaled(text: &str, dimension: Dimension, factor: f64) -> Option<String> {
    let expression = expression::parse(text, dimension).ok()?;
    if expression.shared.is_some() {
        return None;
    }
    match expression.own {
        Own::Fixed(value) => Some(quantity(dimension, value * factor)),
        Own::Uncertain(distribution) => {
            let distribution = distribution.scale(factor).ok()?;
            Some(written(&distribution, dimension))
        }
    }
}

/// A distribution as a design file says it.
fn written(distribution: &Distribution, dimension: Dimension) -> String {
    let size = distribution.central();
    let value = |value: f64| with_unit(dimension, size, value);
    match distribution {
        Distribution::Constant { value: only } => value(*only),
        Distribution::Normal {
            mean,
            standard_deviation,
        } => format!("normal {} sd {}", value(*mean), value(*standard_deviation)),
        Distribution::TruncatedNormal {
            mean,
            standard_deviation,
            low,
            high,
        } => format!(
            "normal {} sd {} within {} .. {}",
            value(*mean),
            value(*standard_deviation),
            value(*low),
            value(*high)
        ),
        Distribution::Uniform { low, high } => {
            format!("uniform {} .. {}", value(*low), value(*high))
        }
        Distribution::Triangular { low, mode, high } => {
            format!(
                "triangle {} .. {} .. {}",
                value(*low),
                value(*mode),
                value(*high)
            )
        }
        Distribution::Pert { low, mode, high } => {
            format!(
                "pert {} .. {} .. {}",
                value(*low),
                value(*mode),
                value(*high)
            )
        }
        Distribution::Lognormal { median, factor } => {
            format!("lognormal {} factor {}", value(*median), number(*factor))
        }
        Distribution::Beta {
            low,
            high,
            alpha,
            beta,
        } => format!(
            "beta {} .. {} shape {} {}",
            value(*low),
            value(*high),
            number(*alpha),
            number(*beta)
        ),
        Distribution::Weibull {
            location,
            scale,
            shape,
        } => format!(
            "weibull scale {} shape {} above {}",
            value(*scale),
            number(*shape),
            value(*location)
        ),
        Distribution::Empirical { values } => {
            let values: Vec<String> = values.iter().map(|v| value(*v)).collect();
            format!("sample {}", values.join(", "))
        }
        Distribution::Discrete { values, weights } => {
            let total: f64 = weights.iter().sum();
            let choices: Vec<String> = values
                .iter()
                .zip(weights)
                .map(|(v, weight)| format!("{}: {} %", value(*v), 100.0 * weight / total))
                .collect();
            format!("choice {}", choices.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_comes_back_scaled() {
        let forms = [
            "1.15 L",
            "normal 1.15 L sd 0.05 L",
            "normal 1.15 L sd 4 % within 1.0 L .. 1.3 L",
            "uniform 1 L .. 1.2 L",
            "triangle 1 L .. 1.1 L .. 1.3 L",
            "pert 1 L .. 1.1 L .. 1.3 L",
            "lognormal 1.2 L factor 1.6",
            "beta 1 L .. 2 L shape 2 5",
            "weibull scale 1 L shape 12 above 0.2 L",
            "sample 1 L, 1.1 L, 1.3 L",
            "choice 1 L: 60 %, 2 L: 40 %",
        ];
        let parse = |text: &str| {
            expression::parse(text, Dimension::Volume).unwrap_or_else(|e| panic!("{text}: {e}"))
        };
        for text in forms {
            let double = scaled(text, Dimension::Volume, 2.0).expect("a value");
            let (before, after) = (parse(text).central(), parse(&double).central());
            assert!(
                (after / before - 2.0).abs() < 1e-5,
                "{text} became {double}"
            );
        }
        assert_eq!(scaled("$soak", Dimension::Volume, 2.0), None);
    }
}
