//! The laws of the journal, each a test. Where two programs or a killed one are needed, the test
//! starts itself again: the other process runs the same test with a journal in its environment.

use super::*;
use crate::practice::{
    By, CellKey, CellStatus, Entry, Event, Hand, Kind, Mark, Moment, Plan, PlannedStage, Record,
    RecordId, Rung, StagePrint, replay, step,
};
use rusqlite::Connection;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;
use uuid::Uuid;

pub(super) fn cell(stage: u128) -> CellKey {
    CellKey {
        stage: StagePrint(stage),
        rung: Rung::parse("66.5").expect("a tempo"),
    }
}

pub(super) fn record(session: u128, number: u64, utc_us: i64, kind: Kind) -> Record {
    Record {
        id: RecordId {
            session: Uuid::from_u128(session),
            number,
        },
        utc_us,
        offset_s: -3600,
        kind,
        drill: "a drill of our own".to_owned(),
        cell: Some(cell(1)),
        by: Some(By::Pedal),
        thresholds: None,
        measures: None,
        version: "0.1.0".to_owned(),
    }
}

fn clean(session: u128, number: u64, utc_us: i64) -> Record {
    let kind = Kind::Mark {
        repetition: number,
        mark: Mark::Clean,
        needed: 3,
        free: false,
    };
    record(session, number, utc_us, kind)
}

struct Home {
    folder: TempDir,
}

impl Home {
    fn new() -> Self {
        Self {
            folder: TempDir::new().expect("a folder"),
        }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("deep/down/journal.db")
    }

    fn open(&self) -> Journal {
        Journal::open(&self.path()).expect("a journal")
    }
}

fn trouble(path: &Path) -> Trouble {
    Journal::open(path).expect_err("refused").trouble
}

// Entries.

