//! What can be wrong with a design file, shown where it is written.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use miette::{Diagnostic, LabeledSpan, NamedSource, Severity, SourceCode};

use crate::units::{Dimension, UnitError};

/// What is wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// The file holds nothing.
    #[error("the file is empty")]
    Empty,
    /// The file is larger than any design.
    #[error("the file is larger than {limit} bytes, which no design needs")]
    TooLarge {
        /// Largest size read [bytes].
        limit: usize,
    },
    /// The file is not UTF-8.
    #[error("the file is not UTF-8 text: byte {offset} is not part of any character")]
    NotUtf8 {
        /// First bad byte, from 0.
        offset: usize,
    },
    /// The file cannot be read.
    #[error("the file cannot be read: {reason}")]
    Unreadable {
        /// The system's words.
        reason: String,
    },
    /// Not well-formed RON.
    #[error("{message}")]
    Syntax {
        /// What the reader expected.
        message: String,
        /// What to do.
        help: Option<String>,
    },
    /// A field, section or variant nobody knows.
    #[error("`{found}` is not known here")]
    UnknownName {
        /// As written.
        found: String,
        /// Names that are.
        known: Vec<String>,
    },
    /// A name written twice in the same place.
    #[error("`{name}` is written twice")]
    Duplicate {
        /// The name.
        name: String,
    },
    /// A field that is needed.
    #[error("`{name}` is missing: {expected} is needed here")]
    Missing {
        /// The field.
        name: String,
        /// What it would hold.
        expected: String,
    },
    /// A name with characters that a dotted path cannot hold.
    #[error("`{name}` is not a usable name")]
    BadName {
        /// The name.
        name: String,
    },
    /// A quantity that does not say what its field needs.
    #[error(transparent)]
    Quantity(#[from] UnitError),
    /// An uncertain value that does not follow its form.
    #[error("`{text}` is not a complete `{form}` value")]
    Form {
        /// As written.
        text: String,
        /// The form's first word.
        form: &'static str,
        /// How the form is written.
        pattern: &'static str,
    },
    /// An uncertain value whose parameters make no distribution.
    #[error("`{text}`: {reason}")]
    Distribution {
        /// As written.
        text: String,
        /// The rule it breaks.
        reason: String,
    },
    /// An uncertain value that can leave the range of its field.
    #[error(
        "`{text}` can give values out of range (chance {chance:.1e} a draw): it must stay {range}"
    )]
    ReachesOutside {
        /// As written.
        text: String,
        /// Chance of a draw outside.
        chance: f64,
        /// The range in words.
        range: String,
    },
    /// A value no part of a rocket comes near, from where the equations would only overflow.
    #[error("`{text}` is beyond anything a rocket has")]
    BeyondAll {
        /// As written.
        text: String,
    },
    /// A draw out of the range of its field.
    #[error("the drawn value {value} is out of range: it must be {range}")]
    DrawOutside {
        /// The value in a fitting unit.
        value: String,
        /// The range in words.
        range: String,
    },
    /// A shared draw nobody declared.
    #[error("no shared draw is named `{name}`")]
    UnknownShared {
        /// As written.
        name: String,
        /// Names that are declared.
        known: Vec<String>,
    },
    /// A shared draw used for two kinds of quantity.
    #[error(
        "the shared draw `{name}` is {} at {first}, but {} is expected here",
        first_dimension.describe(),
        dimension.describe()
    )]
    SharedDimension {
        /// The shared draw.
        name: String,
        /// Where it was used first.
        first: String,
        /// What it was there.
        first_dimension: Dimension,
        /// What is needed here.
        dimension: Dimension,
    },
    /// A shared draw that refers to another.
    #[error("a shared draw cannot refer to another shared draw")]
    NestedShared,
    /// A shared draw that nothing uses.
    #[error("the shared draw `{name}` is used nowhere")]
    UnusedShared {
        /// The shared draw.
        name: String,
        /// Those that are used.
        used: Vec<String>,
    },
    /// A word that is not one of a few.
    #[error("`{found}` is not one of {}", known.join(", "))]
    UnknownWord {
        /// As written.
        found: String,
        /// The words.
        known: Vec<String>,
    },
    /// A path or nose that names no vessel.
    #[error("no vessel is named `{name}`")]
    UnknownVessel {
        /// As written.
        name: String,
        /// Vessels of the design.
        known: Vec<String>,
    },
    /// A path from a vessel to itself.
    #[error("the path starts and ends at `{name}`")]
    PathToItself {
        /// The vessel.
        name: String,
    },
    /// A part that is not in the library.
    #[error("no {kind} in the parts library is named `{name}`")]
    UnknownPart {
        /// What was looked for.
        kind: &'static str,
        /// As written.
        name: String,
        /// Parts of that kind.
        known: Vec<String>,
    },
    /// Fields that exclude or need one another.
    #[error("{message}")]
    Conflict {
        /// Which fields, and why.
        message: String,
        /// What to do.
        help: String,
    },
    /// A count that is none.
    #[error("`{text}` is not a whole number from 1 to {most}")]
    Count {
        /// As written.
        text: String,
        /// Largest count.
        most: usize,
    },
    /// A pair of values in the wrong order.
    #[error("{lower} must be less than {upper}")]
    Order {
        /// The field that must be the smaller.
        lower: String,
        /// The field that must be the larger.
        upper: String,
    },
    /// A vessel filled beyond what its volume holds.
    #[error(
        "filled beyond what its volume holds: {charge} in {volume} is {density}, \
         and at {temperature} {limit}"
    )]
    Overfilled {
        /// Charge with unit.
        charge: String,
        /// Volume with unit.
        volume: String,
        /// Fill density with unit.
        density: String,
        /// Temperature with unit.
        temperature: String,
        /// Which limit is exceeded and by how much.
        limit: String,
    },
    /// A charge colder than the triple point.
    #[error("the charge is at {temperature}, below the triple point of CO2 ({triple_point})")]
    BelowTriplePoint {
        /// Temperature with unit.
        temperature: String,
        /// Triple point with unit.
        triple_point: String,
    },
    /// A value a law of physics refuses.
    #[error("{reason}")]
    Physics {
        /// The law's own words.
        reason: String,
    },
    /// Correlations that no set of draws can have.
    #[error("{reason}")]
    Correlation {
        /// What is wrong.
        reason: String,
    },
    /// A set of drawn values of the wrong length.
    #[error("{given} values were given for {expected} uncertain inputs")]
    ValueCount {
        /// Values given.
        given: usize,
        /// Inputs of the design.
        expected: usize,
    },
    /// A path into the design that does not exist.
    #[error("no field at `{path}`")]
    NoSuchField {
        /// The path asked for.
        path: String,
        /// Its first segment that does not exist.
        missing: String,
        /// Fields at the deepest place that exists.
        known: Vec<String>,
    },
}

