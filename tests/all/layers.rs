//! The layer rule, checked by the `use` lines: a room imports only lower rooms, and each outside
//! library is known only to its own room.

mod house;
mod quantities;
mod sizes;

use house::{House, is_word, sources};
use std::collections::{BTreeMap, BTreeSet};

/// The rooms with their layers.
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

/// The libraries, with the files that may name each.
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

fn layer(room: &str) -> Option<u8> {
    LAYERS
        .iter()
        .find(|(name, _)| *name == room)
        .map(|(_, layer)| *layer)
}

/// The advice for a room that imports a higher one.
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
            // a name that the crate re-exports comes from a room too
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

/// Files that name each other in a circle can only be read all at once.
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

/// The models of the pages. Their room changes them, and all others only read them.
const MODELS: &[(&str, &str)] = &[
    ("app/blowing.rs", "Blowing"),
    ("app/choose.rs", "Choose"),
    ("app/discriminating.rs", "Discriminating"),
    ("app/first.rs", "FirstStart"),
    ("app/goal.rs", "Goal"),
    ("app/model.rs", "Model"),
    ("app/practising.rs", "Practising"),
    ("app/session.rs", "Session"),
    ("app/warming.rs", "Warming"),
];

/// A view or command that could write the model would be a second place where it changes.
#[test]
fn only_its_room_writes_the_model() {
    let sources = sources();
    for (file, model) in MODELS {
        let found = sources.iter().find(|(name, _)| name == file);
        let (_, text) = found.expect("its file");
        let begins = format!("pub struct {model} {{");
        let (_, rest) = text.split_once(&begins).expect("the model");
        let (fields, _) = rest.split_once("\n}").expect("its end");
        assert!(!fields.contains("\n    pub "), "{model}:{fields}");
    }
}

/// Two types with the same name differ only by their imports, which a reader does not see.
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

/// A room of the core that is named by its package would escape the check above.
#[test]
fn rooms_of_the_core_are_named_like_the_others() {
    for (name, text) in sources() {
        assert!(
            name == "lib.rs" || !text.contains("gracerung_core"),
            "{name}: write `crate::` for `gracerung_core::`"
        );
    }
}

/// Every room must have a layer, so a new one must be added to the table.
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

/// A library that is named in two rooms cannot be replaced in an hour.
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

/// Only the outermost rooms may read the wall clock.
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

/// The files in which operating systems differ. Code for one system is not compiled on the others,
/// so each difference is kept in one known file.
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
