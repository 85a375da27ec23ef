//! From written text to SI.

use super::table::{self, PressureReference, Unit};
use super::{Dimension, UnitError};

/// One written quantity in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// SI value; a gauge pressure stays relative to the surrounding air.
    pub value: f64,
    /// What it measures.
    pub dimension: Dimension,
    /// For pressures, what they are measured from.
    pub reference: PressureReference,
    /// Whether it was written in the inverse of the SI unit ("350 deg/s" for a slew time),
    /// so that a spread around it would not convert by a factor.
    pub inverse: bool,
}

/// Reads one quantity of a given dimension.
///
/// # Errors
/// A [`UnitError`] that says what was expected.
pub fn parse(text: &str, expected: Dimension) -> Result<Quantity, UnitError> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(UnitError::Empty { expected });
    }
    let (number, unit) = split_number(trimmed, expected)?;
    let unit = unit.trim();
    if unit.is_empty() {
        if expected.allows_bare_number() {
            return Ok(quantity(number, expected));
        }
        return Err(UnitError::MissingUnit {
            text: trimmed.to_owned(),
            expected,
        });
    }
    let found = lookup(trimmed, unit, expected)?;
    let value = if found.inverse {
        found.scale / number
    } else {
        number * found.scale + found.offset
    };
    if !value.is_finite() {
        return Err(UnitError::NotFinite {
            text: trimmed.to_owned(),
            expected,
        });
    }
    Ok(Quantity {
        value,
        dimension: expected,
        reference: found.reference,
        inverse: found.inverse,
    })
}

/// Reads a plain number without a unit.
///
/// # Errors
/// A [`UnitError`] that says what was expected.
pub fn parse_number(text: &str) -> Result<f64, UnitError> {
    parse(text, Dimension::Number).map(|number| number.value)
}

fn quantity(value: f64, dimension: Dimension) -> Quantity {
    Quantity {
        value,
        dimension,
        reference: PressureReference::Unstated,
        inverse: false,
    }
}

/// Splits "16 g" into 16 and " g".
fn split_number(text: &str, expected: Dimension) -> Result<(f64, &str), UnitError> {
    let length = number_length(text);
    let (written, rest) = text.split_at(length);
    if !written.contains(|c: char| c.is_ascii_digit()) {
        let word = text.trim_start_matches(['+', '-']).to_ascii_lowercase();
        if ["inf", "nan", "\u{221e}"]
            .iter()
            .any(|name| word.starts_with(name))
        {
            return Err(UnitError::NotFinite {
                text: text.to_owned(),
                expected,
            });
        }
        return Err(UnitError::NoNumber {
            text: text.to_owned(),
            expected,
        });
    }
    if let Some(tail) = rest.strip_prefix(',')
        && tail.starts_with(|c: char| c.is_ascii_digit())
    {
        return Err(UnitError::DecimalComma {
            text: text.to_owned(),
            with_point: format!("{written}.{tail}"),
        });
    }
    let number: f64 =
        written
            .replace('\u{2212}', "-")
            .parse()
            .map_err(|_| UnitError::NoNumber {
                text: text.to_owned(),
                expected,
            })?;
    if !number.is_finite() {
        return Err(UnitError::NotFinite {
            text: text.to_owned(),
            expected,
        });
    }
    Ok((number, rest))
}

/// The unit behind the first number of a text that has one of a dimension.
pub(super) fn first_unit(text: &str, dimension: Dimension) -> Option<&'static Unit> {
    let starts = text.char_indices().filter(|(at, letter)| {
        let before = text
            .get(..*at)
            .and_then(|before| before.chars().next_back());
        let inside = |letter: char| letter.is_alphanumeric() || letter == '.';
        letter.is_ascii_digit() && !before.is_some_and(inside)
    });
    starts.into_iter().find_map(|(at, _)| {
        let from = text.get(at..)?;
        let behind = from.get(number_length(from)..)?.trim_start();
        let fits = |unit: &&Unit| {
            let after = behind.strip_prefix(unit.symbol);
            after.is_some_and(|after| !after.starts_with(|c: char| c.is_alphanumeric() || c == '/'))
        };
        let units = table::units_of(dimension).iter().filter(fits);
        units.max_by_key(|unit| unit.symbol.len())
    })
}

