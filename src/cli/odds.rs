//! `coldkick odds`: the chance of a successful separation, what fails first and what drives it.

use std::ops::{ControlFlow, Range};
use std::path::PathBuf;

use clap::Args;

use crate::cli::common::CommonOptions;
use crate::cli::draws::{self, CareOptions, DrawOptions, MOST_TRIALS, SamplerName};
use crate::cli::files::print;
use crate::cli::odds_answer::{Answer, finish, merged};
use crate::cli::progress::Progress;
use crate::cli::trials_file::TrialsFile;
use crate::cli::{Failure, Verdict, interrupt, load, rare};
use crate::design::Design;
use crate::report::odds::{interval, percent};
use crate::report::trial_table::TrialTableHeader;
use crate::statistics::sensitivity::FEWEST_ROWS;
use crate::statistics::{SamplingMethod, stream};
use crate::study::chance::trials_to_show;
use crate::study::odds::StopRule;
use crate::study::trial::ENOUGH;
use crate::study::{
    BuildSystem, Campaign, CriterionKind, DischargeExperiment, Record, Tally, criterion, run_trials,
};

/// Trials when nobody says how many.
const DEFAULT_TRIALS: u64 = 2_000;
/// Trials at which `--until` gives up when nobody says how many.
const MOST_UNTIL: u64 = 1_000_000;

/// Arguments of `odds`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  coldkick odds tern.ron\n  \
                  coldkick odds tern.ron --trials 20000 --plot odds.svg\n  \
                  coldkick odds tern.ron --until 0.5% --at-least 99%\n  \
                  coldkick odds tern.ron --rare\n  \
                  coldkick odds tern.ron --trials 1000000 --slice 3/8 --trials-out part3.csv\n  \
                  coldkick odds tern.ron --merge part*.csv\n\n\
                  A chance is no permission: ground tests, local rules and range safety decide.")]
pub struct OddsArguments {
    /// Design file (with --merge it may be left out)
    #[arg(value_name = "DESIGN", required_unless_present = "merge")]
    pub design: Option<PathBuf>,
    /// Number of trials; with --until, the most
    #[arg(long, value_name = "N")]
    pub trials: Option<u64>,
    /// Where the draws come from.
    #[command(flatten)]
    pub draws: DrawOptions,
    /// How carefully each discharge is computed.
    #[command(flatten)]
    pub care: CareOptions,
    /// Stop when the chance is known to plus or minus this, such as 0.5%
    #[arg(long, value_name = "SHARE", conflicts_with_all = ["slice", "merge", "resume"])]
    pub until: Option<String>,
    /// Wanted chance of success, such as 99%: pass only if the whole interval lies above
    #[arg(long, value_name = "SHARE")]
    pub at_least: Option<String>,
    /// Rows of the sensitivity study, each (inputs + 2) discharges more; 0 for none
    #[arg(
        long,
        value_name = "ROWS",
        default_value_t = 128,
        help_heading = "Draws"
    )]
    pub drivers: u64,
    /// Estimate failures too rare for plain draws, and the likeliest combination that fails
    #[arg(long, conflicts_with_all = ["until", "trials", "trials_out", "slice", "merge", "resume"])]
    pub rare: bool,
    /// Write every trial to a table, as they come
    #[arg(
        long,
        value_name = "FILE.csv|parquet",
        help_heading = "Large campaigns"
    )]
    pub trials_out: Option<PathBuf>,
    /// Go on with the unfinished table of --trials-out
    #[arg(long, requires = "trials_out", help_heading = "Large campaigns")]
    pub resume: bool,
    /// Run only slice K of N, such as 3/8
    #[arg(
        long,
        value_name = "K/N",
        requires = "trials_out",
        conflicts_with = "merge",
        help_heading = "Large campaigns"
    )]
    pub slice: Option<String>,
    /// Put the tables of all slices together instead of running trials
    #[arg(long, value_name = "FILES", num_args = 1.., conflicts_with = "trials_out", help_heading = "Large campaigns")]
    pub merge: Vec<PathBuf>,
    /// Options shared with other commands.
    #[command(flatten)]
    pub common: CommonOptions,
}

