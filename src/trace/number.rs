//! One field of a trace as a number.

/// What a field holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Field {
    /// A number.
    Number(f64),
    /// Left out: empty, NaN, a dash.
    Missing,
    /// Something else.
    Text,
}

/// Words loggers write where they have no value.
const MISSING: [&str; 9] = ["nan", "na", "n/a", "null", "none", "-", "--", "inf", "#n/a"];

/// Reads a field; with `decimal_comma`, a comma is the decimal mark and points may group digits.
pub(super) fn field(text: &str, decimal_comma: bool) -> Field {
    let text = text.trim().trim_matches('"').trim();
    if text.is_empty() {
        return Field::Missing;
    }
    let parsed = if decimal_comma && text.contains(',') {
        decimal(text)
    } else {
        text.parse::<f64>().ok()
    };
    match parsed {
        Some(value) if value.is_finite() => Field::Number(value),
        // Overflow, or a spelling of not-a-number that the parser knows.
        Some(_) => Field::Missing,
        None => odd(text, decimal_comma),
    }
}

/// Spellings seldom met: a true minus sign, words for a missing value, Fortran exponents.
fn odd(text: &str, decimal_comma: bool) -> Field {
    let lower = text.to_lowercase();
    let bare = lower.trim_start_matches(['+', '-']);
    if MISSING.contains(&lower.as_str()) || MISSING.contains(&bare) || bare.starts_with("1.#") {
        return Field::Missing;
    }
    let plain = lower.replace('\u{2212}', "-").replace('d', "e");
    let parsed = if decimal_comma {
        decimal(&plain)
    } else {
        plain.parse::<f64>().ok()
    };
    match parsed {
        Some(value) if value.is_finite() => Field::Number(value),
        _ => Field::Text,
    }
}

/// "1.234,5" as 1234.5.
fn decimal(text: &str) -> Option<f64> {
    let mut buffer = String::with_capacity(text.len());
    let mut commas = 0;
    for character in text.chars() {
        match character {
            '.' => {}
            ',' => {
                commas += 1;
                buffer.push('.');
            }
            other => buffer.push(other),
        }
    }
    if commas == 1 {
        buffer.parse().ok()
    } else {
        text.parse().ok()
    }
}
