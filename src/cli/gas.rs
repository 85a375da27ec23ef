//! `coldkick gas`: properties and phase of CO2 at a state named by two properties, and the map of
//! where the inversion from density and energy holds.

use std::collections::BTreeMap;

use clap::Args;

use crate::cli::common::{Format, OutputOptions, PictureOptions};
use crate::cli::files::{check_target, picture_kind, print, write_whole};
use crate::cli::{Failure, Verdict, gas_output};
use crate::report::map::{MapPicture, MapRegion, draw};
use crate::thermo::map::{FlashMap, MapRange, Outcome};
use crate::thermo::pairs::{self, Property};
use crate::thermo::{Phase, ThermoError};
use crate::units::{Dimension, UnitError, parse, parse_number};

/// Largest relative difference in temperature that counts as returned.
const MAP_TOLERANCE: f64 = 1e-9;

/// Arguments of `gas`.
#[derive(Debug, Args)]
#[command(
    override_usage = "coldkick gas <TWO PROPERTIES> [OPTIONS]\n       coldkick gas --map [OPTIONS]",
    after_help = "Examples:\n  coldkick gas --temperature \"20 degC\" --quality 0\n  \
                  coldkick gas --density \"0.76 kg/L\" --temperature \"65 degC\" --format json\n  \
                  coldkick gas --pressure \"57 bara\" --enthalpy \"300 kJ/kg\"\n\n\
                  Energy, enthalpy and entropy count from 200 kJ/kg and 1 kJ/(kg K) in saturated \
                  liquid at 0 degC."
)]
pub struct GasArguments {
    /// Temperature, such as "20 degC"
    #[arg(long, short = 'T', allow_hyphen_values = true, help_heading = "State")]
    pub temperature: Option<String>,
    /// Absolute pressure, such as "57 bara" or "5.7e6 Pa"
    #[arg(long, short, allow_hyphen_values = true, help_heading = "State")]
    pub pressure: Option<String>,
    /// Density of all phases together, such as "0.76 kg/L"
    #[arg(long, short, allow_hyphen_values = true, help_heading = "State")]
    pub density: Option<String>,
    /// Specific internal energy, such as "250 kJ/kg"
    #[arg(long, short = 'u', allow_hyphen_values = true, help_heading = "State")]
    pub energy: Option<String>,
    /// Specific enthalpy, such as "300 kJ/kg"
    #[arg(long, short = 'H', allow_hyphen_values = true, help_heading = "State")]
    pub enthalpy: Option<String>,
    /// Mass fraction of vapour over liquid or dry ice, 0 to 1 or in percent
    #[arg(long, short = 'x', allow_hyphen_values = true, help_heading = "State")]
    pub quality: Option<String>,
    /// Instead of one state, try the inversion from density and energy over 150-700 K and
    /// 0.05-1200 kg/m3 and say where it fails
    #[arg(
        long,
        conflicts_with_all = ["temperature", "pressure", "density", "energy", "enthalpy", "quality"],
        help_heading = "Map"
    )]
    pub map: bool,
    /// Points of the map along each axis
    #[arg(
        long,
        requires = "map",
        default_value_t = 400,
        value_parser = clap::value_parser!(u32).range(2..=4000),
        help_heading = "Map"
    )]
    pub points: u32,
    /// How results are shown.
    #[command(flatten)]
    pub output: OutputOptions,
    /// Where a picture goes.
    #[command(flatten)]
    pub picture: PictureOptions,
}

/// A property as given.
struct Given<'a> {
    flag: &'static str,
    text: &'a str,
    property: Property,
    value: f64,
}

/// Run the command.
///
/// # Errors
/// Bad input, or an inversion that does not converge.
pub fn run(arguments: &GasArguments) -> Result<Verdict, Failure> {
    if arguments.map {
        return run_map(arguments);
    }
    if arguments.picture.plot.is_some() {
        return Err(Failure::input(
            "--plot: a single state has no picture",
            "draw the map of the inversion with --map --plot FILE",
        ));
    }
    let given = read(arguments)?;
    let [first, second] = given.as_slice() else {
        return Err(wrong_number(&given));
    };
    let named = pairs::state(
        (first.property, first.value),
        (second.property, second.value),
    )
    .map_err(|error| explain(&error, first, second))?;
    if !named.denser.is_empty() && !arguments.output.quiet {
        let denser: Vec<String> = named
            .denser
            .iter()
            .map(|state| gas_output::in_short(state, arguments.output.units.into()))
            .collect();
        anstream::eprintln!(
            "warning: a denser state has the same {} and {}: {}; give --density to name it",
            first.property.name(),
            second.property.name(),
            denser.join("; or ")
        );
    }
    let text = match arguments.output.format {
        Format::Text => gas_output::text(&named.state, arguments.output.units.into()),
        Format::Json => gas_output::json(&named.state)?,
        Format::Csv => gas_output::csv(&named.state)?,
    };
    print(&text)?;
    Ok(Verdict::Pass)
}

