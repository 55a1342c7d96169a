//! A copy of a journal's file, for work that must not change the file itself.

use super::error::{JournalError, Trouble};
use super::format::refuse_what_is_no_database;
use std::path::{Path, PathBuf};

/// A copy of a journal and of its WAL, which holds the entries that SQLite has not moved into the
/// file yet.
pub(super) struct Copied {
    folder: tempfile::TempDir,
    file: PathBuf,
    bytes: u64,
}

impl Copied {
    /// The path of the copied file.
    pub(super) fn file(&self) -> &Path {
        &self.file
    }

    /// The size of the copy in bytes, including the WAL.
    pub(super) fn bytes(&self) -> u64 {
        self.bytes
    }

    /// The folder of the copy, which is deleted when this is dropped.
    pub(super) fn into_folder(self) -> tempfile::TempDir {
        self.folder
    }

    /// Copies a journal.
    ///
    /// # Errors
    /// The file cannot be read, or is no database.
    pub(super) fn of(path: &Path) -> Result<Self, JournalError> {
        let told =
            |error: std::io::Error| JournalError::new(path, Trouble::Unreadable(error.to_string()));
        refuse_what_is_no_database(path)?;
        let folder = tempfile::tempdir().map_err(told)?;
        let file = folder.path().join("copy.sqlite");
        // `std::fs::copy` would copy permissions too, and a copy of a read-only file could not be
        // written
        let carry = |from: &Path, to: &Path| {
            let mut from = std::fs::File::open(from)?;
            std::io::copy(&mut from, &mut std::fs::File::create(to)?)
        };
        let mut bytes = carry(path, &file).map_err(told)?;
        let mut log = path.as_os_str().to_owned();
        log.push("-wal");
        if let Ok(more) = carry(Path::new(&log), &folder.path().join("copy.sqlite-wal")) {
            bytes += more;
        }
        Ok(Self {
            folder,
            file,
            bytes,
        })
    }
}
