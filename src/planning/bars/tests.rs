use super::*;
use crate::drill::read_music;
use crate::movement::Schools;
use crate::practice::{CellKey, NoteKind, NoteMeasure, Record, Rung};
use crate::rhythm::Metre;
use crate::score::resolve_music;
use crate::units::{Beats, Bpm, Milliseconds};
use std::cell::Cell;
use uuid::Uuid;

thread_local! {
    /// How many measurements this thread has read out of their JSON.
    pub(crate) static READ: Cell<usize> = const { Cell::new(0) };
}

const TUNE: StagePrint = StagePrint(1);
const PHRASE: StagePrint = StagePrint(2);
const OTHER: StagePrint = StagePrint(3);

fn score(text: &str) -> Score {
    let metre = Metre::TWO_FOUR;
    let (music, problems) = read_music(text, metre, metre.default_unit(), "");
    assert_eq!(problems, [], "{text}");
    resolve_music(&music, Beats::ZERO, &Schools::none())
}

fn entry(number: u64, stage: StagePrint, kind: Kind, by: By, measures: Option<String>) -> Entry {
    Entry {
        journal: Uuid::from_u128(1),
        seq: number + 1,
        record: Record {
            id: RecordId {
                session: Uuid::from_u128(2),
                number,
            },
            utc_us: number.cast_signed(),
            offset_s: 0,
            kind,
            drill: "ours".to_owned(),
            cell: Some(CellKey {
                stage,
                rung: Rung::Tempo(Bpm::EIGHTY),
            }),
            by: Some(by),
            thresholds: None,
            measures,
            version: "test".to_owned(),
        },
    }
}

fn marked(number: u64, stage: StagePrint, mark: Mark) -> Entry {
    let kind = Kind::Mark {
        repetition: number,
        mark,
        needed: 5,
        free: false,
    };
    entry(number, stage, kind, By::Key, None)
}

/// A repetition in which one note of a bar was not heard.
pub(crate) fn missed(number: u64, stage: StagePrint, bar: u32) -> Entry {
    let note = |id: u32, bar: u32, heard: Option<Note>| NoteMeasure {
        id,
        bar,
        part: NoteKind::Melody,
        written: Note::LowA,
        heard,
        length_ms: heard.map(|_| Milliseconds(500.0)),
        expected_ms: Milliseconds(500.0),
        offset_ms: heard.map(|_| Milliseconds(0.0)),
        place_ms: None,
        on_click: true,
        begun_by: 0,
        tap: false,
        movement: None,
        pair: None,
        cents: None,
    };
    let measured = Measurement {
        playing: true,
        beat_ms: Milliseconds(750.0),
        notes: vec![note(0, 1, Some(Note::LowA)), note(1, bar, None)],
        extra: Vec::new(),
        lead_ms: Milliseconds(0.0),
        drift_percent: 0.0,
        confidence: None,
    };
    let kind = Kind::Mark {
        repetition: number,
        mark: Mark::NotClean,
        needed: 5,
        free: false,
    };
    entry(number, stage, kind, By::Ear, measured.to_json())
}

/// What was found in a phrase counts for the bars of the tune that it is; what is no part of the
/// tune counts for nothing.
#[test]
fn faults_in_a_phrase_are_faults_of_its_bars_in_the_tune() {
    let tune = score("A4 B4|c4 d4|e4 d4|c4 e4|");
    let phrase = score("e4 d4|c4 e4|");
    let other = score("f4 e4|f4 e4|");
    let stages = [(TUNE, &tune), (PHRASE, &phrase), (OTHER, &other)];
    let entries = [
        missed(0, PHRASE, 2),
        missed(1, PHRASE, 2),
        missed(2, OTHER, 1),
        missed(3, TUNE, 2),
        marked(4, PHRASE, Mark::Clean),
    ];
    let lines = bar_lines(&tune, &stages, &entries);
    let told: Vec<(u16, u32, f64)> = lines
        .iter()
        .map(|line| (line.bar, line.of, line.failed))
        .collect();
    assert_eq!(told, [(1, 1, 0.0), (2, 1, 1.0), (3, 4, 0.0), (4, 4, 2.0)]);
    assert_eq!(work_on(&lines), [4]);
}

/// A hand that says clean overrules the ear; not clean by hand says that one of the bars failed;
/// what was taken back says nothing.
#[test]
fn a_hand_overrules_and_shares_between_the_bars() {
    let tune = score("A4 B4|c4 d4|");
    let stages = [(TUNE, &tune)];
    let mut overruled = marked(1, TUNE, Mark::Clean);
    overruled.record.kind = Kind::Mark {
        repetition: 0,
        mark: Mark::Clean,
        needed: 5,
        free: false,
    };
    let taken_back = marked(3, TUNE, Mark::NotClean);
    let undo = Kind::Undo {
        mark: taken_back.record.id,
    };
    let entries = [
        missed(0, TUNE, 2),
        overruled,
        marked(2, TUNE, Mark::NotClean),
        taken_back,
        entry(4, TUNE, undo, By::Key, None),
    ];
    let lines = bar_lines(&tune, &stages, &entries);
    for line in &lines {
        assert_eq!((line.of, line.failed), (2, 0.5), "{line:?}");
    }
    assert!(work_on(&lines).is_empty());
}

