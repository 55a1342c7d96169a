//! The digest of the marks, stored beside the journal so that a year need not be read again each
//! day.
//!
//! The file holds nothing that the journal does not say. Where it is missing or does not fit the
//! journal, the whole journal is read.

use super::error::JournalError;
use super::store::Journal;
use crate::planning::Digest;
use rusqlite::{OptionalExtension, params};
use serde::{Deserialize, Serialize};
use std::io::{Read, Write};
use std::path::PathBuf;
use uuid::Uuid;

/// The number of the summary's format. It is raised when the digest changes its meaning.
const FORMAT: u32 = 3;
/// The largest summary that is read, in bytes. A summary of a million marks is a tenth as large.
const LARGEST: u64 = 64 << 20;
/// The most entries that may be read in addition to the summary, before they are added to it.
/// Chosen: reading them takes a few milliseconds.
const READ_EACH_TIME: i64 = 2_000;
/// How many marks are read and added at a time. Chosen: they take a few megabytes.
const READ_TOGETHER: usize = 20_000;
/// Entries of the last two days are not summarised, because a session may not be over and a mark
/// may still be taken back. In microseconds.
const STAYS_OPEN: i64 = 2 * 86_400 * 1_000_000;
/// The most steps of the search for a moment between sessions, where sessions overlap.
const MOST_STEPS: usize = 50;

#[derive(Serialize, Deserialize)]
struct Summary {
    format: u32,
    journal: Uuid,
    /// The last entry that was stored when the summary was made: arrival number, session, and
    /// number in the session.
    last: (i64, Uuid, i64),
    /// Entries before this time are summarised, in microseconds since 1970. No session lies across
    /// it.
    before: i64,
    digest: Digest,
}

impl Journal {
    /// The digest of all marks, equal to `Digest::of(marks())`. `now` is in microseconds since
    /// 1970.
    ///
    /// # Errors
    /// See [`Trouble`](super::Trouble). A summary that cannot be read or written is no error.
    pub fn digest(&self, now: i64) -> Result<Digest, JournalError> {
        self.digest_told(now, &mut |_, _| {})
    }

    /// The same digest. Where there is much to read, `tell` is called with the number of entries
    /// read and the number of all.
    ///
    /// # Errors
    /// The same as of [`digest`](Self::digest).
    pub fn digest_told(
        &self,
        now: i64,
        told: &mut dyn FnMut(u64, u64),
    ) -> Result<Digest, JournalError> {
        let kept = self.kept_summary()?;
        let (mut digest, from) = kept.map_or_else(
            || (Digest::default(), i64::MIN),
            |kept| (kept.digest, kept.before),
        );
        let all = self.entries_since(from)?;
        let before = if all > READ_EACH_TIME {
            self.seam(now.saturating_sub(STAYS_OPEN))?.max(from)
        } else {
            from
        };
        if before > from {
            // read in parts, because a million marks at once would take more memory than the rest
            // of the program
            let (mut read, all) = (0, all.unsigned_abs());
            self.marks_in_parts(from, before, READ_TOGETHER, &mut |part| {
                read += part.len() as u64;
                digest.add(part);
                told(read.min(all), all);
            })?;
            if let Some(last) = self.last_entry()? {
                let summary = Summary {
                    format: FORMAT,
                    journal: self.id(),
                    last,
                    before,
                    digest,
                };
                self.keep(&summary);
                digest = summary.digest;
            }
        }
        digest.add(self.marks_between(before, i64::MAX)?);
        Ok(digest)
    }

    fn entries_since(&self, from: i64) -> Result<i64, JournalError> {
        self.connection()
            .query_row(
                "SELECT count(*) FROM entry WHERE utc_us >= ?1",
                [from],
                |row| row.get(0),
            )
            .map_err(|error| JournalError::of(self.path(), &error))
    }

    fn summary_path(&self) -> PathBuf {
        self.path().with_extension("summary.json")
    }

    fn keep(&self, summary: &Summary) {
        let path = self.summary_path();
        let folder = path.parent().unwrap_or(std::path::Path::new("."));
        // where the summary cannot be written the whole journal is read each time, which is slower
        // but equally right
        let _ = tempfile::NamedTempFile::new_in(folder).and_then(|mut file| {
            file.write_all(&serde_json::to_vec(summary)?)?;
            file.persist(&path).map(|_| ()).map_err(|error| error.error)
        });
    }