/// The properties given, in SI.
fn read(arguments: &GasArguments) -> Result<Vec<Given<'_>>, Failure> {
    let all = [
        (
            "--temperature",
            &arguments.temperature,
            Property::Temperature,
        ),
        ("--pressure", &arguments.pressure, Property::Pressure),
        ("--density", &arguments.density, Property::Density),
        ("--energy", &arguments.energy, Property::InternalEnergy),
        ("--enthalpy", &arguments.enthalpy, Property::Enthalpy),
        ("--quality", &arguments.quality, Property::Quality),
    ];
    let mut given = Vec::new();
    for (flag, text, property) in all {
        if let Some(text) = text {
            let value = value(text, property).map_err(|error| {
                Failure::input(format!("{flag}: {}", error.message), error.help)
            })?;
            given.push(Given {
                flag,
                text,
                property,
                value,
            });
        }
    }
    Ok(given)
}

/// What is wrong with a written value.
struct BadValue {
    message: String,
    help: String,
}

impl From<UnitError> for BadValue {
    fn from(error: UnitError) -> Self {
        Self {
            message: error.to_string(),
            help: error.help(),
        }
    }
}

fn value(text: &str, property: Property) -> Result<f64, BadValue> {
    let of = |dimension| parse(text, dimension).map(|quantity| quantity.value);
    Ok(match property {
        Property::Temperature => of(Dimension::Temperature)?,
        Property::Pressure => pressure(text)?,
        Property::Density => of(Dimension::Density)?,
        Property::InternalEnergy | Property::Enthalpy => specific_energy(text)?,
        Property::Quality => of(Dimension::Fraction)?,
    })
}

/// An absolute pressure; plain pascals of a gas state are absolute.
fn pressure(text: &str) -> Result<f64, UnitError> {
    match text.trim().strip_suffix("Pa") {
        Some(number)
            if number.ends_with(|c: char| c.is_ascii_digit() || c.is_whitespace() || c == '.') =>
        {
            parse_number(number)
        }
        _ => parse(text, Dimension::AbsolutePressure).map(|quantity| quantity.value),
    }
}

/// Specific energies a person may write, with their size in J/kg.
const SPECIFIC_ENERGIES: [(&str, f64); 6] = [
    ("BTU/lb", 2326.0),
    ("Btu/lb", 2326.0),
    ("kJ/kg", 1e3),
    ("MJ/kg", 1e6),
    ("J/kg", 1.0),
    ("J/g", 1e3),
];

fn specific_energy(text: &str) -> Result<f64, BadValue> {
    let trimmed = text.trim();
    for (unit, size) in SPECIFIC_ENERGIES {
        if let Some(number) = trimmed.strip_suffix(unit)
            && !number.ends_with(|c: char| c.is_alphabetic())
        {
            return Ok(parse_number(number)? * size);
        }
    }
    let help = "write it as \"250 kJ/kg\"; units: kJ/kg, J/kg, J/g, MJ/kg, BTU/lb".to_owned();
    let message = match parse_number(trimmed) {
        Ok(_) => format!("`{trimmed}` has no unit; an energy per mass is expected"),
        Err(UnitError::UnknownUnit { unit, .. }) => {
            format!("`{unit}` is not a unit of energy per mass")
        }
        Err(UnitError::WrongDimension { unit, found, .. }) => format!(
            "`{unit}` measures {}; an energy per mass is expected",
            found.describe()
        ),
        Err(other) => other
            .to_string()
            .replace("a plain number", "an energy per mass"),
    };
    Err(BadValue { message, help })
}

