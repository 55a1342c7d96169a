//! From one lesson to the next with real marks: what a teacher asks for, what a student plays and
//! writes, and what is sent back.

use super::faults::{COUNT, Home, Lines};
use gracerung::app::{prints, scores};
use gracerung::drill::read;
use gracerung::journal::Journal;
use gracerung::practice::{CellKey, Kind, Record, RecordId, Rung};
use std::time::Duration;
use uuid::Uuid;

/// The time between two presses. It is longer than for a held pedal, so that each press marks
/// another repetition.
const APART: Duration = Duration::from_millis(660);

fn begin(run: &mut Lines) {
    run.until("Still.");
    run.press(" ");
    run.until("Playing.");
    // the count-in and the first repetition
    std::thread::sleep(Duration::from_millis(900));
}

fn mark(run: &mut Lines, signs: &str) {
    for sign in signs.chars() {
        run.press(&sign.to_string());
        std::thread::sleep(APART);
    }
}

/// Homework with a criterion of the teacher is reached by marks made on the screen. The report has
/// a remark and a question, and one student of the class sends none.
#[test]
fn a_week_from_teacher_to_student_to_teacher() {
    let (teacher, student) = (Home::new(), Home::new());
    teacher.said(&[
        "assign",
        "count",
        "--to-reach",
        "first at 300",
        "--until",
        "3 of 4",
        "--by",
        "2099-01-15",
        "--note",
        "the little finger\ndoes it",
        "--for",
        "A Player",
        "--for",
        "another player",
        "-o",
        "week.yaml",
    ]);
    std::fs::copy(teacher.path("week.yaml"), student.path("week.yaml")).expect("carried");
    let mut run = Lines::practise(student.folder(), &[], &["week.yaml"], &[]);
    run.until("Listen for: what your teacher says: the little finger does it.");
    run.until("week, due 2099-01-15: reach first at 300, 3 of 4");
    begin(&mut run);
    mark(&mut run, "cxc");
    run.until("clean: 1 of 50");
    let said = student.said(&["report", "week.yaml", "-o", "early.yaml"]);
    assert!(said.contains("not reached yet, now first at 300"), "{said}");
    // two remarks on the last mark, one of them discarded, and a question
    run.press("\"");
    run.until("Write, beside the last mark");
    run.press("felt xhea\u{7f}avy\r");
    run.until("takes it along: felt xheavy");
    run.press("\"no\u{1b}");
    // an escape directly before a letter would be another key
    std::thread::sleep(Duration::from_millis(200));
    run.press("a");
    run.until("Write, for your teacher");
    run.press("which finger?\r");
    run.until("takes it along: which finger?");
    // writing paused play, and letters marked nothing
    run.press(" ");
    std::thread::sleep(Duration::from_millis(900));
    mark(&mut run, "c");
    run.until("homework reached: first at 300, 3 of 4");
    run.mark_clean(1);
    run.until("clean: 3 of 50");
    run.press("q");
    run.ends_with(0);

    let said = student.said(&["report", "week.yaml", "--name", "a player", "-o", "r.yaml"]);
    assert!(said.contains("first at 300, 3 of 4: reached"), "{said}");
    assert!(
        said.contains("2 remarks you wrote while practising stayed here"),
        "{said}"
    );
    let text = std::fs::read_to_string(student.path("r.yaml")).expect("written");
    assert!(
        !text.contains("heavy") && !text.contains("which finger"),
        "{text}"
    );
    student.said(&[
        "report",
        "week.yaml",
        "--name",
        "a player",
        "--words",
        "--force",
        "-o",
        "r.yaml",
    ]);
    std::fs::copy(student.path("r.yaml"), teacher.path("r.yaml")).expect("carried");
    let class = teacher.said(&["review", "week.yaml", "r.yaml", "-o", "class.pdf"]);
    assert!(
        class.contains("a player") && class.contains("reached"),
        "{class}"
    );
    assert!(
        class.contains("clean, first at 300: “felt xheavy”"),
        "{class}"
    );
    assert!(class.contains("“which finger?”"), "{class}");
    let silent = class.lines().find(|line| line.contains("another player"));
    assert!(
        silent.is_some_and(|line| line.contains("no report yet")),
        "{class}"
    );
    assert!(
        !class.contains("A Player"),
        "who answered is not missed: {class}"
    );
    let pdf = std::fs::read(teacher.path("class.pdf")).expect("written");
    assert!(pdf.starts_with(b"%PDF"));
    let marks = marks(&student);
    assert_eq!(marks, 5, "a letter was taken for a mark");
}

