//! `coldkick margins`: how margins and the chance of success move along a value of the design, and
//! where they run out.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use crate::cli::common::{CommonOptions, Format};
use crate::cli::draws::{self, CareOptions, DrawOptions, check_trials};
use crate::cli::files::{print, write_whole};
use crate::cli::progress::Progress;
use crate::cli::{Failure, Verdict, load, odds};
use crate::design::{Design, DesignError, Problem, edit};
use crate::report::margins::{self, CUSTOMARY_LEVEL, MarginsReport, SweptValue};
use crate::report::terminal::Detail;
use crate::report::{margins_data, margins_picture, margins_text, picture};
use crate::study::DischargeExperiment;
use crate::study::chance::trials_to_show;
use crate::study::margins::{Setup, Sweep, SweepSettings, sweep};
use crate::units::{self, Dimension};

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
    /// Value to sweep, as \"PATH = FROM .. TO UNIT\"; twice for a map over two
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

/// Whether the design takes only whole numbers where this is swept: it says so of a half.
fn takes_only_whole(design: &Design, over: &SweptValue) -> bool {
    let half = over.low.floor() + 0.5;
    let refused = at(design, over, half).err();
    refused.is_some_and(|error| matches!(error.problem(), Problem::Count { .. }))
}

/// The central value the design has at the path swept, in the unit of the sweep.
fn usual(design: &Design, over: &SweptValue) -> Option<f64> {
    let input = design.inputs().iter().find(|input| input.path == over.path);
    let Some(input) = input else {
        let written = edit::get(design.text(), &over.path)?;
        let (value, unit) = number_and_unit(&written)?;
        return (unit == over.unit).then_some(value);
    };
    let si = |number: f64| {
        let written = format!("{number} {}", over.unit);
        units::parse(written.trim(), input.dimension)
            .ok()
            .map(|quantity| quantity.value)
    };
    let (zero, one) = (si(0.0)?, si(1.0)?);
    let value = (input.distribution.central() - zero) / (one - zero);
    value.is_finite().then_some(value)
}

/// Says which vessels a sweep of a temperature leaves at theirs: weather alone cools no cartridge.
fn left_behind(design: &Design, over: &SweptValue) -> Option<String> {
    if !over.is_temperature {
        return None;
    }
    let vessels = |value: f64| {
        let changed = at(design, over, value).ok()?;
        let (system, _) = changed.system(&changed.central()).ok()?;
        let found: Vec<(String, f64)> = system
            .vessels
            .into_iter()
            .map(|vessel| (vessel.name, vessel.temperature))
            .collect();
        Some(found)
    };
    let (cold, warm) = (vessels(over.low)?, vessels(over.high)?);
    let still: Vec<&str> = cold
        .iter()
        .zip(&warm)
        .filter(|(cold, warm)| cold.1 == warm.1)
        .map(|(cold, _)| cold.0.as_str())
        .collect();
    if still.is_empty() {
        return None;
    }
    let shared = design
        .inputs()
        .iter()
        .filter(|input| input.dimension == Dimension::Temperature)
        .map(|input| input.path.as_str())
        .find(|path| path.starts_with("shared.") && *path != over.path);
    let way_out = shared.map_or_else(
        || "write one shared draw for what soaks together and sweep that".to_owned(),
        |path| format!("sweep {path} for what has soaked"),
    );
    Some(format!(
        "along {} the temperature of {} stays as it is; {way_out}",
        over.path,
        still.join(", ")
    ))
}

/// Reads "PATH = FROM .. TO UNIT".
fn parse_over(text: &str) -> Result<SweptValue, Failure> {
    let wrong = |what: &str| {
        Failure::input(
            format!("--over \"{text}\": {what}"),
            "write it as --over \"site.temperature = -20 .. 35 degC\"",
        )
    };
    let (path, range) = text
        .split_once('=')
        .ok_or_else(|| wrong("no `=` between path and range"))?;
    let (from, to) = range
        .split_once("..")
        .ok_or_else(|| wrong("no `..` between the ends of the range"))?;
    let (low, first_unit) = number_and_unit(from).ok_or_else(|| wrong("no number before `..`"))?;
    let (high, unit) = number_and_unit(to).ok_or_else(|| wrong("no number after `..`"))?;
    if !first_unit.is_empty() && first_unit != unit {
        return Err(wrong("both ends need the same unit"));
    }
    if !(low.is_finite() && high.is_finite()) || low == high {
        return Err(wrong("the ends must be two different numbers"));
    }
    if low > high {
        let path = path.trim();
        return Err(Failure::input(
            format!("--over \"{text}\": the range runs backwards, from {low} to {high}"),
            format!("write the smaller value first: --over \"{path} = {high} .. {low} {unit}\""),
        ));
    }
    let unit = unit.to_owned();
    let is_temperature = units::parse(&format!("0 {unit}"), Dimension::Temperature).is_ok();
    Ok(SweptValue {
        path: path.trim().to_owned(),
        low,
        high,
        unit,
        whole: false,
        is_temperature,
        usual: None,
    })
}

