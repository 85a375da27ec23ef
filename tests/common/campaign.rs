//! Synthetic ground tests with known faults, and how a diagnosis of them fares.
#![allow(dead_code)] // each test binary uses its own part

use std::path::Path;

use coldkick::design::Design;
use coldkick::discharge::Settings;
use coldkick::statistics::QuantileFunction;
use coldkick::statistics::stream::{Purpose, Stream};
use coldkick::study::diagnosis::synthetic::{Logger, draw_fault, record};
use coldkick::study::diagnosis::{
    BuildError, Cause, Channel, DesignInput, Diagnosis, DiagnosisSettings, Measured, Observable,
    Places, Trigger, diagnose,
};
use coldkick::trace::{Column, Quantity, reduce};

/// By how much a fault must show to be one: growth of the least cost with nothing wrong (square of a distance
/// in standard deviations) over that of the same test without the fault, both free of noise: 5 squared.
pub const SHOWS: f64 = 25.0;
/// Most draws of a fault in search of one that shows.
const DRAWS: u64 = 20;

/// Least range of a logger of pressure [Pa] and of travel [m], as in the traces.
const LEAST_RANGE: (f64, f64) = (1e4, 0.02);

/// Designs the campaign goes through: a bench rocket, one with a servo, one with a reservoir.
pub const DESIGNS: [&str; 3] = [
    "dunlin-bench.ron",
    "tern-primary.ron",
    "gannet-reservoir-backup.ron",
];

/// A shipped design by name.
pub fn shipped(name: &str) -> Design {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/designs");
    Design::read(&folder.join(name)).unwrap()
}

/// The uncertain values of a design.
pub fn inputs(design: &Design) -> Vec<DesignInput> {
    design
        .inputs()
        .iter()
        .map(|input| DesignInput {
            path: input.path.clone(),
            distribution: input.distribution.clone(),
            dimension: input.dimension,
            own: false,
        })
        .collect()
}

/// One synthetic test: what is true of it, and what was recorded.
pub struct Case {
    pub cause: Cause,
    /// Reported values of the fault [SI].
    pub reported: Vec<f64>,
    pub measured: Measured,
    /// By how much the fault shows (see [`SHOWS`]); `None` with nothing wrong, and where it was not asked.
    pub shows: Option<f64>,
    /// Draws of the fault that did not show.
    pub hidden: u64,
}

/// Which faults a campaign has.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Faults {
    /// The first that is drawn from what is believed of it.
    Any,
    /// The first drawn that shows beyond the spreads of the design.
    ThatShow,
}

/// Draws the inputs of a design, a fault from what is believed of it, sensor errors and noise.
/// Returns `None` where the design has no place for the fault, a discharge fails, or none of the faults drawn
/// shows.
///
/// What lies within the stated spreads of a design is no fault of it: the fault is drawn again until the
/// best explanation by the design as stated misses the test by five standard deviations.
pub fn case(
    design: &Design,
    cause: Cause,
    channels: &[Observable],
    settings: &DiagnosisSettings,
    seed: u64,
    which: Faults,
) -> Option<Case> {
    if cause == Cause::NothingWrong {
        return with_fault(design, cause, &[], channels, settings, seed);
    }
    let (nominal, _) = design.system(&design.central()).ok()?;
    let quiet = |cause: Cause, faults: &[f64]| {
        let measured = recorded(design, cause, faults, channels, settings, seed, true)?;
        Some((least_cost(design, &measured, settings), measured))
    };
    let (without, healthy) = quiet(Cause::NothingWrong, &[])?;
    let range = healthy.channels.first()?.range;
    let draws = if which == Faults::Any { 1 } else { DRAWS };
    for attempt in 0..draws {
        let faults = draw_fault(cause, &nominal, range, seed + 1000 * attempt)?;
        let Some((with, _)) = quiet(cause, &faults) else {
            continue;
        };
        if which == Faults::Any || with - without > SHOWS {
            let case = with_fault(design, cause, &faults, channels, settings, seed)?;
            return Some(Case {
                shows: Some(with - without),
                hidden: attempt,
                ..case
            });
        }
    }
    None
}

/// Least cost with which the design as stated explains a test.
fn least_cost(design: &Design, measured: &Measured, settings: &DiagnosisSettings) -> f64 {
    let healthy = DiagnosisSettings {
        causes: vec![Cause::NothingWrong],
        ..settings.clone()
    };
    let answer = answer(design, std::slice::from_ref(measured), &healthy);
    let first = &answer.explanations[0];
    first.misfit * answer.inflation.powi(2) + first.surprise
}

