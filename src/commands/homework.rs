//! `assign`, `report`, `review`; and homework opened like a drill.

use super::open::{self, Opened};
use super::{Failure, Outcome, Ran, folders, output, plan, settings, today};
use crate::drill::{read, render};
use crate::homework::{
    Assignment, HomeworkError, LARGEST_FILE, Question, Report, Row, Task, goal_in, kind_of, page,
    reached, read_assignment, read_report, report_drill, rows, write_assignment, write_report,
};
use crate::planning::{Criterion, Digest, Due};
use crate::practice::Kind;
use crate::wording;
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// Arguments of `assign`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung assign grip-from-d --to-reach \"real time at 66\" --by 2027-01-15 \\\n    \
    --note \"listen to the B gracenote\" -o week3.yaml\n  \
    gracerung assign birl grip --until \"9 of 10\" -o week4.yaml\n\n\
    Reached means: cleared at the first rung from the tempo up. The file holds the drills \
    themselves and a checksum; nothing is sent anywhere."
)]
pub(crate) struct AssignArguments {
    /// Drills, by name or path.
    #[arg(required = true, value_name = "DRILL")]
    drills: Vec<String>,
    /// Stage and tempo to reach, such as "real time at 66"; else the top of the last stage.
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

/// A text without signs that would upset a terminal or a page.
fn plain(what: &str, text: &str) -> Result<String, Failure> {
    if text
        .chars()
        .any(|sign| sign.is_control() && sign != '\n' && sign != '\t')
    {
        return Err(Failure(format!(
            "the {what} contains a control character: take it away"
        )));
    }
    if text.chars().count() > 4000 {
        return Err(Failure(format!(
            "the {what} has more than 4000 characters: make it shorter"
        )));
    }
    Ok(text.to_owned())
}

/// Runs `assign`.
pub(crate) fn assign(arguments: &AssignArguments) -> Ran {
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

fn told(path: &Path, error: &HomeworkError) -> Failure {
    Failure(format!("`{}`: {error}", path.display()))
}

/// A task's drill.
fn drill_of(path: &Path, task: &Task) -> Result<Opened, Failure> {
    let (drill, problems) = read(task.file.as_bytes());
    match drill {
        Some(drill) => Ok(Opened {
            name: task.drill.clone(),
            drill,
        }),
        None => {
            let shown = format!("{} in {}", task.drill, path.display());
            Err(Failure(render(&shown, &task.file, &problems)))
        }
    }
}

fn until_of(path: &Path, task: &Task) -> Result<Option<Criterion>, Failure> {
    task.until
        .as_deref()
        .map(Criterion::parse)
        .transpose()
        .map_err(|error| Failure(format!("`{}`: {error}", path.display())))
}

/// Opens a homework file like a drill: the named task, or the first that is not reached.
///
/// # Errors
/// A file that is damaged, edited or cut off; a task it does not have.
pub(crate) fn open_task(
    path: &Path,
    bytes: &[u8],
    wanted: Option<&str>,
) -> Result<Opened, Failure> {
    let assignment = read_assignment(bytes).map_err(|error| told(path, &error))?;
    if let Some(wanted) = wanted {
        let names = || assignment.tasks.iter().map(|task| task.drill.as_str());
        let Some(task) = assignment.tasks.iter().find(|task| task.drill == wanted) else {
            return Err(Failure(format!(
                "`{}` has no drill `{wanted}`: expected {}",
                path.display(),
                wording::choice(&names().map(|name| format!("`{name}`")).collect::<Vec<_>>())
            )));
        };
        return drill_of(path, task);
    }
    let digest = plan::digest()?;
    let mut first = None;
    for task in &assignment.tasks {
        let opened = drill_of(path, task)?;
        let known = plan::known(&opened);
        let goal =
            goal_in(&known, task.reach.as_deref()).map_err(|error| Failure(error.to_string()))?;
        if reached(&digest, &known, goal, until_of(path, task)?.as_ref()).is_none() {
            return Ok(opened);
        }
        first.get_or_insert(opened);
    }
    first.ok_or_else(|| Failure(format!("`{}` holds no drill", path.display())))
}

/// Opens what `practise` was given where it is homework, and keeps a copy so that `today` knows of
/// it; nothing for a drill.
///
/// # Errors
/// As [`open_task`].
pub(crate) fn begin(wanted: &str, task: Option<&str>) -> Result<Option<Opened>, Failure> {
    let path = Path::new(wanted);
    let is_homework = |bytes: &Vec<u8>| kind_of(bytes).is_some();
    let bytes = path
        .is_file()
        .then(|| open::read_bytes(path, LARGEST_FILE))
        .transpose()?
        .filter(is_homework);
    let Some(bytes) = bytes else {
        return match task {
            None => Ok(None),
            Some(_) => Err(Failure(format!(
                "`{wanted}` is no homework file, so it has no --task"
            ))),
        };
    };
    let opened = open_task(path, &bytes, task)?;
    let folder = folders::homework()?;
    if let Some(name) = path.file_name()
        && std::fs::create_dir_all(&folder).is_ok()
    {
        let kept = folder.join(name);
        if std::fs::read(&kept).ok().as_deref() != Some(bytes.as_slice()) {
            // Without a copy `today` does not know of it; the practice itself goes on.
            let _ = output::write_bytes(&kept, true, &bytes);
        }
    }
    Ok(Some(opened))
}

/// Days after its last day that homework is still asked for. Chosen.
const ASKED_DAYS: i32 = 28;

/// Tasks of homework that was opened and is not reached.
pub(crate) fn open_tasks(digest: &Digest) -> Vec<Due> {
    let Ok(entries) = folders::homework()
        .and_then(|folder| std::fs::read_dir(folder).map_err(|error| Failure(error.to_string())))
    else {
        return Vec::new();
    };
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    let mut all = Vec::new();
    for path in paths {
        let Ok(bytes) = open::read_bytes(&path, LARGEST_FILE) else {
            continue;
        };
        let Ok(assignment) = read_assignment(&bytes) else {
            continue;
        };
        let over = assignment
            .by
            .and_then(|by| by.until(plan::date()).ok())
            .is_some_and(|span| span.get_days() > ASKED_DAYS);
        if over {
            continue;
        }
        for task in &assignment.tasks {
            let Ok(opened) = drill_of(&path, task) else {
                continue;
            };
            let drill = plan::known(&opened);
            let Ok(goal) = goal_in(&drill, task.reach.as_deref()) else {
                continue;
            };
            let until = until_of(&path, task).ok().flatten();
            if reached(digest, &drill, goal, until.as_ref()).is_none() {
                all.push(Due {
                    title: assignment.title.clone(),
                    open: path.display().to_string(),
                    by: assignment.by,
                    drill,
                    goal: (goal.stage, goal.tempo),
                });
            }
        }
    }
    all
}

/// Arguments of `report`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung report week3.yaml -o report.yaml\n  \
    gracerung report week3.yaml --name Isla --question \"which finger for the B?\" -o report.yaml\n\n\
    The report holds what was reached, marks by day and the two commonest faults, and nothing else \
    about you: a name only as you type it here or in the setting `name`. Nothing is sent anywhere."
)]
pub(crate) struct ReportArguments {
    /// The homework file.
    #[arg(value_name = "HOMEWORK")]
    file: PathBuf,
    /// Your name as the teacher shall read it; else the setting `name`; else unsigned.
    #[arg(long)]
    name: Option<String>,
    /// A question or a word to the teacher; once for each.
    #[arg(long, value_name = "TEXT")]
    question: Vec<String>,
    /// The words you put beside marks of these drills go along.
    #[arg(long)]
    words: bool,
    /// A kept take that goes along beside the report: its file's name stands there.
    #[arg(long, value_name = "FILE")]
    take: Vec<PathBuf>,
    /// The report's file.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Replace the file when it exists.
    #[arg(long)]
    force: bool,
}

