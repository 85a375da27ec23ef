//! Trials in columns: an Apache Parquet file, for tables that are too large for text.
//!
//! The campaign is in the metadata of the file under [`CAMPAIGN`]. All columns may be empty; what is empty in text is
//! null here. Under [`CHECKSUM`] is that of everything before the metadata, and of where in it they say the columns
//! are: columns are decoded only where it holds, since a decoder trusts what it is given more than a file that was
//! damaged on its way deserves.

use std::fs::File;
use std::sync::Arc;

use ::parquet::basic::{LogicalType, Repetition, Type as Physical};
use ::parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use ::parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use ::parquet::errors::ParquetError;
use ::parquet::file::metadata::KeyValue;
use ::parquet::file::properties::WriterProperties;
use ::parquet::file::reader::{FileReader, RowGroupReader, SerializedFileReader};
use ::parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use ::parquet::schema::types::{ColumnPath, Type};

use super::checksum::{self, Summed};
use super::{LEADING, TrialTableError, TrialTableHeader};
use crate::study::{Quantity, Record, TrialVerdict};

/// What a file starts with.
pub(super) const MAGIC: &[u8] = b"PAR1";
/// Key of the campaign among the metadata of a file.
const CAMPAIGN: &str = "coldkick.trials";
/// Key of its checksum.
const CHECKSUM: &str = "coldkick.checksum";
/// Trials in a group of rows, which is what is held in memory at a time.
const GROUP: usize = 16_384;

/// What a column holds.
#[derive(Clone, Copy)]
enum Kind {
    Whole,
    Number,
    Words,
}

/// Kind of a column by its place among `count`.
fn kind(place: usize, count: usize) -> Kind {
    match place {
        0 => Kind::Whole,
        place if place < LEADING.len() || place + 1 == count => Kind::Words,
        _ => Kind::Number,
    }
}

fn schema(header: &TrialTableHeader) -> Result<Type, ParquetError> {
    let columns = header.columns();
    let count = columns.len();
    let fields = columns.iter().enumerate().map(|(place, name)| {
        let (physical, logical) = match kind(place, count) {
            Kind::Whole => (Physical::INT64, None),
            Kind::Number => (Physical::DOUBLE, None),
            Kind::Words => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        };
        Type::primitive_type_builder(name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical)
            .build()
            .map(Arc::new)
    });
    Type::group_type_builder("trials")
        .with_fields(fields.collect::<Result<_, _>>()?)
        .build()
}

/// Writes trials as columns.
///
/// # Errors
/// [`TrialTableError`]: the first of the trials that could not be had, or a file that takes no more.
pub fn write_columnar(
    header: &TrialTableHeader,
    trials: impl Iterator<Item = Result<Record, TrialTableError>>,
    file: &File,
) -> Result<(), TrialTableError> {
    let campaign = KeyValue::new(CAMPAIGN.to_owned(), serde_json::to_string(header)?);
    // Numbers hardly repeat, and verdicts do.
    let mut properties = WriterProperties::builder()
        .set_created_by(format!("coldkick {}", env!("CARGO_PKG_VERSION")))
        .set_key_value_metadata(Some(vec![campaign]))
        .set_dictionary_enabled(false);
    for name in &LEADING[1..] {
        properties =
            properties.set_column_dictionary_enabled(ColumnPath::from(vec![(*name).into()]), true);
    }
    let schema = Arc::new(schema(header)?);
    let properties = Arc::new(properties.build());
    let mut writer = SerializedFileWriter::new(Summed::new(file), schema, properties)?;
    let mut trials = trials.peekable();
    while trials.peek().is_some() {
        let group: Vec<Record> = trials.by_ref().take(GROUP).collect::<Result<_, _>>()?;
        write_group(header, &group, &mut writer)?;
    }
    writer.flush()?;
    let checksum = writer.inner().checksum(writer.flushed_row_groups());
    writer.append_key_value_metadata(KeyValue::new(CHECKSUM.to_owned(), checksum));
    writer.close()?;
    Ok(())
}

