//! A journal in small: for each cell the days on which it was played and how they went. The plan
//! for a day is made from it.

use crate::practice::{
    self, By, CellKey, Entry, Kind, Mark, NOT_CLEAN_IN_A_ROW, RecordId, StagePrint, Try,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap, HashSet};
use uuid::Uuid;

/// Only what a mark or an undo says: reading a year of them is quick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// A repetition was marked.
    Mark {
        /// The mark's own name.
        id: RecordId,
        /// The repetition's number in the session.
        repetition: u64,
        /// The cell.
        cell: CellKey,
        /// The player's own calendar day.
        day: Date,
        /// What was said.
        mark: Mark,
        /// True for an assumed mark.
        assumed: bool,
        /// Clean ones in a row that cleared the cell then.
        needed: u32,
    },
    /// A repetition was the first of its drill on a day.
    Tried {
        /// The session.
        session: Uuid,
        /// The repetition's number in it.
        repetition: u64,
        /// The cell.
        cell: CellKey,
        /// The player's own calendar day.
        day: Date,
        /// True where the reference was silent and nothing had been played shortly before.
        alone: bool,
    },
    /// A repetition was played by heart.
    ByHeart {
        /// The session.
        session: Uuid,
        /// The repetition's number in it.
        repetition: u64,
        /// The cell.
        cell: CellKey,
        /// The player's own calendar day.
        day: Date,
    },
    /// A mark was taken back.
    Undo(RecordId),
}

impl Said {
    /// What an entry says, where it is a mark, an undo, a first try or played by heart.
    pub fn of(entry: &Entry) -> Option<Self> {
        let record = &entry.record;
        match record.kind {
            Kind::Mark {
                repetition,
                mark,
                needed,
                ..
            } => Some(Self::Mark {
                id: record.id,
                repetition,
                cell: record.cell?,
                day: local_day(record.utc_us, record.offset_s),
                mark,
                assumed: record.by == Some(By::Assumed),
                needed,
            }),
            Kind::Tried { repetition, alone } => Some(Self::Tried {
                session: record.id.session,
                repetition,
                cell: record.cell?,
                day: local_day(record.utc_us, record.offset_s),
                alone,
            }),
            Kind::ByHeart { repetition } => Some(Self::ByHeart {
                session: record.id.session,
                repetition,
                cell: record.cell?,
                day: local_day(record.utc_us, record.offset_s),
            }),
            Kind::Undo { mark } => Some(Self::Undo(mark)),
            _ => None,
        }
    }
}

/// The calendar day at a place, from universal time in microseconds and the offset in seconds.
pub fn local_day(utc_us: i64, offset_s: i32) -> Date {
    date_of(practice::local_day(utc_us, offset_s))
}

const FIRST_DAY: Date = Date::constant(1970, 1, 1);

/// The date of a day counted from 1970.
pub fn date_of(day: i64) -> Date {
    jiff::Span::new()
        .try_days(day)
        .and_then(|span| FIRST_DAY.checked_add(span))
        .unwrap_or(FIRST_DAY)
}

/// A date as a day counted from 1970.
pub fn day_of(date: Date) -> i64 {
    FIRST_DAY
        .until(date)
        .map_or(0, |span| i64::from(span.get_days()))
}

/// One cell's marks on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Day {
    /// The day.
    pub day: Date,
    /// Repetitions said to be clean.
    pub clean: u32,
    /// Repetitions said not to be clean.
    pub not_clean: u32,
    /// Repetitions assumed clean.
    pub assumed: u32,
    /// This day's marks alone would have cleared the cell, so many clean in a row as were needed, and
    /// it did not fall apart afterwards.
    pub held: bool,
    /// Three not clean in a row, and it was neither cleared nor held since.
    pub fell: bool,
    /// How many of the clean repetitions were played by heart.
    #[serde(default)]
    pub by_heart: u32,
}

/// One cell's days.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CellDays {
    /// Days with marks, rising.
    pub days: Vec<Day>,
    /// The marks in order, assumed ones among them.
    #[serde(with = "marks_by_day")]
    pub marks: Vec<(Date, Mark)>,
    /// The first day on which it was clear.
    pub cleared: Option<Date>,
    /// Clean ones in a row at the end, and those of them on the last day.
    run: (u32, u32),
    /// How many repetitions in a row at the end of the last day were not clean.
    slips: u32,
}

