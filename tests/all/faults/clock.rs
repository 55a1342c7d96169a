//! Faults of the clock: a wrong clock, another time zone, a leap day.

use super::{Home, Lines};
use gracerung::journal::Journal;
use gracerung::practice::{By, CellKey, Kind, Mark, Record, RecordId, Rung, StagePrint};
use gracerung::units::Bpm;
use jiff::civil::{Date, date};
use uuid::Uuid;

const MINUTE: i64 = 60_000_000;

/// A moment of universal time in microseconds since 1970.
fn moment(day: Date, hour: i64, minute: i64) -> i64 {
    let days = date(1970, 1, 1).until(day).expect("a span").get_days();
    (i64::from(days) * 24 * 60 + hour * 60 + minute) * MINUTE
}

/// The cell of the drill that is in the home of these tests.
fn cell() -> CellKey {
    let drill = gracerung::drill::read(super::COUNT.as_bytes())
        .0
        .expect("it reads");
    CellKey {
        stage: gracerung::app::prints(&gracerung::app::scores(&drill))[0],
        rung: Rung::Tempo(Bpm::whole(300).expect("a tempo")),
    }
}

/// A session of this many minutes that begins at this moment in this time zone, with clean marks at
/// its end.
fn session(home: &Home, begin: i64, offset_hours: i32, minutes: i64, marks: u64) {
    let session = Uuid::new_v4();
    let record = |number: u64, utc_us: i64, kind: Kind| Record {
        id: RecordId { session, number },
        utc_us,
        offset_s: offset_hours * 3600,
        kind,
        drill: "count".to_owned(),
        cell: Some(cell()),
        by: Some(By::Key),
        thresholds: None,
        measures: None,
        version: "test".to_owned(),
    };
    let end = begin + minutes * MINUTE;
    let mut records = vec![record(0, begin, Kind::Playing)];
    records.extend((1..=marks).map(|number| {
        let kind = Kind::Mark {
            repetition: number,
            mark: Mark::Clean,
            needed: 2,
            free: false,
        };
        record(number, end, kind)
    }));
    records.push(record(marks + 1, end, Kind::Ended));
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    journal.append(&records).expect("stored");
}

fn days(home: &Home) -> Vec<(String, f64, u64)> {
    let json = home.said(&["progress", "count", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    json["days"]
        .as_array()
        .expect("days")
        .iter()
        .map(|day| {
            (
                day["day"].as_str().expect("a day").to_owned(),
                day["minutes"].as_f64().expect("minutes"),
                day["clean"].as_u64().expect("a count"),
            )
        })
        .collect()
}

/// An evening before a flight and one after it are two evenings, each on its local calendar day.
#[test]
fn each_session_keeps_the_calendar_of_its_place() {
    let home = Home::new();
    // 21:00 on 30 June in Auckland, and 19:00 on 30 June in Honolulu, twenty hours later
    session(&home, moment(date(2027, 6, 30), 9, 0), 12, 10, 2);
    session(&home, moment(date(2027, 7, 1), 5, 0), -10, 5, 2);
    // 00:30 on the 2nd in Auckland is still the 1st in universal time
    session(&home, moment(date(2027, 7, 1), 12, 30), 12, 7, 2);
    assert_eq!(
        days(&home),
        [
            ("2027-06-30".to_owned(), 15.0, 4),
            ("2027-07-02".to_owned(), 7.0, 2),
        ]
    );
    // a mark made later, in a place where it is still the day before, does no harm
    session(&home, moment(date(2027, 7, 1), 13, 0), -10, 3, 2);
    let found = days(&home);
    assert_eq!(found.iter().map(|day| day.2).sum::<u64>(), 8);
    let said = home.said(&["today", "--on", "2027-07-09"]);
    assert!(said.contains("cleared 9 days ago, not held yet"), "{said}");
}

/// The program itself stores the offset of its time zone.
#[test]
fn the_time_zone_may_change_between_sessions() {
    let home = Home::new();
    for zone in ["TST-12", "TST+11"] {
        let mut run = Lines::practise(home.folder(), &[], &["count"], &[("TZ", zone)]);
        run.until("Still.");
        run.press(" ");
        run.until("Playing.");
        run.mark_clean(1);
        run.press("q");
        run.ends_with(0);
    }
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    let offsets: Vec<i32> = journal
        .read_all()
        .expect("it reads")
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Mark { .. }))
        .map(|entry| entry.record.offset_s)
        .collect();
    assert_eq!(offsets, [12 * 3600, -11 * 3600]);
    // the two sessions are minutes apart and on two calendar days
    assert_eq!(days(&home).len(), 2);
}