/// Runs a campaign, or puts one together, and writes what came of it.
///
/// # Errors
/// Bad input, a failed computation, or a file that cannot be written.
pub fn run(arguments: &OddsArguments) -> Result<Verdict, Failure> {
    let wanted = draws::optional_share("--at-least", arguments.at_least.as_deref())?;
    let until = draws::optional_share("--until", arguments.until.as_deref())?;
    let plot = load::plot_target(&arguments.common.picture)?;
    check_conflicts(arguments)?;
    let design = match &arguments.design {
        Some(path) => Some(load::design(path, &arguments.common.changes)?),
        None => None,
    };
    if let Some(design) = &design {
        check_drivers(arguments.drivers, design.inputs().len())?;
    }
    if !arguments.merge.is_empty() {
        return merged(arguments, design.as_ref(), wanted, plot);
    }
    let Some(design) = design else {
        return Err(Failure::input("no design", "name a design file"));
    };
    let kinds = kinds(&design)?;
    if arguments.rare {
        return rare::run(arguments, &design, &kinds);
    }
    let most = if until.is_some() {
        MOST_UNTIL
    } else {
        DEFAULT_TRIALS
    };
    let trials = arguments.trials.unwrap_or(most);
    if let Some(half_width) = until {
        check_until(arguments, half_width, trials)?;
    }
    let campaign = draws::campaign(draws::inputs(&design)?, arguments.draws, trials)?;
    let slice = parse_slice(arguments.slice.as_deref(), trials)?;
    let header = header(&design, &campaign, &kinds, slice, arguments.care);
    let mut tally = Tally::for_sampler(kinds, campaign.sampler());
    let mut file = match &arguments.trials_out {
        None => None,
        Some(path) => Some(TrialsFile::open(
            path,
            header.clone(),
            arguments.resume,
            arguments.common.picture.force,
            |record| tally.push(record),
        )?),
    };
    let range = header.range();
    let start = range.start + tally.counts().trials;
    let rule = until.map(StopRule::new);
    trials_of(
        arguments,
        &design,
        &campaign,
        start..range.end,
        rule,
        &mut tally,
        &mut file,
    )?;
    if let Some(file) = file {
        file.finish()?;
    }
    if arguments.slice.is_some() {
        let counts = tally.counts();
        print(&format!(
            "slice {}/{} done: trials {} to {}, {} succeed, {} not computed\nput all slices \
             together with `coldkick odds --merge FILES`\n",
            slice.0,
            slice.1,
            range.start,
            range.end.saturating_sub(1),
            counts.successes,
            counts.not_computed
        ))?;
        return Ok(Verdict::Pass);
    }
    let answer = Answer::of(arguments, &campaign, wanted);
    finish(arguments, &design, &campaign, &tally, &answer, plot)
}

/// What the parser cannot see.
fn check_conflicts(arguments: &OddsArguments) -> Result<(), Failure> {
    if arguments.until.is_some() && arguments.draws.sampler == SamplerName::Latin {
        return Err(Failure::input(
            "--until with --sampler latin: a Latin hypercube is only one when it is complete",
            "use --sampler plain or sobol, or give --trials without --until",
        ));
    }
    Ok(())
}

/// Refuses to look for a chance more closely than its trials can tell even if none fails.
fn check_until(arguments: &OddsArguments, half_width: f64, trials: u64) -> Result<(), Failure> {
    let fewest = trials_to_show(1.0 - half_width)
        .map_err(|error| Failure::input(format!("--until: {error}"), ""))?;
    if arguments.draws.sampler != SamplerName::Plain || fewest <= trials {
        return Ok(());
    }
    let wanted = arguments.until.as_deref().unwrap_or_default();
    let remedy = if fewest <= MOST_TRIALS {
        format!(
            "ask for less, allow --trials {fewest} or more, or look at rare failures with --rare"
        )
    } else {
        "ask for less, or look at rare failures with --rare".to_owned()
    };
    Err(Failure::input(
        format!(
            "--until {wanted}: takes {fewest} trials or more, even if none fails, and {trials} are \
             the most that run"
        ),
        remedy,
    ))
}

/// Refuses a sensitivity study with too few rows to say anything, or with more discharges than a campaign may have.
fn check_drivers(rows: u64, inputs: usize) -> Result<(), Failure> {
    if rows != 0 && rows < FEWEST_ROWS as u64 {
        return Err(Failure::input(
            format!("--drivers {rows}: so few rows tell nothing about what drives the result"),
            format!("give {FEWEST_ROWS} or more (128 unless you say otherwise), or 0 for none"),
        ));
    }
    let discharges = rows.saturating_mul(inputs as u64 + 2);
    if discharges > MOST_TRIALS {
        return Err(Failure::input(
            format!("--drivers {rows}: at most {MOST_TRIALS} discharges fit into one campaign"),
            format!(
                "each row takes {} discharges, and a thousand rows tell shares to a few percent",
                inputs + 2
            ),
        ));
    }
    Ok(())
}

/// Criteria of the design, refused if there are none.
pub(super) fn kinds(design: &Design) -> Result<Vec<CriterionKind>, Failure> {
    let (system, criteria) = load::central(design)?;
    let kinds = criterion::expected(&system, &criteria);
    if kinds.is_empty() {
        return Err(Failure::input(
            "the design has nothing that could fail: no nose and no rating",
            "give a `nose`, or a `rating` to a vessel",
        ));
    }
    Ok(kinds)
}

/// The experiment of a design.
pub(super) fn experiment(
    design: &Design,
    care: CareOptions,
) -> DischargeExperiment<BuildSystem<'_>> {
    DischargeExperiment {
        build: Box::new(|values| design.system(values).map_err(|error| error.to_string())),
        settings: care.settings(),
    }
}

