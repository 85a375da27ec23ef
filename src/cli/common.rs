//! Options that several commands share.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::units::UnitSystem;

/// How results are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum Format {
    /// For people.
    #[default]
    Text,
    /// One JSON value in SI units.
    Json,
    /// Comma-separated values in SI units.
    Csv,
}

/// Units of text and pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum Units {
    /// Grams, millimetres, bar, degC.
    #[default]
    Metric,
    /// Ounces, inches, psi, degF.
    Us,
}

impl From<Units> for UnitSystem {
    fn from(units: Units) -> Self {
        match units {
            Units::Metric => Self::Metric,
            Units::Us => Self::Us,
        }
    }
}

/// How results are shown.
#[derive(Debug, Clone, Default, Args)]
pub struct OutputOptions {
    /// How to write the result (json and csv are in SI units)
    #[arg(long, value_enum, default_value_t, help_heading = "Output")]
    pub format: Format,
    /// Units of text and pictures
    #[arg(long, value_enum, default_value_t, help_heading = "Output")]
    pub units: Units,
    /// Of an answer in text the first line alone; no warnings and no progress on standard error
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
}

/// Where a picture goes.
#[derive(Debug, Clone, Default, Args)]
pub struct PictureOptions {
    /// Draw a picture into a file ending in .svg or .png
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub plot: Option<PathBuf>,
    /// Replace an existing file
    #[arg(long, help_heading = "Output")]
    pub force: bool,
}

/// A what-if without editing the design.
#[derive(Debug, Clone, Default, Args)]
pub struct ChangeOptions {
    /// Change a value of the design for this run, such as --set vessels.cartridge.charge="15 g"
    #[arg(long, value_name = "PATH=VALUE")]
    pub set: Vec<String>,
}

/// All of the above, for commands that read a design.
#[derive(Debug, Clone, Default, Args)]
pub struct CommonOptions {
    /// Changes to the design.
    #[command(flatten)]
    pub changes: ChangeOptions,
    /// How results are shown.
    #[command(flatten)]
    pub output: OutputOptions,
    /// Where a picture goes.
    #[command(flatten)]
    pub picture: PictureOptions,
}
