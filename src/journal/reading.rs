//! Reads a journal: the entries of given stages, and the place of the last practice.

use super::error::{JournalError, Trouble};
use super::row;
use super::store::Journal;
use crate::practice::{CellKey, Entry, StagePrint};
use rusqlite::OptionalExtension;

/// The place of the last practice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastPlace {
    /// The drill's name when the entry was written. The file may have been renamed since.
    pub drill: String,
    /// The cell that was practised.
    pub cell: CellKey,
}

impl Journal {
    /// Every entry of these stages, whatever the drill was called, in fold order. What other
    /// programs store later is returned by [`append`](Self::append).
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn read(&mut self, stages: &[StagePrint]) -> Result<Vec<Entry>, JournalError> {
        let stages: Vec<String> = stages.iter().map(ToString::to_string).collect();
        let mut unique: Vec<&String> = stages.iter().collect();
        unique.sort_unstable();
        unique.dedup();
        let path = self.path.clone();
        let told = |error: rusqlite::Error| JournalError::of(&path, &error);
        let transaction = self.connection.transaction().map_err(told)?;
        let mut found = Vec::new();
        for stage in unique {
            let rows = row::entries(&transaction, "WHERE stage = ?1", rusqlite::params![stage]);
            found.extend(rows.map_err(told)?);
        }
        let seen = row::arrival(&transaction).map_err(told)?;
        drop(transaction);
        self.seen = seen;
        found.sort_by_key(Entry::order);
        Ok(found)
    }

    /// The entries of these stages from which a board is folded: marks, undos, first tries and
    /// repetitions by heart, in fold order and without their texts. What other programs store later
    /// is returned by [`append`](Self::append).
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn board(&mut self, stages: &[StagePrint]) -> Result<Vec<Entry>, JournalError> {
        let mut unique = stages.to_vec();
        unique.sort_unstable();
        unique.dedup();
        let path = self.path.clone();
        let told = |error: rusqlite::Error| JournalError::of(&path, &error);
        let transaction = self.connection.transaction().map_err(told)?;
        let query = format!(
            "SELECT {} FROM entry WHERE stage = ?1 \
             AND kind IN ('mark', 'undo', 'tried', 'tried_alone', 'by_heart')",
            row::BARE_COLUMNS
        );
        let mut found = Vec::new();
        for stage in unique {
            // memory for all entries is reserved at once, because growing by doubling would take
            // half as much again
            let count: i64 = transaction
                .prepare_cached("SELECT count(*) FROM entry WHERE stage = ?1")
                .and_then(|mut query| query.query_row([stage.to_string()], |row| row.get(0)))
                .map_err(told)?;
            found.reserve_exact(usize::try_from(count).unwrap_or(0));
            let mut query = transaction.prepare_cached(&query).map_err(told)?;
            let rows = query.query_map([stage.to_string()], row::read);
            for row in rows.map_err(told)? {
                found.push(row.map_err(told)?);
            }
        }
        let seen = row::arrival(&transaction).map_err(told)?;
        drop(transaction);
        self.seen = seen;
        // no two entries have the same order, and a stable sort would need half of their memory
        // again
        found.sort_unstable_by_key(Entry::order);
        Ok(found)
    }

