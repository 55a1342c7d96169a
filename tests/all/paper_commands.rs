//! Sheets, handouts, exports and imports with the real binary: which files are in the folder
//! afterwards.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(arguments)
        .current_dir(folder)
        .env("HOME", folder)
        .env("XDG_DATA_HOME", folder)
        .env("XDG_CONFIG_HOME", folder)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program runs")
}

#[track_caller]
fn done(folder: &Path, arguments: &[&str]) -> Vec<u8> {
    let output = run(folder, arguments);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
    output.stdout
}

#[track_caller]
fn refused(folder: &Path, arguments: &[&str], why: &str) {
    let output = run(folder, arguments);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    assert!(said.contains(why), "{arguments:?}: {said}");
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The events of a stage as frame, kind, note and length in frames.
fn events(folder: &Path, drill: &str, stage: &str) -> Vec<(Value, Value, Value, Value)> {
    let printed = done(
        folder,
        &[
            "timeline", drill, "--stage", stage, "--tempo", "60", "--json",
        ],
    );
    let document: Value = serde_json::from_slice(&printed).expect("JSON");
    let events = document["events"].as_array().expect("a list").clone();
    assert!(!events.is_empty());
    events
        .into_iter()
        .map(|mut event| {
            let mut take = |key: &str| event[key].take();
            (take("frame"), take("kind"), take("note"), take("frames"))
        })
        .collect()
}

/// A drill that comes back with one gracenote displaced would be practised wrong for weeks.
#[test]
fn what_is_exported_and_imported_sounds_the_same_to_the_frame() {
    for drill in ["grip-from-d", "jig-grips"] {
        for file in ["x.abc", "x.musicxml", "x.mid"] {
            let folder = folder();
            let folder = folder.path();
            done(folder, &["export", drill, "-o", file]);
            done(folder, &["import", file, "-o", "back.yaml"]);
            done(folder, &["check", "back.yaml"]);
            // an opened movement is exported, and comes back, as its music in real time
            for stage in ["1", "2", "3", "5"] {
                assert_eq!(
                    events(folder, drill, stage),
                    events(folder, "back.yaml", stage),
                    "{drill} {file} {stage}"
                );
            }
        }
    }
}

/// What a file cannot hold is reported when it is written, but only for the stages that are
/// written.
#[test]
fn a_lost_opening_is_told() {
    let folder = folder();
    let folder = folder.path();
    for (stage, lost) in [("closing up", true), ("real time", false)] {
        for file in ["x.abc", "x.musicxml", "x.mid"] {
            let arguments = ["export", "grip", "--stage", stage, "-o", file, "--force"];
            let ran = run(folder, &arguments);
            let told = String::from_utf8_lossy(&ran.stderr);
            assert_eq!(ran.status.code(), Some(0), "{told}");
            assert_eq!(
                told.contains("on which it closes up"),
                lost,
                "{file}: {told}"
            );
        }
    }
}

/// A tune in ABC is accepted wherever a drill is asked for.
#[test]
fn abc_is_taken_wherever_a_drill_is() {
    let folder = folder();
    let folder = folder.path();
    let tune = "X:1\nT:Two Bars\nM:2/4\nL:1/8\nQ:1/4=60\nK:HP\n{g}d2{GBG}A2|{g}B2A2|]\n";
    std::fs::write(folder.join("two.abc"), tune).expect("a file");
    done(folder, &["sheet", "two.abc", "-o", "two.svg"]);
    done(folder, &["handout", "two.abc", "-o", "two.html"]);
    done(folder, &["render", "two.abc", "-o", "two.wav"]);
    let told = String::from_utf8(done(folder, &["tune", "two.abc"])).expect("text");
    assert!(told.contains("grip"), "{told}");
    let heard = events(folder, "two.abc", "1");
    assert!(
        heard
            .iter()
            .any(|event| event.2 == "D" && event.1 == "note")
    );
    // without a terminal `practise` gets as far as asking for one
    refused(folder, &["practise", "two.abc"], "this needs a terminal");
}

/// The first bytes of each kind of file, as their standards have them.
#[test]
fn every_ending_gets_its_kind_of_file() {
    let folder = folder();
    let folder = folder.path();
    for (command, file, begins) in [
        ("sheet", "x.pdf", b"%PDF-1." as &[u8]),
        ("sheet", "x.svg", b"<?xml"),
        ("sheet", "x.png", b"\x89PNG\r\n\x1a\n"),
        ("export", "x.mid", b"MThd\0\0\0\x06\0\x01"),
        ("export", "x.abc", b"%abc-2.1\n"),
        ("export", "x.musicxml", b"<?xml"),
        ("handout", "x.html", b"<!DOCTYPE html>"),
    ] {
        done(folder, &[command, "birl", "-o", file]);
        let bytes = std::fs::read(folder.join(file)).expect("it is written");
        assert!(bytes.starts_with(begins), "{file}");
        assert!(bytes.len() <= 400 * 1024, "{file}: {} bytes", bytes.len());
    }
    refused(folder, &["sheet", "birl", "-o", "x.gif"], ".pdf");
    refused(folder, &["export", "birl", "-o", "x.txt"], ".abc");
}

/// Running the same command again must not replace a file that was edited meanwhile.
#[test]
fn a_file_that_exists_is_kept_without_force() {
    let folder = folder();
    let folder = folder.path();
    done(folder, &["export", "birl", "-o", "birl.abc"]);
    for arguments in [
        ["sheet", "birl", "-o", "kept.svg"],
        ["handout", "birl", "-o", "kept.html"],
        ["export", "birl", "-o", "kept.svg.abc"],
        ["import", "birl.abc", "-o", "kept.yaml"],
    ] {
        let target = folder.join(arguments[3]);
        std::fs::write(&target, "mine").expect("a file");
        refused(folder, &arguments, "--force");
        assert_eq!(std::fs::read(&target).expect("it is there"), b"mine");
        let mut forced = arguments.to_vec();
        forced.push("--force");
        done(folder, &forced);
        assert_ne!(std::fs::read(&target).expect("it is there"), b"mine");
    }
    let left: Vec<_> = std::fs::read_dir(folder)
        .expect("the folder")
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with("kept") && name != "birl.abc")
        .collect();
    assert_eq!(left, Vec::<String>::new(), "nothing half written is left");
    refused(
        folder,
        &["sheet", "birl", "-o", "no-such-folder/x.pdf"],
        "does not exist",
    );
}

