//! Laws of entries: each is read back as it was stored, in its order.

use super::*;

/// Every kind and every field is tested, because one that is lost or swapped would change history
/// silently.
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
        Kind::ByHeart { repetition: 9 },
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

/// The bars in which a tune fails are found from its last repetitions, even after a year.
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

/// A clock that was set back by a day must not put today's marks before yesterday's.
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

/// One evening with a clock years ahead must not date every later mark as that evening, even where
/// it is the journal's first.
#[test]
fn one_wrong_clock_does_not_date_what_comes_after() {
    const DAY: i64 = 86_400_000_000;
    // day 21 000 after 1970-01-01 is in 2027
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
        // the clock is right again
        (3, 0, FIRST + 1),
        (3, 1, FIRST + 2),
        // within a session time never goes back
        (3, 2, FIRST - 10),
        // a computer that started in 1970, and one whose clock is a little behind
        (4, 0, 0),
        (5, 0, FIRST + 1),
    ];
    let expected = [0, FIRST, 1, 2, 2, 2, 2].map(|day| FIRST + day);
    assert_eq!(days(&usual), expected);
    let ahead_at_first = [(1, 0, 2 * FIRST), (2, 0, FIRST), (3, 0, FIRST + 1)];
    assert_eq!(days(&ahead_at_first), [2 * FIRST, FIRST, FIRST + 1]);
    // three sessions without a date, around one with a date
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

/// A board folded from the marks alone equals the board folded from every entry.
#[test]
fn a_board_is_folded_from_its_marks_alone() {
    let home = Home::new();
    let mut journal = home.open();
    let mut random = fastrand::Rng::with_seed(3);
    let records: Vec<Record> = (0..200)
        .map(|number| {
            let time = 1000 * number as i64;
            match random.u8(..7) {
                0 => record(1, number, time, Kind::Playing),
                4 => record(
                    1,
                    number,
                    time,
                    Kind::ByHeart {
                        repetition: number + 1,
                    },
                ),
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

/// Progress reads the measured entries of a year and no others.
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
            // a late mark in the cell before does not change the place
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
