//! An open journal: opens, appends and merges.

use super::copied::Copied;
use super::error::{JournalError, Trouble};
use super::format::{
    APPLICATION, FORMAT, SCHEMA, STEPS, raise, refuse_another_format, refuse_what_is_no_database,
};
use super::mend::{DAY, has_date};
use super::row;
use crate::practice::{Entry, Record, StagePrint};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior};
use std::path::{Path, PathBuf};
use std::time::Duration;
use uuid::Uuid;

/// How long to wait for another program's transaction, which takes milliseconds. Chosen.
const PATIENCE: Duration = Duration::from_secs(5);

/// An open journal.
#[derive(Debug)]
pub struct Journal {
    pub(super) path: PathBuf,
    pub(super) connection: Connection,
    id: Uuid,
    /// The highest arrival number that this program has returned or written.
    pub(super) seen: i64,
    /// The device and inode number of the file, where the system has them. They tell whether the
    /// file was deleted or replaced while open.
    file: Option<FileName>,
    /// The temporary folder of the file, where it is a copy of a journal that cannot be written.
    copy: Option<tempfile::TempDir>,
}

/// The result of storing records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appended {
    /// The entries that other programs stored since the last look, in fold order. They come before
    /// our own.
    pub foreign: Vec<Entry>,
    /// Our own records with their numbers.
    pub own: Vec<Entry>,
}

/// The result of a merge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Merged {
    /// The number of new entries.
    pub added: usize,
    /// The number of entries that were known already.
    pub known: usize,
    /// The number of entries whose number is taken by a different entry, which happens when a
    /// journal's file was copied and both copies were written. They were stored under a new journal
    /// name made of journal and session.
    pub clashing: usize,
}

