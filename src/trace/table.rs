//! From the text of a logger to columns of numbers.
//!
//! Delimiter and decimal mark are found from the lines themselves. What a sane person would
//! repair by hand is repaired and stated; what changes the meaning is an error with its line.

use super::error::TraceError;
use super::number::{Field, field};

/// Share of broken lines that may be left out.
const MOST_BROKEN: f64 = 0.01;
/// Lines looked at to find the delimiter.
const LOOK: usize = 200;

/// Columns of numbers with what was found and repaired on the way.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table {
    /// Headings; "column 1" and so on where there are none.
    pub headings: Vec<String>,
    /// Whether the file has headings of its own.
    pub named: bool,
    /// One per heading; NaN where a value is missing.
    pub columns: Vec<Vec<f64>>,
    /// Line of each row, from 1.
    pub lines: Vec<u32>,
    /// How the file is written, in words.
    pub form: String,
    /// What was repaired, in words.
    pub repairs: Vec<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Delimiter {
    Character(char),
    Space,
}

impl Delimiter {
    fn name(self) -> &'static str {
        match self {
            Delimiter::Character('\t') => "tabs",
            Delimiter::Character(';') => "semicolons",
            Delimiter::Character(',') => "commas",
            Delimiter::Character(_) => "bars",
            Delimiter::Space => "spaces",
        }
    }

    fn for_each(self, line: &str, mut take: impl FnMut(usize, &str)) -> usize {
        let mut count = 0;
        let mut one = |field: &str| {
            take(count, field);
            count += 1;
        };
        match self {
            // A quoted field may hold the delimiter.
            Delimiter::Character(c) if line.contains('"') => {
                let mut start = 0;
                let mut quoted = false;
                for (at, found) in line.char_indices() {
                    if found == '"' {
                        quoted = !quoted;
                    } else if found == c && !quoted {
                        one(line.get(start..at).unwrap_or(""));
                        start = at + c.len_utf8();
                    }
                }
                one(line.get(start..).unwrap_or(""));
            }
            Delimiter::Character(c) => line.split(c).for_each(&mut one),
            Delimiter::Space => line.split_whitespace().for_each(&mut one),
        }
        count
    }

    fn fields(self, line: &str) -> Vec<String> {
        let mut fields = Vec::new();
        self.for_each(line, |_, field| {
            fields.push(field.trim().trim_matches('"').trim().to_owned());
        });
        fields
    }
}

/// How a file is written.
#[derive(Debug, Clone, Copy)]
struct Form {
    delimiter: Delimiter,
    decimal_comma: bool,
    /// Columns that hold text, by bits: a note, a state, a date.
    text: u64,
}

impl Form {
    /// Numbers and fields of a line.
    fn count(self, line: &str) -> (usize, usize) {
        let mut numbers = 0;
        let fields = self.delimiter.for_each(line, |_, text| {
            if let Field::Number(_) = field(text, self.decimal_comma) {
                numbers += 1;
            }
        });
        (numbers, fields)
    }

    /// Whether a column, from zero, holds text.
    fn is_text(self, column: usize) -> bool {
        column < 64 && self.text >> column & 1 == 1
    }

    /// Whether a line is a row of data: but for columns of text there are numbers and missing values, two or
    /// more with a number among them.
    fn is_row(self, line: &str) -> bool {
        let (mut numbers, mut missing, mut text) = (0, 0, 0);
        self.delimiter
            .for_each(line, |column, part| match field(part, self.decimal_comma) {
                Field::Number(_) => numbers += 1,
                Field::Missing => missing += 1,
                Field::Text => text += usize::from(!self.is_text(column)),
            });
        numbers >= 1 && numbers + missing >= 2 && text == 0
    }

