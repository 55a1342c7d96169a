//! The marks of every cell, folded: which of them count, and in which order.
//!
//! Knows marks and undos; knows nothing of the grid, the route and the session.
//!
//! A cell's marks are kept in fold order and may arrive in any order. Adding an entry twice changes
//! nothing, and another program's entry goes to its own place. So the result of folding does not
//! depend on the order of arrival.

use super::StagePrint;
use super::cell::CellKey;
use super::cold::{Try, first_of_each_day};
use super::entry::{By, Entry, Kind, Mark, Record, RecordId};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// The place of a record in the fold. Stored records are ordered by time, journal and number.
/// Records not yet stored come after them, in the order in which they were made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Order {
    Stored(i64, Uuid, u64),
    Waiting(RecordId),
}

impl Order {
    pub(super) fn of(entry: &Entry) -> Self {
        let (time, journal, seq) = entry.order();
        Self::Stored(time, journal, seq)
    }
}

/// The counts of a cell's marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Repetitions marked clean by key, pedal or ear.
    pub clean: u32,
    /// Repetitions marked not clean.
    pub not_clean: u32,
    /// Repetitions assumed clean; they are not in `clean`.
    pub assumed: u32,
    /// How many of the clean repetitions were played by heart; assumed ones do not count.
    pub by_heart: u32,
    /// Clean repetitions in a row up to the last one, including assumed ones.
    pub streak: u32,
    /// Clean repetitions in a row up to the last one, without assumed ones: an assumed one ends the
    /// row.
    pub said_streak: u32,
    /// True when the needed number of clean repetitions in a row was reached and still stands.
    pub reached: bool,
    /// True when it was reached without assumed marks.
    pub reached_said: bool,
    /// True when it was reached in free play.
    pub reached_freely: bool,
    /// The player's local calendar day on which it was reached, in days since 1970-01-01.
    pub reached_on: Option<i64>,
}

impl Tally {
    fn add(&mut self, line: &MarkLine, by_heart: bool) {
        match (line.mark, line.by) {
            (Mark::NotClean, _) => {
                self.not_clean += 1;
                self.streak = 0;
                self.said_streak = 0;
                return;
            }
            (Mark::Clean, By::Assumed) => {
                self.assumed += 1;
                self.streak += 1;
                self.said_streak = 0;
            }
            (Mark::Clean, _) => {
                self.clean += 1;
                self.by_heart += u32::from(by_heart);
                self.streak += 1;
                self.said_streak += 1;
            }
        }
        let needed = line.needed.max(1);
        if self.streak >= needed {
            self.reached = true;
            self.reached_on = self.reached_on.or(Some(line.day));
            self.reached_freely |= line.free;
        }
        self.reached_said |= self.said_streak >= needed;
    }
}

/// A mark as the fold stores it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct MarkLine {
    pub(super) id: RecordId,
    pub(super) repetition: u64,
    pub(super) mark: Mark,
    pub(super) by: By,
    needed: u32,
    free: bool,
    day: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Line {
    Mark(MarkLine),
    Undo { id: RecordId, mark: RecordId },
    ByHeart { id: RecordId, repetition: u64 },
}

impl Line {
    fn of(record: &Record) -> Option<Self> {
        match record.kind {
            Kind::Mark {
                repetition,
                mark,
                needed,
                free,
            } => Some(Self::Mark(MarkLine {
                id: record.id,
                repetition,
                mark,
                by: record.by.unwrap_or(By::Key),
                needed,
                free,
                day: record.day(),
            })),
            Kind::Undo { mark } => Some(Self::Undo {
                id: record.id,
                mark,
            }),
            Kind::ByHeart { repetition } => Some(Self::ByHeart {
                id: record.id,
                repetition,
            }),
            _ => None,
        }
    }

    fn id(&self) -> RecordId {
        match self {
            Self::Mark(line) => line.id,
            Self::Undo { id, .. } | Self::ByHeart { id, .. } => *id,
        }
    }
}

/// A repetition with all its marks, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Told {
    session: Uuid,
    number: u64,
    first: Order,
    marks: Vec<MarkLine>,
}

impl Told {
    /// The mark that counts: the last one that was not undone.
    fn counts(&self, undone: &BTreeSet<RecordId>) -> Option<&MarkLine> {
        self.marks
            .iter()
            .rev()
            .find(|line| !undone.contains(&line.id))
    }
}

/// The marks of one cell.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct CellHistory {
    log: Vec<(Order, Line)>,
    known: BTreeSet<RecordId>,
    told: Vec<Told>,
    /// The highest number of a marked repetition in each session.
    latest: BTreeMap<Uuid, u64>,
    undone: BTreeSet<RecordId>,
    /// Repetitions that were played by heart.
    by_heart: BTreeSet<(Uuid, u64)>,
    pub(super) tally: Tally,
    /// When the cell was first clear, whether or not it still is.
    pub(super) once: Option<Order>,
}

