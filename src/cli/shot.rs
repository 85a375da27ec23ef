//! `coldkick shot`: one discharge of the central design, judged and explained.

use std::path::PathBuf;

use clap::Args;

use crate::cli::common::{CommonOptions, Format};
use crate::cli::files::{check_target, print, write_whole};
use crate::cli::{Failure, Verdict, load};
use crate::discharge::Settings;
use crate::report::terminal::{self, Detail};
use crate::report::{PictureFormat, csv, json, picture, wording};
use crate::study::ShotStudy;

/// Arguments of `shot`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  coldkick shot tern.ron\n  \
                  coldkick shot tern.ron --plot tern.svg\n  \
                  coldkick shot tern.ron --set site.altitude=\"0.4 km\" --format json\n\n\
                  Uncertain values take their central value.")]
pub struct ShotArguments {
    /// Design file
    #[arg(value_name = "DESIGN")]
    pub design: PathBuf,
    /// Keep the nose on, to see what the bay could do
    #[arg(long)]
    pub hold: bool,
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
    let plot = match &common.picture.plot {
        None => None,
        Some(path) => {
            let format = PictureFormat::of(path)
                .map_err(|error| Failure::input(error.to_string(), "end it in .svg or .png"))?;
            check_target(path, common.picture.force)?;
            Some((path, format))
        }
    };
    let design = load::design(&arguments.design, &common.changes)?;
    let (system, criteria) = load::central(&design)?;
    let settings = Settings {
        hold_nose: arguments.hold,
        ..Settings::default()
    };
    let mut study = ShotStudy::new(&system, &criteria, &settings).map_err(load::failed_study)?;
    let output = &common.output;
    let explain = match output.format {
        Format::Text => !output.quiet,
        Format::Json => true,
        Format::Csv => false,
    };
    if explain {
        study = study
            .with_tolerable_leak(&system, &settings)
            .map_err(load::failed_study)?;
    }
    let units = output.units.into();
    let unwritable = |error: crate::report::ReportError| Failure::computation(error.to_string());
    let text = match output.format {
        Format::Text => {
            let detail = if output.quiet {
                Detail::Verdict
            } else {
                Detail::Full
            };
            terminal::shot(design.name(), &study, units, detail)
        }
        Format::Json => json::shot(design.name(), &study).map_err(unwritable)?,
        Format::Csv => {
            if !output.quiet {
                for warning in &study.warnings {
                    let (text, remedy) = wording::warning(warning, units);
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