impl CellDays {
    /// Clean ones and all of the last so many marks.
    pub fn lately(&self, count: usize) -> (u32, u32) {
        let from = self.marks.len().saturating_sub(count);
        let last = &self.marks[from..];
        let clean = last.iter().filter(|(_, mark)| *mark == Mark::Clean).count();
        (clean as u32, last.len() as u32)
    }

    /// The first mark of a day.
    pub fn first_of(&self, day: Date) -> Option<Mark> {
        let before = self.marks.partition_point(|(one, _)| *one < day);
        let (first, mark) = self.marks.get(before)?;
        (*first == day).then_some(*mark)
    }

    /// Takes in a mark that stands; marks come in fold order.
    fn take_in(&mut self, said: &Said) {
        let Said::Mark {
            day,
            mark,
            assumed,
            needed,
            ..
        } = *said
        else {
            return;
        };
        let (run, of_day) = &mut self.run;
        let slips = &mut self.slips;
        if self.days.last().is_none_or(|last| last.day < day) {
            (*of_day, *slips) = (0, 0);
            self.days.push(Day {
                day,
                clean: 0,
                not_clean: 0,
                assumed: 0,
                held: false,
                fell: false,
                by_heart: 0,
            });
        }
        self.marks.push((day, mark));
        let Some(today) = self.days.last_mut() else {
            return;
        };
        match (mark, assumed) {
            (Mark::NotClean, _) => {
                today.not_clean += 1;
                (*run, *of_day) = (0, 0);
                *slips += 1;
                if *slips >= NOT_CLEAN_IN_A_ROW {
                    (today.held, today.fell) = (false, true);
                }
                return;
            }
            (Mark::Clean, true) => today.assumed += 1,
            (Mark::Clean, false) => today.clean += 1,
        }
        *run += 1;
        *of_day += 1;
        *slips = 0;
        if *of_day >= needed.max(1) {
            (today.held, today.fell) = (true, false);
        }
        if *run >= needed.max(1) && self.cleared.is_none() {
            self.cleared = Some(today.day);
            today.fell = false;
        }
    }
}

/// The marks that stand: of each repetition in a cell the last that was not taken back, in the place
/// of its first.
struct Standing {
    marks: Vec<Said>,
    /// The place of a repetition's mark. By repetition alone, which is marked in one cell; where it is
    /// in two, by both.
    places: HashMap<(Uuid, u64), usize>,
    others: HashMap<(Uuid, u64, CellKey), usize>,
}

impl Standing {
    fn of(mut said: Vec<Said>) -> Self {
        let undone: HashSet<RecordId> = said
            .iter()
            .filter_map(|one| match one {
                Said::Undo(mark) => Some(*mark),
                Said::Mark { .. } | Said::Tried { .. } | Said::ByHeart { .. } => None,
            })
            .collect();
        // the marks that count move to the front of the same list, so that a year's marks are held
        // once and not twice
        let mut standing = 0;
        let mut places: HashMap<(Uuid, u64), usize> = HashMap::new();
        let mut others: HashMap<(Uuid, u64, CellKey), usize> = HashMap::new();
        for at in 0..said.len() {
            let one = said[at];
            let Said::Mark {
                id,
                repetition,
                cell,
                ..
            } = one
            else {
                continue;
            };
            if undone.contains(&id) {
                continue;
            }
            let in_cell =
                |at: &usize| matches!(said[*at], Said::Mark { cell: other, .. } if other == cell);
            let name = (id.session, repetition);
            let before = match places.get(&name) {
                Some(place) if in_cell(place) => Some(*place),
                Some(_) => others.get(&(id.session, repetition, cell)).copied(),
                None => None,
            };
            let place = before.unwrap_or(standing);
            said[place] = one;
            if before.is_none() {
                if *places.entry(name).or_insert(place) != place {
                    others.insert((id.session, repetition, cell), place);
                }
                standing += 1;
            }
        }
        said.truncate(standing);
        Self {
            marks: said,
            places,
            others,
        }
    }

    /// The mark of a repetition in a cell.
    fn mark_of(&self, session: Uuid, repetition: u64, cell: CellKey) -> Option<&Said> {
        let own = |place: &&usize| {
            let mark = self.marks.get(**place);
            matches!(mark, Some(Said::Mark { cell: other, .. }) if *other == cell)
        };
        let place = self
            .places
            .get(&(session, repetition))
            .filter(own)
            .or_else(|| self.others.get(&(session, repetition, cell)));
        place.and_then(|place| self.marks.get(*place))
    }
}

/// A journal in small.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Digest {
    #[serde(with = "cells_in_a_row")]
    cells: BTreeMap<CellKey, CellDays>,
    /// First repetitions of each day, in fold order.
    tries: Vec<Try>,
}