fn drawn(design: &Design, stream: &mut Stream) -> Vec<f64> {
    design
        .inputs()
        .iter()
        .map(|input| {
            let quantile = QuantileFunction::new(&input.distribution).unwrap();
            quantile.at(stream.uniform())
        })
        .collect()
}

/// A test with given freed values of a fault; everything else drawn by the seed: 1-3 % noise, drift,
/// zero, scale, lag, clock, and in every fifth case spikes.
pub fn with_fault(
    design: &Design,
    cause: Cause,
    faults: &[f64],
    channels: &[Observable],
    settings: &DiagnosisSettings,
    seed: u64,
) -> Option<Case> {
    Some(Case {
        cause,
        reported: faults.to_vec(),
        measured: recorded(design, cause, faults, channels, settings, seed, false)?,
        shows: None,
        hidden: 0,
    })
}

/// What is recorded of a test; `quiet` leaves noise and spikes out, the values being as doubtful as with them.
fn recorded(
    design: &Design,
    cause: Cause,
    faults: &[f64],
    channels: &[Observable],
    settings: &DiagnosisSettings,
    seed: u64,
    quiet: bool,
) -> Option<Measured> {
    let mut stream = Stream::new(seed, Purpose::Other, 7);
    let truth = drawn(design, &mut stream);
    let (system, _) = design.system(&truth).ok()?;
    let mut normal = || stream.normal_pair().0;
    let noise = 0.01 + 0.02 * ((seed % 101) as f64 / 100.0);
    let spikes = if seed.is_multiple_of(5) { 0.002 } else { 0.0 };
    let logger = Logger {
        rate: 2000.0,
        noise: if quiet { 0.0 } else { noise },
        drift: 0.005 * normal(),
        zero: 0.005 * normal(),
        gain: 0.007 * normal(),
        lag: 5e-4 * 2f64.powf(normal()),
        spikes: if quiet { 0.0 } else { spikes },
        command: 1e-3 * normal(),
        before: 0.05,
        length: None,
        seed,
    };
    // Tighter than the fit computes.
    let tight = Settings {
        relative_tolerance: 3e-7,
        most_steps: 5_000,
        ..settings.run
    };
    let trace = record(&system, cause, faults, channels, &logger, &tight).ok()?;
    let last = *trace.times.last()?;
    let columns = channels
        .iter()
        .zip(trace.columns)
        .map(|(observable, values)| Column {
            heading: format!("{observable:?}"),
            quantity: match *observable {
                Observable::Pressure { vessel, gauge } => Quantity::Pressure { vessel, gauge },
                _ => Quantity::Travel,
            },
            times: trace.times.clone(),
            values,
        });
    let mut channels: Vec<Channel> = columns
        .filter_map(|column| reduce(&column, (-1.0, last), 300).0)
        .collect();
    for channel in channels.iter_mut().filter(|_| quiet) {
        let least = match channel.observable {
            Observable::Pressure { .. } => LEAST_RANGE.0,
            _ => LEAST_RANGE.1,
        };
        channel.noise = noise * channel.range.max(least);
        let counts = channel.spans.iter().map(|(_, _, count)| *count as f64);
        channel.deviations = counts.map(|count| channel.noise / count.sqrt()).collect();
    }
    Some(Measured {
        name: format!("case {seed}"),
        channels,
        trigger: Trigger::Known {
            time: 0.0,
            deviation: 2e-3,
        },
    })
}

/// The bay pressure as a gauge measures it.
pub fn bay(design: &Design) -> Observable {
    let (system, _) = design.system(&design.central()).unwrap();
    Observable::Pressure {
        vessel: Places::of(&system).bay,
        gauge: true,
    }
}

/// The bay pressure, the pressure in the cartridge and the travel of the nose.
pub fn all_channels(design: &Design) -> Vec<Observable> {
    let (system, _) = design.system(&design.central()).unwrap();
    let cartridge = Places::of(&system).cartridge;
    let pressure = cartridge.map(|vessel| Observable::Pressure {
        vessel,
        gauge: true,
    });
    let mut channels = vec![bay(design)];
    channels.extend(pressure);
    channels.push(Observable::Travel);
    channels
}

/// The bay pressure alone, or all channels.
pub fn channels(design: &Design, all: bool) -> Vec<Observable> {
    if all {
        all_channels(design)
    } else {
        vec![bay(design)]
    }
}

/// Diagnoses measured tests of a design.
pub fn answer(design: &Design, measured: &[Measured], settings: &DiagnosisSettings) -> Diagnosis {
    let build = |values: &[f64]| {
        design
            .system(values)
            .map_err(|error| Box::new(error) as BuildError)
    };
    diagnose(
        &inputs(design),
        design.correlations(),
        &build,
        measured,
        settings,
        &|_| {},
    )
    .unwrap()
}
