//! From the trials of `odds` to its answer: slices put together, drivers and band, the report.

use std::path::Path;

use crate::cli::common::Format;
use crate::cli::draws::{self, SamplerName};
use crate::cli::files::{print, write_whole};
use crate::cli::load;
use crate::cli::odds::{OddsArguments, counted_experiment, fingerprint};
use crate::cli::progress::Progress;
use crate::cli::trials_file::merge;
use crate::cli::{Failure, Verdict};
use crate::design::Design;
use crate::report::odds::{InputName, OddsReport, Shown};
use crate::report::terminal::Detail;
use crate::report::{PictureFormat, odds_json, odds_picture, odds_text, picture};
use crate::statistics::SamplingMethod;
use crate::study::band::{PressureBand, pressure_band};
use crate::study::drivers::{Drivers, drivers};
use crate::study::{Campaign, Odds, Tally};

/// Trials whose curves make the band.
const BAND_TRIALS: u64 = 300;

/// Where a picture goes, if anywhere.
type Target<'a> = Option<(&'a Path, PictureFormat)>;

/// A word of a command line as a shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./,:=+@%".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', r"'\''"))
}

/// The command that shows a shot of the design that was given.
fn shot_of(arguments: &OddsArguments) -> String {
    match &arguments.design {
        Some(path) => format!("coldkick shot {}", quoted(&path.display().to_string())),
        None => "coldkick shot DESIGN".to_owned(),
    }
}

/// The command that shows one trial again.
fn replay(arguments: &OddsArguments, trials: u64) -> String {
    let mut command = shot_of(arguments);
    for change in &arguments.common.changes.set {
        command += &format!(" --set {}", quoted(change));
    }
    command += &format!(" --seed {}", arguments.draws.seed);
    if arguments.draws.sampler != SamplerName::Plain {
        let name = SamplerName::of(arguments.draws.sampler.method());
        command += &format!(" --sampler {name} --trials {trials}");
    }
    command
}

/// How the trials of an answer were drawn, and what was wanted of it.
pub(super) struct Answer {
    wanted: Option<f64>,
    replay: String,
    seed: u64,
    method: SamplingMethod,
    replicates: u32,
}

impl Answer {
    /// Of a campaign that was just run.
    pub(super) fn of(arguments: &OddsArguments, campaign: &Campaign, wanted: Option<f64>) -> Self {
        let sampler = campaign.sampler();
        Self {
            wanted,
            replay: replay(arguments, campaign.trials()),
            seed: campaign.seed(),
            method: sampler.map_or(SamplingMethod::Plain, |s| s.method()),
            replicates: sampler.map_or(1, |s| s.replicates()),
        }
    }
}

/// Slices put together.
///
/// # Errors
/// Files that do not belong together, and what [`finish`] cannot do.
pub(super) fn merged(
    arguments: &OddsArguments,
    design: Option<&Design>,
    wanted: Option<f64>,
    plot: Target<'_>,
) -> Result<Verdict, Failure> {
    let (header, tally) = merge(&arguments.merge)?;
    let answer = Answer {
        wanted,
        replay: shot_of(arguments)
            + &format!(
                " --seed {} --sampler {} --trials {}",
                header.seed,
                SamplerName::of(header.sampler),
                header.trials
            ),
        seed: header.seed,
        method: header.sampler,
        replicates: header.replicates,
    };
    let Some(design) = design else {
        let names: Vec<InputName> = header
            .inputs
            .iter()
            .map(|path| InputName::bare(path))
            .collect();
        let odds = odds_of(&tally)?;
        let report = report(&header.design, &odds, &names, &answer, false, None, None);
        return write(arguments, report, plot);
    };
    if header.fingerprint != fingerprint(design, arguments.care) {
        return Err(Failure::input(
            format!(
                "--merge: the files were computed from another version of {}",
                design.file()
            ),
            "give the design (with --set and --exact) they were computed from, or none at all",
        ));
    }
    let inputs = draws::inputs(design)?;
    let campaign =
        Campaign::new(inputs, header.sampler, header.seed, header.trials).map_err(|error| {
            Failure::input(
                format!("--merge: {error}"),
                "run the slices again with another --sampler or number of --trials",
            )
        })?;
    finish(arguments, design, &campaign, &tally, &answer, plot)
}

