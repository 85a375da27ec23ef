//! `coldkick check`: is a design valid, and what does it say.

use std::path::PathBuf;

use clap::Args;

use crate::cli::common::{ChangeOptions, Format, OutputOptions};
use crate::cli::files::print;
use crate::cli::{Failure, Verdict, load};
use crate::design::summary::summarise;
use crate::discharge::Settings;
use crate::report::summary::{self, Meaning};
use crate::study::HeldNose;

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArguments {
    /// Design file
    #[arg(value_name = "DESIGN")]
    pub design: PathBuf,
    /// Changes to the design.
    #[command(flatten)]
    pub changes: ChangeOptions,
    /// How the result is shown.
    #[command(flatten)]
    pub output: OutputOptions,
}

/// Reads a design and says what it means.
///
/// # Errors
/// Bad input, or a computation that failed.
pub fn run(arguments: &CheckArguments) -> Result<Verdict, Failure> {
    let output = &arguments.output;
    if output.format == Format::Csv {
        return Err(Failure::input(
            "--format csv: a check is not a table",
            "use --format text or json",
        ));
    }
    let design = load::design(&arguments.design, &arguments.changes)?;
    let (system, _) = load::central(&design)?;
    let numbers =
        summarise(&system).map_err(|problem| Failure::computation(problem.to_string()))?;
    let held = HeldNose::of(&system, &Settings::default()).map_err(load::failed_study)?;
    let meaning = Meaning {
        design: &design,
        summary: &numbers,
        held: held.as_ref(),
    };
    let text = match output.format {
        Format::Json => {
            summary::json(meaning).map_err(|error| Failure::computation(error.to_string()))?
        }
        _ => summary::text(meaning, output.units.into(), output.quiet),
    };
    print(&text)?;
    Ok(Verdict::Pass)
}