/// Every kind and every field: one that is dropped or swapped would rewrite history silently.
#[test]
fn every_entry_reads_back_as_it_was_stored() {
    let about = RecordId {
        session: Uuid::from_u128(7),
        number: 3,
    };
    let kinds = [
        Kind::Began,
        Kind::Place,
        Kind::Playing,
        Kind::Paused,
        Kind::Ended,
        Kind::Mark {
            repetition: 5,
            mark: Mark::NotClean,
            needed: 5,
            free: true,
        },
        Kind::Undo { mark: about },
        Kind::Measured { repetition: 6 },
        Kind::Discriminated,
        Kind::Tried {
            repetition: 7,
            alone: true,
        },
        Kind::Tried {
            repetition: 8,
            alone: false,
        },
        Kind::Word {
            about: Some(about),
            text: "the 'B' felt heavy\n".to_owned(),
        },
        Kind::Word {
            about: None,
            text: String::new(),
        },
    ];
    let by = [
        None,
        Some(By::Key),
        Some(By::Pedal),
        Some(By::Ear),
        Some(By::Assumed),
    ];
    let records: Vec<Record> = kinds
        .into_iter()
        .zip(by.into_iter().cycle())
        .zip(0..)
        .map(|((kind, by), number)| Record {
            by,
            cell: (number % 3 != 0).then(|| cell(u128::MAX - u128::from(number))),
            thresholds: (number % 2 == 0).then(|| r#"{"crossing_ms":12.0}"#.to_owned()),
            measures: (number % 2 == 1).then(|| r#"{"playing":true}"#.to_owned()),
            ..record(1, number, 1_000 + number as i64, kind)
        })
        .collect();
    let home = Home::new();
    let mut journal = home.open();
    let own = journal.append(&records).expect("stored").own;
    assert_eq!(
        own.iter().map(|entry| &entry.record).collect::<Vec<_>>(),
        records.iter().collect::<Vec<_>>()
    );
    drop(journal);
    assert_eq!(home.open().read_all().expect("read"), own);
}

/// Where a tune fails is told from the last repetitions, also after a year of it.
#[test]
fn the_latest_entries_of_each_stage_come_in_order() {
    let home = Home::new();
    let mut journal = home.open();
    let other = Record {
        cell: Some(cell(2)),
        ..clean(1, 9, 15)
    };
    let records = [
        clean(1, 0, 10),
        clean(1, 1, 12),
        clean(1, 2, 14),
        other,
        clean(1, 4, 20),
    ];
    journal.append(&records).expect("stored");
    let numbers = |stages: &[StagePrint], most: u32| -> Vec<u64> {
        let found = journal.latest(stages, most).expect("read");
        found.iter().map(|entry| entry.record.id.number).collect()
    };
    assert_eq!(numbers(&[StagePrint(1)], 2), [2, 4]);
    assert_eq!(numbers(&[StagePrint(1), StagePrint(2)], 1), [9, 4]);
    assert_eq!(numbers(&[StagePrint(7)], 5), [0; 0]);
}

#[test]
fn journal_and_seq_are_unique_and_seq_counts_from_1() {
    let home = Home::new();
    let mut journal = home.open();
    let first = journal
        .append(&[clean(1, 0, 10), clean(1, 1, 20)])
        .expect("stored");
    let second = journal.append(&[clean(1, 2, 30)]).expect("stored");
    let places: Vec<(Uuid, u64)> = first
        .own
        .iter()
        .chain(&second.own)
        .map(|entry| (entry.journal, entry.seq))
        .collect();
    let id = journal.id();
    assert_eq!(places, [(id, 1), (id, 2), (id, 3)]);
    drop(journal);
    assert_eq!(home.open().id(), id, "the name stays");
    let twice = Connection::open(home.path()).expect("the file").execute(
        "INSERT INTO entry SELECT NULL, journal, seq, utc_us, offset_s, randomblob(16), number, \
         kind, drill, stage, tempo, by, repetition, mark, needed, free, names_session, \
         names_number, words, thresholds, measures, version, sum FROM entry WHERE seq = 1",
        [],
    );
    let said = twice.expect_err("the place is taken").to_string();
    assert!(said.contains("entry.journal, entry.seq"), "{said}");
}

/// A clock set back by a day must not put today's marks before yesterday's.
#[test]
fn the_time_never_goes_below_the_last() {
    let home = Home::new();
    let mut journal = home.open();
    journal
        .append(&[clean(1, 0, 86_400_000_000)])
        .expect("stored");
    drop(journal);
    let mut journal = home.open();
    let own = journal
        .append(&[clean(2, 0, 5), clean(2, 1, 90_000_000_000), clean(2, 2, 7)])
        .expect("stored")
        .own;
    let times: Vec<i64> = own.iter().map(|entry| entry.record.utc_us).collect();
    assert_eq!(times, [86_400_000_000, 90_000_000_000, 90_000_000_000]);
    let order: Vec<u64> = journal
        .read_all()
        .expect("read")
        .iter()
        .map(|entry| entry.seq)
        .collect();
    assert_eq!(order, [1, 2, 3, 4]);
}

/// One evening with a clock years ahead once dated every later mark as that evening, also where it
/// was the journal's first.
#[test]
fn one_wrong_clock_does_not_date_what_comes_after() {
    const DAY: i64 = 86_400_000_000;
    // in 2027
    const FIRST: i64 = 21_000;
    let days = |sessions: &[(u128, u64, i64)]| -> Vec<i64> {
        let home = Home::new();
        let mut journal = home.open();
        let stored = sessions.iter().flat_map(|(session, number, day)| {
            let own = journal.append(&[clean(*session, *number, day * DAY)]);
            own.expect("stored").own
        });
        let times: Vec<i64> = stored.map(|entry| entry.record.utc_us / DAY).collect();
        times
    };
    let usual = [
        (1, 0, FIRST),
        (2, 0, 2 * FIRST),
        // right again
        (3, 0, FIRST + 1),
        (3, 1, FIRST + 2),
        // never back in a session
        (3, 2, FIRST - 10),
        // a computer that woke in 1970, and one that is a little behind
        (4, 0, 0),
        (5, 0, FIRST + 1),
    ];
    let expected = [0, FIRST, 1, 2, 2, 2, 2].map(|day| FIRST + day);
    assert_eq!(days(&usual), expected);
    let ahead_at_first = [(1, 0, 2 * FIRST), (2, 0, FIRST), (3, 0, FIRST + 1)];
    assert_eq!(days(&ahead_at_first), [2 * FIRST, FIRST, FIRST + 1]);
    // no clock with a date yet, then one
    let woken = [(1, 0, 0), (2, 0, 0), (3, 0, FIRST), (4, 0, 0)];
    assert_eq!(days(&woken), [0, 0, FIRST, FIRST]);
}

#[test]
fn nothing_stored_can_be_changed_or_removed() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let raw = Connection::open(home.path()).expect("the file");
    for attempt in ["UPDATE entry SET mark = 'not_clean'", "DELETE FROM entry"] {
        let said = raw.execute(attempt, []).expect_err(attempt).to_string();
        assert!(said.contains("append-only"), "{said}");
    }
    assert_eq!(home.open().read_all().expect("read").len(), 1);
}

#[test]
fn entries_are_found_by_their_music_whatever_the_drill_is_called() {
    let home = Home::new();
    let mut journal = home.open();
    let renamed = Record {
        drill: "renamed".to_owned(),
        ..clean(1, 1, 20)
    };
    let other = Record {
        cell: Some(cell(2)),
        ..clean(1, 2, 30)
    };
    journal
        .append(&[clean(1, 0, 10), renamed, other])
        .expect("stored");
    let found = journal
        .read(&[StagePrint(1), StagePrint(1), StagePrint(9)])
        .expect("read");
    let numbers: Vec<u64> = found.iter().map(|entry| entry.record.id.number).collect();
    assert_eq!(numbers, [0, 1]);
    assert_eq!(journal.stages_of("renamed").expect("read"), [StagePrint(1)]);
    assert_eq!(journal.stages_of("never played").expect("read"), []);
}

/// A board folded from what is read of its marks alone is that of every entry.
#[test]
fn a_board_is_folded_from_its_marks_alone() {
    let home = Home::new();
    let mut journal = home.open();
    let mut random = fastrand::Rng::with_seed(3);
    let records: Vec<Record> = (0..200)
        .map(|number| {
            let time = 1000 * number as i64;
            match random.u8(..6) {
                0 => record(1, number, time, Kind::Playing),
                1 if number > 3 => {
                    let mark = RecordId {
                        session: Uuid::from_u128(1),
                        number: random.u64(..number),
                    };
                    record(1, number, time, Kind::Undo { mark })
                }
                2 => record(
                    1,
                    number,
                    time,
                    Kind::Word {
                        about: None,
                        text: "x".to_owned(),
                    },
                ),
                3 => record(
                    1,
                    number,
                    time,
                    Kind::Tried {
                        repetition: number,
                        alone: random.bool(),
                    },
                ),
                _ => clean(1, number, time),
            }
        })
        .collect();
    journal.append(&records).expect("stored");
    let stage = PlannedStage {
        print: StagePrint(1),
        rungs: vec![cell(1).rung],
        real_time: false,
    };
    let board = |entries: &[Entry]| {
        let plan = Plan::new("a drill of our own", vec![stage.clone()]);
        replay(plan, entries).board().clone()
    };
    let all = journal.read(&[StagePrint(1)]).expect("read");
    let bare = journal.board(&[StagePrint(1)]).expect("read");
    assert!(bare.len() < all.len());
    assert_eq!(board(&bare), board(&all));
}

/// Progress reads what was heard, and nothing else, of a year.
#[test]
fn measures_are_found_by_their_music_in_order() {
    let home = Home::new();
    let mut journal = home.open();
    let heard = |number, utc_us, stage| Record {
        measures: Some(r#"{"playing":true}"#.to_owned()),
        cell: Some(cell(stage)),
        ..clean(1, number, utc_us)
    };
    journal
        .append(&[
            heard(0, 10, 1),
            clean(1, 1, 20),
            heard(2, 30, 2),
            heard(3, 40, 1),
        ])
        .expect("stored");
    let found = journal
        .measured(&[StagePrint(1), StagePrint(9)])
        .expect("read");
    let numbers: Vec<u64> = found.iter().map(|entry| entry.record.id.number).collect();
    assert_eq!(numbers, [0, 3]);
}

#[test]
fn the_last_place_is_where_the_last_session_was_going() {
    let home = Home::new();
    let mut journal = home.open();
    assert_eq!(journal.last_place().expect("read"), None);
    let place = |number, stage, kind| Record {
        cell: Some(cell(stage)),
        ..record(1, number, 10 + number as i64, kind)
    };
    journal
        .append(&[
            place(0, 1, Kind::Began),
            place(1, 2, Kind::Place),
            // A late mark in the cell before moves nobody.
            place(2, 1, Kind::Paused),
            clean(1, 3, 50),
        ])
        .expect("stored");
    let last = journal.last_place().expect("read").expect("a place");
    assert_eq!(
        (last.drill.as_str(), last.cell),
        ("a drill of our own", cell(2))
    );
    let in_first = journal.last_place_in(&[StagePrint(1)]).expect("read");
    assert_eq!(in_first.map(|place| place.cell), Some(cell(1)));
    assert_eq!(journal.last_place_in(&[]).expect("read"), None);
}

// Opening.

#[test]
fn opening_makes_the_folders_and_an_empty_journal() {
    let home = Home::new();
    assert!(home.open().read_all().expect("read").is_empty());
    assert!(home.path().is_file());
}

#[test]
fn it_is_written_ahead_and_forced_to_the_disk() {
    let home = Home::new();
    let journal = home.open();
    let connection = journal.connection();
    let text = |name: &str| -> String {
        connection
            .pragma_query_value(None, name, |row| row.get(0))
            .expect("a pragma")
    };
    let number = |name: &str| -> i64 {
        connection
            .pragma_query_value(None, name, |row| row.get(0))
            .expect("a pragma")
    };
    assert_eq!(text("journal_mode"), "wal");
    assert_eq!(number("synchronous"), 2, "FULL");
    assert_eq!(number("busy_timeout"), 5_000);
}

fn bytes_of(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut files: Vec<(PathBuf, Vec<u8>)> = std::fs::read_dir(folder)
        .expect("a folder")
        .map(|file| file.expect("a file").path())
        // The shared memory is an index that any reader may write.
        .filter(|path| !path.to_string_lossy().ends_with("-shm"))
        .map(|path| (path.clone(), std::fs::read(&path).expect("bytes")))
        .filter(|(path, bytes)| !(path.to_string_lossy().ends_with("-wal") && bytes.is_empty()))
        .collect();
    files.sort();
    files
}

/// Also when the newer format stands in the write-ahead log only, as a killed program leaves it:
/// opening must not even move it into the file.
#[test]
fn a_newer_journal_is_refused_with_a_sentence_and_left_untouched() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let raise = |path: &Path| {
        let raw = Connection::open(path).expect("the file");
        raw.pragma_update(None, "user_version", FORMAT + 1)
            .expect("raised");
        raw
    };
    let killed = TempDir::new().expect("a folder");
    let raw = raise(&home.path());
    for file in ["journal.db", "journal.db-wal"] {
        let from = home.path().with_file_name(file);
        std::fs::copy(from, killed.path().join(file)).expect("copied");
    }
    drop(raw);
    for path in [home.path(), killed.path().join("journal.db")] {
        let folder = path.parent().expect("a folder");
        let before = bytes_of(folder);
        let error = Journal::open(&path).expect_err("newer");
        assert_eq!(
            error.trouble,
            Trouble::Newer {
                found: FORMAT + 1,
                known: FORMAT
            }
        );
        assert!(error.to_string().contains("newer gracerung"), "{error}");
        assert_eq!(bytes_of(folder), before);
    }
}

#[test]
fn what_is_no_journal_is_refused_and_left_untouched() {
    let folder = TempDir::new().expect("a folder");
    let text = folder.path().join("text");
    std::fs::write(&text, "title: Grip from D\n").expect("written");
    let short = folder.path().join("short");
    std::fs::write(&short, "SQLite").expect("written");
    let other = folder.path().join("other.db");
    let raw = Connection::open(&other).expect("a database");
    raw.execute_batch("CREATE TABLE recipes (name TEXT)")
        .expect("made");
    drop(raw);
    let before = bytes_of(folder.path());
    for path in [&text, &short, &other] {
        assert_eq!(trouble(path), Trouble::NotAJournal, "{}", path.display());
    }
    assert_eq!(bytes_of(folder.path()), before);
}

#[test]
fn an_empty_file_becomes_a_journal() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("journal.db");
    std::fs::write(&path, "").expect("written");
    Journal::open(&path).expect("a journal");
}