    /// The same form with those columns as text that hold it in most of the lines with two numbers or more.
    fn with_text<'a>(self, lines: impl Iterator<Item = &'a str>) -> Self {
        let mut counts = [0_usize; 64];
        let mut rows = 0;
        for line in lines.filter(|line| self.count(line).0 >= 2) {
            rows += 1;
            self.delimiter.for_each(line, |column, part| {
                if let (Field::Text, Some(count)) =
                    (field(part, self.decimal_comma), counts.get_mut(column))
                {
                    *count += 1;
                }
            });
        }
        let bits = counts.iter().enumerate();
        let text = bits.filter(|(_, count)| 2 * **count > rows);
        Self {
            text: text.fold(0, |all, (column, _)| all | 1 << column),
            ..self
        }
    }
}

fn is_comment(line: &str) -> bool {
    let line = line.trim_start();
    line.is_empty() || line.starts_with(['#', '%']) || line.starts_with("//")
}

/// The form in which most of the first lines are rows.
fn form_of(text: &str) -> Option<Form> {
    let candidates = [
        (Delimiter::Character('\t'), false),
        (Delimiter::Character('\t'), true),
        (Delimiter::Character(';'), false),
        (Delimiter::Character(';'), true),
        (Delimiter::Character(','), false),
        // Decimal commas in quotes.
        (Delimiter::Character(','), true),
        (Delimiter::Character('|'), false),
        (Delimiter::Space, false),
        (Delimiter::Space, true),
    ];
    let lines = || text.lines().filter(|line| !is_comment(line)).take(LOOK);
    let plain = candidates.map(|(delimiter, decimal_comma)| Form {
        delimiter,
        decimal_comma,
        text: 0,
    });
    let most_rows = |forms: &[Form]| {
        let mut best: Option<(usize, Form)> = None;
        for form in forms {
            let rows = lines().filter(|line| form.is_row(line)).count();
            if rows > best.as_ref().map_or(0, |(rows, _)| *rows) {
                best = Some((rows, *form));
            }
        }
        best.map(|(_, form)| form)
    };
    // Only where there is no row of numbers alone.
    most_rows(&plain).or_else(|| most_rows(&plain.map(|form| form.with_text(lines()))))
}

/// Fields that most of the first rows have; of two numbers as frequent, the one met first.
fn usual_width(text: &str, form: Form) -> Option<usize> {
    let mut widths: Vec<(usize, usize)> = Vec::new();
    let lines = text.lines().filter(|line| !is_comment(line)).take(LOOK);
    for line in lines.filter(|line| form.is_row(line)) {
        let (_, width) = form.count(line);
        match widths.iter_mut().find(|(known, _)| *known == width) {
            Some((_, rows)) => *rows += 1,
            None => widths.push((width, 1)),
        }
    }
    // Of equals the maximum is the last.
    let most = widths.iter().rev().max_by_key(|(_, rows)| *rows);
    most.map(|(width, _)| *width)
}

/// Lines left out, with the first of each sort.
#[derive(Debug, Default)]
struct Broken {
    ragged: Option<(usize, usize)>,
    text: Option<(usize, usize, String)>,
    count: usize,
}

