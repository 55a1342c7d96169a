//! The real binary without a terminal: what it prints, and how it answers wrong use.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn run(home: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(arguments)
        .env("HOME", home)
        .env("XDG_DATA_HOME", home)
        .env("XDG_CONFIG_HOME", home)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn home() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

#[track_caller]
fn says(arguments: &[&str], code: i32, what: &str) {
    let home = home();
    let output = run(home.path(), arguments);
    let all = text(&output.stdout) + &text(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {all}");
    assert!(all.contains(what), "{arguments:?}: {all}");
}

#[test]
fn without_a_terminal_the_commands_that_need_none_are_named() {
    says(&[], 2, "`render` writes");
    says(&["practise", "grip-from-d"], 2, "`timeline` prints");
    says(&["practice", "grip-from-d"], 2, "this needs a terminal");
}

/// A computer without sound or microphone must say so, and a damaged file must not prevent
/// practice.
#[test]
fn without_devices_nothing_is_calibrated_and_that_is_told() {
    says(&["calibrate", "--list"], 0, "nothing is calibrated yet");
    says(&["calibrate", "--list", "--json"], 0, "[]");
    says(&["blow"], 2, "this needs a terminal");
    let nowhere = ["calibrate", "--microphone", "a microphone that is nowhere"];
    says(&nowhere, 2, "microphone that is nowhere");
    let home = home();
    let folder = home.path().join("gracerung");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("calibration.json"), "not JSON").expect("a file");
    let output = run(home.path(), &["calibrate", "--list"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("remove it and calibrate again"));
    let output = run(home.path(), &["settings"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
}

#[test]
fn slips_are_told_with_what_was_meant() {
    says(
        &["timeline", "grip-form-d"],
        2,
        "did you mean `grip-from-d`?",
    );
    says(
        &["timeline", "nothing-near-it"],
        2,
        "`gracerung drills` lists the names",
    );
    says(
        &["timeline", "grip", "--stage", "9"],
        2,
        "expected 1 `full beats`",
    );
    says(
        &["timeline", "grip", "--tempo", "500"],
        2,
        "outside 20 to 300",
    );
    says(&["timeline", "no/such/file.yaml"], 2, "there is no file");
    says(&["check", "no-such.yaml"], 2, "there is no file");
    says(
        &["render", "grip", "-o", "no-such-folder/x.wav"],
        2,
        "does not exist",
    );
    says(&["drills", "--show", "girp"], 2, "did you mean `grip`?");
    says(&["nonsense"], 2, "unrecognized subcommand");
}

#[test]
fn the_list_names_the_built_in_drills() {
    says(&["drills"], 0, "taorluath-from-low-g");
    says(&["--version"], 0, env!("CARGO_PKG_VERSION"));
    says(&["schema"], 0, "listen_for");
    says(&["completions", "bash"], 0, "complete -o");
}

#[test]
fn check_finds_and_exits_with_one() {
    let folder = home();
    let path = folder.path().join("bad.yaml");
    std::fs::write(&path, "title: A\nladr: x\n").expect("a file");
    let output = run(folder.path(), &["check", path.to_str().expect("a path")]);
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stdout).contains("did you mean `ladder`?"));
    let output = run(
        folder.path(),
        &["check", "--json", path.to_str().expect("a path")],
    );
    let rows: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(rows[0]["line"], 1);
}

fn timeline(arguments: &[&str]) -> Value {
    let home = home();
    let mut all = vec!["timeline"];
    all.extend(arguments);
    all.push("--json");
    let output = run(home.path(), &all);
    assert!(output.status.success(), "{}", text(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// The closing places and lengths of the grip from D as it is taught (common practice, no source).
#[test]
fn the_timeline_of_the_grip_from_d_has_its_table() {
    for (stage, expected) in [
        (
            "1",
            vec![
                ("D", "0", "1"),
                ("LG", "1", "1"),
                ("LG", "2", "1"),
                ("LA", "3", "1"),
            ],
        ),
        (
            "2",
            vec![
                ("D", "0", "1"),
                ("LG", "1", "1/2"),
                ("LG", "3/2", "1/2"),
                ("LA", "2", "2"),
            ],
        ),
        (
            "dotted and sixteenths",
            vec![
                ("D", "0", "3/2"),
                ("LG", "3/2", "1/4"),
                ("LG", "7/4", "1/4"),
                ("LA", "2", "2"),
            ],
        ),
        ("real time", vec![("D", "0", "2"), ("LA", "2", "2")]),
    ] {
        let document = timeline(&["grip-from-d", "--stage", stage, "--tempo", "50"]);
        let found: Vec<(String, String, String)> = document["events"]
            .as_array()
            .expect("events")
            .iter()
            .filter(|event| event["kind"] == "note" && event["bar"] == 1)
            .map(|event| {
                let field = |name: &str| event[name].as_str().unwrap_or_default().to_owned();
                (field("note"), field("place"), field("written"))
            })
            .collect();
        let expected: Vec<(String, String, String)> = expected
            .into_iter()
            .map(|(a, b, c)| (a.to_owned(), b.to_owned(), c.to_owned()))
            .collect();
        assert_eq!(found, expected, "{stage}");
    }
}

/// `frame` must be round(beat·60·rate/tempo), which is computed here independently with integers.
#[test]
fn frames_are_the_rounded_exact_moments() {
    let document = timeline(&[
        "taorluath-from-low-g",
        "--stage",
        "real time",
        "--tempo",
        "133/2",
        "--rate",
        "44100",
        "--repeats",
        "3",
    ]);
    let events = document["events"].as_array().expect("events");
    assert!(events.len() > 40);
    for event in events {
        let beat = event["beat"].as_str().expect("a fraction");
        let (above, below) = beat.split_once('/').unwrap_or((beat, "1"));
        let above: i128 = above.parse().expect("digits");
        let below: i128 = below.parse().expect("digits");
        // beat·60·44100·2/133, with halves rounded up
        let (numerator, denominator) = (above * 60 * 44_100 * 2, below * 133);
        let rounded = (2 * numerator + denominator).div_euclid(2 * denominator);
        assert_eq!(
            event["frame"].as_i64().map(i128::from),
            Some(rounded),
            "{beat}"
        );
    }
    assert_eq!(document["tempo"], "133/2");
}

#[test]
fn a_render_is_as_long_as_its_timeline_and_an_old_file_is_kept() {
    let folder = home();
    let path = folder.path().join("x.wav");
    let shown = path.to_str().expect("a path");
    let arguments = [
        "render",
        "grip-from-d",
        "--tempo",
        "300",
        "--repeats",
        "1",
        "-o",
        shown,
    ];
    let output = run(folder.path(), &arguments);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let reader = hound::WavReader::open(&path).expect("a WAV file");
    // A count-in, two bars and a breath, of four beats each at 300 beats a minute: 16 beats of 9600
    // frames.
    assert_eq!(reader.duration(), 16 * 9600);
    let output = run(folder.path(), &arguments);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("--force"));
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .expect("a folder")
        .flatten()
        .collect();
    assert_eq!(
        left.iter().filter(|entry| entry.path().is_file()).count(),
        1
    );
}

/// A command without an example in its help must be learnt by trial and error.
#[test]
fn every_help_has_an_example() {
    let home = home();
    let all = text(&run(home.path(), &["--help"]).stdout);
    let commands: Vec<&str> = all
        .lines()
        .skip_while(|line| !line.starts_with("Usage:"))
        .take_while(|line| *line != "Options:")
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    assert!(
        commands.contains(&"practise") && commands.len() > 20,
        "{all}"
    );
    for command in commands {
        says(&[command, "--help"], 0, "Example");
    }
}

/// A homework file without a problem must be reported as such.
#[test]
fn homework_is_checked_as_homework() {
    let home = tempfile::tempdir().expect("a folder");
    let file = home.path().join("week.yaml");
    let name = file.to_string_lossy().into_owned();
    let given = run(
        home.path(),
        &["assign", "grip", "--by", "2027-01-15", "-o", &name],
    );
    assert_eq!(given.status.code(), Some(0), "{given:?}");
    let sound = run(home.path(), &["check", &name]);
    let said = String::from_utf8_lossy(&sound.stdout).into_owned();
    assert_eq!(said, format!("{name}: homework of 1 drill, no problem\n"));
    let text = std::fs::read_to_string(&file).expect("written");
    std::fs::write(&file, text.replace("2027", "2028")).expect("written");
    let changed = run(home.path(), &["check", &name]);
    assert_eq!(changed.status.code(), Some(1));
    let said = String::from_utf8_lossy(&changed.stdout).into_owned();
    assert!(said.ends_with(": 1 problem\n"), "{said}");
}

/// A new movement is heard before it is played. A drill without a movement has nothing to hear
/// first. The command `hear` needs a terminal, and a fault that the drill can have.
#[test]
fn a_new_movement_is_offered_to_be_heard_first() {
    let home = home();
    let said = text(&run(home.path(), &["today", "--minutes", "60"]).stdout);
    let place = |what: &str| said.find(what);
    let heard = place("gracerung hear doubling-on-e");
    assert!(
        heard.is_some() && heard < place("gracerung practise doubling-on-e"),
        "{said}"
    );
    assert!(!said.contains("gracerung hear crossings"), "{said}");
    let json = run(home.path(), &["today", "--minutes", "60", "--json"]);
    let plan: Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let first = plan["hear"].as_array().expect("a list");
    assert!(first.contains(&Value::from("doubling-on-e")), "{plan}");
    says(
        &["hear", "grip-from-d", "--fault", "loud"],
        2,
        "expected crushed, unlike, long, early or blip",
    );
    says(
        &["hear", "grip-from-d", "--minutes", "0"],
        2,
        "expected minutes, 0.2 to 10",
    );
    says(&["hear", "grip-from-d"], 2, "needs a terminal");
    says(
        &["progress", "--heard-apart"],
        0,
        "nothing was heard apart yet",
    );
}

/// A tune of our own of six bars, for which no rule gives the phrases.
const SIX_BARS: &str = "X:1\nT:Six Bars at Low Water\nM:4/4\nL:1/8\nK:HP\n\
    {g}A4 {d}B4|{g}c4 d4|{g}e4 {gcd}c4|{g}d4 c4|{g}e4 d4|{g}c4 {GdG}B4||\n";

/// The message about bars that do not exist, or phrases that no rule gives, says what to do
/// instead.
#[test]
fn bars_of_a_tune_that_are_not_there_are_told_with_what_is() {
    let practise = |rest: &[&str], what: &str| {
        let mut all = vec!["practise", "lamp-on-the-slipway"];
        all.extend(rest);
        says(&all, 2, what);
    };
    practise(
        &["--bars", "15-20"],
        "there is no bar 20: the tune has bars 1 to 16",
    );
    practise(&["--bars", "8-5"], "expected bars such as 5-8");
    practise(
        &["--part", "3"],
        "the tune has 2 parts, bars 1 to 8 and bars 9 to 16",
    );
    practise(&["--phrase", "5"], "there is no phrase 5");
    practise(&["--part", "1", "--phrase", "3"], "there is no phrase 3");
    practise(&["--bars", "1-2", "--part", "1"], "cannot be used with");
    practise(&["--bars", "1-2"], "this needs a terminal");
    practise(&["--below-band", "70"], "70 beats under 80");
    says(
        &["practise", "grip", "--bars", "1"],
        2,
        "say with --stage which of them is the tune",
    );
    let home = home();
    let path = home.path().join("six.abc");
    std::fs::write(&path, SIX_BARS).expect("a file");
    let path = path.to_str().expect("a path");
    let output = run(home.path(), &["practise", path, "--phrase", "1"]);
    let told = text(&output.stderr);
    assert!(told.contains("a part has 6 bars"), "{told}");
    assert!(told.contains("`phrases: [1-6]`"), "{told}");
    // a refused command keeps no drill
    let own = home.path().join("gracerung/drills");
    assert!(!own.exists());
}

/// A tune is built up from its phrases, and a drill file may name other phrases.
#[test]
fn a_tune_is_built_up_from_the_phrases_that_it_has() {
    let home = home();
    let abc = home.path().join("six.abc");
    std::fs::write(&abc, SIX_BARS).expect("a file");
    let abc = abc.to_str().expect("a path");
    let made = |arguments: &[&str]| {
        let output = run(home.path(), arguments);
        let all = text(&output.stdout) + &text(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {all}");
        all
    };
    let output = run(home.path(), &["tune", abc, "--phrases"]);
    assert!(text(&output.stderr).contains("`--phrases=1-3,4-6`"));
    let output = run(home.path(), &["tune", abc, "--phrases=3-4,1-2"]);
    assert!(!output.status.success());
    let told = text(&output.stderr);
    let expected = "--phrases has `1-2`; expected bars after 4, where the phrase before ends";
    assert!(told.contains(expected), "{told}");
    let given = made(&["tune", abc, "--phrases=1-2,3-4,5-6"]);
    for name in [
        "name: phrase 1, bars 1 to 2",
        "name: phrases 2 and 3, bars 3 to 6",
        "name: whole",
    ] {
        assert!(given.contains(name), "{name}: {given}");
    }
    let drill = home.path().join("six.yaml");
    let drill = drill.to_str().expect("a path");
    made(&["import", abc, "-o", drill]);
    let file = std::fs::read_to_string(drill).expect("a file");
    std::fs::write(drill, format!("{file}phrases: [1-3, 4-6]\n")).expect("a file");
    let own = made(&["tune", drill, "--phrases"]);
    assert!(own.contains("name: phrase 2, bars 4 to 6"), "{own}");
}

/// A book of tunes becomes a folder of drills, with one report of what was changed and what was
/// left out.
#[test]
fn a_book_of_tunes_becomes_a_folder_of_drills() {
    let home = tempfile::tempdir().expect("a folder");
    let book = home.path().join("book.abc");
    let tune = |number: u32, title: &str, body: &str| {
        format!("X:{number}\nT:{title}\nM:4/4\nL:1/8\nK:HP\n{body}\n\n")
    };
    let all = tune(1, "Low Water", "{g}A4 {d}B4|{g}c4 d4|]")
        + &tune(2, "../Low Water", "{g}A4 z4|{g}c4 d4|]")
        + &tune(3, "No Music", "%")
        + &tune(7, "Low Water", "{g}c4 {d}B4|{g}c4 d4|]");
    std::fs::write(&book, format!("%%scale 0.7\n\n{all}")).expect("it is written");
    let book = book.to_str().expect("UTF-8");
    let folder = home.path().join("tunes/");
    let target = folder.to_str().expect("UTF-8");
    let output = run(home.path(), &["import", book, "-o", target]);
    let told = text(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(
        told.contains("3 drills, 1 with changes, 1 not imported"),
        "{told}"
    );
    assert!(told.contains("tune 3, No Music: not imported"), "{told}");
    assert!(told.contains("the note before sounds on"), "{told}");
    // a directive for the page layout is not reported as lost
    assert!(!told.contains("scale"), "{told}");
    let mut names: Vec<String> = std::fs::read_dir(&folder)
        .expect("it is there")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    assert_eq!(
        names,
        ["low-water-2.yaml", "low-water-3.yaml", "low-water.yaml"]
    );
    for name in names {
        let path = folder.join(name);
        let output = run(home.path(), &["check", path.to_str().expect("UTF-8")]);
        assert!(output.status.success());
    }
    // nothing is overwritten without permission
    let output = run(home.path(), &["import", book, "-o", target]);
    assert_eq!(output.status.code(), Some(2));
    let output = run(home.path(), &["import", target, "-o", target]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("has no file that ends in .abc"));
}
