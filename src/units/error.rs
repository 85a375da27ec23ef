//! What can be wrong with a written quantity.

use super::{Dimension, Limits};

/// A quantity that does not say what its field needs.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// Nothing written.
    #[error("nothing written where {} is expected", expected.describe())]
    Empty {
        /// What the field holds.
        expected: Dimension,
    },
    /// The text does not start with a number.
    #[error("`{text}` does not start with a number; {} is expected", expected.describe())]
    NoNumber {
        /// The text as written.
        text: String,
        /// What the field holds.
        expected: Dimension,
    },
    /// Infinite, not a number, or too large to represent.
    #[error("`{text}` is not a finite number; {} is expected", expected.describe())]
    NotFinite {
        /// The text as written.
        text: String,
        /// What the field holds.
        expected: Dimension,
    },
    /// A comma inside the number.
    #[error("`{text}` has a comma inside the number")]
    DecimalComma {
        /// The text as written.
        text: String,
        /// The same with a decimal point.
        with_point: String,
    },
    /// A number without a unit.
    #[error("`{text}` has no unit; {} is expected", expected.describe())]
    MissingUnit {
        /// The text as written.
        text: String,
        /// What the field holds.
        expected: Dimension,
    },
    /// A unit nobody knows.
    #[error("`{unit}` is not a unit of {}", expected.describe())]
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// What the field holds.
        expected: Dimension,
        /// Nearest valid spelling.
        nearest: Option<&'static str>,
    },
    /// A unit of something else.
    #[error("`{unit}` measures {}; {} is expected", found.describe(), expected.describe())]
    WrongDimension {
        /// The unit as written.
        unit: String,
        /// What it measures.
        found: Dimension,
        /// What the field holds.
        expected: Dimension,
    },
    /// A pressure that may be absolute or gauge.
    #[error("`{text}` does not say whether it is absolute or gauge")]
    AmbiguousPressure {
        /// The text as written.
        text: String,
        /// The same written as absolute.
        absolute: String,
        /// The same written as gauge.
        gauge: String,
        /// Whether gauge would do in this field.
        gauge_allowed: bool,
    },
    /// A gauge pressure where only an absolute one is clear.
    #[error("`{text}` is a gauge pressure; an absolute pressure is expected")]
    GaugePressure {
        /// The text as written.
        text: String,
    },
    /// An absolute or gauge pressure where a difference is expected.
    #[error("`{text}` is measured from a reference; a pressure difference is expected")]
    ReferencedDifference {
        /// The text as written.
        text: String,
        /// The unit without its reference.
        unit: String,
    },
    /// Outside the range of the field.
    #[error("`{text}` is out of range: {} must be {}", expected.describe(), limits.describe_like(*expected, text))]
    OutOfRange {
        /// The text as written.
        text: String,
        /// What the field holds.
        expected: Dimension,
        /// Its range in SI.
        limits: Limits,
    },
}

impl UnitError {
    /// What to write instead.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            UnitError::Empty { expected }
            | UnitError::NoNumber { expected, .. }
            | UnitError::NotFinite { expected, .. }
            | UnitError::WrongDimension { expected, .. } => format!(
                "write {} such as \"{}\"; units: {}",
                expected.describe(),
                expected.example(),
                known_units(*expected)
            ),
            UnitError::DecimalComma { with_point, .. } => {
                format!("numbers use a decimal point and no thousands mark: \"{with_point}\"")
            }
            UnitError::MissingUnit { text, expected } => {
                let unit = super::table::units_of(*expected)
                    .first()
                    .map_or("", |u| u.symbol);
                format!(
                    "add the unit, such as \"{} {unit}\"; units: {}",
                    text.trim(),
                    known_units(*expected)
                )
            }
            UnitError::UnknownUnit {
                nearest: Some(nearest),
                expected,
                ..
            } => {
                format!(
                    "did you mean `{nearest}`? units: {}",
                    known_units(*expected)
                )
            }
            UnitError::UnknownUnit {
                nearest: None,
                expected,
                ..
            } => {
                if super::table::units_of(*expected).is_empty() {
                    format!(
                        "write a number without a unit, such as \"{}\"",
                        expected.example()
                    )
                } else {
                    format!("units: {}", known_units(*expected))
                }
            }
            UnitError::AmbiguousPressure {
                absolute,
                gauge,
                gauge_allowed,
                ..
            } => {
                if *gauge_allowed {
                    format!("write \"{absolute}\" if it is absolute, \"{gauge}\" if it is gauge")
                } else {
                    format!(
                        "write \"{absolute}\" if it is absolute; a gauge reading needs the \
                         pressure of the surrounding air added first"
                    )
                }
            }
            UnitError::GaugePressure { .. } => {
                "add the pressure of the surrounding air and write it as bara, psia or kPa abs"
                    .to_owned()
            }
            UnitError::ReferencedDifference { unit, .. } => {
                format!("a difference is written in plain `{unit}`")
            }
            UnitError::OutOfRange {
                limits,
                expected,
                text,
            } => {
                format!(
                    "the value must be {}",
                    limits.describe_like(*expected, text)
                )
            }
        }
    }
}

/// Units of a dimension as a list.
fn known_units(dimension: Dimension) -> String {
    let mut list = super::table::units_of(dimension)
        .iter()
        .map(|unit| unit.symbol)
        .collect::<Vec<_>>()
        .join(", ");
    if dimension.allows_bare_number() {
        if !list.is_empty() {
            list.push_str(", or ");
        }
        list.push_str("none");
    }
    list
}