    /// The last entries of each of these stages that tell how a repetition went, at most `most` of
    /// each stage, in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn latest(&self, stages: &[StagePrint], most: u32) -> Result<Vec<Entry>, JournalError> {
        let mut unique = stages.to_vec();
        unique.sort_unstable();
        unique.dedup();
        // the inner query sorts and limits the rows without their texts, which may be megabytes;
        // texts are then read of the last entries only
        let which = "WHERE arrival IN (SELECT arrival FROM entry \
                     WHERE stage = ?1 AND kind IN ('mark', 'undo', 'measured') \
                     ORDER BY utc_us DESC, journal DESC, seq DESC LIMIT ?2)";
        let mut found = Vec::new();
        for stage in unique {
            let stage = stage.to_string();
            let rows = row::entries(&self.connection, which, rusqlite::params![stage, most]);
            found.extend(rows.map_err(|error| self.trouble(&error))?);
        }
        found.sort_by_key(Entry::order);
        Ok(found)
    }

    /// Every entry of these stages that has measurements of the microphone, in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn measured(&self, stages: &[StagePrint]) -> Result<Vec<Entry>, JournalError> {
        let which = "WHERE measures IS NOT NULL AND kind IN ('mark', 'measured') ORDER BY utc_us, journal, seq";
        let mut found = row::entries(&self.connection, which, rusqlite::params![])
            .map_err(|error| self.trouble(&error))?;
        found.retain(|entry| {
            let cell = entry.record.cell;
            cell.is_some_and(|cell| stages.contains(&cell.stage))
        });
        Ok(found)
    }

    /// Every result of `hear`, the test of hearing a fault in a movement, in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn discriminations(&self) -> Result<Vec<Entry>, JournalError> {
        let which = "WHERE kind = 'discriminated' ORDER BY utc_us, journal, seq";
        row::entries(&self.connection, which, rusqlite::params![])
            .map_err(|error| self.trouble(&error))
    }

    /// Every entry in fold order.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn read_all(&mut self) -> Result<Vec<Entry>, JournalError> {
        let path = self.path.clone();
        let told = |error: rusqlite::Error| JournalError::of(&path, &error);
        let transaction = self.connection.transaction().map_err(told)?;
        let order = "ORDER BY utc_us, journal, seq";
        let found = row::entries(&transaction, order, rusqlite::params![]).map_err(told)?;
        let seen = row::arrival(&transaction).map_err(told)?;
        drop(transaction);
        self.seen = seen;
        Ok(found)
    }

    /// The place of the last practice in any drill; none before the first session.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn last_place(&self) -> Result<Option<LastPlace>, JournalError> {
        let query = "SELECT drill, stage, tempo FROM entry \
             WHERE kind IN ('began', 'place') AND stage IS NOT NULL AND tempo IS NOT NULL \
             ORDER BY utc_us DESC, journal DESC, seq DESC LIMIT 1";
        self.place(query, rusqlite::params![])
    }

    /// The place of the last practice in these stages, whatever the drill was called; none where
    /// they were not practised.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn last_place_in(&self, stages: &[StagePrint]) -> Result<Option<LastPlace>, JournalError> {
        // fingerprints consist of hexadecimal digits only, so they can be put into the SQL as they
        // are
        let among: Vec<String> = stages.iter().map(|stage| format!("'{stage}'")).collect();
        let query = format!(
            "SELECT drill, stage, tempo FROM entry \
             WHERE kind IN ('began', 'place') AND tempo IS NOT NULL AND stage IN ({}) \
             ORDER BY utc_us DESC, journal DESC, seq DESC LIMIT 1",
            among.join(", ")
        );
        self.place(&query, rusqlite::params![])
    }

    fn place(
        &self,
        query: &str,
        values: &[&dyn rusqlite::ToSql],
    ) -> Result<Option<LastPlace>, JournalError> {
        let found = self
            .connection
            .query_row(query, values, |row| {
                Ok((row.get::<_, String>(0)?, row::cell(row, 1)?))
            })
            .optional()
            .map_err(|error| self.trouble(&error))?;
        Ok(found.and_then(|(drill, cell)| cell.map(|cell| LastPlace { drill, cell })))
    }

    /// The fingerprints of the stages that were marked under a drill's name. Where one is not a
    /// stage of the present drill, the drill was edited and the player is told.
    ///
    /// # Errors
    /// See [`Trouble`].
    pub fn stages_of(&self, drill: &str) -> Result<Vec<StagePrint>, JournalError> {
        let query = "SELECT DISTINCT stage FROM entry \
             WHERE drill = ?1 AND kind = 'mark' AND stage IS NOT NULL ORDER BY stage";
        let prints: rusqlite::Result<Vec<String>> = self
            .connection
            .prepare_cached(query)
            .and_then(|mut query| query.query_map([drill], |row| row.get(0))?.collect());
        let prints = prints.map_err(|error| self.trouble(&error))?;
        prints
            .iter()
            .map(|print| {
                StagePrint::parse(print).map_err(|error| {
                    JournalError::new(&self.path, Trouble::Damaged(error.to_string()))
                })
            })
            .collect()
    }
}
