//! Why a trace cannot be used, with the line and the way out.

/// Why a trace cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TraceError {
    /// Nothing in the file.
    #[error("{file}: the file is empty")]
    Empty {
        /// Name of the file.
        file: String,
    },
    /// Not a text file.
    #[error("{file}: not a text file (zero byte at byte {byte}); export it as CSV in UTF-8")]
    Binary {
        /// Name of the file.
        file: String,
        /// Where the first zero byte is.
        byte: usize,
    },
    /// No line with two numbers was found.
    #[error(
        "{file}: no line holds two numbers or more; a trace needs a column of times and one of \
         pressures, separated by commas, semicolons or tabs"
    )]
    NoData {
        /// Name of the file.
        file: String,
    },
    /// Decimal commas in a file separated by commas.
    #[error(
        "{file}, line {line}: {fields} fields under {headings} headings: decimal commas and commas \
         as separators cannot be told apart; export with semicolons"
    )]
    DecimalCommas {
        /// Name of the file.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Fields in that line.
        fields: usize,
        /// Headings.
        headings: usize,
    },
    /// A line has another number of fields.
    #[error(
        "{file}, line {line}: {found} fields where {expected} are expected, and {broken} of {rows} \
         lines are broken like this: too many to leave out"
    )]
    Ragged {
        /// Name of the file.
        file: String,
        /// Line of the first, from 1.
        line: usize,
        /// Fields found.
        found: usize,
        /// Fields expected.
        expected: usize,
        /// Lines that are broken.
        broken: usize,
        /// Lines of data.
        rows: usize,
    },
    /// A field is not a number.
    #[error(
        "{file}, line {line}, column `{column}`: `{text}` is not a number, and {broken} of {rows} \
         lines are broken like this: too many to leave out"
    )]
    NotANumber {
        /// Name of the file.
        file: String,
        /// Line of the first, from 1.
        line: usize,
        /// Heading.
        column: String,
        /// What stands there.
        text: String,
        /// Lines that are broken.
        broken: usize,
        /// Lines of data.
        rows: usize,
    },
    /// A column has hardly any values.
    #[error("{file}: column `{column}` has {values} values in {rows} lines; at least 8 are needed")]
    TooFew {
        /// Name of the file.
        file: String,
        /// Heading.
        column: String,
        /// Values found.
        values: usize,
        /// Lines of data.
        rows: usize,
    },
    /// Time runs backwards.
    #[error(
        "{file}, line {line}: time runs back from {before} s to {after} s (in {times} places): two \
         recordings in one file, or lines out of order; cut or sort the file"
    )]
    TimeRunsBack {
        /// Name of the file.
        file: String,
        /// Line of the first, from 1.
        line: usize,
        /// Time before [s].
        before: f64,
        /// Time at that line [s].
        after: f64,
        /// How often.
        times: usize,
    },
    /// Which column is what is not clear.
    #[error("{file}: {problem}; columns are {columns}; {remedy}")]
    Columns {
        /// Name of the file.
        file: String,
        /// What is not clear.
        problem: String,
        /// The headings.
        columns: String,
        /// The way out.
        remedy: String,
    },
    /// Gauge or absolute is not said.
    #[error(
        "{file}: column `{column}` does not say whether its pressures are gauge or absolute{hint}; \
         say it with --gauge or --absolute, or in the heading (barg, psia, kPa abs)"
    )]
    Reference {
        /// Name of the file.
        file: String,
        /// Heading.
        column: String,
        /// What it looks like, as ", though it starts at ...".
        hint: String,
    },
    /// A pressure that cannot be.
    #[error(
        "{file}, line {line}: column `{column}` falls to {value} Pa absolute, below vacuum: {remedy}"
    )]
    BelowVacuum {
        /// Name of the file.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Heading.
        column: String,
        /// The value [Pa].
        value: f64,
        /// The way out.
        remedy: String,
    },
    /// A `--column` that cannot be read.
    #[error(
        "--column {text}: {problem}; write HEADING=MEANING[,UNIT][,gauge|absolute], such as p1=bay,kPa,gauge"
    )]
    Assignment {
        /// As given.
        text: String,
        /// What is wrong.
        problem: String,
    },
}