impl CellHistory {
    fn add(&mut self, order: Order, line: Line) {
        let mut was_at = None;
        if !self.known.insert(line.id()) {
            let Some(at) = self
                .log
                .iter()
                .rposition(|(_, known)| known.id() == line.id())
            else {
                return;
            };
            if self.log[at].0 == order {
                return;
            }
            was_at = Some((at, self.log.remove(at).0));
        }
        let at = self.log.partition_point(|(known, _)| *known < order);
        let last = at == self.log.len();
        self.log.insert(at, (order, line));
        match was_at {
            // The record is now stored in the same place, so the cell's counts do not change.
            Some((before, old)) if before == at => self.rename(old, order),
            None if last => self.apply(order, line),
            _ => self.fold_again(),
        }
    }

    fn rename(&mut self, old: Order, new: Order) {
        for told in self.told.iter_mut().rev().filter(|told| told.first == old) {
            told.first = new;
        }
        if self.once == Some(old) {
            self.once = Some(new);
        }
    }

    fn fold_again(&mut self) {
        let log = std::mem::take(&mut self.log);
        self.told.clear();
        self.latest.clear();
        self.undone.clear();
        self.by_heart.clear();
        self.tally = Tally::default();
        self.once = None;
        for (order, line) in &log {
            self.apply(*order, *line);
        }
        self.log = log;
    }

    fn apply(&mut self, order: Order, line: Line) {
        match line {
            Line::Undo { mark, .. } => {
                self.undone.insert(mark);
                self.count_again();
            }
            Line::Mark(mark) => self.hear(order, mark),
            Line::ByHeart { id, repetition } => {
                self.by_heart.insert((id.session, repetition));
                // This entry normally comes before the mark of its repetition. It comes later only
                // when another program's clock was behind.
                if self.told(id.session, repetition).is_some() {
                    self.count_again();
                }
            }
        }
        if self.tally.reached && self.once.is_none() {
            self.once = Some(order);
        }
    }

    fn hear(&mut self, order: Order, mark: MarkLine) {
        let latest = self.latest.get(&mark.id.session).copied();
        let follows = latest.is_none_or(|latest| mark.repetition > latest);
        let same =
            |told: &&mut Told| told.session == mark.id.session && told.number == mark.repetition;
        if !follows && let Some(told) = self.told.iter_mut().rev().find(same) {
            told.marks.push(mark);
            self.count_again();
            return;
        }
        self.told.push(Told {
            session: mark.id.session,
            number: mark.repetition,
            first: order,
            marks: vec![mark],
        });
        if follows {
            self.latest.insert(mark.id.session, mark.repetition);
            if !self.undone.contains(&mark.id) {
                let name = (mark.id.session, mark.repetition);
                self.tally.add(&mark, self.by_heart.contains(&name));
            }
        } else {
            self.order_as_played();
            self.count_again();
        }
    }

    /// Sorts the repetitions into the order in which they were played. Within a session that is the
    /// order of their numbers, so that a late mark gets its repetition's place. Among sessions a
    /// repetition is placed by the earliest mark of itself and of the later repetitions of its
    /// session.
    fn order_as_played(&mut self) {
        let mut earliest: BTreeMap<(Uuid, u64), Order> = BTreeMap::new();
        for told in &self.told {
            earliest.insert((told.session, told.number), told.first);
        }
        let mut later: Option<(Uuid, Order)> = None;
        for ((session, _), first) in earliest.iter_mut().rev() {
            if let Some((same, order)) = later
                && same == *session
            {
                *first = order.min(*first);
            }
            later = Some((*session, *first));
        }
        self.told.sort_by_key(|told| {
            let name = (told.session, told.number);
            (earliest.get(&name).copied(), name)
        });
    }

    fn count_again(&mut self) {
        self.tally = Tally::default();
        for told in &self.told {
            if let Some(line) = told.counts(&self.undone) {
                let by_heart = self.by_heart.contains(&(told.session, told.number));
                self.tally.add(line, by_heart);
            }
        }
    }

    fn told(&self, session: Uuid, number: u64) -> Option<&Told> {
        self.told
            .iter()
            .rev()
            .find(|told| told.session == session && told.number == number)
    }

    /// The marks that count of a session's repetitions from a number on, the last one first.
    fn lately(&self, session: Uuid, from: u64) -> impl Iterator<Item = Mark> {
        self.told
            .iter()
            .rev()
            .filter(move |told| told.session == session && told.number >= from)
            .filter_map(|told| told.counts(&self.undone))
            .map(|line| line.mark)
    }

