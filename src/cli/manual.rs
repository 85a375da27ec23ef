//! `coldkick completions` and `coldkick man`.

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use crate::cli::files::print;
use crate::cli::{Command, Failure, Verdict};

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionArguments {
    /// Shell to complete in
    #[arg(value_enum)]
    pub shell: Shell,
}

/// Prints a completion script.
///
/// # Errors
/// Standard output cannot be written.
pub fn completions(arguments: &CompletionArguments) -> Result<Verdict, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(
        arguments.shell,
        &mut Command::command(),
        "coldkick",
        &mut script,
    );
    print(&String::from_utf8_lossy(&script))?;
    Ok(Verdict::Pass)
}

/// Prints the manual page with all subcommands.
///
/// # Errors
/// Standard output cannot be written.
pub fn man() -> Result<Verdict, Failure> {
    let command = Command::command();
    let unwritable = |error: std::io::Error| Failure::computation(error.to_string());
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone())
        .render(&mut page)
        .map_err(unwritable)?;
    for task in command.get_subcommands().filter(|task| !task.is_hide_set()) {
        let name = format!("coldkick {}", task.get_name()).to_uppercase();
        page.extend_from_slice(format!(".SH {name}\n").as_bytes());
        let part = clap_mangen::Man::new(task.clone());
        part.render_synopsis_section(&mut page)
            .map_err(unwritable)?;
        part.render_options_section(&mut page).map_err(unwritable)?;
    }
    print(&String::from_utf8_lossy(&page))?;
    Ok(Verdict::Pass)
}
