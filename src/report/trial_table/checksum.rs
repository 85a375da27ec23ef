//! The checksum of a file of columns: of all that comes before its metadata, and of where in it they say the columns
//! are, as CRC-32 in hexadecimal digits and the number of bytes.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};

use ::parquet::basic::Compression;
use ::parquet::file::metadata::RowGroupMetaData;

/// What is written to, with the checksum of what was.
pub(super) struct Summed<W> {
    inner: W,
    sum: crc32fast::Hasher,
    bytes: u64,
}

impl<W> Summed<W> {
    /// Before anything is written.
    pub fn new(inner: W) -> Self {
        Self {
            inner,
            sum: crc32fast::Hasher::new(),
            bytes: 0,
        }
    }

    /// The checksum so far, for columns in these groups.
    pub fn checksum(&self, groups: &[RowGroupMetaData]) -> String {
        let mut sum = self.sum.clone();
        for group in groups {
            sum.update(&group.num_rows().to_le_bytes());
            for column in group.columns() {
                let places = [
                    column.dictionary_page_offset().unwrap_or(-1),
                    column.data_page_offset(),
                    column.compressed_size(),
                    column.num_values(),
                    i64::from(column.compression() == Compression::UNCOMPRESSED),
                ];
                places.iter().for_each(|n| sum.update(&n.to_le_bytes()));
            }
        }
        format!("{:08x} {}", sum.finalize(), self.bytes)
    }
}

impl<W: Write> Write for Summed<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let written = self.inner.write(bytes)?;
        self.sum.update(&bytes[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.inner.flush()
    }
}

/// Whether a file is as it was written.
///
/// # Errors
/// A file that cannot be read.
pub(super) fn holds(
    mut file: File,
    groups: &[RowGroupMetaData],
    expected: &str,
) -> std::io::Result<bool> {
    let length = expected.split_once(' ').map(|(_, bytes)| bytes.parse());
    let Some(Ok(length)) = length else {
        return Ok(false);
    };
    let mut summed = Summed::new(std::io::sink());
    file.seek(SeekFrom::Start(0))?;
    std::io::copy(&mut file.take(length), &mut summed)?;
    Ok(summed.checksum(groups) == expected)
}
