//! Opening, adding and reading.

use super::care::Copied;
use super::error::{JournalError, Trouble};
use super::mend::{DAY, has_date};
use super::row;
use crate::practice::{CellKey, Entry, Record, StagePrint};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::Duration;
use uuid::Uuid;

/// What raises a journal from a format to the next, the first from 1 to 2; `schema.sql` makes a new
/// one as they leave it. A step that has been released is never changed.
pub(super) const STEPS: &[&str] = &[
    // `tried` and `tried_alone` are new kinds of entry: the tables stay, and a program that does not
    // know these kinds refuses the journal.
    "",
    // A rung may be a length of tones at a tempo: what stands there stays, and a program that does
    // not know such a rung refuses the journal instead of taking it for damage.
    "",
    // `discriminated` is a new kind of entry, of which there are few: found without reading the rest.
    "CREATE INDEX entry_by_discrimination ON entry (utc_us, journal, seq) WHERE kind = 'discriminated';",
    // A check sum of each entry from now on; a table that is only added to leaves older ones without.
    // A stretch lasts as long as sound was heard, where that is known. And the music of a drill is
    // found without reading the rest.
    "ALTER TABLE entry ADD COLUMN sum INTEGER;
     DROP VIEW playing;
     CREATE VIEW playing AS
     SELECT session, drill, offset_s, utc_us AS from_us,
            coalesce(
                utc_us + 1000 * (SELECT json_extract(stop.measures, '$.heard_ms') FROM entry AS stop
                 WHERE stop.session = start.session AND stop.number > start.number
                   AND stop.kind IN ('paused', 'ended') ORDER BY stop.number LIMIT 1),
                (SELECT min(stop.utc_us) FROM entry AS stop
                 WHERE stop.session = start.session AND stop.number > start.number
                   AND stop.kind IN ('paused', 'ended')),
                (SELECT max(sign.utc_us) FROM entry AS sign WHERE sign.session = start.session)
            ) AS to_us
     FROM entry AS start WHERE kind = 'playing';
     CREATE INDEX entry_by_drill ON entry (drill, stage) WHERE kind = 'mark' AND stage IS NOT NULL;",
];

/// The newest format of the journal this program knows, in SQLite's `user_version`.
pub const FORMAT: i64 = 1 + STEPS.len() as i64;

/// Says in SQLite's `application_id` that the file is one of ours: `GRun` in ASCII.
const APPLICATION: i64 = 0x4752_756e;

/// How long to wait for another program's transaction, which lasts milliseconds. Chosen.
const PATIENCE: Duration = Duration::from_secs(5);

pub(super) const SCHEMA: &str = include_str!("schema.sql");

/// An open journal.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    connection: Connection,
    id: Uuid,
    /// The last arrival that was given out or written by us.
    seen: i64,
    /// Which file it is, where the system tells files apart: its folder may be taken away.
    file: Option<FileName>,
    /// Where it lies, when it is a copy of a file that may not be written.
    copy: Option<tempfile::TempDir>,
}

/// What an addition came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appended {
    /// What other programs stored since we last looked, in fold order. It comes before our own.
    pub foreign: Vec<Entry>,
    /// Our own records with their places.
    pub own: Vec<Entry>,
}

/// Where practice was last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastPlace {
    /// The drill's name when it was written; the file may have been renamed since.
    pub drill: String,
    /// The cell.
    pub cell: CellKey,
}

/// What merging came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Merged {
    /// Entries that were not known.
    pub added: usize,
    /// Entries that were known.
    pub known: usize,
    /// Entries whose place another entry holds, which happens when a journal's file was copied
    /// and both copies were written. They were taken in under a name made of both.
    pub clashing: usize,
}

impl Journal {
    /// Opens a journal, or makes it together with its folders. A file of a newer program, of
    /// another program or of no program is refused and left as it is, byte by byte.
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
        // Until the format is known nothing may be moved from the WAL into the file.
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

    /// Opens a copy of a journal whose file or folder may not be written: for reading only, what is
    /// added to it is gone when it is dropped.
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

    /// Whether this is a copy that was opened for reading.
    pub fn is_a_copy(&self) -> bool {
        self.copy.is_some()
    }

    /// Whether the file is not there any more, or another is in its place: its folder was taken away,
    /// or a stick pulled out. What is written to it would go nowhere.
    fn is_gone(&self) -> bool {
        self.copy.is_none() && file_name(&self.path) != self.file
    }

