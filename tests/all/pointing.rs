//! A tune with a pointing, from its file to the verdict: exact notes, real sound, the screen and
//! the commands. Ratios and ranges are from experience, 55 to 65 % sure, never cited as fact.

use super::terminal::Story;
use gracerung::app::{Message, Model, OpenedDrill, Options, prints, scores, update};
use gracerung::drill::{Drill, read};
use gracerung::journal::Journal;
use gracerung::listening::{ExpectedStage, HeardNote, align};
use gracerung::practice::ladder::climbs;
use gracerung::practice::{
    By, CellKey, Kind, Mark, Measurement, Moment, Record, RecordId, Thresholds, Verdict, judge,
};
use gracerung::score::{resolve_music, where_time_comes_from};
use gracerung::screen::{Theme, view};
use gracerung::timeline::{EventKind, Layout, Timeline, lay};
use gracerung::units::{Beats, Bpm, Fraction, SampleRate, Seconds};
use std::path::Path;
use std::process::{Command, Output};

const REPETITIONS: u64 = 3;

/// A tune of our own of some kind: its head, then two lines of dotted notes.
fn tune(head: &str) -> String {
    format!(
        "title: The Lantern Stair\nmetre: 2/4\nunit: 1/8\n{head}\n\
         music: \"{{g}}A>B {{g}}c>d|{{g}}e>c {{g}}B>A|{{g}}c>e {{g}}f>e|{{gcd}}c>B {{g}}A2|\"\n\
         ladder: {{from: 50, to: 80, step: 4%}}\nclean: 3\n"
    )
}

fn drill(text: &str) -> Drill {
    let (drill, problems) = read(text.as_bytes());
    drill.unwrap_or_else(|| panic!("{text}{problems:?}"))
}

fn laid(drill: &Drill) -> (ExpectedStage, Timeline) {
    let breath = drill.metre.bar() * Fraction::from_integer(i128::from(drill.breath));
    let score = resolve_music(&drill.stages[0].music, breath, &drill.schools);
    let tempo = Bpm::whole(60).expect("a tempo");
    let timeline = lay(&score, &Layout::at(tempo, SampleRate::USUAL));
    (ExpectedStage::of(&score, &timeline), timeline)
}

/// The verdicts on a player of the tune `asked` who plays exactly what the program plays of
/// `played`.
fn verdicts(asked: &str, played: &str) -> Vec<Verdict> {
    let limits = Thresholds::default();
    let measured = measured(asked, played);
    measured
        .iter()
        .map(|measured| judge(measured, &limits))
        .collect()
}

/// The measurements of that player, for each repetition.
fn measured(asked: &str, played: &str) -> Vec<Measurement> {
    let (piece, _) = laid(&drill(&tune(asked)));
    let (_, timeline) = laid(&drill(&tune(played)));
    let beat_s = 60.0 / timeline.tempo.to_f64();
    let heard: Vec<HeardNote> = timeline
        .played(REPETITIONS)
        .iter()
        .filter_map(|placed| match placed.event.kind {
            EventKind::Sound(sound) => {
                let start = placed.beat.to_f64() * beat_s;
                let end = start + sound.length.to_f64() * beat_s;
                Some(HeardNote::known(sound.note, Seconds(start), Seconds(end)))
            }
            _ => None,
        })
        .collect();
    let found = align(&piece, &heard).repetitions;
    assert_eq!(found.len() as u64, REPETITIONS, "{asked} by {played}");
    found
        .into_iter()
        .map(|repetition| repetition.measured)
        .collect()
}

#[track_caller]
fn check(asked: &str, played: &str, words: &[&str]) {
    for verdict in verdicts(asked, played) {
        let told: Vec<&str> = verdict
            .faults
            .iter()
            .map(|fault| fault.words.as_str())
            .collect();
        assert_eq!(told, words, "{asked} played {played}");
        let mark = if words.is_empty() {
            Mark::Clean
        } else {
            Mark::NotClean
        };
        assert_eq!(verdict.mark, Some(mark));
    }
}