fn write_group(
    header: &TrialTableHeader,
    trials: &[Record],
    writer: &mut SerializedFileWriter<Summed<&File>>,
) -> Result<(), ParquetError> {
    let words = |text: &str| (!text.is_empty()).then(|| ByteArray::from(text));
    let mut group = writer.next_row_group()?;
    // No campaign has more than 2^63 trials: `Campaign::new` refuses them.
    let index = |trial: &Record| i64::try_from(trial.index).ok();
    put::<Int64Type>(&mut group, trials.iter().map(index))?;
    let verdicts = trials.iter().map(|trial| header.words(trial.verdict));
    let (verdicts, first): (Vec<_>, Vec<_>) = verdicts.unzip();
    put::<ByteArrayType>(&mut group, verdicts.into_iter().map(words))?;
    put::<ByteArrayType>(&mut group, first.into_iter().map(|name| words(name?)))?;
    for place in 0..Quantity::ALL.len() {
        let quantities = trials.iter().map(|trial| trial.quantities[place]);
        put::<DoubleType>(&mut group, quantities)?;
    }
    for place in 0..header.criteria.len() {
        let margins = trials.iter().map(|trial| *trial.margins.get(place)?);
        put::<DoubleType>(&mut group, margins)?;
    }
    for place in 0..header.inputs.len() {
        let values = trials.iter().map(|trial| trial.values.get(place).copied());
        put::<DoubleType>(&mut group, values)?;
    }
    put::<ByteArrayType>(&mut group, trials.iter().map(|trial| words(&trial.error)))?;
    group.close()?;
    Ok(())
}

/// Writes the next column of a group.
fn put<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Summed<&File>>,
    cells: impl Iterator<Item = Option<T::T>>,
) -> Result<(), ParquetError> {
    let mut levels = Vec::new();
    let mut values = Vec::new();
    for cell in cells {
        levels.push(i16::from(cell.is_some()));
        values.extend(cell);
    }
    let Some(mut column) = group.next_column()? else {
        return Err(ParquetError::General("a column too many".to_owned()));
    };
    column
        .typed::<T>()
        .write_batch(&values, Some(&levels), None)?;
    column.close()
}

/// Trials read back from columns.
pub(super) struct ColumnarTrials {
    file: SerializedFileReader<File>,
    /// Groups read so far.
    groups: usize,
    /// Rows given out in all.
    rows: u64,
    group: std::vec::IntoIter<Row>,
}

/// A row as it stands in the file.
#[derive(Default)]
struct Row {
    whole: Option<i64>,
    words: Vec<Option<String>>,
    numbers: Vec<Option<f64>>,
}

impl ColumnarTrials {
    /// Reads what the file says of itself.
    ///
    /// # Errors
    /// [`TrialTableError`] for anything that is not such a table.
    pub fn open(file: File) -> Result<(TrialTableHeader, Self), TrialTableError> {
        let whole = file.try_clone()?;
        let file = SerializedFileReader::new(file)?;
        let metadata = file.metadata().file_metadata();
        let entry = |key: &str| {
            let mut entries = metadata.key_value_metadata()?.iter();
            entries.find(|entry| entry.key == key)?.value.as_deref()
        };
        let campaign = entry(CAMPAIGN).ok_or_else(|| TrialTableError::Header {
            reason: "its metadata do not say so".to_owned(),
        })?;
        let groups = file.metadata().row_groups();
        if !checksum::holds(whole, groups, entry(CHECKSUM).unwrap_or_default())? {
            return Err(TrialTableError::Damaged);
        }
        let header = TrialTableHeader::parse(campaign)?;
        header.check_columns(metadata.schema_descr().num_columns())?;
        let expected = schema(&header)?;
        let fields = expected.get_fields();
        for (found, expected) in metadata.schema().get_fields().iter().zip(fields) {
            if found != expected {
                let reason = format!(
                    "its column `{}` is not the `{}` that belongs there",
                    found.name(),
                    expected.name()
                );
                return Err(TrialTableError::Header { reason });
            }
        }
        let trials = Self {
            file,
            groups: 0,
            rows: 0,
            group: Vec::new().into_iter(),
        };
        Ok((header, trials))
    }