    fn standing(&self) -> impl Iterator<Item = (Order, RecordId)> {
        self.log.iter().filter_map(|(order, line)| match line {
            Line::Mark(mark) if !self.undone.contains(&mark.id) => Some((*order, mark.id)),
            _ => None,
        })
    }
}

/// The first repetition of a day, as it was recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Tried {
    order: Order,
    day: i64,
    cell: CellKey,
    repetition: u64,
    alone: bool,
}

/// The marks of every cell, and the first repetitions of each day.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct History {
    cells: BTreeMap<CellKey, Arc<CellHistory>>,
    tried: Arc<BTreeMap<RecordId, Tried>>,
}

impl History {
    /// Adds what a record says of its cell, if anything. Adding it again only changes its place.
    pub(super) fn add(&mut self, order: Order, record: &Record) {
        if let (Some(cell), Some(line)) = (record.cell, Line::of(record)) {
            Arc::make_mut(self.cells.entry(cell).or_default()).add(order, line);
        }
        if let (Some(cell), Kind::Tried { repetition, alone }) = (record.cell, &record.kind) {
            let tried = Tried {
                order,
                day: record.day(),
                cell,
                repetition: *repetition,
                alone: *alone,
            };
            Arc::make_mut(&mut self.tried).insert(record.id, tried);
        }
    }

    /// The first repetition of each day in the music of these stages, with its mark.
    pub(super) fn first_tries(&self, stages: &[StagePrint]) -> Vec<Try> {
        let mut all: Vec<(&RecordId, &Tried)> = self.tried.iter().collect();
        all.sort_by_key(|(_, tried)| tried.order);
        let tries = all.into_iter().map(|(id, tried)| {
            let told = self.mark_of(tried.cell, id.session, tried.repetition);
            Try {
                day: tried.day,
                cell: tried.cell,
                alone: tried.alone,
                said: told.map(|line| (line.mark, line.by == By::Assumed)),
            }
        });
        first_of_each_day(tries, stages)
    }

    /// True when anything in the music of these stages was played on a day.
    pub(super) fn was_tried_on(&self, day: i64, stages: &[StagePrint]) -> bool {
        self.tried
            .values()
            .any(|tried| tried.day == day && stages.contains(&tried.cell.stage))
    }

    /// Every cell that has marks.
    pub(super) fn cells(&self) -> impl Iterator<Item = (&CellKey, &CellHistory)> {
        self.cells.iter().map(|(key, cell)| (key, cell.as_ref()))
    }

    /// The counts of a cell's marks.
    pub(super) fn tally(&self, cell: CellKey) -> Tally {
        self.cells
            .get(&cell)
            .map_or_else(Tally::default, |cell| cell.tally)
    }

    /// The mark that counts of a repetition; none when it has none.
    pub(super) fn mark_of(&self, cell: CellKey, session: Uuid, number: u64) -> Option<&MarkLine> {
        let marks = self.cells.get(&cell)?;
        marks.told(session, number)?.counts(&marks.undone)
    }

    /// True when a repetition was played by heart.
    pub(super) fn was_by_heart(&self, cell: CellKey, session: Uuid, number: u64) -> bool {
        self.cells
            .get(&cell)
            .is_some_and(|marks| marks.by_heart.contains(&(session, number)))
    }

    /// True when a repetition was ever marked, even if the mark was undone.
    pub(super) fn was_told(&self, cell: CellKey, session: Uuid, number: u64) -> bool {
        self.cells
            .get(&cell)
            .is_some_and(|marks| marks.told(session, number).is_some())
    }

    /// How many repetitions at the end of a visit have the given mark.
    pub(super) fn run(&self, cell: CellKey, session: Uuid, from: u64, mark: Mark) -> u32 {
        self.cells.get(&cell).map_or(0, |cell| {
            cell.lately(session, from)
                .take_while(|said| *said == mark)
                .count() as u32
        })
    }

    /// The mark to undo next: the last one of this session that was not undone, or otherwise the
    /// last of all.
    pub(super) fn last_standing(
        &self,
        session: Uuid,
        counts: impl Fn(CellKey) -> bool,
    ) -> Option<(CellKey, RecordId)> {
        self.cells
            .iter()
            .filter(|(cell, _)| counts(**cell))
            .flat_map(|(cell, marks)| marks.standing().map(|(order, id)| (order, id, *cell)))
            .max_by_key(|(order, id, _)| {
                let own = (id.session == session).then_some(id.number);
                (own, *order)
            })
            .map(|(_, id, cell)| (cell, id))
    }
}

#[cfg(test)]
mod tests;