    /// The stored summary, where it still fits the journal: the journal begins with the summarised
    /// entries, no older entry was added later, and no later entry names a mark in it or continues
    /// a session in it.
    fn kept_summary(&self) -> Result<Option<Summary>, JournalError> {
        let read = |path: PathBuf| {
            let mut bytes = Vec::new();
            let file = std::fs::File::open(path)?;
            file.take(LARGEST).read_to_end(&mut bytes).map(|_| bytes)
        };
        let Some(summary) = read(self.summary_path())
            .ok()
            .and_then(|bytes| serde_json::from_slice::<Summary>(&bytes).ok())
            .filter(|summary| summary.format == FORMAT && summary.journal == self.id())
        else {
            return Ok(None);
        };
        let (arrival, session, number) = summary.last;
        // `+` and CROSS JOIN prevent SQLite's planner from reading all summarised entries
        let fits = "SELECT EXISTS (SELECT 1 FROM entry
                 WHERE arrival = ?1 AND session = ?2 AND number = ?3)
             AND NOT EXISTS (SELECT 1 FROM entry WHERE arrival > ?1 AND +utc_us < ?4)
             AND NOT EXISTS (SELECT 1 FROM entry AS later
                 CROSS JOIN entry AS named ON named.session = later.names_session
                 AND named.number = later.names_number
                 WHERE later.utc_us >= ?4 AND later.kind = 'undo' AND +named.utc_us < ?4)
             AND NOT EXISTS (SELECT 1 FROM entry AS named CROSS JOIN entry AS earlier
                 ON earlier.names_session = named.session AND earlier.names_number = named.number
                 WHERE named.utc_us >= ?4 AND earlier.kind = 'undo' AND +earlier.utc_us < ?4)
             AND NOT EXISTS (SELECT 1 FROM (
                 SELECT DISTINCT +session AS session FROM entry WHERE utc_us >= ?4)
                 AS open CROSS JOIN entry ON entry.session = open.session
                 WHERE +entry.utc_us < ?4)";
        let fits: bool = self
            .connection()
            .query_row(
                fits,
                params![arrival, session.as_bytes(), number, summary.before],
                |row| row.get(0),
            )
            .map_err(|error| JournalError::of(self.path(), &error))?;
        Ok(fits.then_some(summary))
    }

    /// The latest moment, not after the given one, that no session lies across and no undo reaches
    /// across. In microseconds since 1970.
    fn seam(&self, not_after: i64) -> Result<i64, JournalError> {
        let mut seam = not_after;
        let first = "SELECT min(entry.utc_us) FROM (
                 SELECT DISTINCT +session AS session FROM entry WHERE utc_us >= ?1
                 UNION SELECT names_session FROM entry WHERE utc_us >= ?1 AND kind = 'undo'
                 UNION SELECT earlier.session FROM entry AS named CROSS JOIN entry AS earlier
                 ON earlier.names_session = named.session AND earlier.names_number = named.number
                 WHERE named.utc_us >= ?1 AND earlier.kind = 'undo'
             ) AS open CROSS JOIN entry ON entry.session = open.session";
        for _ in 0..MOST_STEPS {
            let begins: Option<i64> = self
                .connection()
                .query_row(first, [seam], |row| row.get(0))
                .map_err(|error| JournalError::of(self.path(), &error))?;
            match begins {
                Some(begins) if begins < seam => seam = begins,
                _ => return Ok(seam),
            }
        }
        Ok(i64::MIN)
    }

    fn last_entry(&self) -> Result<Option<(i64, Uuid, i64)>, JournalError> {
        self.connection()
            .query_row(
                "SELECT arrival, session, number FROM entry ORDER BY arrival DESC LIMIT 1",
                [],
                |row| {
                    let session: [u8; 16] = row.get(1)?;
                    Ok((row.get(0)?, Uuid::from_bytes(session), row.get(2)?))
                },
            )
            .optional()
            .map_err(|error| JournalError::of(self.path(), &error))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::journal_laws::{cell, record as plain_record};
    use crate::practice::{Kind, Mark, Record, RecordId};

    const DAY: i64 = 86_400 * 1_000_000;

    fn record(session: u128, number: u64, utc_us: i64, kind: Kind) -> Record {
        Record {
            cell: Some(cell(session % 7)),
            ..plain_record(session, number, utc_us, kind)
        }
    }

    /// Marks read in parts give the same digest as marks read together, even where sessions overlap
    /// and undos reach from one session into another.
    #[test]
    fn parts_come_to_the_same_as_the_whole() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut journal = Journal::open(&folder.path().join("j.sqlite")).expect("a journal");
        let mut random = fastrand::Rng::with_seed(5);
        for session in 1..40_u128 {
            let begin = session as i64 / 4 * 10_000 + session as i64 % 4 * 500;
            let records: Vec<Record> = (0..30)
                .map(|number| {
                    let kind = match random.u8(..24) {
                        0 => Kind::Undo {
                            mark: RecordId {
                                session: uuid::Uuid::from_u128(
                                    random.u128(session.saturating_sub(3).max(1)..=session),
                                ),
                                number: random.u64(..30),
                            },
                        },
                        _ => Kind::Mark {
                            repetition: number / 2,
                            mark: Mark::Clean,
                            needed: 3,
                            free: false,
                        },
                    };
                    record(session, number, begin + 40 * number as i64, kind)
                })
                .collect();
            journal.append(&records).expect("stored");
        }
        let whole = Digest::of(journal.marks().expect("marks"));
        for together in [1, 7, 100, 5000] {
            let mut parts = Digest::default();
            let mut count = 0;
            journal
                .marks_in_parts(i64::MIN, i64::MAX, together, &mut |part| {
                    count += 1;
                    parts.add(part);
                })
                .expect("read");
            assert_eq!(parts, whole, "{together}");
            assert!(together > 1000 || count > 1, "{together}: {count}");
        }
    }

    /// Three sessions of sixty marks each, with some repetitions marked twice.
    fn a_day_of_sessions(
        day: i64,
        random: &mut fastrand::Rng,
        marks: &mut Vec<RecordId>,
    ) -> Vec<Record> {
        let mut records = Vec::new();
        for of_day in 0..3_i64 {
            let session = (day * 3 + of_day + 1) as u128;
            let begin = day * DAY + of_day * DAY / 4;
            let first = Kind::Tried {
                repetition: 0,
                alone: random.bool(),
            };
            records.push(record(session, 1000, begin, first));
            for number in 0..10_u64 {
                let repetition = random.u64(..60);
                let by_heart = Kind::ByHeart { repetition };
                records.push(record(session, 2000 + number, begin, by_heart));
            }
            for number in 0..60_u64 {
                let kind = Kind::Mark {
                    repetition: number - u64::from(random.u8(..8) == 0 && number > 0),
                    mark: if random.bool() {
                        Mark::Clean
                    } else {
                        Mark::NotClean
                    },
                    needed: 3,
                    free: false,
                };
                let time = begin + 10_000_000 * number as i64;
                let record = record(session, number, time, kind);
                marks.push(record.id);
                records.push(record);
            }
        }
        records
    }

    /// Entries that arrive late: each day an undo of a recent mark, and on some days an entry of
    /// another computer, of an old session or of a clock that is behind.
    fn what_comes_late(day: i64, random: &mut fastrand::Rng, marks: &[RecordId]) -> Vec<Record> {
        let extra = 10_000 + day as u128;
        let late = record(
            extra,
            1,
            day * DAY + DAY / 2,
            Kind::Undo {
                mark: marks[random.usize(marks.len().saturating_sub(100)..marks.len())],
            },
        );
        let mut records = vec![late];
        match day {
            20 => records.push(record(
                extra,
                2,
                day * DAY + DAY / 2 + 1,
                Kind::Undo { mark: marks[5] },
            )),
            30 => records.push(record(
                7,
                99,
                day * DAY + DAY / 2 + 2,
                Kind::Mark {
                    repetition: 3,
                    mark: Mark::Clean,
                    needed: 3,
                    free: false,
                },
            )),
            40 => records.push(record(
                20_000,
                1,
                4 * DAY,
                Kind::Mark {
                    repetition: 1,
                    mark: Mark::Clean,
                    needed: 1,
                    free: false,
                },
            )),
            50 => records.push(record(
                30_000,
                1,
                30 * DAY,
                Kind::Undo {
                    mark: marks[marks.len() - 1],
                },
            )),
            _ => {}
        }
        records
    }

    /// A summary that no longer fits would show wrong figures for weeks. The test adds sessions day
    /// by day, marks taken back at once and long after, continued sessions, late entries of another
    /// computer, an undo by a clock that is behind, and a truncated summary. After each, the
    /// summary must equal the digest of the marks.
    #[test]
    fn the_summary_says_what_the_marks_say() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal.sqlite");
        let mut random = fastrand::Rng::with_seed(7);
        let mut journal = Journal::open(&path).expect("a journal");
        let mut kept = 0;
        let mut marks: Vec<RecordId> = Vec::new();
        for day in 0..60_i64 {
            let mut records = a_day_of_sessions(day, &mut random, &mut marks);
            records.extend(what_comes_late(day, &mut random, &marks));
            journal.append(&records).expect("stored");
            let all = Digest::of(journal.marks().expect("marks"));
            for _ in 0..2 {
                assert_eq!(
                    journal.digest(day * DAY + DAY).expect("a digest"),
                    all,
                    "day {day}"
                );
            }
            kept += usize::from(journal.kept_summary().expect("readable").is_some());
        }
        assert!(kept >= 30, "a summary was of use on {kept} days");
        std::fs::write(journal.summary_path(), "{\"journal\":").expect("written");
        let all = Digest::of(journal.marks().expect("marks"));
        assert_eq!(journal.digest(60 * DAY).expect("a digest"), all);
    }
}
