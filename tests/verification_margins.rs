//! Sweeps against closed forms: a nominal edge and a chance edge that are known, bands, gaps in the
//! range, the same answer for the same seed.

#[path = "common/linear.rs"]
mod linear;

use coldkick::statistics::SamplingMethod;
use coldkick::study::margins::{Edge, RESOLUTION, Setup, Sweep, SweepSettings, looks, sweep};
use coldkick::study::{
    Campaign, Criterion, CriterionKind, Experiment, Finding, Sense, TrialError, TrialVerdict,
};
use coldkick::units::Dimension;
use linear::{PLAIN, failure, inputs};

/// Strength 200 +- 20 against a load of the swept value +- 10.
fn setup(load: f64) -> Result<Setup, String> {
    Ok(Setup {
        inputs: inputs(load),
        experiment: Box::new(PLAIN),
        nominal: Box::new(PLAIN),
    })
}

/// `count` values from `low` to `high`.
fn spread(low: f64, high: f64, count: usize) -> Vec<f64> {
    let share = |step: usize| step as f64 / (count - 1) as f64;
    (0..count)
        .map(|step| low + share(step) * (high - low))
        .collect()
}

fn settings() -> SweepSettings {
    SweepSettings {
        values: spread(120.0, 220.0, 11),
        whole: false,
        trials: 4_000,
        method: SamplingMethod::Plain,
        seed: 4,
        level: Some(0.99),
        at_limits: false,
        usual: None,
    }
}

fn found(settings: &SweepSettings) -> Sweep {
    sweep(&setup, settings, &()).unwrap()
}

/// With central values it passes up to a load of exactly 200; the chance is 0.99 at
/// 200 - 2.326 348 sqrt(500) = 147.9813, which the limits must enclose and the estimate come near.
#[test]
fn edges_are_where_they_must_be() {
    let sweep = found(&settings());
    assert_eq!(sweep.points.len(), 11);
    assert_eq!(
        (sweep.points[0].value, sweep.points[10].value),
        (120.0, 220.0)
    );
    let [nominal] = sweep.nominal_edges.as_slice() else {
        panic!("{:?}", sweep.nominal_edges);
    };
    assert!(nominal.edge.inside <= 200.0 && nominal.edge.outside > 200.0);
    assert!(nominal.edge.outside - nominal.edge.inside <= 1e-2);
    assert_eq!(nominal.fails, Some(CriterionKind::TetherRating));
    let [chance] = sweep.chance_edges.as_slice() else {
        panic!("{:?}", sweep.chance_edges);
    };
    let exact = 200.0 - 2.326_348 * 500f64.sqrt();
    let (sure, lost) = (chance.sure.unwrap(), chance.lost.unwrap());
    assert!(sure.inside < exact && exact < lost.outside, "{chance:?}");
    assert!(sure.inside <= chance.edge.inside && chance.edge.outside <= lost.outside);
    assert!((chance.edge.inside - exact).abs() < 3.0, "{chance:?}");
    let stretch = sweep.reaching(0.99)[0];
    assert!(stretch.from.is_none() && stretch.to == Some(chance.edge));
    assert!(sweep.passing()[0].to == Some(nominal.edge));
    // With every trial run just inside the limit the chance is the wanted one.
    let confirmed = chance.confirmed.unwrap();
    assert!(confirmed.estimate >= 0.99 && confirmed.low < 0.99 && confirmed.high > 0.99);
    // One trial more fails just outside: this is the true step of the staircase of 4000 trials.
    let brute = |value: f64| {
        let setup = setup(value).unwrap();
        let campaign = Campaign::new(setup.inputs, SamplingMethod::Plain, 4, 4_000).unwrap();
        let passes = |index: &u64| {
            let trial = campaign.trial(&PLAIN, *index).unwrap();
            trial.verdict() == TrialVerdict::Success
        };
        (0..4_000).filter(passes).count()
    };
    assert!(brute(chance.edge.inside) >= 3_960);
    assert!(brute(chance.edge.outside) < 3_960);
    assert!(chance.edge.outside - chance.edge.inside <= 0.01);
}

