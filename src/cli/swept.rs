//! What a sweep goes along: read from "PATH = FROM .. TO UNIT" and held against the design.

use crate::cli::{Failure, load};
use crate::design::{Design, DesignError, Problem, edit};
use crate::report::margins::SweptValue;
use crate::units::{self, Dimension};

/// Whether the design takes only whole numbers where this is swept: it says so of a half.
pub(super) fn takes_only_whole(design: &Design, over: &SweptValue) -> bool {
    let half = over.low.floor() + 0.5;
    let refused = at(design, over, half).err();
    refused.is_some_and(|error| matches!(error.problem(), Problem::Count { .. }))
}

/// The central value the design has at the path swept, in the unit of the sweep.
pub(super) fn usual(design: &Design, over: &SweptValue) -> Option<f64> {
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
pub(super) fn left_behind(design: &Design, over: &SweptValue) -> Option<String> {
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
pub(super) fn parse_over(text: &str) -> Result<SweptValue, Failure> {
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
            format!("--over \"{text}\": the range runs backwards"),
            format!(
                "write the smaller value first: --over \"{path} = {} .. {} {unit}\"",
                units::number(high),
                units::number(low)
            ),
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
pub(super) fn at(design: &Design, over: &SweptValue, value: f64) -> Result<Design, DesignError> {
    let written = format!("{} {}", units::number(value), over.unit);
    let text = edit::set(design.file(), design.text(), &over.path, written.trim())?;
    Design::parse(design.file(), &text)
}

/// Refuses to sweep what is no number: a field that takes any word, such as a name.
pub(super) fn check_numbers(design: &Design, swept: &[SweptValue]) -> Result<(), Failure> {
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
pub(super) fn check_reach(
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
        "--over \"{path} = {} .. {} {unit}\": the design is refused at the end of the range, {} {unit}",
        units::number(*low),
        units::number(*high),
        units::number(value)
    )))
}
