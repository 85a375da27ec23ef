//! The design file: RON with quantities as people write them, read into a
//! [`System`] in SI with every mistake shown where it is written.
//!
//! A design is read once: text to sections, every value understood, every uncertain one
//! listed as an [`Input`]. After that, each set of drawn values gives its own system.

mod build;
mod document;
pub mod edit;
mod error;
mod expression;
pub mod fitted;
pub mod parts;
mod reader;
mod scan;
mod schema;
pub mod sizing;
pub mod starter;
pub mod summary;
mod words;

use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::statistics::{GaussianCopula, RankCorrelation, StatisticsError};
use crate::study::Inputs;
use crate::units::{Dimension, Limits};

pub use document::LARGEST_FILE;
pub use error::{DesignError, Problem};
pub use reader::Input;
pub use starter::{StarterRequest, starter};

use document::Document;
use reader::{Catalogue, Kind, Reader, Slot};
use schema::{DesignSection, Text};
use sizing::Plan;

/// A design that was read and found valid for its central values.
#[derive(Debug, Clone)]
pub struct Design {
    document: Document,
    sections: DesignSection,
    catalogue: Catalogue,
    correlations: Vec<RankCorrelation>,
    plan: Option<Plan>,
}

impl Design {
    /// Reads a design from text; `name` is shown in errors.
    ///
    /// # Errors
    /// A [`DesignError`] with the field, the place and what was expected.
    pub fn parse(name: &str, text: &str) -> Result<Self, DesignError> {
        Design::from_document(Document::from_text(name, text)?)
    }

    /// Reads a design from the bytes of a file, which must be UTF-8 and at most
    /// [`LARGEST_FILE`] long.
    ///
    /// # Errors
    /// As [`parse`](Self::parse).
    pub fn from_bytes(name: &str, bytes: &[u8]) -> Result<Self, DesignError> {
        Design::from_document(Document::from_bytes(name, bytes)?)
    }

    /// Reads a design file, never more than one byte past [`LARGEST_FILE`].
    ///
    /// # Errors
    /// As [`parse`](Self::parse), and when the file cannot be read.
    pub fn read(path: &std::path::Path) -> Result<Self, DesignError> {
        Design::from_bytes(&path.display().to_string(), &read_limited(path)?)
    }

    /// Name and text of a design file that need not be valid yet: for changes to be made first.
    ///
    /// # Errors
    /// When the file cannot be read, is too long, empty or not UTF-8.
    pub fn read_text(path: &std::path::Path) -> Result<(String, String), DesignError> {
        let name = path.display().to_string();
        let document = Document::from_bytes(&name, &read_limited(path)?)?;
        Ok((name, document.text.to_string()))
    }

    fn from_document(document: Document) -> Result<Self, DesignError> {
        let sections = document.sections()?;
        let mut reader = Reader::collecting(&document, &sections.shared);
        let central = build::system(&document, &sections, &mut reader)?;
        let catalogue = reader.finish()?;
        let correlations = correlations(&document, &sections, &catalogue)?;
        let plan = match &sections.size {
            Some(size) => Some(Plan::read(
                &document, &sections, size, &catalogue, &central,
            )?),
            None => None,
        };
        Ok(Design {
            document,
            sections,
            catalogue,
            correlations,
            plan,
        })
    }

