//! The modules of the program and the paths that each names, read from the source text.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

pub(super) fn files(folder: &Path, found: &mut Vec<PathBuf>) {
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

pub(super) fn sources() -> Vec<(String, String)> {
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
            // rooms of the core are named like all others
            let name = name.strip_prefix("core/").unwrap_or(&name).to_owned();
            (name, code(path))
        })
        .collect()
}

/// The file's module: `drill/read/fields.rs` is `drill::read::fields`, `drill/mod.rs` is `drill`.
fn module_of(name: &str) -> Vec<String> {
    let stem = name.trim_end_matches(".rs").trim_end_matches("/mod");
    match stem {
        "lib" | "main" => Vec::new(),
        stem => stem.split('/').map(str::to_owned).collect(),
    }
}

/// A path that code names, and whether it is re-exported (`pub use`).
pub(super) struct Named {
    pub(super) path: Vec<String>,
    /// The name that the path has in this module.
    called: String,
    pub(super) handed_on: bool,
}

pub(super) fn is_word(sign: char) -> bool {
    sign.is_ascii_alphanumeric() || sign == '_'
}

/// The paths from a place of a text on: `a::{b, c::{d, e as f}}` gives `a::b`, `a::c::d` and
/// `a::c::e`, the last under the name `f`. Returns the place where they end.
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
            // a glob import or a turbofish
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

/// Every path of this crate that the code names, in `use` lines or written out. `children` are the
/// modules below this one, which `use child::X` may mean.
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
pub(super) struct House {
    pub(super) files: BTreeMap<Vec<String>, String>,
    pub(super) named: BTreeMap<String, Vec<Named>>,
}

impl House {
    pub(super) fn seen() -> Self {
        let sources = sources();
        // modules that exist only for tests
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

    /// The file that defines the last name of a path, followed through re-exports.
    pub(super) fn file_of(&self, path: &[String], steps: usize) -> Option<&str> {
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

/// Samples for the parsing of paths: groups, `super::super::`, re-exported names, and paths written
/// out in code.
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
