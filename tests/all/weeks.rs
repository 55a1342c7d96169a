//! Weeks with the real binary: settings, the care of the journal, today, and homework there and
//! back.

use gracerung::app::{prints, scores};
use gracerung::drill::{Drill, built_in, read};
use gracerung::journal::Journal;
use gracerung::practice::ladder::climbs;
use gracerung::practice::{By, CellKey, Kind, Mark, Record, RecordId};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;
use uuid::Uuid;

/// A home folder with the folders that the program uses.
struct Home(TempDir);

impl Home {
    fn new() -> Self {
        Self(TempDir::new().expect("a folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_gracerung"));
        command
            .args(arguments)
            .current_dir(self.0.path())
            .env_clear()
            .env("HOME", self.0.path())
            .env("XDG_DATA_HOME", self.path("data"))
            .env("XDG_CONFIG_HOME", self.path("config"))
            .env("TZ", "UTC");
        command
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("it runs")
    }

    /// The output of a command that succeeds without findings.
    #[track_caller]
    fn said(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(
            output.status.code(),
            Some(0),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8(output.stdout).expect("text")
    }

    /// The error message of a command, with its exit code.
    fn refused(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let output = self.run(arguments);
        (
            output.status.code(),
            String::from_utf8_lossy(&output.stderr).into_owned(),
        )
    }

    fn journal(&self) -> PathBuf {
        self.path("data/gracerung/journal.sqlite")
    }
}

fn drill(name: &str) -> Drill {
    let text = built_in(name).expect("built in").text;
    read(text.as_bytes()).0.expect("it reads")
}

/// Stores marks of a day in one cell: `c` is clean, `n` is not clean.
fn practise(path: &Path, name: &str, cell: (usize, usize), day: i64, signs: &str) {
    practise_as(&drill(name), path, name, cell, day, signs);
}

/// Stores marks like [`practise`], for a drill with the text that it had then.
fn practise_as(
    drill: &Drill,
    path: &Path,
    name: &str,
    cell: (usize, usize),
    day: i64,
    signs: &str,
) {
    let key = CellKey {
        stage: prints(&scores(drill))[cell.0],
        rung: climbs(drill)[cell.0][cell.1],
    };
    let session = Uuid::new_v4();
    let record = |number: u64, kind: Kind, by: Option<By>| Record {
        id: RecordId { session, number },
        utc_us: (day * 86_400 + 36_000 + 10 * i64::try_from(number).expect("small")) * 1_000_000,
        offset_s: 0,
        kind,
        drill: name.to_owned(),
        cell: Some(key),
        by,
        thresholds: None,
        measures: None,
        version: "test".to_owned(),
    };
    let mut records = vec![record(0, Kind::Playing, None)];
    for (at, sign) in signs.chars().enumerate() {
        let at = at as u64;
        let kind = Kind::Mark {
            repetition: at,
            mark: if sign == 'c' {
                Mark::Clean
            } else {
                Mark::NotClean
            },
            needed: drill.clean,
            free: false,
        };
        records.push(record(at + 1, kind, Some(By::Key)));
    }
    records.push(record(signs.len() as u64 + 1, Kind::Ended, None));
    Journal::open(path)
        .expect("a journal")
        .append(&records)
        .expect("stored");
}

/// 1 January 2027 in days since 1970-01-01.
const NEW_YEAR: i64 = 20_819;

/// A player who cannot see where a value comes from cannot correct it.
#[test]
fn settings_show_where_each_value_comes_from() {
    let home = Home::new();
    assert!(home.said(&["settings"]).contains("default"));
    home.said(&["settings", "--write"]);
    let file = home.path("config/gracerung/settings.toml");
    std::fs::write(&file, "la = 238\n[plan]\nminutes = 30\n").expect("written");
    let output = home
        .command(&["settings", "--json"])
        .env("GRACERUNG_CLICK", "wood")
        .output()
        .expect("it runs");
    let rows: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let row = |name: &str| {
        let rows = rows.as_array().expect("rows");
        rows.iter()
            .find(|row| row["name"] == name)
            .cloned()
            .expect("a row")
    };
    assert_eq!(row("la")["value"], 238);
    assert_eq!(row("la")["origin"], "file");
    assert_eq!(row("click")["origin"], "environment");
    assert_eq!(row("drones")["origin"], "default");
    std::fs::write(&file, "la = 238\nclik = \"wood\"\n").expect("written");
    let (code, said) = home.refused(&["today"]);
    assert_eq!(code, Some(0), "told, and nobody needs it");
    assert!(
        said.contains(":2:1: `clik` is no setting; did you mean `click`?"),
        "{said}"
    );
    assert_eq!(home.refused(&["settings"]).0, Some(1));
}

/// The journals of two computers give the same result merged either way, with nothing twice.
#[test]
fn journals_are_merged_backed_up_exported_and_imported() {
    let (one, two) = (Home::new(), Home::new());
    assert_eq!(one.refused(&["journal", "check"]).0, Some(2), "none yet");
    practise(&one.journal(), "birl", (0, 0), NEW_YEAR, "ccncc");
    practise(&two.journal(), "grip", (0, 0), NEW_YEAR + 1, "ccccc");
    let theirs = two.journal();
    let theirs = theirs.to_str().expect("a name");
    assert!(
        one.said(&["journal", "merge", theirs])
            .contains("7 new, 0 known")
    );
    assert!(
        one.said(&["journal", "merge", theirs])
            .contains("0 new, 7 known")
    );
    let ours = one.journal();
    two.said(&["journal", "merge", ours.to_str().expect("a name")]);
    assert_eq!(
        one.said(&["journal", "export"]),
        two.said(&["journal", "export"])
    );
    one.said(&["journal", "backup", "copy.sqlite"]);
    assert!(
        one.said(&["journal", "check", "copy.sqlite"])
            .contains("14 entries in 2 sessions")
    );
    assert_eq!(
        one.refused(&["journal", "backup", "copy.sqlite"]).0,
        Some(2)
    );
    one.said(&["journal", "export", "-o", "all.jsonl"]);
    let third = Home::new();
    let all = one.path("all.jsonl");
    assert!(
        third
            .said(&["journal", "import", all.to_str().expect("a name")])
            .contains("14 new")
    );
    assert_eq!(
        third.said(&["journal", "export"]),
        one.said(&["journal", "export"])
    );
}

#[test]
fn today_says_what_and_why() {
    let home = Home::new();
    let fresh = home.said(&["today", "--on", "2027-01-01"]);
    assert!(fresh.contains("new to you"), "{fresh}");
    practise(&home.journal(), "birl", (0, 0), NEW_YEAR, "ccccc");
    practise(&home.journal(), "birl", (1, 0), NEW_YEAR, "ccnc");
    let said = home.said(&["today", "--on", "2027-01-05", "--minutes", "60"]);
    assert!(
        said.contains("Birl, full beats at 50: clean 4 days ago, due again"),
        "{said}"
    );
    assert!(said.contains("clean 3 of the last 4 times"), "{said}");
    let json = home.said(&["today", "--on", "2027-01-05", "--json"]);
    let plan: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(plan["items"][0]["kind"], "again");
}

/// The weeks as text, JSON, CSV, picture and page, also where nothing was played.
#[test]
fn progress_is_shown_in_every_form() {
    let home = Home::new();
    assert!(home.said(&["progress"]).contains("nothing was played yet"));
    for day in 0..5 {
        practise(
            &home.journal(),
            "birl",
            // real time, whose ladder is the longest
            (4, usize::try_from(day).expect("small")),
            NEW_YEAR + day,
            "nccccc",
        );
    }
    let glance = home.said(&["progress", "birl"]);
    assert!(
        glance.contains("▰") && glance.contains("  5 of "),
        "{glance}"
    );
    for part in ["two weeks", "due  ", "holds  ", "--details"] {
        assert!(glance.contains(part), "{part}: {glance}");
    }
    assert!(glance.lines().count() <= 22, "one screen: {glance}");
    assert!(
        glance.lines().all(|line| line.chars().count() <= 78),
        "{glance}"
    );
    let text = home.said(&["progress", "birl", "--details"]);
    assert!(
        text.contains("2027-01-05") && text.contains("5 of 6 clean"),
        "{text}"
    );
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    let csv = home.said(&["progress", "birl", "--csv"]);
    assert_eq!(csv.lines().count(), 6);
    let json: serde_json::Value =
        serde_json::from_str(&home.said(&["progress", "--json"])).expect("JSON");
    assert_eq!(json["climbed"].as_array().map(Vec::len), Some(5));
    home.said(&["progress", "birl", "-o", "p.svg"]);
    home.said(&["progress", "-o", "p.html", "--since", "2027-01-03"]);
    let svg = std::fs::read_to_string(home.path("p.svg")).expect("written");
    assert!(svg.starts_with("<svg") && svg.contains("tempi reached"));
    home.said(&["progress", "birl", "-o", "p.png"]);
    let png = std::fs::read(home.path("p.png")).expect("written");
    // the signature of a PNG file (ISO/IEC 15948, 5.2)
    assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));
    let (code, said) = home.refused(&["progress", "-o", "p.gif"]);
    assert_eq!(code, Some(2));
    assert!(said.contains(".svg, .png or .html"), "{said}");
    assert_eq!(home.refused(&["progress", "brill"]).0, Some(2));
}

