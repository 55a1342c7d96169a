//! The layer rule, read from the `use` lines: a room imports only lower rooms, and each outside
//! library is known to the one room it belongs to.

use std::collections::{BTreeMap, BTreeSet};
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
    ("decoding", 6),
    ("listening", 6),
    ("sheet", 6),
    ("exchange", 6),
    ("homework", 6),
    ("discrimination", 6),
    ("app", 7),
    ("screen", 8),
    ("live", 8),
    ("journal", 8),
    ("services", 9),
    ("commands", 10),
];

/// A library and the files that may name it.
const BELONGS: &[(&str, &[&str])] = &[
    ("cpal", &["live/"]),
    ("rusqlite", &["journal/"]),
    ("ratatui", &["screen/", "services/event_loop.rs"]),
    (
        "crossterm",
        &[
            "screen/",
            "commands/blow.rs",
            "commands/first.rs",
            "commands/hear.rs",
            "commands/practise.rs",
            "commands/warmup.rs",
            "services/event_loop.rs",
            "services/pedals.rs",
            "services/terminal.rs",
        ],
    ),
    ("clap", &["commands/"]),
    (
        "quick_xml",
        &[
            "exchange/",
            "homework/page.rs",
            "commands/progress/picture.rs",
        ],
    ),
    ("saphyr_parser", &["drill/yaml.rs"]),
    ("serde_yaml", &["drill/yaml.rs", "homework/yaml.rs"]),
    ("rodio", &["sound/", "decoding/recording.rs"]),
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
        .split("\n#[cfg(test)]\nmod tests {")
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

/// The file's module: `drill/read/fields.rs` is `drill::read::fields`, `drill/mod.rs` is `drill`.
fn module_of(name: &str) -> Vec<String> {
    let stem = name.trim_end_matches(".rs").trim_end_matches("/mod");
    match stem {
        "lib" | "main" => Vec::new(),
        stem => stem.split('/').map(str::to_owned).collect(),
    }
}

/// A path that code names, and whether it is handed on (`pub use`).
struct Named {
    path: Vec<String>,
    /// What it is called here.
    called: String,
    handed_on: bool,
}

fn is_word(sign: char) -> bool {
    sign.is_ascii_alphanumeric() || sign == '_'
}

/// Paths from a place on: `a::{b, c::{d, e as f}}` is `a::b`, `a::c::d` and `a::c::e`, called `f`.
/// Gives where it ends.
fn paths(
    text: &str,
    from: usize,
    before: &[String],
    found: &mut Vec<(Vec<String>, String)>,
) -> usize {
    let mut at = from;
    let mut path = before.to_vec();
    let space = |at: usize| text[at..].len() - text[at..].trim_start().len();
    loop {
        at += space(at);
        let word = text[at..].chars().take_while(|sign| is_word(*sign)).count();
        if text[at..].starts_with('{') {
            at += 1;
            loop {
                at += space(at);
                match text[at..].chars().next() {
                    Some('}') => return at + 1,
                    Some(',') => at += 1,
                    Some(sign) if is_word(sign) || sign == '{' => {
                        at = paths(text, at, &path, found);
                    }
                    Some(other) => at += other.len_utf8(),
                    None => return at,
                }
            }
        }
        if word == 0 {
            // a glob, or a turbofish
            found.push((path.clone(), String::new()));
            return at;
        }
        path.push(text[at..at + word].to_owned());
        at += word;
        if text[at..].starts_with("::") {
            at += 2;
            continue;
        }
        let mut called = path.last().cloned().unwrap_or_default();
        if called == "self" {
            path.pop();
            called = path.last().cloned().unwrap_or_default();
        }
        let after = at + space(at);
        if text[after..].starts_with("as ") {
            called = text[after + 3..]
                .chars()
                .take_while(|sign| is_word(*sign))
                .collect();
            at = after + 3 + called.len();
        }
        found.push((path, called));
        return at;
    }
}

/// Every path of ours that code names: what `use` brings in, and what stands written out. `children`
/// are the modules below this one, which `use child::X` means.
fn named(text: &str, module: &[String], children: &BTreeSet<String>) -> Vec<Named> {
    let mut all = Vec::new();
    let mut at = 0;
    while at < text.len() {
        let rest = &text[at..];
        let begins = at == 0 || !text[..at].ends_with(|sign| is_word(sign) || sign == ':');
        let word: String = rest.chars().take_while(|sign| is_word(*sign)).collect();
        let step = word
            .len()
            .max(rest.chars().next().map_or(1, char::len_utf8));
        if !begins || word.is_empty() {
            at += step;
            continue;
        }
        let is_use = word == "use";
        let relative = matches!(word.as_str(), "crate" | "super" | "self");
        if !(is_use || relative && rest[word.len()..].starts_with("::")) {
            at += step;
            continue;
        }
        let before = text[..at].trim_end();
        let handed_on = is_use && (before.ends_with("pub") || before.ends_with(')'));
        let mut found = Vec::new();
        let from = if is_use { at + 3 } else { at };
        let end = paths(text, from, &[], &mut found);
        for (path, called) in found {
            let absolute = match path.first().map(String::as_str) {
                // the network's package is one room
                Some("crate") if module.first().is_some_and(|room| room == "net") => {
                    module[..1].iter().chain(&path[1..]).cloned().collect()
                }
                Some("crate") => path[1..].to_vec(),
                Some("self" | "super") => {
                    let up = path.iter().take_while(|one| *one == "super").count();
                    let below = path
                        .iter()
                        .skip_while(|one| *one == "super" || *one == "self");
                    let kept = module.len().saturating_sub(up);
                    module[..kept].iter().chain(below).cloned().collect()
                }
                Some(first) if children.contains(first) => {
                    module.iter().chain(&path).cloned().collect()
                }
                _ => continue,
            };
            all.push(Named {
                path: absolute,
                called,
                handed_on,
            });
        }
        at = end.max(at + step);
    }
    all
}

/// All modules with their files, and what each names.
struct House {
    files: BTreeMap<Vec<String>, String>,
    named: BTreeMap<String, Vec<Named>>,
}

impl House {
    fn seen() -> Self {
        let sources = sources();
        // modules that are there for tests alone
        let tests: BTreeSet<Vec<String>> = sources
            .iter()
            .flat_map(|(name, text)| {
                let module = module_of(name);
                let after = text.split("#[cfg(test)]").skip(1);
                after.filter_map(move |rest| {
                    let rest = rest
                        .trim_start()
                        .trim_start_matches("pub(crate) ")
                        .trim_start_matches("pub ");
                    let child: String = rest
                        .strip_prefix("mod ")?
                        .chars()
                        .take_while(|sign| is_word(*sign))
                        .collect();
                    Some(module.iter().cloned().chain([child]).collect())
                })
            })
            .collect();
        let files: BTreeMap<Vec<String>, String> = sources
            .iter()
            .map(|(name, _)| (module_of(name), name.clone()))
            .filter(|(module, _)| !tests.iter().any(|test| module.starts_with(test)))
            .collect();
        let named = sources
            .iter()
            .filter(|(name, _)| files.values().any(|file| file == name))
            .map(|(name, text)| {
                let module = module_of(name);
                let children = files
                    .keys()
                    .filter(|other| other.len() == module.len() + 1 && other.starts_with(&module))
                    .filter_map(|other| other.last().cloned())
                    .collect();
                (name.clone(), named(text, &module, &children))
            })
            .collect();
        Self { files, named }
    }

    /// The file in which a path ends: through what modules hand on.
    fn file_of(&self, path: &[String], steps: usize) -> Option<&str> {
        let (module, file) = (0..=path.len())
            .rev()
            .find_map(|length| self.files.get_key_value(&path[..length]))?;
        let Some(item) = path.get(module.len()) else {
            return Some(file);
        };
        let on = self
            .named
            .get(file)?
            .iter()
            .find(|named| named.handed_on && named.called == *item);
        match on {
            Some(on) if steps > 0 && on.path != path => self.file_of(&on.path, steps - 1),
            _ => Some(file),
        }
    }
}

/// What to do where a room reaches upward.
const WAY_OUT: &str = "a room imports only lower rooms. What both need goes down into a lower room; \
     what the lower one asks for is handed to it from above, as a value or a function; a table that \
     only one room reads moves into it. `LAYERS` in tests/all/layers.rs says where each room stands.";

/// A core that reached for the screen or the device could not be tested without them.
#[test]
fn a_room_imports_only_lower_rooms() {
    let house = House::seen();
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (name, all) in &house.named {
        let room = name.split('/').next().unwrap_or("").trim_end_matches(".rs");
        let Some(own) = layer(room) else { continue };
        for named in all {
            let Some(other) = named.path.first().filter(|other| *other != room) else {
                continue;
            };
            seen += 1;
            // a name that the crate itself hands on comes from a room too
            let through = match layer(other) {
                Some(_) => Some(other.clone()),
                None => house.file_of(&named.path, 9).map(|file| {
                    file.split('/')
                        .next()
                        .unwrap_or("")
                        .trim_end_matches(".rs")
                        .to_owned()
                }),
            };
            match through.as_deref().and_then(layer) {
                Some(below) if below < own => {}
                Some(above) => wrong.push(format!(
                    "{name}: `{room}` stands at {own} and names `{}`, which stands at {above}",
                    named.path.join("::")
                )),
                None if named.path.len() > 1 => wrong.push(format!(
                    "{name}: `{}` is in no room that has a layer",
                    named.path.join("::")
                )),
                None => {}
            }
        }
    }
    assert!(seen > 100, "the check read nothing");
    assert!(wrong.is_empty(), "{wrong:#?}\n{WAY_OUT}");
}

/// Files that name each other in a circle can be read only all at once.
#[test]
fn files_of_a_room_name_each_other_in_no_circle() {
    let house = House::seen();
    let mut edges: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (name, all) in &house.named {
        let room = name.split('/').next();
        for named in all.iter().filter(|named| !named.handed_on) {
            if let Some(other) = house.file_of(&named.path, 9)
                && other != name
                && other.split('/').next() == room
            {
                edges.entry(name).or_default().insert(other);
            }
        }
    }
    assert!(edges.len() > 50, "the check read nothing");
    let reach = |from: &str| -> BTreeSet<&str> {
        let mut seen = BTreeSet::new();
        let mut open: Vec<&str> = edges.get(from).into_iter().flatten().copied().collect();
        while let Some(next) = open.pop() {
            if seen.insert(next) {
                open.extend(edges.get(next).into_iter().flatten());
            }
        }
        seen
    };
    let reached: BTreeMap<&str, BTreeSet<&str>> =
        edges.keys().map(|from| (*from, reach(from))).collect();
    let circles: BTreeSet<Vec<&str>> = reached
        .iter()
        .filter(|(from, all)| all.contains(*from))
        .map(|(from, all)| {
            let back = |other: &&&str| reached.get(**other).is_some_and(|all| all.contains(from));
            all.iter().filter(back).copied().collect()
        })
        .collect();
    assert!(
        circles.is_empty(),
        "{circles:#?}\nFiles that name each other in a circle are parted: what both need goes into a file \
         of its own; a type that all of a folder share stands in a file below its mod.rs, which only \
         hands on."
    );
}

/// Two types of one name are told apart by their imports alone, and a reader does not see those.
#[test]
fn no_two_rooms_export_a_type_of_one_name() {
    let house = House::seen();
    let mut rooms: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (name, text) in sources() {
        if !house.files.values().any(|file| *file == name) {
            continue;
        }
        let room = name.split('/').next().unwrap_or("").to_owned();
        for line in text.lines() {
            let kinds = ["pub struct ", "pub enum ", "pub type ", "pub trait "];
            if let Some(rest) = kinds.iter().find_map(|kind| line.strip_prefix(kind)) {
                let called: String = rest.chars().take_while(|sign| is_word(*sign)).collect();
                rooms.entry(called).or_default().insert(room.clone());
            }
        }
    }
    assert!(rooms.len() > 200, "the check read nothing");
    let shared: Vec<_> = rooms.iter().filter(|(_, rooms)| rooms.len() > 1).collect();
    assert!(
        shared.is_empty(),
        "give one of each another name: {shared:#?}"
    );
}

/// Public fields and functions that hold a time, a pitch or a level as a bare float, by file: how
/// many, and why they may. Anything else has a type of the units room.
const BARE_FLOATS: &[(&str, usize, &str)] = &[
    (
        "app/practising.rs",
        1,
        "a beat to be drawn, never to be played",
    ),
    (
        "listening/heard.rs",
        2,
        "read in each cell of the alignment's table",
    ),
    (
        "listening/lead.rs",
        1,
        "summed and sorted for each note heard",
    ),
    (
        "listening/piece.rs",
        3,
        "read in each cell of the alignment's table",
    ),
    (
        "live/player.rs",
        1,
        "a beat to be drawn, never to be played",
    ),
    (
        "net/weights.rs",
        1,
        "a header of the file of weights; the network stands below the units",
    ),
];

/// A name that says a quantity: by its unit at the end, or as a whole.
fn is_quantity(name: &str) -> bool {
    let units = ["_ms", "_s", "_db", "_cents", "_hz", "_beats"];
    let whole = [
        "beat", "beats", "cents", "hertz", "level", "low_a", "ms", "seconds",
    ];
    units.iter().any(|unit| name.ends_with(unit)) || whole.contains(&name)
}

/// The quantities that public fields, parameters and results of a file hold as bare floats.
fn bare_floats(text: &str) -> Vec<String> {
    let is_float = |kind: &str| {
        let bare = kind.trim_start_matches('&').replace("Option<", "");
        bare.starts_with("f64") || bare.starts_with("f32")
    };
    let mut found = Vec::new();
    let mut lines = text.lines().map(str::trim_start);
    while let Some(line) = lines.next() {
        let Some(item) = line.strip_prefix("pub ") else {
            continue;
        };
        let item = item.strip_prefix("const ").unwrap_or(item);
        let Some(signature) = item.strip_prefix("fn ") else {
            let field = item
                .split_once(": ")
                .filter(|(name, _)| name.chars().all(is_word));
            found.extend(
                field
                    .filter(|(name, kind)| is_quantity(name) && is_float(kind))
                    .map(|(name, _)| name.to_owned()),
            );
            continue;
        };
        let mut signature = signature.to_owned();
        while !signature.contains(['{', ';']) {
            let Some(more) = lines.next() else { break };
            signature.push(' ');
            signature.push_str(more);
        }
        let (before, result) = signature.split_once("->").unwrap_or((&signature, ""));
        let name: String = before.chars().take_while(|sign| is_word(*sign)).collect();
        if is_quantity(&name) && is_float(result.trim_start()) {
            found.push(name);
        }
        for parameter in before.split(['(', ',']) {
            let parts = parameter.trim().split_once(": ");
            found.extend(
                parts
                    .filter(|(name, kind)| is_quantity(name) && is_float(kind))
                    .map(|(name, _)| (*name).to_owned()),
            );
        }
    }
    found
}

/// Nothing keeps a bare float of milliseconds from being taken for seconds.
#[test]
fn a_quantity_has_its_type_of_the_units_room() {
    let found: BTreeMap<String, Vec<String>> = sources()
        .into_iter()
        .map(|(name, text)| (name, bare_floats(&text)))
        .filter(|(_, floats)| !floats.is_empty())
        .collect();
    let counts: BTreeMap<&str, usize> = found
        .iter()
        .map(|(name, floats)| (name.as_str(), floats.len()))
        .collect();
    let known: BTreeMap<&str, usize> = BARE_FLOATS
        .iter()
        .map(|(name, count, _)| (*name, *count))
        .collect();
    assert_eq!(
        counts, known,
        "{found:#?}\na quantity has a type of the units room (`Milliseconds`, `Seconds`, `Cents`, \
         `FullScale`, `Hertz`); where one has got its type, its file's number in `BARE_FLOATS` goes down"
    );
}

/// The check itself: fields, parameters and results, bare and typed, also where a line is broken.
#[test]
fn bare_floats_are_seen_in_fields_and_functions() {
    let text = "struct A {\n    pub start_s: f64,\n    pub end_s: Seconds,\n    pub share: f64,\n    \
                pub lead_ms: Option<f64>,\n}\npub fn cut(\n    at_s: f64,\n    name: &str,\n) -> f64 {\n\
                pub fn length_ms(&self) -> f64 {\npub fn beat(self) -> Millis {";
    assert_eq!(
        bare_floats(text),
        ["start_s", "lead_ms", "at_s", "length_ms"]
    );
}

/// What the check reads of a file, held to samples: groups, `super::super::`, names that are handed
/// on, and paths written out in code.
#[test]
fn paths_are_seen_however_they_are_written() {
    let module: Vec<String> = ["screen", "parts", "line"].map(str::to_owned).to_vec();
    let text = "use crate::{app::Model, score::{Score, NoteId as Id}};\n\
                use super::super::super::live::Player;\npub(super) use super::words;\n\
                use std::fmt::{self, Write};\nfn f() -> crate::journal::Journal { super::g(self::h) }";
    let found: Vec<String> = named(text, &module, &BTreeSet::new())
        .iter()
        .map(|named| {
            format!(
                "{}{}",
                named.path.join("::"),
                if named.handed_on { " on" } else { "" }
            )
        })
        .collect();
    assert_eq!(
        found,
        [
            "app::Model",
            "score::Score",
            "score::NoteId",
            "live::Player",
            "screen::parts::words on",
            "journal::Journal",
            "screen::parts::g",
            "screen::parts::line::h",
        ]
    );
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
        let edge = ["commands/", "services/", "live/"]
            .iter()
            .any(|place| name.starts_with(place));
        assert!(
            edge || !(text.contains("SystemTime::now") || text.contains("Instant::now")),
            "{name} reads the clock"
        );
    }
}

/// Where systems differ, each difference in one file; what is compiled for one system only is seen
/// nowhere else, and would be looked for in vain.
const DIFFERENCES: &[&str] = &[
    "journal/store.rs",
    "live/device.rs",
    "live/priority.rs",
    "live/quiet.rs",
    "services/output.rs",
    "services/signals.rs",
];

#[test]
fn differences_of_systems_stand_where_they_are_listed() {
    let mut found = BTreeSet::new();
    for (name, text) in sources() {
        let program = text.split("\nmod tests {").next().unwrap_or_default();
        let differs = program
            .lines()
            .filter(|line| line.contains("cfg") && !line.trim_start().starts_with("//"))
            .any(|line| {
                line.contains("unix") || line.contains("windows") || line.contains("target_os")
            });
        if differs && !program.contains("#[cfg(unix)]\n    #[test]") {
            found.insert(name);
        }
    }
    let listed: BTreeSet<String> = DIFFERENCES.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(
        found, listed,
        "DEVELOPERS.md has the list, with what differs"
    );
}