/// Runs `report`.
pub(crate) fn report(arguments: &ReportArguments) -> Ran {
    output::ready_to_write(&arguments.output, arguments.force)?;
    let bytes = open::read_bytes(&arguments.file, LARGEST_FILE)?;
    let assignment = read_assignment(&bytes).map_err(|error| told(&arguments.file, &error))?;
    let own = settings::load(&[])?;
    let limits = settings::thresholds(&own);
    let mut journal = plan::journal()?;
    let digest = match &journal {
        Some(journal) => plan::digest_of(journal)?,
        None => Digest::default(),
    };
    let mut questions = Vec::new();
    for text in &arguments.question {
        questions.push(Question {
            day: Some(plan::date()),
            text: plain("question", text)?,
        });
    }
    let mut drills = Vec::new();
    for task in &assignment.tasks {
        let opened = drill_of(&arguments.file, task)?;
        let known = plan::known(&opened);
        let goal =
            goal_in(&known, task.reach.as_deref()).map_err(|error| Failure(error.to_string()))?;
        let until = until_of(&arguments.file, task)?;
        let entries = match &mut journal {
            Some(journal) => journal
                .read(&known.stages)
                .map_err(|error| Failure(error.to_string()))?,
            None => Vec::new(),
        };
        if arguments.words {
            questions.extend(entries.iter().filter_map(|entry| match &entry.record.kind {
                Kind::Word { text, .. } => Some(Question {
                    day: None,
                    text: text.clone(),
                }),
                _ => None,
            }));
        }
        drills.push(report_drill(
            &digest,
            &entries,
            &known,
            goal,
            until.as_ref(),
            &limits,
        ));
    }
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
    let name = arguments
        .name
        .clone()
        .unwrap_or_else(|| own.word("name").to_owned());
    let report = Report {
        report: 1,
        title: assignment.title,
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
    let signed = report.from.as_ref().map_or_else(
        || "unsigned; --name signs it".to_owned(),
        |name| format!("signed {name}"),
    );
    let mut said = format!("{} ({signed})\n", arguments.output.display());
    for drill in &report.drills {
        let stands = match (&drill.reached, &drill.at) {
            (Some(day), _) => format!("reached {day}"),
            (None, Some(at)) => format!("not reached yet, now {at}"),
            (None, None) => "not begun".to_owned(),
        };
        use std::fmt::Write as _;
        let _ = writeln!(said, "  {}: {}: {stands}", drill.drill, drill.reach);
    }
    output::print(&said)?;
    Ok(Outcome::Done)
}

/// Arguments of `review`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung review reports/*.yaml\n  \
    gracerung review reports/*.yaml -o class.html\n\n\
    Exit 0: all read. Exit 1: some could not be read, each is told.")]
pub(crate) struct ReviewArguments {
    /// Reports.
    #[arg(required = true, value_name = "REPORT")]
    files: Vec<PathBuf>,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    /// Write a page for a browser that prints.
    #[arg(short, long, value_name = "FILE.html")]
    output: Option<PathBuf>,
    /// Replace the page when it exists.
    #[arg(long)]
    force: bool,
}

/// Runs `review`.
pub(crate) fn review(arguments: &ReviewArguments) -> Ran {
    if let Some(target) = &arguments.output {
        output::ready_to_write(target, arguments.force)?;
    }
    let mut reports = Vec::new();
    let mut broken = 0;
    for file in &arguments.files {
        let read = open::read_bytes(file, LARGEST_FILE)
            .and_then(|bytes| read_report(&bytes).map_err(|error| told(file, &error)));
        match read {
            Ok(report) => reports.push((file.display().to_string(), report)),
            Err(failure) => {
                output::complain(&failure.0);
                broken += 1;
            }
        }
    }
    let titles: std::collections::BTreeSet<&str> = reports
        .iter()
        .map(|(_, report)| report.title.as_str())
        .collect();
    let title = titles.into_iter().collect::<Vec<_>>().join(", ");
    let rows = rows(&reports);
    if arguments.json {
        output::print_json(&rows)?;
    } else {
        output::print(&table(&title, &rows))?;
    }
    if let Some(target) = &arguments.output {
        output::write_bytes(target, arguments.force, page(&title, &rows).as_bytes())?;
        if !arguments.json {
            output::print(&format!("\n{}\n", target.display()))?;
        }
    }
    if reports.is_empty() {
        return Err(Failure(
            "none of the files is a report that reads".to_owned(),
        ));
    }
    Ok(if broken > 0 {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

fn table(title: &str, rows: &[Row]) -> String {
    use std::fmt::Write as _;
    let who = |row: &Row| {
        let name = if row.from.is_empty() {
            &row.file
        } else {
            &row.from
        };
        name.chars()
            .filter(|sign| !sign.is_control())
            .collect::<String>()
    };
    let wide = |of: &dyn Fn(&Row) -> usize| rows.iter().map(of).max().unwrap_or(0).min(30);
    let names = wide(&|row| who(row).chars().count());
    let drills = wide(&|row| row.drill.chars().count());
    let mut text = format!("{title}\n");
    for row in rows {
        let sign = match (row.stuck, row.reached.is_some()) {
            (true, _) => '!',
            (_, true) => '✓',
            _ => '·',
        };
        let _ = writeln!(
            text,
            "{sign} {:names$}  {:drills$}  {}; lately {} of {} clean",
            who(row),
            row.drill,
            row.stands(),
            row.lately.clean,
            row.lately.of
        );
        for more in row.faults.iter().chain(&row.questions) {
            let more: String = more.chars().filter(|sign| !sign.is_control()).collect();
            let _ = writeln!(text, "  {:names$}  {:drills$}    {more}", "", "");
        }
    }
    text
}