    /// The journal's own name, the same for ever.
    pub fn id(&self) -> Uuid {
        self.id
    }

    /// The journal's file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Stores records together, after what others stored meanwhile; when this returns they are on
    /// the disk. A time below the journal's last is raised to it, but for a session that begins more
    /// than a day before and not before there was the program: then the last one's clock was ahead.
    /// With no records it only looks what others stored.
    ///
    /// # Errors
    /// See [`Trouble`]; then none of the records is stored.
    pub fn append(&mut self, records: &[Record]) -> Result<Appended, JournalError> {
        if self.is_gone() {
            return Err(JournalError::new(&self.path, Trouble::Gone));
        }
        let (id, seen) = (self.id, self.seen);
        let appended = self.in_transaction(|transaction| {
            let mut foreign = entries(transaction, "WHERE arrival > ?1", rusqlite::params![seen])?;
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
            Ok((Appended { foreign, own }, arrival(transaction)?))
        })?;
        self.seen = appended.1;
        Ok(appended.0)
    }

    /// Every entry of some stages' music, whatever the drill was called, in fold order. What
    /// others store from then on comes with [`append`](Self::append).
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn read(&mut self, stages: &[StagePrint]) -> Result<Vec<Entry>, JournalError> {
        let stages: Vec<String> = stages.iter().map(ToString::to_string).collect();
        let mut unique: Vec<&String> = stages.iter().collect();
        unique.sort_unstable();
        unique.dedup();
        let path = self.path.clone();
        let told = |error: rusqlite::Error| JournalError::of(&path, &error);
        let transaction = self.connection.transaction().map_err(told)?;
        let mut found = Vec::new();
        for stage in unique {
            let rows = entries(&transaction, "WHERE stage = ?1", rusqlite::params![stage]);
            found.extend(rows.map_err(told)?);
        }
        let seen = arrival(&transaction).map_err(told)?;
        drop(transaction);
        self.seen = seen;
        found.sort_by_key(Entry::order);
        Ok(found)
    }

    /// Marks, undos and first tries of some stages' music in fold order, without their texts: what a
    /// board is folded from. What others store from then on comes with [`append`](Self::append).
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn board(&mut self, stages: &[StagePrint]) -> Result<Vec<Entry>, JournalError> {
        let mut unique = stages.to_vec();
        unique.sort_unstable();
        unique.dedup();
        let path = self.path.clone();
        let told = |error: rusqlite::Error| JournalError::of(&path, &error);
        let transaction = self.connection.transaction().map_err(told)?;
        let query = format!(
            "SELECT {} FROM entry WHERE stage = ?1 \
             AND kind IN ('mark', 'undo', 'tried', 'tried_alone')",
            row::BARE_COLUMNS
        );
        let mut found = Vec::new();
        for stage in unique {
            // room for all at once: growing by doubling would take half as much again
            let count: i64 = transaction
                .prepare_cached("SELECT count(*) FROM entry WHERE stage = ?1")
                .and_then(|mut query| query.query_row([stage.to_string()], |row| row.get(0)))
                .map_err(told)?;
            found.reserve_exact(usize::try_from(count).unwrap_or(0));
            let mut query = transaction.prepare_cached(&query).map_err(told)?;
            let rows = query.query_map([stage.to_string()], row::read);
            for row in rows.map_err(told)? {
                found.push(row.map_err(told)?);
            }
        }
        let seen = arrival(&transaction).map_err(told)?;
        drop(transaction);
        self.seen = seen;
        // no two are of one order, and a stable sort would take half of their room again
        found.sort_unstable_by_key(Entry::order);
        Ok(found)
    }