/// Marks of a stage whose music was changed since are still shown. They open no cell of the stage
/// that replaced it, and their cells do not come again.
#[test]
fn marks_of_a_stage_as_it_was_written_earlier_stay_as_history() {
    let home = Home::new();
    // the doubling's short stage with its closing note on the beat, as an earlier version made it
    let then = "title: Doubling on E\nunit: 1/4\nstages: [{name: sixteenths, music: '{g}c7/4 \
                {g}e/4 {f}e2|'}]\nladder: {from: 50, to: 84, step: 4%}\n";
    let then = read(then.as_bytes()).0.expect("it reads");
    let name = "doubling-on-e";
    practise_as(&then, &home.journal(), name, (0, 0), NEW_YEAR, "ccccc");
    let text = home.said(&["progress", name, "--details"]);
    assert!(
        text.contains("as it was written earlier") && text.contains("5 of 5"),
        "{text}"
    );
    assert!(!text.contains("stale"), "{text}");
    assert!(
        home.said(&["progress"])
            .contains("as it was written earlier")
    );
    let csv = home.said(&["progress", name, "--csv"]);
    assert_eq!(csv.lines().count(), 2, "{csv}");
    let plan = home.said(&["today", "--on", "2027-02-01", "--json"]);
    let plan: serde_json::Value = serde_json::from_str(&plan).expect("JSON");
    let items = plan["items"].as_array().expect("items");
    assert!(items.iter().all(|item| item["kind"] != "again"), "{plan}");
}