impl Digest {
    /// What marks and undos come to; in fold order. Of several marks of a repetition the last that
    /// was not taken back counts.
    pub fn of(said: impl IntoIterator<Item = Said>) -> Self {
        let mut digest = Self::default();
        digest.add(said);
        digest
    }

    /// Adds what was said later, in fold order. Nothing in it may name a mark or a repetition that
    /// was added before: whoever adds in parts parts between sessions.
    pub fn add(&mut self, said: impl IntoIterator<Item = Said>) {
        let said: Vec<Said> = said.into_iter().collect();
        let told: Vec<Said> = said
            .iter()
            .filter(|one| matches!(one, Said::Tried { .. } | Said::ByHeart { .. }))
            .copied()
            .collect();
        let standing = Standing::of(said);
        for one in &standing.marks {
            if let Said::Mark { cell, .. } = one {
                self.cells.entry(*cell).or_default().take_in(one);
            }
        }
        for one in told {
            match one {
                Said::Tried {
                    session,
                    repetition,
                    cell,
                    ..
                } => self.keep_try(one, standing.mark_of(session, repetition, cell)),
                Said::ByHeart {
                    session,
                    repetition,
                    cell,
                    day,
                } => self.keep_by_heart(cell, day, standing.mark_of(session, repetition, cell)),
                Said::Mark { .. } | Said::Undo(_) => {}
            }
        }
    }

    fn keep_try(&mut self, tried: Said, mark: Option<&Said>) {
        let Said::Tried {
            cell, day, alone, ..
        } = tried
        else {
            return;
        };
        let said = match mark {
            Some(Said::Mark { mark, assumed, .. }) => Some((*mark, *assumed)),
            _ => None,
        };
        self.tries.push(Try {
            day: day_of(day),
            cell,
            alone,
            said,
        });
    }

    /// Counts a repetition that was played by heart, where it was said to be clean.
    fn keep_by_heart(&mut self, cell: CellKey, day: Date, mark: Option<&Said>) {
        let said = matches!(
            mark,
            Some(Said::Mark {
                mark: Mark::Clean,
                assumed: false,
                ..
            })
        );
        if said
            && let Some(days) = self.cells.get_mut(&cell)
            && let Some(of_day) = days.days.iter_mut().rfind(|one| one.day <= day)
        {
            of_day.by_heart += 1;
        }
    }

    /// A cell's days.
    pub fn cell(&self, cell: CellKey) -> Option<&CellDays> {
        self.cells.get(&cell)
    }

    /// The first repetition of each day in some stages' music.
    pub fn first_tries(&self, stages: &[StagePrint]) -> Vec<Try> {
        practice::first_of_each_day(self.tries.iter().copied(), stages)
    }

    /// Every cell that was marked.
    pub fn cells(&self) -> impl Iterator<Item = (&CellKey, &CellDays)> {
        self.cells.iter()
    }
}

/// Marks written a day at a time, `c` for clean and `n` for not.
mod marks_by_day {
    use super::{Date, Deserialize, Mark, Serialize};
    use serde::{Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(
        marks: &[(Date, Mark)],
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        let days = marks.chunk_by(|(one, _), (other, _)| one == other);
        let written: Vec<(Date, String)> = days
            .map(|day| {
                let sign = |(_, mark): &(Date, Mark)| match mark {
                    Mark::Clean => 'c',
                    Mark::NotClean => 'n',
                };
                (day[0].0, day.iter().map(sign).collect())
            })
            .collect();
        written.serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Vec<(Date, Mark)>, D::Error> {
        let mut marks = Vec::new();
        for (day, signs) in Vec::<(Date, String)>::deserialize(deserializer)? {
            for sign in signs.chars() {
                let mark = match sign {
                    'c' => Mark::Clean,
                    'n' => Mark::NotClean,
                    other => return Err(D::Error::custom(format!("`{other}` is no mark"))),
                };
                marks.push((day, mark));
            }
        }
        Ok(marks)
    }
}

/// Cells as a list: their keys are no plain words.
mod cells_in_a_row {
    use super::{BTreeMap, CellDays, CellKey, Deserialize};
    use serde::{Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(
        cells: &BTreeMap<CellKey, CellDays>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(cells)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<BTreeMap<CellKey, CellDays>, D::Error> {
        Ok(Vec::<(CellKey, CellDays)>::deserialize(deserializer)?
            .into_iter()
            .collect())
    }
}

#[cfg(test)]
mod tests;