/// What a format cannot hold is reported with what was done instead, and the exit code says that
/// there was something.
#[test]
fn an_import_with_changes_exits_with_one() {
    let folder = folder();
    let folder = folder.path();
    let tune = "X:1\nT:Out of Range\nM:2/4\nL:1/8\nK:D\nd2[Ac]2|c'2A2|]\n";
    std::fs::write(folder.join("out.abc"), tune).expect("a file");
    let output = run(folder, &["import", "out.abc", "-o", "out.yaml"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    for what in ["chord", "out.abc:6"] {
        assert!(said.contains(what), "`{what}` in:\n{said}");
    }
    assert!(folder.join("out.yaml").is_file());
    std::fs::write(folder.join("none.mid"), "not music").expect("a file");
    refused(
        folder,
        &["import", "none.mid", "-o", "none.yaml"],
        "no MIDI file",
    );
    assert!(!folder.join("none.yaml").exists());
}

/// A name in another script that would be printed as question marks must be reported.
#[test]
fn what_the_font_of_sheets_lacks_is_said_once() {
    let folder = folder();
    let own =
        "title: Grip 調\nmovement: grip\nfrom: D\nto: LA\nladder: {from: 50, to: 80, step: 4%}\n";
    std::fs::write(folder.path().join("own.yaml"), own).expect("written");
    let output = run(folder.path(), &["sheet", "own.yaml", "-o", "own.pdf"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert_eq!(said.matches('調').count(), 1, "{said}");
    assert!(folder.path().join("own.pdf").is_file());
    done(folder.path(), &["sheet", "grip", "-o", "grip.svg"]);
}

const JIG: &str = "X:1\nT:The Low Slip\nM:6/8\nL:1/8\nK:HP\n|:{g}A2B c2d|{g}e3 A3:|\n";

/// A student must be able to open what a teacher gives out, and find all of it on paper.
#[test]
fn homework_of_a_movement_and_a_tune_goes_all_the_way() {
    let folder = folder();
    let folder = folder.path();
    std::fs::write(folder.join("slip.abc"), JIG).expect("written");
    done(
        folder,
        &["assign", "grip-from-d", "slip.abc", "-o", "w.yaml"],
    );
    // the student has only the homework
    std::fs::remove_file(folder.join("slip.abc")).expect("there");
    done(folder, &["check", "w.yaml"]);
    let said = done(folder, &["sheet", "w.yaml", "-o", "w.pdf"]);
    let said = String::from_utf8_lossy(&said).into_owned();
    assert!(said.contains("Grip from D and The Low Slip on"), "{said}");
    refused(
        folder,
        &["handout", "w.yaml", "-o", "w.html"],
        "name it with --task, `grip-from-d` or `slip`",
    );
    done(
        folder,
        &["handout", "w.yaml", "--task", "slip", "-o", "w.html"],
    );
    let page = std::fs::read_to_string(folder.join("w.html")).expect("a page");
    assert!(page.contains("The Low Slip"));
    for name in ["one.yaml", "two.yaml"] {
        done(folder, &["report", "w.yaml", "--name", "Isla", "-o", name]);
    }
    let review = run(folder, &["review", "w.yaml", "one.yaml", "two.yaml"]);
    let told = String::from_utf8_lossy(&review.stderr).into_owned();
    assert!(told.contains("`one.yaml` is left out"), "{told}");
    let table = String::from_utf8_lossy(&review.stdout).into_owned();
    assert!(table.contains("1 answered"), "{table}");
}

#[test]
fn a_page_has_the_stages_that_were_asked_for() {
    let folder = folder();
    let folder = folder.path();
    let page = |stages: &[&str], name: &str| {
        let wanted = stages.iter().flat_map(|stage| ["--stage", *stage]);
        let arguments: Vec<&str> = ["handout", "grip-from-d", "-o", name]
            .into_iter()
            .chain(wanted)
            .collect();
        done(folder, &arguments);
        std::fs::read(folder.join(name)).expect("a page").len()
    };
    let (all, two, one) = (
        page(&[], "all.html"),
        page(&["1", "real time"], "two.html"),
        page(&["real time"], "one.html"),
    );
    assert!(one < two && two < all, "{one} {two} {all}");
    refused(
        folder,
        &["handout", "grip-from-d", "--stage", "ninth", "-o", "x.html"],
        "ninth",
    );
}

/// A player who prints a book of tunes must be told that one of them is missing on paper.
#[test]
fn what_is_left_out_of_another_programs_file_is_told() {
    let folder = folder();
    let folder = folder.path();
    let march = "X:2\nT:Another\nM:2/4\nL:1/8\nK:HP\n|:A2B2|c4:|\n";
    std::fs::write(folder.join("book.abc"), format!("{JIG}\n{march}")).expect("written");
    let told = run(folder, &["sheet", "book.abc", "-o", "book.pdf"]);
    let told = String::from_utf8_lossy(&told.stderr).into_owned();
    assert!(told.contains("a tune in 2/4: left out"), "{told}");
}

/// A tempo between two rungs, or below the first rung of a stage, means the rung above it, and the
/// teacher is told which.
#[test]
fn homework_says_which_rung_is_to_be_reached() {
    let folder = folder();
    let told = |goal: &str, file: &str| {
        let said = done(
            folder.path(),
            &["assign", "birl", "--to-reach", goal, "-o", file],
        );
        let said = String::from_utf8(said).expect("text");
        said.lines().last().unwrap_or_default().to_owned()
    };
    let here = "  birl: to reach real time at 60";
    assert_eq!(told("real time at 60", "a.yaml"), here);
    let next = format!("{here}, the next rung of that stage");
    assert_eq!(told("real time at 50", "b.yaml"), next);
    assert_eq!(
        told("real time", "c.yaml"),
        "  birl: to reach real time at 80"
    );
}

/// A phrase is named in the same way for practice, print, handout and homework.
#[test]
fn bars_of_a_tune_are_named_alike_for_paper_page_and_homework() {
    let home = folder();
    let folder = home.path();
    let said = |arguments: &[&str]| String::from_utf8_lossy(&done(folder, arguments)).into_owned();
    let tune = "lamp-on-the-slipway";
    let told = said(&["sheet", tune, "--bars", "5-8", "-o", "bars.svg"]);
    assert!(
        told.contains("The Lamp on the Slipway, bars 5 to 8"),
        "{told}"
    );
    // among other drills the tune is the one that is meant
    let told = said(&["sheet", "birl", tune, "--phrase", "2", "-o", "two.pdf"]);
    assert!(
        told.contains("Birl") && told.contains("bars 5 to 8"),
        "{told}"
    );
    done(folder, &["handout", tune, "--part", "1", "-o", "part.html"]);
    refused(
        folder,
        &["sheet", "birl", "grip", "--bars", "5-8", "-o", "x.pdf"],
        "those of one tune, and none of these drills is one",
    );
    refused(
        folder,
        &["sheet", tune, "--bars", "90-91", "-o", "x.pdf"],
        "there is no bar 91",
    );
    done(
        folder,
        &[
            "assign",
            "birl",
            tune,
            "--bars",
            "5-8",
            "--to-reach",
            "birl: real time at 60",
            "--to-reach",
            "lamp-on-the-slipway-bars-5-8: 60",
            "-o",
            "week.yaml",
        ],
    );
    let week = std::fs::read_to_string(folder.join("week.yaml")).expect("homework");
    assert!(
        week.contains("reach: real time at 60") && week.contains("Bars 5 to 8 of"),
        "{week}"
    );
    refused(
        folder,
        &[
            "assign",
            "birl",
            "grip",
            "--to-reach",
            "birl: reel time",
            "-o",
            "w.yaml",
        ],
        "has no stage `reel time`",
    );
}