#[test]
fn what_is_as_good_is_clean_and_what_is_not_is_told_once() {
    const MARCH: &str = "kind: march";
    for good in ["4:1", "3:1", "6:1", "as written"] {
        check(MARCH, &format!("pointing: '{good}'"), &[]);
    }
    let round = "hold the dots: 1.0 : 1, wanted 3 to 6";
    check(MARCH, "pointing: round", &[round]);
    check(
        MARCH,
        "pointing: '2.1:1'",
        &["hold the dots: 2.1 : 1, wanted 3 to 6"],
    );
    let sharp = "let the short notes sound, the dots are too long: 8.0 : 1, wanted 3 to 6";
    check(MARCH, "pointing: '8:1'", &[sharp]);
    // the file gives another ratio with its own range
    check("pointing: '2:1, 1.7 to 3'", "pointing: '2.1:1'", &[]);
    check("pointing: round", "pointing: round", &[]);
    // in an air no ratio is wrong
    for any in ["round", "2:1", "7:1"] {
        check("kind: slow air", &format!("pointing: '{any}'"), &[]);
    }
    // without a pointing a dotted note is played as written
    check("breath: 1", "pointing: '3:1'", &[]);
    let told = verdicts("breath: 1", "pointing: round");
    let first = &told[0].faults[0].words;
    assert!(
        first.ends_with("played 1.0 to 1, written 3.0 to 1"),
        "{first}"
    );
}

/// Each of these sentences fits one line on a screen of 80 columns.
#[test]
fn every_sentence_on_all_pairs_has_room_in_a_line() {
    for played in ["round", "2:1", "12:1"] {
        for verdict in verdicts("kind: strathspey", &format!("pointing: '{played}'")) {
            for fault in verdict.work_on() {
                assert!(fault.words.chars().count() < 79, "{}", fault.words);
            }
        }
    }
}

fn run(home: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output: Output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(arguments)
        .current_dir(home)
        .env("HOME", home)
        .env("XDG_DATA_HOME", home)
        .env("XDG_CONFIG_HOME", home)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program runs");
    let said = [output.stdout, output.stderr].concat();
    (
        output.status.code(),
        String::from_utf8_lossy(&said).into_owned(),
    )
}

/// From the file through sound to the microphone: the ratio that the reference plays is the one
/// that is heard, and a different one is reported.
#[test]
fn the_ratio_that_is_rendered_is_the_one_that_is_heard() {
    let home = tempfile::tempdir().expect("a folder");
    let file = |name: &str, head: &str| {
        std::fs::write(home.path().join(name), tune(head)).expect("a file");
    };
    file("march.yaml", "kind: march");
    file("round.yaml", "pointing: 2:1");
    for name in ["march", "round"] {
        let (from, wav) = (format!("{name}.yaml"), format!("{name}.wav"));
        let (code, said) = run(
            home.path(),
            &[
                "render",
                &from,
                "--tempo",
                "60",
                "--repeats",
                "1",
                "--no-click",
                "-o",
                &wav,
            ],
        );
        assert_eq!(code, Some(0), "{said}");
    }
    let listen = |wav: &str, more: &[&str]| {
        let asked = [
            "listen",
            wav,
            "--drill",
            "march.yaml",
            "--tempo",
            "60",
            "--la",
            "236",
        ];
        run(home.path(), &[&asked[..], more].concat())
    };
    let (code, said) = listen("march.wav", &[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("dots 4.0 : 1, half of 7 within 0."), "{said}");
    let (code, said) = listen("round.wav", &[]);
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("hold the dots: 2.0 : 1, wanted 3 to 6"),
        "{said}"
    );
    let (_, said) = listen("round.wav", &["--json"]);
    let document: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    let dots = &document["repetitions"][0]["pointing"][0];
    assert_eq!(
        (&dots["pairs"], &dots["least"], &dots["most"]),
        (&"dots".into(), &3.0.into(), &6.0.into())
    );
    let bars: Vec<u64> = dots["each"]
        .as_array()
        .expect("pairs")
        .iter()
        .filter_map(|pair| pair["bar"].as_u64())
        .collect();
    assert_eq!(bars, [1, 1, 2, 2, 3, 3, 4]);
}

