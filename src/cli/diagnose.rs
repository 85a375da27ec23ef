//! `coldkick diagnose`: what a measured trace says went wrong.

use std::path::PathBuf;

use clap::Args;

use crate::cli::as_trace::named;
use crate::cli::common::{ChangeOptions, CommonOptions, Format};
use crate::cli::files::{check_target, print, write_whole};
use crate::cli::flight_chance::chance_change;
use crate::cli::progress::StatusLine;
use crate::cli::traces::{self, Told, TraceOptions};
use crate::cli::{Failure, Verdict, draws, load};
use crate::design::fitted::with_fitted;
use crate::design::{Design, Input};
use crate::discharge::Settings;
use crate::report::diagnosis::{Report, text};
use crate::report::diagnosis_data::{csv, json};
use crate::report::{PictureFormat, diagnosis_picture, picture};
use crate::study::ShotStudy;
use crate::study::diagnosis::{
    BuildError, Cause, DesignInput, DiagnosisSettings, Measured, diagnose,
};
use crate::trace::Reference;
use crate::units::Dimension;

/// Arguments of `diagnose`.
#[derive(Debug, Args)]
#[command(
    after_help = "Causes: nothing_wrong, valve_slow, valve_late, valve_partly_open, seal_leak, \
                  vent_open, cartridge_light, cartridge_cold, neck_partly_pierced, pins_early, \
                  pins_strong, nose_jammed, sensor_offset, sensor_lag.\n\n\
                  Examples:\n  \
                  coldkick diagnose tern.ron test3.csv --gauge --plot test3.svg\n  \
                  coldkick diagnose tern.ron a.csv b.csv --trigger \"12.4 s\" --write fitted.ron\n  \
                  coldkick diagnose tern.ron log.txt --column \"ch1=time,us\" --column \"ch2=bay,psig\"\n  \
                  coldkick shot tern.ron --as-trace train.csv --fault any --seed 7 --quiet\n\n\
                  Exit code: 0 when nothing is wrong and the fitted design passes, else 1."
)]
pub struct DiagnoseArguments {
    /// Design file of what was tested
    #[arg(value_name = "DESIGN")]
    pub design: PathBuf,
    /// Traces (CSV) of one or more tests of it
    #[arg(value_name = "TRACE.csv", required = true)]
    pub traces: Vec<PathBuf>,
    /// Pressures are gauge where the headings do not say
    #[arg(long, conflicts_with = "absolute", help_heading = "Traces")]
    pub gauge: bool,
    /// Pressures are absolute where the headings do not say
    #[arg(long, help_heading = "Traces")]
    pub absolute: bool,
    /// What a column is: HEADING=MEANING[,UNIT][,gauge|absolute], MEANING being time, a vessel,
    /// travel, wire, trigger or ignore
    #[arg(long, value_name = "COLUMN", help_heading = "Traces")]
    pub column: Vec<String>,
    /// When the valve was commanded on the clock of the trace, or "unknown"
    #[arg(long, value_name = "TIME", value_parser = traces::trigger, allow_hyphen_values = true, help_heading = "Traces")]
    pub trigger: Option<Told>,
    /// Points kept of each column
    #[arg(long, value_name = "NUMBER", default_value_t = 300, value_parser = clap::value_parser!(u16).range(20..=5000), help_heading = "Traces")]
    pub points: u16,
    /// A value of the design that differs from test to test (charges, temperatures, pins and
    /// friction do so anyway)
    #[arg(long, value_name = "PATH", help_heading = "Traces")]
    pub own: Vec<String>,
    /// A value of the design that is the same in all tests
    #[arg(long, value_name = "PATH", help_heading = "Traces")]
    pub common: Vec<String>,
    /// Consider only these causes
    #[arg(long, value_name = "CAUSE", value_delimiter = ',')]
    pub causes: Vec<String>,
    /// Error allowed to the model, as a share of the rise
    #[arg(long, value_name = "SHARE", default_value = "1 %")]
    pub model_error: String,
    /// Design that will fly, for the chance of success with what was found (otherwise the one
    /// tested); its vessels and paths have the same names
    #[arg(long, value_name = "FLIGHT.ron", help_heading = "Chance")]
    pub flight: Option<PathBuf>,
    /// Most trials of the design as it is and as fitted; 0 for none
    #[arg(long, value_name = "N", default_value_t = 300, help_heading = "Chance")]
    pub trials: u64,
    /// Write the design with the fitted values and the fault in it
    #[arg(long, value_name = "FITTED.ron", help_heading = "Output")]
    pub write: Option<PathBuf>,
    /// Options shared with other commands.
    #[command(flatten)]
    pub shared: CommonOptions,
}

