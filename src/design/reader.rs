//! Reads the fields of the sections, once to collect the uncertain inputs and again for
//! every set of drawn values.

use std::borrow::Cow;
use std::collections::HashMap;

use crate::statistics::Distribution;
use crate::units::{self, Dimension, Limits, PressureReference, UnitError, UnitSystem};

use super::document::Document;
use super::error::{DesignError, Problem};
use super::expression::{self, Own};
use super::schema::{Table, Text};

/// One uncertain value of a design.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Where it is written, such as `vessels.cartridge.charge`; `shared.soak` for a shared
    /// draw; `nose.pins.0.strength#2` for the second pin of an entry.
    pub path: String,
    /// Its distribution in SI.
    pub distribution: Distribution,
    /// What it measures.
    pub dimension: Dimension,
    /// For a choice among words, the words its values 0, 1, 2 ... stand for.
    pub words: Vec<String>,
}

/// How a field follows from the inputs: a constant plus some of them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slot {
    constant: f64,
    inputs: Vec<usize>,
    /// A pressure above that of the surroundings.
    pub gauge: bool,
    /// What it measures.
    pub dimension: Dimension,
    /// Whether it refers to a shared draw.
    pub shared: bool,
}

impl Slot {
    /// Whether the value is stated without a spread.
    pub fn is_certain(&self) -> bool {
        self.inputs.is_empty()
    }
}

/// Everything the first reading found out.
#[derive(Debug, Clone, Default)]
pub(super) struct Catalogue {
    pub inputs: Vec<Input>,
    slots: HashMap<String, Slot>,
    shared: HashMap<String, (Dimension, String, Slot)>,
}

impl Catalogue {
    /// What was read at a path, `shared.NAME` included; words and lists are not values.
    pub fn slot(&self, path: &str) -> Option<&Slot> {
        match path.strip_prefix("shared.") {
            Some(name) => self.shared.get(name).map(|(_, _, slot)| slot),
            None => self.slots.get(path),
        }
    }

    /// Central value of what was read at a path [SI].
    pub fn central(&self, path: &str) -> Option<f64> {
        let slot = self.slot(path)?;
        slot.inputs.iter().try_fold(slot.constant, |sum, index| {
            Some(sum + self.inputs.get(*index)?.distribution.central())
        })
    }

    /// Paths of all values that were read, of the shared draws first.
    pub fn paths(&self) -> Vec<String> {
        let mut shared: Vec<String> = self.shared.keys().map(|n| format!("shared.{n}")).collect();
        let mut own: Vec<String> = self.slots.keys().cloned().collect();
        shared.sort();
        own.sort();
        shared.append(&mut own);
        shared
    }
}

/// What a field holds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kind {
    pub dimension: Dimension,
    pub limits: Limits,
}

impl Kind {
    pub const fn any(dimension: Dimension) -> Self {
        Kind {
            dimension,
            limits: Limits::ANY,
        }
    }

    pub const fn positive(dimension: Dimension) -> Self {
        Kind {
            dimension,
            limits: Limits::POSITIVE,
        }
    }

    pub const fn not_negative(dimension: Dimension) -> Self {
        Kind {
            dimension,
            limits: Limits::NOT_NEGATIVE,
        }
    }

    pub const fn within(dimension: Dimension, limits: Limits) -> Self {
        Kind { dimension, limits }
    }
}

/// Chance of a draw out of range that is not worth refusing a distribution for.
const NEGLIGIBLE: f64 = 1e-6;
/// Size beyond which no quantity of a rocket lies [SI].
const BEYOND_ALL: f64 = 1e15;

/// One reading of a design.
pub(super) struct Reader<'d> {
    document: &'d Document,
    declared: &'d Table<Text>,
    catalogue: Cow<'d, Catalogue>,
    values: Cow<'d, [f64]>,
    collecting: bool,
    /// Pressure of the surrounding air, for gauge values [Pa]; known once the site is read.
    pub surroundings: Option<f64>,
}

