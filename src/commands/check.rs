//! `check`: reads drill files and reports every problem in them.

use super::{Outcome, Ran};
use crate::drill::{
    Drill, MOST_SHOWN, Place, Problem, ProblemKind, Severity, how_many, more, render,
};
use crate::practice::ladder::climbs;
use crate::score::resolve_music;
use crate::services::{
    Failure,
    drill_files::{Source, read_source},
    finding, homework, output,
};
use crate::timeline::{Layout, lay};
use crate::units::{Beats, SampleRate};
use crate::wording;
use serde::Serialize;
use std::path::PathBuf;

/// Arguments of `check`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung check my-drill.yaml\n  gracerung check drills/*.yaml\n  gracerung check grip-from-d\n\n\
                        Exit 0: no problem. Exit 1: problems were found. Exit 2: a file cannot be read."
)]
pub(crate) struct Arguments {
    /// Drill files, homework and reports; drills by name too.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Print the problems as JSON.
    #[arg(long)]
    json: bool,
}

/// A problem in the form for other programs.
#[derive(Serialize)]
struct ProblemRow {
    file: String,
    line: usize,
    column: usize,
    severity: &'static str,
    message: String,
    mend: Option<String>,
}

/// Runs `check`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let mut rows = Vec::new();
    let mut found = 0;
    let mut failed = None;
    for file in &arguments.files {
        if let Some(checked) = homework::checked(file) {
            let shown = file.display().to_string();
            match checked {
                Ok(_) if arguments.json => {}
                Ok(what) => output::print(&format!("{shown}: {what}, no problem\n"))?,
                Err(message) => {
                    found += 1;
                    if arguments.json {
                        rows.push(whole_file(shown, message));
                    } else {
                        output::print(&format!("{shown}: {message}\n{shown}: 1 problem\n"))?;
                    }
                }
            }
            continue;
        }
        let named = file.to_string_lossy();
        let read = if file.exists() {
            read_source(file)
        } else {
            finding::find(&named).map(|(_, source)| source)
        };
        let mut source = match read {
            Ok(source) => source,
            Err(failure) => {
                if arguments.files.len() == 1 {
                    return Err(failure);
                }
                output::complain(&failure.0);
                failed = Some(failure);
                continue;
            }
        };
        if let Some(drill) = &source.drill {
            source.problems.extend(crowding(drill));
        }
        let errors = source
            .problems
            .iter()
            .filter(|problem| problem.severity() == Severity::Error)
            .count();
        found += errors;
        if arguments.json {
            let first = source.problems.iter().take(MOST_SHOWN);
            rows.extend(first.map(|problem| row(&source.shown, problem)));
            let more = more(&source.problems);
            rows.extend(more.map(|more| whole_file(source.shown.clone(), more)));
            continue;
        }
        output::print(&render(&source.shown, &source.text, &source.problems))?;
        output::print(&verdict(&source))?;
    }
    if arguments.json {
        output::print_json(&rows)?;
    }
    match failed {
        Some(_) => Err(Failure("not every file could be read".to_owned())),
        None if found > 0 => Ok(Outcome::Findings),
        None => Ok(Outcome::Done),
    }
}

/// One line about a file: what it holds and how many problems it has.
fn verdict(source: &Source) -> String {
    match &source.drill {
        Some(drill) => format!(
            "{}: {} with {}{}, {}\n",
            source.shown,
            drill.title,
            wording::count(drill.stages.len(), "stage", "stages"),
            drill
                .pointing()
                .map_or_else(String::new, |pointing| format!(", {pointing}")),
            match source.problems.len() {
                0 => "no problem".to_owned(),
                notes => format!("{}, no problem", wording::count(notes, "note", "notes")),
            }
        ),
        None => format!("{}: {}\n", source.shown, how_many(&source.problems)),
    }
}

fn whole_file(file: String, message: String) -> ProblemRow {
    ProblemRow {
        file,
        line: 0,
        column: 1,
        severity: "error",
        message,
        mend: None,
    }
}

fn row(file: &str, problem: &Problem) -> ProblemRow {
    ProblemRow {
        file: file.to_owned(),
        line: problem.place.line,
        column: problem.place.column,
        severity: match problem.severity() {
            Severity::Error => "error",
            Severity::Note => "note",
        },
        message: problem.says(),
        mend: problem.kind.mend(),
    }
}

/// A problem for each stage whose movements have too little time at the top of the ladder.
fn crowding(drill: &Drill) -> Vec<Problem> {
    let place = Place {
        line: 1,
        column: 1,
        width: 1,
    };
    let mut problems = Vec::new();
    for (stage, rungs) in drill.stages.iter().zip(climbs(drill)) {
        let score = resolve_music(&stage.music, Beats::ZERO, &drill.schools);
        let crowded = rungs.iter().find_map(|rung| {
            let layout = Layout {
                lengths: rung.lengths(drill.lengths),
                ..Layout::at(rung.tempo(), SampleRate::USUAL)
            };
            let crowded = lay(&score, &layout).crowded.len();
            (crowded > 0).then_some((rung.tempo(), crowded))
        });
        if let Some((tempo, notes)) = crowded {
            problems.push(Problem::new(
                place,
                ProblemKind::Crowded {
                    stage: stage.name.clone(),
                    notes,
                    tempo: tempo.to_string(),
                },
            ));
        }
    }
    problems
}
