//! Reads files up to a size limit, with one sentence for every kind of error.
use super::Failure;
use crate::decoding::Recording;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

/// Opens a file for reading.
///
/// # Errors
/// The file cannot be read, or is a folder.
pub(crate) fn open_file(path: &Path) -> Result<File, Failure> {
    if path.is_dir() {
        return Err(Failure(format!(
            "`{}` is a folder; name a file in it",
            path.display()
        )));
    }
    File::open(path).map_err(|error| unread(path, &error))
}

/// The sentence for a file that cannot be read.
pub(crate) fn unread(path: &Path, error: &std::io::Error) -> Failure {
    let shown = path.display();
    Failure(match error.kind() {
        std::io::ErrorKind::NotFound => format!("there is no file `{shown}`"),
        std::io::ErrorKind::PermissionDenied => format!("`{shown}` may not be read"),
        _ => format!("cannot read `{shown}`: {error}"),
    })
}

/// Reads a file's bytes, at most one more than `most`, so that the caller can notice a file that is
/// too large.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn read_bytes(path: &Path, most: usize) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    open_file(path)?
        .take(most as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unread(path, &error))?;
    Ok(bytes)
}

/// A file name without extension that is free in the folder: the wanted name, or that name with a
/// number behind it.
pub(crate) fn free_name(folder: &Path, wanted: &str, ending: &str) -> String {
    let numbered = (2_u32..).map(|number| format!("{wanted}-{number}"));
    std::iter::once(wanted.to_owned())
        .chain(numbered)
        .find(|name| !folder.join(format!("{name}.{ending}")).exists())
        .unwrap_or_else(|| wanted.to_owned())
}

/// Opens an audio recording.
///
/// # Errors
/// The file cannot be read, or is not a recording.
pub(crate) fn recording(path: &Path) -> Result<Recording<BufReader<File>>, Failure> {
    let file = open_file(path)?;
    let length = file.metadata().map_err(|error| unread(path, &error))?.len();
    Recording::open(BufReader::new(file), length)
        .map_err(|error| Failure(format!("`{}`: {error}", path.display())))
}
