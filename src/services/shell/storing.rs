//! Records into the journal, and what becomes of those that cannot be stored.

use super::Shell;
use crate::app::Message;
use crate::journal::{Journal, Trouble};
use crate::practice::{Entry, Kind, Record};
use crate::services::{Failure, output};
use crate::wording;

impl Shell {
    /// Stores records with those that wait. What cannot be stored is kept and tried again, also
    /// where the journal could not be opened before: a stick may have been put in, space been made.
    pub(super) fn store(&mut self, records: Vec<Record>) -> Message {
        self.waiting.extend(records);
        if self.journal.as_ref().is_none_or(Journal::is_a_copy) {
            // A journal that was taken away comes back whole or not at all: none is begun in its place.
            let wait = self.gone && !self.path.exists();
            if !wait {
                match Journal::open(&self.path) {
                    Ok(journal) => {
                        self.gone = false;
                        self.journal = Some(journal);
                    }
                    Err(error) => self.journal_trouble = Some(error.to_string()),
                }
            }
        }
        let journal = self.journal.as_mut().filter(|journal| !journal.is_a_copy());
        let Some(journal) = journal else {
            let why = self.journal_trouble.clone().unwrap_or_default();
            return Message::NotStored(why);
        };
        match journal.append(&self.waiting) {
            Ok(appended) => {
                self.waiting.clear();
                Message::Stored {
                    foreign: appended.foreign,
                    own: appended.own,
                }
            }
            Err(error) => {
                if error.trouble == Trouble::Gone {
                    self.gone = true;
                    self.journal = None;
                    self.journal_trouble = Some(error.to_string());
                }
                Message::NotStored(error.to_string())
            }
        }
    }

    /// Tries once more to store what could not be stored by the end, or else writes it into a file
    /// that `journal import` takes.
    ///
    /// # Errors
    /// It could not be stored: where it lies now, and how to take it in later.
    pub(crate) fn rescue(&mut self) -> Result<(), Failure> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let Message::NotStored(why) = self.store(Vec::new()) else {
            return Ok(());
        };
        let marks = self
            .waiting
            .iter()
            .filter(|record| matches!(record.kind, Kind::Mark { .. }))
            .count();
        let lost = format!(
            "{} could not be stored: {why}",
            wording::count(marks, "mark of this session", "marks of this session")
        );
        let text = rescued(&self.waiting);
        let here = std::env::current_dir().ok();
        for folder in [std::env::temp_dir()].into_iter().chain(here) {
            let session = self.waiting.first().map(|record| record.id.session);
            let name = format!("gracerung-marks-{}.jsonl", session.unwrap_or_default());
            let target = folder.join(name);
            if output::write_private(&target, text.as_bytes()).is_ok() {
                let path = target.display();
                return Err(Failure(format!(
                    "{lost}\nthey are kept in `{path}`: `gracerung journal import {path}` takes them in when the journal can be written again"
                )));
            }
        }
        // Nowhere to write: the terminal is the last place that keeps them.
        Err(Failure(format!(
            "{lost}\nand no file can be written: save the lines below into one, `gracerung journal import` takes them in\n{text}"
        )))
    }
}

/// Records as `journal export` writes entries. They have no place in a journal yet: each session is
/// taken for a journal of its own, so that taking them in twice counts nothing twice.
fn rescued(records: &[Record]) -> String {
    let mut text = String::new();
    for record in records {
        let entry = Entry {
            journal: record.id.session,
            seq: record.id.number + 1,
            record: record.clone(),
        };
        if let Ok(line) = serde_json::to_string(&entry) {
            text.push_str(&line);
            text.push('\n');
        }
    }
    text
}