/// Along the sweep: the nominal margin is the straight line (200 - load)/100, the band its normal
/// spread, the chance that of the closed form within its interval (each at 95 %: at most two of
/// eleven may miss), and falling without a step back, since all points share their draws.
#[test]
fn points_follow_the_closed_form() {
    // Without a wanted level every point has all trials.
    let settings = SweepSettings {
        level: None,
        ..settings()
    };
    let sweep = found(&settings);
    let mut missed = 0;
    for point in &sweep.points {
        let margin = &point.margins[0];
        let expected = (200.0 - point.value) / 100.0;
        assert!((margin.nominal.unwrap() - expected).abs() < 1e-12);
        let [low, middle, high] = margin.band.unwrap();
        let spread = 1.644_854 * 500f64.sqrt() / 100.0;
        for (found, exact) in [
            (low, expected - spread),
            (middle, expected),
            (high, expected + spread),
        ] {
            assert!((found - exact).abs() < 0.03, "{found} for {exact}");
        }
        let (chance, exact) = (point.chance.unwrap(), 1.0 - failure(point.value));
        missed += usize::from(!(chance.low <= exact && exact <= chance.high));
        assert_eq!(point.passes(), point.value <= 200.0);
    }
    assert!(missed <= 2, "{missed} intervals miss");
    for pair in sweep.points.windows(2) {
        assert!(pair[0].chance.unwrap().estimate >= pair[1].chance.unwrap().estimate);
    }
    assert_eq!(
        found(&settings),
        sweep,
        "the same seed gives the same sweep"
    );
}

/// What is computed at the limits and at a value looked at besides makes points of its own, on the closed forms of the
/// others, and changes neither those nor the limits.
#[test]
fn what_is_computed_between_is_given() {
    let usual = 150.5;
    let closely = SweepSettings {
        at_limits: true,
        usual: Some(usual),
        ..settings()
    };
    let (plain, sweep) = (found(&settings()), found(&closely));
    assert_eq!(plain.points, sweep.points);
    assert_eq!(plain.chance_edges, sweep.chance_edges);
    assert_eq!(plain.nominal_edges, sweep.nominal_edges);
    assert!(plain.between.is_empty());
    let all = sweep.computed();
    assert_eq!(all.len(), sweep.points.len() + sweep.between.len());
    assert!(all.windows(2).all(|pair| pair[0].value < pair[1].value));
    let spread = 1.644_854 * 500f64.sqrt() / 100.0;
    for point in &sweep.between {
        let expected = (200.0 - point.value) / 100.0;
        let margin = &point.margins[0];
        assert!((margin.nominal.unwrap() - expected).abs() < 1e-12);
        let Some(chance) = point.chance else {
            // On the way to the limit of the central values nothing else is run.
            assert!(margin.band.is_none() && point.trials == 0);
            assert!((190.0..=210.0).contains(&point.value), "{}", point.value);
            continue;
        };
        let [low, _, high] = margin.band.unwrap();
        assert!(
            (low - expected + spread).abs() < 0.05,
            "{low} for {expected}"
        );
        assert!(
            (high - expected - spread).abs() < 0.05,
            "{high} for {expected}"
        );
        let failing = failure(point.value);
        assert!((chance.estimate - 1.0 + failing).abs() < 0.01, "{point:?}");
    }
    let at = |value: f64| sweep.between.iter().find(|point| point.value == value);
    let limit = &sweep.chance_edges[0];
    let (inside, outside) = (
        at(limit.edge.inside).unwrap(),
        at(limit.edge.outside).unwrap(),
    );
    assert_eq!(inside.chance, limit.confirmed);
    assert_eq!((inside.trials, outside.trials), (4_000, 4_000));
    assert!(outside.chance.unwrap().estimate < 0.99);
    assert!(at(usual).unwrap().chance.is_some());
    // It passes at exactly 200, which was asked for, and at nothing above.
    assert!(at(sweep.nominal_edges[0].edge.outside).is_some());
}

