//! A time, a pitch or a level has a type of the units room. This lists the public items that still
//! use a bare float, and why.

use super::house::{is_word, sources};
use std::collections::BTreeMap;

/// Public fields and functions that hold a time, a pitch or a level as a bare float, by file: how
/// many, and the reason. Everything else has a type of the units room.
const BARE_FLOATS: &[(&str, usize, &str)] = &[
    ("app/place.rs", 1, "a beat to be drawn, never to be played"),
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

/// True for a name that states a quantity, by a unit at its end or as a whole.
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

/// Nothing prevents a bare float of milliseconds from being used as seconds.
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

/// Checks the check itself with fields, parameters and results, bare and typed, even where a line
/// is broken.
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
