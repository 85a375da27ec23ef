//! Files of trials: written as they come, as text under a name of their own, given their final name and form
//! when complete, taken up again where they broke off, and put together from slices.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use crate::cli::Failure;
use crate::cli::files::{self, check_target, write_whole_by};
use crate::report::trial_table::{
    TrialTable, TrialTableError, TrialTableHeader, slice_range, write_columnar,
};
use crate::study::{Record, Tally};

/// Longest line looked at for the end of the last whole one.
const LONGEST_LINE: u64 = 1 << 20;

/// Form of a complete file, by the ending of its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// Lines of text with commas.
    Csv,
    /// Columns of Apache Parquet.
    Parquet,
}

/// The form a file name asks for.
fn form(target: &Path) -> Result<Form, Failure> {
    match files::ending(target).as_deref() {
        Some("csv") => Ok(Form::Csv),
        Some("parquet") => Ok(Form::Parquet),
        _ => Err(Failure::input(
            format!(
                "--trials-out {}: not a table this can write",
                target.display()
            ),
            "end the file name in .csv or .parquet",
        )),
    }
}

/// A file of trials being written.
pub struct TrialsFile {
    header: TrialTableHeader,
    form: Form,
    target: PathBuf,
    part: PathBuf,
    file: File,
    force: bool,
}

/// Name under which an unfinished file is kept.
#[must_use]
pub fn unfinished(target: &Path) -> PathBuf {
    let mut name = target.as_os_str().to_owned();
    name.push(".part");
    PathBuf::from(name)
}

fn broken(path: &Path, error: &TrialTableError, remedy: &str) -> Failure {
    let mut message = format!("{}: {error}", path.display());
    if let Some(cause) = std::error::Error::source(error) {
        message += &format!(" ({cause})");
    }
    Failure::input(message, remedy)
}

/// An unfinished file that cannot be gone on with.
fn broken_part(path: &Path, error: &TrialTableError) -> Failure {
    broken(path, error, AFRESH)
}

/// What to do about an unfinished file that is of no use.
const AFRESH: &str = "start afresh with --force";

/// A table that cannot be put together with others.
fn broken_slice(path: &Path, error: &TrialTableError) -> Failure {
    let remedy = match error {
        TrialTableError::Header { .. } => {
            "name tables that this version of `coldkick odds --trials-out` wrote, as it wrote them"
        }
        TrialTableError::Read(_) => "name a file that may be read",
        _ => AGAIN,
    };
    broken(path, error, remedy)
}

/// What to do about a table that is not as it was written.
const AGAIN: &str = "copy the file again from where it was computed, or run that slice again";

fn unwritable(path: &Path, error: &std::io::Error) -> Failure {
    files::unwritable(path, error, "choose another place with --trials-out")
}

impl TrialsFile {
    /// Starts a file, or with `resume` goes on with an unfinished one: then every trial in it is
    /// handed to `known`, in order, and a last line that broke off is dropped.
    ///
    /// # Errors
    /// A file that exists, cannot be written, is to have a form that is not known, or belongs to another campaign.
    pub fn open(
        target: &Path,
        header: TrialTableHeader,
        resume: bool,
        force: bool,
        known: impl FnMut(Record),
    ) -> Result<Self, Failure> {
        let form = form(target)?;
        check_target(target, force)?;
        let part = unfinished(target);
        let file = match (resume, part.exists()) {
            (true, true) => take_up(&part, &header, known)?,
            (true, false) => {
                return Err(Failure::input(
                    format!("--resume: there is no {}", part.display()),
                    "start without --resume; an unfinished campaign ends in .part",
                ));
            }
            (false, true) if !force => {
                return Err(Failure::input(
                    format!("{} is there from an unfinished campaign", part.display()),
                    "go on with it by --resume, or drop it with --force",
                ));
            }
            (false, _) => {
                let lines = header.lines().map_err(|error| broken_part(&part, &error))?;
                let mut file = File::create(&part).map_err(|error| unwritable(&part, &error))?;
                file.write_all(lines.as_bytes())
                    .map_err(|error| unwritable(&part, &error))?;
                file
            }
        };
        Ok(Self {
            header,
            form,
            target: target.to_owned(),
            part,
            file,
            force,
        })
    }

    /// Adds trials; they are with the operating system when this returns.
    ///
    /// # Errors
    /// A disk that is full, say.
    pub fn add(&mut self, records: &[Record]) -> Result<(), Failure> {
        let rows = self
            .header
            .rows(records)
            .map_err(|error| broken_part(&self.part, &error))?;
        self.file
            .write_all(rows.as_bytes())
            .map_err(|error| self.broke_off(&self.part, &error))
    }

