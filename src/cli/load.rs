//! From the name of a file to a system in SI.

use std::path::Path;

use miette::Report;

use crate::cli::Failure;
use crate::cli::common::ChangeOptions;
use crate::design::{Design, DesignError, edit};
use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::study::StudyError;

/// Reads a design, with the changes of `--set` made.
///
/// # Errors
/// Bad input, shown where it is written.
pub fn design(path: &Path, changes: &ChangeOptions) -> Result<Design, Failure> {
    let design = Design::read(path).map_err(bad_design)?;
    if changes.set.is_empty() {
        return Ok(design);
    }
    let name = design.file().to_owned();
    let mut text = design.text().to_owned();
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
