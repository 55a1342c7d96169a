//! What entries come to, cell by cell and day by day.

use super::*;
use crate::practice::{Record, Rung};
use crate::units::Bpm;
use jiff::civil::date;

fn cell(stage: u128) -> CellKey {
    CellKey {
        stage: StagePrint(stage),
        rung: Rung::Tempo(Bpm::EIGHTY),
    }
}

const SESSION: Uuid = Uuid::from_u128(1);

fn name(number: u64) -> RecordId {
    RecordId {
        session: SESSION,
        number,
    }
}

/// A repetition that was marked, two clean in a row asked for.
fn mark(number: u64, repetition: u64, cell: CellKey, day: Date, mark: Mark) -> Said {
    Said::Mark {
        id: name(number),
        repetition,
        cell,
        day,
        mark,
        assumed: false,
        needed: 2,
    }
}

/// Whatever an entry says that counts in a plan is taken out of it, on the player's own day: half
/// past eleven at night in universal time is the next morning an hour to the east.
#[test]
fn each_entry_says_what_it_is() {
    let said = |kind: Kind, by: By| {
        Said::of(&Entry {
            journal: SESSION,
            seq: 8,
            record: Record {
                id: name(7),
                utc_us: (23 * 60 + 30) * 60_000_000,
                offset_s: 3600,
                kind,
                drill: "ours".to_owned(),
                cell: Some(cell(1)),
                by: Some(by),
                thresholds: None,
                measures: None,
                version: "test".to_owned(),
            },
        })
    };
    let day = date(1970, 1, 2);
    let marked = Kind::Mark {
        repetition: 3,
        mark: Mark::Clean,
        needed: 2,
        free: false,
    };
    for (by, assumed) in [(By::Key, false), (By::Ear, false), (By::Assumed, true)] {
        assert_eq!(
            said(marked.clone(), by),
            Some(Said::Mark {
                id: name(7),
                repetition: 3,
                cell: cell(1),
                day,
                mark: Mark::Clean,
                assumed,
                needed: 2
            })
        );
    }
    let tried = Kind::Tried {
        repetition: 3,
        alone: true,
    };
    assert_eq!(
        said(tried, By::Key),
        Some(Said::Tried {
            session: SESSION,
            repetition: 3,
            cell: cell(1),
            day,
            alone: true
        })
    );
    assert_eq!(
        said(Kind::ByHeart { repetition: 3 }, By::Key),
        Some(Said::ByHeart {
            session: SESSION,
            repetition: 3,
            cell: cell(1),
            day
        })
    );
    let undo = Kind::Undo { mark: name(2) };
    assert_eq!(said(undo, By::Key), Some(Said::Undo(name(2))));
    assert_eq!(said(Kind::Ended, By::Key), None);
}

/// The summary beside the journal is a digest written down: what did not read back as it was would
/// change the plan from one start to the next.
#[test]
fn a_digest_reads_back_as_it_was_written() {
    let (one, two) = (date(2027, 1, 1), date(2027, 1, 2));
    let digest = Digest::of([
        mark(0, 0, cell(1), one, Mark::Clean),
        mark(1, 1, cell(1), one, Mark::Clean),
        mark(2, 2, cell(1), one, Mark::NotClean),
        mark(3, 3, cell(1), two, Mark::NotClean),
        mark(4, 4, cell(2), two, Mark::Clean),
        Said::Tried {
            session: SESSION,
            repetition: 4,
            cell: cell(2),
            day: two,
            alone: true,
        },
    ]);
    let written = serde_json::to_string(&digest).expect("it is written");
    let days = r#"[["2027-01-01","ccn"],["2027-01-02","n"]]"#;
    assert!(written.contains(days), "{written}");
    let read: Digest = serde_json::from_str(&written).expect("it is read");
    assert_eq!(read, digest);
    assert_eq!(read.cells().count(), 2);
    assert!(serde_json::from_str::<Digest>(&written.replace("ccn", "ccx")).is_err());
}

/// An assumed mark is not counted as said, and of what was played by heart only what was said to be
/// clean counts, on its own day.
#[test]
fn assumed_marks_and_what_was_by_heart_are_counted_apart() {
    let (one, two) = (date(2027, 1, 1), date(2027, 1, 2));
    let assumed = |number: u64| Said::Mark {
        id: name(number),
        repetition: number,
        cell: cell(1),
        day: one,
        mark: Mark::Clean,
        assumed: true,
        needed: 2,
    };
    let by_heart = |repetition: u64, day: Date| Said::ByHeart {
        session: SESSION,
        repetition,
        cell: cell(1),
        day,
    };
    let digest = Digest::of([
        assumed(0),
        assumed(1),
        assumed(2),
        mark(3, 3, cell(1), one, Mark::Clean),
        mark(4, 4, cell(1), one, Mark::Clean),
        mark(5, 5, cell(1), one, Mark::NotClean),
        mark(6, 6, cell(1), two, Mark::Clean),
        by_heart(0, one),
        by_heart(3, one),
        by_heart(4, one),
        by_heart(5, one),
        by_heart(6, two),
        by_heart(9, two),
    ]);
    let days = &digest.cell(cell(1)).expect("it was marked").days;
    let told: Vec<(u32, u32, u32, u32)> = days
        .iter()
        .map(|day| (day.clean, day.not_clean, day.assumed, day.by_heart))
        .collect();
    assert_eq!(told, [(2, 1, 3, 2), (1, 0, 0, 1)]);
}

/// Journals of two machines may give one number to repetitions of two cells. Each is corrected for
/// itself, and none is counted twice.
#[test]
fn one_repetition_in_two_cells_is_two() {
    let day = date(2027, 1, 1);
    let digest = Digest::of([
        mark(0, 0, cell(1), day, Mark::Clean),
        mark(1, 0, cell(2), day, Mark::NotClean),
        mark(2, 0, cell(2), day, Mark::Clean),
        mark(3, 0, cell(1), day, Mark::NotClean),
        mark(4, 0, cell(2), day, Mark::Clean),
    ]);
    let marks = |stage: u128| digest.cell(cell(stage)).expect("marked").marks.clone();
    assert_eq!(marks(1), [(day, Mark::NotClean)]);
    assert_eq!(marks(2), [(day, Mark::Clean)]);
}