/// A page of noise in the middle: told, and the file stays for someone to rescue.
#[test]
fn a_damaged_journal_is_told_and_never_overwritten() {
    let home = Home::new();
    let mut journal = home.open();
    let records: Vec<Record> = (0..400).map(|number| clean(1, number, 10)).collect();
    journal.append(&records).expect("stored");
    drop(journal);
    let mut bytes = std::fs::read(home.path()).expect("bytes");
    for byte in &mut bytes[4096..] {
        *byte = byte.wrapping_mul(31).wrapping_add(7);
    }
    std::fs::write(home.path(), &bytes).expect("written");
    let error = Journal::open(&home.path())
        .and_then(|mut journal| journal.read_all())
        .expect_err("damaged");
    assert!(matches!(error.trouble, Trouble::Damaged(_)), "{error}");
    assert!(error.to_string().contains("was not overwritten"));
    assert_eq!(std::fs::read(home.path()).expect("bytes"), bytes);
}

/// A value that no version writes is damage too, and not a guess.
#[test]
fn a_strange_value_is_told_with_its_text() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let raw = Connection::open(home.path()).expect("the file");
    raw.execute_batch("DROP TRIGGER entry_is_never_changed; UPDATE entry SET tempo = 'brisk';")
        .expect("changed");
    let error = home.open().read_all().expect_err("strange");
    assert!(matches!(error.trouble, Trouble::Damaged(_)), "{error}");
    assert!(error.to_string().contains("`brisk`"), "{error}");
}