#[test]
fn dots_are_held_only_where_somebody_says_how_long() {
    let home = tempfile::tempdir().expect("a folder");
    let practise = |drill: &str| run(home.path(), &["practise", drill, "--held-dots"]);
    let (code, said) = practise("lamp-on-the-slipway");
    assert_eq!(code, Some(2));
    assert!(said.contains("such as `pointing: 4:1`"), "{said}");
    // the command continues to the point at which it needs a terminal
    let (_, said) = practise("bell-at-the-ferry");
    assert!(said.contains("this needs a terminal"), "{said}");
}

/// A player who asks for held dots gets them, even where the same bars were since played without
/// them. Practice begins at the lowest rung, and later in the cell where the held dots were left.
#[test]
fn held_dots_begin_where_they_were_left_and_not_where_the_tune_was() {
    let home = tempfile::tempdir().expect("a folder");
    let bars = ["practise", "bell-at-the-ferry", "--bars", "5-8"];
    let held = [&bars[..], &["--held-dots"]].concat();
    let visit = |arguments: &[&str], stage: &str, begins: u16, goes_up: bool| {
        let mut story = Story::begin(home.path(), arguments, 80, 24);
        story.until(stage);
        story.until(&format!("▸   {begins}"));
        if goes_up {
            story.press("+");
            story.until("▸   58");
        }
        story.press("q");
        story.ends_with(0);
    };
    visit(&bars, "bars 5 to 8 · as written", 56, true);
    visit(&held, "dots held · held dots", 56, true);
    visit(&bars, "bars 5 to 8 · as written", 58, false);
    visit(&held, "dots held · held dots", 58, false);
    // where the cut is too short for a taorluath, it takes its time from the dotted note, whether
    // dots are held or not; the first bar of a piece has no such note
    let kept = |name: &str| {
        let path = format!("gracerung/drills/bell-at-the-ferry-bars-{name}-held-dots.yaml");
        std::fs::read_to_string(home.path().join(path)).expect("it is kept")
    };
    let told = kept("5-8");
    assert!(
        told.contains("every dot but those before each taorluath held longer"),
        "{told}"
    );
    let first = [
        "practise",
        "bell-at-the-ferry",
        "--bars",
        "1",
        "--held-dots",
    ];
    visit(&first, "dots held · held dots", 56, false);
    let told = kept("1");
    assert!(told.contains("every dot held longer"), "{told}");
}

/// The explanation of a movement after a cut names both notes that give it time. After any other
/// note, and in a tune without a pointing, it names only the one.
#[test]
fn a_movement_behind_a_cut_has_its_time_from_the_cut_and_the_dot() {
    let told = |head: &str, music: &str| {
        let text = format!(
            "title: T\nmetre: 2/4\nunit: 1/8\n{head}\nmusic: \"{music}\"\n\
             ladder: {{from: 60, to: 80, step: 4%}}\n"
        );
        let drill = drill(&text);
        let stage = &drill.stages[0];
        where_time_comes_from(&resolve_music(&stage.music, Beats::ZERO, &drill.schools))
    };
    let (both, one) = (
        "the taorluath takes its time from the end of E and, where E is too short, from the dot \
         before it; low A lands on beat 2",
        "the taorluath takes its time from the end of E; low A lands on beat 2",
    );
    let dotted = "{g}f>e {GdGe}A2|";
    assert_eq!(told("kind: march", dotted), [both]);
    assert_eq!(told("kind: march", "{g}f{g}e {GdGe}A2|"), [one]);
    assert_eq!(told("pointing: as written", dotted), [one]);
}

