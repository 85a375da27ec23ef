//! Changing one value of a design by its path, leaving everything else as written.
//!
//! Serves `--set path=value` and every sweep over a field.

use super::document::Document;
use super::error::{DesignError, Problem};
use super::scan::{Kind, Node, scan};

/// Replaces or adds the value at a dotted path such as `vessels.cartridge.temperature`.
///
/// A value is put in quotes unless it replaces a section, a switch or a bare word and is
/// itself well-formed RON. A field that is not written yet is added to its section. The
/// result is well-formed, but only [`Design::parse`](super::Design::parse) says whether the
/// value makes sense.
///
/// # Errors
/// A [`DesignError`] when the text is not a design or has no such field.
///
/// ```
/// use coldkick::design::edit::set;
/// let text = r#"(name: "x", vessels: {"bay": (kind: "bay", volume: "1 L")},
///                site: (mode: "bench", pressure: "1 bara", temperature: "20 degC"))"#;
/// let cold = set("x.ron", text, "site.temperature", "-6 degC").unwrap();
/// assert!(cold.contains(r#"temperature: "-6 degC""#));
/// ```
pub fn set(name: &str, text: &str, path: &str, value: &str) -> Result<String, DesignError> {
    let document = Document::from_text(name, text)?;
    let before = document.sections();
    if document.tree.is_none() {
        before?;
        return Err(document.error_at(path, no_such_field(&document, path)));
    }
    let path = path.trim();
    let changed = write(&document, path, value)?;
    if before.is_err() {
        // Perhaps the change mends it; the reading of the design says what does not fit.
        return Ok(changed);
    }
    // A name the section does not know is a slip in the path, not in the file.
    match Document::from_text(name, &changed)?.sections() {
        Ok(_) => Ok(changed),
        Err(error)
            if document
                .tree
                .as_ref()
                .is_some_and(|tree| tree.find(path).is_none()) =>
        {
            Err(match error.problem() {
                Problem::UnknownName { found, known } => {
                    let problem = Problem::NoSuchField {
                        path: path.to_owned(),
                        missing: found.clone(),
                        known: known.clone(),
                    };
                    document.error_at(path, problem)
                }
                _ => document.error_at(path, no_such_field(&document, path)),
            })
        }
        // A value that does not fit is for the reading of the design to say.
        Err(_) => Ok(changed),
    }
}

/// Replaces or adds a value like [`set`], without asking whether the result is a design.
pub(super) fn write(document: &Document, path: &str, value: &str) -> Result<String, DesignError> {
    let text: &str = &document.text;
    let no_such_field = || document.error_at(path, no_such_field(document, path));
    let Some(tree) = &document.tree else {
        return Err(no_such_field());
    };
    if path.is_empty() || path.split('.').any(|segment| !is_name(segment)) {
        return Err(no_such_field());
    }
    if let Some(node) = tree.find(path) {
        let (span, written) = replacement(node, value);
        return Ok(splice(text, span, &written));
    }
    let (section, depth) = tree.nearest(path);
    let missing: Vec<&str> = path.split('.').skip(depth).collect();
    let (at, written) = insertion(section, text, &missing, value).ok_or_else(no_such_field)?;
    Ok(splice(text, at..at, &written))
}

/// Adds an entry to a section, `entry` being well-formed RON of its own.
///
/// # Errors
/// A [`DesignError`] when the text is not a design, has no such section, or is none any more with
/// the entry in it.
pub fn add(
    name: &str,
    text: &str,
    section: &str,
    key: &str,
    entry: &str,
) -> Result<String, DesignError> {
    let document = Document::from_text(name, text)?;
    let text: &str = &document.text;
    let missing = || document.error_at(section, no_such_field(&document, section));
    let node = document
        .tree
        .as_ref()
        .and_then(|tree| tree.find(section))
        .ok_or_else(missing)?;
    let keyed = match &node.kind {
        Kind::Map(_) => format!("{key:?}: {entry}"),
        _ => format!("{key}: {entry}"),
    };
    let (at, written) = place(node, text, keyed).ok_or_else(missing)?;
    let changed = splice(text, at..at, &written);
    Document::from_text(name, &changed)?.sections()?;
    Ok(changed)
}

/// The value written at a path, without its quotes.
#[must_use]
pub fn get(text: &str, path: &str) -> Option<String> {
    let tree = scan(text)?;
    let node = tree.find(path)?;
    let written = text.get(node.span.clone())?;
    Some(ron::from_str::<String>(written).unwrap_or_else(|_| written.to_owned()))
}

/// Takes a field or entry out, with the comment lines right above it; a field that is not
/// written stays so.
///
/// # Errors
/// A [`DesignError`] when the text is not RON.
pub(super) fn remove(name: &str, text: &str, path: &str) -> Result<String, DesignError> {
    let document = Document::from_text(name, text)?;
    let Some(tree) = &document.tree else {
        return Err(document.error_at(path, no_such_field(&document, path)));
    };
    let Some(entry) = tree.entry(path) else {
        return Ok(document.text.to_string());
    };
    let text: &str = &document.text;
    let end = entry.value.span.end;
    let rest = text.get(end..).unwrap_or_default();
    let blank = rest.len() - rest.trim_start().len();
    let comma = rest.trim_start().starts_with(',');
    let end = if comma { end + blank + 1 } else { end };
    let mut start = entry.key_span.start;
    while let Some(line) = line_above(text, start) {
        start = line;
    }
    Ok(splice(text, start..end, ""))
}

