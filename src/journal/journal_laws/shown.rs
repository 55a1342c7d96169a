//! Laws of what a program shows of a journal, and of its days and minutes.

use super::*;

/// Two programs practise the same drill. Each shows what the journal says, and so does a program
/// that is started later.
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
            by_heart: false,
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

    // the database view must count like practice's own fold
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

/// A mark at 23:30 local time belongs to that evening, whatever the universal time is.
#[test]
fn a_day_is_the_players_own_calendar_day() {
    let home = Home::new();
    let mut journal = home.open();
    // 2024-02-29 00:30 universal time, seen an hour west of it, is the evening of the 28th.
    // Computed by hand: 19 782 days after 1970-01-01.
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

/// The minutes of playing end with a pause, with the end of the session, or with the last entry of
/// a killed program.
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

/// Eight hours of a sleeping computer must not count as practice. A stretch lasts as long as sound
/// was heard, by a clock that stops while the computer sleeps, whatever happens to the time of day.
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
    // ten minutes, a sleeping computer, and two more minutes
    tell(Event::Paused {
        at: at(8 * HOUR, 12 * 60_000),
    });
    // the clock is set back by an hour during five minutes of playing
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
