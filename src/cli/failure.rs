//! How a command ends.

use miette::Report;

/// How a command that ran to its end ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Everything asked for holds, or nothing was asked.
    Pass,
    /// A criterion fails.
    Fail,
}

impl Verdict {
    /// Exit code of the process.
    #[must_use]
    pub fn exit_code(self) -> u8 {
        match self {
            Self::Pass => 0,
            Self::Fail => 1,
        }
    }
}

/// Why a command did not run to its end.
#[derive(Debug)]
pub enum Failure {
    /// What was given cannot be used.
    Input(Report),
    /// What was given is sound, and no answer was found.
    Computation(Report),
}

impl Failure {
    /// Exit code of the process.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Input(_) => 2,
            Self::Computation(_) => 3,
        }
    }

    /// The message.
    #[must_use]
    pub fn report(&self) -> &Report {
        match self {
            Self::Input(report) | Self::Computation(report) => report,
        }
    }

    /// Bad input with a message and the way out.
    #[must_use]
    pub fn input(message: impl Into<String>, help: impl Into<String>) -> Self {
        let help = help.into();
        let diagnostic = miette::MietteDiagnostic::new(message);
        Self::Input(Report::new(if help.is_empty() {
            diagnostic
        } else {
            diagnostic.with_help(help)
        }))
    }

    /// A failed computation with a message.
    #[must_use]
    pub fn computation(message: impl Into<String>) -> Self {
        Self::Computation(Report::new(miette::MietteDiagnostic::new(message)))
    }
}