    /// The next trial.
    pub fn next(&mut self, header: &TrialTableHeader) -> Option<Result<Record, TrialTableError>> {
        loop {
            if let Some(row) = self.group.next() {
                self.rows += 1;
                let row_number = self.rows;
                let record = record(header, row);
                return Some(record.map_err(|reason| TrialTableError::Row {
                    row: row_number,
                    reason,
                }));
            }
            if self.groups == self.file.num_row_groups() {
                return None;
            }
            match rows(&self.file, self.groups, header) {
                Ok(rows) => self.group = rows.into_iter(),
                Err(error) => {
                    self.groups = self.file.num_row_groups();
                    return Some(Err(error.into()));
                }
            }
            self.groups += 1;
        }
    }
}

/// The rows of a group.
fn rows(
    file: &SerializedFileReader<File>,
    number: usize,
    header: &TrialTableHeader,
) -> Result<Vec<Row>, ParquetError> {
    let group = file.get_row_group(number)?;
    let group = group.as_ref();
    let count = header.columns().len();
    let mut rows: Vec<Row> = Vec::new();
    for place in 0..count {
        match kind(place, count) {
            Kind::Whole => {
                let cells = take::<Int64Type>(group, place, |reader| match reader {
                    ColumnReader::Int64ColumnReader(reader) => Some(reader),
                    _ => None,
                })?;
                rows.extend(cells.into_iter().map(|whole| Row {
                    whole,
                    ..Row::default()
                }));
            }
            Kind::Words => {
                let cells = take::<ByteArrayType>(group, place, |reader| match reader {
                    ColumnReader::ByteArrayColumnReader(reader) => Some(reader),
                    _ => None,
                })?;
                for (row, cell) in rows.iter_mut().zip(cells) {
                    let text = cell.map(|bytes| String::from_utf8_lossy(bytes.data()).into_owned());
                    row.words.push(text);
                }
            }
            Kind::Number => {
                let cells = take::<DoubleType>(group, place, |reader| match reader {
                    ColumnReader::DoubleColumnReader(reader) => Some(reader),
                    _ => None,
                })?;
                for (row, cell) in rows.iter_mut().zip(cells) {
                    row.numbers.push(cell);
                }
            }
        }
    }
    Ok(rows)
}

/// A column of a group.
fn take<T: DataType>(
    group: &dyn RowGroupReader,
    place: usize,
    typed: impl FnOnce(ColumnReader) -> Option<ColumnReaderImpl<T>>,
) -> Result<Vec<Option<T::T>>, ParquetError> {
    let count = usize::try_from(group.metadata().num_rows()).unwrap_or_default();
    let Some(mut column) = typed(group.get_column_reader(place)?) else {
        return Err(ParquetError::General(format!(
            "column {place} is of another type"
        )));
    };
    let (mut levels, mut values) = (Vec::new(), Vec::new());
    column.read_records(count, Some(&mut levels), None, &mut values)?;
    if levels.len() != count {
        return Err(ParquetError::EOF(format!(
            "column {place} ends at row {} of {count}",
            levels.len()
        )));
    }
    let mut values = values.into_iter();
    let cell = |level: i16| (level > 0).then(|| values.next()).flatten();
    Ok(levels.into_iter().map(cell).collect())
}

/// The trial of a row.
fn record(header: &TrialTableHeader, row: Row) -> Result<Record, String> {
    let index = row.whole.and_then(|whole| u64::try_from(whole).ok());
    let index = index.ok_or("no number of a trial")?;
    let [word, first, error] = <[_; 3]>::try_from(row.words)
        .map_err(|_| "no verdict".to_owned())?
        .map(Option::unwrap_or_default);
    let verdict = header.verdict(&word, &first)?;
    let mut numbers = row.numbers.into_iter();
    let mut quantities = [None; Quantity::ALL.len()];
    for (quantity, cell) in quantities.iter_mut().zip(numbers.by_ref()) {
        *quantity = cell;
    }
    let mut margins: Vec<Option<f64>> = numbers.by_ref().take(header.criteria.len()).collect();
    if verdict == TrialVerdict::NotComputed {
        margins.clear();
    }
    let values = header.inputs.iter().zip(numbers);
    let values = values.map(|(name, cell)| cell.ok_or_else(|| format!("no value of {name}")));
    Ok(Record {
        index,
        verdict,
        quantities,
        margins,
        values: values.collect::<Result<_, _>>()?,
        error,
    })
}
