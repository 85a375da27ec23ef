//! Sweeps against closed forms: a nominal edge and a chance edge that are known, bands, gaps in the
//! range, the same answer for the same seed.

#[path = "common/linear.rs"]
mod linear;

use coldkick::statistics::SamplingMethod;
use coldkick::study::CriterionKind;
use coldkick::study::margins::{Setup, Sweep, SweepSettings, sweep};
use linear::{PLAIN, failure, inputs};

/// Strength 200 +- 20 against a load of the swept value +- 10.
fn setup(load: f64) -> Result<Setup, String> {
    Ok(Setup {
        inputs: inputs(load),
        experiment: Box::new(PLAIN),
        nominal: Box::new(PLAIN),
    })
}

const SETTINGS: SweepSettings = SweepSettings {
    low: 120.0,
    high: 220.0,
    points: 11,
    trials: 4_000,
    method: SamplingMethod::Plain,
    seed: 4,
    level: Some(0.99),
};

fn found(settings: &SweepSettings) -> Sweep {
    sweep(&setup, settings, &()).unwrap()
}

/// With central values it passes up to a load of exactly 200; the chance is 0.99 at
/// 200 - 2.326 348 sqrt(500) = 147.9813, which the limits must enclose and the estimate come near.
#[test]
fn edges_are_where_they_must_be() {
    let sweep = found(&SETTINGS);
    assert_eq!(sweep.points.len(), 11);
    assert_eq!(
        (sweep.points[0].value, sweep.points[10].value),
        (120.0, 220.0)
    );
    let [nominal] = sweep.nominal_edges.as_slice() else {
        panic!("{:?}", sweep.nominal_edges);
    };
    assert!(nominal.edge.inside <= 200.0 && nominal.edge.outside > 200.0 - 1e-9);
    assert!(nominal.edge.outside - nominal.edge.inside < 2e-4);
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
}

/// Along the sweep: the nominal margin is the straight line (200 - load)/100, the band its normal
/// spread, the chance that of the closed form within its interval (each at 95 %: at most two of
/// eleven may miss), and falling without a step back, since all points share their draws.
#[test]
fn points_follow_the_closed_form() {
    let sweep = found(&SETTINGS);
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
        found(&SETTINGS),
        sweep,
        "the same seed gives the same sweep"
    );
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
        low: 10.0,
        high: 0.0,
        points: 21,
        trials: 400,
        ..SETTINGS
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
        assert!((at - expected_at).abs() < 1e-4, "{at} for {expected_at}");
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
        ..SETTINGS
    };
    let sweep = found(&settings);
    let [chance] = sweep.chance_edges.as_slice() else {
        panic!("{:?}", sweep.chance_edges);
    };
    assert!(chance.sure.is_none());
    assert!(chance.lost.is_some());
}
