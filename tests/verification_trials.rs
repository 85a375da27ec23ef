//! The trial engine: the same bits on any number of threads and in any slice, verdicts and margins
//! that agree with each other and with a shot, failed computations kept apart.

use std::ops::ControlFlow;

use coldkick::design::Design;
use coldkick::discharge::Settings;
use coldkick::statistics::{Distribution, SamplingMethod};
use coldkick::study::{
    Campaign, Criterion, CriterionKind, DischargeExperiment, Experiment, Finding, Inputs, Sense,
    ShotStudy, Trial, TrialError, TrialVerdict, run_trials,
};
use coldkick::units::Dimension;

/// A response that is a plain function of two values and fails to compute in a corner.
struct Plane;

impl Experiment for Plane {
    fn run(&self, values: &[f64]) -> Result<Finding, TrialError> {
        if values[0] > 1.9 {
            return Err(TrialError::Values {
                reason: "corner".to_owned(),
            });
        }
        let value = values[0] + 2.0 * values[1];
        let criterion = Criterion {
            kind: CriterionKind::ExitSpeedLeast,
            value: Some(value),
            limit: 1.0,
            sense: Sense::AtLeast,
            pass: value >= 1.0,
            dimension: Dimension::Speed,
        };
        Ok(Finding {
            exit_speed: Some(value),
            margins: vec![criterion.relative_margin()],
            criteria: vec![criterion],
            ..Finding::default()
        })
    }
}

fn inputs() -> Inputs {
    let normal = Distribution::Normal {
        mean: 1.0,
        standard_deviation: 0.5,
    };
    let uniform = Distribution::Uniform {
        low: 0.0,
        high: 1.0,
    };
    Inputs::new([("a".to_owned(), normal), ("b".to_owned(), uniform)], &[]).unwrap()
}

/// Everything of a trial that can be compared, bit for bit.
fn bits(trial: &Trial) -> (u64, Vec<u64>, Option<u64>) {
    let values = trial.values.iter().map(|v| v.to_bits()).collect();
    let speed = trial.result.as_ref().ok().and_then(|f| f.exit_speed);
    (trial.index, values, speed.map(f64::to_bits))
}

fn all(campaign: &Campaign, range: std::ops::Range<u64>) -> Vec<(u64, Vec<u64>, Option<u64>)> {
    let mut found = Vec::new();
    run_trials(campaign, &Plane, range, &(), |batch| {
        found.extend(batch.iter().map(bits));
        ControlFlow::Continue(())
    })
    .unwrap();
    found
}

#[test]
fn trials_are_the_same_on_any_threads_and_in_any_slice() {
    for method in [
        SamplingMethod::Plain,
        SamplingMethod::LatinHypercube,
        SamplingMethod::Sobol,
    ] {
        let campaign = Campaign::new(inputs(), method, 5, 1000).unwrap();
        let whole = all(&campaign, 0..1000);
        let indices: Vec<u64> = whole.iter().map(|trial| trial.0).collect();
        assert_eq!(indices, (0..1000).collect::<Vec<u64>>());
        for threads in [1, 3] {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            assert!(pool.install(|| all(&campaign, 0..1000)) == whole);
        }
        let sliced: Vec<_> = [0..100, 100..613, 613..1000]
            .into_iter()
            .flat_map(|range| all(&campaign, range))
            .collect();
        assert!(sliced == whole, "{method:?} in slices");
        // one trial alone
        let one = campaign.trial(&Plane, 613).unwrap();
        assert_eq!(bits(&one), whole[613]);
        assert!(campaign.trial(&Plane, 1000).is_err());
    }
}

#[test]
fn an_early_end_depends_on_the_trials_alone() {
    let campaign = Campaign::new(inputs(), SamplingMethod::Plain, 5, 5000).unwrap();
    let ends: Vec<u64> = [0, 70]
        .into_iter()
        .map(|start| {
            let mut last = 0;
            run_trials(&campaign, &Plane, start..5000, &(), |batch| {
                last = batch.last().unwrap().index;
                if last > 1200 {
                    ControlFlow::Break(())
                } else {
                    ControlFlow::Continue(())
                }
            })
            .unwrap();
            last
        })
        .collect();
    assert_eq!(ends[0], ends[1]);
    assert!(ends[0] < 1400);
}