/// Where a hand says nothing, the ear's finding counts; where it says not clean as well, only the bar
/// that the ear found.
#[test]
fn what_the_ear_found_counts_without_and_beside_a_hand() {
    let tune = score("A4 B4|c4 d4|");
    let stages = [(TUNE, &tune)];
    let told = |entries: &[Entry]| -> Vec<(u32, f64)> {
        let lines = bar_lines(&tune, &stages, entries);
        lines.iter().map(|line| (line.of, line.failed)).collect()
    };
    let mut unmarked = missed(0, TUNE, 2);
    unmarked.record.kind = Kind::Measured { repetition: 0 };
    assert_eq!(told(&[unmarked.clone()]), [(1, 0.0), (1, 1.0)]);
    let mut not_clean = marked(1, TUNE, Mark::NotClean);
    not_clean.record.kind = Kind::Mark {
        repetition: 0,
        mark: Mark::NotClean,
        needed: 5,
        free: false,
    };
    assert_eq!(told(&[unmarked, not_clean]), [(1, 0.0), (1, 1.0)]);
}

/// A pickup is a note of the bar before: a fault in it is one of that bar, and nothing else is said of
/// a bar of which only a pickup was played.
#[test]
fn a_pickup_says_of_its_bar_only_what_failed_in_it() {
    let tune = score("A4 B4|c4 d4|e4 d4|c4 e4|");
    let phrase = score("d4|e4 d4|c4|");
    let entries = [missed(0, PHRASE, 0), marked(1, PHRASE, Mark::Clean)];
    let lines = bar_lines(&tune, &[(PHRASE, &phrase)], &entries);
    let told: Vec<(u16, u32, f64)> = lines
        .iter()
        .map(|line| (line.bar, line.of, line.failed))
        .collect();
    assert_eq!(told, [(1, 0, 0.0), (2, 1, 1.0), (3, 2, 0.0), (4, 0, 0.0)]);
}

/// How a phrase begins depends on what is played before it, so the gracenotes of its first note may be
/// others than in the tune; those of every later note may not.
#[test]
fn a_phrase_has_the_gracenotes_of_the_tune_behind_its_first_note() {
    let tune = score("A4 B4|{g}c4 {g}d4|");
    for (phrase, part) in [
        ("{g}c4 {g}d4|", true),
        ("c4 {g}d4|", true),
        ("{g}c4 d4|", false),
        ("{g}c4 {e}d4|", false),
        ("{g}c4 {g}e4|", false),
    ] {
        assert_eq!(is_part_of(&tune, &score(phrase)), part, "{phrase}");
    }
}

/// Those that fail in most of their repetitions, three at most, in the order of the tune: three of four is
/// more than five of twenty, one slip is none, and two of eleven are less than a fifth.
#[test]
fn the_bars_that_fail_most_are_worked_on() {
    let line = |bar: u16, of: u32, failed: f64| BarLine { bar, of, failed };
    let shares = [(4, 3.0), (20, 5.0), (0, 0.0)].map(|(of, failed)| line(1, of, failed).share());
    assert_eq!(shares, [0.75, 0.25, 0.0]);
    let lines = [
        line(1, 20, 5.0),
        line(2, 1, 1.0),
        line(3, 4, 3.0),
        line(4, 11, 2.0),
        line(5, 10, 2.0),
        line(6, 10, 4.0),
    ];
    assert_eq!(work_on(&lines), [1, 3, 6]);
    assert_eq!(work_on(&lines[3..]), [5, 6]);
    assert_eq!(work_on(&lines[..2]), [1]);
}

#[test]
fn what_to_work_on_reads_as_english() {
    let words = |bars: &[u16]| work_on_words(bars).unwrap_or_default();
    assert_eq!(words(&[]), "");
    assert_eq!(words(&[0]), "work on the pickup");
    assert_eq!(words(&[5]), "work on bar 5");
    assert_eq!(words(&[5, 13]), "work on bars 5 and 13");
    assert_eq!(words(&[0, 2, 4]), "work on the pickup and bars 2 and 4");
}

/// A fault that was mended long ago does not count.
#[test]
fn only_the_last_twenty_count() {
    let tune = score("A4 B4|c4 d4|");
    let old = (0..10).map(|number| missed(number, TUNE, 2));
    let new = (10..40).map(|number| marked(number, TUNE, Mark::Clean));
    let entries: Vec<Entry> = old.chain(new).collect();
    let lines = bar_lines(&tune, &[(TUNE, &tune)], &entries);
    assert_eq!((lines[1].of, lines[1].failed), (20, 0.0));
    assert!(work_on(&lines).is_empty());
}

/// What is kept says the same as all entries do, also when it comes one by one and something is
/// taken back; of a stage only the last are kept, and of another nothing is done.
#[test]
fn what_was_said_lately_is_kept_for_each_stage() {
    let tune = score("A4 B4|c4 d4|e4 d4|c4 e4|");
    let mut entries: Vec<Entry> = (0..200)
        .map(|number| match number % 7 {
            0 => marked(number, OTHER, Mark::NotClean),
            1 | 2 => missed(number, TUNE, 3),
            _ => marked(number, TUNE, Mark::Clean),
        })
        .collect();
    let undo = Kind::Undo {
        mark: entries[198].record.id,
    };
    entries.push(entry(200, TUNE, undo, By::Key, None));
    let mut lately = Lately::default();
    for (at, entry) in entries.iter().enumerate() {
        let told = lately.take_in(std::slice::from_ref(entry));
        let stage = if at < 200 && at % 7 == 0 { OTHER } else { TUNE };
        assert_eq!(told, BTreeSet::from([stage]), "{at}");
    }
    let all = bar_lines(&tune, &[(TUNE, &tune)], &entries);
    assert!(all[2].failed > 4.0, "{all:?}");
    assert_eq!(lately.bar_lines(TUNE, &tune), all);
    assert_eq!(lately.stages[&TUNE].len(), Lately::MOST as usize - 1);
    let ended = entry(201, TUNE, Kind::Ended, By::Key, None);
    assert!(lately.take_in(&[ended]).is_empty());
}
