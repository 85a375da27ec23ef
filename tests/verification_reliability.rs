//! Rare-failure methods against themselves: the same bits on any number of threads, honest
//! endings, failures of the evaluation, and what a design point must satisfy.

use coldkick::statistics::design_point::{DesignPointError, DesignPointSettings, design_point};
use coldkick::statistics::error::StatisticsError;
use coldkick::statistics::sensitivity::{SensitivityDesign, estimate};
use coldkick::statistics::standard_normal;
use coldkick::statistics::subset_simulation::{SubsetEnding, SubsetSettings, subset_simulation};
use std::convert::Infallible;

fn plane(beta: f64) -> impl Fn(&[f64]) -> Result<f64, Infallible> + Sync {
    move |u| Ok(beta - u.iter().sum::<f64>() / (u.len() as f64).sqrt())
}

#[test]
fn subset_simulation_is_the_same_on_any_number_of_threads() {
    let settings = SubsetSettings {
        samples: 300,
        seed: 5,
        ..Default::default()
    };
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| subset_simulation(plane(4.0), 6, &settings).unwrap())
    };
    let one = on(1);
    for threads in [2, 3, 8] {
        assert_eq!(on(threads), one, "{threads} threads");
    }
    let other = SubsetSettings {
        seed: 6,
        ..settings.clone()
    };
    assert_ne!(
        subset_simulation(plane(4.0), 6, &other)
            .unwrap()
            .probability,
        one.probability
    );
    assert!(
        one.likeliest_failure
            .is_some_and(|u| u.iter().map(|u| u * u).sum::<f64>() > 16.0)
    );
}

/// One in a million in twenty inputs, and the estimate costs thousands of evaluations.
#[test]
fn one_in_a_million() {
    let beta = 4.753_424_308_822_9;
    let found = subset_simulation(plane(beta), 20, &SubsetSettings::default()).unwrap();
    assert!((standard_normal::exceedance(beta) / 1e-6 - 1.0).abs() < 1e-9);
    assert!(
        found.low <= 1e-6 && 1e-6 <= found.high,
        "{} .. {}",
        found.low,
        found.high
    );
    assert!(
        found.evaluations < 60_000,
        "{} evaluations",
        found.evaluations
    );
    assert!(
        found
            .runs
            .iter()
            .all(|run| run.ending == SubsetEnding::Reached)
    );
}

/// A failure that cannot happen gives a bound, not zero and not an endless search; a
/// plateau is recognised; a failure that always happens is not certain.
#[test]
fn endings_are_honest() {
    let settings = SubsetSettings {
        samples: 200,
        least_probability: 1e-6,
        ..Default::default()
    };
    let never = subset_simulation(
        |u: &[f64]| Ok::<f64, Infallible>(1.0 + (-u[0]).exp()),
        1,
        &settings,
    )
    .unwrap();
    assert_eq!((never.probability, never.low), (0.0, 0.0));
    assert!(never.high > 0.0 && never.high < 1e-5, "{}", never.high);
    assert!(
        never
            .runs
            .iter()
            .all(|run| run.ending == SubsetEnding::BelowLeast)
    );

    let plateau = subset_simulation(|_: &[f64]| Ok::<f64, Infallible>(1.0), 1, &settings).unwrap();
    assert!(
        plateau
            .runs
            .iter()
            .all(|run| run.ending == SubsetEnding::Stalled)
    );
    assert_eq!((plateau.low, plateau.high), (0.0, 1.0));

    let always = subset_simulation(|_: &[f64]| Ok::<f64, Infallible>(-1.0), 1, &settings).unwrap();
    assert_eq!((always.probability, always.high), (1.0, 1.0));
    assert!(always.low < 1.0 && always.low > 0.99, "{}", always.low);

    let half = subset_simulation(plane(0.0), 3, &settings).unwrap();
    assert!(half.low < 0.5 && 0.5 < half.high && half.high - half.low < 0.06);
}

/// A margin that is clipped above still leads down to its failures.
#[test]
fn clipped_margins_are_climbed_down() {
    let clipped = |u: &[f64]| Ok::<f64, Infallible>((3.0 - u[0]).min(1.2));
    let found = subset_simulation(clipped, 2, &SubsetSettings::default()).unwrap();
    let exact = standard_normal::exceedance(3.0);
    assert!(
        found.low <= exact && exact <= found.high,
        "{} .. {}",
        found.low,
        found.high
    );
    assert!(
        found
            .runs
            .iter()
            .all(|run| run.ending == SubsetEnding::Reached)
    );
}

