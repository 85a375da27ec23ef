//! A table of trials as a file: written as they come, read back to go on or to put slices together.
//!
//! Text or columns, the same table: it says which campaign the trials belong to and names its columns, every
//! number is in SI and reads back to the same bits.

mod checksum;
mod columnar;
mod text;

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};

use serde::{Deserialize, Serialize};

use crate::statistics::SamplingMethod;
use crate::study::{CriterionKind, Quantity, Record, TrialVerdict};

use columnar::ColumnarTrials;
pub use columnar::write_columnar;
use text::TextTrials;

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

    /// Names of the columns: the number of the trial and what became of it, what was found, margins, inputs, and why it
    /// was not computed.
    fn columns(&self) -> Vec<String> {
        let mut columns: Vec<String> = LEADING.iter().map(|name| (*name).to_owned()).collect();
        columns.extend(Quantity::ALL.iter().map(|q| q.name().to_owned()));
        columns.extend(self.criteria.iter().map(|name| format!("margin.{name}")));
        columns.extend(self.inputs.iter().map(|name| format!("input.{name}")));
        columns.push("error".to_owned());
        columns
    }

    /// A verdict in words: what became of a trial, and the criterion that failed first.
    fn words(&self, verdict: TrialVerdict) -> (&'static str, Option<&str>) {
        match verdict {
            TrialVerdict::Success => ("success", None),
            TrialVerdict::Failure(first) => {
                ("failure", self.criteria.get(first).map(String::as_str))
            }
            TrialVerdict::NotComputed => ("not computed", None),
        }
    }

    /// The verdict that [`words`](Self::words) tell.
    fn verdict(&self, word: &str, first: &str) -> Result<TrialVerdict, String> {
        match word {
            "success" => Ok(TrialVerdict::Success),
            "not computed" => Ok(TrialVerdict::NotComputed),
            "failure" => self
                .criteria
                .iter()
                .position(|name| name == first)
                .map(TrialVerdict::Failure)
                .ok_or_else(|| format!("`{first}` is none of the criteria")),
            other => Err(format!("`{other}` is not a verdict")),
        }
    }

    /// A header as a file keeps it.
    fn parse(json: &str) -> Result<Self, TrialTableError> {
        let error = |reason: String| TrialTableError::Header { reason };
        let header: Self = serde_json::from_str(json)
            .map_err(|cause| error(format!("what it says of its campaign is broken ({cause})")))?;
        if header.layout != LAYOUT {
            return Err(error("it was written by another version".to_owned()));
        }
        let (number, count) = header.slice;
        if number == 0 || number > count || count > header.trials {
            return Err(error("it names a slice that is none".to_owned()));
        }
        Ok(header)
    }

    /// The error of a table whose columns are not those of its campaign.
    fn check_columns(&self, found: usize) -> Result<(), TrialTableError> {
        let expected = self.columns().len();
        if found == expected {
            return Ok(());
        }
        let reason = format!("{found} columns where {expected} belong");
        Err(TrialTableError::Header { reason })
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
    /// A line of text that cannot be read.
    #[error("line {line}: {reason}")]
    Line {
        /// Line, counted from 1.
        line: u64,
        /// What is wrong.
        reason: String,
    },
    /// A row of a table in columns that cannot be read.
    #[error("row {row}: {reason}")]
    Row {
        /// Row, counted from 1.
        row: u64,
        /// What is wrong.
        reason: String,
    },
    /// The file could not be read.
    #[error("it cannot be read")]
    Read(#[from] std::io::Error),
    /// A table could not be written or read.
    #[error("the table is broken")]
    Table(#[from] ::csv::Error),
    /// A table in columns that is not as it was written.
    #[error("its columns are damaged: their checksum is not that of the file")]
    Damaged,
    /// A table in columns could not be written or read.
    #[error("the table of columns is broken")]
    Columns(#[from] ::parquet::errors::ParquetError),
    /// A header could not be written.
    #[error("the header could not be written")]
    Json(#[from] serde_json::Error),
}

/// Trials read back from a file of either kind, one by one.
pub struct TrialTable {
    header: TrialTableHeader,
    trials: Trials,
}

enum Trials {
    Text(TextTrials<BufReader<File>>),
    Columnar(Box<ColumnarTrials>),
}

impl TrialTable {
    /// Opens a file, which shows by its first bytes of which kind it is.
    ///
    /// # Errors
    /// [`TrialTableError`] for anything that is not such a table.
    pub fn open(mut file: File) -> Result<Self, TrialTableError> {
        file.seek(SeekFrom::Start(0))?;
        let mut first = Vec::with_capacity(columnar::MAGIC.len());
        Read::by_ref(&mut file)
            .take(columnar::MAGIC.len() as u64)
            .read_to_end(&mut first)?;
        file.seek(SeekFrom::Start(0))?;
        if first == columnar::MAGIC {
            let (header, trials) = ColumnarTrials::open(file)?;
            let trials = Trials::Columnar(Box::new(trials));
            return Ok(Self { header, trials });
        }
        let (header, trials) = TextTrials::open(BufReader::new(file))?;
        let trials = Trials::Text(trials);
        Ok(Self { header, trials })
    }

    /// Which campaign the trials belong to.
    #[must_use]
    pub fn header(&self) -> &TrialTableHeader {
        &self.header
    }
}

impl Iterator for TrialTable {
    type Item = Result<Record, TrialTableError>;

    fn next(&mut self) -> Option<Self::Item> {
        match &mut self.trials {
            Trials::Text(trials) => trials.next(&self.header),
            Trials::Columnar(trials) => trials.next(&self.header),
        }
    }
}
