//! Distributions against themselves: inverses, integrals, changes of unit, refusals.

use coldkick::statistics::error::StatisticsError;
use coldkick::statistics::{Distribution, QuantileFunction, RunningMoments};
use proptest::prelude::*;

/// Any valid continuous distribution with parameters of ordinary size.
fn continuous() -> impl Strategy<Value = Distribution> {
    let limits = (-50.0..50.0, 0.1..30.0f64, 0.0..=1.0f64);
    prop_oneof![
        (-50.0..50.0, 0.01..20.0).prop_map(|(mean, standard_deviation)| Distribution::Normal {
            mean,
            standard_deviation
        }),
        (limits.clone(), 0.1..20.0f64).prop_map(|((low, width, part), extra)| {
            // limits up to ten standard deviations from a mean up to one width outside
            let (high, mean) = (low + width, low + (3.0 * part - 1.0) * width);
            let standard_deviation = 0.1 * width + extra;
            Distribution::TruncatedNormal {
                mean,
                standard_deviation,
                low,
                high,
            }
        }),
        limits
            .clone()
            .prop_map(|(low, width, _)| Distribution::Uniform {
                low,
                high: low + width
            }),
        limits
            .clone()
            .prop_map(|(low, width, part)| Distribution::Triangular {
                low,
                mode: (low + part * width).min(low + width),
                high: low + width
            }),
        limits.prop_map(|(low, width, part)| Distribution::Pert {
            low,
            mode: (low + part * width).min(low + width),
            high: low + width
        }),
        (0.01..100.0, 1.01..4.0)
            .prop_map(|(median, factor)| Distribution::Lognormal { median, factor }),
        (-5.0..5.0, 0.1..10.0f64, 0.2..60.0, 0.2..60.0).prop_map(|(low, width, alpha, beta)| {
            Distribution::Beta {
                low,
                high: low + width,
                alpha,
                beta,
            }
        }),
        (-5.0..5.0, 0.1..50.0, 0.4..20.0).prop_map(|(location, scale, shape)| {
            Distribution::Weibull {
                location,
                scale,
                shape,
            }
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// F(Q(u)) = u; F and its complement add up to 1; Q is monotone and in the support.
    #[test]
    fn quantile_and_cumulative_invert_each_other(form in continuous(), u in 1e-6..0.999_999f64) {
        prop_assert!(form.validate().is_ok(), "{form:?}");
        let x = form.quantile(u);
        let (low, high) = form.support();
        prop_assert!(low <= x && x <= high);
        // the probability that one rounding of x is worth
        let rounding = form.density(x) * 4.0 * f64::EPSILON * x.abs().max(1.0);
        prop_assume!(rounding < 1e-3);
        prop_assert!((form.cumulative(x) - u).abs() < 1e-11 + 4.0 * rounding, "{form:?} {u} {x}");
        prop_assert!((form.cumulative(x) + form.exceedance(x) - 1.0).abs() < 1e-11);
        prop_assert!(form.quantile((u + 1e-7).min(1.0 - 1e-7)) >= x || u > 1.0 - 2e-7);
    }

    /// The table of a beta is within 2e-8 of the width of the exact quantile, and monotone.
    #[test]
    fn prepared_quantiles_are_close_and_monotone(
        alpha in 0.05..200.0f64, beta in 0.05..200.0f64, u in 1e-12..1.0f64, step in 1e-7..1e-2f64
    ) {
        let form = Distribution::Beta { low: 0.0, high: 1.0, alpha, beta };
        let prepared = QuantileFunction::new(&form).unwrap();
        let (here, there) = (prepared.at(u), prepared.at((u + step).min(1.0 - 1e-12)));
        prop_assert!((here - form.quantile(u)).abs() < 2e-8, "{}", here - form.quantile(u));
        prop_assert!(there >= here || u + step > 1.0 - 1e-12);
    }

    /// A distribution in other units is the image of the distribution.
    #[test]
    fn affine_maps_commute_with_the_quantile(
        form in continuous(), factor in 0.01..100.0f64, offset in -300.0..300.0f64, u in 0.001..0.999f64
    ) {
        for (factor, offset) in [(factor, offset), (-factor, offset), (factor, 0.0)] {
            match form.affine(factor, offset) {
                Ok(image) => {
                    let expected =
                        factor * form.quantile(if factor > 0.0 { u } else { 1.0 - u }) + offset;
                    let error = (image.quantile(u) - expected).abs();
                    let scale = expected.abs() + offset.abs() + image.standard_deviation();
                    prop_assert!(error < 1e-9 * scale, "{form:?} {image:?} {error}");
                    prop_assert!((image.mean() - factor * form.mean() - offset).abs() < 1e-9 * scale);
                }
                Err(StatisticsError::NoAffineForm { form, .. }) => {
                    prop_assert!(form == "lognormal" || form == "weibull");
                    prop_assert!(factor < 0.0 || offset != 0.0);
                }
                Err(other) => prop_assert!(false, "{other}"),
            }
        }
    }

    /// Merged moments are those of the whole.
    #[test]
    fn moments_merge(values in prop::collection::vec(-1e3..1e3f64, 3..200), cut in 0usize..200) {
        let cut = cut.min(values.len());
        let mut left: RunningMoments = values[..cut].iter().copied().collect();
        left.merge(&values[cut..].iter().copied().collect());
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        prop_assert_eq!(left.count(), values.len() as u64);
        prop_assert!((left.mean() - mean).abs() < 1e-9);
        prop_assert!((left.variance() / variance - 1.0).abs() < 1e-9);
        prop_assert_eq!(left.least(), values.iter().copied().fold(f64::INFINITY, f64::min));
    }
}

/// Mean and standard deviation are the integrals of Q and (Q - mean)^2 over (0, 1), and
/// density the slope of F.
#[test]
fn moments_are_integrals_of_the_quantile() {
    let forms = [
        Distribution::Normal {
            mean: 3.0,
            standard_deviation: 2.0,
        },
        Distribution::TruncatedNormal {
            mean: 0.0,
            standard_deviation: 1.0,
            low: 5.0,
            high: 9.0,
        },
        Distribution::Triangular {
            low: 1.0,
            mode: 1.0,
            high: 4.0,
        },
        Distribution::Pert {
            low: 0.0,
            mode: 0.2,
            high: 1.0,
        },
        Distribution::Lognormal {
            median: 2.0,
            factor: 1.3,
        },
        Distribution::Beta {
            low: -1.0,
            high: 2.0,
            alpha: 0.6,
            beta: 3.0,
        },
        Distribution::Weibull {
            location: 1.0,
            scale: 2.0,
            shape: 1.7,
        },
        Distribution::Empirical {
            values: vec![4.0, 1.0, 1.0, 7.0],
        },
        Distribution::Discrete {
            values: vec![2.0, 0.0, 1.0],
            weights: vec![1.0, 2.0, 5.0],
        },
        Distribution::Constant { value: 4.0 },
    ];
    for form in forms {
        let prepared = QuantileFunction::new(&form).unwrap();
        // substitution u = 3 s^2 - 2 s^3 thins the nodes towards the tails
        let nodes = 200_000;
        let (mut first, mut second) = (0.0, 0.0);
        for index in 0..nodes {
            let s = (f64::from(index) + 0.5) / f64::from(nodes);
            let weight = 6.0 * s * (1.0 - s) / f64::from(nodes);
            let x = prepared.at(s * s * (3.0 - 2.0 * s));
            first += weight * x;
            second += weight * x * x;
        }
        let deviation = (second - first * first).max(0.0).sqrt();
        assert!((form.mean() - first).abs() < 2e-5, "{form:?}: mean {first}");
        assert!(
            (form.standard_deviation() - deviation).abs() < 1e-4,
            "{form:?}: {deviation}"
        );
        if !form.is_discrete() {
            let (x, h) = (form.quantile(0.4), 1e-5);
            let slope = (form.cumulative(x + h) - form.cumulative(x - h)) / (2.0 * h);
            assert!((form.density(x) / slope - 1.0).abs() < 1e-6, "{form:?}");
        }
    }
}

/// The value that stands for a distribution, form by form; and lists as they are drawn.
#[test]
fn central_values_and_lists() {
    let empirical = Distribution::Empirical {
        values: vec![3.0, 1.0, 2.0, 10.0],
    };
    assert_eq!(empirical.central(), 2.5);
    assert_eq!(empirical.support(), (1.0, 10.0));
    let drawn: Vec<f64> = [0.01, 0.25, 0.26, 0.5, 0.75, 0.76, 0.999]
        .map(|u| empirical.quantile(u))
        .into();
    assert_eq!(drawn, [1.0, 1.0, 2.0, 2.0, 3.0, 10.0, 10.0]);
    let choice = Distribution::Discrete {
        values: vec![2.0, 0.0, 1.0],
        weights: vec![3.0, 3.0, 2.0],
    };
    assert_eq!(choice.central(), 2.0);
    assert_eq!(choice.quantile(0.374), 0.0);
    assert_eq!(choice.quantile(0.376), 1.0);
    assert_eq!(choice.cumulative(1.0), 0.625);
    assert_eq!(choice.density(2.0), 0.375);
    let leak = Distribution::TruncatedNormal {
        mean: -1.0,
        standard_deviation: 2.0,
        low: 0.0,
        high: f64::INFINITY,
    };
    assert_eq!(leak.central(), 0.0);
    assert_eq!(leak.probability_outside(0.0, f64::INFINITY), 0.0);
    let normal = Distribution::Normal {
        mean: 3.0,
        standard_deviation: 1.0,
    };
    let outside = normal.probability_outside(0.0, f64::INFINITY);
    assert!((outside / 1.349_898_031_630_095e-3 - 1.0).abs() < 1e-12);
}

#[test]
fn bad_distributions_are_refused_by_name() {
    let nan = f64::NAN;
    let bad = [
        (
            Distribution::Normal {
                mean: 1.0,
                standard_deviation: 0.0,
            },
            "standard deviation",
        ),
        (
            Distribution::Normal {
                mean: nan,
                standard_deviation: 1.0,
            },
            "mean",
        ),
        (
            Distribution::Uniform {
                low: 2.0,
                high: 2.0,
            },
            "low < high",
        ),
        (
            Distribution::Triangular {
                low: 0.0,
                mode: 3.0,
                high: 2.0,
            },
            "mode",
        ),
        (
            Distribution::Lognormal {
                median: 1.0,
                factor: 0.9,
            },
            "factor",
        ),
        (
            Distribution::Beta {
                low: 0.0,
                high: 1.0,
                alpha: 0.0,
                beta: 1.0,
            },
            "alpha",
        ),
        (
            Distribution::Weibull {
                location: 0.0,
                scale: -1.0,
                shape: 1.0,
            },
            "scale",
        ),
        (Distribution::Empirical { values: vec![] }, "empty"),
        (
            Distribution::Discrete {
                values: vec![1.0],
                weights: vec![],
            },
            "go together",
        ),
        (
            Distribution::Discrete {
                values: vec![1.0],
                weights: vec![0.0],
            },
            "positive",
        ),
        (
            Distribution::Discrete {
                values: vec![1.0, 2.0],
                weights: vec![2.0, -1.0],
            },
            "weight",
        ),
        (
            Distribution::TruncatedNormal {
                mean: 0.0,
                standard_deviation: 1.0,
                low: 40.0,
                high: 50.0,
            },
            "normal(0, 1)",
        ),
    ];
    for (form, word) in bad {
        let message = form.validate().unwrap_err().to_string();
        assert!(message.contains(word), "{form:?}: {message}");
        assert!(QuantileFunction::new(&form).is_err());
    }
}
