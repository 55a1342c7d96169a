//! Writes and reads the journal as lines of JSON.

use super::{own, say, told};
use crate::commands::{Outcome, Ran};
use crate::drill::MOST_SHOWN;
use crate::journal::{Journal, Merged, absurd, look_over};
use crate::practice::Entry;
use crate::services::{Failure, files, folders, output};
use crate::wording;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;

/// Writes every entry as a line of JSON.
pub(super) fn export(target: Option<&Path>, force: bool) -> Ran {
    if let Some(target) = target {
        output::ready_to_write(target, force)?;
    }
    let (health, entries) = look_over(&own()?).map_err(told)?;
    let mut text = String::new();
    for entry in &entries {
        let line = serde_json::to_string(entry)
            .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
        text.push_str(&line);
        text.push('\n');
    }
    match target {
        Some(target) => {
            output::write_file(target, force, |file| {
                file.write_all(output::escaped_json(&text).as_bytes())
                    .map_err(|error| output::cannot_write(target, &error))
            })?;
            output::print(&format!(
                "{} into {}\n",
                wording::count(entries.len(), "entry", "entries"),
                target.display()
            ))?;
        }
        None => output::print_json_lines(&text)?,
    }
    if health.lost > 0 {
        output::complain(&format!(
            "{} could not be read; see `gracerung journal check`",
            wording::count(health.lost, "entry", "entries")
        ));
        return Ok(Outcome::Findings);
    }
    Ok(Outcome::Done)
}

/// The longest line that is read of an exported journal, in bytes. An entry with its measurements
/// takes a few thousand.
const LONGEST_LINE: u64 = 1 << 20;
/// The largest exported journal that is read, in bytes. It holds about four million entries.
const LARGEST_EXPORT: u64 = 2 << 30;
/// Reading stops after this many lines that are no entry.
const MOST_STRANGE: usize = 1000;
/// How many entries are stored in one write.
const TOGETHER: usize = 10_000;

/// The lines of a file, read one at a time. Both the file and each line have a size limit.
struct Lines {
    file: std::io::Take<BufReader<std::fs::File>>,
    number: usize,
}

impl Lines {
    fn of(path: &Path) -> Result<Self, Failure> {
        Ok(Self {
            file: BufReader::new(files::open_file(path)?).take(LARGEST_EXPORT),
            number: 0,
        })
    }

    /// The next line with its number; none at the end of the file.
    fn next(&mut self, path: &Path) -> Result<Option<(usize, String)>, Failure> {
        let shown = path.display();
        let mut line = Vec::new();
        let read = (&mut self.file)
            .take(LONGEST_LINE)
            .read_until(b'\n', &mut line);
        let read = read.map_err(|error| Failure(format!("cannot read `{shown}`: {error}")))?;
        self.number += 1;
        if self.file.limit() == 0 {
            return Err(Failure(format!(
                "`{shown}` has more than {LARGEST_EXPORT} bytes: no journal is so large; what was read before is taken in"
            )));
        }
        if read as u64 == LONGEST_LINE && line.last() != Some(&b'\n') {
            return Err(Failure(format!(
                "`{shown}`:{}: a line of more than {LONGEST_LINE} bytes is no entry of a journal",
                self.number
            )));
        }
        let line = String::from_utf8_lossy(&line).into_owned();
        Ok((read > 0).then_some((self.number, line)))
    }
}

/// Imports what `export` wrote. A line that is no entry is reported, and the other lines are still
/// imported.
pub(super) fn import(file: &Path) -> Ran {
    let mut lines = Lines::of(file)?;
    let mut entries: Vec<Entry> = Vec::new();
    let mut journal: Option<Journal> = None;
    let mut merged = Merged::default();
    let mut strange: Vec<String> = Vec::new();
    let mut more = 0_usize;
    let mut take = |entries: &mut Vec<Entry>| -> Result<(), Failure> {
        if entries.is_empty() {
            return Ok(());
        }
        if journal.is_none() {
            journal = Some(Journal::open(&folders::journal()?).map_err(told)?);
        }
        if let Some(journal) = &mut journal {
            let some = journal.merge(entries).map_err(told)?;
            merged.added += some.added;
            merged.known += some.known;
            merged.clashing += some.clashing;
        }
        entries.clear();
        Ok(())
    };
    let ended = loop {
        let (number, line) = match lines.next(file) {
            Ok(Some(line)) => line,
            Ok(None) => break Ok(()),
            Err(failure) => break Err(failure),
        };
        if line.trim().is_empty() {
            continue;
        }
        let read = serde_json::from_str::<Entry>(&line).map_err(|error| error.to_string());
        let read = read.and_then(|entry| match absurd(&entry) {
            Some(why) => Err(format!("an entry that cannot be: its {why}")),
            None => Ok(entry),
        });
        match read {
            Ok(entry) => entries.push(entry),
            Err(error) if strange.len() < MOST_SHOWN => {
                strange.push(format!("{}:{number}: {error}", file.display()));
            }
            Err(_) if more < MOST_STRANGE => more += 1,
            Err(_) => break Ok(()),
        }
        if entries.len() == TOGETHER {
            take(&mut entries)?;
        }
    };
    take(&mut entries)?;
    if merged == Merged::default() {
        ended?;
        return Err(Failure(format!(
            "`{}` holds no entry that `gracerung journal export` wrote{}",
            file.display(),
            strange
                .first()
                .map_or_else(String::new, |first| format!(":\n  {first}"))
        )));
    }
    say(file, merged)?;
    for line in &strange {
        output::complain(line);
    }
    ended?;
    if strange.is_empty() {
        return Ok(Outcome::Done);
    }
    let left_out = match more {
        MOST_STRANGE => "more than a thousand lines are no entry: nothing more was read".to_owned(),
        more => format!(
            "{} no entry and left out",
            wording::count(strange.len() + more, "line is", "lines are")
        ),
    };
    output::complain(&left_out);
    Ok(Outcome::Findings)
}
