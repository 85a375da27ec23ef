//! Choices left open, and the changes to the design each option makes; servos and pins.

use crate::design::build::names_in_order;
use crate::design::document::Document;
use crate::design::edit;
use crate::design::error::{DesignError, Problem};
use crate::design::expression;
use crate::design::parts::{self, SERVOS};
use crate::design::schema::{DesignSection, OpeningSection, PinSection, Text};
use crate::units::Dimension;

/// Most pins of one entry.
const MOST_PINS: usize = 64;

/// A choice left open.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// What is chosen: "cartridge", "servo of valve".
    pub name: String,
    /// What it may be.
    pub options: Vec<ChoiceOption>,
}

/// One thing a choice may be.
#[derive(Debug, Clone, PartialEq)]
pub struct ChoiceOption {
    /// Its name: "co2-16g", "2".
    pub label: String,
    /// For a cartridge, its CO2 [kg].
    pub charge: Option<f64>,
    /// For a number of cartridges, that number.
    pub number: Option<usize>,
    pub(super) edits: Vec<Edit>,
}

/// A change to the text of a design.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Edit {
    /// Write a value.
    Set(String, String),
    /// Take a field out.
    Remove(String),
    /// Put more vessels of a kind beside the first, each with its own paths.
    Multiply {
        /// The vessel.
        vessel: String,
        /// Paths that start or end there.
        paths: Vec<(String, &'static str)>,
        /// How many in all.
        number: usize,
    },
}

impl Edit {
    /// Makes the change.
    pub fn apply(&self, name: &str, text: &str) -> Result<String, DesignError> {
        match self {
            Edit::Set(path, value) => edit::write(&Document::from_text(name, text)?, path, value),
            Edit::Remove(path) => edit::remove(name, text, path),
            Edit::Multiply {
                vessel,
                paths,
                number,
            } => {
                let mut text = text.to_owned();
                // Backwards, because each copy stands right behind the first.
                for copy in (2..=*number).rev() {
                    let twin = twin(vessel, copy);
                    text = edit::copy_entry(name, &text, &format!("vessels.{vessel}"), &twin)?;
                    for (path, end) in paths {
                        let other = self::twin(path, copy);
                        text = edit::copy_entry(name, &text, &format!("paths.{path}"), &other)?;
                        let end = format!("paths.{other}.{end}");
                        text = edit::write(&Document::from_text(name, &text)?, &end, &twin)?;
                    }
                }
                Ok(text)
            }
        }
    }
}

pub(super) fn twin(name: &str, copy: usize) -> String {
    format!("{name}-{copy}")
}

pub(super) fn conflict(document: &Document, at: &str, message: String, help: &str) -> DesignError {
    let help = help.to_owned();
    document.error_at(at, Problem::Conflict { message, help })
}

pub(super) fn plain(label: String, edits: Vec<Edit>) -> ChoiceOption {
    ChoiceOption {
        label,
        charge: None,
        number: None,
        edits,
    }
}

/// An empty list offers nothing to choose from.
pub(super) fn not_empty<T>(
    document: &Document,
    at: &str,
    list: &[T],
    what: &str,
) -> Result<(), DesignError> {
    if list.is_empty() {
        return Err(conflict(
            document,
            at,
            format!("the list of {what} is empty"),
            "name at least one, or leave the list out for all of the library",
        ));
    }
    Ok(())
}

/// Central value of a text that may be uncertain.
pub(super) fn central(text: &str, dimension: Dimension) -> Option<f64> {
    expression::parse(text, dimension)
        .ok()
        .map(|value| value.central())
}

pub(super) fn count(
    document: &Document,
    at: &str,
    text: &Text,
    most: usize,
) -> Result<usize, DesignError> {
    match text.0.trim().parse::<usize>() {
        Ok(count) if (1..=most).contains(&count) => Ok(count),
        _ => {
            let text = text.0.clone();
            Err(document.error_at(at, Problem::Count { text, most }))
        }
    }
}