/// The chance of a linear response of a normal and a uniform value is known: P(a + 2 b < 1) with
/// the corner a > 1.9 left out, by quadrature over b.
#[test]
fn verdicts_count_what_they_should() {
    let campaign = Campaign::new(inputs(), SamplingMethod::Sobol, 5, 1 << 14).unwrap();
    let (mut success, mut failure, mut not) = (0, 0, 0);
    run_trials(&campaign, &Plane, 0..1 << 14, &(), |batch| {
        for trial in &batch {
            match trial.verdict() {
                TrialVerdict::Success => success += 1,
                TrialVerdict::Failure(first) => {
                    assert_eq!(first, 0);
                    assert!(trial.result.as_ref().unwrap().smallest_margin() < 0.0);
                    failure += 1;
                }
                TrialVerdict::NotComputed => {
                    assert!(trial.values[0] > 1.9);
                    not += 1;
                }
            }
        }
        ControlFlow::Continue(())
    })
    .unwrap();
    let phi = coldkick::statistics::standard_normal::cumulative;
    let n = 2000;
    let expected: f64 = (0..n)
        .map(|i| (f64::from(i) + 0.5) / f64::from(n))
        .map(|b| phi((1.0 - 2.0 * b - 1.0) / 0.5))
        .sum::<f64>()
        / f64::from(n);
    let total = f64::from(1 << 14);
    assert!((f64::from(failure) / total - expected).abs() < 1e-3);
    assert!((f64::from(not) / total - (1.0 - phi(1.8))).abs() < 1e-3);
    assert_eq!(success + failure + not, 1 << 14);
}

/// A trial at the central values says what a shot of the design says.
#[test]
fn a_trial_at_the_centre_is_the_shot() {
    let text = std::fs::read_to_string("fixtures/designs/dunlin-bench.ron").unwrap();
    let design = Design::parse("dunlin", &text).unwrap();
    let settings = Settings::default();
    let experiment = DischargeExperiment {
        build: |values: &[f64]| design.system(values).map_err(|e| e.to_string()),
        settings,
    };
    let (system, criteria) = design.system(&design.central()).unwrap();
    let shot = ShotStudy::new(&system, &criteria, &settings).unwrap();
    let trial = experiment.run(&design.central()).unwrap();
    assert_eq!(trial.criteria, shot.criteria);
    assert_eq!(trial.exit_speed, shot.discharge.outcome.exit_speed);
    for (criterion, margin) in trial.criteria.iter().zip(&trial.margins) {
        assert_eq!(criterion.relative_margin(), *margin);
        assert_eq!(criterion.pass, margin.unwrap() >= 0.0);
    }
}

/// As a nose is held harder and harder its margin falls without a gap of sign: success while it
/// leaves, failure and a falling margin when it stays.
#[test]
fn margins_go_on_falling_when_the_nose_stays() {
    let text = std::fs::read_to_string("fixtures/designs/dunlin-bench.ron").unwrap();
    let design = Design::parse("dunlin", &text).unwrap();
    let (mut system, criteria) = design.system(&design.central()).unwrap();
    let mut before = f64::INFINITY;
    let mut stayed = 0;
    for factor in [1.0, 2.0, 4.0, 8.0, 16.0, 64.0] {
        let nose = &mut system.nose.as_mut().unwrap().0;
        for pin in &mut nose.pins {
            pin.strength *= if factor == 1.0 { 1.0 } else { 2.0 };
        }
        let found =
            coldkick::study::trial::try_system(&system, &criteria, &Settings::default()).unwrap();
        let margin = found.smallest_margin();
        assert!(margin.is_finite());
        assert!(
            margin < before || stayed == 0,
            "{factor}: {margin} after {before}"
        );
        if found.clear_time.is_none() {
            stayed += 1;
            assert!(found.first_failed().is_some() && margin < 0.0);
        }
        before = margin;
    }
    assert!(stayed >= 2);
}

/// The curve of a trial goes on until the bay is down to the pressure outside, liquid still coming in or not:
/// the band of curves holds the last value.
#[test]
fn the_curve_of_a_trial_ends_with_the_bay_vented() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    for name in ["dunlin-bench.ron", "tern-primary.ron"] {
        let design = Design::read(&path.join("fixtures/designs").join(name)).unwrap();
        let experiment = DischargeExperiment {
            build: |values: &[f64]| design.system(values).map_err(|error| error.to_string()),
            settings: Settings::for_many_runs(),
        };
        let campaign =
            Campaign::new(design.draws().unwrap(), SamplingMethod::Plain, 3, 12).unwrap();
        for index in 0..12 {
            let values = campaign.values(index).unwrap();
            let (system, discharge) = experiment.discharge(&values).unwrap();
            assert!(discharge.outcome.clear_time.is_some(), "{name} {index}");
            let bay = &discharge.trajectory.vessels[system.bay()];
            let (last, outside) = (bay.pressure.last().unwrap(), system.ambient.at(0.0).0);
            assert!(
                last / outside < 1.005,
                "{name} {index}: {last} against {outside}"
            );
        }
    }
}
