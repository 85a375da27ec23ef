//! Values back into the words of a design file, scaled.

use crate::design::expression::{self, Own};
use crate::design::words::{in_unit, number, quantity, unit_of};
use crate::statistics::Distribution;
use crate::units::{Dimension, DisplayUnit};

/// A value as written, times a factor, in the same unit and with its uncertainty in proportion; `None` for a shared
/// draw or a text that is no value.
pub(super) fn scaled(text: &str, dimension: Dimension, factor: f64) -> Option<String> {
    let expression = expression::parse(text, dimension).ok()?;
    if expression.shared.is_some() {
        return None;
    }
    match expression.own {
        Own::Fixed(value) => Some(quantity(text, dimension, value * factor)),
        Own::Uncertain(distribution) => {
            let distribution = distribution.scale(factor).ok()?;
            let unit = unit_of(text, dimension, distribution.central());
            Some(written(&distribution, &unit))
        }
    }
}

/// A distribution as a design file says it.
fn written(distribution: &Distribution, unit: &DisplayUnit) -> String {
    let value = |value: f64| in_unit(unit, value);
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

    #[test]
    fn units_stay_as_written() {
        for (text, dimension, double) in [
            ("45 in3", Dimension::Volume, "90 in3"),
            ("0.6 L", Dimension::Volume, "1.2 L"),
            ("1.5fl oz", Dimension::Volume, "3 fl oz"),
            (
                "normal 45 in3 sd 4 % within 40 in3 .. 50 in3",
                Dimension::Volume,
                "normal 90 in3 sd 3.6 in3 within 80 in3 .. 100 in3",
            ),
            (
                "lognormal 0.0015 in2 factor 1.6",
                Dimension::Area,
                "lognormal 0.003 in2 factor 1.6",
            ),
            ("7 oz", Dimension::Mass, "14 oz"),
            ("25 lbf", Dimension::Force, "50 lbf"),
            ("500 um", Dimension::Length, "1000 um"),
        ] {
            assert_eq!(
                scaled(text, dimension, 2.0).as_deref(),
                Some(double),
                "{text}"
            );
        }
        assert_eq!(quantity("0.02 in", Dimension::Length, 0.0254), "1 in");
        // A unit that cannot be told: metric.
        assert_eq!(quantity("", Dimension::Length, 0.0254), "25.4 mm");
    }
}