/// Reads a table.
pub(super) fn read(file: &str, bytes: &[u8]) -> Result<Table, TraceError> {
    let name = || file.to_owned();
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(TraceError::Empty { file: name() });
    }
    if let Some(byte) = bytes.iter().position(|b| *b == 0) {
        return Err(TraceError::Binary { file: name(), byte });
    }
    let mut repairs = Vec::new();
    let text = String::from_utf8_lossy(bytes);
    if let std::borrow::Cow::Owned(_) = text {
        repairs.push("some characters are not UTF-8 and were replaced".to_owned());
    }
    let text = text.trim_start_matches('\u{feff}');
    // Lone carriage returns end lines on some old instruments.
    let converted;
    let text = if text.contains('\r') && !text.contains('\n') {
        converted = text.replace('\r', "\n");
        converted.as_str()
    } else {
        text
    };
    let form = form_of(text).ok_or_else(|| TraceError::NoData { file: name() })?;
    let mut header = Header::default();
    let mut lines = text.lines().enumerate();
    let mut first = None;
    for (number, line) in lines.by_ref() {
        if is_comment(line) {
            header.comment(line, form);
        } else if form.is_row(line) {
            first = Some((number, line));
            break;
        } else {
            header.line(line, form);
        }
    }
    let Some((first_number, first_line)) = first else {
        return Err(TraceError::NoData { file: name() });
    };
    let width = usual_width(text, form).unwrap_or_else(|| form.count(first_line).1);
    let (headings, named) = header.headings(width).map_err(|headings| {
        let points = first_line.contains('.');
        if form.delimiter == Delimiter::Character(',') && width == 2 * headings && !points {
            TraceError::DecimalCommas {
                file: name(),
                line: first_number + 1,
                fields: width,
                headings,
            }
        } else {
            TraceError::Ragged {
                file: name(),
                line: first_number + 1,
                found: width,
                expected: headings,
                broken: 1,
                rows: 1,
            }
        }
    })?;
    if header.skipped > 0 {
        repairs.push(format!(
            "{} lines before the headings skipped",
            header.skipped
        ));
    }
    for (column, heading) in headings.iter().enumerate() {
        if form.is_text(column) {
            repairs.push(format!("text in column `{heading}` left out"));
        }
    }
    // About as many rows as lines as long as the first: growing would copy them again and again.
    let rows = text.len() / (first_line.len() + 1) + 1;
    let mut columns: Vec<Vec<f64>> = (0..width).map(|_| Vec::with_capacity(rows)).collect();
    let mut row_lines: Vec<u32> = Vec::with_capacity(rows);
    let mut row = vec![f64::NAN; width];
    let mut broken = Broken::default();
    let mut last_broken = false;
    let rest = lines.filter(|(_, line)| !is_comment(line));
    for (number, line) in std::iter::once((first_number, first_line)).chain(rest) {
        let mut bad: Option<(usize, String)> = None;
        let found = form.delimiter.for_each(line, |index, text| {
            let value = match field(text, form.decimal_comma) {
                Field::Number(value) => value,
                Field::Missing => f64::NAN,
                Field::Text => {
                    if bad.is_none() && !form.is_text(index) {
                        bad = Some((index, text.trim().to_owned()));
                    }
                    f64::NAN
                }
            };
            if let Some(slot) = row.get_mut(index) {
                *slot = value;
            }
        });
        // A delimiter at the end of each line adds an empty field.
        let surplus = found == width + 1 && line.trim_end().ends_with([',', ';', '\t', '|']);
        last_broken = (found != width && !surplus) || bad.is_some();
        if last_broken {
            broken.count += 1;
            if let Some((index, text)) = bad {
                broken.text.get_or_insert((number + 1, index, text));
            } else {
                broken.ragged.get_or_insert((number + 1, found));
            }
            continue;
        }
        for (column, value) in columns.iter_mut().zip(&row) {
            column.push(*value);
        }
        row_lines.push(u32::try_from(number + 1).unwrap_or(u32::MAX));
    }
    let rows = row_lines.len() + broken.count;
    // A last line cut short when the power went is no defect of the rest.
    let excused = usize::from(last_broken);
    if (broken.count - excused) as f64 > MOST_BROKEN * rows as f64 {
        return Err(refuse(file, &broken, &headings, rows));
    }
    describe_broken(&broken, last_broken, &headings, &mut repairs);
    Ok(Table {
        headings,
        named,
        columns,
        lines: row_lines,
        form: format!(
            "{} rows, separated by {}, decimal {}",
            rows - broken.count,
            form.delimiter.name(),
            if form.decimal_comma { "comma" } else { "point" }
        ),
        repairs,
    })
}

fn refuse(file: &str, broken: &Broken, headings: &[String], rows: usize) -> TraceError {
    let file = file.to_owned();
    match (&broken.text, broken.ragged) {
        (Some((line, index, text)), ragged) if ragged.is_none_or(|(other, _)| *line < other) => {
            TraceError::NotANumber {
                file,
                line: *line,
                column: headings.get(*index).cloned().unwrap_or_default(),
                text: text.clone(),
                broken: broken.count,
                rows,
            }
        }
        (_, ragged) => {
            let (line, found) = ragged.unwrap_or((0, 0));
            TraceError::Ragged {
                file,
                line,
                found,
                expected: headings.len(),
                broken: broken.count,
                rows,
            }
        }
    }
}

