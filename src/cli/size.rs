//! `coldkick size`: which cartridge, bay, orifice and pins.

use std::path::PathBuf;

use clap::Args;

use crate::cli::common::{CommonOptions, Format};
use crate::cli::files::{check_target, print, write_whole};
use crate::cli::progress::StatusLine;
use crate::cli::{Failure, Verdict, interrupt, load};
use crate::design::Design;
use crate::design::sizing::{SizingWorkshop, holding_table};
use crate::discharge::Settings;
use crate::report::{ReportError, sizing};
use crate::statistics::interval::wilson;
use crate::study::sizing::{
    Aim, Answer, ChanceSettings, Needs, Observer, Progress, SearchSettings, search,
};
use crate::units::UnitSystem;

/// Arguments of `size`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  coldkick size tern.ron --table\n  \
                  coldkick size tern.ron --from \"-8 degC\" --to \"28 degC\" --at-least \"99 %\"\n  \
                  coldkick size tern.ron --aim \"least mass, most margin\" --plot front.svg\n  \
                  coldkick size tern.ron --write sized.ron\n\n\
                  The design says what is free in its `size` section. Ctrl-C stops the search and \
                  shows the best so far.")]
pub struct SizeArguments {
    /// Design file with a `size` section
    #[arg(value_name = "DESIGN")]
    pub design: PathBuf,
    /// No search: what each cartridge can hold in the bay
    #[arg(long, conflicts_with_all = ["aim", "at_least", "write", "best", "trials"])]
    pub table: bool,
    /// One aim, or two for a trade-off: least mass, least volume, most margin, most chance
    #[arg(long, value_name = "AIM[, AIM]", help_heading = "Wanted")]
    pub aim: Option<String>,
    /// Least chance of success at the worst temperature, such as "99 %"
    #[arg(long, value_name = "CHANCE", help_heading = "Wanted")]
    pub at_least: Option<String>,
    /// Coldest temperature to work at
    #[arg(
        long,
        value_name = "TEMPERATURE",
        allow_hyphen_values = true,
        help_heading = "Wanted"
    )]
    pub from: Option<String>,
    /// Hottest temperature to work at
    #[arg(
        long,
        value_name = "TEMPERATURE",
        allow_hyphen_values = true,
        help_heading = "Wanted"
    )]
    pub to: Option<String>,
    /// How many to show
    #[arg(
        long,
        value_name = "N",
        default_value_t = 5,
        value_parser = clap::value_parser!(u16).range(1..=100),
        help_heading = "Search"
    )]
    pub best: u16,
    /// Trials for the chance at each end of the temperatures; 0 looks at no chance
    #[arg(
        long,
        value_name = "N",
        value_parser = clap::value_parser!(u64).range(0..=1_000_000),
        help_heading = "Search"
    )]
    pub trials: Option<u64>,
    /// Seed of the search and of the trials
    #[arg(long, value_name = "N", default_value_t = 1, help_heading = "Search")]
    pub seed: u64,
    /// Save the best as a complete design
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub write: Option<PathBuf>,
    /// Options shared with other commands.
    #[command(flatten)]
    pub common: CommonOptions,
}

/// Chooses what the design leaves open.
///
/// # Errors
/// Bad input, a failed computation, or a file that cannot be written.
pub fn run(arguments: &SizeArguments) -> Result<Verdict, Failure> {
    let picture = &arguments.common.picture;
    let plot = load::plot_target(picture)?;
    if let Some(path) = &arguments.write {
        check_target(path, picture.force)?;
    }
    let design = read(arguments)?;
    if arguments.table {
        if plot.is_some() {
            return Err(Failure::input(
                "--plot: the table has no picture",
                "leave one of them out",
            ));
        }
        return table(arguments, &design);
    }
    let workshop = SizingWorkshop::new(&design).map_err(load::bad_design)?;
    let needs = needs(arguments, &workshop)?;
    let units: UnitSystem = arguments.common.output.units.into();
    let answer = look(arguments, &workshop, &needs, units)?;
    let sized = sizing::Sized {
        name: design.name(),
        workshop: &workshop,
        answer: &answer,
    };
    let text = report(arguments, &sized, units)?;
    if let Some((path, format)) = plot {
        if answer.passing.is_empty() {
            warn(arguments, "nothing passes, so no picture was drawn");
        } else {
            let bytes = sizing::draw(&sized, units, format).map_err(unwritable)?;
            write_whole(path, &bytes, picture.force)?;
        }
    }
    if let Some(path) = &arguments.write {
        match answer.best.first() {
            Some(best) => {
                let written = workshop
                    .written(&best.candidate)
                    .map_err(load::bad_design)?;
                write_whole(path, written.as_bytes(), picture.force)?;
            }
            None => warn(arguments, "nothing passes, so no design was saved"),
        }
    }
    print(&text)?;
    Ok(if answer.best.is_empty() {
        Verdict::Fail
    } else {
        Verdict::Pass
    })
}

