//! Reading the published data sets.
#![allow(dead_code)] // each test binary uses its own part

use std::collections::HashMap;
use std::path::PathBuf;

/// One row: column name to text.
pub type Row = HashMap<String, String>;

/// All rows of `fixtures/published/<set>/data.csv`.
pub fn published(set: &str) -> Vec<Row> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/published")
        .join(set)
        .join("data.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_path(&path)
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<Row> = reader
        .deserialize()
        .map(|row| row.expect("a row of the set"))
        .collect();
    assert!(!rows.is_empty(), "{set} is empty");
    rows
}

/// A number in a row.
pub fn number(row: &Row, column: &str) -> f64 {
    row.get(column)
        .unwrap_or_else(|| panic!("no column {column}"))
        .parse()
        .unwrap_or_else(|e| panic!("{column} = {:?}: {e}", row[column]))
}

/// A number in a row, or `None` where the cell is empty.
pub fn number_if_any(row: &Row, column: &str) -> Option<f64> {
    (!row[column].is_empty()).then(|| number(row, column))
}

/// Relative difference.
pub fn relative(value: f64, reference: f64) -> f64 {
    ((value - reference) / reference).abs()
}

/// Fail unless `value` is within `tolerance` (relative) of `reference`.
#[track_caller]
pub fn close(what: &str, value: f64, reference: f64, tolerance: f64) {
    let difference = relative(value, reference);
    assert!(
        difference <= tolerance,
        "{what}: {value} against {reference}, relative difference {difference:e} > {tolerance:e}"
    );
}
