//! What commands have in common: help in groups, manual pages, completion, and the report of what
//! was written where.

use std::path::Path;
use std::process::{Command, Output};

fn run_in(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(arguments)
        .env_clear()
        .env("XDG_DATA_HOME", folder.join("data"))
        .env("XDG_CONFIG_HOME", folder.join("config"))
        .current_dir(folder)
        .output()
        .expect("the program runs")
}

fn text(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

#[test]
fn help_stands_in_groups_with_a_headline_each() {
    let folder = folder();
    let help = text(&run_in(folder.path(), &["--help"]));
    let at = |words: &str| {
        help.find(words)
            .unwrap_or_else(|| panic!("{words}: {help}"))
    };
    assert!(at("Practise:") < at("  today "));
    assert!(at("  today ") < at("Teach and learn:"));
    assert!(at("Teach and learn:") < at("  review "));
    assert!(at("  review ") < at("Options:"));
    assert!(
        help.lines().all(|line| line.chars().count() <= 100),
        "{help}"
    );
}

/// A line that `man` does not know would cut a manual page off. `.ci/run` reads each page with
/// groff; here every command has its page and every group its headline.
#[test]
fn there_is_a_manual_page_for_every_command() {
    let folder = folder();
    let page = text(&run_in(folder.path(), &["manual"]));
    for part in [
        ".SH NAME",
        ".SS \"Teach and learn\"",
        ".SH FILES",
        "journal.sqlite",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let said = text(&run_in(folder.path(), &["manual", "-o", "man1"]));
    assert!(said.contains("man1: gracerung.1 and"), "{said}");
    for name in ["gracerung.1", "gracerung-practise.1", "gracerung-manual.1"] {
        assert!(folder.path().join("man1").join(name).is_file(), "{name}");
    }
}

/// What a shell sends for completion: the words of the line after `--`, and which of them is
/// completed.
fn completed(folder: &Path, words: &[&str]) -> Vec<String> {
    let output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(["--", "gracerung"])
        .args(words)
        .env_clear()
        .env("XDG_DATA_HOME", folder.join("data"))
        .env("_GRACERUNG_COMPLETE", "bash")
        .env("_CLAP_COMPLETE_INDEX", words.len().to_string())
        .env("_CLAP_IFS", "\n")
        .current_dir(folder)
        .output()
        .expect("the program runs");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines().map(str::to_owned).collect()
}

#[test]
fn names_of_drills_movements_schools_and_stages_are_completed() {
    let folder = folder();
    let own = folder.path().join("data/gracerung/drills");
    std::fs::create_dir_all(&own).expect("a folder");
    std::fs::write(own.join("my-own.yaml"), "title: x").expect("a file");
    let has = |words: &[&str], wanted: &str| {
        let found = completed(folder.path(), words);
        assert!(
            found.iter().any(|word| word == wanted),
            "{words:?}: {found:?}"
        );
    };
    has(&["practise", "my"], "my-own");
    has(&["sheet", "grip-from"], "grip-from-d");
    has(&["make", "taor"], "taorluath");
    has(&["explain", "grip", "--school", "d-"], "d-from-d");
    has(
        &["practise", "grip-from-d", "--stage", "half"],
        "half beats",
    );
    let script = text(&run_in(folder.path(), &["completions", "bash"]));
    assert!(script.contains("_GRACERUNG_COMPLETE"), "{script}");
}

/// A command that writes without a message leaves the player looking for the file.
#[test]
fn what_is_written_is_said_with_its_place() {
    let folder = folder();
    for (arguments, file, said) in [
        (
            &["sheet", "grip-from-d"][..],
            "grip-from-d.pdf",
            "Grip from D on 1 page",
        ),
        (
            &["handout", "grip-from-d"],
            "grip-from-d.html",
            "Grip from D",
        ),
        (
            &["render", "grip-from-d", "--repeats", "1"],
            "grip-from-d.wav",
            "full beats at 50",
        ),
        (&["export", "grip", "-o", "grip.abc"], "grip.abc", "stages"),
        (
            &["settings", "--write"],
            "config/gracerung/settings.toml",
            "every setting",
        ),
    ] {
        let output = run_in(folder.path(), arguments);
        let text = text(&output);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {text}");
        assert!(folder.path().join(file).is_file(), "{arguments:?}: {text}");
        let name = Path::new(file).file_name().and_then(|name| name.to_str());
        assert!(text.contains(name.expect("a name")), "{text}");
        assert!(text.contains(said), "{arguments:?}: {text}");
    }
    let again = run_in(folder.path(), &["sheet", "grip-from-d"]);
    assert_eq!(again.status.code(), Some(2), "{}", text(&again));
}

/// A made drill is put where `practise` finds it, and never hides a built-in drill.
#[test]
fn what_is_made_goes_among_the_players_own_drills() {
    let folder = folder();
    let made = text(&run_in(
        folder.path(),
        &["make", "taorluath", "--from", "LG", "--to", "LA"],
    ));
    assert!(
        made.contains("gracerung practise taorluath-from-lg-to-la"),
        "{made}"
    );
    let own = folder.path().join("data/gracerung/drills");
    assert!(own.join("taorluath-from-lg-to-la.yaml").is_file());
    let made = text(&run_in(folder.path(), &["make", "grip"]));
    assert!(made.contains("practise my-grip"), "{made}");
    let again = run_in(folder.path(), &["make", "grip"]);
    assert_eq!(again.status.code(), Some(2));
    let checked = run_in(folder.path(), &["check", "my-grip", "grip-from-d"]);
    assert_eq!(checked.status.code(), Some(0), "{}", text(&checked));
    assert!(text(&checked).contains("grip-from-d: Grip from D with 5 stages"));
    let unknown = text(&run_in(folder.path(), &["check", "grip-from-b"]));
    assert!(unknown.contains("did you mean"), "{unknown}");
}

/// A wrong setting must not stop commands that do not need it.
#[test]
fn a_wrong_setting_stops_only_what_needs_it() {
    let folder = folder();
    let config = folder.path().join("config/gracerung");
    std::fs::create_dir_all(&config).expect("a folder");
    let write = |text: &str| std::fs::write(config.join("settings.toml"), text).expect("written");
    write("la = 100\n[plan]\nminutes = \"many\"\n");
    let said = |arguments: &[&str], code: i32, words: &str| {
        let output = run_in(folder.path(), arguments);
        let text = text(&output);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {text}");
        assert!(text.contains(words), "{arguments:?}: {text}");
    };
    said(&["sheet", "grip"], 0, "the settings have 2 problems");
    said(
        &["render", "grip", "--repeats", "1"],
        2,
        "expected a number from 200 to 520",
    );
    said(
        &["render", "grip", "--repeats", "1", "--la", "238"],
        0,
        "grip.wav",
    );
    said(&["today"], 2, "a whole number from 5 to 240");
    write("la 240\n[plan]\nminutes = 10\n");
    said(&["today"], 0, "this is not TOML");
    said(&["settings"], 1, "key with no value");
}

/// An archived drill leaves the list and loses nothing else. Without a terminal nobody is asked.
#[test]
fn a_drill_of_ones_own_is_put_away_and_taken_back() {
    let folder = folder();
    let run = |arguments: &[&str]| run_in(folder.path(), arguments);
    run(&["make", "grip", "--from", "E", "--to", "B"]);
    let name = "grip-from-e-to-b";
    let listed = |name: &str| text(&run(&["drills"])).contains(name);
    assert!(listed(name));
    let asked = run(&["drills", "--archive", name]);
    assert_eq!(asked.status.code(), Some(2));
    assert!(text(&asked).contains("--yes"), "{}", text(&asked));
    assert!(listed(name));
    let away = run(&["drills", "--archive", name, "--yes"]);
    assert!(away.status.success(), "{}", text(&away));
    assert!(text(&away).contains("archive"), "{}", text(&away));
    assert!(!listed(name));
    // two drills of the same name are both kept
    run(&["make", "grip", "--from", "E", "--to", "B"]);
    let second = text(&run(&["drills", "--archive", name, "--yes"]));
    assert!(second.contains("--restore grip-from-e-to-b-2"), "{second}");
    let back = run(&["drills", "--restore", name]);
    assert!(back.status.success(), "{}", text(&back));
    assert!(listed(name));
    for (arguments, told) in [
        (["drills", "--restore", name, "--"], "was put away"),
        (
            ["drills", "--archive", "birl", "--yes"],
            "came with the program",
        ),
        (
            ["drills", "--archive", "grip-from-e-to-c", "--yes"],
            "did you mean `grip-from-e-to-b`?",
        ),
        (
            ["drills", "--archive", "../journal", "--yes"],
            "none of your own",
        ),
    ] {
        let output = run(&arguments);
        assert_eq!(output.status.code(), Some(2), "{}", text(&output));
        assert!(text(&output).contains(told), "{}", text(&output));
    }
}

/// A word of a title, words in another order, or a slip of a letter is answered by the drill that
/// was meant.
#[test]
fn what_was_perhaps_meant_is_named() {
    let folder = folder();
    for (arguments, told) in [
        (
            ["practise", "slipway"],
            "did you mean `lamp-on-the-slipway`",
        ),
        (
            ["practise", "slipwya"],
            "did you mean `lamp-on-the-slipway`",
        ),
        (["practise", "low-g-taorluath"], "`taorluath-from-low-g`"),
        (["practise", "leumluath"], "`gracerung make grip`"),
        (["make", "tarluath low g"], "did you mean `taorluath`?"),
    ] {
        let output = run_in(folder.path(), &arguments);
        assert_eq!(output.status.code(), Some(2));
        assert!(text(&output).contains(told), "{}", text(&output));
    }
}

/// The explanation of a movement says how to practise it, and that command works.
#[test]
fn an_explanation_names_what_practises_it() {
    let folder = folder();
    for (arguments, command) in [
        (
            &["explain", "grip", "--from", "D", "--to", "LA"][..],
            "gracerung practise grip-from-d\n",
        ),
        (
            &["explain", "taorluath from low G"],
            "gracerung practise taorluath-from-low-g\n",
        ),
        (
            &["explain", "grip", "--from", "E", "--to", "B"],
            "gracerung make grip --from E --to B",
        ),
        (&["explain", "taorluath", "--from", "D", "--to", "E"], ""),
    ] {
        let told = text(&run_in(folder.path(), arguments));
        let practise = told.lines().find(|line| line.starts_with("Practise it:"));
        match command {
            "" => assert_eq!(practise, None, "{told}"),
            _ => assert!(told.contains(command), "{told}"),
        }
    }
}

/// Homework that cannot be done in time, or that asks for the same thing twice, is a teacher's
/// slip.
#[test]
fn homework_in_the_past_and_the_same_drill_twice_are_told() {
    let folder = folder();
    for (arguments, told) in [
        (
            &["assign", "birl", "--by", "2026-01-15", "-o", "a.yaml"][..],
            "is over",
        ),
        (
            &["assign", "birl", "grip-from-d", "birl", "-o", "a.yaml"],
            "`birl` is named twice",
        ),
        (
            &["assign", "birl", "--for", " ", "-o", "a.yaml"],
            "write a name, or leave it out",
        ),
        (
            &["import", "a.abc", "--kind", "", "-o", "a.yaml"],
            "write a name, or leave it out",
        ),
        (
            &["assign", "birl", "-o", "a.txt"],
            "should end in .yaml or .yml",
        ),
        (
            &["report", "week.yaml", "-o", "a.txt"],
            "should end in .yaml or .yml",
        ),
    ] {
        let output = run_in(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(2));
        assert!(text(&output).contains(told), "{}", text(&output));
        assert!(!folder.path().join("a.yaml").exists());
    }
}

/// The notes on what was changed of another program's file must not precede every later answer
/// about it.
#[test]
fn what_another_programs_file_lost_is_told_once() {
    let folder = folder();
    let tune = "X:1\nT:Slurred\nM:4/4\nL:1/4\nK:HP\n(Ad)ed|Ad e2|\n";
    std::fs::write(folder.path().join("slurred.abc"), tune).expect("written");
    let told = |arguments: &[&str]| text(&run_in(folder.path(), arguments)).contains("a slur");
    assert!(told(&["tune", "slurred.abc"]));
    assert!(!told(&["tune", "slurred.abc"]));
    assert!(!told(&["export", "slurred.abc", "-o", "slurred.mid"]));
    assert!(told(&["check", "slurred.abc"]));
    let other = tune.replace("Slurred", "Slurred too");
    std::fs::write(folder.path().join("other.abc"), other).expect("written");
    assert!(told(&["import", "other.abc", "-o", "other.yaml"]));
    assert!(!told(&["tune", "other.abc"]));
}

/// A tempo alone asks for the warm-up before the band; the libraries' licences are printed as data.
#[test]
fn a_band_tempo_stands_alone_and_licences_are_data() {
    let folder = folder();
    let list = |arguments: &[&str]| text(&run_in(folder.path(), arguments));
    let band = list(&["warmup", "--for", "band", "--tempo", "84", "--list"]);
    assert_eq!(list(&["warmup", "--tempo", "84", "--list"]), band);
    let refused = list(&["warmup", "--for", "practice", "--tempo", "84", "--list"]);
    assert!(refused.contains("practice has none"), "{refused}");
    let json = list(&["licences", "--libraries", "--json"]);
    let rows: Vec<serde_json::Value> = serde_json::from_str(&json).expect("JSON");
    let serde = rows
        .iter()
        .find(|row| row["name"] == "serde")
        .expect("serde");
    assert_eq!(serde["licence"], "MIT OR Apache-2.0");
}
