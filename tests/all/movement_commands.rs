//! The commands about movements, with the real binary.

use serde_json::Value;
use std::process::{Command, Output};

fn run(arguments: &[&str]) -> Output {
    let home = std::env::temp_dir().join("gracerung-movement-commands");
    Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(arguments)
        .env("XDG_DATA_HOME", home)
        .output()
        .expect("the binary runs")
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).expect("it prints JSON")
}

/// Other programs read these names, and the shell reads the exit code.
#[test]
fn recognise_prints_names_school_and_nearest_and_exits_by_them() {
    let grip = run(&[
        "recognise",
        "LG",
        "B",
        "LG",
        "--from",
        "D",
        "--to",
        "LA",
        "--json",
    ]);
    assert_eq!(grip.status.code(), Some(0));
    assert_eq!(
        json(&grip),
        serde_json::json!({"names": ["grip"], "school": null, "playable": true, "nearest": null})
    );
    let kept = run(&[
        "recognise",
        "LG",
        "D",
        "LG",
        "--from",
        "D",
        "--to",
        "LA",
        "--json",
    ]);
    assert_eq!(json(&kept)["school"], "d-from-d");
    let unknown = run(&[
        "recognise",
        "LG",
        "D",
        "LG",
        "D",
        "--from",
        "C",
        "--to",
        "LA",
        "--json",
    ]);
    assert_eq!(unknown.status.code(), Some(1));
    assert_eq!(json(&unknown)["names"], serde_json::json!([]));
    assert!(json(&unknown)["nearest"].is_string());
    let wrong = run(&["recognise", "H", "--to", "LA"]);
    assert_eq!(wrong.status.code(), Some(2));
}

/// The explanation has the three promised fields, and a school changes them.
#[test]
fn explain_prints_gracenotes_school_and_a_reason_for_each() {
    let grip = json(&run(&[
        "explain", "grip", "--from", "D", "--to", "LA", "--json",
    ]));
    assert_eq!(grip["gracenotes"], serde_json::json!(["LG", "B", "LG"]));
    assert_eq!(grip["school"], Value::Null);
    assert_eq!(grip["reasons"].as_array().map(Vec::len), Some(3));
    let kept = json(&run(&[
        "explain", "grip", "--from", "D", "--to", "LA", "--school", "d-from-d", "--json",
    ]));
    assert_eq!(kept["gracenotes"], serde_json::json!(["LG", "D", "LG"]));
    assert_eq!(kept["school"], "d-from-d");
    let wrong = run(&["explain", "grip", "--school", "d-fromd"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&wrong.stderr).contains("did you mean `d-from-d`?"));
}

/// A made file that the program itself refuses would be worse than none.
#[test]
fn a_made_file_is_checked_without_a_problem_and_never_replaced_unasked() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("my.yaml");
    let target = file.display().to_string();
    let make = [
        "make",
        "taorluath",
        "--from",
        "LG",
        "--to",
        "LA",
        "-o",
        &target,
    ];
    assert_eq!(run(&make).status.code(), Some(0));
    assert_eq!(run(&["check", &target]).status.code(), Some(0));
    assert_eq!(run(&make).status.code(), Some(2), "it exists");
    let bar = folder.path().join("bar.yaml").display().to_string();
    let tune = ["tune", "lamp-on-the-slipway", "--movement", "1", "-o", &bar];
    assert_eq!(run(&tune).status.code(), Some(0));
    assert_eq!(run(&["check", &bar]).status.code(), Some(0));
}

/// The hardest movement comes first, each with its places. Nothing is cleared where nothing was
/// practised.
#[test]
fn a_tune_lists_its_movements_hardest_first() {
    let tune = json(&run(&["tune", "lamp-on-the-slipway", "--json"]));
    let rows = tune["movements"].as_array().expect("a list");
    let hard: Vec<u64> = rows
        .iter()
        .filter_map(|row| row["difficulty"].as_u64())
        .collect();
    assert_eq!(hard.len(), rows.len());
    assert!(hard.windows(2).all(|pair| pair[0] >= pair[1]));
    let names: Vec<&str> = rows.iter().filter_map(|row| row["name"].as_str()).collect();
    assert!(
        names.contains(&"grip") && names.contains(&"taorluath"),
        "{names:?}"
    );
    assert!(rows.iter().all(|row| row["cleared"].is_null()));
}

