//! What the fuzzer feeds its inputs to, a function a target: each reads any bytes or tells what is
//! wrong with them, and never panics.
//!
//! `cargo test` feeds the corpus to the same targets, so a change that breaks one is told without the
//! fuzzer.  Knows nothing of how inputs are made.

use gracerung::decoding::Recording;
use gracerung::exchange::Format;
use gracerung::homework::{groups, kind_of, page, read_assignment, read_report, sealed};
use gracerung::journal::{Journal, absurd, look_over, mended, odd};
use gracerung::planning::{Digest, Lately, Said};
use gracerung::practice::{Entry, Plan, replay};
use gracerung::settings::Source;
use gracerung::timeline::{Layout, lay};
use gracerung::units::SampleRate;
use std::path::Path;
use std::sync::LazyLock;

/// The plan of a drill that the corpus has marks of.
static PLAN: LazyLock<Plan> = LazyLock::new(|| {
    let drill = gracerung::drill::built_in("grip-from-d").expect("it is built in");
    let (drill, _) = gracerung::drill::read(drill.text.as_bytes());
    let drill = drill.expect("it reads");
    let scores = gracerung::app::scores(&drill);
    Plan::new("grip-from-d", gracerung::app::planned(&drill, &scores))
});

/// A moment of 2026, microseconds since 1970.
const NOW: i64 = 1_796_000_000_000_000;

/// Feeds bytes to a target, which is named as its folder of the corpus.
///
/// # Panics
/// Where there is no such target, and where the target finds what must not be.
pub(super) fn feed(target: &str, bytes: &[u8]) {
    match target {
        "abc" => foreign(Format::Abc, bytes),
        "midi" => foreign(Format::Midi, bytes),
        "musicxml" => foreign(Format::MusicXml, bytes),
        "drill" => drill(bytes),
        "entries" => entries(bytes),
        "homework" => homework(bytes),
        "journal" => journal(bytes),
        "recording" => recording(bytes),
        "settings" => settings(bytes),
        other => panic!("no target is called {other}"),
    }
}

/// A file of another program.  What does not read is told.
fn foreign(format: Format, bytes: &[u8]) {
    let (piece, problems) = gracerung::exchange::read(format, bytes);
    assert!(piece.is_some() || !problems.is_empty());
}

/// A drill file; what reads is laid out in time.
fn drill(bytes: &[u8]) {
    let (drill, problems) = gracerung::drill::read(bytes);
    let _ = gracerung::drill::render("x.yaml", &String::from_utf8_lossy(bytes), &problems);
    let Some(drill) = drill else {
        assert!(!problems.is_empty());
        return;
    };
    for score in gracerung::app::scores(&drill) {
        let _ = lay(&score, &Layout::at(drill.ladder.from(), SampleRate::USUAL));
    }
}

/// The lines of an exported journal, through what mends them, the board and the plan of a day.
fn entries(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let entries: Vec<Entry> = text
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect();
    let found = odd(&entries, NOW);
    let whole = mended(entries, &found);
    assert!(whole.iter().all(|entry| absurd(entry).is_none()));
    let _ = replay(PLAN.clone(), &whole).board();
    let _ = Lately::default().take_in(&whole);
    let _ = Digest::of(whole.iter().filter_map(Said::of));
}

/// Homework or a report, with the checksum it has and with one that fits.
fn homework(bytes: &[u8]) {
    let _ = (kind_of(bytes), read_assignment(bytes), read_report(bytes));
    let body = String::from_utf8_lossy(bytes);
    // without a fitting checksum nothing behind it would be reached
    let body = body.split("checksum: ").next().unwrap_or_default();
    let whole = sealed(body);
    if let Ok(task) = read_assignment(whole.as_bytes()) {
        for task in &task.tasks {
            let _ = gracerung::drill::read(task.file.as_bytes());
        }
    }
    if let Ok(report) = read_report(whole.as_bytes()) {
        let groups = groups(&[("report".to_owned(), report)], &[]);
        let _ = page("class", &groups);
    }
}

/// A journal that is looked over; one that opens answers every question.
fn journal(bytes: &[u8]) {
    // copies are made beside it: in memory, where there is such a folder, and not on a disk
    let memory = Path::new("/dev/shm");
    let folder = if memory.is_dir() {
        tempfile::tempdir_in(memory)
    } else {
        tempfile::tempdir()
    };
    let folder = folder.expect("a folder");
    let path = folder.path().join("journal.sqlite");
    std::fs::write(&path, bytes).expect("written");
    if let Ok((_, entries)) = look_over(&path) {
        let found = odd(&entries, NOW);
        let _ = mended(entries, &found);
    }
    if let Ok(mut journal) = Journal::open(&path) {
        let _ = (
            journal.last_place(),
            journal.discriminations(),
            journal.digest(NOW),
        );
        if let Ok(stages) = journal.stages_of("grip-from-d") {
            let _ = (journal.board(&stages), journal.latest(&stages, 60));
        }
    }
}

/// A recording, read to its end.
fn recording(bytes: &[u8]) {
    let length = bytes.len() as u64;
    if let Ok(mut recording) = Recording::open(std::io::Cursor::new(bytes.to_vec()), length) {
        let mut samples = 0;
        loop {
            let piece = recording.read(65_536);
            samples += piece.len();
            // 576 a byte: a frame of MP3 or FLAC that says nothing but its length
            assert!(samples <= 600 * bytes.len() + 65_536, "{samples}");
            if piece.is_empty() {
                break;
            }
        }
    }
}

/// A settings file, and each of its lines as a variable.
fn settings(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let environment: Vec<(String, String)> = text
        .lines()
        .filter_map(|line| line.split_once('='))
        .map(|(name, value)| {
            // what is commented out in a whole file is a name too
            let name = name
                .trim_start_matches("# ")
                .trim()
                .to_uppercase()
                .replace(['.', '-'], "_");
            (format!("GRACERUNG_{name}"), value.trim().to_owned())
        })
        .collect();
    let (_, problems) = gracerung::settings::read(Source {
        file: Some(&text),
        environment: &environment,
        flags: &[],
    });
    for problem in problems {
        let _ = problem.render("settings.toml", &text);
    }
}
