//! `journal`: looks after the journal; it checks, exports, imports, mends, backs up and merges.

mod lines;

use super::{Outcome, Ran};
use crate::drill::MOST_SHOWN;
use crate::journal::{
    Health, Journal, JournalError, Merged, Odd, WrongClock, absurd, look_over, mended, odd,
};
use crate::practice::Entry;
use crate::services::{Failure, folders, output, plan};
use crate::wording;
use clap::Subcommand;
use serde::Serialize;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Arguments of `journal`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung journal check\n  \
    gracerung journal backup stick/journal.sqlite\n  \
    gracerung journal merge stick/journal.sqlite\n  \
    gracerung journal export -o journal.jsonl\n  \
    gracerung journal check damaged.sqlite --recover saved.sqlite\n  \
    gracerung journal mend --into mended.sqlite\n\n\
    Nothing is ever overwritten or taken away. Merging journals in any order gives the same, and \
    nothing is counted twice.")]
pub(crate) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Is it whole, and what is in it. Exit 1 when it is not whole.
    Check {
        /// Another journal's file; left out, your own.
        file: Option<PathBuf>,
        /// Save every entry that can be read into a new file.
        #[arg(long, value_name = "NEW")]
        recover: Option<PathBuf>,
        /// Print as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Write every entry as JSON, one a line.
    Export {
        /// Into this file; left out, to standard output.
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Replace the file when it exists.
        #[arg(long)]
        force: bool,
    },
    /// Take in entries that `export` wrote; known ones are not counted twice.
    Import {
        /// The exported file.
        file: PathBuf,
    },
    /// Say what is odd about it (clocks that were wrong, numbers that cannot be, what another hand
    /// put into the file) and how it would be put right. Exit 1 when something is odd.
    Mend {
        /// Another journal's file; left out, your own.
        file: Option<PathBuf>,
        /// Write the journal put right into a new file; the old one stays as it is.
        #[arg(long, value_name = "NEW")]
        into: Option<PathBuf>,
    },
    /// Write a whole copy of the journal, also while it is in use.
    Backup {
        /// The new file.
        file: PathBuf,
    },
    /// Take in the entries of other journals; known ones are not counted twice.
    Merge {
        /// Journal files of other computers.
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
}

fn told(error: JournalError) -> Failure {
    Failure(error.to_string())
}

/// Runs `journal`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    match &arguments.what {
        What::Check {
            file,
            recover,
            json,
        } => check(file.as_deref(), recover.as_deref(), *json),
        What::Export { output, force } => lines::export(output.as_deref(), *force),
        What::Import { file } => lines::import(file),
        What::Mend { file, into } => mend(file.as_deref(), into.as_deref()),
        What::Backup { file } => backup(file),
        What::Merge { files } => merge(files),
    }
}

/// The path of the player's own journal.
///
/// # Errors
/// There is no journal yet.
fn own() -> Result<PathBuf, Failure> {
    let path = folders::journal()?;
    if path.exists() {
        return Ok(path);
    }
    Err(Failure(format!(
        "there is no journal yet at `{}`: it begins with the first drill you practise",
        path.display()
    )))
}

#[derive(Serialize)]
struct CheckRow {
    file: String,
    entries: usize,
    lost: usize,
    journals: usize,
    sessions: usize,
    first: Option<String>,
    last: Option<String>,
    troubles: Vec<String>,
    /// Remarks on an intact journal that are no damage.
    remarks: Vec<String>,
}

fn day(utc_us: i64) -> String {
    jiff::Timestamp::from_microsecond(utc_us).map_or_else(
        |_| "an unknown day".to_owned(),
        |time| time.strftime("%Y-%m-%d").to_string(),
    )
}

