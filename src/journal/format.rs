//! The format of a journal's file, and the checks that refuse other files.

use super::error::{JournalError, Trouble};
use rusqlite::Connection;
use std::io::Read;
use std::path::Path;

/// The SQL that converts a journal from each format to the next, beginning with 1 to 2.
/// `schema.sql` makes a new journal as all steps together leave it. A released step is never
/// changed.
pub(super) const STEPS: &[&str] = &[
    // `tried` and `tried_alone` are new kinds of entry. The tables stay the same; the new number
    // makes programs that do not know these kinds refuse the journal.
    "",
    // A rung may be a tone length at a tempo. Stored values stay the same; the new number makes
    // programs that do not know such a rung refuse the journal instead of taking it for damaged.
    "",
    // `discriminated` is a new kind of entry. There are few of them, and the index finds them
    // without reading the others.
    "CREATE INDEX entry_by_discrimination ON entry (utc_us, journal, seq) WHERE kind = 'discriminated';",
    // Each new entry has a check sum; older entries have none, because a table is only added to.
    // The length of a playing stretch is the time that sound was heard, where that is known. An
    // index finds the music of a drill without reading everything.
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
    // `by_heart` is a new kind of entry.
    "",
];

/// The newest format that this program knows, as stored in SQLite's `user_version`.
pub const FORMAT: i64 = 1 + STEPS.len() as i64;

/// The value of SQLite's `application_id` that marks a file as a journal: `GRun` in ASCII.
pub(super) const APPLICATION: i64 = 0x4752_756e;

pub(super) const SCHEMA: &str = include_str!("schema.sql");

/// The first bytes of every SQLite 3 file (SQLite, Database File Format, 1.3.1).
const MAGIC: &[u8; 16] = b"SQLite format 3\0";

/// Refuses a file without SQLite's header, which SQLite itself would take for damaged or, when it
/// is empty, for new.
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

/// Refuses a file of another program or of a newer format. Nothing is written.
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

/// Converts an older journal step by step. The caller commits, so that either all steps or none are
/// taken.
pub(super) fn raise(connection: &Connection, found: i64, steps: &[&str]) -> rusqlite::Result<()> {
    for (format, step) in (1_i64..).zip(steps).filter(|(format, _)| *format >= found) {
        connection.execute_batch(step)?;
        connection.pragma_update(None, "user_version", format + 1)?;
    }
    Ok(())
}
