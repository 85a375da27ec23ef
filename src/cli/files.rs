//! Writing results: whole files or none, and standard output that may be closed early.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::Path;

use crate::cli::Failure;

/// Kind of picture, by the ending of its file name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureKind {
    /// Scalable vector graphics.
    Svg,
    /// Portable network graphics.
    Png,
}

/// The ending of a file name, in small letters.
pub fn ending(path: &Path) -> Option<String> {
    let ending = path.extension()?;
    Some(ending.to_string_lossy().to_lowercase())
}

/// The kind of picture a file name asks for.
///
/// # Errors
/// Any other ending.
pub fn picture_kind(path: &Path) -> Result<PictureKind, Failure> {
    match ending(path).as_deref() {
        Some("svg") => Ok(PictureKind::Svg),
        Some("png") => Ok(PictureKind::Png),
        _ => Err(Failure::input(
            format!("--plot {}: not a picture this can draw", path.display()),
            "end the file name in .svg or .png",
        )),
    }
}

/// Refuse early, before anything is computed, what [`write_whole`] would refuse.
///
/// # Errors
/// The file exists and `force` is not set, or its directory does not exist or takes no files.
pub fn check_target(path: &Path, force: bool) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::input(
            format!("{} is a directory", path.display()),
            "name a file",
        ));
    }
    if path.exists() && !force {
        return Err(Failure::input(
            format!("{} exists", path.display()),
            "choose another name, or replace it with --force",
        ));
    }
    let directory = directory(path);
    if !directory.is_dir() {
        return Err(Failure::input(
            format!("the directory {} does not exist", directory.display()),
            "create it first",
        ));
    }
    // A nameless file shows whether one can be written there, and leaves nothing behind.
    match tempfile::tempfile_in(directory) {
        Ok(_) => Ok(()),
        Err(error) => Err(Failure::input(
            format!(
                "{} could not be written: the directory {} takes no files ({error})",
                path.display(),
                directory.display()
            ),
            "choose another place",
        )),
    }
}

fn directory(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Write a file whole or not at all: into a temporary file beside it, then renamed.
///
/// # Errors
/// What [`check_target`] refuses, and failures of the file system.
pub fn write_whole(path: &Path, content: &[u8], force: bool) -> Result<(), Failure> {
    write_whole_by(path, force, |mut file| {
        file.write_all(content)
            .map_err(|error| unwritable(path, &error, ""))
    })
}

/// [`write_whole`] for content that is not all at hand at once.
///
/// # Errors
/// As [`write_whole`], and what `write` says.
pub fn write_whole_by(
    path: &Path,
    force: bool,
    write: impl FnOnce(&File) -> Result<(), Failure>,
) -> Result<(), Failure> {
    check_target(path, force)?;
    let file = tempfile::Builder::new()
        .permissions_like_new_file()
        .tempfile_in(directory(path))
        .map_err(|error| unwritable(path, &error, ""))?;
    write(file.as_file())?;
    let kept = if force {
        file.persist(path)
    } else {
        file.persist_noclobber(path)
    };
    kept.map_err(|error| unwritable(path, &error.error, ""))?;
    Ok(())
}

/// The failure of a file that could not be written, with what to do about it.
pub fn unwritable(path: &Path, error: &std::io::Error, remedy: &str) -> Failure {
    let message = format!("{} could not be written: {error}", path.display());
    Failure::input(message, remedy)
}

/// A temporary file is private by default; a result is not.
trait NewFilePermissions {
    fn permissions_like_new_file(&mut self) -> &mut Self;
}

impl NewFilePermissions for tempfile::Builder<'_, '_> {
    #[cfg(unix)]
    fn permissions_like_new_file(&mut self) -> &mut Self {
        use std::os::unix::fs::PermissionsExt;
        // The process's own mask still applies.
        self.permissions(std::fs::Permissions::from_mode(0o666))
    }
    #[cfg(not(unix))]
    fn permissions_like_new_file(&mut self) -> &mut Self {
        self
    }
}

/// Print to standard output. A reader that has gone away (`| head`) is not a failure.
///
/// # Errors
/// Any other failure to write.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::computation(format!(
            "standard output could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}
