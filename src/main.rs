//! The `coldkick` command: parse, run, print what went wrong, exit with the code that says so.

use std::process::ExitCode;

use clap::Parser;
use coldkick::cli::{self, Command};

fn main() -> ExitCode {
    cli::set_up_messages();
    match cli::run(&Command::parse()) {
        Ok(verdict) => ExitCode::from(verdict.exit_code()),
        Err(failure) => {
            anstream::eprintln!("{:?}", failure.report());
            ExitCode::from(failure.exit_code())
        }
    }
}