impl Journal {
    /// Opens a journal, or creates it with its folders. A file of a newer version, of another
    /// program or of no program is refused and left unchanged.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn open(path: &Path) -> Result<Self, JournalError> {
        if let Some(folder) = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty())
        {
            std::fs::create_dir_all(folder)
                .map_err(|error| JournalError::new(path, Trouble::Folder(error.to_string())))?;
        }
        refuse_what_is_no_database(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let told = |error: rusqlite::Error| JournalError::of(path, &error);
        let mut connection = Connection::open_with_flags(path, flags).map_err(told)?;
        // until the format is known, nothing may be moved from the WAL into the file
        connection
            .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)
            .and_then(|_| connection.busy_timeout(PATIENCE))
            .map_err(told)?;
        refuse_another_format(path, &connection)?;
        connection
            .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false)
            .and_then(|_| enter_wal(&connection))
            .and_then(|()| connection.pragma_update(None, "synchronous", "FULL"))
            .and_then(|()| connection.pragma_update(None, "trusted_schema", false))
            .map_err(told)?;
        let id = prepare(path, &mut connection)?;
        let mut journal = Self {
            path: path.to_owned(),
            connection,
            id,
            seen: 0,
            file: file_name(path),
            copy: None,
        };
        journal.seen = journal.last_arrival()?;
        Ok(journal)
    }

    /// Opens a copy of a journal whose file or folder cannot be written. It is for reading only:
    /// what is added to it is lost when it is dropped.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn open_a_copy(path: &Path) -> Result<Self, JournalError> {
        let copied = Copied::of(path)?;
        let mut journal = Self::open(copied.file()).map_err(|error| JournalError {
            path: path.to_owned(),
            ..error
        })?;
        journal.copy = Some(copied.into_folder());
        Ok(journal)
    }

    /// True where this is a copy that was opened for reading.
    pub fn is_a_copy(&self) -> bool {
        self.copy.is_some()
    }

    /// True where the file was deleted or replaced, or its USB stick was pulled out. What is
    /// written to it would be lost.
    fn is_gone(&self) -> bool {
        self.copy.is_none() && file_name(&self.path) != self.file
    }

    /// The journal's identifier, which never changes.
    pub fn id(&self) -> Uuid {
        self.id
    }

    /// The journal's file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Stores records in one transaction, after what other programs stored meanwhile. When this
    /// returns, they are on the disk. A time before the journal's last entry is raised to that
    /// entry's time, so that time never goes back. There is one exception: the time stays where a
    /// session begins more than a day earlier, at a possible time, because then the clock of the
    /// last session was ahead. Without records it only returns what other programs stored.
    ///
    /// # Errors
    /// See [`Trouble`]; then none of the records is stored.
    pub fn append(&mut self, records: &[Record]) -> Result<Appended, JournalError> {
        if self.is_gone() {
            return Err(JournalError::new(&self.path, Trouble::Gone));
        }
        let (id, seen) = (self.id, self.seen);
        let appended = self.in_transaction(|transaction| {
            let mut foreign =
                row::entries(transaction, "WHERE arrival > ?1", rusqlite::params![seen])?;
            foreign.sort_by_key(Entry::order);
            let (mut seq, last): (i64, i64) = transaction
                .prepare_cached(
                    "SELECT seq, utc_us FROM entry WHERE journal = ?1 ORDER BY seq DESC LIMIT 1",
                )?
                .query_row([id.as_bytes()], |row| Ok((row.get(0)?, row.get(1)?)))
                .optional()?
                .unwrap_or((0, i64::MIN));
            let mut utc_us = match records.first() {
                Some(first) if last.saturating_sub(first.utc_us) > DAY => {
                    floor(transaction, first, last)?
                }
                _ => last,
            };
            let mut insert = transaction.prepare_cached(row::INSERT)?;
            let mut own = Vec::with_capacity(records.len());
            for record in records {
                seq += 1;
                utc_us = utc_us.max(record.utc_us);
                let mut entry = Entry {
                    journal: id,
                    seq: seq.unsigned_abs(),
                    record: record.clone(),
                };
                entry.record.utc_us = utc_us;
                row::write(&mut insert, &entry)?;
                own.push(entry);
            }
            Ok((Appended { foreign, own }, row::arrival(transaction)?))
        })?;
        self.seen = appended.1;
        Ok(appended.0)
    }

    /// Adds another journal's entries. Known entries are not added again, and the result does not
    /// depend on the order in which journals are merged.
    ///
    /// # Errors
    /// See [`Trouble`]; then nothing is added.
    pub fn merge(&mut self, entries: &[Entry]) -> Result<Merged, JournalError> {
        self.in_transaction(|transaction| {
            let mut merged = Merged::default();
            let mut insert = transaction.prepare_cached(row::INSERT)?;
            let mut holder = transaction.prepare_cached(
                "SELECT session, number FROM entry \
                 WHERE (journal = ?1 AND seq = ?2) OR (session = ?3 AND number = ?4) \
                 ORDER BY session = ?3 AND number = ?4 DESC",
            )?;
            for entry in entries {
                let id = entry.record.id;
                let held: Option<([u8; 16], i64)> = holder
                    .query_row(
                        rusqlite::params![
                            entry.journal.as_bytes(),
                            row::stored(entry.seq),
                            id.session.as_bytes(),
                            row::stored(id.number)
                        ],
                        |row| Ok((row.get(0)?, row.get(1)?)),
                    )
                    .optional()?;
                match held {
                    None => {
                        row::write(&mut insert, entry)?;
                        merged.added += 1;
                    }
                    Some((session, number))
                        if session == *id.session.as_bytes()
                            && number == row::stored(id.number) =>
                    {
                        merged.known += 1;
                    }
                    Some(_) => {
                        row::write(&mut insert, &beside(entry))?;
                        merged.clashing += 1;
                    }
                }
            }
            Ok(merged)
        })
    }

    /// The connection to the database.
    pub(super) fn connection(&self) -> &Connection {
        &self.connection
    }

    fn in_transaction<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, JournalError> {
        let path = &self.path;
        let told = |error: rusqlite::Error| JournalError::of(path, &error);
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(told)?;
        let done = work(&transaction).map_err(told)?;
        transaction.commit().map_err(told)?;
        Ok(done)
    }

    fn last_arrival(&self) -> Result<i64, JournalError> {
        row::arrival(&self.connection).map_err(|error| self.trouble(&error))
    }

    pub(super) fn trouble(&self, error: &rusqlite::Error) -> JournalError {
        JournalError::of(&self.path, error)
    }
}