#[test]
fn a_folder_that_cannot_be_made_is_told() {
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, "in the way").expect("written");
    assert!(matches!(
        trouble(&file.join("journal.db")),
        Trouble::Folder(_)
    ));
    assert!(matches!(trouble(folder.path()), Trouble::Unreadable(_)));
}

#[test]
fn a_full_disk_and_a_read_only_one_store_nothing_and_say_so() {
    let home = Home::new();
    let mut journal = home.open();
    journal.append(&[clean(1, 0, 10)]).expect("stored");
    let large = Record {
        measures: Some("x".repeat(1 << 20)),
        ..clean(1, 1, 20)
    };

    let limit = |journal: &Journal, pages: i64| {
        journal
            .connection()
            .pragma_update_and_check(None, "max_page_count", pages, |row| row.get::<_, i64>(0))
            .expect("a limit")
    };
    limit(&journal, 1);
    let error = journal
        .append(&[clean(1, 2, 15), large.clone()])
        .expect_err("full");
    assert_eq!(error.trouble, Trouble::Full);
    limit(&journal, 1 << 20);

    let query_only = |journal: &Journal, on: bool| {
        journal
            .connection()
            .pragma_update(None, "query_only", on)
            .expect("set");
    };
    query_only(&journal, true);
    let error = journal
        .append(std::slice::from_ref(&large))
        .expect_err("read-only");
    assert_eq!(error.trouble, Trouble::ReadOnly);
    query_only(&journal, false);

    assert_eq!(journal.read_all().expect("read").len(), 1);
    assert_eq!(journal.append(&[large]).expect("stored").own[0].seq, 2);
}

