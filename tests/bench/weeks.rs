//! Measures the plan of a day and the first screen with the year of a simulated student: 200,000
//! entries from a seed.
//!
//! `cargo bench -p gracerung-benches --bench weeks`. The aims are 20 ms for a plan and 100 ms for
//! the first screen. With `-- --million` the year has a million entries. The aims are then 300 ms
//! for the start of practice and 100 ms for `today` with the summary of the journal; without the
//! summary `today` may take 3 s and 60 MiB.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![expect(clippy::expect_used, reason = "a bench that cannot run says so")]

use gracerung::app::{planned, scores};
use gracerung::drill::{BUILT_IN, Drill, read};
use gracerung::homework::{MarkedDay, Report, ReportedDrill, read_report, rows, write_report};
use gracerung::journal::Journal;
use gracerung::planning::{Digest, Known, Rule, today};
use gracerung::practice::{By, CellKey, Kind, Mark, Plan, Record, RecordId};
use gracerung_benches::{Run, program};
use jiff::civil::Date;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// The number of entries in the year.
fn entries() -> usize {
    if std::env::args().any(|argument| argument == "--million") {
        1_000_000
    } else {
        200_000
    }
}

const DAYS: i64 = 365;
const DAY_US: i64 = 86_400_000_000;

fn known(name: &str, drill: &Drill) -> Known {
    Known {
        name: name.to_owned(),
        title: drill.title.clone(),
        stages: planned(drill, &scores(drill)),
        stage_names: drill
            .stages
            .iter()
            .map(|stage| stage.name.clone())
            .collect(),
        beats: vec![gracerung::units::Beats::whole(8); drill.stages.len()],
        clean: drill.clean,
        route: drill.route,
    }
}

/// A simulated student who plays some sessions of 140 entries a day. Each is in one cell of a drill
/// that climbs through the year, and three of four marks are clean.
struct Student {
    random: fastrand::Rng,
    drills: Vec<Known>,
    stored: usize,
}

impl Student {
    fn new() -> Self {
        let drills = BUILT_IN.iter().map(|file| {
            let drill = read(file.text.as_bytes()).0.expect("it reads");
            known(file.name, &drill)
        });
        Self {
            random: fastrand::Rng::with_seed(2027),
            drills: drills.collect(),
            stored: 0,
        }
    }

    /// Plays a day of the year, counted from 0, that begins at `begins_us`.
    fn play(&mut self, journal: &mut Journal, day: i64, begins_us: i64) {
        let wanted = entries() * (day as usize + 1) / DAYS as usize;
        let mut hour = 8;
        while self.stored < wanted {
            let random = &mut self.random;
            let drill = &self.drills[random.usize(..self.drills.len())];
            let plan = Plan::new(&drill.name, drill.stages.clone());
            let cells: Vec<CellKey> = plan.in_route_order();
            let reached = (cells.len() * (day as usize + 1) / DAYS as usize).max(1);
            let cell = cells[random.usize(..reached)];
            let session = Uuid::from_u128(random.u128(..));
            let begin = begins_us + hour * 3_600_000_000;
            hour = (hour + 1).min(21);
            let length = (wanted - self.stored).min(140);
            let records: Vec<Record> = (0..length as u64)
                .map(|number| Record {
                    id: RecordId { session, number },
                    utc_us: begin + 10_000_000 * number as i64,
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
                    drill: drill.name.clone(),
                    cell: Some(cell),
                    by: Some(By::Key),
                    thresholds: None,
                    measures: None,
                    version: "an invented student".to_owned(),
                })
                .collect();
            self.stored += records.len();
            journal.append(&records).expect("stored");
        }
    }
}

/// The user and system time of all child processes in milliseconds; 0 where the system does not
/// tell.
fn cpu_of_children_ms() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after = stat.rsplit(')').next().unwrap_or_default();
    let ticks = |at: usize| {
        let field = after.split_whitespace().nth(at);
        field.and_then(|field| field.parse::<f64>().ok())
    };
    // fields 16 and 17 of proc(5), in ticks of 10 ms
    (ticks(13).unwrap_or(0.0) + ticks(14).unwrap_or(0.0)) * 10.0
}