fn marks(home: &Home) -> usize {
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    let entries = journal.read_all().expect("it reads");
    entries
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Mark { .. }))
        .count()
}

/// Three clean repetitions go one rung up and one that is not clean goes one rung down, on the
/// screen and not only in a simulation.
#[test]
fn the_staircase_climbs_and_falls_with_real_marks() {
    let home = Home::new();
    let text = COUNT
        .replace(
            "{from: 300, to: 300, step: 10}",
            "{from: 280, to: 300, step: 10}",
        )
        .replace("title: Count", "title: Stairs");
    std::fs::write(home.path("gracerung/drills/stairs.yaml"), text).expect("a file");
    let stairs = [("GRACERUNG_LADDER", "staircase")];
    let mut run = Lines::practise(home.folder(), &[], &["stairs"], &stairs);
    run.until("Stage: first at 280.");
    begin(&mut run);
    mark(&mut run, "ccc");
    run.until("Stage: first at 290.");
    std::thread::sleep(APART);
    mark(&mut run, "x");
    run.until_true("back at 280", |said| {
        said.matches("Stage: first at 280.").count() == 2
    });
    run.press("q");
    run.ends_with(0);
    // without the homework the same marks do not move the climb
    let other = Home::new();
    let mut run = Lines::practise(other.folder(), &[], &["count"], &[]);
    begin(&mut run);
    mark(&mut run, "ccc");
    run.until("clean: 3 of 50");
    run.press("q");
    run.ends_with(0);
    assert_eq!(run.said().matches("Stage: ").count(), 1);
}

/// A week with twice the minutes may strain the hands. The program says so at the start, unless a
/// setting turns that off.
#[test]
fn a_sharp_rise_is_said_and_can_be_turned_off() {
    let home = Home::new();
    let drill = read(COUNT.as_bytes()).0.expect("it reads");
    let cell = CellKey {
        stage: prints(&scores(&drill))[0],
        rung: Rung::Tempo(drill.ladder.from()),
    };
    let now = jiff::Timestamp::now().as_microsecond();
    let minute = 60_000_000;
    let mut records = Vec::new();
    for (days_ago, minutes) in [(30, 60), (23, 60), (16, 60), (9, 60), (2, 130)] {
        let session = Uuid::new_v4();
        let begin = now - days_ago * 24 * 60 * minute - minutes * minute;
        for (number, kind) in [(0, Kind::Playing), (1, Kind::Ended)] {
            records.push(Record {
                id: RecordId { session, number },
                utc_us: begin + i64::try_from(number).expect("small") * minutes * minute,
                offset_s: 0,
                kind,
                drill: "count".to_owned(),
                cell: Some(cell),
                by: None,
                thresholds: None,
                measures: None,
                version: "test".to_owned(),
            });
        }
    }
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    journal.append(&records).expect("stored");
    drop(journal);
    let rise = "more this week than in the four before";
    let level = "with headphones";
    for (environment, says, says_not) in [
        (&[][..], rise, level),
        (&[("GRACERUNG_CARE_RISE", "0")][..], level, rise),
        (&[("GRACERUNG_CARE_RISE", "300")][..], level, rise),
    ] {
        let mut run = Lines::practise(home.folder(), &[], &["count"], environment);
        run.until(says);
        run.press("q");
        run.ends_with(0);
        assert!(!run.said().contains(says_not), "{}", run.said());
    }
    let silent = [
        ("GRACERUNG_CARE_RISE", "0"),
        ("GRACERUNG_CARE_HEADPHONES", "false"),
    ];
    let mut run = Lines::practise(home.folder(), &[], &["count"], &silent);
    begin(&mut run);
    run.press("q");
    run.ends_with(0);
    assert!(!run.said().contains(level) && !run.said().contains(rise));
}
