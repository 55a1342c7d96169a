//! Checks that README and reference describe the program as it is: its keys, its drill files and
//! its commands.

use gracerung::drill::{read, render};
use gracerung::screen::{KeyPlace, key_table};
use std::process::Command;

const README: &str = include_str!("../../README.md");
const REFERENCE: &str = include_str!("../../docs/reference.md");

/// A player would look in vain for a key that was changed without a change of the document.
#[test]
fn the_keys_are_those_of_the_program() {
    assert!(
        REFERENCE.contains(&key_table(KeyPlace::Practice)),
        "write this into docs/reference.md:\n{}",
        key_table(KeyPlace::Practice)
    );
}

/// A README is read to its end while it has only an install, a first session and a link.
#[test]
fn the_readme_is_short_and_leads_to_the_reference() {
    assert!(README.lines().count() <= 150);
    assert!(README.contains("(docs/reference.md)"));
}

/// A drill copied from the reference must be readable.
#[test]
fn its_drill_files_read() {
    let examples: Vec<&str> = REFERENCE
        .split("```yaml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .collect();
    assert!(examples.len() >= 2);
    for example in examples {
        let (drill, problems) = read(example.as_bytes());
        assert!(
            drill.is_some(),
            "{}",
            render("reference.md", example, &problems)
        );
    }
}

/// A command of the table that the program does not know would be a broken promise.
#[test]
fn its_commands_exist() {
    let help = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .arg("--help")
        .output()
        .expect("the program runs");
    let help = String::from_utf8_lossy(&help.stdout).into_owned();
    let mut checked = 0;
    for line in README
        .lines()
        .chain(REFERENCE.lines())
        .filter(|line| line.starts_with("| `gracerung "))
    {
        let command = line
            .trim_start_matches("| `gracerung ")
            .split([' ', '`'])
            .next()
            .expect("a word");
        assert!(
            help.lines()
                .any(|known| known.trim_start().starts_with(command)),
            "{command}"
        );
        checked += 1;
    }
    assert!(checked >= 30, "{checked}");
}