/// The player sees that a default comes from experience and is not a fact.
#[test]
fn the_practise_page_says_how_the_tune_is_pointed_and_from_where() {
    let mut model = Model::new(Options::default());
    let opened = OpenedDrill::new("lantern-stair", drill(&tune("kind: march")));
    let at = Moment {
        utc_us: 0,
        offset_s: 0,
        heard_ms: 0,
    };
    update(&mut model, at, Message::Opened(Box::new(opened)));
    let backend = ratatui::backend::TestBackend::new(80, 24);
    let mut terminal = ratatui::Terminal::new(backend).expect("a screen");
    let drawn = terminal.draw(|frame| {
        view(&model, Theme::new(false), frame);
    });
    let buffer = drawn.expect("drawn").buffer.clone();
    let all: String = buffer
        .content()
        .iter()
        .map(ratatui::buffer::Cell::symbol)
        .collect();
    assert!(all.contains("pointed 4 : 1 (from experience)"), "{all}");
}

/// A player whose dotted notes grow sharper from week to week sees one figure a week, with the
/// range of the pairs and the range that is wanted.
#[test]
fn progress_shows_how_a_tune_was_pointed_week_by_week() {
    let home = tempfile::TempDir::new().expect("a folder");
    let march = tune("kind: march");
    let file = home.path().join("lantern.yaml");
    std::fs::write(&file, &march).expect("written");
    let drill = drill(&march);
    let cell = CellKey {
        stage: prints(&scores(&drill))[0],
        rung: climbs(&drill)[0][0],
    };
    let data = home.path().join("gracerung");
    std::fs::create_dir_all(&data).expect("a folder");
    let mut journal = Journal::open(&data.join("journal.sqlite")).expect("a journal");
    // 4 January 2027 is a Monday, 20,822 days after 1970-01-01
    for (week, pointing) in ["2:1", "3:1", "4:1"].iter().enumerate() {
        let session = uuid::Uuid::new_v4();
        let measured = measured("kind: march", &format!("pointing: '{pointing}'"));
        let records: Vec<Record> = (0_u64..)
            .zip(&measured)
            .map(|(number, measured)| Record {
                id: RecordId { session, number },
                utc_us: (20_822 + 7 * week as i64) * 86_400_000_000
                    + 36_000_000_000
                    + 10_000_000 * i64::try_from(number).expect("small"),
                offset_s: 0,
                kind: Kind::Mark {
                    repetition: number,
                    mark: Mark::Clean,
                    needed: drill.clean,
                    free: false,
                },
                drill: "lantern".to_owned(),
                cell: Some(cell),
                by: Some(By::Ear),
                thresholds: None,
                measures: measured.to_json(),
                version: "test".to_owned(),
            })
            .collect();
        journal.append(&records).expect("stored");
    }
    drop(journal);
    let name = file.to_str().expect("a path");
    let (code, said) = run(home.path(), &["progress", name, "--details"]);
    assert_eq!(code, Some(0), "{said}");
    for line in [
        "pointed, week by week: the middle pair, and what half of them lie between",
        "dots, wanted 3 to 6",
        "week of 2027-01-04   2.0 : 1",
        "week of 2027-01-11   3.0 : 1",
        "week of 2027-01-18   4.0 : 1",
    ] {
        assert!(said.contains(line), "{line}\n{said}");
    }
    assert!(
        said.lines().all(|line| line.chars().count() <= 78),
        "{said}"
    );
    let (_, glance) = run(home.path(), &["progress", name]);
    assert!(
        glance.contains("dots 4.0 : 1, 3.0 before; wanted 3 to 6"),
        "{glance}"
    );
    let (code, said) = run(home.path(), &["progress", name, "-o", "weeks.svg"]);
    assert_eq!(code, Some(0), "{said}");
    let svg = std::fs::read_to_string(home.path().join("weeks.svg")).expect("a picture");
    assert!(svg.contains("long to short") && svg.contains("dots, wanted 3 to 6"));
}