    /// The last entries of each of some stages' music that say how a repetition went, so many of each
    /// at most, in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn latest(&self, stages: &[StagePrint], most: u32) -> Result<Vec<Entry>, JournalError> {
        let mut unique = stages.to_vec();
        unique.sort_unstable();
        unique.dedup();
        // sorted without their texts, which may be megabytes: only the last ones are read
        let which = "WHERE arrival IN (SELECT arrival FROM entry \
                     WHERE stage = ?1 AND kind IN ('mark', 'undo', 'measured') \
                     ORDER BY utc_us DESC, journal DESC, seq DESC LIMIT ?2)";
        let mut found = Vec::new();
        for stage in unique {
            let stage = stage.to_string();
            let rows = entries(&self.connection, which, rusqlite::params![stage, most]);
            found.extend(rows.map_err(|error| self.trouble(&error))?);
        }
        found.sort_by_key(Entry::order);
        Ok(found)
    }

    /// Every entry with measures of some stages' music, in fold order: what listening heard over time.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn measured(&self, stages: &[StagePrint]) -> Result<Vec<Entry>, JournalError> {
        let which = "WHERE measures IS NOT NULL AND kind IN ('mark', 'measured') ORDER BY utc_us, journal, seq";
        let mut found = entries(&self.connection, which, rusqlite::params![])
            .map_err(|error| self.trouble(&error))?;
        found.retain(|entry| {
            let cell = entry.record.cell;
            cell.is_some_and(|cell| stages.contains(&cell.stage))
        });
        Ok(found)
    }

    /// Every entry of telling clean from faulty, in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn discriminations(&self) -> Result<Vec<Entry>, JournalError> {
        let which = "WHERE kind = 'discriminated' ORDER BY utc_us, journal, seq";
        entries(&self.connection, which, rusqlite::params![]).map_err(|error| self.trouble(&error))
    }

    /// Every entry in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn read_all(&mut self) -> Result<Vec<Entry>, JournalError> {
        let path = self.path.clone();
        let told = |error: rusqlite::Error| JournalError::of(&path, &error);
        let transaction = self.connection.transaction().map_err(told)?;
        let order = "ORDER BY utc_us, journal, seq";
        let found = entries(&transaction, order, rusqlite::params![]).map_err(told)?;
        let seen = arrival(&transaction).map_err(told)?;
        drop(transaction);
        self.seen = seen;
        Ok(found)
    }

    /// Where practice was last, in any drill; nothing before the first session.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn last_place(&self) -> Result<Option<LastPlace>, JournalError> {
        let query = "SELECT drill, stage, tempo FROM entry \
             WHERE kind IN ('began', 'place') AND stage IS NOT NULL AND tempo IS NOT NULL \
             ORDER BY utc_us DESC, journal DESC, seq DESC LIMIT 1";
        self.place(query, rusqlite::params![])
    }

    /// Where practice was last in some stages' music, whatever the drill was called.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn last_place_in(&self, stages: &[StagePrint]) -> Result<Option<LastPlace>, JournalError> {
        // Prints are hexadecimal digits and nothing else, so they can stand in the text.
        let among: Vec<String> = stages.iter().map(|stage| format!("'{stage}'")).collect();
        let query = format!(
            "SELECT drill, stage, tempo FROM entry \
             WHERE kind IN ('began', 'place') AND tempo IS NOT NULL AND stage IN ({}) \
             ORDER BY utc_us DESC, journal DESC, seq DESC LIMIT 1",
            among.join(", ")
        );
        self.place(&query, rusqlite::params![])
    }

    fn place(
        &self,
        query: &str,
        values: &[&dyn rusqlite::ToSql],
    ) -> Result<Option<LastPlace>, JournalError> {
        let found = self
            .connection
            .query_row(query, values, |row| {
                Ok((row.get::<_, String>(0)?, row::cell(row, 1)?))
            })
            .optional()
            .map_err(|error| self.trouble(&error))?;
        Ok(found.and_then(|(drill, cell)| cell.map(|cell| LastPlace { drill, cell })))
    }

    /// The music that was marked under a drill's name, to tell the player when it was edited.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn stages_of(&self, drill: &str) -> Result<Vec<StagePrint>, JournalError> {
        let query = "SELECT DISTINCT stage FROM entry \
             WHERE drill = ?1 AND kind = 'mark' AND stage IS NOT NULL ORDER BY stage";
        let prints: rusqlite::Result<Vec<String>> = self
            .connection
            .prepare_cached(query)
            .and_then(|mut query| query.query_map([drill], |row| row.get(0))?.collect());
        let prints = prints.map_err(|error| self.trouble(&error))?;
        prints
            .iter()
            .map(|print| {
                StagePrint::parse(print).map_err(|error| {
                    JournalError::new(&self.path, Trouble::Damaged(error.to_string()))
                })
            })
            .collect()
    }

    /// Takes in another journal's entries; those that are known are not counted twice, and the
    /// result is the same in whatever order journals are merged.
    ///
    /// # Errors
    /// See [`Trouble`]; then nothing is taken in.
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

    /// The connection itself.
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
        arrival(&self.connection).map_err(|error| self.trouble(&error))
    }

    fn trouble(&self, error: &rusqlite::Error) -> JournalError {
        JournalError::of(&self.path, error)
    }
}