fn check(file: Option<&Path>, recover: Option<&Path>, json: bool) -> Ran {
    let path = match file {
        Some(file) => file.to_owned(),
        None => own()?,
    };
    if let Some(target) = recover {
        output::ready_for_new(target)?;
    }
    let (health, entries) = look_over(&path).map_err(told)?;
    let Health {
        lost,
        journals,
        sessions,
        span,
        troubles,
        unsummed,
        ..
    } = health;
    let row = CheckRow {
        file: path.display().to_string(),
        entries: entries.len(),
        lost,
        journals,
        sessions,
        first: span.map(|(first, _)| day(first)),
        last: span.map(|(_, last)| day(last)),
        troubles,
        remarks: remarks(&entries, unsummed),
    };
    if json {
        output::print_json(&row)?;
    } else {
        let when = match (&row.first, &row.last) {
            (Some(first), Some(last)) => format!(", {first} to {last}"),
            _ => String::new(),
        };
        let from = if row.journals > 1 {
            format!(
                ", merged from {}",
                wording::count(row.journals, "journal", "journals")
            )
        } else {
            String::new()
        };
        output::print(&format!(
            "{}: {} in {}{when}{from}\n",
            row.file,
            wording::count(row.entries, "entry", "entries"),
            wording::count(row.sessions, "session", "sessions"),
        ))?;
        for trouble in &row.troubles {
            output::print(&format!("  {trouble}\n"))?;
        }
        for remark in &row.remarks {
            output::print(&format!("  {remark}\n"))?;
        }
        if row.troubles.is_empty() {
            output::print("  whole\n")?;
        } else if recover.is_none() {
            output::print("  `--recover NEW` saves what can be read into a new file\n")?;
        }
    }
    if let Some(target) = recover {
        recover_into(target, &entries)?;
        if !json {
            output::print(&format!(
                "  saved {} into {}; the damaged file was not touched\n",
                wording::count(entries.len(), "entry", "entries"),
                target.display()
            ))?;
        }
    }
    Ok(if row.troubles.is_empty() {
        Outcome::Done
    } else {
        Outcome::Findings
    })
}

/// Sentences about a journal that the player should know, although they are no damage.
fn remarks(entries: &[Entry], unsummed: usize) -> Vec<String> {
    let mut told = sentences(
        &odd(entries, now()),
        |wrong| {
            let later = wrong.says > wrong.instead;
            let was = if later { "ahead" } else { "behind" };
            format!(": its clock was {was}, by the sessions around it")
        },
        "cannot be",
    );
    if !told.is_empty() {
        told.push("`gracerung journal mend` says how that would be put right".to_owned());
    }
    if unsummed > 0 {
        told.push(format!(
            "{} from before check sums were kept",
            wording::count(unsummed, "entry is", "entries are")
        ));
    }
    told
}

fn now() -> i64 {
    jiff::Timestamp::now().as_microsecond()
}

/// A sentence about each oddity in a journal. `ends` gives the end of a sentence about a session
/// with a wrong clock; `said` is the end of a sentence about an impossible entry.
fn sentences(odd: &Odd, ends: impl Fn(&WrongClock) -> String, said: &str) -> Vec<String> {
    let sessions = odd.clocks.iter().map(|wrong| {
        let entries = wording::count(wrong.entries, "entry", "entries");
        let day = day(wrong.says);
        format!("a session of {day} with {entries}{}", ends(wrong))
    });
    let entries = odd.absurd.iter();
    let entries = entries.map(|(number, why)| format!("the entry {number} {said}: its {why}"));
    let mut told = Vec::new();
    for (all, what) in [
        (sessions.collect::<Vec<_>>(), "sessions"),
        (entries.collect(), "entries"),
    ] {
        let more = all.len().saturating_sub(MOST_SHOWN);
        told.extend(all.into_iter().take(MOST_SHOWN));
        if more > 0 {
            told.push(format!("and {more} more {what} likewise"));
        }
    }
    told
}

