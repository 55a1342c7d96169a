//! What planning reads from a journal: every mark in short form, and when sound ran.

use super::error::JournalError;
use super::row;
use super::store::Journal;
use crate::planning::{Played, Said, date_of};
use crate::practice::{CellKey, Mark, RecordId};
use jiff::civil::Date;
use rusqlite::Row;
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

impl Journal {
    /// Every mark, undo, first try of a day and repetition by heart in short form, in fold order. A
    /// year of them is read in a moment.
    ///
    /// # Errors
    /// See [`Trouble`](super::Trouble).
    pub fn marks(&self) -> Result<Vec<Said>, JournalError> {
        self.marks_between(i64::MIN, i64::MAX)
    }

    /// Like [`Journal::marks`], for a range of time in microseconds since 1970; `from` is included
    /// and `before` is not.
    pub(super) fn marks_between(&self, from: i64, before: i64) -> Result<Vec<Said>, JournalError> {
        let mut all = Vec::new();
        self.marks_in_parts(from, before, usize::MAX, &mut |mut part| {
            all.append(&mut part);
        })?;
        Ok(all)
    }

    /// Like [`Journal::marks_between`], but passes the marks on in parts of at least `together`. A
    /// part holds whole sessions, so that no undo names a mark of another part.
    pub(super) fn marks_in_parts(
        &self,
        from: i64,
        before: i64,
        together: usize,
        each: &mut dyn FnMut(Vec<Said>),
    ) -> Result<(), JournalError> {
        let told = |error: rusqlite::Error| JournalError::of(self.path(), &error);
        let query = "SELECT stage, tempo, utc_us, offset_s, session, number, repetition, \
             mark = 'clean', by = 'assumed', needed, names_session, names_number, \
             CASE kind WHEN 'tried_alone' THEN 1 WHEN 'tried' THEN 0 END, kind = 'by_heart' \
             FROM entry WHERE kind IN ('mark', 'undo', 'tried', 'tried_alone', 'by_heart') \
             AND utc_us >= ?1 AND utc_us < ?2 ORDER BY utc_us, journal, seq";
        let mut query = self.connection().prepare_cached(query).map_err(told)?;
        let mut rows = query.query([from, before]).map_err(told)?;
        let mut cells: HashMap<(String, String), CellKey> = HashMap::new();
        let mut last: Option<(String, String, CellKey)> = None;
        let mut days: HashMap<i64, Date> = HashMap::new();
        let mut part = Vec::new();
        let mut sessions: HashSet<[u8; 16]> = HashSet::new();
        let mut open_until = i64::MIN;
        while let Some(row) = rows.next().map_err(told)? {
            if together < usize::MAX {
                let utc_us: i64 = row.get(2).map_err(told)?;
                if part.len() >= together && utc_us > open_until {
                    each(std::mem::take(&mut part));
                    sessions.clear();
                    open_until = i64::MIN;
                }
                let own: [u8; 16] = row.get(4).map_err(told)?;
                let named: Option<[u8; 16]> = row.get(10).map_err(told)?;
                for session in [Some(own), named].into_iter().flatten() {
                    if sessions.insert(session) {
                        open_until = open_until.max(self.ends(&session).map_err(told)?);
                    }
                }
            }
            part.extend(said(row, &mut cells, &mut last, &mut days).map_err(told)?);
        }
        each(part);
        Ok(())
    }

    /// The time of a session's last entry, or of the last undo of one of its marks, whichever is
    /// later, in microseconds since 1970.
    fn ends(&self, session: &[u8; 16]) -> rusqlite::Result<i64> {
        let latest = |query: &str| -> rusqlite::Result<Option<i64>> {
            let mut query = self.connection().prepare_cached(query)?;
            query.query_row([session], |row| row.get(0))
        };
        let own = latest("SELECT max(utc_us) FROM entry WHERE session = ?1")?;
        let undone = "SELECT max(utc_us) FROM entry WHERE kind = 'undo' AND names_session = ?1";
        Ok(own.max(latest(undone)?).unwrap_or(i64::MIN))
    }

    /// The stretches in which sound ran, in order, from a moment on in microseconds since 1970.
    ///
    /// # Errors
    /// See [`Trouble`](super::Trouble).
    pub fn playing(&self, since: i64) -> Result<Vec<Played>, JournalError> {
        let query = "SELECT from_us, coalesce(to_us, from_us), offset_s, drill FROM playing \
             WHERE from_us >= ?1 ORDER BY from_us";
        self.connection()
            .prepare_cached(query)
            .and_then(|mut query| {
                query
                    .query_map([since], |row| {
                        Ok(Played {
                            from_us: row.get(0)?,
                            to_us: row.get(1)?,
                            offset_s: row.get(2)?,
                            drill: row.get(3)?,
                        })
                    })?
                    .collect()
            })
            .map_err(|error| JournalError::of(self.path(), &error))
    }
}

fn said(
    row: &Row<'_>,
    cells: &mut HashMap<(String, String), CellKey>,
    last: &mut Option<(String, String, CellKey)>,
    days: &mut HashMap<i64, Date>,
) -> rusqlite::Result<Option<Said>> {
    let id = |session: [u8; 16], number: i64| RecordId {
        session: Uuid::from_bytes(session),
        number: number.unsigned_abs(),
    };
    if let Some(names) = row.get::<_, Option<[u8; 16]>>(10)? {
        return Ok(Some(Said::Undo(id(names, row.get(11)?))));
    }
    let (Some(stage), Some(tempo)) = (
        row.get_ref(0)?.as_str_or_null()?,
        row.get_ref(1)?.as_str_or_null()?,
    ) else {
        return Ok(None);
    };
    // marks come in runs of one cell, so most rows repeat the cell of the row before
    let cell = match last {
        Some((one, other, cell)) if one == stage && other == tempo => *cell,
        _ => {
            let name = (stage.to_owned(), tempo.to_owned());
            let cell = match cells.get(&name) {
                Some(cell) => *cell,
                None => match row::cell(row, 0)? {
                    Some(cell) => cell,
                    None => return Ok(None),
                },
            };
            cells.insert(name.clone(), cell);
            *last = Some((name.0, name.1, cell));
            cell
        }
    };
    let (utc_us, offset_s): (i64, i64) = (row.get(2)?, row.get(3)?);
    let number = (utc_us.div_euclid(1_000_000) + offset_s).div_euclid(86_400);
    let day = *days.entry(number).or_insert_with(|| date_of(number));
    let by = id(row.get(4)?, row.get(5)?);
    let repetition = row.get::<_, i64>(6)?.unsigned_abs();
    if let Some(alone) = row.get(12)? {
        return Ok(Some(Said::Tried {
            session: by.session,
            repetition,
            cell,
            day,
            alone,
        }));
    }
    if row.get(13)? {
        return Ok(Some(Said::ByHeart {
            session: by.session,
            repetition,
            cell,
            day,
        }));
    }
    Ok(Some(Said::Mark {
        id: by,
        repetition,
        cell,
        day,
        mark: if row.get::<_, Option<bool>>(7)?.unwrap_or(false) {
            Mark::Clean
        } else {
            Mark::NotClean
        },
        assumed: row.get::<_, Option<bool>>(8)?.unwrap_or(false),
        needed: row.get::<_, Option<u32>>(9)?.unwrap_or(1),
    }))
}