// Formats.

/// Journals as each released format left them, with two marks, an undo and a word in each.
const FORMATS: &[&str] = &[
    include_str!("formats/first.sql"),
    include_str!("formats/second.sql"),
    include_str!("formats/third.sql"),
    include_str!("formats/fourth.sql"),
    include_str!("formats/fifth.sql"),
];

/// A player who comes back after a year finds every mark: journals of every format this program
/// ever wrote open, are raised, and say what they said.
#[test]
fn a_journal_of_every_earlier_format_opens_and_keeps_its_entries() {
    assert_eq!(
        FORMATS.len() as i64,
        FORMAT,
        "a new format needs the journal of the one before kept in `formats/`"
    );
    for (text, format) in FORMATS.iter().zip(1_i64..) {
        let folder = TempDir::new().expect("a folder");
        let path = folder.path().join("journal.sqlite");
        let raw = Connection::open(&path).expect("a file");
        raw.execute_batch(text).expect("as it was written");
        let version = |raw: &Connection| -> i64 {
            raw.pragma_query_value(None, "user_version", |row| row.get(0))
                .expect("a number")
        };
        assert_eq!(version(&raw), format);
        drop(raw);
        let (health, looked_at) = look_over(&path).expect("it can be looked over");
        assert_eq!(health.troubles, [""; 0], "format {format}");
        assert_eq!(
            health.unsummed,
            if format < 5 { looked_at.len() } else { 0 }
        );
        let mut journal = Journal::open(&path).expect("it opens");
        let entries = journal.read_all().expect("it reads");
        assert_eq!(entries, looked_at);
        let kinds: Vec<&Kind> = entries.iter().map(|entry| &entry.record.kind).collect();
        let mark = |repetition, mark| Kind::Mark {
            repetition,
            mark,
            needed: 5,
            free: false,
        };
        let first = entries[1].record.id;
        let expected = [
            Kind::Began,
            mark(0, Mark::Clean),
            mark(1, Mark::NotClean),
            Kind::Word {
                about: Some(first),
                text: "light, and 'even'".to_owned(),
            },
            Kind::Undo { mark: first },
            Kind::Ended,
        ];
        assert_eq!(
            kinds,
            expected.iter().collect::<Vec<_>>(),
            "format {format}"
        );
        assert_eq!(entries[1].record.offset_s, 3600);
        assert_eq!(
            entries[1].record.cell.expect("a cell").rung.to_string(),
            "133/2"
        );
        // From format 3 on a mark may stand on a length: never on the tempo it was played at.
        let second = entries[2].record.cell.expect("a cell").rung.to_string();
        assert_eq!(second, if format > 2 { "104 ms at 60" } else { "133/2" });
        // It is written as one of this program's own.
        journal.append(&[clean(1, 0, 10)]).expect("stored");
        assert_eq!(version(journal.connection()), FORMAT);
        let (health, _) = look_over(&path).expect("looked over");
        assert_eq!((health.entries, health.lost), (7, 0));
        assert!(health.troubles.is_empty(), "{:?}", health.troubles);
    }
}

/// The way of a step that does not exist yet: each once, in order, from where the journal stands;
/// and one that fails leaves the journal as it was.
#[test]
fn steps_are_taken_once_in_order_and_all_or_none() {
    let steps = [
        "CREATE TABLE steps (name TEXT); INSERT INTO steps VALUES ('one');",
        "INSERT INTO steps VALUES ('two');",
    ];
    let names = |raw: &Connection| -> Vec<String> {
        raw.prepare("SELECT name FROM steps ORDER BY rowid")
            .and_then(|mut query| query.query_map([], |row| row.get(0))?.collect())
            .unwrap_or_default()
    };
    let version = |raw: &Connection| -> i64 {
        raw.pragma_query_value(None, "user_version", |row| row.get(0))
            .expect("a number")
    };
    let mut raw = Connection::open_in_memory().expect("a database");
    raw.pragma_update(None, "user_version", 1).expect("set");
    store::raise(&raw, 1, &steps[..1]).expect("raised");
    assert_eq!((names(&raw).len(), version(&raw)), (1, 2));
    store::raise(&raw, 2, &steps).expect("raised");
    store::raise(&raw, 3, &steps).expect("nothing to do");
    assert_eq!(
        (names(&raw), version(&raw)),
        (vec!["one".to_owned(), "two".to_owned()], 3)
    );
    let worse = [
        steps[0],
        steps[1],
        "INSERT INTO steps VALUES ('three'); INSERT INTO nowhere VALUES (1);",
    ];
    let transaction = raw.transaction().expect("a transaction");
    assert!(store::raise(&transaction, 3, &worse).is_err());
    drop(transaction);
    assert_eq!((names(&raw).len(), version(&raw)), (2, 3));
}

