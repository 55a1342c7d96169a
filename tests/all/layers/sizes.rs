//! Limits for the length of files and functions, so that a reader can keep one in mind.

use super::house::files;
use std::collections::BTreeMap;
use std::path::Path;

/// The most lines of a file.
const FILE: usize = 500;
/// The most lines of a function, from its first line to its closing brace.
const FUNCTION: usize = 80;

/// Tables of data, and matches over a whole vocabulary with a few lines for each word. Dividing
/// them would not help.
const TABLES: &[&str] = &[
    "src/app/acting.rs act_at_practice",
    "src/app/notice.rs sentence",
    "src/app/switching.rs act_on_options",
    "src/app/update.rs apply",
    "src/core/drill/problem/mend.rs mend",
    "src/core/drill/problem/sentence.rs fmt",
    "src/core/movement/catalogue/gracenotes.rs",
    "src/screen/keys.rs",
    "src/services/shell.rs carry_out",
    "tests/all/hostile_sound/mp4.rs hostile_m4a_ends_in_a_sentence",
    "tests/all/hostile_sound/ogg.rs hostile_ogg_ends_in_a_sentence",
    "tests/all/hostile_sound/wav.rs hostile_wav_ends_in_a_sentence",
];

/// Files and functions that are still longer, with the most lines of each. The list can only
/// shrink: what is divided leaves it, and what became shorter may not grow again.
const TOO_LONG: &[(&str, usize)] = &[
    ("src/commands/homework/paper.rs booklet", 89),
    ("src/core/drill/music/mend.rs round", 110),
    ("src/core/drill/music/mod.rs read", 106),
    ("src/core/drill/read/mod.rs drill", 93),
    ("src/core/drill/read/stages.rs stage", 88),
    (
        "src/core/drill/stage_laws/mod.rs what_begins_on_the_beat_begins_on_it_in_every_stage",
        81,
    ),
    ("src/core/drill/yaml.rs read_tree", 86),
    ("src/exchange/musicxml/read/finish.rs finish", 95),
    ("src/exchange/musicxml/read/mod.rs read", 101),
    (
        "src/journal/journal_laws/shown.rs what_two_programs_show_is_the_fold_of_the_journal",
        109,
    ),
    ("src/screen/parts/session.rs between", 108),
    ("src/screen/parts/warming.rs draw", 102),
    (
        "tests/all/exchange/metres.rs the_note_that_stays_equal_at_a_change_of_metre_is_played_and_comes_back",
        96,
    ),
    (
        "tests/all/lesson.rs a_week_from_teacher_to_student_to_teacher",
        97,
    ),
    (
        "tests/all/sounding_truth.rs the_events_of_every_movement_are_those_of_its_explanation",
        84,
    ),
    (
        "tests/all/visible/stored.rs what_journals_homework_and_settings_say_is_never_obeyed",
        127,
    ),
    ("tests/bench/listening/drills.rs", 597),
    ("tests/bench/listening/drills.rs play", 92),
    ("tests/bench/listening/drills.rs try_to_plant", 93),
    ("tests/bench/listening/main.rs main", 106),
    ("tests/bench/listening/sounds.rs", 501),
    ("tests/bench/listening/sounds.rs chanter", 132),
    ("tests/bench/listening/tables.rs print_aims", 93),
    ("tests/bench/listening/takes.rs make", 116),
    ("tests/bench/soak.rs", 627),
    ("tests/bench/soak.rs main", 157),
    ("tests/bench/verdicts/plant.rs", 512),
    ("tests/bench/weeks.rs main", 104),
    ("tests/bench/worst.rs drills", 107),
    ("tests/device.rs", 648),
];

/// The functions of a text formatted by `rustfmt`, each with its number of lines. A function ends
/// with the first brace that is indented as far as its beginning.
fn functions(text: &str) -> Vec<(String, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let begins = line.trim_start();
        let indent = line.len() - begins.len();
        let Some((before, after)) = begins.split_once("fn ") else {
            continue;
        };
        let is_item = before.split_whitespace().all(|word| {
            word.starts_with("pub")
                || word.ends_with(')')
                || matches!(word, "const" | "async" | "unsafe")
        });
        let name: String = after
            .chars()
            .take_while(|sign| sign.is_alphanumeric() || *sign == '_')
            .collect();
        if !is_item || name.is_empty() {
            continue;
        }
        // a signature in a trait, or a body on the line of its signature
        let opens = lines[at..]
            .iter()
            .find(|line| line.ends_with(['{', '}', ';']));
        if !opens.is_some_and(|line| line.ends_with('{')) {
            continue;
        }
        let ends = |line: &&str| line.len() == indent + 1 && line.ends_with('}');
        if let Some(rest) = lines[at..].iter().position(ends) {
            found.push((name, rest + 1));
        }
    }
    found
}

/// A file or function that grows by a few lines each time would never be divided.
#[test]
fn no_file_is_over_500_lines_and_no_function_over_80() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = Vec::new();
    for folder in ["src", "tests"] {
        files(&root.join(folder), &mut all);
    }
    let mut long: BTreeMap<String, usize> = BTreeMap::new();
    for path in &all {
        let text = std::fs::read_to_string(path).expect("a source file");
        let name = path.strip_prefix(root).expect("below the root");
        let name = name.to_string_lossy().replace('\\', "/");
        let lines = text.lines().count();
        if lines > FILE {
            long.insert(name.clone(), lines);
        }
        for (function, lines) in functions(&text) {
            if lines > FUNCTION {
                long.insert(format!("{name} {function}"), lines);
            }
        }
    }
    let listed = TABLES.iter().chain(TOO_LONG.iter().map(|(name, _)| name));
    let divided: Vec<&&str> = listed.filter(|name| !long.contains_key(**name)).collect();
    assert!(
        divided.is_empty(),
        "no longer too long: take them off `TABLES` or `TOO_LONG`: {divided:#?}"
    );
    long.retain(|name, _| !TABLES.contains(&name.as_str()));
    let known: BTreeMap<&str, usize> = TOO_LONG.iter().copied().collect();
    let shorter: Vec<&(&str, usize)> = TOO_LONG
        .iter()
        .filter(|(name, most)| long.get(*name).is_some_and(|lines| lines + 10 <= *most))
        .collect();
    assert!(
        shorter.is_empty(),
        "shorter than their rows by ten lines and more: lower the rows: {shorter:#?}"
    );
    long.retain(|name, lines| known.get(name.as_str()).is_none_or(|most| *lines > *most));
    assert!(
        long.is_empty(),
        "divide along its seams what is over {FILE} lines (a function: {FUNCTION}): {long:#?}"
    );
}

/// Checks the check itself with nested functions, methods and functions of one line.
#[test]
fn functions_are_measured_from_their_first_line_to_their_brace() {
    let text = "fn one() {}\n\ntrait A {\n    fn none();\n}\n\npub(super) const fn two(\n    a: u8,\n) -> u8 {\n    a\n}\n\nimpl A {\n    \
                fn three() {\n        fn four() {\n        }\n    }\n}\n";
    let of = |name: &str, lines| (name.to_owned(), lines);
    assert_eq!(
        functions(text),
        [of("two", 5), of("three", 4), of("four", 2)]
    );
}