#[test]
fn the_catalogue_is_printed_with_its_sources() {
    let table = run(&["movements", "--table"]);
    let text = String::from_utf8_lossy(&table.stdout).into_owned();
    assert!(text.contains("LilyPond 2.24.1 bagpipe.ly, grips"));
    assert!(text.contains("common practice, no source"));
    let none = run(&["movements", "nothing of this name"]);
    assert_eq!(none.status.code(), Some(1));
}

fn text(output: &Output) -> String {
    let both = [&output.stdout[..], &output.stderr[..]].concat();
    String::from_utf8_lossy(&both).into_owned()
}

/// Names that players say are answered by the movement, note and school that they mean.
#[test]
fn movements_are_found_as_players_call_them() {
    for (said, name, field, value) in [
        ("E doubling", "doubling", "to", serde_json::json!("E")),
        ("doubling on E", "doubling", "to", serde_json::json!("E")),
        (
            "rodin",
            "grip",
            "gracenotes",
            serde_json::json!(["LG", "B", "LG"]),
        ),
        ("hodro", "grip", "from", serde_json::json!("C")),
        (
            "heavy throw",
            "throw-on-d",
            "school",
            serde_json::json!("heavy-throw"),
        ),
        ("light throw", "throw-on-d", "school", Value::Null),
        ("GDE", "gde-triplet", "playable", serde_json::json!(true)),
    ] {
        let explained = json(&run(&["explain", said, "--json"]));
        assert_eq!(explained["movement"], name, "{said}");
        assert_eq!(explained[field], value, "{said}");
        let listed = run(&["movements", said]);
        assert_eq!(listed.status.code(), Some(0), "{said}");
        assert!(text(&listed).contains(name), "{said}: {}", text(&listed));
    }
    let listed = text(&run(&["movements", "E doubling"]));
    assert!(listed.contains("explain \"E doubling\""), "{listed}");
    let made = text(&run(&["make", "doubling on E", "-o", "-"]));
    assert!(made.contains("to: E"), "{made}");
    let heavy = text(&run(&["make", "heavy throw", "-o", "-"]));
    assert!(heavy.contains("heavy-throw"), "{heavy}");
    let pibroch = text(&run(&["movements", "piobaireachd"]));
    assert!(pibroch.contains("hiharin"), "{pibroch}");
}

/// A slip costs only one try: every command that takes a name offers the nearest one.
#[test]
fn a_slip_in_a_name_is_answered_with_the_nearest() {
    for (arguments, code, answer) in [
        (&["movements", "gripp"][..], 1, "did you mean `grip`?"),
        (
            &["movements", "crossing"],
            1,
            "gracerung movements --crossings",
        ),
        (&["explain", "taorluat"], 2, "did you mean `taorluath`?"),
        (&["make", "taorluat"], 2, "did you mean `taorluath`?"),
        (&["make", "crosings"], 2, "did you mean `crossings`?"),
        (
            &["recognise", "grip", "--to", "LA"],
            2,
            "gracerung explain grip",
        ),
        (
            &["recognise", "gripp", "--to", "LA"],
            2,
            "a movement is named `grip`",
        ),
        (
            &[
                "recognise",
                "LG",
                "D",
                "LG",
                "D",
                "--from",
                "C",
                "--to",
                "LA",
            ],
            1,
            "nearest is grip, played here as LG (D) LG",
        ),
    ] {
        let output = run(arguments);
        assert_eq!(
            output.status.code(),
            Some(code),
            "{arguments:?}: {}",
            text(&output)
        );
        assert!(
            text(&output).contains(answer),
            "{arguments:?}: {}",
            text(&output)
        );
    }
    let crossings = run(&["make", "crossing", "-o", "-"]);
    assert_eq!(crossings.status.code(), Some(0));
}