/// Keeps the items of a list whose text is wanted; a list that is left empty goes, one that is not written stays so.
///
/// # Errors
/// A [`DesignError`] when the text is not RON.
pub(super) fn retain(
    name: &str,
    text: &str,
    path: &str,
    wanted: impl Fn(&str) -> bool,
) -> Result<String, DesignError> {
    let document = Document::from_text(name, text)?;
    let Some(Kind::List(items)) = document
        .tree
        .as_ref()
        .and_then(|tree| tree.find(path))
        .map(|node| &node.kind)
    else {
        return Ok(document.text.to_string());
    };
    let kept: Vec<&str> = items
        .iter()
        .filter_map(|item| document.text.get(item.span.clone()))
        .filter(|item| wanted(item))
        .collect();
    match kept.len() {
        0 => remove(name, text, path),
        all if all == items.len() => Ok(document.text.to_string()),
        _ => write(&document, path, &format!("[{}]", kept.join(", "))),
    }
}

/// Start of the comment line right above a place that starts its own line.
fn line_above(text: &str, at: usize) -> Option<usize> {
    let before = text.get(..at)?;
    let indent = before.trim_end_matches([' ', '\t']).strip_suffix('\n')?;
    let line = indent.rfind('\n').map_or(0, |end| end + 1);
    let comment = indent.get(line..)?;
    let first = comment.len() - comment.trim_start().len();
    comment
        .trim_start()
        .starts_with("//")
        .then_some(line + first)
}

/// Writes a named entry of a map once more under another name, right behind it.
///
/// # Errors
/// A [`DesignError`] when there is no such entry.
pub(super) fn copy_entry(
    name: &str,
    text: &str,
    path: &str,
    copy: &str,
) -> Result<String, DesignError> {
    let document = Document::from_text(name, text)?;
    let entry = document.tree.as_ref().and_then(|tree| tree.entry(path));
    let Some(entry) = entry else {
        return Err(document.error_at(path, no_such_field(&document, path)));
    };
    let text: &str = &document.text;
    let value = text.get(entry.value.span.clone()).unwrap_or_default();
    let end = entry.value.span.end;
    Ok(splice(
        text,
        end..end,
        &format!(",\n        {copy:?}: {value}"),
    ))
}

/// The text of a value as written, quotes and brackets included.
pub(super) fn raw<'t>(tree: &Node, text: &'t str, path: &str) -> Option<&'t str> {
    tree.find(path).and_then(|node| text.get(node.span.clone()))
}

fn is_name(segment: &str) -> bool {
    !segment.is_empty()
        && segment
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '-'))
}

fn no_such_field(document: &Document, path: &str) -> Problem {
    let (known, depth) = document.tree.as_ref().map_or((Vec::new(), 0), |tree| {
        let (node, depth) = tree.nearest(path);
        let known = node.entries().iter().map(|entry| entry.key.clone());
        (known.collect(), depth)
    });
    Problem::NoSuchField {
        path: path.to_owned(),
        missing: path.split('.').nth(depth).unwrap_or_default().to_owned(),
        known,
    }
}

fn quoted(value: &str) -> String {
    format!("{value:?}")
}

/// What to write where, for a value that is there already.
fn replacement(node: &Node, value: &str) -> (std::ops::Range<usize>, String) {
    let raw = || scan(value).map_or_else(|| quoted(value), |_| value.to_owned());
    match &node.kind {
        Kind::Text => (node.span.clone(), quoted(value)),
        // `coefficient("12 W/(m2 K)")` keeps its wrapper for a plain value.
        Kind::Items(items) => match items.as_slice() {
            [only] if only.kind == Kind::Text && scan(value).is_none() => {
                (only.span.clone(), quoted(value))
            }
            _ => (node.span.clone(), raw()),
        },
        _ => (node.span.clone(), raw()),
    }
}

/// Where and how a field that is not written yet is added to its section.
fn insertion(section: &Node, text: &str, missing: &[&str], value: &str) -> Option<(usize, String)> {
    let (first, rest) = missing.split_first()?;
    let mut written = match value.trim() {
        "true" | "false" => value.trim().to_owned(),
        _ => quoted(value),
    };
    for name in rest.iter().rev() {
        written = format!("({name}: {written})");
    }
    let keyed = match &section.kind {
        Kind::Map(_) => format!("{first:?}: {written}"),
        Kind::Fields(_) => format!("{first}: {written}"),
        Kind::Items(items) if items.is_empty() => format!("{first}: {written}"),
        _ => return None,
    };
    place(section, text, keyed)
}

/// Where an entry goes: after the last, or just inside an empty section.
fn place(section: &Node, text: &str, keyed: String) -> Option<(usize, String)> {
    match section.entries().last() {
        Some(last) => Some((last.value.span.end, format!(", {keyed}"))),
        None => {
            let inside = text.get(section.span.clone())?;
            let open = inside.find(['(', '{'])?;
            Some((section.span.start + open + 1, keyed))
        }
    }
}

fn splice(text: &str, span: std::ops::Range<usize>, written: &str) -> String {
    let before = text.get(..span.start).unwrap_or_default();
    let after = text.get(span.end..).unwrap_or_default();
    format!("{before}{written}{after}")
}