    /// The end of a campaign that was stopped after some trials in all.
    pub fn stopped(&self, trials: u64, can_go_on: bool) -> Failure {
        let part = self.part.display();
        let way_on = if can_go_on {
            "; the same command with --resume goes on from there"
        } else {
            ""
        };
        Failure::computation(format!("stopped: {part} holds {trials} trials{way_on}"))
    }

    /// The failure of a file that takes no more.
    fn broke_off(&self, path: &Path, error: &dyn std::error::Error) -> Failure {
        let cause = error.source().unwrap_or(error);
        Failure::computation(format!(
            "{} could not be written: {cause}; what {} holds can be taken up with --resume",
            path.display(),
            self.part.display()
        ))
    }

    /// Gives the file its final form and name.
    ///
    /// # Errors
    /// A failure of the file system; what was computed is then still in the unfinished file.
    pub fn finish(self) -> Result<(), Failure> {
        let unwritten = |error: std::io::Error| unwritable(&self.part, &error);
        self.file.sync_all().map_err(unwritten)?;
        match self.form {
            Form::Csv => {
                check_target(&self.target, self.force)?;
                std::fs::rename(&self.part, &self.target)
                    .map_err(|error| unwritable(&self.target, &error))
            }
            Form::Parquet => {
                write_whole_by(&self.target, self.force, |file| self.columns(file))?;
                std::fs::remove_file(&self.part).map_err(unwritten)
            }
        }
    }

    /// Writes the trials of the unfinished file into another one as columns.
    fn columns(&self, file: &File) -> Result<(), Failure> {
        let read = |error: &TrialTableError| broken_part(&self.part, error);
        let part = File::open(&self.part).map_err(|error| read(&error.into()))?;
        let trials = TrialTable::open(part).map_err(|error| read(&error))?;
        write_columnar(&self.header, trials, file)
            .map_err(|error| self.broke_off(&self.target, &error))
    }
}

/// Opens an unfinished file behind its last whole line.
fn take_up(
    part: &Path,
    header: &TrialTableHeader,
    mut known: impl FnMut(Record),
) -> Result<File, Failure> {
    let failed = |error: std::io::Error| unwritable(part, &error);
    let mut file = OpenOptions::new()
        .read(true)
        .write(true)
        .open(part)
        .map_err(failed)?;
    let length = file.seek(SeekFrom::End(0)).map_err(failed)?;
    let tail = length.min(LONGEST_LINE);
    file.seek(SeekFrom::Start(length - tail)).map_err(failed)?;
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes).map_err(failed)?;
    let end = bytes
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |place| place as u64 + 1);
    file.set_len(length - tail + end).map_err(failed)?;
    file.seek(SeekFrom::Start(0)).map_err(failed)?;
    let table = file.try_clone().map_err(failed)?;
    let table = TrialTable::open(table).map_err(|error| broken_part(part, &error))?;
    if table.header() != header {
        return Err(Failure::input(
            format!(
                "--resume: {} belongs to another campaign ({})",
                part.display(),
                difference(header, table.header())
            ),
            "give the same design and options as when it was started, or start afresh with --force",
        ));
    }
    for (next, record) in (header.range().start..).zip(table) {
        let record = record.map_err(|error| broken_part(part, &error))?;
        if record.index != next || next >= header.range().end {
            return Err(Failure::input(
                format!(
                    "{}: trial {} where {next} belongs",
                    part.display(),
                    record.index
                ),
                AFRESH,
            ));
        }
        known(record);
    }
    file.seek(SeekFrom::End(0)).map_err(failed)?;
    Ok(file)
}

/// The first way in which a campaign differs from another.
fn difference(wanted: &TrialTableHeader, found: &TrialTableHeader) -> String {
    let pairs = [
        ("version", wanted.version.clone(), found.version.clone()),
        ("design", wanted.design.clone(), found.design.clone()),
        ("seed", wanted.seed.to_string(), found.seed.to_string()),
        (
            "sampler",
            format!("{:?}", wanted.sampler),
            format!("{:?}", found.sampler),
        ),
        (
            "trials",
            wanted.trials.to_string(),
            found.trials.to_string(),
        ),
        (
            "slice",
            format!("{}/{}", wanted.slice.0, wanted.slice.1),
            format!("{}/{}", found.slice.0, found.slice.1),
        ),
    ];
    pairs
        .into_iter()
        .find(|(_, wanted, found)| wanted != found)
        .map_or_else(
            || "the text of the design, a change made with --set, or --exact differs".to_owned(),
            |(name, wanted, found)| format!("{name} {found}, not {wanted}"),
        )
}