/// Points that cannot be evaluated count as failures, are listed, and are told apart.
#[test]
fn failed_evaluations_are_never_successes() {
    let limit = |u: &[f64]| {
        if u[1] > 3.0 {
            Err("too far")
        } else {
            Ok(3.0 - u[0])
        }
    };
    let found = subset_simulation(limit, 2, &SubsetSettings::default()).unwrap();
    let single = standard_normal::exceedance(3.0);
    let either = single + single * (1.0 - single);
    assert!(
        found.low <= either && either <= found.high,
        "{} .. {}",
        found.low,
        found.high
    );
    assert!(
        (0.2..0.8).contains(&found.failed_share),
        "{}",
        found.failed_share
    );
    assert!(!found.failed_evaluations.is_empty());
    for failed in &found.failed_evaluations {
        assert!(failed.point[1] > 3.0 && failed.error == Some("too far"));
    }
    let nan = subset_simulation(
        |_: &[f64]| Ok::<f64, Infallible>(f64::NAN),
        1,
        &SubsetSettings::default(),
    )
    .unwrap();
    assert_eq!((nan.probability, nan.failed_share), (1.0, 1.0));
    assert!(nan.likeliest_failure.is_none());
}

#[test]
fn bad_settings_are_refused() {
    let with = |change: &dyn Fn(&mut SubsetSettings)| {
        let mut settings = SubsetSettings::default();
        change(&mut settings);
        subset_simulation(plane(3.0), 2, &settings).err()
    };
    type Change = fn(&mut SubsetSettings);
    let changes: [Change; 4] = [
        |s| s.samples = 10,
        |s| s.level_probability = 0.9,
        |s| s.repeats = 1,
        |s| s.least_probability = 0.0,
    ];
    for change in changes {
        assert!(matches!(
            with(&change),
            Some(StatisticsError::Setting { .. })
        ));
    }
    assert!(with(&|s| s.confidence = 1.0).is_some());
    assert!(subset_simulation(plane(3.0), 0, &SubsetSettings::default()).is_err());
}

/// At the design point the limit state is zero and the gradient points to the origin; the
/// cubic below (Zhang & Der Kiureghian's motive) makes the plain recursion diverge.
#[test]
fn design_points_satisfy_their_conditions() {
    let limit = |u: &[f64]| {
        Ok::<f64, Infallible>(
            3.0 - u[0] + 0.2 * u[1].powi(3) - 0.5 * u[1] * u[0] + 0.1 * u[0].powi(2),
        )
    };
    let found = design_point(limit, 2, &DesignPointSettings::default()).unwrap();
    let u = &found.point;
    assert!(limit(u).unwrap().abs() < 1e-3);
    let radius = (u[0] * u[0] + u[1] * u[1]).sqrt();
    assert!((radius - found.reliability_index).abs() < 1e-3);
    let length: f64 = found.direction.iter().map(|a| a * a).sum();
    assert!((length - 1.0).abs() < 1e-12);
    // nothing nearer fails in that quarter: look along the circle just inside
    let near = radius - 2e-3;
    let centre = u[1].atan2(u[0]);
    let least = (-1000..=1000)
        .map(|i| centre + f64::from(i) * 0.5e-3)
        .map(|angle| limit(&[near * angle.cos(), near * angle.sin()]).unwrap())
        .fold(f64::INFINITY, f64::min);
    assert!(
        least > 0.0,
        "{least} at {near}: a nearer failure than {found:?}"
    );
    // there is another on the other side, nearer, that another start finds
    let start = Some(vec![0.0, -1.0]);
    let settings = DesignPointSettings {
        start,
        ..Default::default()
    };
    let other = design_point(limit, 2, &settings).unwrap();
    assert!(
        other.point[1] < 0.0 && other.reliability_index < found.reliability_index,
        "{other:?}"
    );

    // an origin that fails has a negative index
    let failing = design_point(plane(-1.5), 4, &DesignPointSettings::default()).unwrap();
    assert!((failing.reliability_index + 1.5).abs() < 1e-6);
    assert!((failing.probability - standard_normal::exceedance(-1.5)).abs() < 1e-7);
}

