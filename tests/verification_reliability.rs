//! Rare-failure methods against themselves: the same bits on any number of threads, honest
//! endings, failures of the evaluation, and what a design point must satisfy.

use coldkick::statistics::design_point::{DesignPointError, DesignPointSettings, design_point};
use coldkick::statistics::error::StatisticsError;
use coldkick::statistics::sensitivity::{SensitivityDesign, estimate};
use coldkick::statistics::series_system::{SystemPoint, design_points, first_order};
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
        one.likeliest_failure()
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
    assert!(nan.likeliest_failure().is_none());
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

/// How study/rare.rs searches: as closely as a spread is known, with differences above the noise of a discharge.
fn coarse() -> DesignPointSettings {
    DesignPointSettings {
        difference: 0.05,
        tolerance: 0.02,
        iterations: 25,
        start: None,
    }
}

type Margins = Result<Vec<Option<f64>>, Infallible>;

/// Design points of a series system from the failures that subset simulation sees.
fn searched(margins: impl Fn(&[f64]) -> Margins + Sync, dimensions: usize) -> Vec<SystemPoint> {
    let smallest = |u: &[f64]| {
        let all = margins(u)?;
        Ok::<_, Infallible>(all.into_iter().flatten().fold(f64::INFINITY, f64::min))
    };
    let settings = SubsetSettings {
        samples: 500,
        ..SubsetSettings::default()
    };
    let seen = subset_simulation(smallest, dimensions, &settings).unwrap();
    let points = design_points(&margins, &seen.failures, &coarse()).unwrap();
    // What was found fails, and hardly nearer nothing does on the way there; no failure seen is nearer.
    let nearest = points
        .iter()
        .map(|way| way.point.reliability_index)
        .fold(f64::INFINITY, f64::min);
    for way in &points {
        let at = |share: f64| {
            let scaled: Vec<f64> = way.point.point.iter().map(|u| share * u).collect();
            smallest(&scaled).unwrap()
        };
        assert!(at(1.02) <= 0.0 && at(0.98) > 0.0, "{way:?}");
    }
    for failure in &seen.failures {
        let distance = failure.iter().map(|u| u * u).sum::<f64>().sqrt();
        assert!(distance > nearest - 0.02, "{distance} for {nearest}");
    }
    points
}

/// Four branches in one limit state have four design points, all three standard deviations away; the tangent
/// planes there enclose a square, whose outside has the chance 1 - (1 - 2 Phi(-3))^2.
#[test]
fn four_branches_have_four_design_points() {
    let branches = |u: &[f64]| {
        let (sum, difference) = ((u[0] + u[1]) / 2f64.sqrt(), u[0] - u[1]);
        let bowl = 3.0 + 0.1 * difference * difference - sum.abs();
        let linear = 6.0 / 2f64.sqrt() - difference.abs();
        [bowl, linear]
    };
    let one = |u: &[f64]| {
        let [bowl, linear] = branches(u);
        Ok(vec![Some(bowl.min(linear))])
    };
    let two = |u: &[f64]| Ok(branches(u).map(Some).to_vec());
    let exact = 1.0 - (1.0 - 2.0 * standard_normal::exceedance(3.0)).powi(2);
    for points in [searched(one, 2), searched(two, 2)] {
        assert_eq!(points.len(), 4, "{points:?}");
        for way in &points {
            let point = &way.point;
            assert!((point.reliability_index - 3.0).abs() < 2e-3, "{point:?}");
            assert_eq!(point.doubt, 0.0);
            let ends = [2.121_32; 2];
            let near = |found: f64, end: f64| (found.abs() - end).abs() < 0.1;
            assert!(
                near(point.point[0], ends[0]) && near(point.point[1], ends[1]),
                "{point:?}"
            );
        }
        let all = first_order(&points);
        assert!((all / exact - 1.0).abs() < 0.02, "{all} for {exact}");
    }
}

/// Two planes 20 degrees apart, in margins of very different size: each has its point, and first order over both is the
/// chance of lying beyond either, here by quadrature over the variate both share.
#[test]
fn two_planes_with_a_kink_between_them_settle() {
    let angle = 20f64.to_radians();
    let (first, second) = (3.0, 3.05);
    let margins = |u: &[f64]| {
        Ok(vec![
            Some(first - u[0]),
            Some(40.0 * (second - u[0] * angle.cos() - u[1] * angle.sin())),
        ])
    };
    let points = searched(margins, 4);
    assert_eq!(points.len(), 2, "{points:?}");
    for (way, beta) in points.iter().zip([first, second]) {
        assert!((way.point.reliability_index - beta).abs() < 1e-3, "{way:?}");
    }
    // P(neither) = integral of phi(x) Phi((second - x cos) / sin) for x < first.
    let (from, pieces) = (-8.0, 20_000);
    let width = (first - from) / f64::from(pieces);
    let neither: f64 = (0..pieces)
        .map(|piece| {
            let x = from + width * (f64::from(piece) + 0.5);
            let below = standard_normal::cumulative((second - x * angle.cos()) / angle.sin());
            width * standard_normal::density(x) * below
        })
        .sum();
    let all = first_order(&points);
    assert!(
        (all / (1.0 - neither) - 1.0).abs() < 0.01,
        "{all} for {}",
        1.0 - neither
    );
    let sum: f64 = points.iter().map(|way| way.point.probability).sum();
    assert!(all < 0.95 * sum && all > points[0].point.probability);
}