/// Bytes of the leading number: sign, digits, point, exponent.
fn number_length(text: &str) -> usize {
    let mut end = 0;
    let mut seen_point = false;
    for (at, character) in text.char_indices() {
        match character {
            '+' | '-' | '\u{2212}' if at == 0 => {}
            '0'..='9' => {}
            '.' if !seen_point => seen_point = true,
            _ => break,
        }
        end = at + character.len_utf8();
    }
    // An exponent only where digits follow, so that "2 e" and "5 eV" are not half a number.
    let rest = text.get(end..).unwrap_or_default();
    if let Some(exponent) = rest.strip_prefix(['e', 'E']) {
        let digits = exponent.strip_prefix(['+', '-']).unwrap_or(exponent);
        let count = digits.bytes().take_while(u8::is_ascii_digit).count();
        if count > 0 {
            end += 1 + (exponent.len() - digits.len()) + count;
        }
    }
    end
}

/// Finds the unit, or says what is wrong with it.
fn lookup(text: &str, unit: &str, expected: Dimension) -> Result<&'static Unit, UnitError> {
    if let Some(found) = table::find(expected, unit) {
        if expected == Dimension::AbsolutePressure && found.reference == PressureReference::Gauge {
            return Err(UnitError::GaugePressure {
                text: text.to_owned(),
            });
        }
        return Ok(found);
    }
    let pressures = [Dimension::AbsolutePressure, Dimension::Pressure];
    if pressures.contains(&expected)
        && let Some(bare) = table::find(Dimension::PressureDifference, unit)
    {
        let number = text.strip_suffix(unit).unwrap_or(text).trim_end();
        let (absolute, gauge) = match bare.symbol {
            "bar" => ("bara".to_owned(), "barg".to_owned()),
            "psi" => ("psia".to_owned(), "psig".to_owned()),
            other => (format!("{other} abs"), format!("{other} gauge")),
        };
        return Err(UnitError::AmbiguousPressure {
            text: text.to_owned(),
            absolute: format!("{number} {absolute}"),
            gauge: format!("{number} {gauge}"),
            gauge_allowed: expected == Dimension::Pressure,
        });
    }
    if expected == Dimension::PressureDifference
        && let Some(referenced) = table::find(Dimension::Pressure, unit)
    {
        let bare = table::units_of(Dimension::PressureDifference)
            .iter()
            .find(|unit| unit.scale == referenced.scale)
            .map_or("bar", |unit| unit.symbol);
        return Err(UnitError::ReferencedDifference {
            text: text.to_owned(),
            unit: bare.to_owned(),
        });
    }
    let measures = |dimension: &&Dimension| table::find(**dimension, unit).is_some();
    if let Some(found) = Dimension::ALL.iter().find(measures) {
        return Err(UnitError::WrongDimension {
            unit: unit.to_owned(),
            found: *found,
            expected,
        });
    }
    Err(UnitError::UnknownUnit {
        unit: unit.to_owned(),
        expected,
        nearest: nearest(unit, expected),
    })
}

/// Nearest valid spelling: the same letters in another case first, then by edit distance.
fn nearest(unit: &str, expected: Dimension) -> Option<&'static str> {
    let written = table::normalise(unit);
    let units = table::units_of(expected);
    let lower = written.to_lowercase();
    let same_letters = units
        .iter()
        .find(|candidate| table::normalise(candidate.symbol).to_lowercase() == lower);
    if let Some(found) = same_letters {
        return Some(found.symbol);
    }
    let common = match lower.as_str() {
        "c" | "celsius" | "centigrade" | "grad" => "degC",
        "f" | "fahrenheit" => "degF",
        "kelvin" | "degk" => "K",
        "gram" | "grams" | "gr" | "gm" => "g",
        "liter" | "litre" | "liters" | "litres" | "ltr" => "L",
        "inch" | "inches" | "\"" => "in",
        "feet" | "foot" | "'" => "ft",
        "sec" | "secs" | "second" | "seconds" => "s",
        "msec" | "millisecond" | "milliseconds" => "ms",
        "hour" | "hr" | "hrs" => "h",
        "degree" | "degrees" => "deg",
        "micron" | "microns" => "um",
        "sqmm" | "mmsq" => "mm2",
        "pounds" | "lbs" | "pound" | "#" => "lb",
        "ounce" | "ounces" => "oz",
        "newton" | "newtons" => "N",
        "mil" | "mils" => "thou",
        _ => "",
    };
    if let Some(found) = units.iter().find(|candidate| candidate.symbol == common) {
        return Some(found.symbol);
    }
    units
        .iter()
        .map(|candidate| {
            let plain = table::normalise(candidate.symbol);
            (
                strsim::normalized_damerau_levenshtein(&plain, &written),
                candidate.symbol,
            )
        })
        .filter(|(likeness, _)| *likeness >= 0.5)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, symbol)| symbol)
}
