//! The format of a journal's file, and which files are not journals.

use super::error::{JournalError, Trouble};
use rusqlite::Connection;
use std::io::Read;
use std::path::Path;

/// The SQL that raises a journal from each format to the next, beginning with 1 to 2; `schema.sql`
/// makes a new journal as all of them together leave it. A step that has been released is never
/// changed.
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
    // `by_heart` is a new kind of entry.
    "",
];

/// The newest format of the journal this program knows, in SQLite's `user_version`.
pub const FORMAT: i64 = 1 + STEPS.len() as i64;

/// Says in SQLite's `application_id` that the file is one of ours: `GRun` in ASCII.
pub(super) const APPLICATION: i64 = 0x4752_756e;

pub(super) const SCHEMA: &str = include_str!("schema.sql");

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

/// Raises an older journal step by step, all of them or none: the caller commits.
pub(super) fn raise(connection: &Connection, found: i64, steps: &[&str]) -> rusqlite::Result<()> {
    for (format, step) in (1_i64..).zip(steps).filter(|(format, _)| *format >= found) {
        connection.execute_batch(step)?;
        connection.pragma_update(None, "user_version", format + 1)?;
    }
    Ok(())
}
