//! Looks after a journal: checks whether it is intact, copies it, and saves what can be read of a
//! damaged one.
//!
//! A file to be checked is copied first and only the copy is opened, so that not a byte of the file
//! changes.

use super::copied::Copied;
use super::error::{JournalError, Trouble};
use super::format::refuse_another_format;
use super::store::Journal;
use super::{row, trial};
use crate::practice::{Entry, Kind, RecordId};
use rusqlite::{Connection, OpenFlags};
use std::collections::{BTreeSet, HashSet};
use std::path::Path;
use uuid::Uuid;

/// The result of checking a journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Health {
    /// How many entries can be read.
    pub entries: usize,
    /// The least number of entries or parts of the file that cannot be read; 0 for an intact
    /// journal.
    pub lost: usize,
    /// The number of entries without a check sum, which were written before format 5.
    pub unsummed: usize,
    /// The number of journals that the entries come from; more than one after a merge.
    pub journals: usize,
    /// The number of sessions.
    pub sessions: usize,
    /// The times of the first and the last entry, in microseconds since 1970.
    pub span: Option<(i64, i64)>,
    /// The problems, one sentence each.
    pub troubles: Vec<String>,
}

/// The least size of an entry in the file, in bytes. Its fixed columns alone take more.
const SMALLEST_ENTRY: u64 = 60;
/// The most sentences about damage. More would tell nothing new.
const MOST_TOLD: usize = 20;

/// Checks a journal and reads every entry that can be read, in fold order. The file itself is not
/// changed.
///
/// # Errors
/// The file cannot be read, is no journal, or nothing in it can be read.
pub fn look_over(path: &Path) -> Result<(Health, Vec<Entry>), JournalError> {
    let copy = Copied::of(path)?;
    if copy.bytes() == 0 {
        return Ok((Health::empty(), Vec::new()));
    }
    let told = |error: rusqlite::Error| JournalError::of(path, &error);
    let mut connection =
        Connection::open_with_flags(copy.file(), OpenFlags::SQLITE_OPEN_READ_WRITE)
            .map_err(told)?;
    if let Err(error) = refuse_another_format(path, &connection)
        && !matches!(error.trouble, Trouble::Damaged(_))
    {
        return Err(error);
    }
    let mut troubles = whole(&connection);
    troubles.extend(trial::raised(&mut connection));
    let found = match all(&connection) {
        Ok(found) => found,
        Err(_) => one_by_one(&connection, copy.bytes()).map_err(told)?,
    };
    let Found {
        mut entries,
        mut lost,
        altered,
        unsummed,
    } = found;
    entries.sort_by_key(Entry::order);
    if lost > 0 {
        troubles.push(format!(
            "{lost} entries or more cannot be read; {} can",
            entries.len()
        ));
    }
    if altered > 0 {
        lost += altered;
        troubles.push(format!(
            "{} what was written: the check sum is of something else",
            crate::wording::count(altered, "entry does not say", "entries do not say")
        ));
    }
    troubles.extend(trial::strange_parts(&connection));
    troubles.extend(trial::stores(&mut connection));
    troubles.extend(strangers(&entries));
    let journals: BTreeSet<Uuid> = entries.iter().map(|entry| entry.journal).collect();
    let sessions: BTreeSet<Uuid> = entries
        .iter()
        .map(|entry| entry.record.id.session)
        .collect();
    let span = entries
        .first()
        .zip(entries.last())
        .map(|(first, last)| (first.record.utc_us, last.record.utc_us));
    let health = Health {
        entries: entries.len(),
        lost,
        unsummed,
        journals: journals.len(),
        sessions: sessions.len(),
        span,
        troubles,
    };
    Ok((health, entries))
}

impl Health {
    /// The result for a file of no bytes.
    fn empty() -> Self {
        Self {
            entries: 0,
            lost: 0,
            unsummed: 0,
            journals: 0,
            sessions: 0,
            span: None,
            troubles: vec![
                "the file is empty: what it held is gone, or it was never a journal".to_owned(),
            ],
        }
    }
}

