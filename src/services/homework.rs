//! Opens homework like a drill, and lists the homework tasks that are due for `today`.
use super::{Failure, drill_files::Opened, files, folders, output, plan};
use crate::app::HomeworkGoal;
use crate::drill::{read, render};
use crate::homework::{
    Assignment, HomeworkError, LARGEST_FILE, Task, WhatFile, goal_in, kind_of, reached,
    read_assignment, read_report,
};
use crate::planning::{Criterion, Digest, Due};
use crate::wording;
use std::path::{Path, PathBuf};

pub(crate) fn told(path: &Path, error: &HomeworkError) -> Failure {
    Failure(format!("`{}`: {error}", path.display()))
}

/// The answer of `check` for homework or a report: what the file holds, or what is wrong with it.
/// None for any other file.
pub(crate) fn checked(path: &Path) -> Option<Result<String, String>> {
    let bytes = files::read_bytes(path, LARGEST_FILE).ok()?;
    let drills = |count: usize| wording::count(count, "drill", "drills");
    let found = match kind_of(&bytes)? {
        WhatFile::Assignment => read_assignment(&bytes)
            .map(|homework| format!("homework of {}", drills(homework.tasks.len()))),
        WhatFile::Report => {
            read_report(&bytes).map(|report| format!("a report of {}", drills(report.drills.len())))
        }
    };
    Some(found.map_err(|error| error.to_string()))
}

/// The drill of a task. The teacher's note is added to what to listen for.
///
/// # Errors
/// The drill in the file has problems.
pub(crate) fn drill_of(path: &Path, task: &Task, note: Option<&str>) -> Result<Opened, Failure> {
    let (drill, problems) = read(task.file.as_bytes());
    match drill {
        Some(mut drill) => {
            if let Some(note) = note {
                let note = note.split_whitespace().collect::<Vec<_>>().join(" ");
                let with_note = |listen: &str| format!("{listen}; your teacher says: {note}");
                let stages = drill.stages.iter_mut();
                for listen in stages.filter_map(|stage| stage.listen_for.as_mut()) {
                    *listen = with_note(listen);
                }
                drill.listen_for = Some(match &drill.listen_for {
                    Some(listen) => with_note(listen),
                    None => format!("what your teacher says: {note}"),
                });
            }
            Ok(Opened {
                name: task.drill.clone(),
                drill,
            })
        }
        None => {
            let shown = format!("{} in {}", task.drill, path.display());
            Err(Failure(render(&shown, &task.file, &problems)))
        }
    }
}

pub(crate) fn until_of(path: &Path, task: &Task) -> Result<Option<Criterion>, Failure> {
    task.until
        .as_deref()
        .map(Criterion::parse)
        .transpose()
        .map_err(|error| Failure(format!("`{}`: {error}", path.display())))
}

/// A task of a homework file: the one with this name, or else the first whose goal is not reached.
fn choose_task<'a>(
    path: &Path,
    assignment: &'a Assignment,
    wanted: Option<&str>,
) -> Result<&'a Task, Failure> {
    if let Some(wanted) = wanted {
        let names = || assignment.tasks.iter().map(|task| task.drill.as_str());
        return assignment
            .tasks
            .iter()
            .find(|task| task.drill == wanted)
            .ok_or_else(|| {
                Failure(format!(
                    "`{}` has no drill `{wanted}`: expected {}",
                    path.display(),
                    wording::choice(&names().map(|name| format!("`{name}`")).collect::<Vec<_>>())
                ))
            });
    }
    let digest = plan::digest()?;
    for task in &assignment.tasks {
        let known = plan::known(&drill_of(path, task, None)?);
        let goal =
            goal_in(&known, task.reach.as_deref()).map_err(|error| Failure(error.to_string()))?;
        if reached(&digest, &known, goal, until_of(path, task)?.as_ref()).is_none() {
            return Ok(task);
        }
    }
    assignment
        .tasks
        .first()
        .ok_or_else(|| Failure(format!("`{}` holds no drill", path.display())))
}

/// Opens a homework file like a drill: the task with this name, or else the first whose goal is not
/// reached.
///
/// # Errors
/// The file is damaged, edited or cut off, or has no such task.
pub(crate) fn open_task(
    path: &Path,
    bytes: &[u8],
    wanted: Option<&str>,
) -> Result<Opened, Failure> {
    let assignment = read_assignment(bytes).map_err(|error| told(path, &error))?;
    let task = choose_task(path, &assignment, wanted)?;
    drill_of(path, task, assignment.note.as_deref())
}

/// The bytes of a homework file; none where the file is missing or is no homework.
fn homework_bytes(path: &Path) -> Result<Option<Vec<u8>>, Failure> {
    let is_homework = |bytes: &Vec<u8>| kind_of(bytes).is_some();
    path.is_file()
        .then(|| files::read_bytes(path, LARGEST_FILE))
        .transpose()
        .map(|bytes| bytes.filter(is_homework))
}

/// The drills of a homework file, in its order; none for any other file.
///
/// # Errors
/// The same as of [`open_task`].
pub(crate) fn drills_of(path: &Path) -> Result<Option<Vec<Opened>>, Failure> {
    let Some(bytes) = homework_bytes(path)? else {
        return Ok(None);
    };
    let assignment = read_assignment(&bytes).map_err(|error| told(path, &error))?;
    let note = assignment.note.as_deref();
    let drills = assignment
        .tasks
        .iter()
        .map(|task| drill_of(path, task, note));
    drills.collect::<Result<_, _>>().map(Some)
}

