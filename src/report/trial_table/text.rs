//! Trials as text: a first line that says which campaign they belong to, then CSV.

use std::io::{BufRead, Read};

use super::{LEADING, TrialTableError, TrialTableHeader};
use crate::report::csv;
use crate::study::{Quantity, Record, TrialVerdict};

/// Start of the first line.
const MARK: &str = "# coldkick trials ";
/// Longest first line looked at: of a file of any other kind it may be very long.
const LONGEST_FIRST_LINE: u64 = 1 << 20;

impl TrialTableHeader {
    /// The two lines a file of text starts with.
    ///
    /// # Errors
    /// [`TrialTableError::Json`] if the first cannot be serialised.
    pub fn lines(&self) -> Result<String, TrialTableError> {
        let json = serde_json::to_string(self)?;
        Ok(format!("{MARK}{json}\n{}", csv::table([self.columns()])?))
    }

    /// Some trials as lines.
    ///
    /// # Errors
    /// [`TrialTableError::Table`] if they cannot be written.
    pub fn rows(&self, records: &[Record]) -> Result<String, TrialTableError> {
        Ok(csv::table(records.iter().map(|record| self.row(record)))?)
    }

    fn row(&self, record: &Record) -> Vec<String> {
        let number = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
        let (verdict, first) = self.words(record.verdict);
        let mut row = vec![
            record.index.to_string(),
            verdict.to_owned(),
            first.unwrap_or_default().to_owned(),
        ];
        row.extend(record.quantities.iter().map(|value| number(*value)));
        row.extend(
            (0..self.criteria.len())
                .map(|place| number(record.margins.get(place).copied().flatten())),
        );
        row.extend(record.values.iter().map(|value| value.to_string()));
        row.push(record.error.clone());
        row
    }
}

/// Trials read back from text.
pub(super) struct TextTrials<R> {
    rows: ::csv::Reader<R>,
    row: ::csv::StringRecord,
}

impl<R: BufRead> TextTrials<R> {
    /// Reads the first two lines.
    ///
    /// # Errors
    /// [`TrialTableError`] for anything that is not such a table.
    pub fn open(mut source: R) -> Result<(TrialTableHeader, Self), TrialTableError> {
        let mut first = Vec::new();
        Read::by_ref(&mut source)
            .take(LONGEST_FIRST_LINE)
            .read_until(b'\n', &mut first)?;
        let first = String::from_utf8_lossy(&first);
        let json = first
            .strip_prefix(MARK)
            .ok_or_else(|| TrialTableError::Header {
                reason: "its first line does not say so".to_owned(),
            })?;
        let header = TrialTableHeader::parse(json.trim_end())?;
        let mut rows = ::csv::ReaderBuilder::new().from_reader(source);
        header.check_columns(rows.headers()?.len())?;
        let row = ::csv::StringRecord::new();
        Ok((header, Self { rows, row }))
    }

    fn parse(&self, header: &TrialTableHeader) -> Result<Record, String> {
        let text = |column: usize| self.row.get(column).unwrap_or_default();
        let number = |column: usize| -> Result<Option<f64>, String> {
            let cell = text(column);
            if cell.is_empty() {
                return Ok(None);
            }
            cell.parse()
                .map(Some)
                .map_err(|_| format!("`{cell}` is not a number"))
        };
        let index = text(0)
            .parse()
            .map_err(|_| format!("`{}` is not the number of a trial", text(0)))?;
        let verdict = header.verdict(text(1), text(2))?;
        let mut column = LEADING.len();
        let mut quantities = [None; Quantity::ALL.len()];
        for slot in &mut quantities {
            *slot = number(column)?;
            column += 1;
        }
        let mut margins = Vec::with_capacity(header.criteria.len());
        for _ in &header.criteria {
            margins.push(number(column)?);
            column += 1;
        }
        if verdict == TrialVerdict::NotComputed {
            margins.clear();
        }
        let mut values = Vec::with_capacity(header.inputs.len());
        for name in &header.inputs {
            values.push(number(column)?.ok_or_else(|| format!("no value of {name}"))?);
            column += 1;
        }
        Ok(Record {
            index,
            verdict,
            quantities,
            margins,
            values,
            error: text(column).to_owned(),
        })
    }

    /// The next trial.
    pub fn next(&mut self, header: &TrialTableHeader) -> Option<Result<Record, TrialTableError>> {
        // The first line went before this reader began to count.
        let line = |position: &::csv::Position| position.line() + 1;
        let mut row = std::mem::take(&mut self.row);
        let read = self.rows.read_record(&mut row);
        self.row = row;
        match read {
            Ok(false) => None,
            Ok(true) => Some(self.parse(header).map_err(|reason| TrialTableError::Line {
                line: self.row.position().map_or(0, line),
                reason,
            })),
            Err(error) => {
                let at = error.position().map_or(0, line);
                Some(Err(TrialTableError::Line {
                    line: at,
                    reason: "it has not as many columns as the table".to_owned(),
                }))
            }
        }
    }
}