/// The experiment of a design whose outcomes are counted: unless with full care, the force available
/// with the nose held is followed to [`ENOUGH`] times what is wanted.
pub(super) fn counted_experiment(
    design: &Design,
    care: CareOptions,
) -> Result<DischargeExperiment<BuildSystem<'_>>, Failure> {
    let (_, criteria) = load::central(design)?;
    let wanted = criteria.retention_factor.filter(|_| !care.exact);
    let mut experiment = experiment(design, care);
    experiment.settings.enough = wanted.map(|factor| ENOUGH * factor);
    Ok(experiment)
}

fn parse_slice(text: Option<&str>, trials: u64) -> Result<(u64, u64), Failure> {
    let Some(text) = text else {
        return Ok((1, 1));
    };
    let parts = text.split_once('/').and_then(|(number, count)| {
        let number: u64 = number.trim().parse().ok()?;
        let count: u64 = count.trim().parse().ok()?;
        Some((number, count))
    });
    match parts {
        Some((number, count)) if number >= 1 && number <= count => {
            if count > trials {
                return Err(Failure::input(
                    format!("--slice {text}: {trials} trials are too few for {count} slices"),
                    "use fewer slices or more trials",
                ));
            }
            Ok((number, count))
        }
        _ => Err(Failure::input(
            format!("--slice {text}: not a slice"),
            "write it as K/N with K from 1 to N, such as --slice 3/8",
        )),
    }
}

/// Fingerprint of everything that decides what comes of a trial: the text of the design and the care.
pub(super) fn fingerprint(design: &Design, care: CareOptions) -> String {
    let text = design.text();
    let words: Vec<u64> = text
        .as_bytes()
        .chunks(8)
        .map(|chunk| {
            chunk
                .iter()
                .fold(0, |word, byte| word << 8 | u64::from(*byte))
        })
        .collect();
    let seed = text.len() as u64 * 2 + u64::from(care.exact);
    format!("{:016x}", stream::hash(seed, &words))
}

fn header(
    design: &Design,
    campaign: &Campaign,
    kinds: &[CriterionKind],
    slice: (u64, u64),
    care: CareOptions,
) -> TrialTableHeader {
    let (layout, version) = TrialTableHeader::current();
    let sampler = campaign.sampler();
    TrialTableHeader {
        layout,
        version,
        design: design.name().to_owned(),
        fingerprint: fingerprint(design, care),
        seed: campaign.seed(),
        sampler: sampler.map_or(SamplingMethod::Plain, |s| s.method()),
        trials: campaign.trials(),
        replicates: sampler.map_or(1, |s| s.replicates()),
        slice,
        criteria: kinds.iter().map(CriterionKind::name).collect(),
        inputs: campaign.inputs().names().to_vec(),
    }
}

/// Runs trials into the tally and the file.
fn trials_of(
    arguments: &OddsArguments,
    design: &Design,
    campaign: &Campaign,
    range: Range<u64>,
    mut rule: Option<StopRule>,
    tally: &mut Tally,
    file: &mut Option<TrialsFile>,
) -> Result<(), Failure> {
    let total = range.end.saturating_sub(range.start);
    let shown = rule.is_none().then_some(total);
    let progress = Progress::new("trials", shown, arguments.common.output.quiet);
    let experiment = counted_experiment(design, arguments.care)?;
    if file.is_some() {
        interrupt::catch()?;
    }
    let mut failure = None;
    let outcome = run_trials(campaign, &experiment, range, &progress, |batch| {
        let records: Vec<Record> = batch.into_iter().map(Record::from).collect();
        if let Some(file) = file
            && let Err(error) = file.add(&records)
        {
            failure = Some(error);
            return ControlFlow::Break(());
        }
        records.into_iter().for_each(|record| tally.push(record));
        // Too early for an interval with less than two replicates: then there is nothing to say.
        if progress.is_shown()
            && let Ok(chance) = tally.chance()
        {
            let needed = rule.as_ref().map_or_else(String::new, |rule| {
                let needed = rule.trials_needed(&chance, tally.counts().trials);
                format!(", about {needed} trials in all")
            });
            progress.note(format!(
                "chance {} ({}){needed}",
                percent(chance.estimate, chance.half_width()),
                interval(chance.low, chance.high)
            ));
        }
        if interrupt::asked() {
            return ControlFlow::Break(());
        }
        match rule.as_mut().map(|rule| rule.reached(tally)) {
            Some(Ok(true)) => ControlFlow::Break(()),
            _ => ControlFlow::Continue(()),
        }
    });
    outcome.map_err(|error| Failure::computation(error.to_string()))?;
    failure.map_or(Ok(()), Err)?;
    let trials = tally.counts().trials;
    if interrupt::asked()
        && let Some(file) = file
    {
        return Err(file.stopped(trials, rule.is_none()));
    }
    if let Some(rule) = rule
        && !arguments.common.output.quiet
        && let Ok(chance) = tally.chance()
        && chance.half_width() > rule.half_width
    {
        anstream::eprintln!(
            "warning: the interval is still wider than --until asks for after {trials} trials; it \
             would take about {}",
            rule.trials_needed(&chance, trials)
        );
    }
    Ok(())
}