impl<'d> Reader<'d> {
    /// The first reading: collects the inputs and uses their central values.
    pub fn collecting(document: &'d Document, declared: &'d Table<Text>) -> Self {
        Reader {
            document,
            declared,
            catalogue: Cow::Owned(Catalogue::default()),
            values: Cow::Owned(Vec::new()),
            collecting: true,
            surroundings: None,
        }
    }

    /// A later reading with drawn values, one for each input of the first.
    pub fn drawing(
        document: &'d Document,
        declared: &'d Table<Text>,
        catalogue: &'d Catalogue,
        values: &'d [f64],
    ) -> Self {
        Reader {
            document,
            declared,
            catalogue: Cow::Borrowed(catalogue),
            values: Cow::Borrowed(values),
            collecting: false,
            surroundings: None,
        }
    }

    /// Whether this is the first reading, of central values.
    pub fn is_collecting(&self) -> bool {
        self.collecting
    }

    /// Ends the reading: its catalogue, after checking that every shared draw was used.
    pub fn finish(self) -> Result<Catalogue, DesignError> {
        let unused = self
            .declared
            .keys()
            .find(|name| !self.catalogue.shared.contains_key(*name));
        if let Some(name) = unused {
            let problem = Problem::UnusedShared {
                name: name.clone(),
                used: self.catalogue.shared.keys().cloned().collect(),
            };
            return Err(self.error(&format!("shared.{name}"), problem));
        }
        Ok(self.catalogue.into_owned())
    }

    /// An error about a field.
    pub fn error(&self, path: &str, problem: Problem) -> DesignError {
        self.document.error_at(path, problem)
    }