/// Homework is due on a leap day, and minutes are played on one.
#[test]
fn a_leap_day_is_a_day() {
    let home = Home::new();
    let refused = home.run(&["assign", "count", "--by", "2027-02-29", "-o", "no.yaml"]);
    assert_eq!(refused.status.code(), Some(2));
    home.said(&["assign", "count", "--by", "2028-02-29", "-o", "week.yaml"]);
    let kept = home.path("gracerung/homework");
    std::fs::create_dir_all(&kept).expect("a folder");
    std::fs::copy(home.path("week.yaml"), kept.join("week.yaml")).expect("kept");
    for (on, when) in [
        ("2028-02-27", "due in 2 days"),
        ("2028-02-28", "due tomorrow"),
        ("2028-02-29", "due today"),
        ("2028-03-01", "a day over"),
        ("2028-03-02", "2 days over"),
    ] {
        let said = home.said(&["today", "--on", on, "--minutes", "60"]);
        assert!(said.contains(when), "{on}: {said}");
    }
    session(&home, moment(date(2028, 2, 29), 23, 0), 0, 12, 2);
    session(&home, moment(date(2028, 3, 1), 9, 0), 0, 4, 2);
    assert_eq!(
        days(&home),
        [
            ("2028-02-29".to_owned(), 12.0, 2),
            ("2028-03-01".to_owned(), 4.0, 2),
        ]
    );
    // a cell cleared on the leap day is due the day after, on 1 March
    for (on, cleared) in [
        ("2028-03-02", "cleared 2 days ago, not held yet"),
        ("2028-03-03", "cleared 3 days ago, not held yet"),
    ] {
        let said = home.said(&["today", "--on", on, "--minutes", "60"]);
        assert!(said.contains(cleared), "{on}: {said}");
    }
}

/// Entries of a computer whose clock started in 1970 follow the earlier ones, and nothing is lost.
#[test]
fn a_clock_set_back_loses_no_mark() {
    let home = Home::new();
    session(&home, moment(date(2027, 3, 1), 10, 0), 0, 10, 2);
    session(&home, moment(date(1970, 1, 1), 0, 0), 0, 10, 3);
    session(&home, moment(date(2027, 3, 2), 10, 0), 0, 10, 2);
    let found = days(&home);
    assert_eq!(found.iter().map(|day| day.2).sum::<u64>(), 7);
    assert!(found.iter().all(|day| day.1 >= 0.0), "{found:?}");
    assert_eq!(found[0].0, "2027-03-01");
    assert!(home.said(&["journal", "check"]).contains("whole"));
}

/// The program itself with its clock set back seven years between two sessions. The test runs only
/// at full length, because it needs the program `faketime`.
#[test]
fn the_program_marks_on_with_a_clock_set_back() {
    if !super::at_full_length() {
        return;
    }
    let home = Home::new();
    let back = ["faketime", "--exclude-monotonic", "2020-02-29 10:00:00"];
    for (run, through) in [&[][..], &back[..], &[][..]].into_iter().enumerate() {
        let mut program = Lines::practise(home.folder(), through, &["count"], &[]);
        program.until("Still.");
        program.press(" ");
        program.until("Playing.");
        program.mark_clean(1);
        assert_eq!(program.numbers()[0] as usize, run + 1);
        program.press("q");
        program.ends_with(0);
    }
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    let entries = journal.read_all().expect("it reads");
    assert!(
        entries
            .windows(2)
            .all(|pair| pair[0].seq + 1 == pair[1].seq)
    );
    let today = home.run_through(&back, &["today"]);
    assert_eq!(today.status.code(), Some(0));
}

