//! `coldkick new`: a starter design for a cartridge and a bore.

use std::path::PathBuf;

use clap::Args;

use crate::cli::files::{check_target, print, write_whole};
use crate::cli::{Failure, Verdict, load};
use crate::design::{StarterRequest, starter};

/// Arguments of `new`.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coldkick new tern.ron --cartridge 16g --bore \"98 mm\"")]
pub struct NewArguments {
    /// File to write
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Cartridge by its charge, such as 8g, 12g, 16g, 25g, 38g
    #[arg(long, default_value = "16g")]
    pub cartridge: String,
    /// Bore of the nose, such as "98 mm" or "4 in"
    #[arg(long, default_value = "98 mm", allow_hyphen_values = true)]
    pub bore: String,
    /// For a test on a bench instead of a flight
    #[arg(long)]
    pub bench: bool,
    /// Replace an existing file
    #[arg(long)]
    pub force: bool,
    /// Say nothing
    #[arg(long, short)]
    pub quiet: bool,
}

/// Writes a starter.
///
/// # Errors
/// An unknown cartridge, a bore that is none, or a file that cannot be written.
pub fn run(arguments: &NewArguments) -> Result<Verdict, Failure> {
    check_target(&arguments.file, arguments.force)?;
    let request = StarterRequest::new(&arguments.cartridge, &arguments.bore, arguments.bench)
        .map_err(load::bad_design)?;
    let text = starter(&request);
    write_whole(&arguments.file, text.as_bytes(), arguments.force)?;
    if !arguments.quiet {
        let file = arguments.file.display();
        let part = request.cartridge.name;
        print(&format!(
            "{file} written for one {part} and a bore of {}.\nEvery number in it is a guess: edit \
             it, then\n  coldkick check {file}\n  coldkick shot {file}\n",
            arguments.bore
        ))?;
    }
    Ok(Verdict::Pass)
}
