//! From the names of files to a system in SI, and to where results go.

use std::path::Path;

use miette::Report;

use crate::cli::Failure;
use crate::cli::common::{ChangeOptions, PictureOptions};
use crate::cli::files::check_target;
use crate::design::{Design, DesignError, edit};
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::report::PictureFormat;
use crate::study::StudyError;

/// Reads a design, with the changes of `--set` made.
///
/// # Errors
/// Bad input, shown where it is written.
pub fn design(path: &Path, changes: &ChangeOptions) -> Result<Design, Failure> {
    // Changes come first: they may be what makes the file a valid design.
    let (name, mut text) = Design::read_text(path).map_err(bad_design)?;
    for change in &changes.set {
        let Some((field, value)) = change.split_once('=') else {
            return Err(Failure::input(
                format!("--set {change}: no value"),
                "write it as PATH=VALUE, such as --set vessels.cartridge.charge=\"15 g\"",
            ));
        };
        text = edit::set(&name, &text, field.trim(), value.trim()).map_err(bad_design)?;
    }
    Design::parse(&name, &text).map_err(bad_design)
}

/// The system and criteria for the central values.
///
/// # Errors
/// Bad input, shown where it is written.
pub fn central(design: &Design) -> Result<(System, Criteria), Failure> {
    design.system(&design.central()).map_err(bad_design)
}

/// Where a picture goes and in which format, refused early if it could not go there.
///
/// # Errors
/// An ending that is neither `.svg` nor `.png`, and what [`check_target`] refuses.
pub fn plot_target(options: &PictureOptions) -> Result<Option<(&Path, PictureFormat)>, Failure> {
    let Some(path) = options.plot.as_deref() else {
        return Ok(None);
    };
    let format = PictureFormat::of(path)
        .map_err(|error| Failure::input(error.to_string(), "end it in .svg or .png"))?;
    check_target(path, options.force)?;
    Ok(Some((path, format)))
}

/// A mistake in a design as the end of a command.
#[must_use]
pub fn bad_design(error: DesignError) -> Failure {
    Failure::Input(Report::new(error))
}

/// A study that could not be finished as the end of a command.
#[must_use]
pub fn failed_study(error: StudyError) -> Failure {
    Failure::Computation(Report::from_err(error))
}