/// Reads, fits, weighs and writes.
///
/// # Errors
/// Bad input, a failed computation, or a file that cannot be written.
pub fn run(arguments: &DiagnoseArguments) -> Result<Verdict, Failure> {
    let common = &arguments.shared;
    let plot = match &common.picture.plot {
        None => None,
        Some(path) => {
            let format = PictureFormat::of(path)
                .map_err(|error| Failure::input(error.to_string(), "end it in .svg or .png"))?;
            for index in 0..arguments.traces.len() {
                check_target(&numbered(path, index), common.picture.force)?;
            }
            Some((path, format))
        }
    };
    if let Some(path) = &arguments.write {
        check_target(path, common.picture.force)?;
    }
    if arguments.trials > 0 {
        draws::check_trials(arguments.trials)?;
    }
    let design = load::design(&arguments.design, &common.changes)?;
    let other = match &arguments.flight {
        Some(path) => {
            let flight = load::design(path, &ChangeOptions::default())?;
            same_names(path, &design, &flight)?;
            Some(flight)
        }
        None => None,
    };
    let flight = other.as_ref().unwrap_or(&design);
    let (nominal, criteria) = load::central(&design)?;
    let settings = settings(arguments, &nominal)?;
    let options = TraceOptions {
        reference: match (arguments.gauge, arguments.absolute) {
            (true, _) => Some(Reference::Gauge),
            (_, true) => Some(Reference::Absolute),
            _ => None,
        },
        columns: &arguments.column,
        trigger: arguments.trigger,
        points: usize::from(arguments.points),
    };
    let loaded = traces::load(&arguments.traces, &nominal, &options)?;
    let measured: Vec<Measured> = loaded.iter().map(|l| l.measured.clone()).collect();
    let understood: Vec<(String, Vec<String>)> = loaded
        .iter()
        .map(|l| {
            let trace = &l.trace;
            let mut lines = trace.understood.clone();
            lines.extend(
                trace
                    .repairs
                    .iter()
                    .map(|repair| format!("repaired: {repair}")),
            );
            lines.extend(l.notes.iter().cloned());
            (trace.name.clone(), lines)
        })
        .collect();
    let quiet = common.output.quiet;
    if !quiet && common.output.format != Format::Text {
        for (name, lines) in &understood {
            for line in lines {
                anstream::eprintln!("{name}: {line}");
            }
        }
    }
    let inputs = inputs(&design, arguments)?;
    let build = |values: &[f64]| {
        design
            .system(values)
            .map_err(|error| Box::new(error) as BuildError)
    };
    let progress = StatusLine::new(quiet);
    let diagnosis = diagnose(
        &inputs,
        design.correlations(),
        &build,
        &measured,
        &settings,
        &|share: f64| progress.say(|_| format!("weighing causes: {:3.0} %", 100.0 * share)),
    )
    .map_err(load::failed_study)?;
    drop(progress);
    let shot_settings = Settings::default();
    let shot = |system| ShotStudy::new(system, &criteria, &shot_settings);
    let fitted_shot = shot(&diagnosis.fitted_system).map_err(load::failed_study)?;
    let nominal_shot = shot(&nominal).map_err(load::failed_study)?;
    // A chance that cannot be computed does not take the diagnosis with it.
    let (chance, without_chance) = match chance_change(flight, &diagnosis, arguments.trials) {
        Ok(chance) => (chance, None),
        Err(failure) => (None, Some(failure)),
    };
    let report = Report {
        design: design.name(),
        diagnosis: &diagnosis,
        traces: &measured,
        understood: &understood,
        fitted_shot: &fitted_shot,
        nominal_shot: &nominal_shot,
        chance: chance.as_ref(),
    };
    let units = common.output.units.into();
    let unwritable = |error: crate::report::ReportError| Failure::computation(error.to_string());
    let output = match common.output.format {
        Format::Text => text(&report, units, quiet),
        Format::Json => json(&report).map_err(unwritable)?,
        Format::Csv => csv(&report).map_err(unwritable)?,
    };
    // Printed before any file is written: what took minutes to find must not be lost with a file.
    print(&output)?;
    if let Some(path) = &arguments.write {
        let fitted = with_fitted(&design, &diagnosis).map_err(load::bad_design)?;
        // What is written must be a design that can be used.
        Design::parse(&path.display().to_string(), &fitted).map_err(load::bad_design)?;
        write_whole(path, fitted.as_bytes(), common.picture.force)?;
    }
    if let Some((path, format)) = plot {
        for index in 0..measured.len() {
            let figure = diagnosis_picture::diagnosis(&report, index, units);
            let bytes = picture::bytes(&figure, format).map_err(unwritable)?;
            write_whole(&numbered(path, index), &bytes, common.picture.force)?;
        }
    }
    if let Some(failure) = without_chance {
        return Err(failure);
    }
    let healthy = diagnosis
        .verdict()
        .is_some_and(|first| first.cause == Cause::NothingWrong);
    Ok(if healthy && fitted_shot.pass() {
        Verdict::Pass
    } else {
        Verdict::Fail
    })
}

