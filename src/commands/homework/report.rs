//! `report`: writes the report that a student sends back.

use super::{carried, plain, ready};
use crate::commands::{Outcome, Ran};
use crate::homework::{
    Assignment, HomeworkQuestion, LARGEST_FILE, Report, checksum, goal_in, read_assignment,
    report_drill, words_of, write_report,
};
use crate::planning::Digest;
use crate::services::homework::{drill_of, told, until_of};
use crate::services::{Failure, files, needs, output, plan, settings};
use crate::settings::keys;
use crate::wording;
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// Arguments of `report`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung report week3.yaml -o report.yaml\n  \
    gracerung report week3.yaml --name Isla --question \"which finger for the B?\" -o report.yaml\n\n\
    The report holds what was reached, marks by day and the two commonest faults; the best take of each \
    cell that you kept with `p` since the homework was given lies beside it as FLAC of at most 2 MB, \
    unless --no-takes. Nothing else about you goes along: a name only as you type it here or in the setting `name`. Nothing is sent anywhere."
)]
pub(crate) struct Arguments {
    /// The homework file.
    #[arg(value_name = "HOMEWORK")]
    file: PathBuf,
    /// Your name as the teacher shall read it; else the setting `name`; else unsigned.
    #[arg(long)]
    name: Option<String>,
    /// A question or a word to the teacher; once for each.
    #[arg(long, value_name = "TEXT")]
    question: Vec<String>,
    /// The words and questions you wrote while practising this homework go along.
    #[arg(long)]
    words: bool,
    /// A recording of yours that goes along beside the report, instead of kept takes: its file's name
    /// stands there.
    #[arg(long, value_name = "FILE", conflicts_with = "no_takes")]
    take: Vec<PathBuf>,
    /// Leave the takes that you kept with `p` here; else the best of each cell goes along.
    #[arg(long)]
    no_takes: bool,
    /// The report's file.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Replace the file when it exists.
    #[arg(long)]
    force: bool,
}

/// Runs `report`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    ready(&arguments.output, arguments.force)?;
    let bytes = files::read_bytes(&arguments.file, LARGEST_FILE)?;
    let assignment = read_assignment(&bytes).map_err(|error| told(&arguments.file, &error))?;
    let own = settings::load(&[], &[needs::JUDGING, &[keys::NAME.id()]])?;
    let limits = settings::thresholds(&own, settings::tuning(&own).instrument);
    let mut journal = plan::journal()?;
    let digest = match &journal {
        Some(journal) => plan::digest_of(journal)?,
        None => Digest::default(),
    };
    let mut questions = Vec::new();
    for text in &arguments.question {
        questions.push(HomeworkQuestion {
            day: Some(plan::date()),
            about: None,
            text: plain("question", text)?,
        });
    }
    // practice from before the homework stays private; one earlier day counts, because the teacher
    // may live where the date is already a day ahead
    let from = assignment.given.yesterday().unwrap_or(assignment.given);
    let mut drills = Vec::new();
    let mut written = 0;
    for task in &assignment.tasks {
        let opened = drill_of(&arguments.file, task, None)?;
        let known = plan::known(&opened);
        let goal =
            goal_in(&known, task.reach.as_deref()).map_err(|error| Failure(error.to_string()))?;
        let until = until_of(&arguments.file, task)?;
        let entries = match &mut journal {
            Some(journal) => journal
                .read(&known.prints())
                .map_err(|error| Failure(error.to_string()))?,
            None => Vec::new(),
        };
        let mut own = words_of(&entries, &known, from);
        if assignment.tasks.len() > 1 {
            for word in &mut own {
                word.name_drill(&task.drill);
            }
        }
        written += own.len();
        if arguments.words {
            questions.extend(own);
        }
        drills.push(report_drill(
            &digest,
            &entries,
            &known,
            goal,
            until.as_ref(),
            &limits,
            from,
        ));
    }
    let takes = takes(arguments, &assignment, from)?;
    let name = arguments
        .name
        .clone()
        .unwrap_or_else(|| own.word(keys::NAME).to_owned());
    let report = Report {
        report: 1,
        title: assignment.title,
        homework: checksum(&bytes),
        from: (!name.trim().is_empty())
            .then(|| plain("name", name.trim()))
            .transpose()?,
        made: plan::date(),
        by: assignment.by,
        drills,
        questions,
        takes,
    };
    let text = write_report(&report).map_err(Failure)?;
    output::write_bytes(&arguments.output, arguments.force, text.as_bytes())?;
    let left_here = if arguments.words { 0 } else { written };
    output::print(&said_of(&report, &arguments.output, left_here))?;
    Ok(Outcome::Done)
}

/// The names of the recordings that are sent: those that were named, or else the best one of each
/// cell, which is written beside the report.
fn takes(
    arguments: &Arguments,
    assignment: &Assignment,
    from: Date,
) -> Result<Vec<String>, Failure> {
    let mut takes = Vec::new();
    for take in &arguments.take {
        if !take.is_file() {
            return Err(Failure(format!("there is no take `{}`", take.display())));
        }
        takes.extend(
            take.file_name()
                .map(|name| name.to_string_lossy().into_owned()),
        );
    }
    if arguments.take.is_empty() && !arguments.no_takes {
        let names: Vec<String> = assignment
            .tasks
            .iter()
            .map(|task| task.drill.clone())
            .collect();
        takes = carried::beside(&arguments.output, &names, from, arguments.force)?;
    }
    Ok(takes)
}

/// A summary of the report for the student who sends it. `left_here` is the number of remarks that
/// are not sent.
fn said_of(report: &Report, output: &Path, left_here: usize) -> String {
    use std::fmt::Write as _;
    let signed = report.from.as_ref().map_or_else(
        || "unsigned; --name signs it".to_owned(),
        |name| format!("signed {name}"),
    );
    let mut said = format!("{} ({signed})\n", output.display());
    for drill in &report.drills {
        let stands = match (&drill.reached, &drill.at) {
            (Some(day), _) => format!("reached {day}"),
            (None, Some(at)) => format!("not reached yet, now {at}"),
            (None, None) => "not begun".to_owned(),
        };
        let _ = writeln!(said, "  {}: {}: {stands}", drill.drill, drill.reach);
    }
    if left_here > 0 {
        let _ = writeln!(
            said,
            "  {} you wrote while practising stayed here; --words takes them along",
            wording::count(left_here, "remark", "remarks")
        );
    }
    if !report.takes.is_empty() {
        let _ = writeln!(
            said,
            "  {} beside it: {}; send them along, or --no-takes leaves them here",
            wording::count(report.takes.len(), "take lies", "takes lie"),
            wording::list(&report.takes)
        );
    }
    said
}
