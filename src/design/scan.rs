//! Where everything in a design file stands: a light scan of RON into a tree of spans.
//!
//! The `ron` crate reads the values; this tree answers what it cannot: at which byte a
//! field such as `vessels.cartridge.charge` is written, and which names occur twice.

use std::ops::Range;

/// Deepest nesting followed; the `ron` crate stops at 128.
const DEEPEST: usize = 64;

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Bytes of the value in the text.
    pub span: Range<usize>,
    /// What it is.
    pub kind: Kind,
}

/// Shapes of values.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// A string.
    Text,
    /// A bare word, number, boolean or character.
    Word,
    /// `name(field: value, ...)` or without the name.
    Fields(Vec<Entry>),
    /// `name(value, ...)` or without the name.
    Items(Vec<Node>),
    /// `[value, ...]`.
    List(Vec<Node>),
    /// `{ "key": value, ... }`.
    Map(Vec<Entry>),
}

/// A named value.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Field name or map key.
    pub key: String,
    /// Where the key stands.
    pub key_span: Range<usize>,
    /// Its value.
    pub value: Node,
}

impl Node {
    /// The node at a dotted path ("vessels.cartridge.charge"; lists by number from 0).
    #[must_use]
    pub fn find(&self, path: &str) -> Option<&Node> {
        path.split('.').try_fold(self, Node::child)
    }

    /// The deepest node that exists along a path, with how many segments it took.
    #[must_use]
    pub fn nearest(&self, path: &str) -> (&Node, usize) {
        let mut node = self;
        let mut depth = 0;
        for segment in path.split('.') {
            let Some(next) = node.child(segment) else {
                break;
            };
            node = next;
            depth += 1;
        }
        (node, depth)
    }

    /// The entry (key and value) at a dotted path.
    #[must_use]
    pub fn entry(&self, path: &str) -> Option<&Entry> {
        let (parent, last) = match path.rsplit_once('.') {
            Some((parent, last)) => (self.find(parent)?, last),
            None => (self, path),
        };
        parent.entries().iter().find(|entry| entry.key == last)
    }

    /// Named values directly inside, looking through a single wrapper such as `Some(...)`.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        match &self.kind {
            Kind::Fields(entries) | Kind::Map(entries) => entries,
            Kind::Items(items) => match items.as_slice() {
                [only] => only.entries(),
                _ => &[],
            },
            _ => &[],
        }
    }

    fn child(&self, segment: &str) -> Option<&Node> {
        match &self.kind {
            Kind::Fields(entries) | Kind::Map(entries) => entries
                .iter()
                .find(|entry| entry.key == segment)
                .map(|entry| &entry.value),
            Kind::List(items) => items.get(segment.parse::<usize>().ok()?),
            Kind::Items(items) => match items.as_slice() {
                [only] => only.child(segment),
                _ => items.get(segment.parse::<usize>().ok()?),
            },
            Kind::Text | Kind::Word => None,
        }
    }

    /// The innermost path whose entry contains a byte.
    #[must_use]
    pub fn path_at(&self, offset: usize) -> String {
        let mut path: Vec<String> = Vec::new();
        let mut node = self;
        loop {
            let next = match &node.kind {
                Kind::Fields(entries) | Kind::Map(entries) => entries.iter().find_map(|entry| {
                    let inside = entry.key_span.start <= offset && offset <= entry.value.span.end;
                    inside.then_some((Some(entry.key.clone()), &entry.value))
                }),
                Kind::List(items) => items.iter().enumerate().find_map(|(index, item)| {
                    let inside = item.span.start <= offset && offset <= item.span.end;
                    inside.then_some((Some(index.to_string()), item))
                }),
                Kind::Items(items) => items
                    .iter()
                    .find(|item| item.span.start <= offset && offset <= item.span.end)
                    .map(|item| (None, item)),
                Kind::Text | Kind::Word => None,
            };
            let Some((segment, inner)) = next else { break };
            path.extend(segment);
            node = inner;
        }
        path.join(".")
    }

    /// The path of the section whose last byte, its closing parenthesis, stands at an offset.
    #[must_use]
    pub fn section_closing_at(&self, offset: usize) -> Option<String> {
        let mut path = Vec::new();
        self.closing_below(offset, &mut path)
            .then(|| path.join("."))
    }

    fn closing_below(&self, offset: usize, path: &mut Vec<String>) -> bool {
        let is_section = matches!(&self.kind, Kind::Fields(_) | Kind::Items(_));
        if is_section && self.span.end == offset + 1 {
            return true;
        }
        let mut search = |segment: Option<String>, node: &Node| {
            let depth = path.len();
            path.extend(segment);
            let found = node.closing_below(offset, path);
            if !found {
                path.truncate(depth);
            }
            found
        };
        match &self.kind {
            Kind::Fields(entries) | Kind::Map(entries) => entries
                .iter()
                .any(|entry| search(Some(entry.key.clone()), &entry.value)),
            Kind::List(items) => items
                .iter()
                .enumerate()
                .any(|(index, item)| search(Some(index.to_string()), item)),
            Kind::Items(items) => items.iter().any(|item| search(None, item)),
            Kind::Text | Kind::Word => false,
        }
    }

    /// The first name written twice in one place: path, first and second key.
    #[must_use]
    pub fn duplicate(&self) -> Option<(String, Range<usize>, Range<usize>)> {
        self.duplicate_below("")
    }

    fn duplicate_below(&self, path: &str) -> Option<(String, Range<usize>, Range<usize>)> {
        let join = |segment: &str| {
            if path.is_empty() {
                segment.to_owned()
            } else {
                format!("{path}.{segment}")
            }
        };
        match &self.kind {
            Kind::Fields(entries) | Kind::Map(entries) => {
                let mut seen = std::collections::HashMap::new();
                for entry in entries {
                    if let Some(first) = seen.insert(entry.key.as_str(), entry) {
                        let spans = (first.key_span.clone(), entry.key_span.clone());
                        return Some((join(&entry.key), spans.0, spans.1));
                    }
                }
                entries
                    .iter()
                    .find_map(|entry| entry.value.duplicate_below(&join(&entry.key)))
            }
            Kind::List(items) => items
                .iter()
                .enumerate()
                .find_map(|(index, item)| item.duplicate_below(&join(&index.to_string()))),
            Kind::Items(items) => items.iter().find_map(|item| item.duplicate_below(path)),
            Kind::Text | Kind::Word => None,
        }
    }
}

