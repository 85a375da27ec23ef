//! `coldkick margins`: how margins and the chance of success move along a value of the design, and
//! where they run out.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use crate::cli::common::{CommonOptions, Format};
use crate::cli::draws::{self, CareOptions, DrawOptions, check_trials};
use crate::cli::files::{print, write_whole};
use crate::cli::progress::Progress;
use crate::cli::swept::{
    at, check_numbers, check_reach, left_behind, parse_over, takes_only_whole, usual,
};
use crate::cli::{Failure, Verdict, load, odds};
use crate::design::Design;
use crate::report::margins::{self, CUSTOMARY_LEVEL, MarginsReport, SweptValue};
use crate::report::terminal::Detail;
use crate::report::{margins_data, margins_picture, margins_text, picture};
use crate::study::DischargeExperiment;
use crate::study::chance::trials_to_show;
use crate::study::margins::{Setup, Sweep, SweepSettings, sweep};
use crate::units;

/// Values along a sweep, and along each of two, when nobody says how many: about so many round ones.
const POINTS: usize = 10;
const POINTS_OF_TWO: usize = 7;
/// Most values along a sweep.
const MOST_POINTS: usize = 1_000;
/// Most trials at each value when nobody says how many: at least these, and twice as many as could
/// show the wanted chance at all; at each of a map of two values fewer.
const TRIALS: u64 = 300;
const TRIALS_OF_TWO: u64 = 128;

/// Arguments of `margins`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
                  coldkick margins tern.ron --over \"shared.soak = -15 .. 30 degC\" --at-least 99%\n  \
                  coldkick margins tern.ron --over \"paths.coupler-leak.area = 0.5 .. 8 mm2\" --plot m.svg\n  \
                  coldkick margins tern.ron --over \"shared.soak = -15 .. 30 degC\" \\\n      \
                  --over \"paths.coupler-leak.area = 1 .. 8 mm2\"\n\n\
                  A value swept is certain: it replaces the spread that stands there.")]
pub struct MarginsArguments {
    /// Design file
    #[arg(value_name = "DESIGN")]
    pub design: PathBuf,
    /// Value to sweep, as "PATH = FROM .. TO UNIT"; twice for a map over two
    #[arg(long, value_name = "PATH=RANGE", required = true)]
    pub over: Vec<String>,
    /// Wanted chance of success: find where it is lost
    #[arg(long, value_name = "SHARE")]
    pub at_least: Option<String>,
    /// Values along the sweep, evenly spaced (otherwise about ten round ones)
    #[arg(long, value_name = "N")]
    pub points: Option<usize>,
    /// Most trials at each value; fewer where the wanted chance is clearly reached or missed
    #[arg(long, value_name = "N")]
    pub trials: Option<u64>,
    /// Where the draws come from.
    #[command(flatten)]
    pub draws: DrawOptions,
    /// How carefully each discharge is computed.
    #[command(flatten)]
    pub care: CareOptions,
    /// Options shared with other commands.
    #[command(flatten)]
    pub common: CommonOptions,
}

/// Sweeps and writes what came of it.
///
/// # Errors
/// Bad input, a failed computation, or a file that cannot be written.
pub fn run(arguments: &MarginsArguments) -> Result<Verdict, Failure> {
    let plot = load::plot_target(&arguments.common.picture)?;
    let wanted = draws::optional_share("--at-least", arguments.at_least.as_deref())?;
    let level = wanted.unwrap_or(CUSTOMARY_LEVEL);
    let swept: Vec<SweptValue> = arguments
        .over
        .iter()
        .map(|text| parse_over(text))
        .collect::<Result<_, _>>()?;
    let (over, second) = match swept.as_slice() {
        [one] => (one, None),
        [one, two] if one.path == two.path => {
            return Err(Failure::input(
                format!("--over: {} is named twice", two.path),
                "sweep two different values",
            ));
        }
        [one, two] => (one, Some(two)),
        _ => {
            return Err(Failure::input(
                format!("--over is given {} times", swept.len()),
                "sweep one value or two",
            ));
        }
    };
    check_set(&swept, &arguments.common.changes.set)?;
    let trials = trials(arguments, second.is_some(), level)?;
    let design = load::design(&arguments.design, &arguments.common.changes)?;
    odds::kinds(&design)?;
    check_numbers(&design, &swept)?;
    let known = |swept: &SweptValue| SweptValue {
        usual: usual(&design, swept),
        whole: takes_only_whole(&design, swept),
        ..swept.clone()
    };
    let (over, second) = (&known(over), second.map(known));
    let second = second.as_ref();
    check_reach(&design, over, second)?;
    let settings = SweepSettings {
        values: values(over, arguments.points, second.is_some()),
        whole: over.whole,
        trials,
        method: arguments.draws.sampler.method(),
        seed: arguments.draws.seed,
        level: Some(level),
        // A map shows its grid alone.
        at_limits: second.is_none(),
        usual: over.own_inside().filter(|_| second.is_none()),
    };
    if !arguments.common.output.quiet
        && let Some(warning) = left_behind(&design, over)
    {
        anstream::eprintln!("warning: {warning}");
    }
    let progress = Progress::new("trials", None, arguments.common.output.quiet);
    let along = |design: &Design| -> Result<Sweep, Failure> {
        let family = |value: f64| setup(design, over, value, arguments.care);
        sweep(&family, &settings, &progress)
            .map_err(|error| Failure::computation(error.to_string()))
    };
    let sweeps: Vec<(f64, Sweep)> = match second {
        None => vec![(f64::NAN, along(&design)?)],
        Some(second) => {
            let mut sweeps = Vec::new();
            for value in values(second, arguments.points, true) {
                let changed = at(&design, second, value).map_err(load::bad_design)?;
                sweeps.push((value, along(&changed)?));
            }
            sweeps
        }
    };
    drop(progress);
    let Some((_, first)) = sweeps.first() else {
        return Err(Failure::computation("nothing was swept"));
    };
    let report = MarginsReport {
        name: design.name(),
        over,
        second: second.map(|second| (second, sweeps.as_slice())),
        sweep: first,
        level,
        trials: settings.trials,
        seed: settings.seed,
    };
    write(arguments, report, plot)?;
    let passes = sweeps.iter().any(|(_, sweep)| {
        margins::any_passes(sweep) && wanted.is_none_or(|level| !sweep.reaching(level).is_empty())
    });
    Ok(if passes { Verdict::Pass } else { Verdict::Fail })
}