fn told(what: &str, mut times: Vec<Duration>, asked: u32) {
    times.sort();
    let ms = |time: Duration| time.as_secs_f64() * 1000.0;
    let worst = times.last().copied().unwrap_or_default();
    println!(
        "{what}: median {:.1} ms, worst of {} {:.1} ms; asked for: {asked}",
        ms(times[times.len() / 2]),
        times.len(),
        ms(worst)
    );
}

fn main() {
    let home = tempfile::tempdir().expect("a folder");
    let folder = home.path().join("gracerung");
    std::fs::create_dir_all(&folder).expect("a folder");
    let mut journal = Journal::open(&folder.join("journal.sqlite")).expect("a journal");
    let command = |arguments: &[&str]| {
        let mut command = Command::new(program());
        command
            .args(arguments)
            .current_dir(home.path())
            .env("HOME", home.path())
            .env("XDG_DATA_HOME", home.path())
            .env("XDG_CONFIG_HOME", home.path())
            .env("TZ", "UTC")
            .stdout(Stdio::null());
        command
    };
    // the year ends today, so that its last days are not summarised yet, as for a player
    let last: Date = jiff::tz::Offset::UTC
        .to_datetime(jiff::Timestamp::now())
        .date();
    let first_us = (jiff::Timestamp::now().as_microsecond().div_euclid(DAY_US) - DAYS + 1) * DAY_US;
    let mut student = Student::new();
    let rule = Rule::default();
    let (mut inside, mut whole) = (Vec::new(), Vec::new());
    let cpu = cpu_of_children_ms();
    for day in 0..DAYS {
        let begins_us = first_us + day * DAY_US;
        student.play(&mut journal, day, begins_us);
        if entries() > 200_000 && day + 1 < DAYS {
            continue;
        }
        let date = last
            .checked_sub(jiff::Span::new().days(DAYS - 1 - day))
            .expect("a day");
        let begin = Instant::now();
        let digest = journal.digest(begins_us + DAY_US - 1).expect("a digest");
        let items = today(&digest, &student.drills, &[], date, &rule);
        inside.push(begin.elapsed());
        assert!(!items.is_empty(), "nothing to do on {date}");
        let mut run = command(&["today", "--on", &date.to_string()]);
        let begin = Instant::now();
        assert!(run.status().expect("it runs").success());
        whole.push(begin.elapsed());
    }
    let cpu = (cpu_of_children_ms() - cpu) / DAYS as f64;
    println!("{} entries at the end of the year", student.stored);
    told("the plan on each day, without a process", inside, 20);
    told("`today` on each day, the whole process", whole, 20);
    println!("of which on a processor: {cpu:.1} ms on average");
    let reading: Vec<Duration> = (0..5)
        .map(|_| {
            let begin = Instant::now();
            std::hint::black_box(Digest::of(journal.marks().expect("marks")));
            begin.elapsed()
        })
        .collect();
    told("everything read again, as after a merge", reading, 1000);
    drop(journal);
    if entries() > 200_000 {
        return million(home.path(), &command);
    }
    let ends: Vec<Duration> = (0..25)
        .map(|_| {
            let begin = Instant::now();
            assert!(command(&["today"]).status().expect("it runs").success());
            begin.elapsed()
        })
        .collect();
    told("`today` at the end of the year", ends, 20);
    let empty = tempfile::tempdir().expect("a folder");
    let fresh: Vec<Duration> = (0..25)
        .map(|_| {
            let mut run = command(&["today"]);
            for name in ["HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"] {
                run.env(name, empty.path());
            }
            let begin = Instant::now();
            assert!(run.status().expect("it runs").success());
            begin.elapsed()
        })
        .collect();
    told("`today` without a journal", fresh, 20);
    let starts: Vec<Duration> = (0..15)
        .map(|_| {
            let run = Run::start(home.path(), &[]);
            let time = run.until(run.started, |screen| screen.contains("letters find"));
            run.end();
            time
        })
        .collect();
    told("start to the first complete screen", starts, 100);
    for arguments in [&["progress"][..], &["progress", "--csv"]] {
        let times: Vec<Duration> = (0..5)
            .map(|_| {
                let begin = Instant::now();
                assert!(command(arguments).status().expect("it runs").success());
                begin.elapsed()
            })
            .collect();
        told(&format!("`{}`", arguments.join(" ")), times, 1000);
    }
    class(home.path(), &command);
}