/// The entries read from a journal, with counts of what is wrong.
#[derive(Default)]
struct Found {
    entries: Vec<Entry>,
    /// The number of entries that cannot be read.
    lost: usize,
    /// The number of entries that can be read but differ from their check sum. They are left out.
    altered: usize,
    /// The number of entries without a check sum.
    unsummed: usize,
}

impl Found {
    fn add(&mut self, (entry, sum): (Entry, Option<i64>)) {
        match sum {
            Some(sum) if sum != row::sum(&entry) => self.altered += 1,
            sum => {
                self.unsummed += usize::from(sum.is_none());
                self.entries.push(entry);
            }
        }
    }
}

/// An entry with its check sum, where it has one.
fn summed(row: &rusqlite::Row<'_>) -> rusqlite::Result<(Entry, Option<i64>)> {
    Ok((row::read(row)?, row.get("sum")?))
}

/// The problems that SQLite's own integrity check finds.
fn whole(connection: &Connection) -> Vec<String> {
    let found: rusqlite::Result<Vec<String>> = connection
        .prepare("PRAGMA integrity_check(20)")
        .and_then(|mut query| query.query_map([], |row| row.get(0))?.collect());
    match found {
        Ok(lines) if lines.len() == 1 && lines[0] == "ok" => Vec::new(),
        Ok(lines) => lines.into_iter().take(MOST_TOLD).collect(),
        Err(error) => vec![error.to_string()],
    }
}

fn all(connection: &Connection) -> rusqlite::Result<Found> {
    let query = format!("SELECT {}, sum FROM entry", row::COLUMNS);
    let mut query = connection.prepare(&query)?;
    let mut found = Found::default();
    for read in query.query_map([], summed)? {
        found.add(read?);
    }
    Ok(found)
}

/// Reads each entry by its own number. Counts those that cannot be read.
fn one_by_one(connection: &Connection, bytes: u64) -> rusqlite::Result<Found> {
    let query = |sum: &str| {
        format!(
            "SELECT {}, {sum} FROM entry NOT INDEXED WHERE arrival = ?1",
            row::COLUMNS
        )
    };
    // a journal that could not be converted to the present format has no check sums
    let mut query = connection
        .prepare(&query("sum"))
        .or_else(|_| connection.prepare(&query("NULL AS sum")))?;
    let last: i64 = connection
        .query_row(
            "SELECT seq FROM sqlite_sequence WHERE name = 'entry'",
            [],
            |row| row.get(0),
        )
        .unwrap_or(i64::MAX);
    let most = i64::try_from(bytes / SMALLEST_ENTRY)
        .unwrap_or(i64::MAX)
        .min(last);
    let mut found = Found::default();
    for arrival in 1..=most {
        match query.query_row([arrival], summed) {
            Ok(read) => found.add(read),
            Err(rusqlite::Error::QueryReturnedNoRows) => {}
            Err(_) => found.lost += 1,
        }
    }
    Ok(found)
}

/// A sentence about undos whose marks are not in the journal; none where all are there.
fn strangers(entries: &[Entry]) -> Option<String> {
    let known: HashSet<RecordId> = entries.iter().map(|entry| entry.record.id).collect();
    let strange = entries
        .iter()
        .filter(|entry| matches!(&entry.record.kind, Kind::Undo { mark } if !known.contains(mark)))
        .count();
    (strange > 0).then(|| {
        let undos = crate::wording::count(
            strange,
            "mark that was taken back is",
            "marks that were taken back are",
        );
        format!("{undos} not here: a journal that was never merged may hold them")
    })
}