/// Scans a whole file; `None` where it is not RON (the `ron` crate then says why).
#[must_use]
pub fn scan(text: &str) -> Option<Node> {
    let mut scanner = Scanner { text, at: 0 };
    scanner.skip_blank()?;
    while scanner.rest().starts_with("#!") {
        let end = scanner.rest().find(']')?;
        scanner.at += end + 1;
        scanner.skip_blank()?;
    }
    let node = scanner.value(0)?;
    scanner.skip_blank()?;
    scanner.rest().is_empty().then_some(node)
}

struct Scanner<'t> {
    text: &'t str,
    at: usize,
}

impl<'t> Scanner<'t> {
    fn rest(&self) -> &'t str {
        self.text.get(self.at..).unwrap_or_default()
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn take(&mut self, character: char) -> bool {
        let found = self.peek() == Some(character);
        if found {
            self.at += character.len_utf8();
        }
        found
    }

    /// Skips white space and comments; `None` for a comment that never ends.
    fn skip_blank(&mut self) -> Option<()> {
        loop {
            let rest = self.rest();
            let trimmed = rest.trim_start();
            self.at += rest.len() - trimmed.len();
            if trimmed.starts_with("//") {
                self.at += trimmed.find('\n').unwrap_or(trimmed.len());
            } else if trimmed.starts_with("/*") {
                self.skip_block_comment()?;
            } else {
                return Some(());
            }
        }
    }

    fn skip_block_comment(&mut self) -> Option<()> {
        let mut depth = 0_usize;
        loop {
            let rest = self.rest();
            if rest.starts_with("/*") {
                depth += 1;
                self.at += 2;
            } else if rest.starts_with("*/") {
                depth -= 1;
                self.at += 2;
                if depth == 0 {
                    return Some(());
                }
            } else {
                self.at += rest.chars().next()?.len_utf8();
            }
        }
    }