/// Splits "-20 degC" or "-20degC" into number and unit.
fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    // The longest start that is a number: "1e-3 mm" has its exponent, "5 e" has none.
    (1..=text.len())
        .rev()
        .filter_map(|end| Some((text.get(..end)?, text.get(end..)?)))
        .find_map(|(number, unit)| {
            let number = number.trim_end().replace('\u{2212}', "-");
            let first = number.chars().next()?;
            let plain = first.is_ascii_digit() || matches!(first, '+' | '-' | '.');
            Some((plain.then(|| number.parse().ok())??, unit.trim()))
        })
}

/// The design at one value.
fn at(design: &Design, over: &SweptValue, value: f64) -> Result<Design, DesignError> {
    let written = format!("{value} {}", over.unit);
    let text = edit::set(design.file(), design.text(), &over.path, written.trim())?;
    Design::parse(design.file(), &text)
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

/// Refuses to sweep what is no number: a field that takes any word, such as a name.
fn check_numbers(design: &Design, swept: &[SweptValue]) -> Result<(), Failure> {
    for over in swept {
        let worded = edit::set(design.file(), design.text(), &over.path, "a word")
            .and_then(|text| Design::parse(design.file(), &text));
        if worded.is_ok() {
            return Err(Failure::input(
                format!("--over {0}: `{0}` is not a number", over.path),
                "sweep a field that holds one, such as --over \"site.temperature = -20 .. 35 degC\"",
            ));
        }
    }
    Ok(())
}

/// A mistake in a path or a unit shows at every value, and a range that leaves what the design allows at one of its
/// ends: then nothing need be computed. In a map a value counts as allowed if it is beside any of the other.
fn check_reach(
    design: &Design,
    over: &SweptValue,
    second: Option<&SweptValue>,
) -> Result<(), Failure> {
    let middle = |swept: &SweptValue| {
        let middle = 0.5 * (swept.low + swept.high);
        if swept.whole { middle.round() } else { middle }
    };
    let marks = |swept: &SweptValue| [middle(swept), swept.low, swept.high];
    let beside = |other: Option<&SweptValue>| -> Vec<Design> {
        let changed: Vec<Design> = other.map_or_else(Vec::new, |other| {
            let values = marks(other).into_iter();
            values.filter_map(|v| at(design, other, v).ok()).collect()
        });
        if changed.is_empty() {
            vec![design.clone()]
        } else {
            changed
        }
    };
    let pairs = [(Some(over), second), (second, Some(over))];
    for (swept, other) in pairs
        .into_iter()
        .filter_map(|(swept, other)| Some((swept?, other)))
    {
        let designs = beside(other);
        for (place, value) in marks(swept).into_iter().enumerate() {
            let mut tried = designs.iter().map(|design| at(design, swept, value));
            let Some(Err(error)) = tried.next() else {
                continue;
            };
            if tried.any(|changed| changed.is_ok()) {
                continue;
            }
            return Err(if place == 0 {
                load::bad_design(error)
            } else {
                refused_end(swept, value, error)
            });
        }
    }
    Ok(())
}

/// The design can be computed in the middle of a range, not at this end.
fn refused_end(swept: &SweptValue, value: f64, error: DesignError) -> Failure {
    let SweptValue {
        path,
        low,
        high,
        unit,
        ..
    } = swept;
    Failure::Input(miette::Report::new(error).wrap_err(format!(
        "--over \"{path} = {low} .. {high} {unit}\": the design is refused at the end of the range, {value} {unit}"
    )))
}
