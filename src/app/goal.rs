//! The goal that homework sets for a drill, and whether it is reached.

use crate::planning::{Criterion, Digest, Said};
use crate::practice::{CellKey, Entry, Mark, Rung};

/// The goal that homework sets.
#[derive(Debug, Clone)]
pub struct Goal {
    /// The cell that is to be reached.
    pub(super) cell: CellKey,
    /// The name of the homework file.
    pub(super) file: String,
    /// The criterion that must be met; none where the drill's own number of clean repetitions in a
    /// row counts.
    pub(super) until: Option<Criterion>,
    /// The marks of the cells that count towards the goal, oldest first.
    said: Vec<Said>,
    /// True once the criterion was met, before this session or in it.
    met: bool,
}

/// True where a rung reaches the rung that is asked for: its tempo is at least as fast, or its
/// tones are at least as short.
fn reaches(asked: Rung, rung: Rung) -> bool {
    match (asked.tone(), rung.tone()) {
        (Some(asked), Some(tone)) => tone <= asked,
        (None, None) => rung.tempo() >= asked.tempo(),
        _ => false,
    }
}

/// Read access to the fields. Only this room changes them.
impl Goal {
    /// The cell that is to be reached.
    pub fn cell(&self) -> CellKey {
        self.cell
    }

    /// The name of the homework file.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// The criterion that must be met; none where the drill's own number of clean repetitions in a
    /// row counts.
    pub fn until(&self) -> Option<Criterion> {
        self.until
    }
}

impl Goal {
    /// A goal, with the marks that the journal has of its stage.
    pub(super) fn new(
        cell: CellKey,
        file: &str,
        until: Option<Criterion>,
        entries: &[Entry],
    ) -> Self {
        let mut goal = Self {
            cell,
            file: file.to_owned(),
            until,
            said: Vec::new(),
            met: false,
        };
        goal.take_in(entries);
        goal
    }

    /// True where a repetition in this cell counts towards the goal.
    pub(super) fn is_reached_with(&self, cell: CellKey) -> bool {
        cell.stage == self.cell.stage && reaches(self.cell.rung, cell.rung)
    }

    /// Takes in new marks. Returns true where they meet the criterion for the first time.
    pub(super) fn take_in(&mut self, entries: &[Entry]) -> bool {
        let Some(until) = self.until else {
            return false;
        };
        for entry in entries {
            let ours = entry
                .record
                .cell
                .is_none_or(|cell| self.is_reached_with(cell));
            self.said.extend(Said::of(entry).filter(|_| ours));
        }
        let digest = Digest::of(self.said.iter().copied());
        let met = digest.cells().any(|(_, days)| {
            let marks: Vec<Mark> = days.marks.iter().map(|(_, mark)| *mark).collect();
            until.met(&marks).is_some()
        });
        let first = met && !self.met;
        self.met |= met;
        first
    }

    /// The criterion in words, to follow the cell: `, 9 of 10`. Empty where the drill's own
    /// criterion counts.
    pub fn until_words(&self) -> String {
        self.until
            .map_or_else(String::new, |until| format!(", {until}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::{By, Kind, Record, RecordId, StagePrint};
    use crate::units::Bpm;
    use uuid::Uuid;

    /// The third of three marks meets the goal "2 of 3", and only once. Marks of other stages or of
    /// slower rungs do not count.
    #[test]
    fn a_criterion_is_met_by_the_mark_that_meets_it() {
        let rung = |tempo| Rung::Tempo(Bpm::whole(tempo).expect("a tempo"));
        let cell = |stage, tempo| CellKey {
            stage: StagePrint(stage),
            rung: rung(tempo),
        };
        let mut number = 0;
        let mut mark = |cell, mark| {
            number += 1;
            Entry {
                journal: Uuid::nil(),
                seq: number,
                record: Record {
                    id: RecordId {
                        session: Uuid::nil(),
                        number,
                    },
                    utc_us: number as i64 * 1_000_000,
                    offset_s: 0,
                    kind: Kind::Mark {
                        repetition: number,
                        mark,
                        needed: 5,
                        free: false,
                    },
                    drill: String::new(),
                    cell: Some(cell),
                    by: Some(By::Key),
                    thresholds: None,
                    measures: None,
                    version: String::new(),
                },
            }
        };
        let until = Criterion::parse("2 of 3").ok();
        let mut goal = Goal::new(cell(1, 60), "week.yaml", until, &[]);
        let slow = [Mark::Clean; 3].map(|one| mark(cell(1, 56), one));
        let other = [Mark::Clean; 3].map(|one| mark(cell(2, 60), one));
        assert!(!goal.take_in(&slow) && !goal.take_in(&other));
        assert!(!goal.take_in(&[mark(cell(1, 63), Mark::Clean)]));
        assert!(!goal.take_in(&[mark(cell(1, 63), Mark::NotClean)]));
        assert!(goal.take_in(&[mark(cell(1, 63), Mark::Clean)]));
        assert!(!goal.take_in(&[mark(cell(1, 63), Mark::Clean)]), "once");
    }
}