impl Journal {
    /// Writes a whole copy of the journal, while other programs may go on using it.
    ///
    /// # Errors
    /// See [`Trouble`]; the target must not exist.
    pub fn back_up(&self, target: &Path) -> Result<(), JournalError> {
        let told = |error: rusqlite::Error| JournalError::of(target, &error);
        let name = target.to_str().ok_or_else(|| {
            JournalError::new(
                target,
                Trouble::Unreadable("its name is not UTF-8".to_owned()),
            )
        })?;
        self.connection()
            .execute("VACUUM INTO ?1", [name])
            .map_err(told)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::{By, CellKey, Mark, Record, Rung, StagePrint};
    use crate::units::Bpm;

    fn record(number: u64) -> Record {
        Record {
            id: RecordId {
                session: Uuid::from_u128(9),
                number,
            },
            utc_us: 1_000 * i64::try_from(number).expect("small"),
            offset_s: 0,
            kind: Kind::Mark {
                repetition: number,
                mark: Mark::Clean,
                needed: 5,
                free: false,
            },
            drill: "ours".to_owned(),
            cell: Some(CellKey {
                stage: StagePrint(1),
                rung: Rung::Tempo(Bpm::whole(60).expect("a tempo")),
            }),
            by: Some(By::Key),
            thresholds: None,
            measures: None,
            version: "test".to_owned(),
        }
    }

    fn filled(path: &Path, count: u64) -> Journal {
        let mut journal = Journal::open(path).expect("a journal");
        let records: Vec<Record> = (0..count).map(record).collect();
        journal.append(&records).expect("stored");
        journal
    }

    /// A check that found a problem in an intact journal would send players to a rescue for
    /// nothing.
    #[test]
    fn a_whole_journal_is_whole_also_while_it_is_open() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("j.sqlite");
        let _open = filled(&path, 50);
        let (health, entries) = look_over(&path).expect("looked over");
        assert_eq!((health.entries, health.lost, entries.len()), (50, 0, 50));
        assert!(health.troubles.is_empty(), "{:?}", health.troubles);
        assert_eq!(health.span, Some((0, 49_000)));
    }

