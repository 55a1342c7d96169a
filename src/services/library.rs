//! The player's own drills and the built-in ones, as a list and as drills that can be played.
use super::{
    drill_files::{Opened, read_source_for, schools},
    folders,
};
use crate::drill::{BUILT_IN, Drill, Problem, read_for, render};
use crate::movement::Schools;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// A drill in the list.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Listed {
    /// The name that `practise` takes.
    pub(crate) name: String,
    /// The drill's title; the file's name where the file cannot be read.
    pub(crate) title: String,
    /// The purpose of the drill.
    pub(crate) about: Option<String>,
    /// The names of the drill's stages.
    pub(crate) stages: Vec<String>,
    /// The first and the last tempo, in beats a minute.
    pub(crate) tempi: Option<(String, String)>,
    /// The path of the file; null for a built-in drill.
    pub(crate) path: Option<PathBuf>,
    /// The number of problems that prevent playing.
    pub(crate) problems: usize,
    /// These problems in words.
    #[serde(skip)]
    pub(crate) told: Vec<String>,
    /// These problems with their lines and how to mend them.
    #[serde(skip)]
    pub(crate) in_full: String,
}

/// A drill of the list, with the drill itself.
pub(crate) struct OnShelf {
    /// The drill's line in the list.
    pub(crate) listed: Listed,
    /// The drill; none where it cannot be played.
    pub(crate) opened: Option<Opened>,
}

/// The player's own drills and the built-in ones, each read once, for a player of these schools. A
/// drill of the player's own hides a built-in one with the same name.
pub(crate) fn shelf(schools: &Schools) -> Vec<OnShelf> {
    let mut all = own(schools);
    for built in BUILT_IN {
        if all.iter().any(|one| one.listed.name == built.name) {
            continue;
        }
        let (drill, problems) = read_for(built.text.as_bytes(), schools);
        let listed = listed(built.name.to_owned(), None, drill.as_ref(), told(&problems));
        all.push(OnShelf::new(listed, drill));
    }
    all
}

impl OnShelf {
    fn new(listed: Listed, drill: Option<Drill>) -> Self {
        let name = listed.name.clone();
        Self {
            listed,
            opened: drill.map(|drill| Opened { name, drill }),
        }
    }
}

/// The list's lines of all drills.
pub(crate) fn list() -> Vec<Listed> {
    let all = shelf(&Schools::none()).into_iter();
    all.map(|one| one.listed).collect()
}

/// Every drill that can be played, in the order of the list, with the player's schools.
pub(crate) fn playable() -> Vec<Opened> {
    let all = shelf(&schools()).into_iter();
    all.filter_map(|one| one.opened).collect()
}

/// The extensions of a drill file.
const ENDINGS: [&str; 2] = ["yaml", "yml"];

/// The file of the drill with this name in a folder; none where there is no such file.
pub(crate) fn file_in(folder: &Path, name: &str) -> Option<PathBuf> {
    let plain = Path::new(name).file_name().is_some_and(|last| last == name);
    let files = ENDINGS.map(|ending| folder.join(format!("{name}.{ending}")));
    files.into_iter().find(|file| plain && file.is_file())
}

/// The drill files of a folder, sorted by name.
pub(crate) fn files_in(folder: &Path) -> Vec<PathBuf> {
    let is_drill = |path: &PathBuf| {
        let ending = path.extension().and_then(|ending| ending.to_str());
        ending.is_some_and(|ending| ENDINGS.contains(&ending)) && path.is_file()
    };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.path()).filter(is_drill).collect();
    paths.sort();
    paths
}

/// The player's own drill files, sorted by name.
fn own_files() -> Vec<PathBuf> {
    folders::own_drills().map_or_else(|_| Vec::new(), |folder| files_in(&folder))
}

/// The names of all drills, the player's own first. No file is read.
pub(crate) fn names() -> Vec<String> {
    let own = own_files();
    let own = own.iter().filter_map(|path| path.file_stem());
    let mut names: Vec<String> = own
        .map(|name| name.to_string_lossy().into_owned())
        .collect();
    for built in BUILT_IN {
        if !names.iter().any(|name| name == built.name) {
            names.push(built.name.to_owned());
        }
    }
    names
}

fn own(schools: &Schools) -> Vec<OnShelf> {
    own_files()
        .into_iter()
        .filter_map(|path| {
            let name = path.file_stem()?.to_string_lossy().into_owned();
            let source = read_source_for(&path, schools).ok()?;
            let problems = told(&source.problems);
            let mut one = listed(name, Some(path), source.drill.as_ref(), problems);
            if source.drill.is_none() {
                one.in_full = render(&source.shown, &source.text, &source.problems);
            }
            Some(OnShelf::new(one, source.drill))
        })
        .collect()
}

/// Each problem in words, with its line in the file.
fn told(problems: &[Problem]) -> Vec<String> {
    let words = |problem: &Problem| {
        let says = problem.says();
        match problem.place.line {
            0 => says,
            line => format!("line {line}: {says}"),
        }
    };
    problems.iter().map(words).collect()
}

fn listed(
    name: String,
    path: Option<PathBuf>,
    drill: Option<&Drill>,
    problems: Vec<String>,
) -> Listed {
    Listed {
        title: drill.map_or_else(|| name.clone(), |drill| drill.title.clone()),
        about: drill.and_then(|drill| drill.about.clone()),
        stages: drill
            .map(|drill| {
                drill
                    .stages
                    .iter()
                    .map(|stage| stage.name.clone())
                    .collect()
            })
            .unwrap_or_default(),
        tempi: drill.map(|drill| {
            (
                drill.ladder.from().to_string(),
                drill.ladder.to().to_string(),
            )
        }),
        problems: if drill.is_some() { 0 } else { problems.len() },
        told: if drill.is_some() {
            Vec::new()
        } else {
            problems
        },
        in_full: String::new(),
        name,
        path,
    }
}