/// What is found of the uncertain values of vessels and paths must have a place in the design that flies.
fn same_names(path: &std::path::Path, tested: &Design, flight: &Design) -> Result<(), Failure> {
    let (system, _) = load::central(flight)?;
    let vessels = system.vessels.iter().map(|v| v.name.as_str());
    let paths = system.paths.iter().map(|p| p.name.as_str());
    let there: [(&str, Vec<&str>); 2] =
        [("vessels", vessels.collect()), ("paths", paths.collect())];
    for input in tested.inputs() {
        let mut parts = input.path.split('.');
        let (Some(section), Some(name)) = (parts.next(), parts.next()) else {
            continue;
        };
        for (known, names) in &there {
            if *known == section && !names.contains(&name) {
                return Err(Failure::input(
                    format!(
                        "--flight {}: no `{section}.{name}` there, whose values were tested (`{}`)",
                        path.display(),
                        input.path
                    ),
                    format!(
                        "give what is the same in both designs the same name; in the one that flies there are {}",
                        names.join(", ")
                    ),
                ));
            }
        }
    }
    Ok(())
}

/// Pictures of the second trace and later ones carry their number.
fn numbered(path: &std::path::Path, index: usize) -> PathBuf {
    if index == 0 {
        return path.to_path_buf();
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!("{stem}-{}.{ending}", index + 1))
}

fn settings(
    arguments: &DiagnoseArguments,
    nominal: &crate::network::spec::System,
) -> Result<DiagnosisSettings, Failure> {
    let mut settings = DiagnosisSettings::default();
    let share =
        crate::units::parse(&arguments.model_error, Dimension::Fraction).map_err(|error| {
            Failure::input(
                format!("--model-error {}: {error}", arguments.model_error),
                error.help(),
            )
        })?;
    if !(0.0..=0.5).contains(&share.value) {
        return Err(Failure::input(
            format!(
                "--model-error {}: must lie between 0 % and 50 %",
                arguments.model_error
            ),
            "write it as a share of the pressure rise, such as --model-error 1%",
        ));
    }
    settings.sensor.wander = share.value;
    if !arguments.causes.is_empty() {
        let places = crate::study::diagnosis::Places::of(nominal);
        let possible: Vec<Cause> = Cause::ALL
            .into_iter()
            .filter(|cause| cause.faults(nominal, &places, 1e5).is_some())
            .collect();
        settings.causes = arguments
            .causes
            .iter()
            .map(|name| named(name, &possible))
            .collect::<Result<_, _>>()?;
    }
    Ok(settings)
}

/// The uncertain values of the design, each common to all tests or of its own in each.
fn inputs(design: &Design, arguments: &DiagnoseArguments) -> Result<Vec<DesignInput>, Failure> {
    for path in arguments.own.iter().chain(&arguments.common) {
        if !design.inputs().iter().any(|input| input.path == *path) {
            let known: Vec<&str> = design.inputs().iter().map(|i| i.path.as_str()).collect();
            return Err(Failure::input(
                format!("`{path}` is not an uncertain value of the design"),
                format!("choose among {}", known.join(", ")),
            ));
        }
    }
    Ok(design
        .inputs()
        .iter()
        .map(|input| DesignInput {
            path: input.path.clone(),
            distribution: input.distribution.clone(),
            dimension: input.dimension,
            own: (differs(input) || arguments.own.contains(&input.path))
                && !arguments.common.contains(&input.path),
        })
        .collect())
}

/// Whether a value is drawn anew in each test: what is used up or weather, not what is built.
fn differs(input: &Input) -> bool {
    let path = input.path.as_str();
    input.dimension == Dimension::Temperature
        || path.starts_with("site.")
        || path.starts_with("nose.pins")
        || path.contains("friction")
        || path.ends_with(".charge")
        || path.ends_with(".pressure")
}
