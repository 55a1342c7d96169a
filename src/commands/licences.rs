//! `licences`: shows the licences of the program, its fonts and its libraries.

use super::{Outcome, Ran};
use crate::engraving::font::FONT_LICENCES;
use crate::services::output;
use serde::Serialize;
use std::fmt::Write as _;

/// Arguments of `licences`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung licences\n  gracerung licences --libraries | less\n  \
    gracerung licences --libraries --json"
)]
pub(crate) struct Arguments {
    /// The libraries too: the licence of each with its notices, and the licences' texts.
    #[arg(long)]
    libraries: bool,
    /// Print name, version and licence of each library as JSON.
    #[arg(long, requires = "libraries")]
    json: bool,
}

/// A library that is part of the program.
#[derive(Serialize)]
struct Library<'a> {
    name: &'a str,
    version: &'a str,
    licence: &'a str,
}

const OWN: &str = include_str!("../../LICENSE");
/// The list of libraries with their licences. `licences/collect.py` writes it.
const LIBRARIES: &str = include_str!("../../licences/libraries.txt");

/// Runs `licences`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if arguments.json {
        let all: Vec<Library<'_>> = LIBRARIES.lines().filter_map(library).collect();
        output::print_json(&all)?;
        return Ok(Outcome::Done);
    }
    let mut text = heading("gracerung", OWN);
    for (font, licence) in FONT_LICENCES {
        text += &heading(font, licence);
    }
    if arguments.libraries {
        text += &heading("Libraries", LIBRARIES);
    } else {
        let count = LIBRARIES.lines().filter_map(library).count();
        let _ = writeln!(
            text,
            "{count} libraries are in the program, each under terms of its own: \
             `gracerung licences --libraries` prints them."
        );
    }
    output::print(&text)?;
    Ok(Outcome::Done)
}

fn heading(name: &str, text: &str) -> String {
    format!(
        "{name}\n{}\n\n{}\n\n",
        "-".repeat(name.chars().count()),
        text.trim()
    )
}

/// Reads a row such as `serde 1.0.229: MIT OR Apache-2.0`.
fn library(line: &str) -> Option<Library<'_>> {
    let (named, licence) = line.split_once(": ")?;
    let (name, version) = named.split_once(' ')?;
    let plain = |sign: char| sign.is_ascii_alphanumeric() || "-_".contains(sign);
    let is_row = name.chars().all(plain) && version.starts_with(|sign: char| sign.is_ascii_digit());
    is_row.then_some(Library {
        name,
        version,
        licence,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// A library without its notices would be distributed against its terms. Every library that the
    /// program itself depends on must be in the list, and every listed library must be in the lock
    /// file in the same version. A library that only another library depends on may be missing
    /// here; `.ci/run` writes the list again and compares.
    #[test]
    fn the_list_of_libraries_is_that_of_the_lock_file() {
        let lock = include_str!("../../Cargo.lock");
        let field = |part: &str, name: &str| {
            let line = part.lines().find_map(|line| line.strip_prefix(name));
            line.map(|value| value.trim_matches([' ', '=', '"']).to_owned())
        };
        let locked: BTreeSet<(String, String)> = lock
            .split("[[package]]")
            .filter(|part| part.contains("\nsource ="))
            .filter_map(|part| Some((field(part, "name")?, field(part, "version")?)))
            .collect();
        let listed: BTreeSet<(String, String)> = LIBRARIES
            .lines()
            .filter_map(library)
            .map(|one| (one.name.to_owned(), one.version.to_owned()))
            .collect();
        let stale: Vec<_> = listed.difference(&locked).collect();
        assert!(
            stale.is_empty(),
            "{stale:?}: run `python3 licences/collect.py`"
        );
        assert!(listed.len() > 200);
        // the libraries that the program itself depends on
        let wanted = include_str!("../../Cargo.toml");
        let own = wanted.split("\n[dependencies]").nth(1).unwrap_or_default();
        let own = own.split("\n[dev-dependencies]").next().unwrap_or_default();
        let names: Vec<&str> = own
            .lines()
            .filter(|line| !line.starts_with(['#', '[', ' ']))
            .filter_map(|line| Some(line.split(['=', '.']).next()?.trim()))
            .filter(|name| !name.is_empty() && !name.starts_with("gracerung"))
            .collect();
        assert!(names.len() > 20, "{names:?}");
        for name in names {
            assert!(
                listed.iter().any(|(own, _)| own == name),
                "{name} is not in the list"
            );
        }
    }
}
