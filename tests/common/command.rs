//! The command run as a user runs it.

use assert_cmd::Command;

/// What a run of the command left behind.
pub struct Outcome {
    pub code: i32,
    pub out: String,
    pub err: String,
}

/// Runs the command with arguments, without colour.
#[allow(dead_code)] // each test file takes what it needs
pub fn coldkick(arguments: &[&str]) -> Outcome {
    outcome(binary().args(arguments))
}

/// The command without colour, ready for more.
pub fn binary() -> Command {
    let mut command = Command::cargo_bin("coldkick").expect("the binary");
    command.env("NO_COLOR", "1");
    command
}

/// Runs a command to its end.
pub fn outcome(command: &mut Command) -> Outcome {
    let output = command.output().expect("it runs");
    Outcome {
        code: output.status.code().expect("an exit code"),
        out: String::from_utf8(output.stdout).expect("UTF-8 on stdout"),
        err: String::from_utf8(output.stderr).expect("UTF-8 on stderr"),
    }
}
