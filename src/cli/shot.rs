//! `coldkick shot`: one discharge of the central design, judged and explained.

use std::collections::BTreeMap;
use std::path::PathBuf;

use clap::Args;

use crate::cli::as_trace::{self, TraceArguments};
use crate::cli::common::{CommonOptions, Format};
use crate::cli::draws::{self, DrawOptions, MOST_TRIALS, SamplerName};
use crate::cli::files::{print, write_whole};
use crate::cli::{Failure, Verdict, load};
use crate::design::Design;
use crate::discharge::Settings;
use crate::report::odds::InputName;
use crate::report::terminal::{self, Detail};
use crate::report::terminal::{columns, heading};
use crate::report::{csv, json, picture, wording};
use crate::study::ShotStudy;
use crate::units::UnitSystem;

/// Arguments of `shot`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  coldkick shot tern.ron\n  \
                  coldkick shot tern.ron --plot tern.svg\n  \
                  coldkick shot tern.ron --set site.altitude=\"0.4 km\" --format json\n  \
                  coldkick shot tern.ron --trial 17 --seed 1\n\n\
                  Uncertain values take their central value, or with --trial those of one trial of \
                  `odds`.")]
pub struct ShotArguments {
    /// Design file
    #[arg(value_name = "DESIGN")]
    pub design: PathBuf,
    /// Keep the nose on, to see what the bay could do
    #[arg(long)]
    pub hold: bool,
    /// Take the values of this trial of `odds`
    #[arg(long, value_name = "N", help_heading = "Draws")]
    pub trial: Option<u64>,
    /// Trials of the campaign; matters to --sampler latin and sobol
    #[arg(long, value_name = "N", requires = "trial", help_heading = "Draws")]
    pub trials: Option<u64>,
    /// Where the draws come from.
    #[command(flatten)]
    pub draws: DrawOptions,
    /// The shot as a training trace.
    #[command(flatten)]
    pub trace: TraceArguments,
    /// Options shared with other commands.
    #[command(flatten)]
    pub common: CommonOptions,
}

/// Computes one shot and writes it.
///
/// # Errors
/// Bad input, a failed computation, or a file that cannot be written.
pub fn run(arguments: &ShotArguments) -> Result<Verdict, Failure> {
    let common = &arguments.common;
    let plot = load::plot_target(&common.picture)?;
    let design = load::design(&arguments.design, &common.changes)?;
    let values = values(arguments, &design)?;
    let (system, criteria) = design.system(&values).map_err(load::bad_design)?;
    let settings = Settings {
        hold_nose: arguments.hold,
        ..Settings::default()
    };
    if arguments.trace.as_trace.is_some() {
        let (force, quiet) = (common.picture.force, common.output.quiet);
        let seed = arguments.draws.seed;
        as_trace::write(&arguments.trace, &system, &settings, seed, force, quiet)?;
        return Ok(Verdict::Pass);
    }
    let output = &common.output;
    let explain = match output.format {
        Format::Text => !output.quiet,
        Format::Json => true,
        Format::Csv => false,
    };
    let study = if explain {
        ShotStudy::with_tolerable_leak(&system, &criteria, &settings)
    } else {
        ShotStudy::new(&system, &criteria, &settings)
    }
    .map_err(load::failed_study)?;
    let units = output.units.into();
    let unwritable = |error: crate::report::ReportError| Failure::computation(error.to_string());
    let text = match output.format {
        Format::Text => {
            let detail = if output.quiet {
                Detail::Verdict
            } else {
                Detail::Full
            };
            let mut text = terminal::shot(design.name(), &study, units, detail);
            if arguments.trial.is_some() && !output.quiet {
                drawn(&mut text, &design, &values, units);
            }
            text
        }
        Format::Json => {
            let trial = arguments.trial.map(|trial| json::DrawnTrial {
                trial,
                seed: arguments.draws.seed,
                inputs: by_path(&design, &values),
            });
            json::shot(design.name(), &study, trial.as_ref()).map_err(unwritable)?
        }
        Format::Csv => {
            if !output.quiet {
                for warning in &study.warnings {
                    let (text, remedy) = wording::warning(warning, &study, units);
                    anstream::eprintln!("warning: {text} Remedy: {remedy}.");
                }
            }
            csv::discharge(&study.discharge).map_err(unwritable)?
        }
    };
    if let Some((path, format)) = plot {
        let figure = picture::shot(design.name(), &study, units);
        let bytes = picture::bytes(&figure, format).map_err(unwritable)?;
        write_whole(path, &bytes, common.picture.force)?;
    }
    print(&text)?;
    Ok(if study.pass() {
        Verdict::Pass
    } else {
        Verdict::Fail
    })
}

/// Central values, or those of one trial.
fn values(arguments: &ShotArguments, design: &Design) -> Result<Vec<f64>, Failure> {
    let Some(index) = arguments.trial else {
        return Ok(design.central());
    };
    let plain = arguments.draws.sampler == SamplerName::Plain;
    let trials = match arguments.trials {
        Some(trials) => trials,
        None if plain => MOST_TRIALS,
        None => {
            return Err(Failure::input(
                "--trial: with --sampler latin or sobol the values depend on the number of trials",
                "give --trials as in the campaign",
            ));
        }
    };
    let campaign = draws::campaign(draws::inputs(design)?, arguments.draws, trials)?;
    campaign.values(index).map_err(|error| {
        Failure::input(
            format!("--trial {index}: {error}"),
            "trials are counted from 0; give --trials as in the campaign",
        )
    })
}

/// Values of inputs by where they are written in the design.
fn by_path(design: &Design, values: &[f64]) -> BTreeMap<String, f64> {
    let paths = design.inputs().iter().map(|input| input.path.clone());
    paths.zip(values.iter().copied()).collect()
}

/// The values of a trial, below its shot.
fn drawn(text: &mut String, design: &Design, values: &[f64], units: UnitSystem) {
    heading(text, "Values of this trial");
    let rows: Vec<Vec<String>> = design
        .inputs()
        .iter()
        .map(InputName::of)
        .zip(values.iter().zip(design.central()))
        .map(|(input, (value, central))| {
            let usual = input.value(central, units);
            vec![
                input.path.clone(),
                input.value(*value, units),
                format!("usually {usual}"),
            ]
        })
        .collect();
    columns(text, &rows);
}
