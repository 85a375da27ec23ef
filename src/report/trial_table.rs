//! A table of trials as a file: written as they come, read back to go on or to put slices together.
//!
//! The first line is a comment that says which campaign the trials belong to, the second names the
//! columns; every number is in SI and reads back to the same bits.

use std::io::{BufRead, Read};

use serde::{Deserialize, Serialize};

use crate::statistics::SamplingMethod;
use crate::study::{CriterionKind, Quantity, Record, TrialVerdict};

use super::csv;

/// Start of the first line.
const MARK: &str = "# coldkick trials ";
/// Version of the layout.
const LAYOUT: u32 = 1;
/// Columns before the quantities.
const LEADING: [&str; 3] = ["trial", "verdict", "first_failed"];

/// Which campaign the trials of a file belong to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TrialTableHeader {
    /// Version of the layout of the file.
    pub layout: u32,
    /// Version of the program that computed the trials.
    pub version: String,
    /// Name of the design.
    pub design: String,
    /// Fingerprint of its text with all changes made.
    pub fingerprint: String,
    /// Seed of the draws.
    pub seed: u64,
    /// How they are made.
    pub sampler: SamplingMethod,
    /// Trials of the whole campaign.
    pub trials: u64,
    /// Independent replicates they are dealt to.
    pub replicates: u32,
    /// Which slice of how many, counted from 1.
    pub slice: (u64, u64),
    /// Criteria by name, in the order of a shot.
    pub criteria: Vec<String>,
    /// Inputs by their path in the design.
    pub inputs: Vec<String>,
}

impl TrialTableHeader {
    /// The layout and program version of this build.
    #[must_use]
    pub fn current() -> (u32, String) {
        (LAYOUT, env!("CARGO_PKG_VERSION").to_owned())
    }

    /// Whether two files belong to one campaign, whatever their slices.
    #[must_use]
    pub fn same_campaign(&self, other: &Self) -> bool {
        let whole = |header: &Self| Self {
            slice: (1, 1),
            ..header.clone()
        };
        whole(self) == whole(other)
    }

    /// Trials of the slice: first, and one past the last.
    #[must_use]
    pub fn range(&self) -> std::ops::Range<u64> {
        let (number, count) = self.slice;
        slice_range(self.trials, number, count)
    }

    /// The criteria.
    ///
    /// # Errors
    /// [`TrialTableError::Header`] for a name this program does not know.
    pub fn kinds(&self) -> Result<Vec<CriterionKind>, TrialTableError> {
        self.criteria
            .iter()
            .map(|name| {
                CriterionKind::from_name(name).ok_or_else(|| TrialTableError::Header {
                    reason: format!("it names a criterion `{name}` that is not known"),
                })
            })
            .collect()
    }