/// A range with an end swept from high to low, with a part where there is no valid design and one
/// where it passes again.
#[test]
fn gaps_and_returns_are_found() {
    let family = |x: f64| {
        if (3.0..5.0).contains(&x) {
            return Err("no such design".to_owned());
        }
        // Passes for |x - 2| < 1 and for x > 7.
        let load = if x > 7.0 || (x - 2.0).abs() < 1.0 {
            100.0
        } else {
            300.0
        };
        setup(load)
    };
    let settings = SweepSettings {
        values: spread(10.0, 0.0, 21),
        trials: 400,
        ..settings()
    };
    let sweep = sweep(&family, &settings, &()).unwrap();
    let edges: Vec<(bool, f64)> = sweep
        .nominal_edges
        .iter()
        .map(|found| (found.edge.holds_below(), found.edge.inside))
        .collect();
    let expected = [(false, 1.0), (true, 3.0), (false, 7.0)];
    assert_eq!(edges.len(), 3, "{edges:?}");
    for ((below, at), (expected_below, expected_at)) in edges.iter().zip(expected) {
        assert_eq!(*below, expected_below);
        assert!(
            (at - expected_at).abs() <= 10.0 * RESOLUTION,
            "{at} for {expected_at}"
        );
    }
    // Beyond 3 there is no design, so no criterion to name.
    assert_eq!(sweep.nominal_edges[1].fails, None);
    assert_eq!(sweep.passing().len(), 2);
    assert!(sweep.passing()[1].to.is_none());
    let invalid = sweep.points.iter().find(|p| p.value == 4.0).unwrap();
    assert!(invalid.chance.is_none() && !invalid.passes());
    assert_eq!(invalid.nominal.as_ref().unwrap_err(), "no such design");
    assert_eq!(sweep.reaching(0.99).len(), 2);
}

/// With few trials an exact interval cannot lie above a high level, and the sweep says so instead of
/// naming a value.
#[test]
fn too_few_trials_show_nothing() {
    let settings = SweepSettings {
        trials: 100,
        ..settings()
    };
    let sweep = found(&settings);
    let [chance] = sweep.chance_edges.as_slice() else {
        panic!("{:?}", sweep.chance_edges);
    };
    assert!(chance.sure.is_none());
    assert!(chance.lost.is_some());
}

/// A tenth of the trials of a full search are enough: the same sweep with a bisection of full counts
/// would take 11 points and three limits of 4000 trials at 14 values.
#[test]
fn few_trials_are_spent() {
    let sweep = found(&settings());
    let full = (11 + 3 * 14) * 4_000;
    assert!(sweep.trials < full / 5, "{} of {full}", sweep.trials);
    // Points far below the level stop at the first look, those near it get every trial.
    let spent: Vec<u64> = sweep.points.iter().map(|point| point.trials).collect();
    assert_eq!(spent[10], 64, "{spent:?}");
    assert_eq!(spent[3], 4_000, "{spent:?}");
}

/// Shares of error of all looks add up to the one stated: whichever ends a point, its interval
/// holds. One look with 95 % for samplers whose points belong together.
#[test]
fn looks_share_the_error() {
    let of = |trials, level, method| looks(trials, level, method).unwrap();
    for (trials, level) in [
        (300, 0.95),
        (736, 0.99),
        (20, 0.5),
        (64, 0.9),
        (100_000, 0.999),
    ] {
        let looks = of(trials, Some(level), SamplingMethod::Plain);
        let error: f64 = looks.iter().map(|look| 1.0 - look.confidence).sum();
        assert!((error - 0.05).abs() < 1e-12, "{looks:?}");
        assert!(looks.windows(2).all(|pair| pair[0].trials < pair[1].trials));
        assert_eq!(looks.last().unwrap().trials, trials);
    }
    let sobol = of(1000, Some(0.99), SamplingMethod::Sobol);
    assert_eq!(sobol.len(), 1);
    assert!((sobol[0].confidence - 0.95).abs() < 1e-12);
}

/// The interval of a point that stopped early covers the closed form in at least 95 of 100 sweeps
/// (200 repeats: at least 184 is what 95 % leaves with a chance of 98 %), where the chance is so
/// near the level that stops come at every look.
#[test]
fn intervals_hold_however_early_a_point_stops() {
    let load = 155.0;
    let exact = 1.0 - failure(load);
    let mut covered = 0;
    let mut stops = std::collections::BTreeSet::new();
    for seed in 0..200 {
        let settings = SweepSettings {
            values: vec![load],
            trials: 1_000,
            seed,
            level: Some(0.95),
            ..settings()
        };
        let sweep = found(&settings);
        let point = &sweep.points[0];
        let chance = point.chance.unwrap();
        covered += usize::from(chance.low <= exact && exact <= chance.high);
        stops.insert(point.trials);
    }
    assert!(stops.len() >= 3, "{stops:?}");
    assert!(covered >= 184, "{covered}");
}

