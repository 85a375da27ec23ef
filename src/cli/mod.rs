//! The command line: one file per subcommand, and what they share.
//!
//! Results go to standard output, messages to standard error. The exit code is 0 for a pass, 1
//! where a criterion fails, 2 for bad input and 3 where the computation failed.

pub mod as_trace;
pub mod check;
pub mod common;
pub mod diagnose;
pub mod draws;
pub mod failure;
pub mod files;
mod flight_chance;
pub mod gas;
mod gas_output;
mod interrupt;
pub mod load;
pub mod manual;
pub mod margins;
pub mod new;
pub mod odds;
mod odds_answer;
mod progress;
mod rare;
pub mod shot;
pub mod size;
mod swept;
pub mod traces;
mod trials_file;

use clap::{Parser, Subcommand};

pub use failure::{Failure, Verdict};

/// Will the nose leave? CO2 cold-gas separation of sounding rockets, computed.
#[derive(Debug, Parser)]
#[command(
    name = "coldkick",
    version,
    about,
    max_term_width = 100,
    after_help = "Exit code: 0 pass, 1 a criterion fails, 2 bad input, 3 the computation failed."
)]
pub struct Command {
    /// What to do.
    #[command(subcommand)]
    pub task: Task,
}

/// The subcommands.
#[derive(Debug, Subcommand)]
pub enum Task {
    /// Write a starter design for a cartridge and a bore.
    New(new::NewArguments),
    /// Is a design valid, and what does it say.
    Check(check::CheckArguments),
    /// One discharge: pressure, opening force, events, exit speed and a verdict per criterion.
    Shot(shot::ShotArguments),
    /// The chance of a successful separation, what fails first and what drives it.
    Odds(odds::OddsArguments),
    /// How margins and the chance move along a value, and where they run out.
    Margins(margins::MarginsArguments),
    /// Which cartridge, bay, orifice and pins meet the criteria, with least mass or most margin.
    Size(size::SizeArguments),
    /// What a measured trace says went wrong, how sure that is, and what to check.
    Diagnose(diagnose::DiagnoseArguments),
    /// Properties and phase of CO2 at a state named by two properties.
    Gas(gas::GasArguments),
    /// Print the completion script of a shell.
    Completions(manual::CompletionArguments),
    /// Print the manual page, for `man -l -`.
    Man,
}

/// Do what was asked.
///
/// # Errors
/// Bad input or a failed computation, each with the message to print.
pub fn run(command: &Command) -> Result<Verdict, Failure> {
    match &command.task {
        Task::New(arguments) => new::run(arguments),
        Task::Check(arguments) => check::run(arguments),
        Task::Shot(arguments) => shot::run(arguments),
        Task::Odds(arguments) => odds::run(arguments),
        Task::Margins(arguments) => margins::run(arguments),
        Task::Size(arguments) => size::run(arguments),
        Task::Diagnose(arguments) => diagnose::run(arguments),
        Task::Gas(arguments) => gas::run(arguments),
        Task::Completions(arguments) => manual::completions(arguments),
        Task::Man => manual::man(),
    }
}

/// Have error messages keep their lines whole and point at their place in a file.
pub fn set_up_messages() {
    let hook = miette::set_hook(Box::new(|_| {
        Box::new(
            miette::MietteHandlerOpts::new()
                .wrap_lines(false)
                .terminal_links(false)
                .build(),
        )
    }));
    // A second call in one process keeps the first handler, which is the same.
    drop(hook);
}