    /// One damaged page must cost only the entries in it, and not a year's marks.
    #[test]
    fn a_damaged_page_costs_its_own_entries_and_no_others() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("j.sqlite");
        drop(filled(&path, 1000));
        let mut bytes = std::fs::read(&path).expect("bytes");
        // A page has 4096 bytes. One in the middle of the entries is overwritten with noise.
        let text = b"test";
        let page = (8..bytes.len() / 4096 - 2)
            .find(|page| {
                let page = &bytes[page * 4096..(page + 1) * 4096];
                page[0] == 13 && page.windows(4).filter(|part| part == text).count() > 10
            })
            .expect("a page of entries");
        for byte in &mut bytes[page * 4096..(page + 1) * 4096] {
            *byte = byte.wrapping_mul(31).wrapping_add(7);
        }
        std::fs::write(&path, &bytes).expect("written");
        let (health, entries) = look_over(&path).expect("looked over");
        assert!(health.lost > 0 && !health.troubles.is_empty(), "{health:?}");
        assert!(entries.len() > 900, "{} of 1000", entries.len());
        assert_eq!(std::fs::read(&path).expect("bytes"), bytes, "never touched");
        let saved = folder.path().join("saved.sqlite");
        let mut fresh = Journal::open(&saved).expect("a new journal");
        fresh.merge(&entries).expect("merged");
        assert_eq!(fresh.read_all().expect("read"), entries);
    }

    /// A bit flipped by a disk could turn one mark into another. Of a thousand flipped bits each is
    /// either found, or changes nothing that is shown.
    #[test]
    fn a_flipped_bit_is_found_or_changes_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("j.sqlite");
        let mut journal = filled(&path, 60);
        let entries = journal.read_all().expect("read");
        let marks = journal.marks().expect("marks");
        // the journal is closed, so that everything is in the one file
        drop(journal);
        let bytes = std::fs::read(&path).expect("bytes");
        let spoilt = folder.path().join("spoilt.sqlite");
        let mut random = fastrand::Rng::with_seed(21);
        let mut found = 0;
        for flip in 0..1000 {
            let mut other = bytes.clone();
            let place = random.usize(..other.len());
            other[place] ^= 1 << random.u8(..8);
            std::fs::write(&spoilt, &other).expect("written");
            match look_over(&spoilt) {
                Ok((health, read)) if health.troubles.is_empty() => {
                    assert_eq!(read, entries, "flip {flip} at {place}");
                    let copy = Journal::open_a_copy(&spoilt).expect("it opens");
                    assert_eq!(
                        copy.marks().expect("marks"),
                        marks,
                        "flip {flip} at {place}"
                    );
                }
                _ => found += 1,
            }
        }
        assert!(found > 100, "{found} of 1000");
    }

    #[track_caller]
    fn troubled(what: &str, expected: &str) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("j.sqlite");
        drop(filled(&path, 3));
        let raw = Connection::open(&path).expect("the file");
        raw.execute_batch(what).expect(what);
        drop(raw);
        let (health, entries) = look_over(&path).expect("looked over");
        assert_eq!(entries.len(), 3, "{what}");
        let told = health.troubles.join("; ");
        assert!(told.contains(expected), "{what}: {told}");
    }

    /// A trigger or view that somebody added to the file could change what is stored without being
    /// noticed.
    #[test]
    fn triggers_and_views_of_another_hand_are_told() {
        troubled(
            "CREATE TRIGGER spy AFTER INSERT ON entry BEGIN DELETE FROM journal; END",
            "the trigger `spy` is not the program's own",
        );
        troubled(
            "CREATE TRIGGER refuse BEFORE INSERT ON entry BEGIN SELECT RAISE(ABORT, 'no'); END",
            "no entry can be stored: no",
        );
        troubled(
            "CREATE TRIGGER twice AFTER INSERT ON entry WHEN new.seq < 1000 BEGIN
             INSERT INTO entry SELECT NULL, journal, seq + 1000, utc_us, offset_s, session,
             number + 1000, kind, drill, stage, tempo, by, repetition, mark, needed, free,
             names_session, names_number, words, thresholds, measures, version, sum
             FROM entry WHERE arrival = new.arrival; END",
            "an entry is not stored as it is",
        );
        troubled(
            "CREATE VIEW more AS SELECT 1",
            "the view `more` is not the program's own",
        );
        troubled(
            "DROP VIEW playing; CREATE VIEW playing AS SELECT 1",
            "the view `playing` is not as the program makes it",
        );
        troubled(
            "DROP TRIGGER entry_is_never_changed",
            "the trigger `entry_is_never_changed` is missing",
        );
        troubled(
            "DROP INDEX entry_by_stage",
            "the index `entry_by_stage` is missing",
        );
    }

    #[test]
    fn an_empty_file_is_no_whole_journal() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("j.sqlite");
        std::fs::write(&path, b"").expect("written");
        let (health, entries) = look_over(&path).expect("looked over");
        assert!(entries.is_empty() && health.troubles[0].contains("empty"));
        assert_eq!(std::fs::read(&path).expect("bytes"), b"", "never touched");
    }

    /// When a journal's file is deleted while open, marks must not be written into the deleted file
    /// and called stored.
    #[cfg(unix)]
    #[test]
    fn a_journal_that_was_taken_away_stores_nothing_and_says_so() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("data/j.sqlite");
        let mut journal = filled(&path, 3);
        let away = folder.path().join("away");
        std::fs::rename(folder.path().join("data"), &away).expect("moved");
        let error = journal.append(&[record(9)]).expect_err("it is gone");
        assert_eq!(error.trouble, Trouble::Gone);
        std::fs::create_dir(folder.path().join("data")).expect("a folder");
        std::fs::write(&path, b"another").expect("a file");
        assert!(
            journal.append(&[record(9)]).is_err(),
            "another file is none of ours"
        );
        std::fs::remove_dir_all(folder.path().join("data")).expect("gone");
        std::fs::rename(&away, folder.path().join("data")).expect("back");
        journal.append(&[record(9)]).expect("it is back");
        assert_eq!(journal.read_all().expect("read").len(), 4);
    }

    #[test]
    fn a_backup_is_the_same_journal() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut journal = filled(&folder.path().join("j.sqlite"), 20);
        let target = folder.path().join("b.sqlite");
        journal.back_up(&target).expect("backed up");
        let mut copy = Journal::open(&target).expect("a journal");
        assert_eq!(copy.id(), journal.id());
        assert_eq!(
            copy.read_all().expect("read"),
            journal.read_all().expect("read")
        );
        assert!(journal.back_up(&target).is_err(), "never overwritten");
    }
}