/// The limit of the chance and its interval, over 100 seeds: the interval encloses the exact limit
/// in 95 % of them (at least 89 of 100 with a chance of 99 %).
#[test]
fn the_limit_lies_in_its_interval() {
    let exact = 200.0 - 2.326_348 * 500f64.sqrt();
    let covered = (0..100)
        .filter(|seed| {
            let settings = SweepSettings {
                trials: 736,
                seed: *seed,
                ..settings()
            };
            let sweep = found(&settings);
            let [limit] = sweep.chance_edges.as_slice() else {
                return false;
            };
            let above_sure = limit.sure.is_none_or(|edge| edge.inside <= exact);
            let below_lost = limit.lost.is_none_or(|edge| exact <= edge.outside);
            above_sure && below_lost
        })
        .count();
    assert!(covered >= 89, "{covered}");
}

/// Passes unless the value lies within 0.3 of a place that every trial has of its own, drawn from
/// the strength: a trial that passes at two values may fail between them.
struct Gap(f64);

impl Experiment for Gap {
    fn run(&self, values: &[f64]) -> Result<Finding, TrialError> {
        let place = 5.0 + (values[0] - 200.0) / 200.0;
        let distance = (self.0 - place).abs() - 0.3;
        let margin = if self.0 > 9.0 { -1.0 } else { distance };
        let criterion = Criterion {
            kind: CriterionKind::TetherRating,
            value: Some(1.0 - margin),
            limit: 1.0,
            sense: Sense::AtMost,
            pass: margin >= 0.0,
            dimension: Dimension::Force,
        };
        Ok(Finding {
            margins: vec![criterion.relative_margin()],
            criteria: vec![criterion],
            ..Finding::default()
        })
    }
}

/// Where trials do not behave as taken for granted between two values, the check at the value found
/// sees it, and the search that takes nothing over finds a place where the chance is the wanted one.
#[test]
fn a_trial_that_fails_between_two_passes_is_not_overlooked() {
    let family = |x: f64| {
        Ok(Setup {
            inputs: inputs(100.0),
            experiment: Box::new(Gap(x)),
            nominal: Box::new(PLAIN),
        })
    };
    // 0 passes always, 10 never; half way the gap of nearly every trial is open.
    let settings = SweepSettings {
        values: vec![0.0, 10.0],
        trials: 400,
        level: Some(0.9),
        ..settings()
    };
    let sweep = sweep(&family, &settings, &()).unwrap();
    let [limit] = sweep.chance_edges.as_slice() else {
        panic!("{:?}", sweep.chance_edges);
    };
    assert!(limit.confirmed.unwrap().estimate >= 0.9, "{limit:?}");
    assert!((limit.edge.inside - 5.0).abs() > 0.3, "{limit:?}");
}

/// Designs of whole numbers alone: ends lie between neighbours among them, on both sides of what passes, and nothing
/// is asked of a fraction.
#[test]
fn whole_numbers_end_at_whole_numbers() {
    let family = |x: f64| {
        assert!(x.fract() == 0.0, "{x}");
        // Passes from 3 to 12.
        setup(if (3.0..=12.0).contains(&x) {
            100.0
        } else {
            300.0
        })
    };
    let settings = SweepSettings {
        values: vec![1.0, 8.0, 9.0, 19.0],
        whole: true,
        trials: 400,
        ..settings()
    };
    let sweep = sweep(&family, &settings, &()).unwrap();
    let expected = [
        Edge {
            inside: 3.0,
            outside: 2.0,
        },
        Edge {
            inside: 12.0,
            outside: 13.0,
        },
    ];
    let nominal: Vec<Edge> = sweep.nominal_edges.iter().map(|found| found.edge).collect();
    assert_eq!(nominal, expected);
    let beyond = &sweep.nominal_edges[0].fails;
    assert_eq!(*beyond, Some(CriterionKind::TetherRating));
    for (found, edge) in sweep.chance_edges.iter().zip(expected) {
        assert_eq!(found.edge, edge);
        assert_eq!((found.sure, found.lost), (Some(edge), Some(edge)));
    }
    assert_eq!(sweep.chance_edges.len(), 2);
}