/// From teacher to student and back, with two homes and the files between them.
#[test]
fn homework_goes_out_and_comes_back() {
    let (teacher, student) = (Home::new(), Home::new());
    let (code, said) =
        teacher.refused(&["assign", "birl", "--to-reach", "reel time", "-o", "w.yaml"]);
    assert_eq!(code, Some(2));
    assert!(said.contains("did you mean `real time`?"), "{said}");
    teacher.said(&[
        "assign",
        "birl",
        "--to-reach",
        "full beats at 51",
        "--by",
        "2027-01-15",
        "--note",
        "the little finger does it",
        "-o",
        "week3.yaml",
    ]);
    let given = std::fs::read(teacher.path("week3.yaml")).expect("written");
    std::fs::write(student.path("week3.yaml"), &given).expect("carried");
    // the goal is the second rung, the first with a tempo of 51 or more; these marks are on the
    // first rung
    practise(&student.journal(), "birl", (0, 0), NEW_YEAR, "ncccccc");
    let ran = student.said(&["report", "week3.yaml", "-o", "early.yaml"]);
    assert!(
        ran.contains("not reached yet, now full beats at 50"),
        "{ran}"
    );
    practise(&student.journal(), "birl", (0, 1), NEW_YEAR + 2, "ncccccn");
    let ran = student.said(&[
        "report",
        "week3.yaml",
        "--name",
        "a player",
        "--question",
        "how hard?",
        "-o",
        "report.yaml",
    ]);
    assert!(ran.contains("reached 2027-01-03"), "{ran}");
    let back = std::fs::read_to_string(student.path("report.yaml")).expect("written");
    std::fs::write(teacher.path("r.yaml"), &back).expect("carried");
    let early = std::fs::read_to_string(student.path("early.yaml")).expect("written");
    std::fs::write(teacher.path("e.yaml"), early).expect("carried");
    let table = teacher.said(&["review", "r.yaml", "e.yaml", "-o", "class.html"]);
    assert!(
        table.contains("a player") && table.contains("reached 2027-01-03"),
        "{table}"
    );
    assert!(table.contains("how hard?"), "{table}");
    assert!(teacher.path("class.html").is_file());
    std::fs::write(
        teacher.path("r.yaml"),
        back.replace("2027-01-03", "2027-01-02"),
    )
    .expect("edited");
    let (code, said) = teacher.refused(&["review", "r.yaml", "e.yaml"]);
    assert_eq!(code, Some(1));
    assert!(
        said.contains("`r.yaml`: the file was damaged or edited"),
        "{said}"
    );
    std::fs::write(student.path("week3.yaml"), &given[..given.len() / 2]).expect("cut");
    let (code, said) = student.refused(&["practise", "week3.yaml"]);
    assert_eq!(code, Some(2));
    assert!(said.contains("cut off"), "{said}");
}