// Two at once, and merging.

/// The other program's marks come back before our own, once.
#[test]
fn each_append_first_gives_what_it_has_not_yet_seen() {
    let home = Home::new();
    let (mut one, mut two) = (home.open(), home.open());
    one.append(&[clean(1, 0, 10)]).expect("stored");
    let answer = two.append(&[clean(2, 0, 20)]).expect("stored");
    let sessions = |entries: &[Entry]| -> Vec<u128> {
        entries
            .iter()
            .map(|entry| entry.record.id.session.as_u128())
            .collect()
    };
    assert_eq!(sessions(&answer.foreign), [1]);
    assert_eq!(answer.own[0].seq, 2);
    let answer = one.append(&[clean(1, 1, 30)]).expect("stored");
    assert_eq!(sessions(&answer.foreign), [2]);
    let answer = one.append(&[]).expect("looked");
    assert_eq!((answer.foreign.len(), answer.own.len()), (0, 0));
    let answer = two.append(&[]).expect("looked");
    assert_eq!(sessions(&answer.foreign), [1]);
}

fn again(test: &str, journal: &Path, session: u128) -> Child {
    Command::new(std::env::current_exe().expect("this test binary"))
        .args([
            "--exact",
            &format!("journal::journal_laws::{test}"),
            "--nocapture",
        ])
        .env("TEST_JOURNAL", journal)
        .env("TEST_SESSION", session.to_string())
        .stdout(Stdio::piped())
        .spawn()
        .expect("another process")
}

/// In the other process: which journal, and as which session.
fn asked() -> Option<(PathBuf, u128)> {
    let journal = std::env::var_os("TEST_JOURNAL")?;
    let session = std::env::var("TEST_SESSION").ok()?.parse().ok()?;
    Some((journal.into(), session))
}

/// Without an IMMEDIATE transaction two programs would give the same number to two entries, or
/// one of them would fail with "database is locked". They also make the journal at once.
#[test]
fn two_processes_on_one_journal_both_work() {
    const EACH: u64 = 60;
    if let Some((path, session)) = asked() {
        let mut journal = Journal::open(&path).expect("a journal");
        for number in 0..EACH {
            journal
                .append(&[clean(session, number, 10)])
                .expect("stored");
        }
        return;
    }
    let home = Home::new();
    let name = "two_processes_on_one_journal_both_work";
    let mut others = [again(name, &home.path(), 1), again(name, &home.path(), 2)];
    for other in &mut others {
        assert!(other.wait().expect("an end").success());
    }
    let entries = home.open().read_all().expect("read");
    let seqs: Vec<u64> = entries.iter().map(|entry| entry.seq).collect();
    assert_eq!(seqs, (1..=2 * EACH).collect::<Vec<_>>());
    for session in [1, 2] {
        let of = |entry: &&Entry| entry.record.id.session == Uuid::from_u128(session);
        assert_eq!(entries.iter().filter(of).count() as u64, EACH);
    }
}

/// What was answered is kept, what was not is not half there, and the next start needs no repair.
#[test]
fn kill_9_loses_nothing_that_was_stored() {
    if let Some((path, session)) = asked() {
        let mut journal = Journal::open(&path).expect("a journal");
        for number in 0_u64.. {
            // Two records an append, as a mark that moves to the next cell makes.
            let pair = [
                clean(session, 2 * number, 10),
                record(session, 2 * number + 1, 10, Kind::Place),
            ];
            journal.append(&pair).expect("stored");
            writeln!(std::io::stdout(), "stored {number}").expect("told");
        }
    }
    let home = Home::new();
    let mut at_least = 0;
    for session in 1..=6_u128 {
        let mut other = again(
            "kill_9_loses_nothing_that_was_stored",
            &home.path(),
            session,
        );
        let lines = BufReader::new(other.stdout.take().expect("its output")).lines();
        let told = lines
            .map(|line| line.expect("a line"))
            .filter(|line| line.contains("stored "))
            .take(3 * session as usize)
            .count();
        other.kill().expect("killed");
        other.wait().expect("an end");
        at_least += 2 * told;
        let mut journal = home.open();
        let entries = journal.read_all().expect("read");
        assert!(entries.len() >= at_least, "{} < {at_least}", entries.len());
        assert_eq!(entries.len() % 2, 0, "a pair is stored together");
        let seqs: Vec<u64> = entries.iter().map(|entry| entry.seq).collect();
        assert_eq!(seqs, (1..=entries.len() as u64).collect::<Vec<_>>());
        at_least = entries.len();
    }
}

