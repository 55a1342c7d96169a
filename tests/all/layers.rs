//! The layer rule, read from the `use` lines: a room imports only lower rooms, and each outside
//! library is known to the one room it belongs to.

use std::path::{Path, PathBuf};

/// Rooms and their layers.
const LAYERS: &[(&str, u8)] = &[
    ("wording", 0),
    ("net", 0),
    ("units", 0),
    ("chanter", 1),
    ("rhythm", 1),
    ("movement", 2),
    ("drill", 3),
    ("settings", 4),
    ("score", 4),
    ("practice", 4),
    ("timeline", 5),
    ("engraving", 5),
    ("planning", 5),
    ("sound", 6),
    ("listening", 6),
    ("sheet", 6),
    ("exchange", 6),
    ("homework", 6),
    ("discrimination", 6),
    ("app", 7),
    ("screen", 8),
    ("live", 8),
    ("journal", 8),
    ("commands", 9),
];

/// A library and the files that may name it.
const BELONGS: &[(&str, &[&str])] = &[
    ("cpal", &["live/"]),
    ("rusqlite", &["journal/"]),
    (
        "ratatui",
        &[
            "screen/",
            "commands/blow.rs",
            "commands/hear.rs",
            "commands/practise.rs",
            "commands/warmup.rs",
        ],
    ),
    (
        "crossterm",
        &[
            "screen/",
            "commands/blow.rs",
            "commands/hear.rs",
            "commands/practise.rs",
            "commands/settings.rs",
            "commands/terminal.rs",
            "commands/warmup.rs",
        ],
    ),
    ("clap", &["commands/"]),
    ("saphyr_parser", &["drill/yaml.rs"]),
    ("serde_yaml", &["drill/yaml.rs", "homework/yaml.rs"]),
    ("rodio", &["sound/", "listening/decoding.rs"]),
    ("fundsp", &["sound/"]),
    ("wsola", &["sound/"]),
    ("pulp", &["net/"]),
    ("rubato", &["listening/intake.rs", "sound/replay.rs"]),
];

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

/// The code of a file without its tests and comments.
fn code(path: &Path) -> String {
    let text = std::fs::read_to_string(path).expect("a source file");
    let text = text
        .split("\n#[cfg(test)]\nmod tests")
        .next()
        .unwrap_or("")
        .to_owned();
    text.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect::<Vec<_>>()
        .join("\n")
}

fn sources() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    files(&root, &mut found);
    found
        .iter()
        .map(|path| {
            let name = path
                .strip_prefix(&root)
                .expect("below src")
                .to_string_lossy()
                .replace('\\', "/");
            // The rooms of the core are named like the others.
            let name = name.strip_prefix("core/").unwrap_or(&name).to_owned();
            (name, code(path))
        })
        .collect()
}

fn layer(room: &str) -> Option<u8> {
    LAYERS
        .iter()
        .find(|(name, _)| *name == room)
        .map(|(_, layer)| *layer)
}

/// A core that reached for the screen or the device could not be tested without them.
#[test]
fn a_room_imports_only_lower_rooms() {
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (name, text) in sources() {
        let room = name.split('/').next().unwrap_or("").trim_end_matches(".rs");
        let Some(own) = layer(room) else { continue };
        for (at, _) in text.match_indices("crate::") {
            let rest = &text[at + "crate::".len()..];
            let other: String = rest
                .chars()
                .take_while(|sign| sign.is_ascii_alphanumeric() || *sign == '_')
                .collect();
            if other == room {
                continue;
            }
            seen += 1;
            match layer(&other) {
                Some(below) if below < own => {}
                Some(_) => wrong.push(format!("{name} imports {other}")),
                None => {}
            }
        }
    }
    assert!(seen > 100, "the check read nothing");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A room of the core named by its package would not be seen by the check above.
#[test]
fn rooms_of_the_core_are_named_like_the_others() {
    for (name, text) in sources() {
        assert!(
            name == "lib.rs" || !text.contains("gracerung_core"),
            "{name}: write `crate::` for `gracerung_core::`"
        );
    }
}

/// Every room has a layer: a new one must be put into the table.
#[test]
fn every_room_has_a_layer() {
    for (name, _) in sources() {
        let room = name.split('/').next().unwrap_or("").trim_end_matches(".rs");
        assert!(
            ["main", "lib"].contains(&room) || layer(room).is_some(),
            "{room} has no layer"
        );
    }
}

/// A library named in two rooms cannot be replaced in an hour.
#[test]
fn each_library_is_known_to_its_own_room() {
    let mut wrong = Vec::new();
    for (name, text) in sources() {
        for (library, places) in BELONGS {
            let named = text.contains(&format!("{library}::"));
            if named && !places.iter().any(|place| name.starts_with(place)) {
                wrong.push(format!("{name} names {library}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The wall clock is read at the edge only.
#[test]
fn only_the_edge_reads_the_clock() {
    for (name, text) in sources() {
        let edge = ["commands/", "live/"]
            .iter()
            .any(|place| name.starts_with(place));
        assert!(
            edge || !(text.contains("SystemTime::now") || text.contains("Instant::now")),
            "{name} reads the clock"
        );
    }
}

/// Without it two files of the ear could only be read together: a file of the listening room knows only
/// files that do not know it. Tests stand outside.
#[test]
fn no_files_of_the_listening_room_go_round_in_a_circle() {
    let mut known: Vec<(String, Vec<String>)> = Vec::new();
    for (name, text) in sources() {
        let Some(name) = name.strip_prefix("listening/") else {
            continue;
        };
        let name = name.trim_end_matches(".rs");
        if name == "mod" || name.ends_with("_laws") {
            continue;
        }
        let imports = text.split("super::").skip(1).filter_map(|rest| {
            let word = |letter: char| !(letter.is_alphanumeric() || letter == '_');
            rest.split(word).next().map(str::to_owned)
        });
        known.push((name.to_owned(), imports.collect()));
    }
    assert!(known.len() > 15, "{known:?}");
    // whoever knows nobody is taken away, again and again: what is left goes round
    loop {
        let names: Vec<String> = known.iter().map(|(name, _)| name.clone()).collect();
        let before = known.len();
        known.retain(|(_, imports)| imports.iter().any(|import| names.contains(import)));
        if known.len() == before {
            break;
        }
    }
    assert!(known.is_empty(), "a circle among {known:?}");
}