fn odds_of(tally: &Tally) -> Result<Odds, Failure> {
    Odds::of(tally).map_err(|error| Failure::computation(error.to_string()))
}

fn report<'a>(
    name: &'a str,
    odds: &'a Odds,
    inputs: &'a [InputName],
    answer: &'a Answer,
    correlated: bool,
    drivers: Option<&'a Drivers>,
    band: Option<&'a PressureBand>,
) -> OddsReport<'a> {
    OddsReport {
        name,
        odds,
        inputs,
        method: answer.method,
        replicates: answer.replicates,
        seed: answer.seed,
        replay: &answer.replay,
        wanted: answer.wanted,
        correlated,
        drivers,
        band,
        pinned: true,
    }
}

/// What takes discharges of its own, then the report.
///
/// # Errors
/// A failed computation, or a file that cannot be written.
pub(super) fn finish(
    arguments: &OddsArguments,
    design: &Design,
    campaign: &Campaign,
    tally: &Tally,
    answer: &Answer,
    plot: Target<'_>,
) -> Result<Verdict, Failure> {
    let odds = odds_of(tally)?;
    let output = &arguments.common.output;
    let brief = output.format == Format::Text && output.quiet && plot.is_none();
    let experiment = counted_experiment(design, arguments.care)?;
    let rows = arguments.drivers;
    let found = if brief || rows == 0 || campaign.inputs().is_empty() {
        None
    } else {
        let total = rows * (campaign.inputs().len() as u64 + 2);
        let progress = Progress::new("discharges for the drivers", Some(total), output.quiet);
        let found = drivers(
            campaign.inputs(),
            &experiment,
            rows,
            campaign.seed(),
            &progress,
        );
        drop(progress);
        match found {
            Ok(found) => Some(found),
            Err(error) => {
                if !output.quiet {
                    anstream::eprintln!("warning: no drivers: {error}");
                }
                None
            }
        }
    };
    let band = if plot.is_some() || output.format == Format::Json {
        pressure_band(campaign, &experiment, BAND_TRIALS)
            .map_err(|error| Failure::computation(error.to_string()))?
    } else {
        None
    };
    let names: Vec<InputName> = design.inputs().iter().map(InputName::of).collect();
    let correlated = campaign.inputs().are_correlated();
    let (system, _) = load::central(design)?;
    let pins = system.nose.as_ref().map(|(nose, _)| &nose.pins);
    let report = OddsReport {
        pinned: pins.is_none_or(|pins| !pins.is_empty()),
        ..report(
            design.name(),
            &odds,
            &names,
            answer,
            correlated,
            found.as_ref(),
            band.as_ref(),
        )
    };
    write(arguments, report, plot)
}

fn write(
    arguments: &OddsArguments,
    report: OddsReport<'_>,
    plot: Target<'_>,
) -> Result<Verdict, Failure> {
    let output = &arguments.common.output;
    let units = output.units.into();
    let unwritable = |error: crate::report::ReportError| Failure::computation(error.to_string());
    let text = match output.format {
        Format::Text => {
            let detail = if output.quiet {
                Detail::Verdict
            } else {
                Detail::Full
            };
            odds_text::odds(report, units, detail)
        }
        Format::Json => odds_json::document(report).map_err(unwritable)?,
        Format::Csv => odds_json::table(report).map_err(unwritable)?,
    };
    if let Some((path, format)) = plot {
        let sheet = odds_picture::odds(report, units);
        let bytes = picture::scene_bytes(&sheet.draw(), format).map_err(unwritable)?;
        write_whole(path, &bytes, arguments.common.picture.force)?;
    }
    print(&text)?;
    let computed = report.odds.counts.trials > report.odds.counts.not_computed;
    if !computed {
        return Err(Failure::computation(
            "not one of the trials could be computed",
        ));
    }
    Ok(match report.wanted {
        Some(wanted) if Shown::of(&report.odds.chance, wanted) != Shown::Yes => Verdict::Fail,
        _ => Verdict::Pass,
    })
}