/// A task in words: `week 3, due 2027-01-15: reach real time at 66, 9 of 10; e shows your teacher's
/// words`.
fn in_words(assignment: &Assignment, task: &Task) -> String {
    let due = assignment
        .by
        .map_or_else(String::new, |by| format!(", due {by}"));
    let reach = task.reach.as_deref().unwrap_or("the top of the ladder");
    let until = task
        .until
        .as_ref()
        .map_or_else(String::new, |until| format!(", {until}"));
    let note = if assignment.note.is_some() {
        "; e shows your teacher's words"
    } else {
        ""
    };
    format!("{}{due}: reach {reach}{until}{note}", assignment.title)
}

/// Opens homework for `practise`, and keeps a copy so that `today` knows of it. None where a drill
/// is wanted.
///
/// # Errors
/// The same as of [`open_task`].
pub(crate) fn begin(wanted: &str, task: Option<&str>) -> Result<Option<Begun>, Failure> {
    let path = Path::new(wanted);
    let Some(bytes) = homework_bytes(path)? else {
        return match task {
            None => Ok(None),
            Some(_) => Err(Failure(format!(
                "`{wanted}` is no homework file, so it has no --task"
            ))),
        };
    };
    let assignment = read_assignment(&bytes).map_err(|error| told(path, &error))?;
    let task = choose_task(path, &assignment, task)?;
    let opened = drill_of(path, task, assignment.note.as_deref())?;
    let folder = folders::homework()?;
    if let Some(name) = path.file_name()
        && std::fs::create_dir_all(&folder).is_ok()
    {
        let kept = folder.join(name);
        if files::read_bytes(&kept, LARGEST_FILE).ok().as_deref() != Some(bytes.as_slice()) {
            // without a copy `today` does not know of the homework, but practice goes on
            let _ = output::write_bytes(&kept, true, &bytes);
        }
    }
    let known = plan::known(&opened);
    let goal = goal_in(&known, task.reach.as_deref()).ok();
    let until = until_of(path, task)?;
    Ok(Some(Begun {
        goal: goal.map(|(stage, rung)| HomeworkGoal {
            stage,
            rung,
            file: wanted.to_owned(),
            until,
        }),
        asks: in_words(&assignment, task),
        opened,
    }))
}

/// A homework task that was opened to be practised.
pub(crate) struct Begun {
    /// The task's drill.
    pub(crate) opened: Opened,
    /// The task in words.
    pub(crate) asks: String,
    /// The cell that is to be reached.
    pub(crate) goal: Option<HomeworkGoal>,
}

/// For how many days after its last day homework is still asked for. Chosen.
const ASKED_DAYS: i32 = 28;

/// Homework that was opened and is still of interest.
pub(crate) struct Kept {
    /// The copy that is kept of its file.
    pub(crate) path: PathBuf,
    /// Its title.
    pub(crate) title: String,
    /// The tasks that are not reached.
    pub(crate) open: Vec<Due>,
}

/// Homework that was opened, until it is out of date.
pub(crate) fn kept(digest: &Digest) -> Vec<Kept> {
    let Ok(entries) = folders::homework()
        .and_then(|folder| std::fs::read_dir(folder).map_err(|error| Failure(error.to_string())))
    else {
        return Vec::new();
    };
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    let read = |path: PathBuf| {
        let bytes = files::read_bytes(&path, LARGEST_FILE).ok()?;
        let assignment = read_assignment(&bytes).ok()?;
        let open = open_of(&path, &assignment, digest);
        let last_day = assignment.by.unwrap_or(assignment.given);
        let over = last_day.until(plan::date()).ok()?.get_days() > ASKED_DAYS;
        // without a last day it is asked for until it is reached
        if over && (assignment.by.is_some() || open.is_empty()) {
            return None;
        }
        Some(Kept {
            path,
            title: assignment.title,
            open,
        })
    };
    paths.into_iter().filter_map(read).collect()
}

/// Tasks of homework that was opened and is not reached.
pub(crate) fn open_tasks(digest: &Digest) -> Vec<Due> {
    kept(digest).into_iter().flat_map(|one| one.open).collect()
}

/// The drills of a homework file that are not reached.
///
/// # Errors
/// A file that is damaged, edited or cut off, or a journal that cannot be read.
pub(crate) fn still_asked(path: &Path) -> Result<Vec<String>, Failure> {
    let bytes = files::read_bytes(path, LARGEST_FILE)?;
    let assignment = read_assignment(&bytes).map_err(|error| told(path, &error))?;
    let open = open_of(path, &assignment, &plan::digest()?);
    Ok(open.into_iter().map(|due| due.drill.name).collect())
}

/// The tasks of homework that are not reached; a task that cannot be read is left out.
fn open_of(path: &Path, assignment: &Assignment, digest: &Digest) -> Vec<Due> {
    let open = |task: &Task| {
        let drill = plan::known(&drill_of(path, task, None).ok()?);
        let goal = goal_in(&drill, task.reach.as_deref()).ok()?;
        let until = until_of(path, task).ok().flatten();
        let is_open = reached(digest, &drill, goal, until.as_ref()).is_none();
        is_open.then(|| Due {
            title: assignment.title.clone(),
            open: path.display().to_string(),
            task: (assignment.tasks.len() > 1).then(|| task.drill.clone()),
            by: assignment.by,
            drill,
            goal,
        })
    };
    assignment.tasks.iter().filter_map(open).collect()
}