    /// The two lines a file starts with.
    ///
    /// # Errors
    /// [`TrialTableError::Json`] if the first cannot be serialised.
    pub fn lines(&self) -> Result<String, TrialTableError> {
        let mut columns: Vec<String> = LEADING.iter().map(|name| (*name).to_owned()).collect();
        columns.extend(Quantity::ALL.iter().map(|q| q.name().to_owned()));
        columns.extend(self.criteria.iter().map(|name| format!("margin.{name}")));
        columns.extend(self.inputs.iter().map(|name| format!("input.{name}")));
        columns.push("error".to_owned());
        let json = serde_json::to_string(self)?;
        Ok(format!("{MARK}{json}\n{}", csv::table([columns])?))
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
        let (verdict, first) = match record.verdict {
            TrialVerdict::Success => ("success", None),
            TrialVerdict::Failure(first) => ("failure", self.criteria.get(first)),
            TrialVerdict::NotComputed => ("not computed", None),
        };
        let mut row = vec![
            record.index.to_string(),
            verdict.to_owned(),
            first.cloned().unwrap_or_default(),
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

/// Trials of slice `number` (from 1) of `count`: contiguous, and as equal as can be.
#[must_use]
pub fn slice_range(trials: u64, number: u64, count: u64) -> std::ops::Range<u64> {
    let cut = |part: u64| {
        let wide = u128::from(trials) * u128::from(part) / u128::from(count.max(1));
        u64::try_from(wide).unwrap_or(trials)
    };
    cut(number.saturating_sub(1))..cut(number)
}

/// Why a table of trials cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TrialTableError {
    /// The first line is not what it should be.
    #[error("this is no table of trials: {reason}")]
    Header {
        /// What is wrong.
        reason: String,
    },
    /// A line that cannot be read.
    #[error("line {line}: {reason}")]
    Line {
        /// Line, counted from 1.
        line: u64,
        /// What is wrong.
        reason: String,
    },
    /// The file could not be read.
    #[error("it cannot be read")]
    Read(#[from] std::io::Error),
    /// A table could not be written or read.
    #[error("the table is broken")]
    Table(#[from] ::csv::Error),
    /// A header could not be written.
    #[error("the header could not be written")]
    Json(#[from] serde_json::Error),
}

/// Trials read back, one by one.
pub struct TrialTable<R> {
    header: TrialTableHeader,
    rows: ::csv::Reader<R>,
    row: ::csv::StringRecord,
}

impl<R: BufRead> TrialTable<R> {
    /// Reads the first two lines.
    ///
    /// # Errors
    /// [`TrialTableError`] for anything that is not such a table.
    pub fn open(mut source: R) -> Result<Self, TrialTableError> {
        let header_error = |reason: &str| TrialTableError::Header {
            reason: reason.to_owned(),
        };
        // A first line of a file of any other kind may be very long.
        let mut first = Vec::new();
        Read::by_ref(&mut source)
            .take(1 << 20)
            .read_until(b'\n', &mut first)?;
        let first = String::from_utf8_lossy(&first);
        let json = first
            .strip_prefix(MARK)
            .ok_or_else(|| header_error("its first line does not say so"))?;
        let header: TrialTableHeader = serde_json::from_str(json.trim_end())
            .map_err(|error| header_error(&format!("its first line is broken ({error})")))?;
        if header.layout != LAYOUT {
            return Err(header_error("it was written by another version"));
        }
        let (number, count) = header.slice;
        if number == 0 || number > count {
            return Err(header_error("its first line names a slice that is none"));
        }
        let mut rows = ::csv::ReaderBuilder::new().from_reader(source);
        let columns = rows.headers()?.len();
        let expected =
            LEADING.len() + Quantity::ALL.len() + header.criteria.len() + header.inputs.len() + 1;
        if columns != expected {
            return Err(header_error(&format!(
                "{columns} columns where {expected} belong"
            )));
        }
        Ok(Self {
            header,
            rows,
            row: ::csv::StringRecord::new(),
        })
    }

    /// Which campaign the trials belong to.
    #[must_use]
    pub fn header(&self) -> &TrialTableHeader {
        &self.header
    }

    fn parse(&self) -> Result<Record, String> {
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
        let verdict = match text(1) {
            "success" => TrialVerdict::Success,
            "not computed" => TrialVerdict::NotComputed,
            "failure" => self
                .header
                .criteria
                .iter()
                .position(|name| name == text(2))
                .map(TrialVerdict::Failure)
                .ok_or_else(|| format!("`{}` is none of the criteria", text(2)))?,
            other => return Err(format!("`{other}` is not a verdict")),
        };
        let mut column = LEADING.len();
        let mut quantities = [None; Quantity::ALL.len()];
        for slot in &mut quantities {
            *slot = number(column)?;
            column += 1;
        }
        let mut margins = Vec::with_capacity(self.header.criteria.len());
        for _ in &self.header.criteria {
            margins.push(number(column)?);
            column += 1;
        }
        if verdict == TrialVerdict::NotComputed {
            margins.clear();
        }
        let mut values = Vec::with_capacity(self.header.inputs.len());
        for name in &self.header.inputs {
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
}

impl<R: BufRead> Iterator for TrialTable<R> {
    type Item = Result<Record, TrialTableError>;

    fn next(&mut self) -> Option<Self::Item> {
        // The first line went before this reader began to count.
        let line = |position: &::csv::Position| position.line() + 1;
        let mut row = std::mem::take(&mut self.row);
        let read = self.rows.read_record(&mut row);
        self.row = row;
        match read {
            Ok(false) => None,
            Ok(true) => Some(self.parse().map_err(|reason| TrialTableError::Line {
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
