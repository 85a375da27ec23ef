//! Synthetic ground tests with known faults, and how a diagnosis of them fares.
#![allow(dead_code)] // each test binary uses its own part

use std::path::Path;

use coldkick::design::Design;
use coldkick::discharge::Settings;
use coldkick::statistics::QuantileFunction;
use coldkick::statistics::stream::{Purpose, Stream};
use coldkick::study::diagnosis::synthetic::{Logger, draw_fault, record};
use coldkick::study::diagnosis::{
    BuildError, Cause, DesignInput, Diagnosis, DiagnosisSettings, Measured, Observable, Places,
    Trigger, diagnose,
};
use coldkick::trace::{Column, Quantity, reduce};

/// Share of the range by which a fault must move the curve somewhere.
pub const SHOWS: f64 = 0.1;

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
    /// One true value for each input of the design.
    pub truth: Vec<f64>,
    pub measured: Measured,
}

/// Draws the inputs of a design, a fault from what is believed of it, sensor errors and noise.
/// Returns `None` where the design has no place for the fault, a discharge fails, or no fault that
/// shows is found.
///
/// A fault that hardly moves the curve is no fault for this purpose: it is drawn again until the
/// noise-free curve differs by [`SHOWS`] of its range somewhere.
pub fn case(
    design: &Design,
    cause: Cause,
    channels: &[Observable],
    settings: &DiagnosisSettings,
    seed: u64,
) -> Option<Case> {
    let truth = drawn(design, &mut Stream::new(seed, Purpose::Other, 7));
    let (system, _) = design.system(&truth).ok()?;
    let (nominal, _) = design.system(&design.central()).ok()?;
    let logger = Logger {
        noise: 0.0,
        length: Some(system.horizon),
        ..Logger::default()
    };
    let fine = Cause::NothingWrong;
    let without = record(&system, fine, &[], channels, &logger, &settings.run).ok()?;
    let range = range_of(&without.columns);
    let faults = (0..20).find_map(|attempt| {
        let faults = draw_fault(cause, &nominal, range, seed + 1000 * attempt)?;
        if cause == fine {
            return Some(faults);
        }
        let with = record(&system, cause, &faults, channels, &logger, &settings.run).ok()?;
        let both = with
            .columns
            .iter()
            .flatten()
            .zip(without.columns.iter().flatten());
        let most = both.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        (most > SHOWS * range).then_some(faults)
    })?;
    with_fault(design, cause, &faults, channels, settings, seed)
}

pub fn drawn(design: &Design, stream: &mut Stream) -> Vec<f64> {
    design
        .inputs()
        .iter()
        .map(|input| {
            let quantile = QuantileFunction::new(&input.distribution).unwrap();
            quantile.at(stream.uniform())
        })
        .collect()
}

fn range_of(columns: &[Vec<f64>]) -> f64 {
    columns
        .iter()
        .map(|column| {
            let most = column.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let least = column.iter().copied().fold(f64::INFINITY, f64::min);
            most - least
        })
        .fold(0.0, f64::max)
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
    let mut stream = Stream::new(seed, Purpose::Other, 7);
    let truth = drawn(design, &mut stream);
    let (system, _) = design.system(&truth).ok()?;
    let mut normal = || stream.normal_pair().0;
    let logger = Logger {
        rate: 2000.0,
        noise: 0.01 + 0.02 * ((seed % 101) as f64 / 100.0),
        drift: 0.005 * normal(),
        zero: 0.005 * normal(),
        gain: 0.007 * normal(),
        lag: 5e-4 * 2f64.powf(normal()),
        spikes: if seed.is_multiple_of(5) { 0.002 } else { 0.0 },
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
    Some(Case {
        cause,
        reported: faults.to_vec(),
        truth,
        measured: Measured {
            name: format!("case {seed}"),
            channels: columns
                .filter_map(|column| reduce(&column, (-1.0, last), 300).0)
                .collect(),
            trigger: Trigger::Known {
                time: 0.0,
                deviation: 2e-3,
            },
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