/// A computer whose clock is in 2061 would put every later mark into that year, so it is reported.
#[test]
fn marks_from_the_future_are_told() {
    let home = Home::new();
    session(&home, moment(date(2061, 3, 1), 10, 0), 0, 10, 2);
    session(&home, moment(date(2026, 3, 1), 10, 0), 0, 10, 2);
    let said = home.said(&["journal", "check"]);
    assert!(
        said.contains("a session of 2061-03-01") && said.contains("its clock was ahead"),
        "{said}"
    );
    let before = std::fs::read(home.journal()).expect("bytes");
    let output = home.run(&["journal", "mend"]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stdout).expect("text");
    assert!(
        said.contains("2061-03-01") && said.contains("nothing was written"),
        "{said}"
    );
    let output = home.run(&["journal", "mend", "--into", "mended.sqlite"]);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(
        std::fs::read(home.journal()).expect("bytes"),
        before,
        "never touched"
    );
    let said = home.said(&["journal", "check", "mended.sqlite"]);
    assert!(said.contains("whole") && !said.contains("2061"), "{said}");
    let said = home.said(&["journal", "mend", "mended.sqlite"]);
    assert!(said.contains("nothing is odd"), "{said}");
    // the journal can still be planned from
    home.said(&["today"]);
    home.said(&["progress"]);
}

/// A computer without a battery starts in 1970 each time. Its entries are not impossible, and
/// `mend`, `import` and `merge` keep them all.
#[test]
fn a_clock_without_a_date_costs_no_mark() {
    let home = Home::new();
    session(&home, moment(date(1970, 1, 1), 0, 1), 0, 10, 2);
    session(&home, moment(date(1970, 1, 1), 0, 5), 0, 10, 2);
    let said = home.said(&["journal", "check"]);
    assert!(
        said.contains("8 entries") && said.contains("a session of 1970-01-01"),
        "{said}"
    );
    let output = home.run(&["journal", "mend", "--into", "mended.sqlite"]);
    let said = String::from_utf8(output.stdout).expect("text");
    assert!(said.contains("8 entries written"), "{said}");
    let said = home.said(&["journal", "mend", "mended.sqlite"]);
    assert!(said.contains("nothing is odd"), "{said}");
    home.said(&["journal", "export", "-o", "all.jsonl"]);
    for taken in [["import", "all.jsonl"], ["merge", "old.sqlite"]] {
        std::fs::rename(home.journal(), home.path("old.sqlite")).expect("away");
        let said = home.said(&["journal", taken[0], taken[1]]);
        assert!(said.contains("8 new"), "{taken:?}: {said}");
        std::fs::remove_file(home.path("old.sqlite")).expect("gone");
    }
    home.said(&["today"]);
    home.said(&["progress"]);
}

/// One session across the change to summer time and one across the change back: minutes are counted
/// by the monotonic clock.
#[test]
fn summer_time_adds_no_minutes() {
    let home = Home::new();
    // on 28 March 2027 at 01:00 universal time an hour is skipped in London
    session(&home, moment(date(2027, 3, 28), 0, 55), 0, 10, 1);
    session(&home, moment(date(2027, 3, 28), 1, 10), 1, 10, 1);
    assert_eq!(days(&home), [("2027-03-28".to_owned(), 20.0, 2)]);
}

/// The summary beside the journal must become invalid after a clock was set back.
#[test]
fn a_summary_made_in_the_future_is_no_trouble() {
    let home = Home::new();
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    let mark = |session: u128, number: u64, utc_us: i64| Record {
        id: RecordId {
            session: Uuid::from_u128(session),
            number,
        },
        utc_us,
        offset_s: 0,
        kind: Kind::Mark {
            repetition: number,
            mark: Mark::Clean,
            needed: 5,
            free: false,
        },
        drill: "count".to_owned(),
        cell: Some(CellKey {
            stage: StagePrint(session % 3),
            rung: Rung::Tempo(Bpm::whole(60).expect("a tempo")),
        }),
        by: Some(By::Key),
        thresholds: None,
        measures: None,
        version: "test".to_owned(),
    };
    let day = |day: i64| moment(date(2027, 1, 1), 0, 0) + day * 24 * 60 * MINUTE;
    for at in 0..30_i64 {
        let records: Vec<Record> = (0..100)
            .map(|number| mark(at as u128 + 1, number, day(at) + 10_000_000 * number as i64))
            .collect();
        journal.append(&records).expect("stored");
    }
    // a program whose clock is thirty years ahead makes the summary first, and then marks of today
    // follow
    let all = |journal: &Journal| gracerung::planning::Digest::of(journal.marks().expect("marks"));
    assert_eq!(
        journal.digest(day(11_000)).expect("a digest"),
        all(&journal)
    );
    let records: Vec<Record> = (0..50)
        .map(|number| mark(77, number, day(30) + 10_000_000 * number as i64))
        .collect();
    journal.append(&records).expect("stored");
    for now in [day(31), day(29), day(11_000), day(0)] {
        assert_eq!(journal.digest(now).expect("a digest"), all(&journal));
    }
}