/// The choice a free servo makes.
pub(super) fn servo(
    document: &Document,
    design: &DesignSection,
    at: &str,
    valve: &Text,
    from: Option<&[Text]>,
) -> Result<Choice, DesignError> {
    let valve = valve.0.trim();
    let opening = design
        .paths
        .get(valve)
        .and_then(|path| path.opening.as_ref());
    let Some(OpeningSection::Servo { part: written, .. }) = opening else {
        let found = valve.to_owned();
        let known = names_in_order(document, "paths", &design.paths)
            .into_iter()
            .filter(|name| {
                let opening = design
                    .paths
                    .get(name)
                    .and_then(|path| path.opening.as_ref());
                matches!(opening, Some(OpeningSection::Servo { .. }))
            })
            .collect();
        return Err(document.error_at(
            &format!("{at}.valve"),
            Problem::UnknownWord { found, known },
        ));
    };
    let names: Vec<&str> = match from {
        Some(list) => {
            not_empty(document, &format!("{at}.from"), list, "servos")?;
            list.iter().map(|Text(name)| name.trim()).collect()
        }
        None => SERVOS.iter().map(|servo| servo.name).collect(),
    };
    let mut options = Vec::with_capacity(names.len());
    for (index, name) in names.iter().enumerate() {
        if parts::find(SERVOS, name).is_none() {
            let problem = Problem::UnknownPart {
                kind: "servo",
                name: (*name).to_owned(),
                known: SERVOS.iter().map(|servo| servo.name.to_owned()).collect(),
            };
            return Err(document.error_at(&format!("{at}.from.{index}"), problem));
        }
        let field = |field: &str| format!("paths.{valve}.opening.{field}");
        let same = written
            .as_ref()
            .is_some_and(|Text(part)| part.trim() == *name);
        let edits = if same {
            Vec::new()
        } else {
            ["lag", "slew", "rated_voltage", "cold_loss"]
                .into_iter()
                .map(|name| Edit::Remove(field(name)))
                .chain([Edit::Set(field("part"), (*name).to_owned())])
                .collect()
        };
        options.push(plain((*name).to_owned(), edits));
    }
    Ok(Choice {
        name: format!("servo of {valve}"),
        options,
    })
}

/// The choices free pins make: which kind, and how many.
pub(super) fn pins(
    document: &Document,
    design: &DesignSection,
    at: &str,
    entry: Option<&Text>,
    kinds: Option<&[PinSection]>,
    counts: Option<&[Text]>,
) -> Result<Vec<Choice>, DesignError> {
    let entry = entry.map_or("0", |Text(entry)| entry.trim());
    let place = format!("nose.pins.{entry}");
    let number = entry.parse::<usize>().ok();
    let there = design
        .nose
        .as_ref()
        .zip(number)
        .and_then(|(nose, n)| nose.pins.get(n));
    if there.is_none() {
        let entries = design.nose.as_ref().map_or(0, |nose| nose.pins.len());
        return Err(document.error_at(
            &format!("{at}.entry"),
            Problem::NoSuchField {
                path: place,
                missing: entry.to_owned(),
                known: (0..entries).map(|n| n.to_string()).collect(),
            },
        ));
    }
    let mut choices = Vec::new();
    if let Some(kinds) = kinds {
        not_empty(document, &format!("{at}.kinds"), kinds, "kinds of pin")?;
        let mut options = Vec::with_capacity(kinds.len());
        for (index, kind) in kinds.iter().enumerate() {
            let written = format!("{at}.kinds.{index}");
            let raw = document
                .tree
                .as_ref()
                .and_then(|tree| edit::raw(tree, &document.text, &written))
                .unwrap_or_default();
            let edits = vec![Edit::Set(place.clone(), raw.to_owned())];
            options.push(plain(pin_label(kind), edits));
        }
        choices.push(Choice {
            name: "pins".to_owned(),
            options,
        });
    }
    if let Some(counts) = counts {
        not_empty(document, &format!("{at}.count"), counts, "counts")?;
        let mut options = Vec::with_capacity(counts.len());
        for (index, text) in counts.iter().enumerate() {
            let number = count(document, &format!("{at}.count.{index}"), text, MOST_PINS)?;
            let edits = vec![Edit::Set(format!("{place}.count"), number.to_string())];
            options.push(plain(number.to_string(), edits));
        }
        choices.push(Choice {
            name: "number of pins".to_owned(),
            options,
        });
    }
    if choices.is_empty() {
        return Err(conflict(
            document,
            at,
            "neither `kinds` nor `count` of the pins is given".to_owned(),
            "write `count: [\"2\", \"3\"]`, or `kinds: [(material: \"nylon-6/6\", thread: \"M2\")]`",
        ));
    }
    Ok(choices)
}

fn pin_label(kind: &PinSection) -> String {
    let words: Vec<&str> = [&kind.material, &kind.thread, &kind.diameter, &kind.strength]
        .into_iter()
        .flatten()
        .map(|Text(text)| text.as_str())
        .collect();
    words.join(" ")
}
