//! Looking after a journal: is it whole, a copy of it, and what can be saved of a damaged one.
//!
//! A file that is looked at is copied first and the copy opened, so that not a byte of it changes.

use super::error::{JournalError, Trouble};
use super::row;
use super::store::Journal;
use crate::practice::{Entry, Kind, RecordId};
use rusqlite::{Connection, OpenFlags};
use std::collections::{BTreeSet, HashSet};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// How a journal is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Health {
    /// Entries that read.
    pub entries: usize,
    /// Entries or parts of the file that do not read, at least; 0 for a whole journal.
    pub lost: usize,
    /// Journals whose entries it holds: more than one after a merge.
    pub journals: usize,
    /// Sessions.
    pub sessions: usize,
    /// First and last entry, microseconds since 1970.
    pub span: Option<(i64, i64)>,
    /// What is wrong, a sentence each.
    pub troubles: Vec<String>,
}

/// A least size of an entry in the file, bytes: the fixed columns alone take more.
const SMALLEST_ENTRY: u64 = 60;
/// Damage sentences that are told; more say nothing new.
const MOST_TOLD: usize = 20;

/// Looks a journal over and reads every entry that can be read, in fold order. The file itself is
/// not touched.
///
/// # Errors
/// The file cannot be read, is none of ours, or nothing of it can be made out.
pub fn look_over(path: &Path) -> Result<(Health, Vec<Entry>), JournalError> {
    let copy = Copied::of(path)?;
    let told = |error: rusqlite::Error| JournalError::of(path, &error);
    let connection =
        Connection::open_with_flags(&copy.file, OpenFlags::SQLITE_OPEN_READ_WRITE).map_err(told)?;
    if let Err(error) = super::store::refuse_another_format(path, &connection)
        && !matches!(error.trouble, Trouble::Damaged(_))
    {
        return Err(error);
    }
    let mut troubles = whole(&connection);
    let (mut entries, lost) = match all(&connection) {
        Ok(entries) => (entries, 0),
        Err(_) => one_by_one(&connection, copy.bytes).map_err(told)?,
    };
    entries.sort_by_key(Entry::order);
    if lost > 0 {
        troubles.push(format!(
            "{lost} entries or more cannot be read; {} can",
            entries.len()
        ));
    }
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
        journals: journals.len(),
        sessions: sessions.len(),
        span,
        troubles,
    };
    Ok((health, entries))
}

/// A copy of a journal and of what was not yet moved into it.
pub(super) struct Copied {
    folder: tempfile::TempDir,
    file: PathBuf,
    bytes: u64,
}

impl Copied {
    /// The copy's file.
    pub(super) fn file(&self) -> &Path {
        &self.file
    }

    /// The folder, which goes when this is dropped.
    pub(super) fn into_folder(self) -> tempfile::TempDir {
        self.folder
    }

    pub(super) fn of(path: &Path) -> Result<Self, JournalError> {
        let told =
            |error: std::io::Error| JournalError::new(path, Trouble::Unreadable(error.to_string()));
        super::store::refuse_what_is_no_database(path)?;
        let folder = tempfile::tempdir().map_err(told)?;
        let file = folder.path().join("copy.sqlite");
        // Not `copy`, which would keep that the file may not be written.
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

/// What SQLite itself finds wrong.
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

fn all(connection: &Connection) -> rusqlite::Result<Vec<Entry>> {
    let query = format!("SELECT {} FROM entry", row::COLUMNS);
    let mut query = connection.prepare(&query)?;
    query.query_map([], row::read)?.collect()
}

/// Every entry that can be reached by its own number, and how many could not.
fn one_by_one(connection: &Connection, bytes: u64) -> rusqlite::Result<(Vec<Entry>, usize)> {
    let query = format!(
        "SELECT {} FROM entry NOT INDEXED WHERE arrival = ?1",
        row::COLUMNS
    );
    let mut query = connection.prepare(&query)?;
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
    let mut entries = Vec::new();
    let mut lost = 0;
    for arrival in 1..=most {
        match query.query_row([arrival], row::read) {
            Ok(entry) => entries.push(entry),
            Err(rusqlite::Error::QueryReturnedNoRows) => {}
            Err(_) => lost += 1,
        }
    }
    Ok((entries, lost))
}

/// Undos that name a mark the journal does not have.
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
    /// Writes a whole copy of the journal, while others may go on using it.
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

    /// A check that found fault with a whole journal would send players to a rescue for nothing.
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

    /// One bad page of twenty once meant that a year's marks were given up.
    #[test]
    fn a_damaged_page_costs_its_own_entries_and_no_others() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("j.sqlite");
        drop(filled(&path, 1000));
        let mut bytes = std::fs::read(&path).expect("bytes");
        // Pages hold 4096 bytes; one in the middle of the entries is overwritten with noise.
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