/// Two hundred reports at once, each of which is in the table.
#[test]
fn a_class_of_two_hundred_is_reviewed() {
    let (teacher, student) = (Home::new(), Home::new());
    teacher.said(&["assign", "birl", "grip", "-o", "w.yaml"]);
    std::fs::copy(teacher.path("w.yaml"), student.path("w.yaml")).expect("carried");
    practise(&student.journal(), "birl", (0, 0), NEW_YEAR, "ncccccc");
    student.said(&["report", "w.yaml", "--name", "one of many", "-o", "r.yaml"]);
    let report = std::fs::read_to_string(student.path("r.yaml")).expect("written");
    let body = report.split("checksum: ").next().expect("a body");
    let names: Vec<String> = (0..200).map(|at| format!("r-{at}.yaml")).collect();
    for (at, name) in names.iter().enumerate() {
        let own = body.replace("one of many", &format!("student {at}"));
        std::fs::write(teacher.path(name), gracerung::homework::sealed(&own)).expect("carried");
    }
    let mut arguments = vec!["review", "--json"];
    arguments.extend(names.iter().map(String::as_str));
    let rows: serde_json::Value = serde_json::from_str(&teacher.said(&arguments)).expect("JSON");
    assert_eq!(rows.as_array().map(Vec::len), Some(400));
}

#[test]
fn a_warm_up_is_composed_and_can_be_listed() {
    let home = Home::new();
    let list = home.said(&["warmup", "--list", "--for", "band"]);
    for part in [
        "low A and E together",
        "in unison",
        "band's tempo",
        "stop together",
    ] {
        assert!(list.contains(part), "{part}: {list}");
    }
    let usual = home.said(&["warmup", "--list"]);
    for part in ["without blowing", "low G", "the scale", "doublings"] {
        assert!(usual.contains(part), "{part}: {usual}");
    }
    let steps: serde_json::Value =
        serde_json::from_str(&home.said(&["warmup", "--json"])).expect("JSON");
    let seconds: u64 = steps
        .as_array()
        .expect("steps")
        .iter()
        .map(|step| step["seconds"].as_u64().unwrap_or(0))
        .sum();
    assert_eq!(seconds, 300);
}

/// A long tone of a minute, or a tempo that no band plays, must be refused.
#[test]
fn what_a_warm_up_cannot_be_is_told() {
    let home = Home::new();
    let folder = home.path("config/gracerung");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("settings.toml"), "[warmup]\ntone = 5\n").expect("written");
    let (code, told) = home.refused(&["warmup", "--list"]);
    assert_eq!(code, Some(2), "{told}");
    assert!(told.contains("a whole number from 6 to 10"), "{told}");
    std::fs::write(folder.join("settings.toml"), "[warmup]\ntone = 10\n").expect("written");
    home.said(&["warmup", "--list"]);
    for wrong in [
        &["--tempo", "84", "--for", "practice"][..],
        &["--minutes", "0"],
    ] {
        let (code, told) = home.refused(&[&["warmup", "--list"], wrong].concat());
        assert_eq!(code, Some(2), "{wrong:?}: {told}");
        assert!(!told.contains("panicked"), "{told}");
    }
}

/// A player who asks for fifteen minutes on the first day gets fifteen minutes.
#[test]
fn today_fills_a_newcomers_minutes() {
    let home = Home::new();
    for minutes in [15, 30] {
        let text = home.said(&["today", "--minutes", &minutes.to_string(), "--json"]);
        let plan: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(plan["minutes"], minutes, "{text}");
    }
}