impl Problem {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        let list = |known: &[String]| format!("known here: {}", known.join(", "));
        let suggest = |found: &str, known: &[String]| match nearest(found, known) {
            Some(name) => Some(format!("did you mean `{name}`? {}", list(known))),
            None if known.is_empty() => None,
            None => Some(list(known)),
        };
        match self {
            Problem::Empty => Some("`coldkick new FILE` writes a starter design".to_owned()),
            Problem::TooLarge { .. } => Some("is this the right file?".to_owned()),
            Problem::NotUtf8 { .. } => {
                Some("save it as UTF-8 text; is this the right file?".to_owned())
            }
            Problem::Syntax { help, .. } => help.clone(),
            Problem::UnknownName { found, known }
            | Problem::UnknownShared { name: found, known }
            | Problem::UnknownWord { found, known }
            | Problem::UnknownVessel { name: found, known }
            | Problem::UnknownPart {
                name: found, known, ..
            } => suggest(found, known),
            Problem::NoSuchField { missing, known, .. } => suggest(missing, known),
            Problem::Order { lower, upper } => Some(format!(
                "write the smaller of the two as {lower}, the larger as {upper}"
            )),
            Problem::Count { most, .. } => Some(format!(
                "write it in quotes without a unit, such as \"{}\"",
                most.min(&3)
            )),
            Problem::Unreadable { .. } => {
                Some("name a design file; `coldkick new FILE` writes a starter".to_owned())
            }
            Problem::Duplicate { .. } => Some("remove or rename one of the two".to_owned()),
            Problem::BadName { .. } => {
                Some("names are letters, digits, `-` and `_`, and start with a letter".to_owned())
            }
            Problem::Quantity(error) => Some(error.help()),
            Problem::Form { pattern, .. } => Some(format!("written as \"{pattern}\"")),
            Problem::ReachesOutside { .. } => Some(
                "limit it: \"normal MEAN sd SPREAD within LOW .. HIGH\", \"uniform LOW .. HIGH\", \
                 \"lognormal MEDIAN factor NUMBER\""
                    .to_owned(),
            ),
            Problem::UnusedShared { name, used } => Some(match nearest(name, used) {
                Some(meant) => format!("did you mean `{meant}`? It is used, as \"${meant}\""),
                None => format!("refer to it as \"${name}\", or remove it"),
            }),
            Problem::Conflict { help, .. } => Some(help.clone()),
            Problem::BeyondAll { .. } => Some("check its power of ten".to_owned()),
            Problem::Overfilled { .. } => {
                Some("check charge and volume: cartridges hold 0.60 to 0.76 kg/L of CO2".to_owned())
            }
            Problem::BelowTriplePoint { .. } => {
                Some("a cartridge this cold holds dry ice and will not flow".to_owned())
            }
            _ => None,
        }
    }
}

