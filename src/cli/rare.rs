//! `coldkick odds --rare`: failures too rare for plain draws.

use crate::cli::common::Format;
use crate::cli::files::print;
use crate::cli::odds::{OddsArguments, experiment};
use crate::cli::progress::Progress;
use crate::cli::{Failure, Verdict, draws};
use crate::design::Design;
use crate::report::odds::{InputName, Shown};
use crate::report::rare_text::{self, RareReport};
use crate::report::terminal::Detail;
use crate::statistics::subset_simulation::SubsetSettings;
use crate::study::rare::rare_failure;
use crate::study::{CriterionKind, DischargeExperiment};

/// Samples of each level and whole repeats: good for a factor of 1.5 either way at 1e-6.
const SAMPLES: usize = 500;
const REPEATS: usize = 8;
/// Where the search stops: failures rarer than that are only bounded.
const LEAST: f64 = 1e-7;

/// Estimates the probability of failure and writes it.
///
/// # Errors
/// Bad input, or a computation that failed.
pub fn run(
    arguments: &OddsArguments,
    design: &Design,
    kinds: &[CriterionKind],
) -> Result<Verdict, Failure> {
    let output = &arguments.common.output;
    if output.format == Format::Csv {
        return Err(Failure::input(
            "--rare --format csv: this answer is not a table",
            "use --format text or json",
        ));
    }
    if arguments.common.picture.plot.is_some() {
        return Err(Failure::input(
            "--rare --plot: there is no picture of this answer",
            "leave one of them out",
        ));
    }
    let wanted = draws::optional_share("--at-least", arguments.at_least.as_deref())?;
    let inputs = draws::inputs(design)?;
    if inputs.is_empty() {
        return Err(Failure::input(
            "--rare: nothing in the design is uncertain",
            "write spreads in place, such as \"normal 16.0 g sd 0.25 g\"",
        ));
    }
    let settings = SubsetSettings {
        samples: SAMPLES,
        repeats: REPEATS,
        least_probability: LEAST,
        seed: arguments.draws.seed,
        ..SubsetSettings::default()
    };
    let progress = Progress::new("discharges", None, output.quiet);
    let many = experiment(design, arguments.care);
    let careful = DischargeExperiment {
        settings: arguments.care.careful(),
        ..experiment(design, arguments.care)
    };
    let found = rare_failure(&inputs, &many, &careful, &settings, &progress)
        .map_err(|error| Failure::computation(error.to_string()))?;
    drop(progress);
    let names: Vec<InputName> = design.inputs().iter().map(InputName::of).collect();
    let report = RareReport {
        name: design.name(),
        found: &found,
        inputs: &names,
        central: &inputs.central(),
        kinds,
        settings: &settings,
        wanted,
    };
    let text = match output.format {
        Format::Json => {
            rare_text::document(report).map_err(|error| Failure::computation(error.to_string()))?
        }
        _ => {
            let detail = if output.quiet {
                Detail::Verdict
            } else {
                Detail::Full
            };
            rare_text::text(report, output.units.into(), detail)
        }
    };
    print(&text)?;
    Ok(match wanted {
        Some(wanted) if rare_text::shown(&found, wanted) != Shown::Yes => Verdict::Fail,
        _ => Verdict::Pass,
    })
}
