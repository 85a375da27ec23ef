//! From bytes to sections: size, encoding, syntax, names written twice or not known.

use std::ops::Range;
use std::sync::Arc;

use ron::error::{Position, SpannedError};
use ron::extensions::Extensions;

use super::error::{DesignError, Problem};
use super::scan::{self, Node};
use super::schema::DesignSection;

/// Largest design file read [bytes].
pub const LARGEST_FILE: usize = 1 << 20;

/// A design file as text, with the place of everything in it.
#[derive(Debug, Clone)]
pub(super) struct Document {
    pub name: String,
    pub text: Arc<str>,
    pub tree: Option<Node>,
}

impl Document {
    /// Checks size and encoding.
    pub fn from_bytes(name: &str, bytes: &[u8]) -> Result<Self, DesignError> {
        if bytes.len() > LARGEST_FILE {
            return Err(bare(
                name,
                Problem::TooLarge {
                    limit: LARGEST_FILE,
                },
            ));
        }
        match std::str::from_utf8(bytes) {
            Ok(text) => Document::from_text(name, text),
            Err(error) => Err(bare(
                name,
                Problem::NotUtf8 {
                    offset: error.valid_up_to(),
                },
            )),
        }
    }

    /// Checks size and that there is something to read.
    pub fn from_text(name: &str, text: &str) -> Result<Self, DesignError> {
        if text.len() > LARGEST_FILE {
            return Err(bare(
                name,
                Problem::TooLarge {
                    limit: LARGEST_FILE,
                },
            ));
        }
        // Editors on some systems start a file with a byte order mark.
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if text.trim().is_empty() {
            return Err(bare(name, Problem::Empty));
        }
        let tree = scan::scan(text);
        Ok(Document {
            name: name.to_owned(),
            text: Arc::from(text),
            tree,
        })
    }

    /// Reads the sections.
    pub fn sections(&self) -> Result<DesignSection, DesignError> {
        if let Some((path, first, second)) = self.tree.as_ref().and_then(Node::duplicate) {
            let name = path.rsplit('.').next().unwrap_or_default().to_owned();
            let labels = vec![
                (first, "first here".to_owned()),
                (second, "again here".to_owned()),
            ];
            let problem = Problem::Duplicate { name };
            return Err(DesignError::new(
                problem,
                Some(path),
                &self.name,
                &self.text,
                labels,
            ));
        }
        ron::Options::default()
            .with_default_extension(Extensions::IMPLICIT_SOME)
            .from_str::<DesignSection>(&self.text)
            .map_err(|error| self.syntax_error(&error))
    }

    /// An error about a field, marked where the field is written, or failing that at the
    /// nearest section around it.
    pub fn error_at(&self, path: &str, problem: Problem) -> DesignError {
        let written = field_of(path);
        let mut labels = Vec::new();
        if let Some(tree) = &self.tree {
            let label = match &problem {
                Problem::Missing { name, .. } => format!("`{name}` belongs in here"),
                _ => "here".to_owned(),
            };
            let (node, depth) = tree.nearest(written);
            let prefix: Vec<&str> = written.split('.').take(depth).collect();
            let complete = prefix.len() == written.split('.').count();
            let span = if complete {
                node.span.clone()
            } else {
                // A field that is not written: mark the name of its section, not all of it.
                tree.entry(&prefix.join("."))
                    .map_or(0..1, |entry| entry.key_span.clone())
            };
            labels.push((span, label));
        }
        DesignError::new(
            problem,
            Some(path.to_owned()),
            &self.name,
            &self.text,
            labels,
        )
    }

