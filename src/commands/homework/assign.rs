//! `assign`: homework that a teacher gives.

use super::plain;
use crate::commands::{Outcome, Ran, today};
use crate::homework::{Assignment, Task, goal_in, write_assignment};
use crate::planning::Criterion;
use crate::services::{Failure, open, output, plan};
use crate::wording;
use jiff::civil::Date;
use std::path::PathBuf;

/// Arguments of `assign`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung assign grip-from-d --to-reach \"real time at 66\" --by 2027-01-15 \\\n    \
    --note \"listen to the B gracenote\" -o week3.yaml\n  \
    gracerung assign birl grip --until \"9 of 10\" -o week4.yaml\n\n\
    Reached means: cleared at the first rung from the tempo up. The file holds the drills \
    themselves and a checksum; nothing is sent anywhere."
)]
pub(crate) struct Arguments {
    /// Drills, by name or path.
    #[arg(required = true, value_name = "DRILL")]
    drills: Vec<String>,
    /// Stage and rung to reach, such as "real time at 66" or "closing up at 104 ms"; else the top of
    /// the stage that goes highest.
    #[arg(long, value_name = "GOAL")]
    to_reach: Option<String>,
    /// What counts: "5 in a row", "9 of 10", "80 % sure of 80 %"; else the drill's own number in a row.
    #[arg(long, value_name = "WHAT", value_parser = criterion)]
    until: Option<Criterion>,
    /// By when, such as 2027-01-15.
    #[arg(long, value_name = "DATE", value_parser = today::day)]
    by: Option<Date>,
    /// Your words to the student.
    #[arg(long)]
    note: Option<String>,
    /// What it is called; else the file's name.
    #[arg(long)]
    title: Option<String>,
    /// For whom, as it is to stand there; once for each.
    #[arg(long = "for", value_name = "NAME")]
    whom: Vec<String>,
    /// The file.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Replace the file when it exists.
    #[arg(long)]
    force: bool,
}

fn criterion(text: &str) -> Result<Criterion, String> {
    Criterion::parse(text).map_err(|error| error.to_string())
}

/// Runs `assign`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    output::ready_to_write(&arguments.output, arguments.force)?;
    let mut tasks = Vec::new();
    for wanted in &arguments.drills {
        let (opened, text) = open::open_text(wanted)?;
        let known = plan::known(&opened);
        goal_in(&known, arguments.to_reach.as_deref())
            .map_err(|error| Failure(error.to_string()))?;
        tasks.push(Task {
            drill: opened.name,
            reach: arguments.to_reach.clone(),
            until: arguments.until.map(|until| until.to_string()),
            file: text,
        });
    }
    let stem = arguments
        .output
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned());
    let assignment = Assignment {
        homework: 1,
        title: plain(
            "title",
            &arguments.title.clone().or(stem).unwrap_or_default(),
        )?,
        whom: arguments
            .whom
            .iter()
            .map(|name| plain("name", name))
            .collect::<Result<_, _>>()?,
        given: plan::date(),
        by: arguments.by,
        note: arguments
            .note
            .as_deref()
            .map(|note| plain("note", note))
            .transpose()?,
        tasks,
    };
    let text = write_assignment(&assignment).map_err(Failure)?;
    output::write_bytes(&arguments.output, arguments.force, text.as_bytes())?;
    output::print(&format!(
        "{}: {}; the student opens it with `gracerung practise {0}`\n",
        arguments.output.display(),
        wording::count(assignment.tasks.len(), "drill", "drills"),
    ))?;
    Ok(Outcome::Done)
}