/// Two computers: in whatever order the journals are merged, the same entries in the same order,
/// and nothing twice.
#[test]
fn merging_in_any_order_gives_the_same_and_counts_nothing_twice() {
    let (home, away, third) = (Home::new(), Home::new(), Home::new());
    let fill = |place: &Home, session: u128| {
        let records: Vec<Record> = (0..5)
            .map(|number| clean(session, number, 10 * number as i64 + session as i64))
            .collect();
        let mut journal = place.open();
        journal.append(&records).expect("stored");
        journal.read_all().expect("read")
    };
    let (ours, theirs, others) = (fill(&home, 1), fill(&away, 2), fill(&third, 3));
    let mut one = home.open();
    assert_eq!(one.merge(&theirs).expect("merged").added, 5);
    assert_eq!(one.merge(&others).expect("merged").added, 5);
    let again = one.merge(&theirs).expect("merged");
    assert_eq!((again.added, again.known, again.clashing), (0, 5, 0));
    let mut two = third.open();
    two.merge(&ours).expect("merged");
    two.merge(&theirs).expect("merged");
    let merged = one.read_all().expect("read");
    assert_eq!(merged, two.read_all().expect("read"));
    assert!(merged.is_sorted_by_key(Entry::order));
    assert_eq!(merged.len(), 15);
}

/// A file copied to a second computer and played on both: told, and nothing lost on either.
#[test]
fn copies_written_apart_clash_and_are_told() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let copy = Home::new();
    std::fs::create_dir_all(copy.path().parent().expect("a folder")).expect("made");
    std::fs::copy(home.path(), copy.path()).expect("copied");
    home.open().append(&[clean(2, 0, 20)]).expect("stored");
    let mut theirs = copy.open();
    theirs.append(&[clean(3, 0, 20)]).expect("stored");
    let theirs_told = theirs.read_all().expect("read");
    let mut ours = home.open();
    let ours_told = ours.read_all().expect("read");
    for _ in 0..2 {
        ours.merge(&theirs_told).expect("merged");
        theirs.merge(&ours_told).expect("merged");
    }
    let merged = ours.merge(&theirs_told).expect("merged");
    assert_eq!((merged.added, merged.known, merged.clashing), (0, 2, 0));
    let records = |journal: &mut Journal| {
        let entries = journal.read_all().expect("read");
        let mut records: Vec<_> = entries.into_iter().map(|entry| entry.record.id).collect();
        records.sort();
        records
    };
    assert_eq!(records(&mut ours), records(&mut theirs));
    assert_eq!(records(&mut ours).len(), 3);
}

// Practice with a journal, and the summaries.