/// A file's device and number.
type FileName = (u64, u64);

#[cfg(unix)]
fn file_name(path: &Path) -> Option<FileName> {
    use std::os::unix::fs::MetadataExt;
    let found = std::fs::metadata(path).ok()?;
    Some((found.dev(), found.ino()))
}

/// Other systems do not let a file go that is open.
#[cfg(not(unix))]
fn file_name(path: &Path) -> Option<FileName> {
    path.exists().then_some((0, 0))
}

/// An entry whose place is held, under a name that the same entry gets wherever it is merged: its
/// journal's and its session's together, and its number there.
fn beside(entry: &Entry) -> Entry {
    let name = format!("{} {}", entry.journal, entry.record.id.session);
    Entry {
        journal: Uuid::from_u128(StagePrint::of(&name).0),
        seq: entry.record.id.number + 1,
        record: entry.record.clone(),
    }
}

/// Below which time no entry of a session goes whose clock is far behind the entry before, which
/// holds if the session's clock is the one that is wrong.
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

fn arrival(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("SELECT coalesce(max(arrival), 0) FROM entry", [], |row| {
        row.get(0)
    })
}

fn entries(
    connection: &Connection,
    which: &str,
    values: &[&dyn rusqlite::ToSql],
) -> rusqlite::Result<Vec<Entry>> {
    let query = format!("SELECT {} FROM entry {which}", row::COLUMNS);
    let mut query = connection.prepare_cached(&query)?;
    query.query_map(values, row::read)?.collect()
}

/// The first bytes of every SQLite 3 file (SQLite, Database File Format, 1.3.1).
const MAGIC: &[u8; 16] = b"SQLite format 3\0";

/// SQLite takes a file without its header for damaged or, when it is empty, for new.
pub(super) fn refuse_what_is_no_database(path: &Path) -> Result<(), JournalError> {
    let unreadable =
        |error: std::io::Error| JournalError::new(path, Trouble::Unreadable(error.to_string()));
    let mut file = match std::fs::File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(unreadable(error)),
    };
    let mut head = Vec::with_capacity(MAGIC.len());
    file.by_ref()
        .take(MAGIC.len() as u64)
        .read_to_end(&mut head)
        .map_err(unreadable)?;
    if head.is_empty() || head == MAGIC {
        Ok(())
    } else {
        Err(JournalError::new(path, Trouble::NotAJournal))
    }
}

/// Reads what the file says it is, and writes nothing.
pub(super) fn refuse_another_format(
    path: &Path,
    connection: &Connection,
) -> Result<(), JournalError> {
    let number = |name: &str| -> Result<i64, JournalError> {
        connection
            .pragma_query_value(None, name, |row| row.get(0))
            .map_err(|error| JournalError::of(path, &error))
    };
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(|error| JournalError::of(path, &error))?;
    let (application, found) = (number("application_id")?, number("user_version")?);
    if application != APPLICATION && !(application == 0 && found == 0 && tables == 0) {
        return Err(JournalError::new(path, Trouble::NotAJournal));
    }
    if found > FORMAT {
        let known = FORMAT;
        return Err(JournalError::new(path, Trouble::Newer { found, known }));
    }
    Ok(())
}

/// Two programs that make a journal at once meet here, and SQLite does not wait for this lock by
/// itself.
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

/// Raises an older journal step by step, all of them or none: the caller commits.
pub(super) fn raise(connection: &Connection, found: i64, steps: &[&str]) -> rusqlite::Result<()> {
    for (format, step) in (1_i64..).zip(steps).filter(|(format, _)| *format >= found) {
        connection.execute_batch(step)?;
        connection.pragma_update(None, "user_version", format + 1)?;
    }
    Ok(())
}

/// Makes the tables where there are none, raises an older journal, and reads the journal's name.
fn prepare(path: &Path, connection: &mut Connection) -> Result<Uuid, JournalError> {
    let told = |error: rusqlite::Error| JournalError::of(path, &error);
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(told)?;
    // Again, now that nobody else can write: another program may have made or raised it since.
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
