//! Stores records in the journal, and keeps those that cannot be stored.

use super::Shell;
use crate::app::Message;
use crate::journal::{Journal, Trouble};
use crate::practice::{Entry, Kind, Record};
use crate::services::{Failure, output};
use crate::wording;

impl Shell {
    /// Stores these records and those that wait. Where that fails they are kept and tried again,
    /// even where the journal could not be opened before: a USB stick may be back, or space may be
    /// free again.
    pub(super) fn store(&mut self, records: Vec<Record>) -> Message {
        self.waiting.extend(records);
        if self.journal.as_ref().is_none_or(Journal::is_a_copy) {
            // A journal whose file disappeared must not be replaced by an empty one, so nothing is
            // stored until the file is back.
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

    /// Tries a last time to store the waiting records, or else writes them to a file for `journal
    /// import`.
    ///
    /// # Errors
    /// The records could not be stored; the message says where they are and how to import them.
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
        // no file can be written, so the records are printed on the terminal
        Err(Failure(format!(
            "{lost}\nand no file can be written: save the lines below into one, `gracerung journal import` takes them in\n{text}"
        )))
    }
}

/// Records in the format of `journal export`. They have no place in a journal yet, so each session
/// is written as a journal of its own. Importing them twice then adds nothing twice.
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