    /// Rewords an error of the `ron` crate and finds its place.
    fn syntax_error(&self, error: &SpannedError) -> DesignError {
        use ron::Error;
        let start = self.offset(error.span.start);
        let end = self.offset(error.span.end).max(start);
        let enclosing = self
            .tree
            .as_ref()
            .map(|tree| tree.path_at(start))
            .filter(|path| !path.is_empty());
        let mut label = "here".to_owned();
        let mut span = start..end;
        let problem = match &error.code {
            Error::NoSuchStructField {
                expected, found, ..
            }
            | Error::NoSuchEnumVariant {
                expected, found, ..
            } => {
                label = "not known".to_owned();
                span = self.locate_word(found, &span);
                Problem::UnknownName {
                    found: found.clone(),
                    known: expected.iter().map(|name| (*name).to_owned()).collect(),
                }
            }
            Error::MissingStructField { field, .. } => {
                return self.missing(field, &span);
            }
            Error::DuplicateStructField { field, .. } => Problem::Duplicate {
                name: (*field).to_owned(),
            },
            Error::InvalidValueForType { expected, found } => Problem::Syntax {
                message: format!("expected {expected}, found {found}"),
                help: expected
                    .contains("in quotes")
                    .then(|| "put the value in quotes, with its unit".to_owned()),
            },
            other => Problem::Syntax {
                message: lower_first(&other.to_string()),
                help: self.hint(other, start),
            },
        };
        let field = match &problem {
            Problem::UnknownName { found, .. } => {
                let place = self.tree.as_ref().map(|tree| tree.path_at(span.start));
                Some(
                    place
                        .filter(|path| !path.is_empty())
                        .unwrap_or_else(|| found.clone()),
                )
            }
            _ => enclosing,
        };
        DesignError::new(problem, field, &self.name, &self.text, vec![(span, label)])
    }

    /// A missing field: the reader stops at the closing parenthesis of the section that lacks it.
    fn missing(&self, field: &str, span: &Range<usize>) -> DesignError {
        let problem = Problem::Missing {
            name: field.to_owned(),
            expected: "a value in quotes or a section".to_owned(),
        };
        let section = self
            .tree
            .as_ref()
            .and_then(|tree| tree.section_closing_at(span.start));
        let path = match section.as_deref() {
            None | Some("") => field.to_owned(),
            Some(section) => format!("{section}.{field}"),
        };
        self.error_at(&path, problem)
    }

    /// Where a name is written, near a span the `ron` crate gave.
    fn locate_word(&self, word: &str, span: &Range<usize>) -> Range<usize> {
        let inside = self.text.get(span.clone()).and_then(|part| part.find(word));
        if let Some(at) = inside {
            return span.start + at..span.start + at + word.len();
        }
        match self.text.get(..span.end).and_then(|part| part.rfind(word)) {
            Some(at) => at..at + word.len(),
            None => span.clone(),
        }
    }

    /// Byte of a line and column.
    fn offset(&self, position: Position) -> usize {
        let mut offset = 0;
        for (number, line) in self.text.split_inclusive('\n').enumerate() {
            if number + 1 == position.line {
                let column = position.col.saturating_sub(1);
                let within = line
                    .char_indices()
                    .nth(column)
                    .map_or(line.len(), |(at, _)| at);
                return offset + within;
            }
            offset += line.len();
        }
        self.text.len()
    }

    fn hint(&self, error: &ron::Error, start: usize) -> Option<String> {
        use ron::Error;
        let rest = self.text.get(start..).unwrap_or_default().trim_start();
        match error {
            Error::ExpectedComma | Error::ExpectedStructLikeEnd | Error::ExpectedMapEnd
                if rest.starts_with(|c: char| c.is_alphabetic() || c == '%') =>
            {
                Some(
                    "a quantity is written in quotes: \"16 g\"; entries are separated by commas"
                        .to_owned(),
                )
            }
            Error::ExpectedComma => Some("entries are separated by commas".to_owned()),
            Error::ExpectedMap => {
                Some("named entries stand in braces: { \"name\": (...) }".to_owned())
            }
            Error::ExpectedStructLike | Error::ExpectedNamedStructLike(_) => {
                Some("a section stands in parentheses: (field: \"value\", ...)".to_owned())
            }
            Error::Eof => Some("a closing bracket, brace or quote is missing".to_owned()),
            _ => None,
        }
    }
}

fn bare(name: &str, problem: Problem) -> DesignError {
    DesignError::new(problem, None, name, &Arc::from(""), Vec::new())
}

fn lower_first(message: &str) -> String {
    let mut characters = message.chars();
    match characters.next() {
        Some(first) => first.to_lowercase().chain(characters).collect(),
        None => String::new(),
    }
}

/// The field that a path is written in: "nose.pins.0.strength#2" is the second pin of that entry.
pub(super) fn field_of(path: &str) -> &str {
    path.split('#').next().unwrap_or(path)
}