fn describe_broken(
    broken: &Broken,
    last_broken: bool,
    headings: &[String],
    repairs: &mut Vec<String>,
) {
    if broken.count == 0 {
        return;
    }
    let mut causes = Vec::new();
    if let Some((line, index, text)) = &broken.text {
        let column = headings.get(*index).map_or("", String::as_str);
        causes.push(format!("`{text}` in column `{column}` at line {line}"));
    }
    if let Some((line, found)) = broken.ragged {
        causes.push(format!("{found} fields at line {line}"));
    }
    let end = if last_broken && broken.count == 1 {
        ", the last of the file"
    } else {
        ""
    };
    repairs.push(format!(
        "{} broken line(s) left out{end}: {}",
        broken.count,
        causes.join("; ")
    ));
}

/// Lines before the data.
#[derive(Debug, Default)]
struct Header {
    lines: Vec<Vec<String>>,
    commented: Option<Vec<String>>,
    skipped: usize,
}

impl Header {
    fn comment(&mut self, line: &str, form: Form) {
        let line = line.trim_start().trim_start_matches(['#', '%', '/']).trim();
        if !line.is_empty() {
            self.commented = Some(form.delimiter.fields(line));
        }
    }

    fn line(&mut self, line: &str, form: Form) {
        let fields = form.delimiter.fields(line);
        if let Delimiter::Space = form.delimiter {
            // Headings with spaces in them cannot be split by spaces: try wider gaps.
            let wide: Vec<String> = line
                .split("  ")
                .map(str::trim)
                .filter(|f| !f.is_empty())
                .map(str::to_owned)
                .collect();
            if wide.len() > 1 && wide.len() < fields.len() {
                self.lines.push(wide);
                return;
            }
        }
        self.lines.push(fields);
    }

    /// Headings for rows of `width` fields, a line of units joined in; the number of headings
    /// where they do not fit.
    fn headings(&mut self, width: usize) -> Result<(Vec<String>, bool), usize> {
        // A delimiter at the end of each line adds an empty heading.
        let fits = |line: &Vec<String>| {
            line.len() == width
                || (line.len() == width + 1 && line.last().is_some_and(String::is_empty))
        };
        let total = self.lines.len();
        if let Some(last) = self.lines.iter().rposition(fits) {
            let before = last
                .checked_sub(1)
                .filter(|i| self.lines.get(*i).is_some_and(fits));
            let units: Vec<String> = self.lines.get(last).cloned().unwrap_or_default();
            let unit_line = before.is_some() && units.iter().all(|u| super::heading::is_unit(u));
            let headings = match before.and_then(|i| self.lines.get(i)) {
                Some(names) if unit_line => names
                    .iter()
                    .zip(&units)
                    .map(|(name, unit)| join(name, unit))
                    .collect(),
                _ => units,
            };
            self.skipped = if unit_line { last - 1 } else { last } + (total - last - 1);
            return Ok((headings.into_iter().take(width).collect(), true));
        }
        if let Some(commented) = self.commented.take().filter(|line| fits(line)) {
            self.skipped = total;
            return Ok((commented, true));
        }
        match self.lines.last() {
            // One word alone is a title, not a heading.
            Some(line) if line.len() > 1 => Err(line.len()),
            _ => {
                self.skipped = total;
                Ok(((1..=width).map(|n| format!("column {n}")).collect(), false))
            }
        }
    }
}

fn join(name: &str, unit: &str) -> String {
    let unit = unit.trim_matches(|c| matches!(c, '[' | ']' | '(' | ')'));
    if unit.is_empty() {
        name.to_owned()
    } else {
        format!("{name} [{unit}]")
    }
}