/// A margin that jumps at its edge and is flat beyond has no slope there that would help, nor has one that is
/// rough: distances along rays have. The same search by slopes alone finds nothing in the first.
#[test]
fn margins_that_jump_at_their_edge_settle_along_rays() {
    let along = |u: &[f64]| (u[0] + 2.0 * u[1] - 0.5 * u[2]) / 5.25f64.sqrt();
    let jumping = |u: &[f64]| {
        let left = 3.2 - along(u) + 0.02 * (u[2] - 1.0).powi(2);
        Ok::<_, Infallible>(if left > 0.0 { 0.5 + left } else { -1.0 })
    };
    let start = Some(vec![1.6, 3.2, 0.2]);
    let by_slopes = design_point(jumping, 3, &DesignPointSettings { start, ..coarse() });
    assert!(by_slopes.is_err(), "{by_slopes:?}");
    let smooth = |u: &[f64]| Ok::<_, Infallible>(3.2 - along(u) + 0.02 * (u[2] - 1.0).powi(2));
    let exact = design_point(smooth, 3, &DesignPointSettings::default()).unwrap();
    let points = searched(|u| Ok(vec![Some(jumping(u)?)]), 3);
    assert_eq!(points.len(), 1, "{points:?}");
    let point = &points[0].point;
    assert!(
        (point.reliability_index - exact.reliability_index).abs() < 5e-3,
        "{point:?} for {exact:?}"
    );
    assert_eq!(point.doubt, 0.0);
    for (found, exact) in point.point.iter().zip(&exact.point) {
        assert!((found - exact).abs() < 0.06, "{point:?}");
    }
}

/// A valley with a sharp bottom holds the nearest failure on the bottom itself, (3.75, 0.5): the plane on either side has its own
/// nearest point across it, so that slopes go to and fro.
#[test]
fn the_sharp_bottom_of_a_valley_is_found() {
    let valley = |u: &[f64]| Ok(vec![Some(3.0 - 0.8 * u[0] + 0.6 * (u[1] - 0.5).abs())]);
    let points = searched(valley, 5);
    assert_eq!(points.len(), 1, "{points:?}");
    let point = &points[0].point;
    let exact = 3.75f64.hypot(0.5);
    println!("{point:?} for {exact}");
    let missed = point.reliability_index - exact;
    assert!((-1e-3..0.02).contains(&missed), "{missed}: {point:?}");
    assert!(missed < point.doubt + 1e-3, "{missed}: {point:?}");
}

/// Where noise leaves no slopes the point found still fails, lies next to the nearest, and what is missing is
/// no more than what is said.
#[test]
fn what_roughness_leaves_open_is_said() {
    let rough = |u: &[f64]| {
        let noise = (5_000.0 * u[0]).sin() + (7_000.0 * u[1]).sin() * (3_000.0 * u[2]).cos();
        Ok::<_, Infallible>(vec![Some(
            3.0 - u.iter().sum::<f64>() / 3f64.sqrt() + 0.05 * noise,
        )])
    };
    let settings = SubsetSettings::default();
    let value = |u: &[f64]| rough(u).map(|margins| margins[0].unwrap());
    let seen = subset_simulation(value, 3, &settings).unwrap();
    let points = design_points(rough, &seen.failures, &coarse()).unwrap();
    let point = &points[0].point;
    println!("{point:?}");
    assert!(rough(&point.point).unwrap()[0].unwrap() <= 0.0);
    let missed = point.reliability_index - (3.0 - 0.1);
    assert!((0.0..0.2).contains(&missed), "{point:?}");
    assert!(point.doubt > 0.0 || missed < 0.15, "{point:?}");
}

/// A margin without a meaning fails nothing, and a failure that is none with more care is no start.
#[test]
fn searches_of_a_system_that_cannot_begin_say_so() {
    let nothing = design_points(|_: &[f64]| -> Margins { Ok(vec![None]) }, &[], &coarse());
    assert!(nothing.unwrap_err().contains("no failure was seen"));
    let never = |_: &[f64]| -> Margins { Ok(vec![None, Some(1.0)]) };
    let error = design_points(never, &[vec![3.0]], &coarse()).unwrap_err();
    assert!(error.contains("with more care"), "{error}");
    assert_eq!(first_order(&[]), 0.0);
    // Where the usual values fail, the point is theirs and its index negative.
    let always = |u: &[f64]| -> Margins { Ok(vec![Some(-1.0 - u[0])]) };
    let points = design_points(always, &[vec![0.5]], &coarse()).unwrap();
    assert!(
        (points[0].point.reliability_index + 1.0).abs() < 1e-3,
        "{points:?}"
    );
}