fn wrong_number(given: &[Given<'_>]) -> Failure {
    let names = given
        .iter()
        .map(|given| given.flag)
        .collect::<Vec<_>>()
        .join(", ");
    let help = "give two of --temperature, --pressure, --density, --energy, --enthalpy, --quality";
    match given {
        [] => Failure::input("no property given; two name a state", help),
        [_] => Failure::input(
            format!("only {names} given; two properties name a state"),
            help,
        ),
        _ => Failure::input(
            format!(
                "{names} given: {} properties; two name a state",
                given.len()
            ),
            help,
        ),
    }
}

/// The error of an inversion in the words of the command line.
fn explain(error: &ThermoError, first: &Given<'_>, second: &Given<'_>) -> Failure {
    let both = format!(
        "{} {:?} with {} {:?}",
        first.flag, first.text, second.flag, second.text
    );
    match error {
        ThermoError::OutOfRange { property, .. } => {
            let culprit = [first, second]
                .into_iter()
                .find(|given| property.starts_with(given.property.name()));
            match culprit {
                Some(given) => Failure::input(
                    format!("{} {:?}: {error}", given.flag, given.text),
                    "the model says nothing beyond it: choose a value inside",
                ),
                None => Failure::input(
                    format!("{both}: {error}"),
                    "the model says nothing beyond it: choose a state inside",
                ),
            }
        }
        ThermoError::NoSuchState { reason, .. } => {
            Failure::input(format!("{both}: no such state of CO2"), reason.clone())
        }
        ThermoError::Ambiguous { reason, .. } => {
            Failure::input(format!("{both}: does not name one state"), reason.clone())
        }
        ThermoError::NotConverged { .. } => Failure::computation(format!("{both}: {error}")),
    }
}

fn run_map(arguments: &GasArguments) -> Result<Verdict, Failure> {
    let target = match &arguments.picture.plot {
        Some(path) => {
            let kind = picture_kind(path)?;
            check_target(path, arguments.picture.force)?;
            Some((path, kind))
        }
        None => None,
    };
    let range = MapRange {
        points: arguments.points,
        ..MapRange::default()
    };
    let map = FlashMap::compute(&range).map_err(|error| Failure::computation(error.to_string()))?;
    if let Some((path, kind)) = target {
        let picture = draw(
            &picture_of(&map, &range),
            kind == crate::cli::files::PictureKind::Png,
        )
        .map_err(Failure::computation)?;
        write_whole(path, &picture, arguments.picture.force)?;
    }
    let text = match arguments.output.format {
        Format::Text => gas_output::map_text(&map, MAP_TOLERANCE),
        Format::Json => gas_output::map_json(&map, MAP_TOLERANCE)?,
        Format::Csv => gas_output::map_csv(&map)?,
    };
    print(&text)?;
    Ok(if map.failures(MAP_TOLERANCE).next().is_none() {
        Verdict::Pass
    } else {
        Verdict::Fail
    })
}

/// What the picture shows: for every temperature, the densities each region spans.
fn picture_of(map: &FlashMap, range: &MapRange) -> MapPicture {
    let mut regions: BTreeMap<&'static str, Vec<(f64, f64, f64)>> = BTreeMap::new();
    // Regions meet halfway between the grid's densities.
    let step = match map.densities.as_slice() {
        [first, second, ..] => (second / first).sqrt(),
        _ => 1.0,
    };
    for point in &map.grid {
        let phase = match &point.outcome {
            Outcome::Returned { phase, .. } | Outcome::Refused { phase, .. } => *phase,
            Outcome::NoState(_) => continue,
        };
        let spans = regions.entry(phase.name()).or_default();
        let (low, high) = (point.density / step, point.density * step);
        match spans.last_mut() {
            Some((t, _, top)) if *t == point.temperature => *top = high,
            _ => spans.push((point.temperature, low, high)),
        }
    }
    let triple = (!map.triple_line.is_empty()).then(|| {
        let densities = map.triple_line.iter().map(|point| point.density);
        (
            map.triple_line
                .first()
                .map_or(f64::NAN, |point| point.temperature),
            densities.clone().fold(f64::INFINITY, f64::min),
            densities.fold(0.0, f64::max),
        )
    });
    let order = [
        Phase::Gas,
        Phase::Supercritical,
        Phase::Liquid,
        Phase::LiquidVapour,
        Phase::SolidVapour,
        Phase::SolidLiquid,
        Phase::Solid,
    ];
    let place = |points: &mut dyn Iterator<Item = &crate::thermo::map::MapPoint>| {
        points
            .map(|point| (point.temperature, point.density))
            .collect()
    };
    // And halfway between its temperatures.
    let half =
        0.5 * (range.temperature.1 - range.temperature.0) / f64::from(range.points.max(2) - 1);
    for spans in regions.values_mut() {
        if let (Some(first), Some(last)) = (spans.first().copied(), spans.last().copied()) {
            spans.insert(
                0,
                ((first.0 - half).max(range.temperature.0), first.1, first.2),
            );
            spans.push(((last.0 + half).min(range.temperature.1), last.1, last.2));
        }
    }
    MapPicture {
        range: (range.temperature, range.density),
        regions: order
            .iter()
            .filter_map(|phase| {
                let spans = regions.remove(phase.name())?;
                Some(MapRegion {
                    name: phase.name().to_owned(),
                    slices: spans,
                })
            })
            .collect(),
        triple,
        failures: place(&mut map.failures(MAP_TOLERANCE)),
        without_state: place(&mut map.without_state()),
        worst: map
            .points()
            .filter_map(|point| match point.outcome {
                Outcome::Returned { error, .. } => Some(error),
                _ => None,
            })
            .fold(0.0, f64::max),
        states: map.points().count() - map.without_state().count(),
    }
}
