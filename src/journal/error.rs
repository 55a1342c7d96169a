//! Errors of a journal, in sentences that say how to mend them.

use rusqlite::{ErrorCode, ffi};
use std::path::{Path, PathBuf};

/// Why a journal could not be read or written. No error leads to anything being overwritten.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JournalError {
    /// The path of the journal's file.
    pub path: PathBuf,
    /// The problem.
    pub trouble: Trouble,
}

/// The problem of a journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trouble {
    /// The journal's folder cannot be made; with the system's reason.
    Folder(String),
    /// The file cannot be opened or read; with the system's reason.
    Unreadable(String),
    /// The journal's file or folder cannot be written.
    ReadOnly,
    /// The file that was open has been deleted or replaced.
    Gone,
    /// The disk is full.
    Full,
    /// The disk refused the write; with the reason.
    NotTaken(String),
    /// A newer version of the program wrote the journal.
    Newer {
        /// The format of the journal's file.
        found: i64,
        /// The newest format that this program knows.
        known: i64,
    },
    /// The file is a database of another program, or no database.
    NotAJournal,
    /// The database is damaged; with the details.
    Damaged(String),
    /// Another program has locked the journal for longer than we wait.
    Busy,
    /// Any other error of the database; with its message.
    Other(String),
}

impl std::fmt::Display for JournalError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let path = self.path.display();
        match &self.trouble {
            Trouble::Folder(why) => write!(
                f,
                "the folder of the journal `{path}` cannot be made ({why}): make it, or choose another data folder"
            ),
            Trouble::Unreadable(why) => write!(
                f,
                "the journal `{path}` cannot be opened ({}): check that it is a file you may read and write",
                // the system's error number says nothing to a player, so it is cut off
                why.split(" (os error ").next().unwrap_or_default()
            ),
            Trouble::ReadOnly => write!(
                f,
                "the journal `{path}` cannot be written: check that you may write the file and its folder"
            ),
            Trouble::Gone => write!(
                f,
                "the journal `{path}` is not there any more: its folder was taken away, or a stick pulled out; put it back, and marks are stored again"
            ),
            Trouble::Full => write!(
                f,
                "the disk is full, so nothing was added to the journal `{path}`: free some space; what it holds is safe"
            ),
            Trouble::NotTaken(why) => write!(
                f,
                "the disk did not take what was to be added to the journal `{path}` ({why}): it may be full or failing; what the journal holds is safe"
            ),
            Trouble::Newer { found, known } => write!(
                f,
                "the journal `{path}` was written by a newer gracerung (format {found}; this one knows up to {known}): use the newer one; the journal was left untouched"
            ),
            Trouble::NotAJournal => write!(
                f,
                "`{path}` is not a gracerung journal: move it away or choose another data folder; it was left untouched"
            ),
            Trouble::Damaged(what) => write!(
                f,
                "the journal `{path}` is damaged ({what}): keep a copy of the file before anything else; it was not overwritten"
            ),
            Trouble::Busy => write!(
                f,
                "another program holds the journal `{path}`: close it and try again"
            ),
            Trouble::Other(what) => write!(f, "the journal `{path}` cannot be used: {what}"),
        }
    }
}
impl std::error::Error for JournalError {}

/// SQLite's error codes for a write that fails for another reason than a full disk, such as a file
/// that may not grow or a USB stick that was pulled out (SQLite, Result and Error Codes).
const WRITING: [i32; 5] = [
    ffi::SQLITE_IOERR_WRITE,
    ffi::SQLITE_IOERR_FSYNC,
    ffi::SQLITE_IOERR_DIR_FSYNC,
    ffi::SQLITE_IOERR_TRUNCATE,
    ffi::SQLITE_IOERR_SHMSIZE,
];

impl JournalError {
    pub(super) fn new(path: &Path, trouble: Trouble) -> Self {
        Self {
            path: path.to_owned(),
            trouble,
        }
    }

    pub(super) fn of(path: &Path, error: &rusqlite::Error) -> Self {
        let said = error.to_string();
        let extended = error.sqlite_error().map(|error| error.extended_code);
        let trouble = match error.sqlite_error_code() {
            Some(ErrorCode::SystemIoFailure)
                if extended.is_some_and(|code| WRITING.contains(&code)) =>
            {
                Trouble::NotTaken(said)
            }
            Some(ErrorCode::DiskFull) => Trouble::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => Trouble::ReadOnly,
            Some(ErrorCode::CannotOpen | ErrorCode::SystemIoFailure) => Trouble::Unreadable(said),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Trouble::Damaged(said),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Trouble::Busy,
            _ => match error {
                // a value that no version of this program writes
                rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::InvalidColumnType(..)
                | rusqlite::Error::IntegralValueOutOfRange(..) => Trouble::Damaged(said),
                _ => Trouble::Other(said),
            },
        };
        Self::new(path, trouble)
    }
}