/// Times the commands with a year of a million entries, with the summary of the journal and without
/// it.
fn million(home: &Path, command: &dyn Fn(&[&str]) -> Command) {
    let summary = home.join("gracerung/journal.summary.json");
    let timed = |arguments: &[&str]| {
        let begin = Instant::now();
        assert!(command(arguments).status().expect("it runs").success());
        begin.elapsed()
    };
    let cold: Vec<Duration> = (0..3)
        .map(|_| {
            let _ = std::fs::remove_file(&summary);
            timed(&["today"])
        })
        .collect();
    told("`today` without a summary", cold, 3000);
    told("`today`", (0..15).map(|_| timed(&["today"])).collect(), 100);
    let starts = |arguments: &'static [&'static str], what: &'static str| -> Vec<Duration> {
        (0..7)
            .map(|_| {
                let run = Run::start(home, arguments);
                let time = run.until(run.started, |screen| screen.contains(what));
                run.end();
                time
            })
            .collect()
    };
    told(
        "start to the first screen",
        starts(&[], "letters find"),
        100,
    );
    told(
        "practice of a drill",
        starts(&["practise", "grip"], "space plays"),
        300,
    );
    let path = home.join("gracerung/journal.sqlite");
    let size = std::fs::metadata(&path).map_or(0, |file| file.len());
    println!("the journal has {} MiB", size >> 20);
    let run = Run::start(home, &["practise", "grip"]);
    run.until(run.started, |screen| screen.contains("space plays"));
    println!("memory at most: {:.0} MiB; asked for: 60", run.memory());
    run.end();
}

/// Writes two hundred reports, each about four drills in a month.
fn class(folder: &Path, command: &dyn Fn(&[&str]) -> Command) {
    let mut names = Vec::new();
    for student in 0..200 {
        let drill = |name: &str| ReportedDrill {
            drill: name.to_owned(),
            reach: "real time at 66".to_owned(),
            reached: (student % 3 == 0).then(|| jiff::civil::date(2027, 1, 20)),
            at: Some("half beats at 58".to_owned()),
            since: Some(jiff::civil::date(2027, 1, 2)),
            days: (1..=30)
                .map(|day| MarkedDay {
                    day: jiff::civil::date(2027, 1, day),
                    clean: 10 + student % 7,
                    not_clean: student % 11,
                    assumed: 0,
                })
                .collect(),
            faults: vec!["a gracenote too long (12 times)".to_owned()],
        };
        let report = Report {
            report: 1,
            title: "week 3".to_owned(),
            homework: None,
            from: Some(format!("student {student}")),
            made: jiff::civil::date(2027, 1, 30),
            by: None,
            drills: ["birl", "grip", "taorluath", "throw-on-d"]
                .map(drill)
                .to_vec(),
            questions: Vec::new(),
            takes: Vec::new(),
        };
        let name = format!("r-{student}.yaml");
        let text = write_report(&report).expect("written");
        assert_eq!(
            rows(
                &[(
                    name.clone(),
                    read_report(text.as_bytes()).expect("it reads")
                )],
                &[]
            )
            .len(),
            4
        );
        std::fs::write(folder.join(&name), text).expect("written");
        names.push(name);
    }
    for page in [None, Some("class.html"), Some("class.pdf")] {
        let times: Vec<Duration> = (0..5)
            .map(|_| {
                let mut arguments = vec!["review"];
                arguments.extend(names.iter().map(String::as_str));
                if let Some(page) = page {
                    arguments.extend(["--force", "-o", page]);
                }
                let begin = Instant::now();
                assert!(command(&arguments).status().expect("it runs").success());
                begin.elapsed()
            })
            .collect();
        let what = page.unwrap_or("a table");
        told(&format!("a class of 200 reviewed into {what}"), times, 1000);
    }
}