    /// The value of a field, in SI; gauge pressures become absolute.
    pub fn value(&mut self, path: &str, text: &str, kind: Kind) -> Result<f64, DesignError> {
        let known = self.catalogue.slots.get(path);
        let (mut value, gauge) = match known.map(|slot| (self.evaluate(slot), slot.gauge)) {
            Some(known) => known,
            None => {
                let slot = self.compile(path, text, kind)?;
                let value = self.evaluate(&slot);
                let gauge = slot.gauge;
                self.catalogue.to_mut().slots.insert(path.to_owned(), slot);
                (value, gauge)
            }
        };
        if gauge {
            match self.surroundings {
                Some(pressure) => value += pressure,
                None => {
                    let gauge = UnitError::GaugePressure {
                        text: text.to_owned(),
                    };
                    return Err(self.error(path, gauge.into()));
                }
            }
        }
        if value.abs() > BEYOND_ALL && kind.limits.contain(value) {
            let text = text.to_owned();
            return Err(self.error(path, Problem::BeyondAll { text }));
        }
        if kind.limits.contain(value) {
            return Ok(value);
        }
        let written = text
            .trim()
            .starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | '\u{2212}'));
        Err(self.error(
            path,
            if written {
                UnitError::OutOfRange {
                    text: text.to_owned(),
                    expected: kind.dimension,
                    limits: kind.limits,
                }
                .into()
            } else {
                Problem::DrawOutside {
                    value: units::format(kind.dimension, value, UnitSystem::Metric),
                    range: kind.limits.describe_like(kind.dimension, text),
                }
            },
        ))
    }

    /// Whether a field that has been read is written as a gauge pressure.
    pub fn is_gauge(&self, path: &str) -> bool {
        let slot = self.catalogue.slots.get(path);
        slot.is_some_and(|slot| slot.gauge)
    }

    /// The value of a field that may be left out.
    pub fn optional(
        &mut self,
        section: &str,
        field: &str,
        text: Option<&Text>,
        kind: Kind,
    ) -> Result<Option<f64>, DesignError> {
        match text {
            Some(Text(text)) => self
                .value(&format!("{section}.{field}"), text, kind)
                .map(Some),
            None => Ok(None),
        }
    }

    /// The value of a field, or of a default written the same way.
    pub fn or_default(
        &mut self,
        section: &str,
        field: &str,
        text: Option<&Text>,
        default: &str,
        kind: Kind,
    ) -> Result<f64, DesignError> {
        let text = text.map_or(default, |Text(text)| text);
        self.value(&format!("{section}.{field}"), text, kind)
    }

    /// The value of a field that must be there, in the file or in the part it refers to.
    pub fn required(
        &mut self,
        section: &str,
        field: &str,
        text: Option<&Text>,
        from_part: Option<&str>,
        kind: Kind,
    ) -> Result<f64, DesignError> {
        let path = format!("{section}.{field}");
        match text.map(|Text(text)| text.as_str()).or(from_part) {
            Some(text) => self.value(&path, text, kind),
            None => {
                let expected = format!(
                    "{} such as \"{}\"",
                    kind.dimension.describe(),
                    kind.dimension.example()
                );
                Err(self.error(
                    &path,
                    Problem::Missing {
                        name: field.to_owned(),
                        expected,
                    },
                ))
            }
        }
    }

    /// A word of a few, or a choice among them with shares.
    pub fn word<T: Copy>(
        &mut self,
        path: &str,
        text: &str,
        words: &[(&str, T)],
    ) -> Result<T, DesignError> {
        let find = |word: &str| words.iter().position(|(name, _)| *name == word.trim());
        let unknown = |word: &str| Problem::UnknownWord {
            found: word.trim().to_owned(),
            known: words.iter().map(|(name, _)| (*name).to_owned()).collect(),
        };
        let pick = |index: usize| words.get(index).map(|(_, value)| *value);
        let Some(body) = text.trim().strip_prefix("choice ") else {
            return find(text)
                .and_then(pick)
                .ok_or_else(|| self.error(path, unknown(text)));
        };
        if !self.catalogue.slots.contains_key(path) {
            let problem = |problem| self.error(path, problem);
            let choices = expression::split_choices(body).ok_or_else(|| {
                problem(Problem::Form {
                    text: text.to_owned(),
                    form: "choice",
                    pattern: "choice WORD: SHARE %, WORD: SHARE %",
                })
            })?;
            let weights = expression::read_shares(text, &choices).map_err(problem)?;
            let mut values = Vec::with_capacity(choices.len());
            for (word, _) in &choices {
                let index = find(word).ok_or_else(|| self.error(path, unknown(word)))?;
                values.push(index as f64);
            }
            let names = words.iter().map(|(name, _)| (*name).to_owned()).collect();
            let distribution = Distribution::Discrete { values, weights };
            let input = self.add_input(path, distribution, Dimension::Number, names)?;
            let slot = Slot {
                constant: 0.0,
                inputs: vec![input],
                gauge: false,
                dimension: Dimension::Number,
                shared: false,
            };
            self.catalogue.to_mut().slots.insert(path.to_owned(), slot);
        }
        let value = self
            .catalogue
            .slots
            .get(path)
            .map_or(f64::NAN, |slot| self.evaluate(slot));
        let index = if value >= 0.0 {
            value.round() as usize
        } else {
            usize::MAX
        };
        pick(index).ok_or_else(|| self.error(path, unknown(&value.to_string())))
    }

    /// A certain whole number, 1 to `most`; one where nothing is written.
    pub fn count(
        &self,
        path: &str,
        text: Option<&Text>,
        most: usize,
    ) -> Result<usize, DesignError> {
        let Some(Text(text)) = text else {
            return Ok(1);
        };
        match text.trim().parse::<usize>() {
            Ok(count) if (1..=most).contains(&count) => Ok(count),
            _ => Err(self.error(
                path,
                Problem::Count {
                    text: text.clone(),
                    most,
                },
            )),
        }
    }

    fn evaluate(&self, slot: &Slot) -> f64 {
        slot.inputs.iter().fold(slot.constant, |sum, input| {
            sum + self.values.get(*input).copied().unwrap_or(f64::NAN)
        })
    }

    fn add_input(
        &mut self,
        path: &str,
        distribution: Distribution,
        dimension: Dimension,
        words: Vec<String>,
    ) -> Result<usize, DesignError> {
        if !self.collecting {
            // The first reading saw every field, so a new input has no drawn value.
            let expected = self.catalogue.inputs.len();
            let problem = Problem::ValueCount {
                given: self.values.len(),
                expected: expected + 1,
            };
            return Err(self.error(path, problem));
        }
        let index = self.catalogue.inputs.len();
        self.values.to_mut().push(distribution.central());
        self.catalogue.to_mut().inputs.push(Input {
            path: path.to_owned(),
            distribution,
            dimension,
            words,
        });
        Ok(index)
    }

    fn compile(&mut self, path: &str, text: &str, kind: Kind) -> Result<Slot, DesignError> {
        let expression =
            expression::parse(text, kind.dimension).map_err(|problem| self.error(path, problem))?;
        let mut slot = Slot {
            constant: 0.0,
            inputs: Vec::new(),
            gauge: expression.reference == PressureReference::Gauge,
            dimension: kind.dimension,
            shared: false,
        };
        let alone = expression.shared.is_none();
        if let Some(name) = expression.shared {
            slot = self.shared(path, &name, kind.dimension)?;
            slot.shared = true;
        }
        match expression.own {
            Own::Fixed(value) => slot.constant += value,
            Own::Uncertain(distribution) => {
                if alone && !slot.gauge {
                    self.check_reach(path, text, &distribution, kind)?;
                }
                let dimension = if alone {
                    kind.dimension
                } else {
                    kind.dimension.difference()
                };
                let input = self.add_input(path, distribution, dimension, Vec::new())?;
                slot.inputs.push(input);
            }
        }
        Ok(slot)
    }

    /// A distribution must stay inside the range of its field.
    fn check_reach(
        &self,
        path: &str,
        text: &str,
        distribution: &Distribution,
        kind: Kind,
    ) -> Result<(), DesignError> {
        let chance = distribution.probability_outside(kind.limits.least, kind.limits.most);
        if chance <= NEGLIGIBLE {
            return Ok(());
        }
        let range = kind.limits.describe_like(kind.dimension, text);
        let problem = Problem::ReachesOutside {
            text: text.to_owned(),
            chance,
            range,
        };
        Err(self.error(path, problem))
    }

    /// A shared draw: understood at its first use, the same draw at every other.
    fn shared(
        &mut self,
        path: &str,
        name: &str,
        dimension: Dimension,
    ) -> Result<Slot, DesignError> {
        if let Some((first_dimension, first, slot)) = self.catalogue.shared.get(name) {
            if *first_dimension == dimension {
                return Ok(slot.clone());
            }
            let problem = Problem::SharedDimension {
                name: name.to_owned(),
                first: first.clone(),
                first_dimension: *first_dimension,
                dimension,
            };
            return Err(self.error(path, problem));
        }
        let Some(Text(text)) = self.declared.get(name) else {
            let known = self.declared.keys().cloned().collect();
            return Err(self.error(
                path,
                Problem::UnknownShared {
                    name: name.to_owned(),
                    known,
                },
            ));
        };
        let place = format!("shared.{name}");
        let expression =
            expression::parse(text, dimension).map_err(|problem| self.error(&place, problem))?;
        if expression.shared.is_some() {
            return Err(self.error(&place, Problem::NestedShared));
        }
        let mut slot = Slot {
            constant: 0.0,
            inputs: Vec::new(),
            gauge: expression.reference == PressureReference::Gauge,
            dimension,
            shared: false,
        };
        match expression.own {
            Own::Fixed(value) => slot.constant = value,
            Own::Uncertain(distribution) => {
                let input = self.add_input(&place, distribution, dimension, Vec::new())?;
                slot.inputs.push(input);
            }
        }
        let entry = (dimension, path.to_owned(), slot.clone());
        self.catalogue
            .to_mut()
            .shared
            .insert(name.to_owned(), entry);
        Ok(slot)
    }
}
