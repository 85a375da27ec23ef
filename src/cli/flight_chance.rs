//! What a diagnosis does to the chance of success: the design that flies, as designed and with what
//! was fitted, each tried with the same seed for a limited time.

use std::ops::ControlFlow;
use std::time::{Duration, Instant};

use crate::cli::draws::{self, CareOptions};
use crate::cli::{Failure, load, odds};
use crate::design::Design;
use crate::design::fitted::with_fitted;
use crate::report::diagnosis::ChanceChange;
use crate::statistics::SamplingMethod;
use crate::study::diagnosis::Diagnosis;
use crate::study::{Campaign, Chance, Record, Tally, run_trials};

/// Longest time for the trials of one design.
const PATIENCE: Duration = Duration::from_secs(20);
const SEED: u64 = 1;

/// The change, from at most so many trials of either; `None` where nothing can fail, or where
/// nothing was asked for.
///
/// # Errors
/// A design that cannot take the fitted values.
pub(super) fn chance_change(
    flight: &Design,
    diagnosis: &Diagnosis,
    trials: u64,
) -> Result<Option<ChanceChange>, Failure> {
    if trials == 0 || odds::kinds(flight).is_err() {
        return Ok(None);
    }
    let text = with_fitted(flight, diagnosis).map_err(load::bad_design)?;
    let fitted = Design::parse(flight.file(), &text).map_err(load::bad_design)?;
    let (designed, designed_trials) = chance(flight, trials)?;
    let (fitted, fitted_trials) = chance(&fitted, trials)?;
    Ok(Some(ChanceChange {
        design: flight.name().to_owned(),
        designed,
        designed_trials,
        fitted,
        fitted_trials,
    }))
}

fn chance(design: &Design, trials: u64) -> Result<(Chance, u64), Failure> {
    let broken = |error: crate::statistics::StatisticsError| {
        Failure::computation(format!("chance of success: {error}"))
    };
    let inputs = draws::inputs(design)?;
    let campaign = Campaign::new(inputs, SamplingMethod::Plain, SEED, trials).map_err(broken)?;
    let mut tally = Tally::for_sampler(odds::kinds(design)?, campaign.sampler());
    let started = Instant::now();
    let experiment = odds::experiment(design, CareOptions { exact: false });
    run_trials(&campaign, &experiment, 0..trials, &(), |batch| {
        batch
            .into_iter()
            .for_each(|trial| tally.push(Record::from(trial)));
        // Stopping by the clock does not look at the outcomes, so the interval stays honest.
        if started.elapsed() > PATIENCE {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    })
    .map_err(broken)?;
    let chance = tally.chance().map_err(broken)?;
    Ok((chance, tally.counts().trials))
}
