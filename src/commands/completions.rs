//! `completions`: prints what a shell needs to complete the command line, with the names of drills,
//! movements, schools and stages.

use super::{Cli, Outcome, Ran, groups};
use crate::movement::{Movement, SCHOOLS};
use crate::services::{Failure, library, open, output};
use clap::CommandFactory;
use clap_complete::engine::{
    ArgValueCandidates, ArgValueCompleter, CompletionCandidate, PathCompleter, ValueCompleter as _,
};
use clap_complete::env::{CompleteEnv, Shells};
use std::ffi::{OsStr, OsString};

/// Arguments of `completions`.
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  gracerung completions bash > ~/.local/share/bash-completion/completions/gracerung\n\n\
    The script asks the program, so that it completes the names of your own drills too."
)]
pub(crate) struct Arguments {
    /// Which shell.
    #[arg(value_parser = ["bash", "elvish", "fish", "powershell", "zsh"])]
    shell: String,
}

/// The environment variable through which a completion script names its shell. It begins with an
/// underscore, which no variable of a setting does.
const VARIABLE: &str = "_GRACERUNG_COMPLETE";

/// Runs `completions`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let shells = Shells::builtins();
    let shell = shells
        .completer(&arguments.shell)
        .ok_or_else(|| Failure(format!("`{}` is no shell known here", arguments.shell)))?;
    let mut script = Vec::new();
    shell
        .write_registration(VARIABLE, "gracerung", "gracerung", "gracerung", &mut script)
        .map_err(|error| Failure(format!("cannot write the script: {error}")))?;
    output::print(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Done)
}

/// Answers a shell that asks for candidates. Returns true where a shell asked.
pub(crate) fn answered(words: &[OsString]) -> bool {
    if std::env::var_os(VARIABLE).is_none() {
        return false;
    }
    let here = std::env::current_dir().ok();
    CompleteEnv::with_factory(command)
        .var(VARIABLE)
        .bin("gracerung")
        .completer("gracerung")
        .try_complete(words.iter().cloned(), here.as_deref())
        .unwrap_or(true)
}

/// The command line, with the candidates for each argument that takes a name.
fn command() -> clap::Command {
    let names: Vec<&str> = groups::GROUPS
        .iter()
        .flat_map(|group| group.commands)
        .copied()
        .collect();
    names.into_iter().fold(Cli::command(), |all, name| {
        all.mut_subcommand(name, |one| one.mut_args(|place| named(name, place)))
    })
}

/// An argument of a subcommand with its candidates, chosen by the argument's placeholder in the
/// help.
fn named(command: &str, place: clap::Arg) -> clap::Arg {
    let called = place
        .get_value_names()
        .and_then(|names| names.first())
        .map(ToString::to_string)
        .unwrap_or_default();
    match (command, place.get_id().as_str(), called.as_str()) {
        (_, _, "DRILL") | ("tune" | "check", "file" | "files", _) | ("listen", "drill", _) => {
            place.add(ArgValueCompleter::new(drills_and_files))
        }
        ("progress", "what", _) => place.add(ArgValueCandidates::new(|| {
            drill_names().into_iter().chain(movements()).collect()
        })),
        ("drills", "show", _) => place.add(ArgValueCandidates::new(|| {
            crate::drill::BUILT_IN
                .iter()
                .filter_map(|drill| candidate(drill.name))
                .collect()
        })),
        (_, _, "MOVEMENT") | ("movements", "words", _) => {
            place.add(ArgValueCandidates::new(movements))
        }
        (_, "school", _) => place.add(ArgValueCandidates::new(|| {
            SCHOOLS
                .iter()
                .filter_map(|school| candidate(school.name))
                .collect()
        })),
        (_, "stage", _) => place.add(ArgValueCandidates::new(stages)),
        _ => place,
    }
}

/// A name as a candidate; none where it contains a control character, which a terminal would obey.
fn candidate(name: &str) -> Option<CompletionCandidate> {
    let plain = !name.contains(crate::wording::is_unseen);
    plain.then(|| CompletionCandidate::new(name))
}

fn drill_names() -> Vec<CompletionCandidate> {
    library::names()
        .iter()
        .filter_map(|name| candidate(name))
        .collect()
}

/// The names of drills, and files. A word that looks like a path gets files only.
fn drills_and_files(word: &OsStr) -> Vec<CompletionCandidate> {
    let text = word.to_string_lossy();
    let begins =
        |one: &CompletionCandidate| one.get_value().to_string_lossy().starts_with(text.as_ref());
    let mut found: Vec<CompletionCandidate> = drill_names().into_iter().filter(begins).collect();
    found.extend(PathCompleter::file().complete(word));
    found
}

fn movements() -> Vec<CompletionCandidate> {
    ["crossings"]
        .into_iter()
        .chain(Movement::all().map(Movement::name))
        .filter_map(candidate)
        .collect()
}

/// The stages of the first drill that is named on the line.
fn stages() -> Vec<CompletionCandidate> {
    let words = std::env::args_os().skip_while(|word| word != "--").skip(3);
    let opened = words
        .filter_map(|word| word.into_string().ok())
        .filter(|word| !word.is_empty() && !word.starts_with('-'))
        .find_map(|word| open::open(&word).ok());
    let stages = opened.map(|opened| opened.drill.stages).unwrap_or_default();
    stages
        .iter()
        .filter_map(|stage| candidate(&stage.name))
        .collect()
}
