//! Checks that the files, items, threads and tests named in DEVELOPERS.md exist.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

const DEVELOPERS: &str = include_str!("../../DEVELOPERS.md");

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The text of a section, from its heading to the next heading.
fn section(heading: &str) -> &'static str {
    DEVELOPERS
        .split("\n## ")
        .find(|section| section.starts_with(heading))
        .unwrap_or_else(|| panic!("DEVELOPERS.md has no section `{heading}`"))
}

/// The items of the numbered lists in a text, each with its continuation lines.
fn numbered(text: &str) -> Vec<String> {
    let mut items: Vec<String> = Vec::new();
    let mut open = false;
    for line in text.lines() {
        let number: String = line.chars().take_while(char::is_ascii_digit).collect();
        if !number.is_empty() && line[number.len()..].starts_with(". ") {
            items.push(line.to_owned());
            open = true;
        } else if open && line.starts_with("   ") {
            if let Some(item) = items.last_mut() {
                item.push(' ');
                item.push_str(line.trim());
            }
        } else {
            open = false;
        }
    }
    items
}

/// The parts of a text between backticks.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|sign: char| !sign.is_ascii_alphanumeric() && sign != '_')
        .filter(|word| !word.is_empty())
}

/// All files below a path, or the path itself where it is a file.
fn files(path: &Path, found: &mut Vec<PathBuf>) {
    if path.is_dir() {
        for entry in std::fs::read_dir(path).expect("a folder").flatten() {
            files(&entry.path(), found);
        }
    } else {
        found.push(path.to_owned());
    }
}

/// The words of the code below a path, without comments.
fn code(path: &Path) -> BTreeSet<String> {
    let mut all = Vec::new();
    files(path, &mut all);
    let mut found = BTreeSet::new();
    for file in all {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        found.insert(stem.into_owned());
        let text = std::fs::read_to_string(&file).unwrap_or_default();
        for line in text.lines() {
            if !line.trim_start().starts_with("//") {
                found.extend(words(line).map(str::to_owned));
            }
        }
    }
    found
}

/// The files and items that an item of a list names although they do not exist.
fn missing(item: &str) -> Vec<String> {
    let is_path = |word: &&str| word.contains('/');
    let mut wrong = Vec::new();
    let mut known = BTreeSet::new();
    let paths: Vec<&str> = quoted(item).filter(is_path).collect();
    if paths.is_empty() {
        wrong.push(format!("no file is named in `{item}`"));
    }
    for path in paths {
        if root().join(path).exists() {
            known.extend(code(&root().join(path)));
        } else {
            wrong.push(format!("`{path}` is not there: {item}"));
        }
    }
    let commands = |word: &&str| word.starts_with("gracerung ") || word.starts_with("cargo ");
    for named in quoted(item).filter(|word| !is_path(word) && !commands(word)) {
        for word in words(named).filter(|word| !known.contains(*word)) {
            wrong.push(format!(
                "`{word}` is in no file that is named with it: {item}"
            ));
        }
    }
    wrong
}

/// A developer who looks for a file that no longer exists loses an hour.
#[test]
fn what_the_lists_name_is_there() {
    for heading in [
        "Add a movement\n",
        "Add a click sound\n",
        "Add a format\n",
        "Add a measure to the verdict\n",
        "The way of the data\n",
    ] {
        let items = numbered(section(heading));
        assert!(items.len() >= 4, "{heading}: {items:?}");
        let wrong: Vec<String> = items.iter().flat_map(|item| missing(item)).collect();
        assert!(wrong.is_empty(), "DEVELOPERS.md, {heading}{wrong:#?}");
    }
}

/// Checks the check itself with a file, an item and a command, each existing and missing.
#[test]
fn a_list_that_names_what_is_gone_is_found() {
    assert!(missing("1. `src/main.rs`: `main`, `gracerung make`").is_empty());
    assert_eq!(missing("1. `src/nothing.rs`: all").len(), 1);
    assert_eq!(missing("1. `src/main.rs`: `no_such_item`").len(), 1);
    assert_eq!(missing("1. `main` alone").len(), 2);
}

/// The data and the end of a thread that is not in the table were not thought through.
#[test]
fn the_table_has_every_thread() {
    let table = section("Threads\n");
    let mut all = Vec::new();
    files(&root().join("src"), &mut all);
    let mut seen = 0;
    for file in all {
        let text = std::fs::read_to_string(&file).unwrap_or_default();
        for name in text.split(".name(\"").skip(1) {
            let Some((name, rest)) = name.split_once('"') else {
                continue;
            };
            let next = rest.strip_prefix(".to_owned())").map(str::trim_start);
            if next.is_some_and(|next| next.starts_with(".spawn(")) {
                seen += 1;
                assert!(
                    table.contains(&format!("| `{name}`")),
                    "{}: the thread `{name}` is not in the table of DEVELOPERS.md",
                    file.display()
                );
            }
        }
    }
    assert!(seen >= 5, "the check found {seen} threads");
}

/// A test that was renamed could not be found by its name in the document.
#[test]
fn the_tests_that_hold_something_are_there() {
    let mut known = code(&root().join("src"));
    known.extend(code(&root().join("tests")));
    let table = section("Which test holds what\n");
    let named: BTreeSet<&str> = quoted(table)
        .filter(|word| word.matches('_').count() >= 3 && words(word).eq([*word]))
        .collect();
    assert!(named.len() > 40, "the check found {} tests", named.len());
    let gone: Vec<&&str> = named
        .iter()
        .filter(|name| !known.contains(**name))
        .collect();
    assert!(
        gone.is_empty(),
        "in DEVELOPERS.md and nowhere else: {gone:#?}"
    );
}