#[test]
fn searches_that_cannot_end_say_so() {
    let settings = DesignPointSettings::default();
    let flat = design_point(|_: &[f64]| Ok::<f64, Infallible>(2.0), 2, &settings);
    assert!(matches!(
        flat,
        Err(DesignPointError::Flat { value: 2.0, .. })
    ));
    let none = design_point(
        |u: &[f64]| Ok::<f64, Infallible>(1.0 + u[0] * u[0]),
        1,
        &DesignPointSettings {
            start: Some(vec![1.0]),
            ..settings.clone()
        },
    );
    assert!(matches!(
        none,
        Err(DesignPointError::NotConverged { .. } | DesignPointError::Flat { .. })
    ));
    let broken = design_point(|_: &[f64]| Err::<f64, &str>("broken"), 2, &settings);
    assert!(matches!(
        broken,
        Err(DesignPointError::Evaluation {
            error: Some("broken"),
            ..
        })
    ));
    // a wall beyond the failure surface is stepped back from
    let wall = |u: &[f64]| {
        if u[0] > 3.2 {
            Err("wall")
        } else {
            Ok(3.0 - u[0] + 0.5 * (u[0] / 3.0).powi(9))
        }
    };
    let near = design_point(wall, 1, &settings);
    assert!(!matches!(
        near,
        Err(DesignPointError::Evaluation { error: None, .. })
    ));
    let wrong = DesignPointSettings {
        start: Some(vec![0.0; 3]),
        ..settings
    };
    assert!(matches!(
        design_point(plane(1.0), 2, &wrong),
        Err(DesignPointError::Settings(_))
    ));
}

/// Additive functions have S = ST; rows with a hole are left out and counted; a constant
/// output has no drivers.
#[test]
fn sensitivity_of_simple_functions() {
    let design = SensitivityDesign::new(1, 3, 1024).unwrap();
    let mut u = [0.0; 3];
    let mut outputs: Vec<f64> = (0..design.evaluations())
        .map(|index| {
            design.uniforms(index, &mut u).unwrap();
            1e6 + 4.0 * u[0] + 3.0 * u[1]
        })
        .collect();
    outputs[17] = f64::NAN;
    let found = estimate(&outputs, 3, 0.95, 100, 1).unwrap();
    assert_eq!((found.rows, found.rows_left_out), (1023, 1));
    for (input, exact) in found.inputs.iter().zip([16.0 / 25.0, 9.0 / 25.0, 0.0]) {
        assert!((input.first.estimate - exact).abs() < 0.02, "{input:?}");
        assert!((input.total.estimate - exact).abs() < 0.02, "{input:?}");
    }
    assert!(found.inputs[2].total.estimate.abs() < 1e-12);
    assert_eq!(
        estimate(&outputs, 3, 0.95, 100, 1).unwrap(),
        found,
        "same seed, same interval"
    );
    let flat = estimate(&vec![5.0; 5 * 64], 3, 0.95, 100, 1).unwrap();
    assert!(flat.inputs.iter().all(|input| input.total.estimate == 0.0));
    // Nor has one that differs by rounding.
    let rounded = |k: u32| if k.is_multiple_of(3) { 0.3 } else { 0.1 + 0.2 };
    let rounded: Vec<f64> = (0..5 * 64).map(rounded).collect();
    let flat = estimate(&rounded, 3, 0.95, 100, 1).unwrap();
    assert_eq!(flat.variance, 0.0);
    assert!(flat.inputs.iter().all(|input| input.total.estimate == 0.0));
    assert!(estimate(&outputs[1..], 3, 0.95, 100, 1).is_err());
    assert!(SensitivityDesign::new(0, 0, 8).is_err());
}

/// What a search that did not settle says is for people: two digits of where it ended.
#[test]
fn a_search_that_did_not_settle_says_so_in_round_numbers() {
    let error = DesignPointError::<String>::NotConverged {
        point: vec![0.0],
        value: 0.000_579_068_177_700_392_6,
        misalignment: 0.387_123,
        iterations: 40,
    };
    let said = error.to_string();
    assert!(said.contains("limit state 5.8e-4, 0.39 standard"), "{said}");
}