/// Reads slices back into one tally, in the order of the trials.
///
/// # Errors
/// Files that are none, belong to different campaigns, overlap, or leave trials out.
pub fn merge(files: &[PathBuf]) -> Result<(TrialTableHeader, Tally), Failure> {
    let mut tables = Vec::with_capacity(files.len());
    for path in files {
        let file = File::open(path).map_err(|error| unreadable(path, &error))?;
        let table = TrialTable::open(file).map_err(|error| broken_slice(path, &error))?;
        tables.push((path, table));
    }
    tables.sort_by_key(|(_, table)| table.header().range().start);
    let Some((first_path, first)) = tables.first() else {
        return Err(Failure::input(
            "--merge: no files",
            "name the files of all slices",
        ));
    };
    let header = TrialTableHeader {
        slice: (1, 1),
        ..first.header().clone()
    };
    for (path, table) in &tables {
        if !header.same_campaign(table.header()) {
            let found = TrialTableHeader {
                slice: (1, 1),
                ..table.header().clone()
            };
            return Err(Failure::input(
                format!(
                    "--merge: {} belongs to another campaign than {} ({})",
                    path.display(),
                    first_path.display(),
                    difference(&header, &found)
                ),
                "merge the slices of one campaign",
            ));
        }
    }
    check_cover(&header, &tables)?;
    let kinds = header
        .kinds()
        .map_err(|error| broken_slice(first_path, &error))?;
    let mut tally = Tally::new(kinds, header.sampler, header.replicates);
    let mut next = 0;
    for (path, table) in tables {
        let end = table.header().range().end;
        for record in table {
            let record = record.map_err(|error| broken_slice(path, &error))?;
            if record.index != next || next >= end {
                return Err(Failure::input(
                    format!(
                        "{}: trial {} where {next} belongs",
                        path.display(),
                        record.index
                    ),
                    AGAIN,
                ));
            }
            next += 1;
            tally.push(record);
        }
        if next != end {
            return Err(Failure::input(
                format!(
                    "{} ends before trial {next} of its slice, which goes to {}",
                    path.display(),
                    end - 1
                ),
                "finish that slice with --resume (a campaign that ended by --until cannot be merged)",
            ));
        }
    }
    Ok((header, tally))
}

/// A file that cannot be opened: perhaps its campaign is not finished.
fn unreadable(path: &Path, error: &std::io::Error) -> Failure {
    let part = unfinished(path);
    let remedy = if part.exists() {
        format!(
            "{} is not finished: go on with that slice by --resume",
            part.display()
        )
    } else {
        "name the tables of all slices, such as --merge part*.csv".to_owned()
    };
    Failure::input(
        format!("{} cannot be read: {error}", path.display()),
        remedy,
    )
}

/// Every trial once: slices that overlap or are missing are named.
fn check_cover(
    header: &TrialTableHeader,
    tables: &[(&PathBuf, TrialTable)],
) -> Result<(), Failure> {
    let count = tables
        .first()
        .map_or(1, |(_, table)| table.header().slice.1);
    let mut next = 0;
    let mut before: Option<&PathBuf> = None;
    for (path, table) in tables {
        let range = table.header().range();
        if range.start < next {
            let other = before.map_or(String::new(), |path| format!(" and {}", path.display()));
            return Err(Failure::input(
                format!("--merge: {}{other} hold the same trials", path.display()),
                "name each slice once",
            ));
        }
        if range.start > next {
            return Err(missing(header.trials, count, tables));
        }
        next = range.end;
        before = Some(path);
    }
    if next < header.trials {
        return Err(missing(header.trials, count, tables));
    }
    Ok(())
}

fn missing(trials: u64, count: u64, tables: &[(&PathBuf, TrialTable)]) -> Failure {
    let there: Vec<(u64, u64)> = tables.iter().map(|(_, t)| t.header().slice).collect();
    let absent: Vec<String> = (1..=count)
        .filter(|number| {
            !there.contains(&(*number, count)) && !slice_range(trials, *number, count).is_empty()
        })
        .take(12)
        .map(|number| format!("{number}/{count}"))
        .collect();
    Failure::input(
        format!("--merge: slices are missing: {}", absent.join(", ")),
        "run them with the same seed, sampler and number of trials",
    )
}