    fn value(&mut self, depth: usize) -> Option<Node> {
        if depth > DEEPEST {
            return None;
        }
        let start = self.at;
        let kind = match self.peek()? {
            '"' => {
                self.string()?;
                Kind::Text
            }
            '[' => {
                self.at += 1;
                Kind::List(self.items(']', depth)?)
            }
            '{' => {
                self.at += 1;
                Kind::Map(self.map_entries(depth)?)
            }
            '(' => self.parenthesis(depth)?,
            '\'' => {
                self.at += 1;
                let escaped = self.take('\\');
                self.at += self.peek()?.len_utf8();
                if escaped {
                    self.at += self.rest().find('\'')?;
                }
                if !self.take('\'') {
                    return None;
                }
                Kind::Word
            }
            'r' | 'b' if self.raw_string().is_some() => Kind::Text,
            _ => {
                if self.word().is_empty() {
                    return None;
                }
                let after_word = self.at;
                self.skip_blank()?;
                if self.peek() == Some('(') {
                    self.parenthesis(depth)?
                } else {
                    self.at = after_word;
                    Kind::Word
                }
            }
        };
        Some(Node {
            span: start..self.at,
            kind,
        })
    }

    fn word(&mut self) -> &'t str {
        let rest = self.rest();
        let length = rest
            .find(|c: char| !(c.is_alphanumeric() || matches!(c, '_' | '.' | '+' | '-' | '#')))
            .unwrap_or(rest.len());
        self.at += length;
        rest.get(..length).unwrap_or_default()
    }

    fn string(&mut self) -> Option<&'t str> {
        let start = self.at + 1;
        let mut escaped = false;
        for (offset, character) in self.text.get(start..)?.char_indices() {
            match character {
                _ if escaped => escaped = false,
                '\\' => escaped = true,
                '"' => {
                    self.at = start + offset + 1;
                    return self.text.get(start..start + offset);
                }
                _ => {}
            }
        }
        None
    }

    /// `r"..."`, `r#"..."#`, `b"..."`, `br"..."`; leaves the place unchanged if it is none.
    fn raw_string(&mut self) -> Option<()> {
        let rest = self.rest();
        let body = rest.strip_prefix("br").or_else(|| rest.strip_prefix('r'));
        if let Some(body) = body {
            let hashes = body.bytes().take_while(|byte| *byte == b'#').count();
            let inner = body.get(hashes..)?.strip_prefix('"')?;
            let close = format!("\"{}", "#".repeat(hashes));
            let end = inner.find(&close)?;
            self.at += rest.len() - inner.len() + end + close.len();
            return Some(());
        }
        if rest.starts_with("b\"") {
            self.at += 1;
            self.string()?;
            return Some(());
        }
        None
    }

    fn parenthesis(&mut self, depth: usize) -> Option<Kind> {
        self.at += 1;
        self.skip_blank()?;
        // A field starts with a bare word and a colon.
        let start = self.at;
        let named = !self.word().is_empty() && self.skip_blank().is_some() && self.take(':');
        self.at = start;
        if named {
            let mut entries = Vec::new();
            loop {
                self.skip_blank()?;
                if self.take(')') {
                    return Some(Kind::Fields(entries));
                }
                let key_start = self.at;
                let key = self.word().trim_start_matches("r#").to_owned();
                let key_span = key_start..self.at;
                if key.is_empty() {
                    return None;
                }
                entries.push(self.entry(key, key_span, depth)?);
                self.skip_blank()?;
                if !self.take(',') && self.peek() != Some(')') {
                    return None;
                }
            }
        }
        Some(Kind::Items(self.items(')', depth)?))
    }

    fn map_entries(&mut self, depth: usize) -> Option<Vec<Entry>> {
        let mut entries = Vec::new();
        loop {
            self.skip_blank()?;
            if self.take('}') {
                return Some(entries);
            }
            let key_start = self.at;
            let key = match self.peek()? {
                '"' => self.string()?.to_owned(),
                _ => self.word().to_owned(),
            };
            let key_span = key_start..self.at;
            if key_span.is_empty() {
                return None;
            }
            entries.push(self.entry(key, key_span, depth)?);
            self.skip_blank()?;
            if !self.take(',') && self.peek() != Some('}') {
                return None;
            }
        }
    }

    fn entry(&mut self, key: String, key_span: Range<usize>, depth: usize) -> Option<Entry> {
        self.skip_blank()?;
        if !self.take(':') {
            return None;
        }
        self.skip_blank()?;
        let value = self.value(depth + 1)?;
        Some(Entry {
            key,
            key_span,
            value,
        })
    }

    fn items(&mut self, close: char, depth: usize) -> Option<Vec<Node>> {
        let mut items = Vec::new();
        loop {
            self.skip_blank()?;
            if self.take(close) {
                return Some(items);
            }
            items.push(self.value(depth + 1)?);
            self.skip_blank()?;
            if !self.take(',') && self.peek() != Some(close) {
                return None;
            }
        }
    }
}