fn unwritable(error: ReportError) -> Failure {
    Failure::computation(error.to_string())
}

fn warn(arguments: &SizeArguments, message: &str) {
    if !arguments.common.output.quiet {
        anstream::eprintln!("warning: {message}");
    }
}

/// The design with what the command line asks for written into its `size` section.
fn read(arguments: &SizeArguments) -> Result<Design, Failure> {
    let mut changes = arguments.common.changes.clone();
    let wanted = [
        ("size.coldest", &arguments.from),
        ("size.hottest", &arguments.to),
        ("size.at_least", &arguments.at_least),
        ("size.aim", &arguments.aim),
    ];
    if wanted.iter().any(|(_, value)| value.is_some()) {
        let plain = load::design(&arguments.design, &changes)?;
        // Says what is missing better than half a section would.
        SizingWorkshop::new(&plain).map_err(load::bad_design)?;
    }
    for (path, value) in wanted {
        if let Some(value) = value {
            changes.set.push(format!("{path}={value}"));
        }
    }
    load::design(&arguments.design, &changes)
}

fn needs(arguments: &SizeArguments, workshop: &SizingWorkshop) -> Result<Needs, Failure> {
    let plan = workshop.plan();
    let mut chance = ChanceSettings::for_chance(plan.at_least, arguments.seed);
    if let Some(trials) = arguments.trials {
        chance.trials = trials;
    }
    let shows = |trials: u64, wanted: f64| {
        wilson(trials, trials, chance.confidence).is_ok_and(|interval| interval.low >= wanted)
    };
    if let Some(wanted) = plan.at_least
        && !shows(chance.trials, wanted)
    {
        let enough = ChanceSettings::for_chance(plan.at_least, arguments.seed).trials;
        return Err(Failure::input(
            format!(
                "--trials {}: even without a failure so few trials cannot show {}",
                chance.trials,
                crate::units::format_percent(wanted)
            ),
            format!("use {enough} or leave the option out"),
        ));
    }
    if plan.aims.contains(&Aim::MostChance) && chance.trials == 0 {
        return Err(Failure::input(
            "--trials 0: most chance is aimed at",
            "allow trials, or aim at something else",
        ));
    }
    Ok(Needs {
        cases: plan.cases(),
        at_least: plan.at_least,
        climb: plan.climb,
        chance,
        settings: Settings::for_many_runs(),
        proof: Some(Settings::default()),
    })
}

/// Stops on Ctrl-C and says on a terminal where the search stands.
struct Watch {
    line: StatusLine,
    aim: Aim,
    units: UnitSystem,
}

impl Observer for Watch {
    fn progress(&self, progress: &Progress) {
        self.line
            .say(|_| sizing::progress(progress, self.aim, self.units));
    }

    fn stop(&self) -> bool {
        interrupt::asked()
    }
}

fn look(
    arguments: &SizeArguments,
    workshop: &SizingWorkshop,
    needs: &Needs,
    units: UnitSystem,
) -> Result<Answer, Failure> {
    interrupt::catch()?;
    let aims = &workshop.plan().aims;
    let quiet = arguments.common.output.quiet;
    let watch = Watch {
        line: StatusLine::new(quiet),
        aim: aims.first().copied().unwrap_or(Aim::LeastMass),
        units,
    };
    let settings = SearchSettings {
        seed: arguments.seed,
        keep: usize::from(arguments.best),
        with_chance: needs.chance.trials > 0,
        ..SearchSettings::default()
    };
    let answer = search(workshop, needs, aims, &settings, &watch);
    drop(watch);
    if answer.interrupted {
        warn(arguments, "stopped; this is the best so far");
    }
    Ok(answer)
}

fn report(
    arguments: &SizeArguments,
    sized: &sizing::Sized<'_>,
    units: UnitSystem,
) -> Result<String, Failure> {
    let output = &arguments.common.output;
    match output.format {
        Format::Text => {
            let bill = match sized.answer.best.first() {
                Some(best) => Some(
                    sized
                        .workshop
                        .bill(&best.candidate)
                        .map_err(load::bad_design)?,
                ),
                None => None,
            };
            Ok(sizing::text(sized, bill.as_ref(), units, output.quiet))
        }
        Format::Json => sizing::document(sized).map_err(unwritable),
        Format::Csv => sizing::table(sized).map_err(unwritable),
    }
}

fn table(arguments: &SizeArguments, design: &Design) -> Result<Verdict, Failure> {
    let rows = holding_table(design).map_err(load::bad_design)?;
    let (system, _) = load::central(design)?;
    let outside = system.ambient.at(0.0).0;
    let output = &arguments.common.output;
    let text = match output.format {
        Format::Text => sizing::holding_text(design.name(), &rows, outside, output.units.into()),
        Format::Json => sizing::holding_json(design.name(), &rows, outside).map_err(unwritable)?,
        Format::Csv => sizing::holding_csv(&rows, outside).map_err(unwritable)?,
    };
    print(&text)?;
    Ok(Verdict::Pass)
}