fn mend(file: Option<&Path>, into: Option<&Path>) -> Ran {
    let path = match file {
        Some(file) => file.to_owned(),
        None => own()?,
    };
    if let Some(target) = into {
        output::ready_for_new(target)?;
    }
    let (health, entries) = look_over(&path).map_err(told)?;
    let odd = odd(&entries, now());
    let mut plan = sentences(
        &odd,
        |wrong| format!(" is dated {}", day(wrong.instead)),
        "is left out",
    );
    for trouble in &health.troubles {
        plan.push(format!("not taken over: {trouble}"));
    }
    let mut text = format!("{}:\n", path.display());
    for line in &plan {
        let _ = writeln!(text, "  {line}");
    }
    match into {
        _ if plan.is_empty() => text.push_str("  nothing is odd, and nothing was written\n"),
        None => text.push_str(
            "  nothing was written: `--into NEW` writes the journal put right into a new file\n",
        ),
        Some(target) => {
            let entries = mended(entries, &odd);
            recover_into(target, &entries)?;
            let _ = writeln!(
                text,
                "  {} written into {}; the old file was not touched",
                wording::count(entries.len(), "entry", "entries"),
                target.display()
            );
        }
    }
    output::print(&text)?;
    Ok(if plan.is_empty() {
        Outcome::Done
    } else {
        Outcome::Findings
    })
}

fn recover_into(target: &Path, entries: &[Entry]) -> Result<(), Failure> {
    // the journal is written under another name beside the target until it is complete
    let work = output::work_beside(target)?;
    let file = work.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).map_err(told)?;
    journal.merge(entries).map_err(told)?;
    place(&journal, target)
}

/// Writes a whole copy of the journal to a path that does not exist yet.
fn place(journal: &Journal, target: &Path) -> Result<(), Failure> {
    output::ready_for_new(target)?;
    let work = output::work_beside(target)?;
    let copy = work.path().join("copy.sqlite");
    journal.back_up(&copy).map_err(told)?;
    // a hard link fails where a file exists, while a rename would replace it; many USB sticks
    // support no links
    std::fs::hard_link(&copy, target)
        .or_else(|error| {
            if error.kind() == std::io::ErrorKind::AlreadyExists || target.exists() {
                Err(error)
            } else {
                std::fs::rename(&copy, target)
            }
        })
        .map_err(|error| output::cannot_write(target, &error))
}

fn say(file: &Path, merged: Merged) -> Result<(), Failure> {
    let beside = if merged.clashing > 0 {
        format!(
            ", {} of a copy that was played on by itself",
            wording::count(merged.clashing, "entry", "entries")
        )
    } else {
        String::new()
    };
    output::print(&format!(
        "{}: {} new, {} known{beside}\n",
        file.display(),
        merged.added,
        merged.known
    ))
}

fn backup(target: &Path) -> Ran {
    output::ready_for_new(target)?;
    let journal = plan::to_read(&own()?).map_err(told)?;
    place(&journal, target)?;
    output::wrote(target, "a whole copy of the journal")?;
    Ok(Outcome::Done)
}

fn merge(files: &[PathBuf]) -> Ran {
    // every file is read before any entry is taken in, so that an unreadable file changes nothing
    let mut read = Vec::new();
    for file in files {
        let (health, entries) = look_over(file).map_err(told)?;
        if health.lost > 0 {
            return Err(Failure(format!(
                "`{}` is damaged and nothing was merged: `gracerung journal check {0} --recover NEW` saves what can be read",
                file.display()
            )));
        }
        let (kept, refused): (Vec<Entry>, Vec<Entry>) = entries
            .into_iter()
            .partition(|entry| absurd(entry).is_none());
        if !refused.is_empty() {
            output::complain(&format!(
                "`{}`: {} that cannot be, left out: `gracerung journal mend {0}` says why",
                file.display(),
                wording::count(refused.len(), "entry", "entries")
            ));
        }
        read.push((file, kept));
    }
    let mut journal = Journal::open(&folders::journal()?).map_err(told)?;
    for (file, entries) in read {
        say(file, journal.merge(&entries).map_err(told)?)?;
    }
    Ok(Outcome::Done)
}