/// The likeliest of a few names.
pub(super) fn nearest<'k>(found: &str, known: &'k [String]) -> Option<&'k str> {
    let wanted = found.to_lowercase();
    known
        .iter()
        .map(|name| {
            let plain = name.to_lowercase();
            let longest = plain.chars().count().max(wanted.chars().count());
            let slips = strsim::damerau_levenshtein(&plain, &wanted);
            let mut likeness = strsim::jaro_winkler(&plain, &wanted);
            if slips <= (longest / 3).max(1) && slips < longest {
                likeness = likeness.max(0.85);
            }
            if wanted.len() >= 3 && (plain.contains(&wanted) || wanted.contains(&plain)) {
                likeness = likeness.max(0.9);
            }
            (likeness, name)
        })
        .filter(|(likeness, _)| *likeness > 0.8)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name.as_str())
}

/// A problem in a design file with the place where it is written.
#[derive(Debug, Clone)]
pub struct DesignError(Box<Inner>);

#[derive(Debug, Clone)]
struct Inner {
    problem: Problem,
    field: Option<String>,
    source: NamedSource<Arc<str>>,
    labels: Vec<(Range<usize>, String)>,
}

impl DesignError {
    pub(super) fn new(
        problem: Problem,
        field: Option<String>,
        name: &str,
        text: &Arc<str>,
        labels: Vec<(Range<usize>, String)>,
    ) -> Self {
        let source = NamedSource::new(name, Arc::clone(text));
        DesignError(Box::new(Inner {
            problem,
            field,
            source,
            labels,
        }))
    }

    /// What is wrong.
    #[must_use]
    pub fn problem(&self) -> &Problem {
        &self.0.problem
    }

    /// Dotted path of the field it is about, such as `vessels.cartridge.charge`.
    #[must_use]
    pub fn field(&self) -> Option<&str> {
        self.0.field.as_deref()
    }

    /// Name of the file.
    #[must_use]
    pub fn file(&self) -> &str {
        self.0.source.name()
    }

    /// Line and column of the place, from 1.
    #[must_use]
    pub fn position(&self) -> Option<(usize, usize)> {
        let start = self.0.labels.last()?.0.start;
        let before = self.0.source.inner().get(..start)?;
        let line = before.matches('\n').count() + 1;
        let column = before
            .rsplit('\n')
            .next()
            .map_or(1, |last| last.chars().count() + 1);
        Some((line, column))
    }
}

impl fmt::Display for DesignError {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.0.field {
            Some(field) => write!(formatter, "{field}: {}", self.0.problem),
            None => write!(formatter, "{}: {}", self.file(), self.0.problem),
        }
    }
}

impl std::error::Error for DesignError {}

impl Diagnostic for DesignError {
    fn severity(&self) -> Option<Severity> {
        Some(Severity::Error)
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.0
            .problem
            .help()
            .map(|help| Box::new(help) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        if self.0.labels.is_empty() {
            None
        } else {
            Some(&self.0.source)
        }
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        if self.0.labels.is_empty() {
            return None;
        }
        Some(Box::new(self.0.labels.iter().map(|(span, label)| {
            LabeledSpan::new_with_span(Some(label.clone()), span.clone())
        })))
    }
}
