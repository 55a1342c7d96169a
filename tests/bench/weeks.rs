//! A year of an invented student, seeded: 200,000 entries. How long the plan for a day and the
//! first screen take with it.
//!
//! `cargo bench --bench weeks`. What is asked of it: a plan in 20 ms, the first screen in 100.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![expect(clippy::expect_used, reason = "a bench that cannot run says so")]

#[path = "on_a_terminal.rs"]
#[expect(dead_code, reason = "the other bench uses the rest")]
mod on_a_terminal;

use gracerung::app::{prints, scores};
use gracerung::drill::{BUILT_IN, read};
use gracerung::journal::Journal;
use gracerung::planning::Digest;
use gracerung::practice::ladder::rungs;
use gracerung::practice::{By, CellKey, Kind, Mark, Record, RecordId};
use on_a_terminal::Run;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use uuid::Uuid;

const ENTRIES: usize = 200_000;
const DAYS: i64 = 365;
/// The 1st of September 2025 in days since 1970: the year is over when this runs.
const FIRST_DAY: i64 = 20_332;

/// Four sessions a day, each in one cell that climbs through the year, three of four marks clean.
fn student(path: &Path) -> usize {
    let mut random = fastrand::Rng::with_seed(2027);
    let drills: Vec<(String, Vec<CellKey>)> = BUILT_IN
        .iter()
        .map(|file| {
            let drill = read(file.text.as_bytes()).0.expect("it reads");
            let ladder = &drill.ladder;
            let rungs = rungs(ladder.from, ladder.to, ladder.step).expect("a ladder");
            let stages = prints(&scores(&drill));
            let cells = rungs
                .iter()
                .flat_map(|tempo| {
                    stages.iter().map(|stage| CellKey {
                        stage: *stage,
                        tempo: *tempo,
                    })
                })
                .collect();
            (file.name.to_owned(), cells)
        })
        .collect();
    let mut journal = Journal::open(path).expect("a journal");
    let mut stored = 0;
    for day in 0..DAYS {
        let wanted = ENTRIES * (day as usize + 1) / DAYS as usize;
        let mut hour = 8;
        while stored < wanted {
            let (name, cells) = &drills[random.usize(..drills.len())];
            let reached = (cells.len() * (day as usize + 1) / DAYS as usize).max(1);
            let cell = cells[random.usize(..reached)];
            let session = Uuid::from_u128(random.u128(..));
            let begin = (FIRST_DAY + day) * 86_400 + hour * 3_600;
            hour = (hour + 1).min(22);
            let length = (wanted - stored).min(140);
            let records: Vec<Record> = (0..length as u64)
                .map(|number| Record {
                    id: RecordId { session, number },
                    utc_us: (begin + 10 * number as i64) * 1_000_000,
                    offset_s: 0,
                    kind: if number == 0 {
                        Kind::Playing
                    } else if number + 1 == length as u64 {
                        Kind::Ended
                    } else {
                        Kind::Mark {
                            repetition: number,
                            mark: if random.u8(..4) > 0 {
                                Mark::Clean
                            } else {
                                Mark::NotClean
                            },
                            needed: 5,
                            free: false,
                        }
                    },
                    drill: name.clone(),
                    cell: Some(cell),
                    by: Some(By::Key),
                    thresholds: None,
                    measures: None,
                    version: "an invented student".to_owned(),
                })
                .collect();
            stored += records.len();
            journal.append(&records).expect("stored");
        }
    }
    stored
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1000.0
}

fn main() {
    let home = tempfile::tempdir().expect("a folder");
    let folder = home.path().join("gracerung");
    std::fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join("journal.sqlite");
    let stored = student(&path);
    let journal = Journal::open(&path).expect("a journal");
    let reading: Vec<Duration> = (0..9)
        .map(|_| {
            let begin = Instant::now();
            std::hint::black_box(Digest::of(journal.marks().expect("marks")));
            begin.elapsed()
        })
        .collect();
    println!("{stored} entries");
    println!("everything read and summed up: {:.1} ms", median(reading));
    let command = |arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_gracerung"));
        command
            .args(arguments)
            .env("HOME", home.path())
            .env("XDG_DATA_HOME", home.path())
            .env("XDG_CONFIG_HOME", home.path())
            .env("TZ", "UTC")
            .stdout(Stdio::null());
        command
    };
    let whole: Vec<Duration> = (0..25)
        .map(|week| {
            let day = jiff::civil::date(2025, 9, 5) + jiff::Span::new().weeks(2 * week);
            let mut run = command(&["today", "--on", &day.to_string()]);
            let begin = Instant::now();
            assert!(run.status().expect("it runs").success());
            begin.elapsed()
        })
        .collect();
    println!(
        "`today`, the whole process: {:.1} ms; asked for: 20",
        median(whole)
    );
    let starts: Vec<Duration> = (0..15)
        .map(|_| {
            let run = Run::start(home.path(), &[]);
            let time = run.until(run.started, |screen| screen.contains("enter practise"));
            run.end();
            time
        })
        .collect();
    println!(
        "start to first complete screen: {:.1} ms; asked for: 100",
        median(starts)
    );
}
