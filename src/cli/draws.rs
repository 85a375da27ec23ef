//! Options that say which trials are meant, and numbers as people write them there.

use clap::{Args, ValueEnum};

use crate::cli::Failure;
use crate::design::Design;
use crate::discharge::{Extent, Settings};
use crate::statistics::SamplingMethod;
use crate::study::{Campaign, Inputs};

/// Most trials of one campaign: what fits into the memory of an ordinary machine.
pub const MOST_TRIALS: u64 = 10_000_000;

/// How trials are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum SamplerName {
    /// Independent draws
    #[default]
    Plain,
    /// Latin hypercube: every input evenly covered
    Latin,
    /// Scrambled Sobol points: space evenly covered
    Sobol,
}

impl SamplerName {
    /// The method.
    #[must_use]
    pub fn method(self) -> SamplingMethod {
        match self {
            SamplerName::Plain => SamplingMethod::Plain,
            SamplerName::Latin => SamplingMethod::LatinHypercube,
            SamplerName::Sobol => SamplingMethod::Sobol,
        }
    }

    /// The name of a method on the command line.
    #[must_use]
    pub fn of(method: SamplingMethod) -> &'static str {
        match method {
            SamplingMethod::Plain => "plain",
            SamplingMethod::LatinHypercube => "latin",
            SamplingMethod::Sobol => "sobol",
        }
    }
}

/// Where the draws come from.
#[derive(Debug, Clone, Copy, Args)]
pub struct DrawOptions {
    /// Seed of the draws: the same seed gives the same trials, on any machine
    #[arg(long, default_value_t = 1, help_heading = "Draws")]
    pub seed: u64,
    /// How the trials are spread
    #[arg(long, value_enum, default_value_t, help_heading = "Draws")]
    pub sampler: SamplerName,
}

/// How carefully each discharge is computed.
#[derive(Debug, Clone, Copy, Args)]
pub struct CareOptions {
    /// Take every property from the equations and keep the tolerance of `shot`: slower by far,
    /// to check the fast runs (within 0.1 %)
    #[arg(long, help_heading = "Draws")]
    pub exact: bool,
}

impl CareOptions {
    /// Settings of the many runs whose outcome alone counts.
    #[must_use]
    pub fn settings(self) -> Settings {
        if self.exact {
            Settings {
                exact_properties: true,
                ..self.careful()
            }
        } else {
            Settings::for_many_runs()
        }
    }

    /// Settings of the few runs that must agree with `shot`.
    #[must_use]
    pub fn careful(self) -> Settings {
        Settings {
            extent: Extent::Separation,
            exact_properties: self.exact,
            ..Settings::default()
        }
    }
}

/// The uncertain values of a design.
///
/// # Errors
/// None for a design that was read; bad input otherwise.
pub fn inputs(design: &Design) -> Result<Inputs, Failure> {
    design
        .draws()
        .map_err(|error| Failure::input(error.to_string(), ""))
}

/// A campaign, refused early if it makes no sense.
///
/// # Errors
/// No trials, too many of them, or more inputs than the sampler serves.
pub fn campaign(inputs: Inputs, draws: DrawOptions, trials: u64) -> Result<Campaign, Failure> {
    check_trials(trials)?;
    Campaign::new(inputs, draws.sampler.method(), draws.seed, trials)
        .map_err(|error| Failure::input(format!("--sampler: {error}"), "use --sampler plain"))
}

/// Refuses no trials and absurdly many.
///
/// # Errors
/// Both.
pub fn check_trials(trials: u64) -> Result<(), Failure> {
    if trials == 0 {
        return Err(Failure::input(
            "--trials 0: no trials show nothing",
            "ask for a thousand or more",
        ));
    }
    if trials > MOST_TRIALS {
        return Err(Failure::input(
            format!("--trials {trials}: at most {MOST_TRIALS} trials fit into one campaign"),
            "for failures too rare for that many use --rare; stop early with --until",
        ));
    }
    Ok(())
}

/// A share of one such as "0.5%", "0.005" or "99 %", strictly between 0 and 1.
///
/// # Errors
/// Anything else, naming the option.
pub fn share(option: &str, text: &str) -> Result<f64, Failure> {
    let trimmed = text.trim();
    let (number, scale) = match trimmed.strip_suffix('%') {
        Some(number) => (number.trim(), 0.01),
        None => (trimmed, 1.0),
    };
    match number.parse::<f64>() {
        Ok(value) if value * scale > 0.0 && value * scale < 1.0 => Ok(value * scale),
        _ => Err(Failure::input(
            format!("{option} {text}: not a share between 0 and 100 %"),
            format!(
                "write more than none and less than all, such as {option} 0.5% or {option} 0.005"
            ),
        )),
    }
}

/// The same of an option that may be left out.
///
/// # Errors
/// As [`share`].
pub fn optional_share(option: &str, text: Option<&str>) -> Result<Option<f64>, Failure> {
    text.map(|text| share(option, text)).transpose()
}