    /// Name of the system.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.sections.name.0
    }

    /// Notes of the designer.
    #[must_use]
    pub fn notes(&self) -> Option<&str> {
        self.sections
            .notes
            .as_ref()
            .map(|Text(notes)| notes.as_str())
    }

    /// Name of the file, as given.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.document.name
    }

    /// The text as read.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.document.text
    }

    /// What is left open, if the design says so.
    #[must_use]
    pub fn plan(&self) -> Option<&Plan> {
        self.plan.as_ref()
    }

    /// Every uncertain value once, in the order in which values are drawn.
    #[must_use]
    pub fn inputs(&self) -> &[Input] {
        &self.catalogue.inputs
    }

    /// Rank correlations between inputs, by their paths; they do not contradict each other.
    #[must_use]
    pub fn correlations(&self) -> &[RankCorrelation] {
        &self.correlations
    }

    /// The central value of each input, in SI.
    #[must_use]
    pub fn central(&self) -> Vec<f64> {
        self.inputs()
            .iter()
            .map(|input| input.distribution.central())
            .collect()
    }

    /// The uncertain values, ready to be drawn.
    ///
    /// # Errors
    /// None for a design that was read: its distributions and correlations were checked.
    pub fn draws(&self) -> Result<Inputs, StatisticsError> {
        let named = self
            .inputs()
            .iter()
            .map(|input| (input.path.clone(), input.distribution.clone()));
        Inputs::new(named, &self.correlations)
    }

    /// The system and its criteria for one set of values, one for each input.
    ///
    /// # Errors
    /// A [`DesignError`] when the values make no valid design, such as a cartridge filled
    /// beyond its volume.
    pub fn system(&self, values: &[f64]) -> Result<(System, Criteria), DesignError> {
        let expected = self.inputs().len();
        if values.len() != expected {
            let problem = Problem::ValueCount {
                given: values.len(),
                expected,
            };
            return Err(self.document.error_at("shared", problem));
        }
        let shared = &self.sections.shared;
        let mut reader = Reader::drawing(&self.document, shared, &self.catalogue, values);
        build::system(&self.document, &self.sections, &mut reader)
    }
}

/// Reads a file without ever holding more than the largest design.
fn read_limited(path: &std::path::Path) -> Result<Vec<u8>, DesignError> {
    use std::io::Read;
    let unreadable = |error: std::io::Error| {
        let name = path.display().to_string();
        let problem = Problem::Unreadable {
            reason: error.to_string(),
        };
        DesignError::new(problem, None, &name, &std::sync::Arc::from(""), Vec::new())
    };
    let file = std::fs::File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(LARGEST_FILE as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    Ok(bytes)
}

/// Reads the correlations: between inputs that exist, and free of contradiction. A pair with a value that is stated
/// without a spread - fixed for once, or swept - says nothing and is left out.
fn correlations(
    document: &Document,
    sections: &DesignSection,
    catalogue: &Catalogue,
) -> Result<Vec<RankCorrelation>, DesignError> {
    let known: Vec<String> = catalogue
        .inputs
        .iter()
        .map(|input| input.path.clone())
        .collect();
    let mut reader = Reader::collecting(document, &sections.shared);
    let mut found: Vec<RankCorrelation> = Vec::new();
    for (number, written) in sections.correlations.iter().enumerate() {
        let at = format!("correlations.{number}");
        let refuse = |reason: String| {
            document.error_at(&format!("{at}.between"), Problem::Correlation { reason })
        };
        let [Text(first), Text(second)] = written.between.as_slice() else {
            return Err(refuse(
                "`between` names exactly two uncertain values".to_owned(),
            ));
        };
        let mut certain = false;
        for (place, name) in [first, second].into_iter().enumerate() {
            let slot = catalogue.slot(document::field_of(name));
            if slot.is_some_and(Slot::is_certain) {
                certain = true;
            } else if !known.contains(name) {
                let problem = Problem::UnknownName {
                    found: name.clone(),
                    known: known.clone(),
                };
                return Err(document.error_at(&format!("{at}.between.{place}"), problem));
            }
        }
        let kind = Kind::within(Dimension::Number, Limits::between(-0.999, 0.999));
        let rank = reader.value(&format!("{at}.rank"), &written.rank.0, kind)?;
        if certain {
            continue;
        }
        found.push(RankCorrelation {
            first: first.clone(),
            second: second.clone(),
            rank,
        });
        GaussianCopula::new(&known, &found).map_err(|error| refuse(error.to_string()))?;
    }
    Ok(found)
}
