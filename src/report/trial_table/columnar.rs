//! Trials in columns: an Apache Parquet file, for tables that are too large for text.
//!
//! The campaign is in the metadata of the file under [`CAMPAIGN`]. All columns may be empty; what is empty in text is
//! null here. Under [`CHECKSUM`] is that of everything before the metadata, and of where in it they say the columns
//! are: columns are decoded only where it holds, since a decoder trusts what it is given more than a file that was
//! damaged on its way deserves.

use std::fs::File;
use std::sync::Arc;

use ::parquet::basic::{LogicalType, Repetition, Type as Physical};
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
    write_column::<Int64Type>(&mut group, trials, |trial| i64::try_from(trial.index).ok())?;
    write_column::<ByteArrayType>(&mut group, trials, |trial| {
        words(header.words(trial.verdict).0)
    })?;
    write_column::<ByteArrayType>(&mut group, trials, |trial| {
        header.words(trial.verdict).1.and_then(words)
    })?;
    for place in 0..Quantity::ALL.len() {
        write_column::<DoubleType>(&mut group, trials, |trial| trial.quantities[place])?;
    }
    for place in 0..header.criteria.len() {
        write_column::<DoubleType>(&mut group, trials, |trial| *trial.margins.get(place)?)?;
    }
    for place in 0..header.inputs.len() {
        write_column::<DoubleType>(&mut group, trials, |trial| trial.values.get(place).copied())?;
    }
    write_column::<ByteArrayType>(&mut group, trials, |trial| words(&trial.error))?;
    group.close()?;
    Ok(())
}

/// Writes the next column of a group: a cell of each trial.
fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Summed<&File>>,
    trials: &[Record],
    cell: impl Fn(&Record) -> Option<T::T>,
) -> Result<(), ParquetError> {
    let cells: Vec<Option<T::T>> = trials.iter().map(cell).collect();
    let levels: Vec<i16> = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
    let values: Vec<T::T> = cells.into_iter().flatten().collect();
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
                let cells = read_column::<Int64Type>(group, place)?;
                rows.extend(cells.into_iter().map(|whole| Row {
                    whole,
                    ..Row::default()
                }));
            }
            Kind::Words => {
                let cells = read_column::<ByteArrayType>(group, place)?;
                for (row, cell) in rows.iter_mut().zip(cells) {
                    let text = cell.map(|bytes| String::from_utf8_lossy(bytes.data()).into_owned());
                    row.words.push(text);
                }
            }
            Kind::Number => {
                let cells = read_column::<DoubleType>(group, place)?;
                for (row, cell) in rows.iter_mut().zip(cells) {
                    row.numbers.push(cell);
                }
            }
        }
    }
    Ok(rows)
}

/// The cells of a column of a group.
fn read_column<T: DataType>(
    group: &dyn RowGroupReader,
    place: usize,
) -> Result<Vec<Option<T::T>>, ParquetError> {
    let count = usize::try_from(group.metadata().num_rows()).unwrap_or_default();
    let Some(mut column) = T::get_column_reader(group.get_column_reader(place)?) else {
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
    let cells = levels
        .into_iter()
        .map(|level| if level > 0 { values.next() } else { None });
    Ok(cells.collect())
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