/// Two programs practise the same drill; each shows what the journal says, and a restart too.
#[test]
fn what_two_programs_show_is_the_fold_of_the_journal() {
    let home = Home::new();
    let prints = vec![StagePrint(1), StagePrint(2)];
    let rung = |text: &str| Rung::parse(text).expect("a rung");
    let mut plan = Plan::new(
        "a drill of our own",
        prints
            .iter()
            .map(|print| PlannedStage {
                print: *print,
                rungs: vec![rung("50"), rung("54")],
                real_time: false,
            })
            .collect(),
    );
    plan.clean = 2;
    let mut programs: Vec<_> = (1..=2_u128)
        .map(|session| {
            let mut journal = home.open();
            let entries = journal.read(&prints).expect("read");
            (journal, replay(plan.clone(), &entries), session)
        })
        .collect();
    let mut now_ms = 0;
    for turn in 0..24_u64 {
        let (journal, state, session) = &mut programs[(turn % 2) as usize];
        let mut tell = |event: &dyn Fn(Moment, u64) -> Event| {
            now_ms += 1_000;
            let at = Moment {
                utc_us: now_ms * 1_000,
                offset_s: 0,
                heard_ms: now_ms,
            };
            let (next, records) = step(state, &event(at, state.next_repetition()));
            let Appended { foreign, own } = journal.append(&records).expect("stored");
            *state = step(&next, &Event::Stored { foreign, own }).0;
        };
        if turn < 2 {
            let session = Uuid::from_u128(*session);
            tell(&|at, _| Event::Started {
                at,
                session,
                place: None,
            });
        }
        let cell = {
            let upcoming = plan.key(usize::from(turn > 11), 0).expect("a cell");
            tell(&|at, id| Event::RepetitionBegan {
                at,
                id,
                cell: upcoming,
                reference: false,
            });
            upcoming
        };
        tell(&|at, next| Event::ClosingNoteHeard {
            at,
            repetition: next - 1,
        });
        let mark = if turn % 5 == 3 {
            Mark::NotClean
        } else {
            Mark::Clean
        };
        tell(&|at, _| Event::Press {
            at,
            mark,
            by: Hand::Key,
            repetition: None,
        });
        if turn % 7 == 6 {
            tell(&|at, _| Event::Undo { at });
        }
        tell(&|_, _| Event::Touched);
        let mut reader = home.open();
        let again = replay(plan.clone(), &reader.read(&prints).expect("read"));
        assert_eq!(
            again.board(),
            programs[(turn % 2) as usize].1.board(),
            "turn {turn}"
        );
        assert_eq!(
            again.tally(cell),
            programs[(turn % 2) as usize].1.tally(cell)
        );
    }
    let entries = home.open().read(&prints).expect("read");
    let state = replay(plan.clone(), &entries);
    let first = plan.key(0, 0).expect("a cell");
    assert_eq!(state.status(first), CellStatus::Clear);

    // The view comes to the same counts as practice's own fold.
    let raw = Connection::open(home.path()).expect("the file");
    for stage in &prints {
        let counts: (u32, u32, u32) = raw
            .query_row(
                "SELECT clean, not_clean, assumed FROM cell_summary WHERE stage = ?1",
                [stage.to_string()],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .expect("a summary");
        let tally = state.tally(CellKey {
            stage: *stage,
            ..first
        });
        assert_eq!(counts, (tally.clean, tally.not_clean, tally.assumed));
    }
}

/// A mark at 23:30 local time belongs to that evening, wherever universal time is.
#[test]
fn a_day_is_the_players_own_calendar_day() {
    let home = Home::new();
    let mut journal = home.open();
    // 2024-02-29 00:30 universal time, an hour west: the evening of the 28th. By hand:
    // 19 782 days after 1970-01-01.
    let utc_us = (19_782 * 86_400 + 1_800) * 1_000_000;
    let leap_day = Record {
        offset_s: 0,
        ..clean(1, 1, utc_us)
    };
    let assumed = Record {
        by: Some(By::Assumed),
        offset_s: 0,
        ..clean(1, 2, utc_us)
    };
    journal
        .append(&[clean(1, 0, utc_us), leap_day, assumed])
        .expect("stored");
    let raw = Connection::open(home.path()).expect("the file");
    let mut query = raw
        .prepare("SELECT day, clean, assumed FROM day_summary ORDER BY day")
        .expect("a view");
    let days: Vec<(String, i64, i64)> = query
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .and_then(Iterator::collect)
        .expect("days");
    assert_eq!(
        days,
        [
            ("2024-02-28".to_owned(), 1, 0),
            ("2024-02-29".to_owned(), 1, 1)
        ]
    );
}

/// Minutes of playing end with a pause, the end, or the last sign of life of a killed program.
#[test]
fn playing_lasts_until_it_stops_or_the_last_sign_of_life() {
    let home = Home::new();
    let mut journal = home.open();
    journal
        .append(&[
            record(1, 0, 100, Kind::Playing),
            record(1, 1, 400, Kind::Paused),
            record(1, 2, 500, Kind::Playing),
            clean(1, 3, 900),
            record(2, 0, 950, Kind::Began),
        ])
        .expect("stored");
    let raw = Connection::open(home.path()).expect("the file");
    let mut query = raw
        .prepare("SELECT from_us, to_us FROM playing ORDER BY from_us")
        .expect("a view");
    let spans: Vec<(i64, i64)> = query
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .and_then(Iterator::collect)
        .expect("spans");
    assert_eq!(spans, [(100, 400), (500, 900)]);
}

/// A closed lid once counted eight hours of practice: a stretch lasts as long as sound was heard, by
/// a clock that stands still meanwhile, whatever the time of day did.
#[test]
fn a_closed_lid_is_no_practice() {
    const HOUR: i64 = 3_600_000_000;
    let home = Home::new();
    let mut journal = home.open();
    let stage = PlannedStage {
        print: StagePrint(1),
        rungs: vec![cell(1).rung],
        real_time: false,
    };
    let mut state = replay(Plan::new("ours", vec![stage]), &[]);
    let mut tell = |event: Event| {
        let (next, records) = step(&state, &event);
        state = next;
        journal.append(&records).expect("stored");
    };
    let at = |utc_us: i64, heard_ms: i64| Moment {
        utc_us: 1000 * HOUR + utc_us,
        offset_s: 0,
        heard_ms,
    };
    let session = Uuid::from_u128(1);
    tell(Event::Started {
        at: at(0, 0),
        session,
        place: None,
    });
    tell(Event::Resumed { at: at(0, 0) });
    // ten minutes, a closed lid, two minutes more
    tell(Event::Paused {
        at: at(8 * HOUR, 12 * 60_000),
    });
    // the clock is set back by an hour while it plays for five minutes
    tell(Event::Resumed {
        at: at(9 * HOUR, 13 * 60_000),
    });
    tell(Event::Stopped {
        at: at(8 * HOUR, 18 * 60_000),
    });
    drop(journal);
    let minutes: Vec<i64> = home
        .open()
        .playing(0)
        .expect("stretches")
        .iter()
        .map(|played| (played.to_us - played.from_us) / 60_000_000)
        .collect();
    assert_eq!(minutes, [12, 5]);
}
