//! A response known in closed form in place of the discharge: strength R against load S, both
//! normal, failing where R < S.
#![allow(dead_code)] // each test binary uses its own part

use std::ops::ControlFlow;

use coldkick::statistics::{Distribution, RankCorrelation, standard_normal};
use coldkick::study::{
    Campaign, Criterion, CriterionKind, Experiment, Finding, Inputs, Record, Sense, TrialError,
    run_trials,
};
use coldkick::units::Dimension;

/// Mean and standard deviation of the strength.
pub const STRENGTH: (f64, f64) = (200.0, 20.0);
/// Standard deviation of the load.
pub const LOAD_SPREAD: f64 = 10.0;
/// Load that makes failures common: chance 0.012 674.
pub const COMMON_LOAD: f64 = 150.0;
/// Load that makes them likely: chance 0.089 856.
pub const LIKELY_LOAD: f64 = 170.0;

/// Strength and load, independent.
pub fn inputs(load: f64) -> Inputs {
    correlated(load, &[])
}

/// Strength and load that go together.
pub fn correlated(load: f64, correlations: &[RankCorrelation]) -> Inputs {
    let normal = |mean, standard_deviation| Distribution::Normal {
        mean,
        standard_deviation,
    };
    Inputs::new(
        [
            ("strength".to_owned(), normal(STRENGTH.0, STRENGTH.1)),
            ("load".to_owned(), normal(load, LOAD_SPREAD)),
        ],
        correlations,
    )
    .unwrap()
}

/// Chance of failure: R - S is normal too.
pub fn failure(load: f64) -> f64 {
    let spread = STRENGTH.1.hypot(LOAD_SPREAD);
    standard_normal::exceedance((STRENGTH.0 - load) / spread)
}

/// R over S as "tether load at most its rating"; the margin is (R - S)/100. `refuse` says which
/// strengths cannot be computed.
pub struct StrengthAgainstLoad {
    pub refuse: fn(f64) -> bool,
}

/// Everything can be computed.
pub const PLAIN: StrengthAgainstLoad = StrengthAgainstLoad { refuse: |_| false };

impl Experiment for StrengthAgainstLoad {
    fn run(&self, values: &[f64]) -> Result<Finding, TrialError> {
        let (strength, load) = (values[0], values[1]);
        if (self.refuse)(strength) {
            return Err(TrialError::Values {
                reason: format!("no result at {strength}, \"quoted\", with a comma"),
            });
        }
        let criterion = Criterion {
            kind: CriterionKind::TetherRating,
            value: Some(100.0 + load - strength),
            limit: 100.0,
            sense: Sense::AtMost,
            pass: load <= strength,
            dimension: Dimension::Force,
        };
        Ok(Finding {
            peak_tether_load: Some(load),
            margins: vec![criterion.relative_margin()],
            criteria: vec![criterion],
            ..Finding::default()
        })
    }
}

/// Trials of a range.
pub fn records(
    campaign: &Campaign,
    experiment: &dyn Experiment,
    range: std::ops::Range<u64>,
) -> Vec<Record> {
    let mut found = Vec::new();
    run_trials(campaign, experiment, range, &(), |batch| {
        found.extend(batch.into_iter().map(Record::from));
        ControlFlow::Continue(())
    })
    .unwrap();
    found
}
