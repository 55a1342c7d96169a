//! Keeps the results of `hear` in the journal: reads those of a cell and adds new ones.

use crate::journal::{Journal, Trouble};
use crate::practice::{CellKey, Difference, Discrimination, Entry, Kind, Record, RecordId};
use crate::services::{Failure, folders};
use crate::units::Milliseconds;
use uuid::Uuid;

/// The journal and the cell whose results are kept.
pub(super) struct Keeping {
    journal: Result<Journal, String>,
    drill: String,
    cell: CellKey,
    session: Uuid,
    /// Earlier results of this cell, oldest first.
    pub(super) before: Vec<(Difference, Milliseconds)>,
    stored: u64,
}

impl Keeping {
    /// Opens the journal. A journal of a newer version or one that cannot be read is refused before
    /// anything sounds. One that cannot be written is reported at the end.
    pub(super) fn open(drill: &str, cell: CellKey) -> Result<Self, Failure> {
        let path = folders::journal()?;
        let journal = match Journal::open(&path) {
            Err(error)
                if matches!(
                    error.trouble,
                    Trouble::Newer { .. } | Trouble::NotAJournal | Trouble::Damaged(_)
                ) =>
            {
                return Err(Failure(error.to_string()));
            }
            opened => opened.map_err(|error| error.to_string()),
        };
        let entries = match &journal {
            Ok(journal) => journal.discriminations().unwrap_or_default(),
            Err(_) => Vec::new(),
        };
        let here = |entry: &&Entry| entry.record.cell == Some(cell);
        let before = entries.iter().filter(here).filter_map(|entry| {
            let found = Discrimination::from_json(entry.record.measures.as_deref()?)?;
            Some((found.difference, found.threshold))
        });
        Ok(Self {
            before: before.collect(),
            journal,
            drill: drill.to_owned(),
            cell,
            session: Uuid::new_v4(),
            stored: 0,
        })
    }

    pub(super) fn last_of(&self, difference: Difference) -> Option<Milliseconds> {
        let mut before = self.before.iter().rev();
        before
            .find(|(other, _)| *other == difference)
            .map(|(_, threshold)| *threshold)
    }

    pub(super) fn store(&mut self, found: &Discrimination) -> Result<(), String> {
        let now = jiff::ZonedDateTime::now();
        let record = Record {
            id: RecordId {
                session: self.session,
                number: self.stored,
            },
            utc_us: now.timestamp().as_microsecond(),
            offset_s: now.offset().seconds(),
            kind: Kind::Discriminated,
            drill: self.drill.clone(),
            cell: Some(self.cell),
            by: None,
            thresholds: None,
            measures: Some(found.to_json()),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        };
        let journal = self.journal.as_mut().map_err(|error| error.clone())?;
        journal
            .append(&[record])
            .map_err(|error| error.to_string())?;
        self.stored += 1;
        Ok(())
    }
}