/// A file's device and inode number.
type FileName = (u64, u64);

#[cfg(unix)]
fn file_name(path: &Path) -> Option<FileName> {
    use std::os::unix::fs::MetadataExt;
    let found = std::fs::metadata(path).ok()?;
    Some((found.dev(), found.ino()))
}

/// other systems do not allow an open file to be deleted
#[cfg(not(unix))]
fn file_name(path: &Path) -> Option<FileName> {
    path.exists().then_some((0, 0))
}

/// An entry whose number is taken, under a new journal name. The name is made of its journal and
/// session, so it is the same wherever the entry is merged.
fn beside(entry: &Entry) -> Entry {
    let name = format!("{} {}", entry.journal, entry.record.id.session);
    Entry {
        journal: Uuid::from_u128(StagePrint::of(&name).0),
        seq: entry.record.id.number + 1,
        record: entry.record.clone(),
    }
}

/// The least time that entries of a session may have, where its clock is far behind the entry
/// before and is itself the wrong one.
fn floor(connection: &Connection, first: &Record, last: i64) -> rusqlite::Result<i64> {
    let own: Option<i64> = connection.query_row(
        "SELECT max(utc_us) FROM entry WHERE session = ?1",
        [first.id.session.as_bytes()],
        |row| row.get(0),
    )?;
    let keeps_its_time = if has_date(first.utc_us) {
        i64::MIN
    } else {
        last
    };
    Ok(own.unwrap_or(keeps_its_time))
}

/// two programs that create a journal at the same time meet at this lock, for which SQLite itself
/// does not wait
fn enter_wal(connection: &Connection) -> rusqlite::Result<()> {
    let mut tries = 0;
    loop {
        let mode: rusqlite::Result<String> =
            connection.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0));
        match mode {
            Err(error)
                if error.sqlite_error_code() == Some(rusqlite::ErrorCode::DatabaseBusy)
                    && tries < 100 =>
            {
                tries += 1;
                std::thread::sleep(PATIENCE / 100);
            }
            Err(error) => return Err(error),
            Ok(_) => return Ok(()),
        }
    }
}

/// Creates the tables where there are none, converts an older journal, and reads the journal's
/// identifier.
fn prepare(path: &Path, connection: &mut Connection) -> Result<Uuid, JournalError> {
    let told = |error: rusqlite::Error| JournalError::of(path, &error);
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(told)?;
    // the format is checked again, now that no other program can write, because another may have
    // created or converted the journal since
    refuse_another_format(path, &transaction)?;
    let found: i64 = transaction
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .map_err(told)?;
    if found == 0 {
        let id = Uuid::new_v4();
        transaction
            .execute_batch(SCHEMA)
            .and_then(|()| {
                transaction.execute(
                    "INSERT INTO journal (only, id) VALUES (1, ?1)",
                    [id.as_bytes()],
                )
            })
            .and_then(|_| transaction.pragma_update(None, "application_id", APPLICATION))
            .and_then(|()| transaction.pragma_update(None, "user_version", FORMAT))
            .map_err(told)?;
    } else {
        raise(&transaction, found, STEPS).map_err(told)?;
    }
    let id: [u8; 16] = transaction
        .query_row("SELECT id FROM journal", [], |row| row.get(0))
        .map_err(told)?;
    transaction.commit().map_err(told)?;
    Ok(Uuid::from_bytes(id))
}
