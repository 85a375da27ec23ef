//! Cost of trials beside the discharge (drawing, tallying, building the system), and of a whole trial,
//! against the number of trials: flat if nothing grows.

#[path = "../common/linear.rs"]
mod linear;

use std::ops::ControlFlow;

use coldkick::design::Design;
use coldkick::discharge::Settings;
use coldkick::statistics::SamplingMethod;
use coldkick::study::{Campaign, CriterionKind, DischargeExperiment, Record, Tally, run_trials};

fn main() {
    divan::main();
}

/// Drawing, running and tallying trials of a response that costs nothing; items are trials.
#[divan::bench(args = [1_000, 10_000, 100_000])]
fn machinery(bencher: divan::Bencher<'_, '_>, trials: u64) {
    let inputs = linear::inputs(linear::COMMON_LOAD);
    let campaign = Campaign::new(inputs, SamplingMethod::Plain, 1, trials).unwrap();
    bencher
        .counter(divan::counter::ItemsCount::new(trials))
        .bench(|| {
            let mut tally =
                Tally::for_sampler(vec![CriterionKind::TetherRating], campaign.sampler());
            run_trials(&campaign, &linear::PLAIN, 0..trials, &(), |batch| {
                batch
                    .into_iter()
                    .for_each(|trial| tally.push(Record::from(trial)));
                ControlFlow::Continue(())
            })
            .unwrap();
            tally.chance().unwrap()
        });
}

fn design(name: &str) -> Design {
    let path = format!("{}/fixtures/designs/{name}.ron", env!("CARGO_MANIFEST_DIR"));
    Design::read(path.as_ref()).unwrap()
}

const DESIGNS: [&str; 3] = ["tern-primary", "dunlin-bench", "gannet-reservoir-backup"];

/// Drawing the values of a trial and building its system.
#[divan::bench(args = DESIGNS)]
fn values_and_system(bencher: divan::Bencher<'_, '_>, name: &str) {
    let design = design(name);
    let campaign =
        Campaign::new(design.draws().unwrap(), SamplingMethod::Plain, 1, 1_000_000).unwrap();
    let mut index = 0;
    bencher.bench_local(|| {
        index = (index + 1) % 1_000_000;
        design.system(&campaign.values(index).unwrap()).is_ok()
    });
}

/// Whole trials on all cores, the run with the nose held included; items are trials.
#[divan::bench(args = [("tern-primary", 64), ("tern-primary", 256), ("dunlin-bench", 64), ("gannet-reservoir-backup", 64)], sample_count = 3)]
fn trials(bencher: divan::Bencher<'_, '_>, (name, trials): (&str, u64)) {
    let design = design(name);
    let campaign =
        Campaign::new(design.draws().unwrap(), SamplingMethod::Plain, 1, trials).unwrap();
    let experiment = DischargeExperiment {
        build: |values: &[f64]| design.system(values).map_err(|error| error.to_string()),
        settings: Settings::for_many_runs(),
    };
    bencher
        .counter(divan::counter::ItemsCount::new(trials))
        .bench_local(|| {
            let mut failed = 0;
            run_trials(&campaign, &experiment, 0..trials, &(), |batch| {
                failed += batch.iter().filter(|trial| trial.result.is_err()).count();
                ControlFlow::Continue(())
            })
            .unwrap();
            failed
        });
}