fn write(
    arguments: &MarginsArguments,
    report: MarginsReport<'_>,
    plot: Option<(&std::path::Path, crate::report::PictureFormat)>,
) -> Result<(), Failure> {
    let output = &arguments.common.output;
    let unwritable = |error: crate::report::ReportError| Failure::computation(error.to_string());
    let text = match output.format {
        Format::Text => {
            let detail = if output.quiet {
                Detail::Verdict
            } else {
                Detail::Full
            };
            margins_text::text(report, detail)
        }
        Format::Json => margins_data::document(report).map_err(unwritable)?,
        Format::Csv => margins_data::table(report).map_err(unwritable)?,
    };
    if let Some((path, format)) = plot {
        let sheet = margins_picture::margins(report);
        let bytes = picture::scene_bytes(&sheet.draw(), format).map_err(unwritable)?;
        write_whole(path, &bytes, arguments.common.picture.force)?;
    }
    print(&text)
}

/// Refuses a `--set` of a value that is swept: the sweep would write over it.
fn check_set(swept: &[SweptValue], set: &[String]) -> Result<(), Failure> {
    let fields = set.iter().filter_map(|change| change.split_once('='));
    for (field, _) in fields {
        let field = field.trim();
        if swept.iter().any(|swept| swept.path == field) {
            return Err(Failure::input(
                format!("--set {field} and --over {field}: a value is either set or swept"),
                "leave out one of them: the sweep replaces what the design says there",
            ));
        }
    }
    Ok(())
}

/// Most trials at each value; checks `--points` too.
fn trials(arguments: &MarginsArguments, two: bool, level: f64) -> Result<u64, Failure> {
    if let Some(points) = arguments.points
        && !(2..=MOST_POINTS).contains(&points)
    {
        return Err(Failure::input(
            format!("--points {points}: a sweep has 2 to {MOST_POINTS} values"),
            "choose a number among them, or leave --points out",
        ));
    }
    let needed = trials_to_show(level).map_err(|error| Failure::input(error.to_string(), ""))?;
    let trials = arguments.trials.unwrap_or_else(|| {
        if two {
            TRIALS_OF_TWO.max(needed.saturating_add(needed / 2))
        } else {
            TRIALS.max(needed.saturating_mul(2))
        }
    });
    check_trials(trials)?;
    if trials < needed {
        let shown = units::format_percent(level);
        return Err(Failure::input(
            format!(
                "--trials {trials}: that few cannot show a chance of {shown}, even if none fails"
            ),
            format!("use {needed} or more, or a lower --at-least"),
        ));
    }
    Ok(trials)
}

/// Values along a range: so many evenly spaced ones, ends exactly as written, or round ones. Where only whole numbers
/// are taken, the nearest of those, each once.
fn values(over: &SweptValue, points: Option<usize>, two: bool) -> Vec<f64> {
    let Some(points) = points else {
        return over.round_values(if two { POINTS_OF_TWO } else { POINTS });
    };
    let steps = points.max(2) - 1;
    let mut values: Vec<f64> = (0..=steps)
        .map(|step| {
            let share = step as f64 / steps as f64;
            let value = over.low * (1.0 - share) + over.high * share;
            if over.whole { value.round() } else { value }
        })
        .collect();
    values.dedup();
    values
}

fn setup(
    design: &Design,
    over: &SweptValue,
    value: f64,
    care: CareOptions,
) -> Result<Setup, String> {
    let changed = Arc::new(at(design, over, value).map_err(|error| error.to_string())?);
    let inputs = changed.draws().map_err(|error| error.to_string())?;
    let with = |settings| {
        let design = Arc::clone(&changed);
        DischargeExperiment {
            build: move |values: &[f64]| design.system(values).map_err(|error| error.to_string()),
            settings,
        }
    };
    Ok(Setup {
        inputs,
        experiment: Box::new(with(care.settings())),
        nominal: Box::new(with(care.careful())),
    })
}
